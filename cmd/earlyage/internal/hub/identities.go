package hub

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
	"earlyage/projector/people"
)

// gate is the guard of the embedded server, which starts before the record is
// open: until then nobody is let in.
type gate struct {
	open    atomic.Pointer[roster.Roster]
	manners manners
}

// Admit implements stream.Guard.
func (g *gate) Admit(c stream.Claim) (stream.Admission, error) {
	r := g.open.Load()
	if r == nil {
		return stream.Admission{}, fmt.Errorf("%w: the hub is starting", stream.ErrNotAdmitted)
	}
	a, err := r.Admit(c)
	if err == nil && g.manners.shuns(a.Source, time.Now()) {
		err = fmt.Errorf("%w: %s is kept out for a minute, its messages were refused again and again", stream.ErrNotAdmitted, a.Source)
	}
	return a, err
}

// startIdentities opens the gate and keeps watch over who may stay.
func (h *Hub) startIdentities(context.Context) error {
	r, err := roster.New(roster.Config{
		Register: h.projector.Register, Cabinet: h.cabinet(), Say: h.say, Now: h.clock.Now, Log: h.log, Address: h.address,
		HubKey: h.projector.HubKey().Public().(ed25519.PublicKey),
	})
	if err != nil {
		return err
	}
	h.roster = r
	h.gate.open.Store(r)
	h.run("identities", h.keepWatch)
	return nil
}

// say publishes an event under the hub's key and returns when it is folded. What
// the fold refused is the error.
func (h *Hub) say(ctx context.Context, e events.Event) error {
	body, err := e.Encode()
	if err != nil {
		return err
	}
	_, refused, err := h.publishFolded(ctx, e.Subject(), body)
	if err == nil && refused != nil {
		err = refused
	}
	return err
}

// publishFolded publishes a body under the hub's key and waits until it is
// folded. refused is why the record does not take it; nil: it does.
func (h *Hub) publishFolded(ctx context.Context, subject string, body []byte) (seq uint64, refused *events.Refusal, err error) {
	if err := h.fits(); err != nil {
		return 0, nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, foldWait)
	defer cancel()
	if seq, err = h.publish(ctx, subject, body, stream.Sign(h.projector.HubKey(), body)); err != nil {
		return 0, nil, err
	}
	if err := h.projector.Wait(ctx, seq); err != nil {
		return seq, nil, err
	}
	refused, err = h.refusedAt(seq)
	return seq, refused, err
}

const foldWait = 20 * time.Second

// refusedAt looks whether the message at a sequence was refused.
func (h *Hub) refusedAt(seq uint64) (refused *events.Refusal, err error) {
	err = h.projector.Read(func(v projector.View) error {
		if row, ok := v.RefusedAt(seq); ok {
			refused = &events.Refusal{Field: row.Field, Allowed: row.Reason}
		}
		return nil
	})
	return refused, err
}

const (
	sweepEvery  = time.Hour
	patrolEvery = time.Second
	watchAgain  = 100 * time.Millisecond
)

// keepWatch ends the connections and sessions of those whom the record no longer
// admits, as soon as it is folded. What was so before is not looked at: nobody is
// connected yet, and the door asks the register at each request.
func (h *Hub) keepWatch(ctx context.Context) error {
	known := h.projector.Register()
	for {
		changes, cancel := h.projector.Subscribe()
		// What changed while nobody listened is looked for at once.
		now := h.projector.Register()
		err := h.shutOut(known, now)
		known = now
		if err == nil {
			known, err = h.watchPeople(ctx, changes, known)
		}
		cancel()
		if err != nil || ctx.Err() != nil {
			return errors.Join(err, ctx.Err())
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(watchAgain): // it was cut, having fallen behind
		}
	}
}

// watchPeople works until ctx ends or the channel of changes is closed.
func (h *Hub) watchPeople(ctx context.Context, changes <-chan projector.Change, known *people.Register) (_ *people.Register, err error) {
	sweep := time.NewTicker(sweepEvery)
	defer sweep.Stop()
	patrol := time.NewTicker(patrolEvery)
	defer patrol.Stop()
	looked := h.through()
	for {
		select {
		case <-ctx.Done():
			return known, ctx.Err()
		case <-sweep.C:
			if err := h.projector.Cabinet().Sweep(); err != nil {
				return known, err
			}
		case <-patrol.C:
			if looked, err = h.patrol(known, looked); err != nil {
				return known, err
			}
		case c, open := <-changes:
			if !open {
				return known, nil
			}
			if !c.People {
				continue
			}
			now := h.projector.Register()
			if err := h.shutOut(known, now); err != nil {
				return known, err
			}
			known = now
		}
	}
}

// shutOut ends what rests on what is no longer so: the connections of a device
// that was revoked, has another key or may say something else now (it comes back
// by itself, on its new footing), and the sessions of a device that was revoked
// or has another key, and of a person without a role anywhere. Nor is a browser of
// theirs told anything any more.
func (h *Hub) shutOut(before, now *people.Register) error {
	moved := map[events.Source]bool{}
	cabinet := h.projector.Cabinet()
	var failed []error
	for _, d := range before.Devices() { // a new one may be connected already, on its present footing
		was, is := standingOf(before, d.Source), standingOf(now, d.Source)
		if was == is {
			continue
		}
		moved[d.Source] = true
		if is.ended || was.key != is.key {
			failed = append(failed, cabinet.EndOfDevice(d.Source))
		}
		if is.ended {
			failed = append(failed, cabinet.DropSecret(d.Source), cabinet.DropPushesOfDevice(d.Source))
		}
	}
	if h.server != nil && len(moved) > 0 {
		if n := h.server.Disconnect(func(src events.Source) bool { return moved[src] }); n > 0 {
			h.log.Info("connections ended: their devices may no longer do what they might", "connections", n)
		}
	}
	for _, p := range before.People() {
		if len(before.SitesOf(p.ID)) > 0 && len(now.SitesOf(p.ID)) == 0 {
			failed = append(failed, cabinet.EndOf(p.ID), cabinet.DropPushes(p.ID))
		}
	}
	return errors.Join(failed...)
}

// patrol ends connections that were let in while the message that ended their
// device, or their person's work on the site, was being folded, and those of
// devices whose messages are refused again and again. It has looked at what was
// refused up to a sequence, and returns up to which it has now.
func (h *Hub) patrol(register *people.Register, looked uint64) (uint64, error) {
	if h.server == nil || h.unsigned {
		return looked, nil
	}
	h.server.Disconnect(func(src events.Source) bool { return !register.Standing(src) })
	return h.refusedSince(looked, register)
}
