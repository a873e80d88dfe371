package notify

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"time"

	"earlyage/notify/desk"
)

// ErrStopped is returned by Settle when the engine has stopped.
var ErrStopped = errors.New("telling has stopped")

// sleep waits for the next thing to do; false: the end.
func (e *Engine) sleep(ctx context.Context) bool {
	until := e.cfg.Clock.Now().Add(lookEvery)
	if next := e.desk.Next(); !next.IsZero() && next.Before(until) && !e.blocked() {
		until = next
	}
	var again <-chan time.Time // what goes by the machine's time
	if e.blocked() {
		timer := time.NewTimer(max(time.Until(e.retry), retryLeast))
		defer timer.Stop()
		again = timer.C
	}
	select {
	case <-ctx.Done():
		return false
	case <-e.in.signal:
	case a := <-e.asks:
		e.asked = append(e.asked, a)
	case <-e.cfg.Clock.Until(until):
	case <-again:
	}
	return ctx.Err() == nil
}

// blocked reports whether the engine waits for the ledger or the stream, and not
// for its clock.
func (e *Engine) blocked() bool { return !e.retry.IsZero() || e.leave() < everything }

// Settle returns when all that the stream holds is taken, nothing is due at the
// present clock, and all that was sent has ended and is said in the stream. It
// needs Run to be running. A channel that hangs is waited for.
func (e *Engine) Settle(ctx context.Context) error {
	_, head, err := e.cfg.Stream.Head(ctx)
	for err == nil {
		a := ask{head, make(chan struct{})}
		select {
		case e.asks <- a:
		case <-e.stopped:
			return ErrStopped
		case <-ctx.Done():
			return ctx.Err()
		}
		select {
		case <-a.done:
		case <-e.stopped:
			return ErrStopped
		case <-ctx.Done():
			return ctx.Err()
		}
		var now uint64
		if _, now, err = e.cfg.Stream.Head(ctx); err == nil && now == head {
			return nil
		}
		head = now
	}
	return fmt.Errorf("settle: %w", err)
}

// answer tells those who wait in Settle that all is done.
func (e *Engine) answer(now time.Time) {
	if len(e.asked) == 0 || e.busy(now) {
		return
	}
	e.asked = slices.DeleteFunc(e.asked, func(a ask) bool {
		settled := e.at >= a.head
		if settled {
			close(a.done)
		}
		return settled
	})
}

func (e *Engine) busy(now time.Time) bool {
	if next := e.desk.Next(); !next.IsZero() && !next.After(now) {
		return true
	}
	return e.blocked() || !e.owed.empty() || e.telling > 0 || len(e.uttered) > 0 || e.queued() > 0 || len(e.starting) > 0
}

// NextDue is when time alone makes something to tell; zero: never. It is safe for
// concurrent use.
func (e *Engine) NextDue() time.Time {
	e.mu.RLock()
	defer e.mu.RUnlock()
	return e.next
}

// publishState shows others how it stands after a turn.
func (e *Engine) publishState(now time.Time) {
	next, untold, before := e.desk.Next(), e.untold, e.untold
	if e.damageOver(now) || e.stirred {
		untold = append(e.desk.Untold(), e.damage.trouble()...)
	}
	e.stirred = false
	e.mu.Lock()
	e.next, e.untold = next, untold
	e.mu.Unlock()
	if len(untold)+len(before) == 0 || reflect.DeepEqual(untold, before) {
		return
	}
	for _, t := range untold {
		if !slices.ContainsFunc(before, func(b desk.Trouble) bool { return b.Alert == t.Alert && b.Person == t.Person }) {
			e.cfg.Log.Error("somebody who ought to know of an alert is not reached", "site", t.Site, "wall", t.Wall, "alert", t.Alert,
				"kind", t.Kind, "person", t.Person, "reason", t.Text)
		}
	}
	e.cfg.Changed()
}
