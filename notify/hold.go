package notify

import (
	"math"
	"time"

	"earlyage/notify/desk"
)

// How long what is due waits for the stream, by the machine's time from when the
// reader fell behind. Who has answered, and what is over, stands in what is not
// heard yet; but nothing waits for ever.
const (
	awayFor   = 10 * time.Second // the stream cannot be read: then what is urgent goes
	urgentFor = 2 * time.Minute  // it is read, and its head not reached: then what is urgent goes
	holdMost  = 10 * time.Minute // then everything goes

	// The ledger cannot be written: for so long nothing is sent. Then what is urgent
	// is, and the stream is heard on. A stop has it sent again, under the same id.
	unwrittenFor = 10 * time.Second

	unknownHead = math.MaxUint64 // of the stream, until the reader says
)

// hold keeps what is due from being sent before the stream is heard up to the head
// that it had when reading began, or began anew.
type hold struct {
	target uint64          // that head
	since  time.Time       // by the machine's time: when the reader fell behind it
	away   bool            // the stream cannot be read
	fresh  map[string]bool // alerts that came directly: the hub knows that they stand now
}

func newHold() hold { return hold{target: unknownHead, since: time.Now(), fresh: map[string]bool{}} }

// behind takes in how far the stream reaches. Who is behind already is so since
// then.
func (h *hold) behind(at, target uint64) {
	if at >= h.target {
		h.since = time.Now()
		clear(h.fresh) // answers to them may stand in what is not heard yet
	}
	h.target, h.away = target, false
}

// leave is what may be sent now.
type leave int

const (
	freshOnly  leave = iota // of alerts that came directly
	urgentToo               // and what is urgent
	everything              // the stream is heard, or is waited for no more
)

func (e *Engine) leave() leave {
	waited := time.Since(e.hold.since)
	switch {
	case e.at >= e.hold.target || waited >= holdMost:
		return everything
	case waited >= urgentFor || e.hold.away && waited >= awayFor:
		return urgentToo
	}
	return freshOnly
}

// maySend reports whether a letter may be sent now.
func (e *Engine) maySend(l desk.Letter) bool {
	switch e.leave() {
	case everything:
		return true
	case urgentToo:
		return l.Priority == desk.Urgent || e.hold.fresh[l.Case]
	}
	return e.hold.fresh[l.Case]
}

// unwritten reports whether the ledger could not be written for too long to wait
// for it any more.
func (e *Engine) unwritten() bool {
	return !e.failing.IsZero() && time.Since(e.failing) >= unwrittenFor
}
