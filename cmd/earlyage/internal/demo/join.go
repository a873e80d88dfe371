package demo

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"

	"github.com/google/uuid"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector/cabinet"
)

// office is where people and devices are let in: over the hub's own socket until
// the keeper has a device, then by the keeper over HTTP, as anybody else's
// requests come.
type office struct {
	web    *http.Client
	url    string // of the hub
	local  api.Client
	keeper *api.Client // nil: none yet
}

func newOffice(url, socket string) (*office, error) {
	local, err := api.Dial(api.Where{Socket: socket})
	if err != nil {
		return nil, err
	}
	return &office{web: &http.Client{Transport: &http.Transport{}}, url: url, local: local}, nil
}

func (o *office) close() {
	o.web.CloseIdleConnections()
	o.local.HTTP.CloseIdleConnections()
}

// desk is who changes people and devices.
func (o *office) desk() api.Client {
	if o.keeper != nil {
		return *o.keeper
	}
	return o.local
}

// as is a client that signs in as a device; without one it is nobody.
func (o *office) as(id *stream.Identity) (api.Client, error) {
	c, err := api.Dial(api.Where{URL: o.url, Identity: id})
	c.HTTP = o.web
	return c, err
}

// admit invites a device and lets it join with a key that it makes.
func (o *office) admit(ctx context.Context, d *deviceScript) (id stream.Identity, err error) {
	if id, err = stream.NewIdentity(events.Source{Site: d.site, Device: d.device}, d.person); err != nil {
		return id, err
	}
	var ticket api.Ticket
	inv := api.NewInvitation{Person: d.person, Site: d.site, Sort: d.sort}
	if d.sort == events.SortStation {
		inv.Device = d.device
	}
	if err := o.desk().Post(ctx, api.PathInvitations, inv, &ticket); err != nil {
		return id, err
	}
	key, err := id.Public()
	if err != nil {
		return id, err
	}
	pair, err := nkeys.FromSeed([]byte(id.Seed))
	if err != nil {
		return id, err
	}
	proof, err := pair.Sign(roster.JoinProof(ticket.Code))
	if err != nil {
		return id, err
	}
	nobody, err := o.as(nil)
	if err != nil {
		return id, err
	}
	q := roster.JoinRequest{Code: ticket.Code, Key: key, Device: d.device, Proof: base64.RawURLEncoding.EncodeToString(proof)}
	return id, nobody.Post(ctx, api.PathJoin, q, &roster.Joined{})
}

// appoint gives a person of the scripts roles.
func (p *play) appoint(ctx context.Context, e entry) error {
	for _, q := range p.script.people {
		if q.id == e.by && q.site == e.device.site {
			return p.hub.Introduce(ctx, q.id, cabinet.Card{Name: q.name, Mail: addressOf(q.name)}, q.site, q.roles)
		}
	}
	return fmt.Errorf("nobody is %s", e.by)
}

// join lets a device in, from then on it takes part.
func (p *play) join(ctx context.Context, d *deviceScript) error {
	if d.sort == events.SortProbe {
		var secret api.ProbeSecret
		err := p.office.desk().Post(ctx, api.PathProbes, api.NewProbe{Site: d.site, Device: d.device, Wall: d.wall}, &secret)
		if err == nil {
			p.devices[d.deviceKey], err = newProbe(d, secret, p.hub.MQTTAddr(), p.ear)
		}
		return err
	}
	id, err := p.office.admit(ctx, d)
	if err != nil {
		return err
	}
	dir := filepath.Join(p.cfg.Dir, "devices", d.site, d.device)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	if err := id.Save(filepath.Join(dir, "identity")); err != nil {
		return err
	}
	one, err := newPhone(d, id, p.hub.ClientURL(), dir, p.clock)
	if err != nil {
		return err
	}
	p.devices[d.deviceKey] = one
	if p.office.keeper == nil && isKeeper(p.script.rolesOf(d.person, d.site)) {
		keeper, err := p.office.as(&id)
		p.office.keeper = &keeper
		return err
	}
	return nil
}

func isKeeper(roles []events.Role) bool {
	for _, r := range roles {
		if r == events.Keeper {
			return true
		}
	}
	return false
}

// lose shuts a device out, in the words of the script.
func (p *play) lose(ctx context.Context, e entry) error {
	src := events.Source{Site: e.device.site, Device: e.device.device}
	return p.office.desk().Post(ctx, api.DevicePath(src)+"/revoke", api.Revocation{Reason: e.pairs[0]}, nil)
}

var errAllowed = errors.New("it should have been refused")

// try lets a device send what it may not, and says why it is refused.
func (p *play) try(ctx context.Context, e entry) error {
	d, ok := p.devices[e.device].(*phone)
	if !ok {
		return fmt.Errorf("%s has not joined with a key", e.device)
	}
	e.kind, e.pairs = e.pairs[0], e.pairs[1:]
	ev, err := p.maker.event(e)
	if err != nil {
		return err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	ev.ID = id.String()
	body, err := ev.Encode()
	if err != nil {
		return err
	}
	client, err := p.office.as(&d.identity)
	if err != nil {
		return err
	}
	_, err = client.PostEvent(ctx, body, d.identity.Sign(body))
	why, err := p.refusal(d, err)
	if err != nil {
		return err
	}
	return p.tell(e, fmt.Sprintf("%s of %s tries %s: refused, %s", d.device, e.by, e.kind, why))
}

// refusal puts why a request was refused in words. One that was not known at all
// must not be let in over NATS either.
func (p *play) refusal(d *phone, err error) (string, error) {
	var refused *api.Problem
	switch {
	case err == nil:
		return "", errAllowed
	case errors.Is(err, api.ErrSignIn):
		nc, err := stream.DialAs(p.hub.ClientURL(), d.String(), nil, d.identity)
		if err == nil {
			nc.Close()
			return "", errAllowed
		}
		if !errors.Is(err, nats.ErrAuthorization) {
			return "", err
		}
		return "it is not let in any more", nil
	case errors.As(err, &refused) && errors.Is(err, api.ErrNotAllowed):
		return refused.Error(), nil
	}
	return "", err
}

// look writes how a wall stands, if the criterion that the script names governs.
func (p *play) look(e entry) error {
	walls, err := p.hub.Walls(e.device.site)
	if err != nil {
		return err
	}
	for _, w := range walls.Walls {
		if w.Wall != e.wall {
			continue
		}
		if w.Strip.Open || w.Strip.Governs != e.pairs[0] {
			return fmt.Errorf("wall %s: open %t, %s governs; the script says shut by %s", w.Place(), w.Strip.Open, w.Strip.Governs, e.pairs[0])
		}
		return p.tell(e, "shut, "+w.Strip.Governs+" governs: "+e.pairs[1])
	}
	return fmt.Errorf("no wall %s/%s", e.device.site, e.wall)
}
