package scheduler_test

import (
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler"
)

// doubted is open unless the hub is in doubt, as the real assessment is.
func doubted(h *fakeHub) func(time.Time) scheduler.Assessment {
	return func(time.Time) scheduler.Assessment {
		if len(h.hub.Doubts) > 0 {
			return shut(scheduler.Hold, time.Time{})
		}
		return open(day)
	}
}

func TestAClockThatJumpsShutsEveryWindowAndIsSaid(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.ask(north, doubted(h))
		h.ask(south, doubted(h))
		r := h.begin()
		defer r.end()
		r.settle()
		require.Empty(t, r.Hub().Doubts)
		h.clock.Jump(3 * time.Minute)
		r.settle()
		require.Len(t, r.Hub().Doubts, 1)
		words := h.statements()
		require.Len(t, words, 4)
		require.False(t, words[2].Open || words[3].Open)
		require.Empty(t, h.raised(), "the windows that the doubt shut are not alerts of their own")

		r.step(time.Minute)
		require.Empty(t, r.Hub().Doubts, "the time server confirms the clock")
		words = h.statements()
		require.Len(t, words, 6)
		require.True(t, words[4].Open && words[5].Open)
	})
}

// A device that spoke a moment before the clock was set back does not confirm
// it once the clock comes to that moment again.
func TestAWordFromBeforeAJumpBackOpensNothing(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.ask(north, doubted(h))
		r := h.beginAs(scheduler.Config{Synchronised: func() bool { return false }})
		defer r.end()
		r.step(time.Minute)
		h.set(func() { h.offsets = []scheduler.Offset{{Heard: h.clock.Now(), By: time.Second}} })
		r.step(offsetsHeard)
		require.Empty(t, r.Hub().Doubts)
		h.clock.Step(5 * time.Second)
		h.set(func() { h.offsets = []scheduler.Offset{{Heard: h.clock.Now(), By: time.Second}} })
		h.clock.Jump(-3 * time.Minute)
		r.settle()
		for range 6 {
			require.Len(t, r.Hub().Doubts, 1)
			r.step(time.Minute)
		}
		require.False(t, h.statements()[len(h.statements())-1].Open)
		h.set(func() { h.offsets = []scheduler.Offset{{Heard: h.clock.Now(), By: time.Second}} })
		r.step(offsetsHeard)
		require.Empty(t, r.Hub().Doubts)
	})
}

// offsetsHeard is after how long the loop has heard what devices say of their clocks.
const offsetsHeard = 10 * time.Second

func TestAClockInDoubtIsAnAlertOfTheCompany(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.ask(north, doubted(h))
		r := h.beginAs(scheduler.Config{Synchronised: func() bool { return false }})
		defer r.end()
		r.settle()
		require.Equal(t, []string{"nothing has confirmed the hub's clock since it started"}, r.Hub().Doubts)
		require.False(t, h.statements()[0].Open)
		require.Empty(t, h.raised())
		r.step(2 * time.Minute)
		require.Len(t, h.raised(), 1)
		e := h.words()[1]
		require.Equal(t, "pour._._.alert.raised", e.Subject())
		require.Equal(t, scheduler.AlertClockDoubtful, h.raised()[0].Kind)

		h.set(func() {
			h.offsets = []scheduler.Offset{{Heard: h.clock.Now(), By: time.Second}}
			h.append(stored{refs: []scheduler.Ref{north}})
		})
		r.settle()
		require.Empty(t, r.Hub().Doubts, "a device's clock confirms the hub's")
		require.True(t, h.statements()[1].Open)
		r.step(time.Minute)
		require.Len(t, h.cleared(), 1)

		h.set(func() { h.offsets = []scheduler.Offset{{Heard: h.clock.Now(), By: 6 * time.Minute}} })
		r.step(10 * time.Second)
		require.Len(t, r.Hub().Doubts, 1)
		r.step(2 * time.Minute)
		require.Len(t, h.raised(), 2)
		require.NotEqual(t, h.raised()[0].Alert, h.raised()[1].Alert)
	})
}

func TestAHoleInTheStreamShutsWindowsAndIsRaised(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.ask(north, doubted(h))
		r := h.begin()
		defer r.end()
		r.settle()
		h.set(func() {
			h.holes = []scheduler.Hole{{From: 41, To: 43, Since: day}}
			h.append(stored{refs: []scheduler.Ref{south}})
		})
		r.settle()
		require.Equal(t, []string{"entries 41 to 43 are missing from the stream"}, r.Hub().Doubts)
		require.False(t, h.statements()[1].Open)
		require.Equal(t, scheduler.AlertStreamHole, h.raised()[0].Kind)
		require.Equal(t, "41-43", h.raised()[0].Cause)
		h.set(func() { h.holes = nil; h.append(stored{sites: []string{scheduler.Company}}) })
		r.settle()
		r.step(time.Minute)
		require.Len(t, h.cleared(), 1)
		require.True(t, h.statements()[2].Open)
	})
}

func TestAShortStreamIsSilence(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.short = true
		h.ask(north, doubted(h))
		r := h.begin()
		defer r.end()
		time.Sleep(time.Second)
		synctest.Wait()
		require.Empty(t, h.words())
		require.True(t, r.Stats().Silent)
		require.Equal(t, []string{"the stream is shorter than the record"}, r.Hub().Doubts)
		h.set(func() { h.short = false })
		r.settle()
		require.False(t, r.Stats().Silent)
		require.True(t, slices.ContainsFunc(h.statements(), func(s *events.WindowStated) bool { return s.Open }))
	})
}

// Before the loop has looked at the clock there is doubt, not trust.
func TestALoopThatHasNotBegunDoubts(t *testing.T) {
	h := newFakeHub(t, day)
	l, err := scheduler.NewLoop(scheduler.Config{Record: h, Voice: h, Stream: h})
	require.NoError(t, err)
	require.NotEmpty(t, l.Hub().Doubts)
	require.True(t, l.Stats().Silent)
}
