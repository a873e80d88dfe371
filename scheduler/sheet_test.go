package scheduler_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler"
	"earlyage/scheduler/checks"
)

func startSheets(t *testing.T, h *fakeHub, zone string, minute int, start string) *running {
	h.zone, h.minute = location(t, zone), minute
	h.clock.StepTo(instant(t, start))
	h.begun = h.clock.Now()
	h.askAlways(mill, scheduler.Assessment{})
	h.askAlways(north, shut(scheduler.Floor, time.Time{}))
	r := h.begin()
	r.settle()
	return r
}

// sheetBubble begins long ago, so that a test can step to any year.
func sheetBubble(t *testing.T, f func(t *testing.T, h *fakeHub)) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.clock = scheduler.NewStepped(time.Date(2010, 1, 1, 0, 0, 0, 0, time.UTC))
		f(t, h)
	})
}

// The changes are those of the IANA time zone database.
func TestTheSheetsAcrossChangingClocks(t *testing.T) {
	for _, c := range []struct {
		name, sheet, zone string
		minute            int
		start             string
		want              []string // local date and when it was due
	}{
		{"New York, spring, a time left out", events.MorningSheet, "America/New_York", 150, "2026-03-06T12:00:00-05:00",
			[]string{"2026-03-07 02:30 EST", "2026-03-08 03:00 EDT", "2026-03-09 02:30 EDT"}},
		{"New York, spring, the usual time", events.MorningSheet, "America/New_York", 360, "2026-03-06T12:00:00-05:00",
			[]string{"2026-03-07 06:00 EST", "2026-03-08 06:00 EDT", "2026-03-09 06:00 EDT"}},
		{"New York, autumn, a time that comes twice", events.MorningSheet, "America/New_York", 90, "2026-10-30T12:00:00-04:00",
			[]string{"2026-10-31 01:30 EDT", "2026-11-01 01:30 EDT", "2026-11-02 01:30 EST"}},
		{"Sao Paulo, the day without a midnight", events.MorningSheet, "America/Sao_Paulo", 0, "2018-11-02T12:00:00-03:00",
			[]string{"2018-11-03 00:00 -03", "2018-11-04 01:00 -02", "2018-11-05 00:00 -02"}},
		{"Sao Paulo, the evening that comes twice", events.MorningSheet, "America/Sao_Paulo", 23*60 + 30, "2018-02-16T12:00:00-02:00",
			[]string{"2018-02-16 23:30 -02", "2018-02-17 23:30 -02", "2018-02-18 23:30 -03"}},
		{"Lord Howe, half an hour left out", events.MorningSheet, "Australia/Lord_Howe", 135, "2026-10-02T12:00:00+10:30",
			[]string{"2026-10-03 02:15 +1030", "2026-10-04 02:30 +11", "2026-10-05 02:15 +11"}},
		{"Lord Howe, half an hour twice", events.MorningSheet, "Australia/Lord_Howe", 105, "2026-04-03T12:00:00+11:00",
			[]string{"2026-04-04 01:45 +11", "2026-04-05 01:45 +11", "2026-04-06 01:45 +1030"}},
		{"before the crews leave, spring", events.EveningSheet, "America/New_York", 360, "2026-03-07T12:00:00-05:00",
			[]string{"2026-03-07 16:30 EST", "2026-03-08 16:30 EDT"}},
		{"before the crews leave, half an hour back", events.EveningSheet, "Australia/Lord_Howe", 719, "2026-04-04T12:00:00+11:00",
			[]string{"2026-04-04 16:30 +11", "2026-04-05 16:30 +1030"}},
		{"a day that begins at noon", events.EveningSheet, "America/New_York", 720, "2026-03-07T12:00:00-05:00",
			[]string{"2026-03-07 18:00 EST", "2026-03-08 18:00 EDT"}},
		{"6 hours later, in the hour that comes twice", events.EveningSheet, "America/Sao_Paulo", 17*60 + 30, "2018-02-17T12:00:00-02:00",
			[]string{"2018-02-17 23:30 -02", "2018-02-18 23:30 -03"}},
		{"6 hours later, past midnight, in what is left out", events.EveningSheet, "Australia/Lord_Howe", 20*60 + 15, "2026-10-02T12:00:00+10:30",
			[]string{"2026-10-03 02:15 +1030", "2026-10-04 02:30 +11", "2026-10-05 02:15 +11"}},
		{"6 hours later, past midnight, twice", events.EveningSheet, "America/New_York", 19*60 + 30, "2026-10-30T12:00:00-04:00",
			[]string{"2026-10-31 01:30 EDT", "2026-11-01 01:30 EDT", "2026-11-02 01:30 EST"}},
		{"the Mondays about a change", events.WeeklySheet, "America/New_York", 360, "2026-03-01T12:00:00-05:00",
			[]string{"2026-03-02 06:00 EST", "2026-03-09 06:00 EDT", "2026-03-16 06:00 EDT"}},
		{"the Monday after the day without a midnight", events.WeeklySheet, "America/Sao_Paulo", 0, "2018-10-28T12:00:00-03:00",
			[]string{"2018-10-29 00:00 -03", "2018-11-05 00:00 -02"}},
		{"the beat, a time left out", events.DailyBeat, "America/New_York", 150, "2026-03-07T12:00:00-05:00",
			[]string{"2026-03-08 03:00 EDT", "2026-03-09 02:30 EDT"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			sheetBubble(t, func(t *testing.T, h *fakeHub) {
				r := startSheets(t, h, c.zone, c.minute, c.start)
				defer r.end()
				for len(h.sheetsOf(c.sheet)) < len(c.want) && h.clock.Now().Before(instant(t, c.start).Add(16*24*time.Hour)) {
					r.step(15 * time.Minute)
				}
				var got []string
				for _, s := range h.sheetsOf(c.sheet) {
					got = append(got, s.Date+s.At.In(h.zone).Format(" 15:04 MST"))
				}
				require.Equal(t, c.want, got)
			})
		})
	}
}

