package events_test

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
)

// feet reads feet and inches where a length is asked for, as a caller might.
func feet(unit, text string) (float64, bool) {
	for name, size := range map[string]map[string]float64{"m": {"ft": 0.3048, "in": 0.0254}, "mm": {"ft": 304.8, "in": 25.4}}[unit] {
		if number, ok := strings.CutSuffix(text, name); ok {
			x, err := strconv.ParseFloat(number, 64)
			return x * size, err == nil
		}
	}
	return 0, false
}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}

func TestFromArgs(t *testing.T) {
	in := events.Args{Location: zone(t, "America/New_York"), ParseQuantity: feet}
	for _, c := range []struct {
		kind events.Kind
		args string
		want events.Data
	}{
		{"pour.started", "", &events.Moment{}},
		{"pour.started", "note=a=b,c", &events.Moment{Note: "a=b,c"}},
		{"lift.placed", "from_m=0 to_m=6.5 top_m=0.6 began=2026-01-12T07:51:00-05:00 ended=2026-01-12T13:02:00.5Z load=l3 vibrated=true celsius=-1e0 top_up=false",
			&events.LiftPlaced{FromM: new(0.0), ToM: new(6.5), TopM: new(0.6), Began: at(12, 51), Ended: at(13, 2).Add(500 * time.Millisecond), Load: "l3", Vibrated: new(true), Celsius: new(-1.0)}},
		{"lift.placed", "from_m=0ft to_m=20ft depth_m=18in began=2026-01-12T07:51 ended=2026-01-12T08:02:30",
			&events.LiftPlaced{FromM: new(0.0), ToM: new(20 * 0.3048), DepthM: new(18 * 0.0254), Began: at(12, 51), Ended: at(13, 2).Add(30 * time.Second)}},
		{"lift.placed", "from_m=0 to_m=1 top_m=1 began=2026-01-12T07:51-05:00 ended=2026-07-12T07:51Z", nil}, // a lift of half a year
		{"lift.consolidated", "from_m=+0 to_m=.5 head_mm=2in", &events.LiftConsolidated{FromM: new(0.0), ToM: new(0.5), HeadMM: new(50.8)}},
		{"brace.inspected", "braces=b1,b2 sound=false", &events.BraceInspected{Braces: []string{"b1", "b2"}, Sound: new(false)}},
		{"brace.inspected", "braces.1=b2 braces.0=b1 sound=true", &events.BraceInspected{Braces: []string{"b1", "b2"}, Sound: new(true)}},
		{"line.read", "when=after points=0:2,3:-1", &events.LineRead{When: "after", Points: []events.LinePoint{{AtM: new(0.0), OffMM: new(2.0)}, {AtM: new(3.0), OffMM: new(-1.0)}}}},
		{"line.read", "when=after points.0.at_m=0 points.0.off_mm=2 points.1=10ft:1in",
			&events.LineRead{When: "after", Points: []events.LinePoint{{AtM: new(0.0), OffMM: new(2.0)}, {AtM: new(10 * 0.3048), OffMM: new(25.4)}}}},
		{"wall.laid-out", "length_m=12.5 height_m=2.75 core_mm=150 legs=8:90,4.5::200 openings=2:3.2:0.9:2.1 braces=b1:0.9,b2:2.7",
			&events.WallLaidOut{LengthM: new(12.5), HeightM: new(2.75), CoreMM: new(150.0),
				Legs:     []events.Leg{{LengthM: new(8.0), TurnDeg: new(90.0)}, {LengthM: new(4.5), CoreMM: new(200.0)}},
				Openings: []events.Opening{{FromM: new(2.0), ToM: new(3.2), SillM: new(0.9), HeadM: new(2.1)}},
				Braces:   []events.BracePlan{{Name: "b1", AtM: new(0.9)}, {Name: "b2", AtM: new(2.7)}}}},
		{"temperature.read", "place=top series=2026-01-12T08:00:14.25,2026-01-12T13:05Z:0",
			&events.TemperatureRead{Place: "top", Series: []events.TimedTemperature{{At: at(13, 0), Celsius: new(14.25)}, {At: at(13, 5), Celsius: new(0.0)}}}},
		{"temperature.read", "place=top series=2026-01-12T08:00:30:14.25,2026-01-12T08:05:00-05:00:-3",
			&events.TemperatureRead{Place: "top", Series: []events.TimedTemperature{{At: at(13, 0).Add(30 * time.Second), Celsius: new(14.25)}, {At: at(13, 5), Celsius: new(-3.0)}}}},
		{"weather.forecast", "hours=2026-01-12T07:00:-4:8.5,2026-01-12T08:00:-3.5",
			&events.WeatherForecast{Hours: []events.ForecastHour{{At: at(12, 0), Celsius: new(-4.0), GustMPS: new(8.5)}, {At: at(13, 0), Celsius: new(-3.5)}}}},
		{"site.amended", "reason=colder policy.floor_h=60 policy.rule=en-1992 policy.sheet_at=05:30",
			&events.SiteAmended{Reason: "colder", Policy: events.Policy{FloorH: new(60.0), Rule: new("en-1992"), SheetAt: new("05:30")}}},
		{"mix.approved", "mix=c25 binder=portland relation.su_mpa=40 relation.k_per_d=0.35 relation.t0_d=0.2 initial_set=360:20",
			&events.MixApproved{Mix: "c25", Binder: "portland", Set: []events.InitialSet{{Minutes: new(360.0), Celsius: new(20.0)}},
				Relation: &events.Relation{SuMPa: new(40.0), KPerD: new(0.35), T0D: new(0.2)}}},
		{"gap.written-off", "device=phone-7 from=12 to=13 reason=lost", &events.GapWrittenOff{Device: "phone-7", From: 12, To: 13, Reason: "lost"}},
		{"device.reported", "last=41 walls=w1:40,w2:12", &events.DeviceReported{Last: 41, Walls: []events.WallLast{{Wall: "w1", Last: 40}, {Wall: "w2", Last: 12}}}},
		{"joint.treated", "from_m=0 to_m=2 how=cleaned,dowels word_of=p-1", &events.JointTreated{FromM: new(0.0), ToM: new(2.0), How: []string{"cleaned", "dowels"}, WordOf: "p-1"}},
		{"record.voided", "target.source=/site/a/device/b target.id=7 reason=wrong", &events.RecordVoided{Target: events.Target{Source: "/site/a/device/b", ID: "7"}, Reason: "wrong"}},
	} {
		got, err := events.FromArgs(c.kind, strings.Fields(c.args), in)
		if c.want == nil {
			require.Error(t, err, c.args)
			continue
		}
		require.NoError(t, err, c.args)
		require.Equal(t, c.want, got, c.args)
	}
}

