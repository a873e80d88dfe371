package register_test

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/register"
)

// What a wall kept at 10 °C is worth, by hand. The factor of 10 °C by ASTM C1074
// eq. 2 with Q 5000 K against 20 °C is 0.5472 ± 0.0005 (testdata/reference,
// 02-equivalent-age.csv; computed from the equation, which is from memory):
//
//	stripped after   73 h:  73 × 0.5472 =  39.9 h, under 48: early
//	stripped after   97 h:  97 × 0.5472 =  53.1 h
//	stripped after  145 h: 145 × 0.5472 =  79.3 h
//
// 48 h are reached after 48 / 0.5472 = 87.7 h, so the margins are 73 − 87.7 =
// −14.7 h, 97 − 87.7 = 9.3 h and 145 − 87.7 = 57.3 h.
//
// The last concrete is at 10:00 CEST on 23 October 2026 and the clocks go back
// one hour on the 25th (tz database, Europe/Oslo): what the clock on the wall
// calls three, four and six days is an hour more. In spring, from 27 March, it is
// an hour less: 71 h (38.9), 95 h (52.0), 143 h (78.2).
func TestKeptByHand(t *testing.T) {
	for _, c := range []struct {
		name, day, read string
		strips          [3]string
		keptH           [3]int64
	}{
		{"back", "2026-10-23", "2026-10-31@10:00", [3]string{"2026-10-26", "2026-10-27", "2026-10-29"}, [3]int64{73, 97, 145}},
		{"forward", "2027-03-27", "2027-04-04@10:00", [3]string{"2027-03-30", "2027-03-31", "2027-04-02"}, [3]int64{71, 95, 143}},
	} {
		t.Run(c.name, func(t *testing.T) {
			for i, day := range c.strips {
				w := newWorld(t, "Europe/Oslo").opened("policy.permit_needed=false")
				w.pour("a", c.day, "10:00", c.read, 10)
				w.record(day + ` 10:00 phone p-crew brace.stripped a all=true`)
				r := row(t, w.register(c.read, register.Query{}), "a", "b2", 0)

				const factor, within = 0.5472, 0.0005
				hours := float64(c.keptH[i])
				require.Equal(t, c.keptH[i]*3600, r.KeptS)
				require.InDelta(t, hours*factor, float64(r.AgeS)/3600, hours*within)
				require.Equal(t, "arrhenius, Q 5000 K, reference 20 °C", r.Rule)
				require.True(t, r.Margin.Known)
				require.False(t, r.Margin.AtMost)
				opens := 48 / factor
				require.InDelta(t, hours-opens, float64(r.Margin.S)/3600, opens*within/factor+1.0/60)
				require.Zero(t, r.Margin.S%60)
				require.Equal(t, hours < opens, r.Early)
				require.Equal(t, "temperature", r.Governs)
				require.InDelta(t, opens, r.Opened.Sub(r.ClockZero.Time).Hours(), opens*within/factor+1.0/60)
				require.Equal(t, r.Cured, r.Opened)
				require.Equal(t, hours < opens, len(r.Exceptions) == 1)
			}
		})
	}
}

// At 20 °C an hour is an hour: the floor and the equivalent age are one.
func TestMarginToTheMinute(t *testing.T) {
	for minutes, margin := range map[int]int64{-1: -60, 0: 0, 1: 60, 90: 5400} {
		w := newWorld(t, "America/New_York").opened("policy.permit_needed=false")
		w.pour("a", "2026-10-05", "10:00", "2026-10-08@12:00", 20)
		at := w.moment("2026-10-07@10:00").Add(time.Duration(minutes) * time.Minute)
		w.record(at.Format("2006-01-02 15:04") + ` phone p-crew brace.stripped a all=true`)
		r := row(t, w.register("2026-10-08@12:00", register.Query{}), "a", "b1", 0)
		require.Equal(t, int64(48*60+minutes)*60, r.KeptS)
		require.Equal(t, r.KeptS/300*300, r.AgeS, "the five-minute slots that are over count")
		require.Equal(t, minutes < 0, r.Early)
		by := "" // of a strip in time
		if r.Early {
			by = "floor"
		}
		require.Equal(t, register.Margin{S: margin, Known: true, By: by}, r.Margin, "%d min", minutes)
	}
}

