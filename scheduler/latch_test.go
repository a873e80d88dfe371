package scheduler_test

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/scheduler"
)

// Whatever becomes of the wall and of the assessment, and however often the hub
// is started anew: an early strip that nobody who may has acknowledged stands;
// once it is acknowledged it is cleared, and never raised again for that strip.
func TestPropertyAnEarlyStripStandsUntilItIsAnswered(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		rapid.Check(bubbled{t}, func(rt *rapid.T) {
			kind := rapid.SampledFrom([]string{scheduler.AlertStripEarly, scheduler.AlertStripUnpermitted, scheduler.AlertFaceEarly}).Draw(rt, "kind")
			h := newFakeHub(rt, day)
			h.askAlways(north, with(curing(), alert(kind, "strip a", day)))
			r := h.begin()
			defer func() { r.end() }()
			r.settle()
			answered := false
			for range rapid.IntRange(1, 12).Draw(rt, "steps") {
				switch rapid.SampledFrom([]string{"ask", "ask", "step", "restart", "answer"}).Draw(rt, "do") {
				case "ask":
					h.askAlways(north, drawAfterStrip(rt, kind))
				case "step":
					r.step(time.Duration(rapid.IntRange(1, 3000).Draw(rt, "minutes")) * time.Minute)
				case "restart":
					r.end()
					r = h.begin()
				case "answer":
					answered = h.acknowledge(north, kind, "p-officer") > 0 || answered
				}
				r.settle()
				raised, cleared := countOf(h, kind)
				require.Equal(rt, 1, raised, "told once, answered or not")
				require.Equal(rt, answered, cleared == 1, "cleared by its answer, and by nothing else")
			}
		})
	})
}

// drawAfterStrip is what is thought of the wall later: any state, the strip still
// held early or not.
func drawAfterStrip(rt *rapid.T, kind string) scheduler.Assessment {
	a := rapid.SampledFrom([]scheduler.Assessment{
		curing(), open(day), shut(scheduler.Wind, time.Time{}), {State: scheduler.StateStripped}, {State: scheduler.StateHandedOver}, {},
	}).Draw(rt, "wall")
	switch rapid.IntRange(0, 2).Draw(rt, "strip") {
	case 0:
		return with(a, alert(kind, "strip a", day))
	case 1:
		a.Nearing = []scheduler.Alert{{Kind: kind, Cause: "strip a", Near: true}}
	}
	return a
}

func countOf(h *fakeHub, kind string) (raised, cleared int) {
	for _, a := range h.raised() {
		if a.Kind == kind {
			raised++
		}
	}
	for _, a := range h.cleared() {
		if a.Kind == kind {
			cleared++
		}
	}
	return raised, cleared
}

// A cold joint and a freeze wait for both: that the matter is gone, and that
// somebody has answered. What comes back after that is told again.
func TestALatchedConditionWaitsForItsEndAndItsAnswer(t *testing.T) {
	for _, kind := range []string{scheduler.AlertJointCold, scheduler.AlertFrozen} {
		for _, answerFirst := range []bool{true, false} {
			bubble(t, func(t *testing.T, h *fakeHub) {
				standing := with(curing(), alert(kind, "at 2 m", day))
				h.askAlways(north, standing)
				r := h.begin()
				defer r.end()
				r.settle()
				first, second := func() { h.acknowledge(north, kind, "p-eng") }, func() { h.askAlways(north, curing()) }
				if !answerFirst {
					first, second = second, first
				}
				first()
				r.step(24 * time.Hour)
				_, cleared := countOf(h, kind)
				require.Zero(t, cleared, "%s, answered first %v", kind, answerFirst)
				second()
				r.settle()
				r.step(scheduler.AlertKinds[kind].OffDelay)
				_, cleared = countOf(h, kind)
				require.Equal(t, 1, cleared, "%s, answered first %v", kind, answerFirst)
				h.askAlways(north, standing)
				r.settle()
				raised, _ := countOf(h, kind)
				require.Equal(t, 2, raised, "%s came back", kind)
			})
		}
	}
}

// Another strip of the same wall is another matter, answered or not.
func TestAnotherEarlyStripIsAnotherAlert(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, with(curing(), alert(latched, "strip a", day)))
		r := h.begin()
		defer r.end()
		r.settle()
		require.Equal(t, 1, h.acknowledge(north, latched, "p-officer"))
		r.settle()
		h.askAlways(north, with(curing(), alert(latched, "strip a", day), alert(latched, "strip b", day)))
		r.settle()
		raised, cleared := countOf(h, latched)
		require.Equal(t, []int{2, 1}, []int{raised, cleared})
	})
}

// An alert about a message that reached nobody is the site's, and goes when the
// person is reached.
func TestAnAlertThatReachedNobodyIsRaisedOnTheSite(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(mill, scheduler.Assessment{Alerts: []scheduler.Alert{alert(scheduler.AlertUntold, "alert-1 p-4f2a", day)}})
		r := h.begin()
		defer r.end()
		r.settle()
		require.Len(t, h.raised(), 1)
		require.Equal(t, scheduler.High, h.raised()[0].Priority)
		require.Equal(t, "pour.mill._.alert.raised", h.words()[0].Subject())
		h.askAlways(mill, scheduler.Assessment{})
		r.settle()
		r.step(scheduler.AlertKinds[scheduler.AlertUntold].OffDelay)
		require.Len(t, h.cleared(), 1)
	})
}