func TestFromArgsReadsAnAmendment(t *testing.T) {
	for _, args := range [][]string{
		{"target.source=/site/a/device/b", "target.id=7", "reason=typed wrongly", "kind=lift.placed", "data.from_m=0", "data.to_m=7.5", "data.top_m=0.6"},
		{"target.source=/site/a/device/b", "target.id=7", "reason=typed wrongly", "kind=lift.placed", `data={"from_m":0, "to_m":7.5, "top_m":0.6}`},
	} {
		d, err := events.FromArgs("record.amended", args, events.Args{})
		require.NoError(t, err)
		require.Equal(t, &events.LiftPlaced{FromM: new(0.0), ToM: new(7.5), TopM: new(0.6)}, d.(*events.RecordAmended).Replacement())
	}
	for _, c := range []struct{ arg, kind, field, value, allowed string }{
		{"data.to_m=7000", "lift.placed", "data.to_m", "7000", "0..2000 m"},
		{"data.tom=7", "lift.placed", "data.tom", "7", "to_m? one of"},
		{"data=7", "lift.placed", "data", "7", "a JSON object"},
		{"data={]", "lift.placed", "data", "{]", "a JSON object"},
		{"data.to_m=7", "lift.place", "data.to_m", "7", "no members"},
	} {
		_, err := events.FromArgs("record.amended", []string{"kind=" + c.kind, c.arg}, events.Args{})
		refused(t, err, c.field, c.value, c.allowed)
	}
}

