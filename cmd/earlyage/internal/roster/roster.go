package roster

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base32"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/nats-io/nkeys"

	"earlyage/events"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
)

var (
	// ErrNotAllowed: whoever asks may not do this, or nobody may.
	ErrNotAllowed = errors.New("not allowed")
	// ErrUnknown: no such person or device, or it is retired or revoked.
	ErrUnknown = errors.New("unknown")
	// ErrExists: the name or the key is taken, and be it by a device that was
	// revoked since.
	ErrExists = errors.New("exists already")
	// ErrUnsure: Say did not come to its end, so the record may hold the change
	// or not. Look before trying again.
	ErrUnsure = errors.New("the change may stand in the record or not")
)

// The sorts of invitation. A page is a person's passkey; it is no device.
const (
	Phone   = events.SortPhone
	Page    = "page"
	Station = events.SortStation
)

// everywhere is the site that stands for every site.
const everywhere = "_"

// Config is what a roster works with.
type Config struct {
	Register func() *people.Register // the newest; lock-free; needed
	Cabinet  *cabinet.Cabinet        // needed
	// Say signs an event with the hub's key, publishes it and returns when the
	// register holds it. After a *events.Refusal the register does not hold it;
	// after any other error it may or not. Needed.
	Say     func(context.Context, events.Event) error
	Now     func() time.Time  // default time.Now
	Log     *slog.Logger      // default none
	Address string            // public URL of the hub, for links
	HubKey  ed25519.PublicKey // the hub's own, told to devices that join; default none
}

// Roster changes identities and admits devices. Safe for concurrent use.
type Roster struct {
	cfg    Config
	hubKey string        // as an nkey
	turn   chan struct{} // one change at a time
	joined joined        // owned by who has the turn
}

// New makes a roster.
func New(cfg Config) (*Roster, error) {
	if cfg.Register == nil || cfg.Cabinet == nil || cfg.Say == nil {
		return nil, errors.New("roster: register, cabinet and say are needed")
	}
	if cfg.Now == nil {
		cfg.Now = time.Now
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	cfg.Address = strings.TrimRight(cfg.Address, "/")
	r := &Roster{cfg: cfg, turn: make(chan struct{}, 1), joined: joined{}}
	if cfg.HubKey != nil {
		key, err := nkeys.Encode(nkeys.PrefixByteUser, cfg.HubKey)
		if err != nil {
			return nil, fmt.Errorf("roster: key of the hub: %w", err)
		}
		r.hubKey = string(key)
	}
	return r, nil
}

// change runs f alone, with the newest register.
func (r *Roster) change(ctx context.Context, f func(reg *people.Register) error) error {
	select {
	case r.turn <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-r.turn }()
	return f(r.cfg.Register())
}

// saying is an event of the hub that is checked and not said yet.
func (r *Roster) saying(site, by string, kind events.Kind, data events.Data) (events.Event, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return events.Event{}, fmt.Errorf("make an id: %w", err)
	}
	e := events.Event{
		ID: id.String(), Source: events.Source{Site: site, Device: events.HubDevice},
		Kind: kind, Time: r.cfg.Now().UTC(), By: by, Data: data,
	}
	return e, e.Check()
}

func (r *Roster) say(ctx context.Context, e events.Event) error {
	var refused *events.Refusal
	switch err := r.cfg.Say(ctx, e); {
	case errors.As(err, &refused):
		return fmt.Errorf("say %s: %w", e.Kind, err)
	case err != nil:
		return fmt.Errorf("say %s: %w: %w", e.Kind, ErrUnsure, err)
	}
	r.cfg.Log.Info("identity changed", "kind", e.Kind, "site", e.Source.Site, "by", e.By, "id", e.ID)
	return nil
}

// sayNow says an event at once.
func (r *Roster) sayNow(ctx context.Context, site, by string, kind events.Kind, data events.Data) error {
	e, err := r.saying(site, by, kind, data)
	if err != nil {
		return err
	}
	return r.say(ctx, e)
}

// keeper returns nil for a keeper of the hub and for the hub's own machine.
func keeper(reg *people.Register, by string) error {
	if by == "" || isKeeper(reg, by) {
		return nil
	}
	return fmt.Errorf("%s is no keeper: %w", by, ErrNotAllowed)
}

func isKeeper(reg *people.Register, person string) bool {
	return slices.Contains(reg.RolesOf(person, everywhere), events.Keeper)
}

// known returns a person who is not retired.
func known(reg *people.Register, id string) (people.Person, error) {
	p, ok := reg.Person(id)
	switch {
	case !ok:
		return p, fmt.Errorf("person %s: %w", id, ErrUnknown)
	case p.Retired:
		return p, fmt.Errorf("person %s is retired: %w", id, ErrUnknown)
	}
	return p, nil
}

// random returns n letters and digits, 5 bits each.
func random(n int) string {
	raw := make([]byte, n)
	rand.Read(raw)
	return strings.ToLower(base32.StdEncoding.EncodeToString(raw))[:n]
}
