package face_test

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

var update = flag.Bool("update", false, "write the golden files")

// golden compares with testdata/name, which -update writes.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got), "%s (-update writes it)", path)
}

var now = time.Date(2026, 11, 9, 20, 20, 0, 0, time.UTC)

// cold is a wall in the cold: cured by time, not by temperature.
func cold() scheduler.Assessment {
	hour := func(h float64) time.Time { return now.Add(time.Duration(h * float64(time.Hour))) }
	return scheduler.Assessment{
		Site: "ridge", Wall: "long", At: now, State: scheduler.StateCuring,
		Strip: scheduler.Strip{
			Expected: scheduler.Expected{Early: hour(9.01), Likely: hour(14.5), Late: hour(30)},
			Governs:  scheduler.Temperature,
			Criteria: []scheduler.Criterion{
				{Name: scheduler.Complete, Layer: scheduler.LayerCured, Met: true, MetAt: hour(-60), Have: "whole", Need: "record whole"},
				{Name: scheduler.Floor, Layer: scheduler.LayerCured, Met: true, MetAt: hour(-12), Have: "60", Need: "48", Unit: "h", Note: "not set by an engineer"},
				{Name: scheduler.Temperature, Layer: scheduler.LayerCured, Have: "40.2", Need: "48", Unit: "h at 20 °C", Note: "arrhenius, Q 5000 K, reference 20 °C; not set by an engineer"},
				{Name: scheduler.Wind, Layer: scheduler.LayerStanding, Met: true, MetAt: hour(-60), Have: "7.0", Need: "at most 9.0", Unit: "m/s", Note: "not set by an engineer"},
				{Name: scheduler.Permit, Layer: scheduler.LayerStanding, Have: "none", Need: "a permit to strip"},
			},
		},
		Alerts: []scheduler.Alert{{Kind: scheduler.AlertFrostAhead, Cause: "tonight", Priority: scheduler.High, Since: hour(-1), Text: "Frost is forecast."}},
	}
}

func placing() scheduler.Assessment {
	return scheduler.Assessment{
		Site: "mill", Wall: "a", At: now, State: scheduler.StatePlacing,
		Strip: scheduler.Strip{Governs: scheduler.Complete, Criteria: []scheduler.Criterion{
			{Name: scheduler.Complete, Layer: scheduler.LayerCured, Have: "not whole", Need: "record whole", Note: "pour.finished is not recorded"},
		}},
		Joints: []scheduler.Joint{{FromM: 0, ToM: 12, TopM: 0.6, AgeMin: 138.01, LimitMin: 149.99, State: scheduler.JointClosing}},
	}
}

// inPasses is a closed wall in passes, with all that is said of its places.
func inPasses() scheduler.Assessment {
	a := placing()
	a.Fronts = []scheduler.Front{
		{FromM: 0, ToM: 4, TopM: 1.8, EndM: 2.4, Placed: now.Add(-135 * time.Minute), Deadline: now.Add(15*time.Minute + 59*time.Second), LeftMin: 15.98,
			BatchBy: now.Add(-19 * time.Minute), RiseM: 0.6, NowM: 0.6, FullM: 0.6, FullFrom: now, RiseBy: "site"},
		{FromM: 4, ToM: 5, TopM: 2.1, EndM: 2.4, NowM: 0.3, FullM: 0.3, RiseBy: "form"},
	}
	a.Rate = scheduler.Rate{RiseMPH: 1.2, M3H: 7.2}
	a.Pressure = scheduler.Pressure{KPa: 32.1, HeadKPa: 57.6, RatedKPa: 60, By: "ACI 347"}
	a.Take = scheduler.Take{NeedM3: 13.9, PlacedM3: 9, DeliveredM3: 11, ComingM3: 5.5, ToGoM3: 4.9, BalanceAt: now.Add(20 * time.Minute), BalanceM3: 1.9}
	a.Joints = append(a.Joints, scheduler.Joint{FromM: 20, ToM: 20, TopM: 1.2, HeadM: 1.8, AgeMin: 160, LimitMin: 150, State: scheduler.JointCold})
	a.Braces = []scheduler.BraceWindow{
		{Name: "b1", AtM: 0.5, FromM: 39.3, ToM: 2, ClockZero: now.Add(-2 * time.Hour), State: scheduler.BraceStanding, Waits: "waits for complete",
			Strip: scheduler.Strip{Governs: scheduler.Complete, Expected: scheduler.Expected{Likely: now.Add(70 * time.Hour)}}},
		{Name: "b2", AtM: 2, State: scheduler.BracePlanned},
	}
	a.Faces = []scheduler.FaceWindow{{Face: "inner", State: "standing", Waits: "the braces that it carries"}}
	a.Open = []string{"strength tests: 1 due, specimens for 0 made"}
	return a
}

