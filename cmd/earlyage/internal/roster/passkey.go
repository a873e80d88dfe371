package roster

import (
	"context"
	"fmt"
	"slices"

	"earlyage/events"
	"earlyage/projector/people"
)

// PasskeyMade puts on the record that a person makes a passkey, and who invited
// the person to it. It is said before the passkey is kept: a crash after it
// leaves a word too many, the other way round there would be a passkey that
// nobody knows of. Whether the invitation may stand is judged again.
func (r *Roster) PasskeyMade(ctx context.Context, by, person string) error {
	err := r.change(ctx, func(reg *people.Register) error {
		if err := mayInviteToPages(reg, by, person); err != nil {
			return err
		}
		return r.sayNow(ctx, everywhere, by, "passkey.made", &events.PasskeyMade{Person: person})
	})
	if err != nil {
		return fmt.Errorf("passkey of %s, invited by %s: %w", person, by, err)
	}
	return nil
}

// PasskeysEnded puts on the record that the passkeys a person had have ended.
func (r *Roster) PasskeysEnded(ctx context.Context, by, person, reason string) error {
	err := r.change(ctx, func(reg *people.Register) error {
		if err := mayInviteToPages(reg, by, person); err != nil {
			return err
		}
		return r.sayNow(ctx, everywhere, by, "passkey.ended", &events.PasskeyEnded{Person: person, Reason: reason})
	})
	if err != nil {
		return fmt.Errorf("end of passkeys of %s: %w", person, err)
	}
	return nil
}

// mayInviteToPages is what Invite asks of an invitation to a page, for one of
// the sites of the person.
func mayInviteToPages(reg *people.Register, by, person string) error {
	p, err := known(reg, person)
	if err != nil {
		return err
	}
	sites := reg.SitesOf(p.ID)
	for _, site := range sites {
		if err := notMore(reg, by, person, site); err != nil {
			return err
		}
	}
	if !slices.ContainsFunc(sites, func(site string) bool { return inviter(reg, by, site) == nil }) {
		return fmt.Errorf("%s may invite onto none of the sites of %s: %w", by, person, ErrNotAllowed)
	}
	return nil
}
