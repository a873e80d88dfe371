package scheduler

import (
	"fmt"
	"slices"
	"time"
)

// watch guards the hub's clock and gathers what shuts every window.
func (l *Loop) watch(p Page, st Status, now time.Time) {
	elapsed := l.cfg.Clock.Elapsed()
	facts := ClockFacts{Wall: now, Elapsed: elapsed, CatchingUp: !st.Level, Synchronised: l.cfg.Synchronised()}
	// At a jump the guard has to know every word from before it.
	if st.Offsets != nil && (l.offsets == nil || l.doubtSince != time.Time{} || elapsed-l.offsetsAt >= offsetsEvery || l.guard.Jumps(facts)) {
		l.offsets, l.offsetsAt = st.Offsets(), elapsed
	}
	facts.Offsets = l.offsets
	l.guard.Look(facts)
	doubts := slices.Clone(l.guard.Doubts())
	switch {
	case len(doubts) == 0:
		l.doubtSince = time.Time{}
	case l.doubtSince.IsZero():
		l.doubtSince = now
	}
	for _, h := range st.Holes {
		doubts = append(doubts, fmt.Sprintf("entries %d to %d are missing from the stream", h.From, h.To))
	}
	if st.Short {
		doubts = append(doubts, "the stream is shorter than the record")
	}
	if !slices.Equal(doubts, l.Hub().Doubts) {
		if len(doubts) > 0 {
			l.cfg.Log.Warn("all windows are shut", "doubts", doubts)
		} else {
			l.cfg.Log.Info("nothing of the hub's own shuts the windows any more")
		}
		l.hub.Store(&Hub{Doubts: doubts})
		if l.subscribed {
			l.markAll(p)
		}
	}
}

// hubAlerts are the alerts about the hub itself. That the stream is short cannot
// be said through the stream.
func (l *Loop) hubAlerts(st Status) []Alert {
	var out []Alert
	if !l.doubtSince.IsZero() {
		out = append(out, Alert{
			Kind: AlertClockDoubtful, Cause: HubDevice, Since: l.doubtSince,
			Text: "The hub's clock cannot be trusted: " + l.guard.Doubts()[0] + ". All windows are shut.",
		})
	}
	for _, h := range st.Holes {
		out = append(out, Alert{
			Kind: AlertStreamHole, Cause: fmt.Sprintf("%d-%d", h.From, h.To), Since: h.Since,
			Text: fmt.Sprintf("Entries %d to %d are missing from the stream. All windows are shut until they are back or a keeper accepts the hole by name.", h.From, h.To),
		})
	}
	return out
}