// What is said of places stands on a page only where it was asked for.
func TestByPlace(t *testing.T) {
	var out bytes.Buffer
	w := face.ByPlace(inPasses())
	require.NoError(t, page("").Wall(&out, now, w))
	require.NoError(t, page("").Sheet(&out, now, w, sheetOf(inPasses())))
	golden(t, "places.txt", out.Bytes())
	plain := face.FromAssessment(inPasses())
	require.Nil(t, plain.Fronts)
	require.Nil(t, plain.Braces)
	require.Nil(t, plain.Placing)
}

func open() scheduler.Assessment {
	a := cold()
	a.Wall, a.State, a.Alerts = "short", scheduler.StateMayStrip, nil
	a.Strip = scheduler.Strip{
		Open: true, CuredAt: now.Add(-2 * time.Hour), Earliest: now.Add(-90*time.Minute - time.Second), OpenedAt: now.Add(-90*time.Minute - time.Second),
		Governs:  scheduler.Permit,
		Criteria: []scheduler.Criterion{{Name: scheduler.Permit, Layer: scheduler.LayerStanding, Met: true, MetAt: now.Add(-90*time.Minute - time.Second), Have: "s-1", Need: "a permit to strip"}},
	}
	return a
}

func page(units string) face.Page {
	return face.Page{Units: units, Sites: map[string]face.Site{
		"ridge": {Site: "ridge", Name: "The Ridge", Zone: "America/Denver", Units: "us"},
		"mill":  {Site: "mill", Name: "The Mill", Zone: "Europe/Oslo", Units: "si"},
	}}
}

func TestPages(t *testing.T) {
	var out bytes.Buffer
	walls := []face.Wall{face.FromAssessment(placing()), face.FromAssessment(cold()), face.FromAssessment(open())}
	require.NoError(t, page("").Walls(&out, now, walls))
	golden(t, "walls.txt", out.Bytes())

	for name, units := range map[string]string{"wall.txt": "", "wall-si.txt": "si"} {
		out.Reset()
		require.NoError(t, page(units).Wall(&out, now, walls[1]))
		golden(t, name, out.Bytes())
	}
	out.Reset()
	require.NoError(t, page("us").Wall(&out, now, walls[0]))
	golden(t, "joint.txt", out.Bytes())
}

// Every text that shows a time to strip ends with the caution, whole.
func TestCaution(t *testing.T) {
	w := face.FromAssessment(cold())
	var walls, wall, sheet bytes.Buffer
	require.NoError(t, page("").Walls(&walls, now, []face.Wall{w}))
	require.NoError(t, page("").Wall(&wall, now, w))
	require.NoError(t, page("").Sheet(&sheet, now, w, sheetOf(cold())))
	for _, out := range []*bytes.Buffer{&walls, &wall, &sheet} {
		flat := strings.Join(strings.Fields(out.String()), " ")
		require.True(t, strings.HasSuffix(flat, scheduler.Caution), "%s", out)
	}
}

func sheetOf(a scheduler.Assessment) scheduler.Sheet {
	const hour = int64(time.Hour)
	return scheduler.Sheet{
		Assessment: a, Rules: scheduler.Rules, Caution: scheduler.Caution, Digest: strings.Repeat("0123456789abcdef", 4),
		Zero: scheduler.ClockZero{
			At: now.Add(-60 * time.Hour), By: "lift.placed", ID: "0190", Source: "/site/ridge/device/phone", Person: "p-1",
			Entered: now.Add(-59*time.Hour - 50*time.Minute), Early: now.Add(-60*time.Hour - 15*time.Minute), Note: "remembered: 15 minutes to the safe side",
		},
		Policy: []scheduler.Setting{{Name: "floor", Value: "48", Unit: "h", Default: true}, {Name: "gust", Value: "8", Unit: "m/s"}}, PolicyBy: "p-2",
		Criteria: []scheduler.SetCriterion{{By: "p-3", Drawing: "S-101", Clause: "4.2", Says: "floor 60 h"}},
		Mixes:    []scheduler.SheetMix{{Name: "w30", Known: true, Binder: "portland", Retarder: "no", By: "p-3"}, {Binder: "unknown", Retarder: "not said", Note: "taken as slow"}},
		Permits: []scheduler.PermitState{{Number: "s-1", Braces: []string{"b1", "b2"}, Why: "floor", Lacks: []string{"method", "clear zone"}}, {Number: "s-2", Why: "straight", Since: now.Add(-time.Hour)},
			{Number: "s-3", FromM: new(2.0), ToM: new(6.5), Stands: true, Released: "p-3"}},
		Probe:   &events.StatedProbe{Probe: "t1", Place: "top", AtM: new(3.0), HeightM: new(2.6)},
		Weighed: []string{"arrhenius, Q 5000 K, reference 20 °C"}, NeedNS: 48 * hour,
		Hours: []scheduler.SheetHour{
			{At: now.Add(-60 * time.Hour), Seconds: 2400, Counted: 2400, CentiC: 412, Source: "top", Earned: []int64{906_123_456_789}, Sum: []int64{906_123_456_789}},
			{At: now.Add(-59 * time.Hour), Seconds: 3600, Counted: 1800, CentiC: -50, Source: "air", Frozen: true, Earned: []int64{0}, Sum: []int64{0}},
			{At: now.Add(-58 * time.Hour), Seconds: 3600, Counted: 3600, CentiC: 999, Source: "top", Earned: []int64{hour - 1}, Sum: []int64{hour - 1}},
		},
		Resets: []scheduler.Reset{{From: now.Add(-59 * time.Hour), To: now.Add(-58*time.Hour - 30*time.Minute), Assumed: true, Lost: []int64{906_123_456_789}}},
		Sum:    []int64{hour - 1},
		Others: []scheduler.OtherRule{
			{Name: "arrhenius", Source: "ASTM C1074, from memory", Have: "40.2", Need: "48", Unit: "h", Likely: now.Add(14 * time.Hour), Policy: true},
			{Name: "nurse-saul", Source: "from memory", Have: "48", Need: "48", Unit: "h", Met: true, MetAt: now.Add(-time.Second), Note: "datum -10 °C"},
		},
	}
}

