package scheduler_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler"
)

func laters(h *fakeHub) (raised []*events.AlertRaised, cleared []*events.AlertCleared) {
	for _, a := range h.raised() {
		if a.Kind == scheduler.AlertWindowLater {
			raised = append(raised, a)
		}
	}
	for _, a := range h.cleared() {
		if a.Kind == scheduler.AlertWindowLater {
			cleared = append(cleared, a)
		}
	}
	return raised, cleared
}

func cured(at time.Time) scheduler.Assessment {
	a := shut(scheduler.Support, at)
	a.Strip.CuredAt = at
	return a
}

func TestAStatedTimeThatSlipsIsTold(t *testing.T) {
	placing := shut(scheduler.Complete, day.Add(10*time.Hour))
	placing.State = scheduler.StatePlacing
	stripped := shut(scheduler.Floor, day.Add(20*time.Hour))
	stripped.State = scheduler.StateStripped
	for name, c := range map[string]struct {
		said, now scheduler.Assessment
		permit    bool
		told      string // part of the text; empty: nobody is told
	}{
		"expected, by 30 minutes": {shut(scheduler.Floor, day.Add(4*time.Hour)), shut(scheduler.Floor, day.Add(4*time.Hour+30*time.Minute)), false, ""},
		"expected, by more": {shut(scheduler.Floor, day.Add(4*time.Hour)), shut(scheduler.Temperature, day.Add(4*time.Hour+31*time.Minute)), false,
			"The window was expected at Thu 15 Jan 11:00 UTC. It is now Thu 15 Jan 11:31 UTC: equivalent age, 30.5 of 48 h."},
		"in ten hours, by a tenth":       {shut(scheduler.Floor, day.Add(10*time.Hour)), shut(scheduler.Floor, day.Add(11*time.Hour)), false, ""},
		"in ten hours, by more":          {shut(scheduler.Floor, day.Add(10*time.Hour)), shut(scheduler.Floor, day.Add(11*time.Hour+time.Minute)), false, "was expected at"},
		"earlier":                        {shut(scheduler.Floor, day.Add(10*time.Hour)), shut(scheduler.Floor, day.Add(5*time.Hour)), false, ""},
		"expected, not known any more":   {shut(scheduler.Floor, day.Add(10*time.Hour)), shut(scheduler.Frost, time.Time{}), false, "When it opens is not known now: frost"},
		"expected in two days":           {shut(scheduler.Floor, day.Add(48*time.Hour)), shut(scheduler.Floor, day.Add(60*time.Hour)), false, ""},
		"in two days, a permit stands":   {shut(scheduler.Floor, day.Add(48*time.Hour)), shut(scheduler.Floor, day.Add(60*time.Hour)), true, "was expected at"},
		"while it was still placed":      {placing, shut(scheduler.Floor, day.Add(20*time.Hour)), true, ""},
		"cured, by more":                 {cured(day), cured(day.Add(31 * time.Minute)), false, "was stated cured at Thu 15 Jan 07:00 UTC. It is now Thu 15 Jan 07:31 UTC"},
		"cured, not any more":            {cured(day), shut(scheduler.Frost, time.Time{}), false, "When it opens is not known now"},
		"open, shut by the wind":         {open(day), func() scheduler.Assessment { a := cured(day); a.Strip.Governs = scheduler.Wind; return a }(), false, "was stated open at Thu 15 Jan 07:00 UTC. It is shut again: wind"},
		"open, and stripped":             {open(day), stripped, false, ""},
		"expected, and open before that": {shut(scheduler.Floor, day.Add(10*time.Hour)), open(day), true, ""},
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T, h *fakeHub) {
				h.permit = c.permit
				h.askAlways(north, c.said)
				r := h.begin()
				defer r.end()
				r.settle()
				h.askAlways(north, c.now)
				r.settle()
				raised, _ := laters(h)
				if c.told == "" {
					require.Empty(t, raised)
					return
				}
				require.Len(t, raised, 1)
				require.Contains(t, raised[0].Text, c.told)
				require.Contains(t, raised[0].Text, "Do not strip on the earlier word.")
			})
		})
	}
}

func TestASlippingWindowIsOneAlertUntilItKeepsItsWord(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, shut(scheduler.Temperature, day.Add(10*time.Hour)))
		r := h.begin()
		defer r.end()
		r.settle()
		for i := range 5 {
			h.askAlways(north, shut(scheduler.Temperature, day.Add(time.Duration(11+i)*time.Hour)))
			r.step(15 * time.Minute)
		}
		raised, cleared := laters(h)
		require.Len(t, raised, 1)
		require.Empty(t, cleared)
		h.askAlways(north, shut(scheduler.Temperature, day.Add(10*time.Hour+10*time.Minute)))
		r.settle()
		r.step(10 * time.Minute)
		_, cleared = laters(h)
		require.Len(t, cleared, 1)
		require.Equal(t, raised[0].Alert, cleared[0].Alert)
	})
}

func TestAWindowThatShutsIsToldEvenIfItSlippedBefore(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		r := h.begin()
		defer r.end()
		for _, a := range []scheduler.Assessment{
			shut(scheduler.Temperature, day.Add(time.Hour)), shut(scheduler.Temperature, day.Add(2*time.Hour)), // slips
			open(day), shut(scheduler.Hold, time.Time{}), // opens, shuts within the off-delay
			open(day), shut(scheduler.Hold, time.Time{}), // and again: the same alert stands
		} {
			h.askAlways(north, a)
			r.settle()
		}
		raised, cleared := laters(h)
		require.Len(t, raised, 2)
		require.Contains(t, raised[1].Text, "It is shut again: a hold or an open doubt, 30.5 of 48 h.")
		require.Empty(t, cleared)
		h.askAlways(north, open(day))
		r.settle()
		r.step(10 * time.Minute)
		_, cleared = laters(h)
		require.Len(t, cleared, 2)
		h.askAlways(north, shut(scheduler.Hold, time.Time{}))
		r.settle()
		raised, _ = laters(h)
		require.Len(t, raised, 3)
	})
}

// If the hub stops between the alert and the statement, the alert is out; were
// it the other way round, nothing would be left to compare with.
func TestTheAlertGoesOutBeforeTheStatementThatExplainsIt(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, open(day))
		r := h.begin()
		r.settle()
		h.set(func() { h.failures = []failure{halfStored} })
		h.askAlways(north, shut(scheduler.Hold, time.Time{}))
		time.Sleep(10 * time.Millisecond)
		r.end()
		raised, _ := laters(h)
		require.Len(t, raised, 1)
		require.Len(t, h.statements(), 1)
		r = h.begin()
		defer r.end()
		r.settle()
		raised, _ = laters(h)
		require.Len(t, raised, 1)
		require.Len(t, h.statements(), 2)
	})
}
