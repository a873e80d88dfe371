package roster

import (
	"context"
	"errors"
	"fmt"
	"maps"
	netmail "net/mail"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"earlyage/events"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
)

// AddPerson makes a new person with a card and with roles by site. With an
// error that wraps ErrUnsure the person may have some of the roles, or none.
func (r *Roster) AddPerson(ctx context.Context, by string, card cabinet.Card, roles map[string][]events.Role) (person string, err error) {
	err = r.change(ctx, func(reg *people.Register) error {
		if err := errors.Join(keeper(reg, by), checkCard(card)); err != nil {
			return err
		}
		if len(roles) == 0 {
			return &events.Refusal{Field: "roles", Allowed: "a role on one site at least"}
		}
		for person == "" || has(reg, person) {
			person = "p-" + random(8)
		}
		var list []events.Event
		for _, site := range slices.Sorted(maps.Keys(roles)) {
			e, err := r.appointment(by, person, site, roles[site])
			if err != nil {
				return err
			}
			list = append(list, e)
		}
		// First the card: a crash after it leaves a name that belongs to nobody,
		// the other way round a person without a name.
		if err := r.cfg.Cabinet.SetCard(person, card); err != nil {
			return err
		}
		for _, e := range list {
			if err := r.say(ctx, e); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return person, fmt.Errorf("add person: %w", err)
	}
	return person, nil
}

// Appoint gives a person roles on a site, in the place of all earlier ones
// there; with site "_", on every site.
func (r *Roster) Appoint(ctx context.Context, by, person, site string, roles []events.Role) error {
	err := r.change(ctx, func(reg *people.Register) error {
		if err := keeper(reg, by); err != nil {
			return err
		}
		if _, err := known(reg, person); err != nil {
			return err
		}
		e, err := r.appointment(by, person, site, roles)
		if err != nil {
			return err
		}
		if site == everywhere && !slices.Contains(roles, events.Keeper) {
			if err := notLastKeeper(reg, person); err != nil {
				return err
			}
		}
		return r.say(ctx, e)
	})
	if err != nil {
		return fmt.Errorf("appoint %s on %s: %w", person, site, err)
	}
	return nil
}

func (r *Roster) appointment(by, person, site string, roles []events.Role) (events.Event, error) {
	if site != everywhere && slices.Contains(roles, events.Keeper) {
		return events.Event{}, &events.Refusal{
			Field: "data.roles", Value: string(events.Keeper), Allowed: "on site _ only: a keeper keeps the whole hub",
		}
	}
	return r.saying(site, by, "person.appointed", &events.PersonAppointed{Person: person, Roles: slices.Clone(roles)})
}

// Contact is a change of how a person is called, reached and spoken to: a member
// that is nil stays as it is, an empty one is taken out. A name cannot be: see
// Forget.
type Contact struct {
	Name, Mail, Phone, Lang, Units *string
}

// SetContact changes a person's card, at the word of a keeper or of the person.
func (r *Roster) SetContact(ctx context.Context, by, person string, c Contact) error {
	err := r.change(ctx, func(reg *people.Register) error {
		if by != person {
			if err := keeper(reg, by); err != nil {
				return err
			}
		}
		if _, err := known(reg, person); err != nil {
			return err
		}
		card, err := r.cfg.Cabinet.Card(person)
		if err != nil {
			return err
		}
		for _, f := range []struct {
			at *string
			by *string
		}{{&card.Name, c.Name}, {&card.Mail, c.Mail}, {&card.Phone, c.Phone}, {&card.Lang, c.Lang}, {&card.Units, c.Units}} {
			if f.by != nil {
				*f.at = *f.by
			}
		}
		if err := checkCard(card); err != nil {
			return err
		}
		return r.cfg.Cabinet.SetCard(person, card)
	})
	if err != nil {
		return fmt.Errorf("set contact of %s: %w", person, err)
	}
	return nil
}

// Retire ends a person's roles on a site; with site "_", everywhere, and the
// person's devices, passkeys, browsers, sessions and invitations with them. The card stays,
// so that the record can be read: see Forget.
func (r *Roster) Retire(ctx context.Context, by, person, site, reason string) error {
	err := r.change(ctx, func(reg *people.Register) error {
		if err := keeper(reg, by); err != nil {
			return err
		}
		if _, err := known(reg, person); err != nil {
			return err
		}
		if site == everywhere {
			if err := notLastKeeper(reg, person); err != nil {
				return err
			}
		}
		if err := r.sayNow(ctx, site, by, "person.retired", &events.PersonRetired{Person: person, Reason: reason}); err != nil {
			return err
		}
		// A crash from here on leaves what the register does not let in any more.
		return r.clear(reg, person, site)
	})
	if err != nil {
		return fmt.Errorf("retire %s from %s: %w", person, site, err)
	}
	return nil
}

// clear takes out what a retired person could have come in with.
func (r *Roster) clear(reg *people.Register, person, site string) error {
	c := r.cfg.Cabinet
	err := c.DropInvitations(person)
	if site == everywhere {
		return errors.Join(err, c.DropPasskeys(person), c.DropPushes(person), c.EndOf(person))
	}
	for _, d := range reg.Devices() {
		if d.Person == person && d.Source.Site == site {
			err = errors.Join(err, c.EndOfDevice(d.Source), c.DropPushesOfDevice(d.Source))
		}
	}
	return err
}

// Forget erases the card of a person who is retired from every site. The record
// keeps the random id.
func (r *Roster) Forget(ctx context.Context, by, person string) error {
	err := r.change(ctx, func(reg *people.Register) error {
		if err := keeper(reg, by); err != nil {
			return err
		}
		if _, err := known(reg, person); err == nil {
			return fmt.Errorf("not retired from every site: %w", ErrNotAllowed)
		}
		return r.cfg.Cabinet.EraseCard(person)
	})
	if err != nil {
		return fmt.Errorf("forget %s: %w", person, err)
	}
	return nil
}

func has(reg *people.Register, person string) bool {
	_, ok := reg.Person(person)
	return ok
}

// notLastKeeper refuses what would leave a hub without a keeper.
func notLastKeeper(reg *people.Register, person string) error {
	if !isKeeper(reg, person) {
		return nil
	}
	for _, p := range reg.People() {
		if p.ID != person && !p.Retired && isKeeper(reg, p.ID) {
			return nil
		}
	}
	return fmt.Errorf("%s is the last keeper: %w", person, ErrNotAllowed)
}

// checkCard refuses what is no name or address. The value is never in the
// refusal.
func checkCard(c cabinet.Card) error {
	for _, f := range []struct {
		field, value string
		least, most  int
	}{{"name", c.Name, 1, 80}, {"mail", c.Mail, 0, 254}, {"phone", c.Phone, 0, 40}} {
		n := utf8.RuneCountInString(strings.TrimSpace(f.value))
		if n < f.least || n > f.most || !utf8.ValidString(f.value) || strings.ContainsFunc(f.value, unicode.IsControl) {
			return &events.Refusal{Field: f.field, Allowed: fmt.Sprintf("%d to %d letters on one line", f.least, f.most)}
		}
	}
	if c.Mail != "" {
		if a, err := netmail.ParseAddress(c.Mail); err != nil || a.Address != c.Mail {
			return &events.Refusal{Field: "mail", Allowed: "an address such as a@site.example"}
		}
	}
	if !slices.Contains([]string{"", "en", "es"}, c.Lang) {
		return &events.Refusal{Field: "lang", Allowed: "en, es, or empty"}
	}
	if !slices.Contains([]string{"", "si", "us"}, c.Units) {
		return &events.Refusal{Field: "units", Allowed: "si, us, or empty for those of the site"}
	}
	return nil
}