func TestSheet(t *testing.T) {
	var out bytes.Buffer
	a := cold()
	require.NoError(t, page("").Sheet(&out, now, face.FromAssessment(a), sheetOf(a)))
	golden(t, "sheet.txt", out.Bytes())
}

func TestAlarms(t *testing.T) {
	at := face.Time{Time: now}
	alarms := alarmsInEveryState()
	refused := []face.RefusedRow{{Seq: 12, Recorded: at, Subject: "pour.mill.a.lift.placed", Site: "mill", Wall: "a", Field: "data.top_m", Reason: `"99"; allowed: 0.01..15 m`}}
	var out bytes.Buffer
	named := page("")
	named.Names = map[string]string{"p-1": "Kim Berg", "p-7": "Ole Vik", "p-8": "", "p-9": "Ada Holm"}
	require.NoError(t, named.Alarms(&out, alarms, refused))
	require.NoError(t, page("").Alarms(&out, alarms[:1], nil))
	require.NoError(t, page("").Alarms(&out, nil, nil))
	cleared := alarms[0]
	cleared.Cleared = at
	out.WriteString(page("").AlarmLine(alarms[0]) + "\n" + page("").AlarmLine(cleared) + "\n" + page("").WallLine(now, face.FromAssessment(cold())) + "\n")
	golden(t, "alarms.txt", out.Bytes())
}

// An alert is named by the beginning of its id that no other has, and that is taken
// back for it; no line of the list is longer than 110 letters.
func TestAlarmsAreNamedByWhatTellsThemApart(t *testing.T) {
	long := strings.Repeat("The joint at 20.0 to 32.0 m at 1.20 m closes at 13:17. ", 3)
	alarm := func(id string) face.Alarm {
		return face.Alarm{
			ID: "alert-" + id, Site: "tverrbakken", Wall: "wall-1", Kind: scheduler.AlertStripUnpermitted, Priority: scheduler.Urgent,
			State: wall.StateReturned, Since: face.Time{Time: now}, Text: long, ShelvedReason: long,
		}
	}
	list := []face.Alarm{alarm("0123456789aaaa"), alarm("01234567ffffff"), alarm("98765432100000")}
	var out bytes.Buffer
	require.NoError(t, page("").Alarms(&out, list, nil))
	shown := map[string]bool{}
	for line := range strings.Lines(out.String()) {
		require.LessOrEqual(t, len(strings.TrimSuffix(line, "\n")), 110, "%s", line)
		if strings.Contains(line, "tverrbakken/wall-1") {
			shown[strings.Fields(line)[0]] = true
		}
	}
	require.Equal(t, map[string]bool{"012345678": true, "01234567f": true, "987654321": true}, shown)
	for id := range shown {
		require.Len(t, face.Named(list, id), 1, "%s", id)
		require.Len(t, face.Named(list, "alert-"+id), 1, "%s", id)
	}
	require.Len(t, face.Named(list, "012345"), 2)
	require.Empty(t, face.Named(list, "2345"))
	require.Empty(t, face.Named(list, ""), "nothing names nothing")
	require.Equal(t, "\n  012345678  strip-unpermitted tverrbakken/wall-1 since Mon 9 Nov 20:20 UTC\n  and 1 more", page("").Choices(list[:2], 1))
}

