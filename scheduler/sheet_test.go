package scheduler_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler"
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

func TestTheMorningSheetAcrossChangingClocks(t *testing.T) {
	for _, c := range []struct {
		name, zone string
		minute     int
		start      string
		want       []string // local date and when it was due
	}{
		{"New York, spring, a time left out", "America/New_York", 150, "2026-03-06T12:00:00-05:00",
			[]string{"2026-03-07 02:30 EST", "2026-03-08 03:00 EDT", "2026-03-09 02:30 EDT"}},
		{"New York, spring, the usual time", "America/New_York", 360, "2026-03-06T12:00:00-05:00",
			[]string{"2026-03-07 06:00 EST", "2026-03-08 06:00 EDT", "2026-03-09 06:00 EDT"}},
		{"New York, autumn, a time that comes twice", "America/New_York", 90, "2026-10-30T12:00:00-04:00",
			[]string{"2026-10-31 01:30 EDT", "2026-11-01 01:30 EDT", "2026-11-02 01:30 EST"}},
		{"Sao Paulo, the day without a midnight", "America/Sao_Paulo", 0, "2018-11-02T12:00:00-03:00",
			[]string{"2018-11-03 00:00 -03", "2018-11-04 01:00 -02", "2018-11-05 00:00 -02"}},
		{"Sao Paulo, the evening that comes twice", "America/Sao_Paulo", 23*60 + 30, "2018-02-16T12:00:00-02:00",
			[]string{"2018-02-16 23:30 -02", "2018-02-17 23:30 -02", "2018-02-18 23:30 -03"}},
		{"Lord Howe, half an hour left out", "Australia/Lord_Howe", 135, "2026-10-02T12:00:00+10:30",
			[]string{"2026-10-03 02:15 +1030", "2026-10-04 02:30 +11", "2026-10-05 02:15 +11"}},
		{"Lord Howe, half an hour twice", "Australia/Lord_Howe", 105, "2026-04-03T12:00:00+11:00",
			[]string{"2026-04-04 01:45 +11", "2026-04-05 01:45 +11", "2026-04-06 01:45 +1030"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			sheetBubble(t, func(t *testing.T, h *fakeHub) {
				r := startSheets(t, h, c.zone, c.minute, c.start)
				defer r.end()
				for len(h.sheets()) < len(c.want) && h.clock.Now().Before(instant(t, c.start).Add(96*time.Hour)) {
					r.step(5 * time.Minute)
				}
				var got []string
				for _, s := range h.sheets() {
					got = append(got, s.Date+s.At.In(h.zone).Format(" 15:04 MST"))
				}
				require.Equal(t, c.want, got)
			})
		})
	}
}

// The hub is stopped and started all year, and its clock is stepped unevenly.
func TestAYearHasOneMorningSheetForEachLocalDay(t *testing.T) {
	for zone, start := range map[string]string{
		"America/New_York": "2026-01-01T00:00:00-05:00", "America/Sao_Paulo": "2018-01-01T00:00:00-02:00", "Australia/Lord_Howe": "2026-01-01T00:00:00+11:00",
	} {
		t.Run(zone, func(t *testing.T) {
			sheetBubble(t, func(t *testing.T, h *fakeHub) {
				r := startSheets(t, h, zone, 90, start)
				end := instant(t, start).AddDate(1, 0, 0)
				for i := 0; h.clock.Now().Before(end); i++ {
					step := time.Duration(37+i%11*29) * time.Minute
					r.step(min(step, end.Add(-time.Millisecond).Sub(h.clock.Now())+time.Nanosecond))
					if i%50 == 0 {
						r.end()
						h.clock.Step(min(90*time.Minute, end.Sub(h.clock.Now())))
						r = h.begin()
						r.settle()
					}
				}
				r.end()
				date, err := time.Parse(time.DateOnly, start[:10])
				require.NoError(t, err)
				sheets := h.sheets()
				require.Len(t, sheets, 365)
				for _, s := range sheets {
					require.Equal(t, date.Format(time.DateOnly), s.Date)
					date = date.AddDate(0, 0, 1)
				}
			})
		})
	}
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
		r.end()
		h.clock.Step(5*24*time.Hour - 2*time.Hour) // 05:00 on the 20th
		r = h.begin()
		defer r.end()
		r.settle()
		r.settle()
		require.Len(t, h.sheets(), 2)
		require.Equal(t, "2026-01-19", h.sheets()[1].Date)
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
		require.Empty(t, h.sheets())
		r.step(23 * time.Hour)
		require.Len(t, h.sheets(), 1)
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