func TestFromArgsRefuses(t *testing.T) {
	in := events.Args{Location: zone(t, "America/New_York"), ParseQuantity: feet}
	for _, c := range []struct {
		kind                  events.Kind
		args                  string
		field, value, allowed string
	}{
		{"lift.place", "", "type", "lift.place", "lift.placed?"},
		{"lift.placed", "", "from_m", "", "0..2000 m"},
		{"lift.placed", "from_m", "from_m", "", "key=value; keys are from_m, to_m"},
		{"lift.placed", "fromm=5", "fromm", "5", "from_m? one of from_m, to_m"},
		{"lift.placed", "top=5", "top", "5", "top_m? one of"},
		{"lift.placed", "zzz=5", "zzz", "5", "one of from_m, to_m"},
		{"lift.placed", "=5", `""`, "5", "one of from_m"},
		{"lift.placed", "to_m=2000.5", "to_m", "2000.5", "0..2000 m"},
		{"lift.placed", "to_m=7000ft", "to_m", "7000ft", "0..2000 m"},
		{"lift.placed", "to_m=7furlongs", "to_m", "7furlongs", "0..2000 m"},
		{"lift.placed", "to_m=", "to_m", "", "0..2000 m"},
		{"lift.placed", "to_m=0,6", "to_m", "0,6", "0..2000 m"},
		{"lift.placed", "to_m=NaN", "to_m", "NaN", "0..2000 m"},
		{"lift.placed", "to_m=Inf", "to_m", "Inf", "0..2000 m"},
		{"lift.placed", "to_m=1e999", "to_m", "1e999", "0..2000 m"},
		{"lift.placed", "to_m=0x10", "to_m", "0x10", "0..2000 m"},
		{"lift.placed", "to_m=1_000", "to_m", "1_000", "0..2000 m"},
		{"lift.placed", "celsius=65ft", "celsius", "65ft", "-10..60 °C"},
		{"lift.placed", "vibrated=yes", "vibrated", "yes", "true or false"},
		{"lift.placed", "load=L3", "load", "L3", tokens},
		{"lift.placed", "from_m=1 from_m=2", "from_m", "2", "each member once"},
		{"lift.placed", "from_m.x=1", "from_m.x", "1", "no members: from_m is 0..2000 m"},
		{"lift.placed", "began=yesterday", "began", "yesterday", "or a local time such as 2026-01-12T08:03 (America/New_York)"},
		{"lift.placed", "began=2026-01-12T8:03", "began", "2026-01-12T8:03", anyTime},
		{"lift.placed", "began=2026-01-12T08:03:00,5", "began", "2026-01-12T08:03:00,5", anyTime},
		{"lift.placed", "began=9999-01-12T08:03", "began", "9999-01-12T08:03", anyTime},
		{"lift.placed", "began=2099-12-31T23:03", "began", "2099-12-31T23:03", anyTime},
		{"lift.placed", "began=2026-02-30T08:03", "began", "2026-02-30T08:03", anyTime},
		{"lift.placed", "from_m=0 to_m=1 top_m=1 depth_m=1", "top_m", "", "either top_m or depth_m"},
		{"permit.issued", "number=1 for=dig", "for", "dig", "pour, strip"},
		{"permit.issued", "number=1 for=strip braces=b1,,b2", "braces.1", "", tokens},
		{"permit.issued", "number=1 for=strip braces=b1 braces.0=b2", "braces", "b2", "each member once"},
		{"permit.issued", "number=1 for=strip braces.0=b1 braces=b2", "braces", "b2", "each member once"},
		{"permit.issued", "number=1 for=strip braces.0=b1 braces.0=b2", "braces.0", "b2", "each member once"},
		{"permit.issued", "number=1 for=strip braces.1=b1", "braces.0", "", "without a gap"},
		{"permit.issued", "number=1 for=strip braces.01=b1", "braces.01", "b1", "0 to 999"},
		{"permit.issued", "number=1 for=strip braces.1000=b1", "braces.1000", "b1", "0 to 999"},
		{"permit.issued", "number=1 for=strip braces.-1=b1", "braces.-1", "b1", "0 to 999"},
		{"permit.issued", "number=1 for=strip conditions=\x1b[2J", "conditions", "\x1b[2J", "without control characters"},
		{"permit.issued", "number=1 for=strip conditions=\xff", "conditions", "\uFFFD", "UTF-8"},
		{"line.read", "when=after points=0:2,3:600", "points.1.off_mm", "600", "-500..500 mm"},
		{"line.read", "when=after points=0:2,3", "points.1.off_mm", "", "-500..500 mm"},
		{"line.read", "when=after points=0:2:7", "points.0", "7", "at most 2 values between colons: at_m:off_mm"},
		{"line.read", "when=after points.0.off_mm=2", "points.0.at_m", "", "0..2000 m"},
		{"line.read", "when=after points.0.of_mm=2", "points.0.of_mm", "2", "off_mm? one of"},
		{"line.read", "when=after points.0.off_mm=600", "points.0.off_mm", "600", "-500..500 mm"},
		{"line.read", "when=after points.0=1:2 points.0.off_mm=1", "points.0.off_mm", "1", "each member once"},
		{"temperature.read", "place=top series=2026-01-12T08:00", "series.0.celsius", "", "-50..100 °C"},
		{"temperature.read", "place=top series=14.25", "series.0.at", "14.25", anyTime},
		{"weather.forecast", "hours=2026-01-12T08:03:18:5", "hours.0", "2026-01-12T08:03:18:5", "write the seconds and the offset of a time"},
		{"site.amended", "reason=x policy=60", "policy", "60", "its members one by one: policy.floor_h, policy.equivalent_h"},
		{"site.amended", "reason=x policy.floor=60", "policy.floor", "60", "floor_h? one of"},
		{"site.amended", "reason=x policy.floor_h=24", "policy.floor_h", "24", "48..720 h"},
		{"gap.written-off", "device=p from=1.5 to=2 reason=x", "from", "1.5", "a whole number, 1 or more"},
		{"gap.written-off", "device=p from=0 to=2 reason=x", "from", "0", "a whole number, 1 or more"},
		{"gap.written-off", "device=p from=9 to=2 reason=x", "to", "2", "at least from, 9"},
	} {
		_, err := events.FromArgs(c.kind, strings.Fields(c.args), in)
		require.Error(t, err, c.args)
		refused(t, err, c.field, c.value, c.allowed)
	}
}