// What governs an early strip is what was met last after it, and the margin counts
// to that. At 35 °C an hour is worth 2.3 and the 48 hours come last; at 20 °C both
// come at once. Stripped at 10 °C after 20 h, and read 30 h after the concrete, the
// equivalent age comes last, at a time that is not sure yet: what is sure is the floor.
// At 35 °C it comes first.
func TestWhatGovernsAnEarlyStrip(t *testing.T) {
	for _, c := range []struct {
		celsius       float64
		read, governs string
		margin        register.Margin
	}{
		{35, "2026-10-08@12:00", "floor", register.Margin{S: -28 * 3600, Known: true, By: "floor"}},
		{20, "2026-10-08@12:00", "floor", register.Margin{S: -28 * 3600, Known: true, By: "floor"}},
		{35, "2026-10-06@06:30", "floor", register.Margin{S: -28 * 3600, Known: true, AtMost: true, By: "floor"}},
		{10, "2026-10-06@16:00", "temperature", register.Margin{S: -28 * 3600, Known: true, AtMost: true, By: "floor"}},
	} {
		w := newWorld(t, "America/New_York").opened("policy.permit_needed=false")
		w.pour("a", "2026-10-05", "10:00", c.read, c.celsius)
		w.record(`2026-10-06 06:00 phone p-crew brace.stripped a all=true`)
		r := row(t, w.register(c.read, register.Query{}), "a", "b1", 0)
		require.True(t, r.Early)
		require.Equal(t, c.governs, r.Governs, "%g °C", c.celsius)
		require.Equal(t, c.margin, r.Margin, "%g °C", c.celsius)
	}
}

// The temperatures are those of the top from the last concrete to the strip, minima
// and maxima too; where nobody read the top, of the core; where nobody read any, that
// is said, and the air is none.
func TestWarmth(t *testing.T) {
	w := newWorld(t, "Europe/Oslo").opened("policy.permit_needed=false")
	w.pour("a", "2026-10-05", "10:00", "2026-10-05@10:00", 20)
	w.steady("air-1", "air", "a", "2026-10-05@10:00", "2026-10-08@12:00", -3)
	none := row(t, w.register("2026-10-05@09:59", register.Query{}), "a", "b1", 0).Warmth
	require.Equal(t, register.Warmth{}, none, "before the last concrete")

	core := newWorld(t, "Europe/Oslo").opened("policy.permit_needed=false")
	core.pour("a", "2026-10-05", "10:00", "2026-10-05@09:50", 20)
	core.steady("core-1", "core", "a", "2026-10-05@12:00", "2026-10-05@14:00", 26.25)
	core.steady("air-1", "air", "a", "2026-10-05@10:00", "2026-10-08@12:00", -3)
	require.Equal(t, register.Warmth{Place: "core", LowCC: new(int64(2625)), HighCC: new(int64(2625))}, row(t, core.register("2026-10-08@12:00", register.Query{}), "a", "b1", 0).Warmth)

	w.record(`
		2026-10-05 09:30 phone p-crew temperature.read a place=top celsius=2 at=@09:30
		2026-10-05 13:00 phone p-crew temperature.read a place=top celsius=31.27 at=@13:00
		2026-10-06 07:00 phone p-crew temperature.read a place=top celsius=4.04 at=@07:00
		2026-10-07 11:50 phone p-crew wind.read - gust_mps=3
		2026-10-07 12:00 phone p-crew brace.stripped a braces=b1
		2026-10-07 13:00 phone p-crew temperature.read a place=top celsius=-1.5 at=@13:00`)
	r := w.register("2026-10-08@12:00", register.Query{})
	require.Equal(t, register.Warmth{Place: "top", LowCC: new(int64(404)), HighCC: new(int64(3127))}, row(t, r, "a", "b1", 0).Warmth, "what was read before and after is not of it")
	require.Equal(t, int64(-150), *row(t, r, "a", "b2", 0).Warmth.LowCC, "it stood on")
	var out bytes.Buffer
	require.NoError(t, r.Text(&out, ""))
	require.Regexp(t, `(?m)^b1 .* 4\.0 to 31\.3 °C `, out.String(), "down and up")
	require.Regexp(t, `(?m)^b2 .* -1\.5 to 31\.3 °C `, out.String())
	out.Reset()
	require.NoError(t, r.Text(&out, "us"))
	require.Regexp(t, `(?m)^b2 .* 29\.3 to 88\.3 °F `, out.String(), "-1.5 °C is 29.3 °F, 31.27 °C is 88.286 °F")
	out.Reset()
	none2 := newWorld(t, "Europe/Oslo").opened()
	none2.pour("a", "2026-10-05", "10:00", "2026-10-05@09:50", 20)
	bare := none2.register("2026-10-08@12:00", register.Query{})
	require.NoError(t, bare.Text(&out, ""))
	require.Regexp(t, `(?m)^b1 .* not measured `, out.String())
	out.Reset()
	require.NoError(t, bare.CSV(&out))
	require.Contains(t, out.String(), ",,,not measured,")
}

