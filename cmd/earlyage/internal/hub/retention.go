package hub

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// startRetention erases, once a day, the cards of those who have long retired. It
// is off unless it was asked for.
func (h *Hub) startRetention(context.Context) error {
	if h.cfg.ForgetAfter > 0 {
		h.run("retention", h.keepRetention)
	}
	return nil
}

const (
	forgetLook  = time.Hour       // between two looks
	forgetDrift = 2 * time.Minute // by which the wall clock may gain or lose between them
)

// keepRetention erases what is due once in each UTC day, or an hour later for as
// long as it fails. It looks every hour and erases only where the wall clock has
// gone as the one that never jumps since the look before: a jump is seen here at
// once, and by the hub's own watch over its clock before the next look.
func (h *Hub) keepRetention(ctx context.Context) error {
	for done := ""; ; {
		wall, steady := h.clock.Now(), h.clock.Elapsed()
		select {
		case <-h.clock.Until(wall.Add(forgetLook)):
		case <-ctx.Done():
			return ctx.Err()
		}
		now := h.clock.Now()
		day := now.UTC().Format(time.DateOnly)
		if day == done {
			continue
		}
		err := errClockDoubted
		if (now.Sub(wall) - (h.clock.Elapsed() - steady)).Abs() <= forgetDrift {
			err = h.forgetRetired(ctx)
		}
		if err == nil {
			done = day
		} else if ctx.Err() == nil {
			h.log.Warn("names that are due are not erased yet", "error", err)
		}
	}
}

var errClockDoubted = errors.New("the hub's clock is in doubt, and what is erased does not come back")

// forgetRetired erases the card of everybody who retired from everywhere longer ago
// than ForgetAfter, by the recorded time of the message that says so. It touches no
// message, and finds nothing to do when it is called again.
func (h *Hub) forgetRetired(ctx context.Context) error {
	cards, err := h.cabinet().Cards() // with an error: those that can be read
	due := map[string]bool{}
	err = errors.Join(err, h.look(everything, func(p pictured) error {
		if len(p.hub.Doubts) > 0 {
			return fmt.Errorf("%w: %s", errClockDoubted, p.hub.Doubts[0])
		}
		for _, person := range h.projector.Register().People() {
			if _, named := cards[person.ID]; !named || !person.Retired {
				continue
			}
			leaf, err := p.kept(person.Until)
			if err != nil {
				return fmt.Errorf("when %s retired: %w", person.ID, err)
			}
			if p.now.Sub(leaf.Recorded) > h.cfg.ForgetAfter {
				due[person.ID] = true
			}
		}
		return nil
	}))
	for _, id := range sorted(due) {
		if failed := h.roster.Forget(ctx, "", id); failed != nil {
			err = errors.Join(err, failed)
			continue
		}
		h.log.Info("name erased: retired long enough", "person", id)
	}
	return err
}
