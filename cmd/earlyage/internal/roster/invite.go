package roster

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"earlyage/events"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
)

// Ticket is an invitation as it is handed to a person: whoever has it is let
// in, once. It hides itself when it is printed.
type Ticket struct {
	Code  string    `json:"code"`
	Link  string    `json:"link"` // the code is in the fragment, which no browser sends
	Until time.Time `json:"until"`
}

// String implements fmt.Stringer; it hides the code.
func (t Ticket) String() string { return "(ticket until " + t.Until.UTC().Format(time.RFC3339) + ")" }

// GoString implements fmt.GoStringer; it hides the code.
func (t Ticket) GoString() string { return t.String() }

// LogValue implements slog.LogValuer; it hides the code.
func (t Ticket) LogValue() slog.Value { return slog.StringValue(t.String()) }

// Invite makes an invitation for a person onto a site where the person has a
// role. Sort is Phone (a device there), Page (a passkey, which is good wherever
// the person has a role) or Station (a device of nobody: person is empty).
//
// A keeper invites anybody. An officer, a dispatcher and a foreman of the site
// invite people who are nothing more than crew, foreman or dispatcher there, and
// on any other site nothing more than crew or what they are themselves. Whoever
// may countersign is invited by a keeper alone: an invitation can be used by the
// one who made it, a person's session reaches all sites of that person, and
// nobody must become the second person whom an own entry waits for.
func (r *Roster) Invite(ctx context.Context, by, person, site, sort string) (Ticket, error) {
	return r.invite(ctx, cabinet.Invitation{Person: person, Site: site, Sort: sort, By: by})
}

// EnrolStation makes an invitation for a device that signs and belongs to
// nobody. An empty device is named when it joins; empty kinds are all that the
// role probe may record. For keepers.
func (r *Roster) EnrolStation(ctx context.Context, by, site, device string, kinds []events.Kind) (Ticket, error) {
	return r.invite(ctx, cabinet.Invitation{Site: site, Sort: Station, By: by, Device: device, Kinds: kinds})
}

func (r *Roster) invite(ctx context.Context, inv cabinet.Invitation) (t Ticket, err error) {
	err = r.change(ctx, func(reg *people.Register) error {
		if inv.Site != everywhere && !events.IsToken(inv.Site) {
			return &events.Refusal{Field: "site", Value: inv.Site, Allowed: "the name of a site, or _"}
		}
		if err := mayInvite(reg, inv); err != nil {
			return err
		}
		if inv.Device != "" {
			if err := free(reg, events.Source{Site: inv.Site, Device: inv.Device}); err != nil {
				return err
			}
		}
		t.Code, t.Until, err = r.cfg.Cabinet.Invite(inv)
		return err
	})
	if err != nil {
		return Ticket{}, fmt.Errorf("invite %s %s onto %s: %w", inv.Sort, inv.Person, inv.Site, err)
	}
	t.Link = r.cfg.Address + "/join#" + t.Code
	r.cfg.Log.Info("invited", "sort", inv.Sort, "person", inv.Person, "site", inv.Site, "by", inv.By, "until", t.Until)
	return t, nil
}

// mayInvite is asked when an invitation is made and again when it is used.
func mayInvite(reg *people.Register, inv cabinet.Invitation) error {
	switch inv.Sort {
	case Station:
		if inv.Person != "" {
			return &events.Refusal{Field: "person", Value: inv.Person, Allowed: "none: a station belongs to nobody"}
		}
		return stationMay(keeper(reg, inv.By), inv.Kinds)
	case Phone, Page:
	default:
		return &events.Refusal{Field: "sort", Value: inv.Sort, Allowed: "phone, page or station"}
	}
	if err := inviter(reg, inv.By, inv.Site); err != nil {
		return err
	}
	p, err := known(reg, inv.Person)
	if err != nil {
		return err
	}
	if len(reg.RolesOf(p.ID, inv.Site)) == 0 {
		return fmt.Errorf("%s has no role on %s: %w", p.ID, inv.Site, ErrNotAllowed)
	}
	for _, site := range append(reg.SitesOf(p.ID), inv.Site) {
		if err := notMore(reg, inv.By, p.ID, site); err != nil {
			return err
		}
	}
	return nil
}

func stationMay(err error, kinds []events.Kind) error {
	if err != nil {
		return err
	}
	for _, k := range kinds {
		if !k.MayRecord(events.Probe) {
			return &events.Refusal{Field: "kinds", Value: string(k), Allowed: "what the role probe may record"}
		}
	}
	return nil
}

// inviter returns nil for who may invite anybody at all onto a site.
func inviter(reg *people.Register, by, site string) error {
	if keeper(reg, by) == nil {
		return nil
	}
	for _, role := range reg.RolesOf(by, site) {
		if role == events.Officer || role == events.Dispatcher || role == events.Foreman {
			return nil
		}
	}
	return fmt.Errorf("%s is no keeper, and no officer, dispatcher or foreman of %s: %w", by, site, ErrNotAllowed)
}

// notMore refuses an invitation that would give more on a site than who makes
// it has, or may hand out, there.
func notMore(reg *people.Register, by, person, site string) error {
	if keeper(reg, by) == nil {
		return nil
	}
	own := append(reg.RolesOf(by, site), events.Crew)
	if inviter(reg, by, site) == nil {
		own = append(own, events.Foreman, events.Dispatcher)
	}
	for _, role := range reg.RolesOf(person, site) {
		switch {
		case events.Kind("record.countersigned").MayRecord(role):
			return fmt.Errorf("%s is %s of %s and may countersign, so only a keeper invites: %w", person, role.Title(), site, ErrNotAllowed)
		case !slices.Contains(own, role):
			return fmt.Errorf("%s is %s of %s, whom only a keeper or another %s invites: %w", person, role.Title(), site, role.Title(), ErrNotAllowed)
		}
	}
	return nil
}