// A brace that is taken off, and set again by the engineer's word, stands twice:
// the second time is kept from when it was set.
func TestSetAgain(t *testing.T) {
	w := newWorld(t, "Europe/Oslo").opened("policy.permit_needed=false")
	w.pour("a", "2026-10-05", "10:00", "2026-10-12@12:00", 20)
	w.record(`
		2026-10-06 10:00 phone p-crew brace.stripped a braces=b2
		2026-10-06 11:00 phone p-crew brace.set a braces=b2:6
		2026-10-06 11:10 phone p-crew brace.inspected a braces=b2 sound=true
		2026-10-08 10:00 phone p-crew brace.stripped a all=true`)
	r := w.register("2026-10-12@12:00", register.Query{})
	require.Equal(t, 4, r.Total.Braces)
	first, second, beside := row(t, r, "a", "b2", 0), row(t, r, "a", "b2", 1), row(t, r, "a", "b1", 0)
	require.Equal(t, int64(24*3600), first.KeptS)
	require.True(t, first.Early)
	require.Equal(t, register.Margin{S: -24 * 3600, Known: true, By: "floor"}, first.Margin)
	require.Equal(t, 1, first.Looks)
	require.Equal(t, int64(47*3600), second.KeptS, "from 11:00, not from the last concrete")
	require.False(t, second.Early, "what was wrong with the first is not wrong with the second")
	require.Equal(t, 1, second.Looks)
	require.Equal(t, int64(72*3600), beside.KeptS)
	require.Equal(t, int64(24*3600), beside.Margin.S)
	require.Equal(t, 1, r.Total.Early)
	require.Equal(t, int64(24*3600), *r.Total.KeptLeastS)
	require.Equal(t, int64((24+47+72+72)*3600/4), *r.Total.KeptMeanS)
}

// A strip that two persons voided did not happen; while one waits for the other it
// counts both ways.
func TestVoidedStrip(t *testing.T) {
	w := newWorld(t, "Europe/Oslo").opened("policy.permit_needed=false")
	w.pour("a", "2026-10-05", "10:00", "2026-10-12@12:00", 20)
	w.record(`
		2026-10-06 10:00 phone p-crew brace.stripped a braces=b2 as=wrong
		2026-10-06 10:20 office p-boss record.voided a of=wrong "reason=that was wall b" as=void`)
	r := w.register("2026-10-06@12:00", register.Query{})
	waits := row(t, r, "a", "b2", 0)
	require.True(t, waits.Stripped.At.IsZero(), "the brace stands until somebody knows better")
	require.True(t, waits.Early, "and is judged as if it were off")
	require.Equal(t, int64(24*3600), waits.KeptS)
	require.Equal(t, []string{register.StrippedEarly, register.Amended}, sorts(waits))
	require.Contains(t, waits.Exceptions[1].Text, "waits for a second person")

	w.record(`
		2026-10-06 13:00 office p-second record.countersigned a of=void role=officer
		2026-10-09 09:50 phone p-crew wind.read - gust_mps=3
		2026-10-09 10:00 phone p-crew brace.stripped a braces=b2`)
	r = w.register("2026-10-12@12:00", register.Query{})
	gone := row(t, r, "a", "b2", 0)
	require.False(t, gone.Early, "%v", gone.Exceptions)
	require.Equal(t, int64(96*3600), gone.KeptS)
	require.Equal(t, []string{register.Amended}, sorts(gone))
	require.Equal(t, "the strip of Tue 6 Oct 2026 10:00 CEST was voided by =SUM(A1): it does not count", gone.Exceptions[0].Text)
	require.Equal(t, 3, r.Total.Braces)
	require.Zero(t, r.Total.Early)
	require.Equal(t, register.Clear{Days: 3, Since: "2026-10-09"}, r.Sites[0].Clear)
}