// A quantity that the hook makes is held to the same range, whatever it is.
func TestFromArgsTrustsNoHook(t *testing.T) {
	for _, x := range []string{"NaN", "+Inf", "-Inf", "2000.5", "-1"} {
		bad, err := strconv.ParseFloat(x, 64)
		require.NoError(t, err)
		_, err = events.FromArgs("lift.placed", []string{"from_m=3x"}, events.Args{ParseQuantity: func(string, string) (float64, bool) { return bad, true }})
		refused(t, err, "from_m", "3x", "0..2000 m")
	}
}

func TestFromArgsNeedsAnOffsetWithoutZone(t *testing.T) {
	_, err := events.FromArgs("pour.started", []string{"at=2026-01-12T08:03"}, events.Args{})
	refused(t, err, "at", "2026-01-12T08:03", anyTime)
	d, err := events.FromArgs("pour.started", []string{"at=2026-01-12T08:03-05:00"}, events.Args{})
	require.NoError(t, err)
	require.Equal(t, at(13, 3), d.(*events.Moment).At)
}

// When clocks change, a local time may not exist or exist twice: neither is
// guessed. The last row of each zone is an ordinary time beside the change.
func TestFromArgsRefusesTimesThatClocksSkipOrRepeat(t *testing.T) {
	for _, c := range []struct{ zone, local, want string }{
		{"America/New_York", "2026-03-08T02:30", "skipped"},
		{"America/New_York", "2026-03-08T03:00", "2026-03-08T07:00:00Z"},
		{"America/New_York", "2026-03-08T01:59:59", "2026-03-08T06:59:59Z"},
		{"America/New_York", "2026-11-01T01:30", "2026-11-01T01:30:00-04:00 or 2026-11-01T01:30:00-05:00"},
		{"America/New_York", "2026-11-01T01:00", "2026-11-01T01:00:00-04:00 or 2026-11-01T01:00:00-05:00"},
		{"America/New_York", "2026-11-01T02:00", "2026-11-01T07:00:00Z"},
		{"America/New_York", "2026-11-01T00:59", "2026-11-01T04:59:00Z"},
		{"America/Sao_Paulo", "2018-11-04T00:30", "skipped"},
		{"America/Sao_Paulo", "2018-02-17T23:30", "2018-02-17T23:30:00-02:00 or 2018-02-17T23:30:00-03:00"},
		{"America/Sao_Paulo", "2018-11-04T01:00", "2018-11-04T03:00:00Z"},
		{"Australia/Lord_Howe", "2026-10-04T02:15", "skipped"},
		{"Australia/Lord_Howe", "2026-10-04T02:30", "2026-10-03T15:30:00Z"},
		{"Australia/Lord_Howe", "2026-04-05T01:45", "2026-04-05T01:45:00+11:00 or 2026-04-05T01:45:00+10:30"},
		{"Australia/Lord_Howe", "2026-04-05T02:00", "2026-04-04T15:30:00Z"},
		{"Pacific/Apia", "2011-12-30T12:00", "skipped"}, // a whole day
		{"UTC", "2026-03-08T02:30", "2026-03-08T02:30:00Z"},
		{"Asia/Kathmandu", "2026-03-08T02:30", "2026-03-07T20:45:00Z"},
	} {
		d, err := events.FromArgs("pour.started", []string{"at=" + c.local}, events.Args{Location: zone(t, c.zone)})
		if strings.HasSuffix(c.want, "Z") {
			require.NoError(t, err, c)
			require.Equal(t, c.want, d.(*events.Moment).At.Format(time.RFC3339), c)
			continue
		}
		refused(t, err, "at", c.local, c.want)
		require.Contains(t, err.Error(), c.zone)
	}
}

// Every local minute of a year is either one instant that reads back as typed,
// or refused; and it is refused exactly where clocks skip or repeat it.
func TestFromArgsReadsEveryOtherLocalTime(t *testing.T) {
	for _, name := range []string{"America/New_York", "Australia/Lord_Howe"} {
		loc := zone(t, name)
		shown := map[string]int{}
		for at := time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC); at.Year() == 2026; at = at.Add(15 * time.Minute) {
			shown[at.In(loc).Format("2006-01-02T15:04")]++
		}
		for clock := time.Date(2026, 1, 3, 0, 0, 0, 0, time.UTC); clock.YearDay() < 364; clock = clock.Add(15 * time.Minute) {
			local := clock.Format("2006-01-02T15:04")
			d, err := events.FromArgs("pour.started", []string{"at=" + local}, events.Args{Location: loc})
			require.Equal(t, shown[local] == 1, err == nil, "%s %s: %v", name, local, err)
			if err == nil {
				require.Equal(t, local, d.(*events.Moment).At.In(loc).Format("2006-01-02T15:04"))
			}
		}
	}
}
