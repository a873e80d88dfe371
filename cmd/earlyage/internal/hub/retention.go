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

// forgetAgain is how long after a failure, or while the hub's clock is in doubt, it
// is tried again.
const forgetAgain = time.Hour

// keepRetention looks at the start and at every midnight UTC.
func (h *Hub) keepRetention(ctx context.Context) error {
	for {
		next := h.clock.Now().UTC().Truncate(24 * time.Hour).Add(24 * time.Hour)
		if err := h.forgetRetired(ctx); err != nil && ctx.Err() == nil {
			h.log.Warn("names that are due are not erased yet", "error", err)
			next = h.clock.Now().Add(forgetAgain)
		}
		select {
		case <-h.clock.Until(next):
		case <-ctx.Done():
			return ctx.Err()
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