// The hub is stopped and started at any moment of the year, also over the hour of
// a sheet, and its clock is stepped unevenly. 2018 began on a Monday, so it had 53.
func TestAYearHasEverySheetOnceForEachLocalDayOrWeek(t *testing.T) {
	for i, c := range []struct {
		zone, start string
		minute      int
		mondays     int
	}{
		{"America/New_York", "2026-01-01T00:00:00-05:00", 360, 52},
		{"America/Sao_Paulo", "2018-01-01T00:00:00-02:00", 0, 53},
		{"Australia/Lord_Howe", "2026-01-01T00:00:00+11:00", 105, 52},
		{"Australia/Lord_Howe", "2026-01-01T00:00:00+11:00", 13 * 60, 52},
	} {
		t.Run(fmt.Sprintf("%s %d", c.zone, c.minute), func(t *testing.T) {
			sheetBubble(t, func(t *testing.T, h *fakeHub) {
				throw := rand.New(rand.NewPCG(uint64(i), 26)) // #nosec G404 -- the same year at each run
				r := startSheets(t, h, c.zone, c.minute, c.start)
				end := time.Date(instant(t, c.start).AddDate(0, 0, 1).Year()+1, 1, 1, 0, 0, 0, 0, h.zone).Add(-time.Millisecond)
				for left := end.Sub(h.clock.Now()); left > 0; left = end.Sub(h.clock.Now()) {
					if throw.IntN(40) == 0 {
						r.end()
						h.clock.Step(min(time.Duration(throw.IntN(11*60))*time.Minute, left))
						r = h.begin()
						r.settle()
						continue
					}
					r.step(min(time.Duration(1+throw.IntN(9*60))*time.Minute, left))
				}
				r.end()
				days, mondays := datesOf(t, c.start[:4])
				require.Len(t, days, 365)
				require.Len(t, mondays, c.mondays)
				require.Equal(t, days, issued(h, events.MorningSheet))
				require.Equal(t, days, issued(h, events.EveningSheet))
				require.Equal(t, days, issued(h, events.DailyBeat))
				require.Equal(t, mondays, issued(h, events.WeeklySheet))
			})
		})
	}
}

func issued(h *fakeHub, sheet string) (dates []string) {
	for _, s := range h.sheetsOf(sheet) {
		dates = append(dates, s.Date)
	}
	return dates
}

// datesOf lists the days of a year, and the Mondays among them.
func datesOf(t *testing.T, year string) (days, mondays []string) {
	first, err := time.Parse(time.DateOnly, year+"-01-01")
	require.NoError(t, err)
	for d := first; d.Year() == first.Year(); d = d.AddDate(0, 0, 1) {
		days = append(days, d.Format(time.DateOnly))
		if d.Weekday() == time.Monday {
			mondays = append(mondays, d.Format(time.DateOnly))
		}
	}
	return days, mondays
}

