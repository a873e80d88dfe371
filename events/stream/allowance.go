package stream

import (
	"time"

	"golang.org/x/time/rate"
)

// allowance is what a device may send in a day. It fills again evenly over a day,
// so that in no 24 hours more than twice of it goes through. A device that has but
// an eighth left rests until a quarter is there again: out of the eighth it may
// still say small things, come in, ask for its receipt, hear its alerts; anything
// greater ends its connection.
type allowance struct {
	bytes, messages *rate.Limiter
	resting         bool // under the meter's mu
}

const (
	restFrom     = 1. / 8 // of the measure: what is left where rest begins
	restUntil    = 1. / 4
	restingChunk = 512 // bytes at once that a resting device may send
)

func newAllowance(bytes, messages int) *allowance {
	perDay := func(n int) *rate.Limiter {
		return rate.NewLimiter(rate.Limit(float64(n)/(24*time.Hour).Seconds()), n)
	}
	return &allowance{bytes: perDay(bytes), messages: perDay(messages)}
}

// take reports whether a device may send so much more at a moment. began says that
// this is where its rest begins.
func (a *allowance) take(now time.Time, bytes, messages int) (ok, began bool) {
	left := func(part float64, bytes, messages int) bool {
		return a.bytes.TokensAt(now)-float64(bytes) >= part*float64(a.bytes.Burst()) &&
			a.messages.TokensAt(now)-float64(messages) >= part*float64(a.messages.Burst())
	}
	if a.resting && left(restUntil, 0, 0) {
		a.resting = false
	}
	if began = !a.resting && !left(restFrom, bytes, messages); began {
		a.resting = true
	}
	if a.resting && (bytes > restingChunk || !left(0, bytes, messages)) {
		return false, began
	}
	return a.bytes.AllowN(now, bytes) && a.messages.AllowN(now, messages), began
}

// full reports that nothing of it is used.
func (a *allowance) full(now time.Time) bool {
	return a.bytes.TokensAt(now) >= float64(a.bytes.Burst()) && a.messages.TokensAt(now) >= float64(a.messages.Burst())
}
