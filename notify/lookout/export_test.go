package lookout

import "time"

// Watch is the state machine.
type Watch = watch

// Word is what it says.
type Word = word

// NewWatch returns one with the usual times.
func NewWatch(begun time.Time) *Watch {
	return &watch{silentLong: silentLong, unwellLong: unwellLong, againAfter: againAfter, againMost: againMost, againTimes: againTimes, begun: begun}
}

// Beat takes a heartbeat that counts.
func (w *watch) Beat(h Health, now time.Time) []Word { return w.beat(h, now) }

// Tick judges.
func (w *watch) Tick(now time.Time) []Word { return w.tick(now) }

// Next is when to judge again.
func (w *watch) Next() time.Time { return w.next() }
