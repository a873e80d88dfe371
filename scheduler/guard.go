package scheduler

import (
	"slices"
	"time"
)

const (
	maxDrift     = 2 * time.Minute // of the wall clock against the steady one
	maxMedian    = 5 * time.Minute // of the devices' offsets
	recentFor    = time.Hour       // an offset heard longer ago says nothing of the clock now
	doubtAtLeast = time.Minute     // a jump is doubted at least so long, so that it is seen
)

// Offset is what one device last said of its clock.
type Offset struct {
	Heard time.Time     // the recorded time of the event that said it
	By    time.Duration // hub time minus device time
}

// ClockFacts is what the guard is shown at one moment.
type ClockFacts struct {
	Wall         time.Time     // the wall clock
	Elapsed      time.Duration // the steady clock
	Offsets      []Offset      // the devices' last words
	CatchingUp   bool          // the record is not level: words that are new to it may be old
	Synchronised bool          // the machine says that a time server keeps its clock
}

// Guard doubts the hub's own clock. A clock is trusted when something outside
// it has confirmed it since the start and since the last jump: the machine's
// synchronisation with a time server, or the median of the devices' offsets.
// The guard is pure and not safe for concurrent use.
type Guard struct {
	begun       bool
	baseWall    time.Time
	baseElapsed time.Duration
	old         map[Offset]bool // words that were known at the base
	confirmed   bool            // since the base
	jumped      bool            // the base is a jump, not the start
	disagree    bool
}

// Look takes the facts of this moment in.
func (g *Guard) Look(f ClockFacts) {
	if !g.begun {
		g.begun = true
		g.restart(f)
	}
	if g.Jumps(f) {
		g.restart(f)
		g.jumped = true
	}
	if f.CatchingUp && !g.confirmed {
		g.know(f.Offsets)
	}
	median, known := g.median(f)
	g.disagree = known && median.Abs() > maxMedian
	if g.disagree {
		g.confirmed = false
		return
	}
	settled := !g.jumped || f.Elapsed-g.baseElapsed >= doubtAtLeast
	if settled && (known || f.Synchronised) {
		g.confirmed = true
	}
}

// Jumps reports whether the wall clock has gained or lost more than it may on the
// steady one since the start or the last jump.
func (g *Guard) Jumps(f ClockFacts) bool {
	drift := f.Wall.Sub(g.baseWall) - (f.Elapsed - g.baseElapsed)
	return g.begun && drift.Abs() > maxDrift
}

func (g *Guard) restart(f ClockFacts) {
	g.baseWall, g.baseElapsed, g.confirmed = f.Wall, f.Elapsed, false
	g.know(f.Offsets)
}

// know notes words that say nothing of the clock as it is now. Their times do
// not tell: after a jump back, what was heard before it lies ahead.
func (g *Guard) know(words []Offset) {
	g.old = make(map[Offset]bool, len(words))
	for _, o := range words {
		g.old[o] = true
	}
}

// The doubts of the clock. They name no figure, so that they stay the same
// while the condition lasts.
const (
	doubtJumped    = "the hub's clock jumped by over 2 minutes and nothing has confirmed it since"
	doubtDisagree  = "the hub's clock and its devices' clocks are over 5 minutes apart"
	doubtUnchecked = "nothing has confirmed the hub's clock since it started"
)

// Doubts says why the clock is not to be trusted; nothing: it is.
func (g *Guard) Doubts() []string {
	switch {
	case g.disagree:
		return []string{doubtDisagree}
	case g.confirmed:
		return nil
	case g.jumped:
		return []string{doubtJumped}
	default:
		return []string{doubtUnchecked}
	}
}

// median is the median of the offsets heard since the base and within the last
// hour; of an even number the greater of the two in the middle by size, which is
// the safe one.
func (g *Guard) median(f ClockFacts) (time.Duration, bool) {
	var recent []time.Duration
	for _, o := range f.Offsets {
		if !g.old[o] && !o.Heard.Before(g.baseWall) && !o.Heard.After(f.Wall) && f.Wall.Sub(o.Heard) <= recentFor {
			recent = append(recent, o.By)
		}
	}
	if len(recent) == 0 {
		return 0, false
	}
	slices.Sort(recent)
	lower, upper := recent[(len(recent)-1)/2], recent[len(recent)/2]
	if lower.Abs() > upper.Abs() {
		return lower, true
	}
	return upper, true
}