func TestAMissedSheetIsMadeAtTheStartButOnlyTheLast(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(mill, scheduler.Assessment{})
		h.askAlways(north, shut(scheduler.Floor, time.Time{}))
		h.begun = day.Add(-30 * 24 * time.Hour)
		r := h.begin()
		r.settle()
		require.Len(t, h.sheets(), 1)
		require.Equal(t, "2026-01-15", h.sheets()[0].Date)
		require.True(t, h.sheets()[0].At.Equal(day.Add(-time.Hour)), "it says when it was due")
		require.Equal(t, []string{"2026-01-15"}, issued(h, events.DailyBeat))
		require.Equal(t, []string{"2026-01-14"}, issued(h, events.EveningSheet), "the last one was yesterday's")
		require.Equal(t, []string{"2026-01-12"}, issued(h, events.WeeklySheet), "on a Thursday for the Monday")
		r.end()
		h.clock.Step(5*24*time.Hour - 2*time.Hour) // 05:00 on the 20th
		r = h.begin()
		defer r.end()
		r.settle()
		r.settle()
		require.Len(t, h.sheets(), 2)
		require.Equal(t, "2026-01-19", h.sheets()[1].Date)
		require.Equal(t, []string{"2026-01-15", "2026-01-19"}, issued(h, events.DailyBeat))
		require.Equal(t, []string{"2026-01-14", "2026-01-19"}, issued(h, events.EveningSheet))
		require.Equal(t, []string{"2026-01-12", "2026-01-19"}, issued(h, events.WeeklySheet))
	})
}

func TestASiteHasNoSheetForADayBeforeItsFirstEntry(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(mill, scheduler.Assessment{})
		h.begun = day
		r := h.begin()
		defer r.end()
		r.settle()
		h.askAlways(north, shut(scheduler.Floor, time.Time{}))
		r.settle()
		require.Empty(t, h.words()[1:], "a statement, and no sheet")
		r.step(23 * time.Hour)
		require.Len(t, h.sheets(), 1)
		require.Len(t, h.sheetsOf(events.EveningSheet), 1)
		require.Len(t, h.sheetsOf(events.DailyBeat), 1)
		require.Empty(t, h.sheetsOf(events.WeeklySheet), "the next Monday's is the first")
	})
}

func TestTheSheetListsTheWallsByWhatIsToBeDone(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.begun = day.Add(-48 * time.Hour)
		add := func(name string, a scheduler.Assessment) {
			h.askAlways(scheduler.Ref{Site: "mill", Wall: name}, a)
		}
		state := func(s string) scheduler.Assessment { a := curing(); a.State = s; return a }
		h.askAlways(mill, scheduler.Assessment{})
		add("a-cured", cured(day.Add(-2*time.Hour)))
		add("a-waits", shut(scheduler.Temperature, day.Add(30*time.Hour)))
		add("b-today", shut(scheduler.Temperature, day.Add(10*time.Hour)))
		add("c-open", open(day.Add(-time.Hour)))
		add("d-overdue", with(open(day.Add(-80*time.Hour)), alert(scheduler.AlertBraceOverdue, "window", day)))
		add("e-unknown", shut(scheduler.Complete, time.Time{}))
		add("f-planned", state(scheduler.StatePlanned))
		add("g-stripped", state(scheduler.StateStripped))
		add("h-over", state(scheduler.StateHandedOver))
		h.askAlways(scheduler.Ref{Site: "yard", Wall: "other"}, curing())
		r := h.begin()
		defer r.end()
		r.settle()
		words := h.words()
		i := slices.IndexFunc(words, func(e events.Event) bool { return e.Subject() == "pour.mill._.sheet.issued" })
		require.GreaterOrEqual(t, i, 0)
		require.Equal(t, []events.SheetWall{
			{Wall: "d-overdue", What: "overdue", At: day.Add(-80 * time.Hour)},
			{Wall: "c-open", What: "may-strip", At: day.Add(-time.Hour)},
			{Wall: "b-today", What: "expected", At: day.Add(10 * time.Hour)},
			{Wall: "a-cured", What: "waiting", Text: "cured, waits for support"},
			{Wall: "a-waits", What: "waiting", At: day.Add(30 * time.Hour)},
			{Wall: "e-unknown", What: "waiting"},
		}, words[i].Data.(*events.SheetIssued).Walls)
	})
}

// braces are so many that stand, and one that was taken off.
func braces(a scheduler.Assessment, n int) scheduler.Assessment {
	a.Braces = []scheduler.BraceWindow{{Name: "gone", State: scheduler.BraceStripped}, {Name: "planned", State: scheduler.BracePlanned}}
	for i := range n {
		states := []string{scheduler.BraceStanding, scheduler.BraceMayStrip, scheduler.BraceDisturbed}
		a.Braces = append(a.Braces, scheduler.BraceWindow{Name: fmt.Sprintf("b%d", i), State: states[i%3]})
	}
	return a
}