// alarmsInEveryState are alerts as the fold has them, one in each state.
func alarmsInEveryState() []face.Alarm {
	ms := func(minutes int) int64 { return now.Add(time.Duration(minutes) * time.Minute).UnixMilli() }
	told := func(seq uint64, person, channel, outcome string) wall.Telling {
		return wall.Telling{Seq: seq, At: ms(0), AlertTold: &events.AlertTold{Message: fmt.Sprint("m-", seq), What: "raised", Person: person, Channel: channel, Outcome: outcome, Text: "t"}}
	}
	rests := []wall.Rest{{Kind: scheduler.AlertProbeSilent, From: ms(-60), Until: ms(600), By: "p-9", Reason: "its gateway is being changed"}}
	var out []face.Alarm
	for i, a := range []wall.Alarm{
		{Kind: scheduler.AlertJointClosing, Priority: scheduler.Urgent, Since: ms(-1), Text: "Place there\nbefore 13:32."},
		{Kind: scheduler.AlertJointClosing, Priority: scheduler.Urgent, Since: ms(-9), Text: "Place there.", ClearedSeq: 9, ClearedAt: ms(-1), Told: []wall.Telling{
			told(5, "p-1", "mail", "failed"), told(6, "p-1", "phone", "accepted"), told(7, "p-2", "mail", "withheld"), told(9, "p-4", "mail", "failed")}},
		{Kind: scheduler.AlertRecordGap, Priority: scheduler.High, Since: ms(0), Text: "Number 7 has not come.", Acknowledged: ms(0), AcknowledgedBy: "p-7"},
		{Kind: scheduler.AlertWindHigh, Priority: scheduler.High, Since: ms(0), Text: "A gust.", ShelvedFrom: ms(-5), ShelvedUntil: ms(60), ShelvedBy: "p-7", ShelvedReason: "nobody is near"},
		{Kind: scheduler.AlertStripEarly, Priority: scheduler.Urgent, Since: ms(-5), Text: "Stripped.", Told: []wall.Telling{
			told(1, "p-1", "mail", "accepted"), told(2, "p-2", "mail", "accepted"), told(3, "p-3", "mail", "accepted"), told(4, "p-4", "mail", "accepted")}},
		{Kind: scheduler.AlertStripEarly, Priority: scheduler.Urgent, Since: ms(-5), Text: "Stripped.", Acknowledged: ms(0), AcknowledgedBy: "p-8"},
		{Kind: scheduler.AlertProbeSilent, Priority: scheduler.Low, Since: ms(-5), Text: "No reading."},
		{Kind: scheduler.AlertFrozen, Priority: scheduler.Urgent, Since: ms(-5), Text: "Frost.", ClearedSeq: 9, ClearedAt: ms(0), Acknowledged: ms(-1)},
	} {
		a.ID, a.RaisedSeq = fmt.Sprint(i), 1
		site, place := "mill", "a"
		if a.Kind == scheduler.AlertRecordGap {
			place = ""
		}
		var more []wall.Telling
		if i == 1 {
			more = []wall.Telling{told(8, "p-3", "mail", "accepted")} // by a message of the whole site
		}
		out = append(out, face.AlarmOf(site, place, a, now, rests, more))
	}
	return append(out, face.AlarmOf("_", "", wall.Alarm{ID: "9", Kind: scheduler.AlertStreamHole, Priority: scheduler.High, Since: ms(0), Text: "Entry 9 is missing."}, now, nil, nil))
}

// An alert's JSON holds all of its life, and reads back the same.
func TestAlarmJSON(t *testing.T) {
	all := alarmsInEveryState()
	states := map[string]bool{}
	for _, a := range all {
		states[a.State] = true
	}
	require.Len(t, states, 8, "all states but latched by a condition that is gone: %v", states)
	require.Equal(t, []string{"p-1", "p-1", "p-2", "p-3", "p-4"}, []string{all[1].Told[0].Person, all[1].Told[1].Person, all[1].Told[2].Person, all[1].Told[3].Person, all[1].Told[4].Person}, "in the order of the stream")
	text, err := json.Marshal(all, json.Deterministic(true), jsontext.WithIndent("  "))
	require.NoError(t, err)
	golden(t, "alarms.json", text)
	var read []face.Alarm
	require.NoError(t, json.Unmarshal(text, &read))
	again, err := json.Marshal(read, json.Deterministic(true), jsontext.WithIndent("  "))
	require.NoError(t, err)
	require.Equal(t, string(text), string(again))
}

// The JSON of an assessment has these members, in this order, whatever is empty.
func TestJSON(t *testing.T) {
	report := face.Report{At: face.Time{Time: now}, Walls: []face.Wall{face.FromAssessment(placing()), face.FromAssessment(scheduler.Assessment{Site: "mill", Wall: "b", State: scheduler.StatePlanned})}, Refused: []face.Refused{}}
	text, err := json.Marshal(report, json.Deterministic(true), jsontext.WithIndent("  "))
	require.NoError(t, err)
	golden(t, "report.json", text)
}
