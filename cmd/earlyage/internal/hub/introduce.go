package hub

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"earlyage/events"
	"earlyage/projector/cabinet"
)

// Introduce gives a person of a demo an id that its script has chosen, with a
// card and with roles on a site, in the place of all earlier ones there. Outside
// a demo ids are the roster's to give, at random.
func (h *Hub) Introduce(ctx context.Context, person string, card cabinet.Card, site string, roles []events.Role) error {
	if !h.demo {
		return errors.New("introduce " + person + ": this is no demo; the roster gives people their ids")
	}
	id, err := uuid.NewV7()
	if err != nil {
		return fmt.Errorf("introduce %s: %w", person, err)
	}
	e := events.Event{
		ID: id.String(), Source: events.Source{Site: site, Device: events.HubDevice}, Kind: "person.appointed",
		Time: h.clock.Now(), Data: &events.PersonAppointed{Person: person, Roles: roles},
	}
	if err := e.Check(); err != nil {
		return fmt.Errorf("introduce %s: %w", person, err)
	}
	if err := h.projector.Cabinet().SetCard(person, card); err != nil {
		return fmt.Errorf("introduce %s: %w", person, err)
	}
	if err := h.say(ctx, e); err != nil {
		return fmt.Errorf("introduce %s: %w", person, err)
	}
	return nil
}

// demoInvitation is how long a demo's invitations last.
const demoInvitation = 365 * 24 * time.Hour

// cabinet is what stands beside the record. A demo's invitations are used again
// and again, by whoever looks on.
func (h *Hub) cabinet() *cabinet.Cabinet {
	c := h.projector.Cabinet()
	if h.demo {
		c = c.WithLimits(cabinet.Limits{Invitation: demoInvitation, Lasting: true})
	}
	return c
}