// frosty is a wall that frost is forecast for.
func frosty(a scheduler.Assessment, about *events.About) scheduler.Assessment {
	x := alert(scheduler.AlertFrostAhead, "frost 2026-01-15", day)
	x.Text, x.About = "Frost is forecast. Cover it.", about
	a.Alerts = append(slices.Clip(a.Alerts), x)
	return a
}

// askSite makes a site with walls, looked at by a hub that is due to make every sheet.
func askSite(h *fakeHub, walls map[string]scheduler.Assessment) *running {
	h.begun, h.braced = day.Add(-8*24*time.Hour), day.Add(-3*24*time.Hour)
	h.askAlways(mill, scheduler.Assessment{})
	for name, a := range walls {
		h.askAlways(scheduler.Ref{Site: "mill", Wall: name}, a)
	}
	r := h.begin()
	r.settle()
	return r
}

func TestTheSheetsCountTheBracesAndNameTheFrost(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.zone = location(t, "America/New_York")
		cold := -1.5
		r := askSite(h, map[string]scheduler.Assessment{
			"a": frosty(braces(shut(scheduler.Temperature, day.Add(3*time.Hour)), 4), &events.About{Measure: "temperature", Have: &cold, Until: day.Add(19 * time.Hour)}),
			"b": frosty(braces(open(day.Add(-time.Hour)), 1), nil),
		})
		defer r.end()
		for _, sheet := range []string{events.MorningSheet, events.EveningSheet} {
			s := h.sheetsOf(sheet)
			require.Len(t, s, 1)
			require.Equal(t, []events.SheetWall{
				{Wall: "b", What: "may-strip", At: day.Add(-time.Hour), Braces: 1, Frost: "Frost is forecast. Cover it."},
				{Wall: "a", What: "expected", At: day.Add(3 * time.Hour), Braces: 4, Frost: "from Thu 15 Jan 21:00 EST, -1.5 °C"},
			}, s[0].Walls, sheet)
		}
	})
}

func TestTheEveningSheetSaysWhatBearsOnTheNight(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		held := cured(day.Add(-2 * time.Hour))
		held.Strip.Governs = scheduler.Hold
		held.Strip.Criteria = []scheduler.Criterion{{Name: scheduler.Hold, Have: "1", Need: "none", Note: "hold h1 by p-7: crack at the sill"}}
		bare := shut(scheduler.Floor, day.Add(20*time.Hour))
		bare.Checks = []scheduler.CheckList{{Name: checks.After, Open: []checks.Missing{
			{Item: checks.Item{ID: "specimens"}, Why: "not answered"},
			{Item: checks.Item{ID: "top-cured"}, Why: "answered no"},
			{Item: checks.Item{ID: "cold-covered"}, Why: "not answered"},
		}}}
		placing := shut(scheduler.Complete, time.Time{})
		placing.State = scheduler.StatePlacing
		over, off := cured(day), cured(day)
		over.State, off.State = scheduler.StateHandedOver, scheduler.StateStripped
		r := askSite(h, map[string]scheduler.Assessment{"bare": bare, "held": held, "placing": placing, "over": over, "off": off})
		defer r.end()
		require.Equal(t, []events.SheetWall{
			{Wall: "bare", What: "waiting", At: day.Add(20 * time.Hour), Text: "cover of the top: answered no; cover against the cold: not answered"},
			{Wall: "held", What: "waiting", Text: "cured, waits for hold; hold h1 by p-7: crack at the sill"},
			{Wall: "placing", What: "waiting", Text: "still being placed"},
		}, h.sheetsOf(events.EveningSheet)[0].Walls)

		r.step(10 * time.Hour) // 17:00: the next one, to which the morning counts as tomorrow
		sheets := h.sheetsOf(events.EveningSheet)
		require.Equal(t, "2026-01-15", sheets[1].Date)
		require.Equal(t, "expected", sheets[1].Walls[0].What)
	})
}

// The items about covers are there under the names that the sheet knows.
func TestTheChecksHaveTheItemsAboutCovers(t *testing.T) {
	var ids []string
	for _, i := range checks.Items(checks.After, nil) {
		ids = append(ids, i.ID)
	}
	require.Subset(t, ids, []string{"top-cured", "cold-covered"})
}