// A lift that comes to light late moves the last concrete: what the hub stated
// then, and what is known now, are both said.
func TestLateLift(t *testing.T) {
	w := newWorld(t, "Europe/Oslo").opened("policy.permit_needed=false")
	w.pour("a", "2026-10-05", "10:00", "2026-10-12@12:00", 20)
	w.record(`2026-10-07 13:40 phone p-crew wind.read - gust_mps=3`)
	w.stated("a", "2026-10-07@13:50")
	w.record(`2026-10-07 14:00 phone p-crew brace.stripped a all=true`)
	before := row(t, w.register("2026-10-07@15:00", register.Query{}), "a", "b2", 0)
	require.False(t, before.Early, "%v", before.Exceptions)
	require.True(t, before.Said.Open)
	require.False(t, before.Said.Differs, "%+v", before.Said)
	require.Equal(t, register.Margin{S: 4 * 3600, Known: true}, before.Margin)

	// Placed at 14:00 on the 5th, entered three days after, and let count at its own
	// time by a second person.
	w.record(`
		2026-10-08 09:00 phone p-crew lift.placed a from_m=5 to_m=7 top_m=1.2 began=2026-10-05T13:45 ended=2026-10-05T14:00 as=late
		2026-10-08 09:10 office p-second record.countersigned a of=late role=officer
		2026-10-08 09:11 phone - device.reported - last=@last`)
	after := w.register("2026-10-12@12:00", register.Query{})
	r := row(t, after, "a", "b2", 0)
	require.True(t, r.Early, "the record now says so")
	require.True(t, r.Said.Open, "the hub then said otherwise")
	require.True(t, r.Said.Differs)
	require.Contains(t, r.Said.Now, "shut")
	require.Equal(t, []string{register.StrippedEarly, register.LateEntry}, sorts(r))
	require.Equal(t, "p-crew", r.Concrete.By)
	// Remembered three days after: 15 min to the safe side.
	require.Equal(t, "2026-10-05 14:15", r.ClockZero.In(w.zone).Format("2006-01-02 15:04"))
	require.Equal(t, int64(47*3600+45*60), r.KeptS)
	far := row(t, after, "a", "b1", 0)
	require.True(t, far.Early, "one entry took them all")
}

// A brace whose concrete nobody recorded is kept for no time.
func TestNoConcrete(t *testing.T) {
	w := newWorld(t, "Europe/Oslo").opened()
	w.record(`
		2026-10-05 08:00 phone p-crew wall.laid-out a length_m=12 height_m=1.2 core_mm=200
		2026-10-05 08:10 phone p-crew brace.set a braces=b1:2
		2026-10-06 08:10 phone p-crew brace.stripped a braces=b1,b9`)
	r := w.register("2026-10-07@12:00", register.Query{})
	for _, name := range []string{"b1", "b9"} {
		x := row(t, r, "a", name, 0)
		require.True(t, x.Early, name)
		require.Zero(t, x.KeptS)
		require.Zero(t, x.AgeS)
		require.True(t, x.ClockZero.IsZero())
		require.True(t, x.Margin.AtMost)
		require.Negative(t, x.Margin.S)
	}
	require.Contains(t, sorts(row(t, r, "a", "b9", 0)), register.NeverSet)
	require.Nil(t, r.Total.KeptMeanS)
	require.Equal(t, register.Clear{Days: 1, Since: "2026-10-06", Early: true}, r.Sites[0].Clear)

	// All off a wall on which no brace was ever recorded.
	w.record(`
		2026-10-05 08:00 phone p-crew wall.laid-out b length_m=12 height_m=1.2 core_mm=200
		2026-10-06 08:10 phone p-crew brace.stripped b all=true`)
	all := row(t, w.register("2026-10-07@12:00", register.Query{}), "b", "", 0)
	require.True(t, all.Early)
	require.Contains(t, sorts(all), register.NeverSet)
}

// The period is of the site's own days, whose length the clocks change.
func TestPeriod(t *testing.T) {
	w := newWorld(t, "America/New_York").opened("policy.permit_needed=false")
	w.pour("a", "2026-10-29", "10:00", "2026-11-04@12:00", 20)
	w.record(`2026-11-01 23:30 phone p-crew brace.stripped a braces=b1`) // the day of 25 hours; in UTC it is the next
	for _, c := range []struct {
		from, to string
		rows     int
	}{
		{"", "", 3}, {"2026-11-02", "", 2}, {"2026-11-01", "2026-11-01", 3}, {"", "2026-10-28", 0}, {"2026-10-29", "2026-10-29", 3}, {"2026-12-01", "2026-12-31", 2},
	} {
		r := w.register("2026-11-04@12:00", register.Query{From: c.from, To: c.to})
		require.Equal(t, c.rows, r.Total.Braces, "%s to %s", c.from, c.to)
	}
	require.ErrorContains(t, register.Query{From: "2026-11-31"}.Check(), "from")
	require.ErrorContains(t, register.Query{From: "2026-11-02", To: "2026-11-01"}.Check(), "not before")
	require.NoError(t, register.Query{From: "2026-11-02", To: "2026-11-02"}.Check())
	require.Zero(t, w.register("2026-11-04@12:00", register.Query{Wall: "b"}).Total.Braces)
}
