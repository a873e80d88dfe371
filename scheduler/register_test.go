package scheduler_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// TestBracingIsWhatTheAssessmentSays: on any record, a strip is early or without a
// permit where an alert says so, a brace that stands has the window of the
// assessment, and the sum of the wall is not less than what its criterion has.
func TestBracingIsWhatTheAssessmentSays(t *testing.T) {
	seen := map[string]int{}
	rapid.Check(t, func(rt *rapid.T) {
		w := drawWorld(rt, 20)
		at := w.moment().Add(24 * time.Hour)
		w.rec.facts = w.stream()
		f := w.rec.fold(propertySite)
		st := f.walls[propertyWall]
		before := st.Digest()
		a := scheduler.Assess(f.site, f.devices, st, scheduler.Hub{}, at)
		b := scheduler.BracingOf(f.site, f.devices, st, scheduler.Hub{}, at)
		require.Equal(t, a, b.Assessment)
		require.Equal(t, before, st.Digest(), "the state is only read")

		alert := func(kind string, e *wall.Entry) bool {
			for _, x := range a.Alerts {
				if x.Kind == kind && x.Cause == "strip "+e.Key().ID {
					return true
				}
			}
			return false
		}
		windows := map[string]scheduler.BraceWindow{}
		for _, y := range a.Braces {
			windows[y.Name] = y
		}
		for _, y := range b.Stands {
			require.GreaterOrEqual(t, y.KeptS, int64(0))
			require.Zero(t, y.KeptS%60)
			switch {
			case y.Stripped != nil && !y.Stripped.Began.EarlyTime().After(at):
				require.Equal(t, alert(scheduler.AlertStripEarly, y.Stripped), y.Early != "")
				require.Equal(t, alert(scheduler.AlertStripUnpermitted, y.Stripped), y.Unpermitted != "")
				require.False(t, y.Early == "" && y.Margin.Known && y.Margin.S < 0, "%+v", y.Margin)
				if d, ok := y.Stripped.Last().(*events.BraceStripped); (!ok || d.All || len(d.Braces) == 1) && y.Early != "" {
					require.True(t, y.Margin.Known && y.Margin.S < 0, "%s: %+v", y.Early, y)
				}
				seen["stripped"]++
			case y.Set != nil && y.Set.Ended.LateTime().After(at):
				require.False(t, windows[y.Brace].MayStrip, "it is not sure that it stands")
				seen["unsure"]++
			case y.Stripped == nil && len(windows[y.Brace].Strip.Criteria) == 0:
				require.False(t, windows[y.Brace].MayStrip, "it is not sure that it stands, or nothing is placed yet")
			case y.Stripped == nil && y.Undone == nil && a.State != scheduler.StateHandedOver:
				require.Equal(t, windows[y.Brace].ClockZero, y.Zero)
				require.Equal(t, windows[y.Brace].State, y.State)
				if windows[y.Brace].MayStrip {
					require.False(t, y.Opened.IsZero())
					require.False(t, y.Opened.After(windows[y.Brace].Strip.OpenedAt), "the permit comes last")
					seen["may"]++
				}
				seen["stands"]++
			}
		}
	})
	require.NotZero(t, seen["stripped"])
	require.NotZero(t, seen["stands"])
	require.NotZero(t, seen["may"])
}

// TestHandedOverKeepsItsStrips: that a wall is handed over ends its alerts but those
// of how its braces came off, of which it takes back nothing.
func TestHandedOverKeepsItsStrips(t *testing.T) {
	s := newStage()
	s.runSite(t, words{plain: []string{"alder"}, options: map[string][]string{"zone": {"Europe/Oslo"}}}, "")
	s.runDevice(t, words{plain: []string{"phone-a"}, options: map[string][]string{"offset": {"0s"}}}, "")
	s.runOpen(t, words{options: map[string][]string{"at": {"2026-06-01@06:00"}}}, "")
	s.runPour(t, words{plain: []string{"w1"}, options: map[string][]string{"last": {"2026-06-01@12:00"}}}, "")
	s.lines(t, "2026-06-02 12:00 phone-a p-crew brace.stripped w1 all=true", "2026-06-05 12:00 office p-boss wall.handed-over w1 to=framers")
	f := s.facts.fold("alder")
	b := scheduler.BracingOf(f.site, f.devices, f.walls["w1"], scheduler.Hub{}, time.Date(2026, 6, 8, 0, 0, 0, 0, time.UTC))
	require.Equal(t, scheduler.StateHandedOver, b.Assessment.State)
	require.Len(t, b.Assessment.Alerts, 2)
	require.Equal(t, scheduler.AlertStripEarly, b.Assessment.Alerts[0].Kind)
	require.Equal(t, scheduler.AlertStripUnpermitted, b.Assessment.Alerts[1].Kind)
	require.Len(t, b.Stands, 3)
	for _, y := range b.Stands {
		require.Contains(t, y.Early, "floor")
		require.Equal(t, "without a permit to strip", y.Unpermitted)
		require.Equal(t, int64(24*3600), y.KeptS)
	}
}