func TestTheRegisterOfTheWeekHasEveryWallWithBraces(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		planned, over := curing(), braces(cured(day), 1)
		planned.State, planned.Strip.Expected, over.State = scheduler.StatePlanned, scheduler.Expected{}, scheduler.StateHandedOver
		r := askSite(h, map[string]scheduler.Assessment{
			"a-planned": braces(planned, 2), "b-curing": braces(shut(scheduler.Floor, day.Add(200*time.Hour)), 3), "c-open": braces(open(day), 6),
			"d-bare": braces(curing(), 0), "e-over": over,
			"f-overdue": braces(with(open(day.Add(-80*time.Hour)), alert(scheduler.AlertBraceOverdue, "window", day)), 1),
		})
		defer r.end()
		lines := h.sheetsOf(events.WeeklySheet)[0].Walls
		var got []string
		for _, l := range lines {
			got = append(got, fmt.Sprintf("%s|%s|%d|%s", l.Wall, l.What, l.Braces, l.Text))
		}
		require.Equal(t, []string{
			"f-overdue|overdue|1|braced since Mon 12 Jan 07:00 UTC; window open",
			"c-open|may-strip|6|braced since Mon 12 Jan 07:00 UTC; window open",
			"a-planned|waiting|2|braced since Mon 12 Jan 07:00 UTC; planned",
			"b-curing|waiting|3|braced since Mon 12 Jan 07:00 UTC; curing, waits for floor",
			"e-over|waiting|1|braced since Mon 12 Jan 07:00 UTC; handed over",
		}, got)
		require.Empty(t, h.sheetsOf(events.DailyBeat)[0].Walls)
	})
}

// A site that is done with goes on only in the morning; one wall that is not
// handed over is enough for the rest.
func TestASiteWhoseWallsAreHandedOverIsLeftAlone(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		over := open(day)
		over.State = scheduler.StateHandedOver
		r := askSite(h, map[string]scheduler.Assessment{"a": over, "b": over})
		defer r.end()
		r.step(8 * 24 * time.Hour)
		require.Greater(t, len(h.sheets()), 1)
		for _, sheet := range []string{events.EveningSheet, events.WeeklySheet, events.DailyBeat} {
			require.Empty(t, h.sheetsOf(sheet), sheet)
		}
		h.askAlways(scheduler.Ref{Site: "mill", Wall: "c"}, curing())
		r.step(24 * time.Hour)
		require.Len(t, h.sheetsOf(events.DailyBeat), 2, "that of the day, late, and the next")
		require.NotEmpty(t, h.sheetsOf(events.EveningSheet))
		require.Len(t, h.sheetsOf(events.WeeklySheet), 1)
	})
}

// What has no room is left off at the end, and the sheet says so.
func TestASheetWithoutRoomSaysWhatItLeavesOff(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.begun = day.Add(-48 * time.Hour)
		h.set(func() {
			h.ought[mill] = func(time.Time) scheduler.Assessment { return scheduler.Assessment{} }
			for i := range 1400 {
				a := frosty(cured(day), nil)
				a.Strip.Governs = strings.Repeat("\"<long>", 40)
				a.Alerts[0].Text = strings.Repeat("é\\", 150)
				h.ought[scheduler.Ref{Site: "mill", Wall: fmt.Sprintf("w%04d", i)}] = func(time.Time) scheduler.Assessment { return a }
			}
		})
		r := h.begin()
		defer r.end()
		r.settle()
		require.Len(t, h.sheets(), 1)
		lines := h.sheets()[0].Walls
		require.Less(t, len(lines), 1400)
		require.Contains(t, lines[len(lines)-1].Text, fmt.Sprintf("%d more walls are not on this sheet; cured, waits for", 1400-len(lines)))
	})
}

func TestTheSheetOfAHugeSiteFitsIntoAnEvent(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.begun = day.Add(-48 * time.Hour)
		h.set(func() {
			h.ought[mill] = func(time.Time) scheduler.Assessment { return scheduler.Assessment{} }
			for i := range 2100 {
				ref := scheduler.Ref{Site: "mill", Wall: fmt.Sprintf("a-wall-with-the-longest-name-of-all-%04d", i)}
				a := open(day.Add(-time.Duration(i) * time.Millisecond))
				h.ought[ref] = func(time.Time) scheduler.Assessment { return a }
			}
		})
		r := h.begin()
		defer r.end()
		r.settle()
		require.Len(t, h.sheets(), 1)
		require.Len(t, h.sheets()[0].Walls, 1500)
	})
}
