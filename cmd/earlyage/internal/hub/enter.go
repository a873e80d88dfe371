package hub

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
	"earlyage/projector/people"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// errShort: a stream that is shorter than the record would give new messages the
// places of old ones.
var errShort = errors.New("the stream does not fit the record: nothing is published")

const (
	// publishWait is how long an event may take into the stream.
	publishWait = 20 * time.Second
	// aheadMost is how far the time of an entry may be ahead of the hub's clock.
	aheadMost = 2 * time.Minute
	// behindMost is how far it may be behind. The record marks what was entered long
	// after it happened, and takes it to the safe side.
	behindMost = 30 * 24 * time.Hour
)

// takeEvent takes an event as its device has signed it, and answers once it
// stands in the stream.
func (w *web) takeEvent(rw http.ResponseWriter, r *http.Request) {
	body, err := readBody(r, events.ContentType)
	if err == nil && len(body) > events.MaxBody {
		err = &http.MaxBytesError{Limit: events.MaxBody}
	}
	var seq uint64
	if err == nil {
		seq, err = w.hub.takeSigned(r.Context(), door.CallerOf(r.Context()), body, r.Header.Get(stream.SignatureHeader))
	}
	if err != nil {
		w.fail(rw, err)
		return
	}
	w.write(rw, http.StatusAccepted, api.Accepted{Sequence: seq})
}

// takeSigned judges an event and publishes it, byte for byte. One that stands in
// the stream already is answered with its place there.
func (h *Hub) takeSigned(ctx context.Context, c door.Caller, body []byte, signature string) (uint64, error) {
	e, err := events.Decode("", body)
	if err != nil {
		return 0, err
	}
	if err := h.judge(c, e, body, signature); err != nil {
		return 0, err
	}
	if seq, err := h.standsAt(e, body); err != nil || seq != 0 {
		return seq, err
	}
	if err := h.fits(); err != nil {
		return 0, err
	}
	ctx, cancel := context.WithTimeout(ctx, publishWait)
	defer cancel()
	post := stream.Post{Subject: e.Subject(), Body: body, Signature: signature, MsgID: h.msgID(body, signature)}
	return h.post(ctx, post)
}

// msgID is what the stream's duplicate window knows a posted event by: the same
// for the same event, over restarts too, and nothing that others could guess.
func (h *Hub) msgID(body []byte, signature string) string {
	mac := hmac.New(sha256.New, h.projector.HubKey().Seed())
	mac.Write([]byte("earlyage post "))
	sum := sha256.Sum256(body)
	mac.Write(sum[:])
	mac.Write([]byte(signature))
	return hex.EncodeToString(mac.Sum(nil))
}

// judge refuses what the record would refuse, and what is not the caller's to
// send.
func (h *Hub) judge(c door.Caller, e events.Event, body []byte, signature string) error {
	register := h.projector.Register()
	d, ok := register.Device(e.Source)
	switch {
	case (!ok || !c.Local && !owns(c, d)) && !h.sightOf(c).sees(e.Source.Site):
		return errUnseen
	case !ok:
		return forbidden(api.CodeNotAllowed, &events.Refusal{Field: "source", Value: e.Source.String(), Allowed: "a device that is enrolled"})
	case !c.Local && !owns(c, d):
		return forbidden(api.CodeNotAllowed, &events.Refusal{Field: "source", Value: e.Source.String(), Allowed: "a device of your own"})
	}
	key, ok := d.Current()
	if !ok || !stream.Verify(key.Ed25519(), signature, body) {
		return forbidden(api.CodeSignature, &events.Refusal{Field: "signature", Allowed: "that of the present key of " + e.Source.String() + " over these bytes"})
	}
	if e.By != d.Person {
		return forbidden(api.CodeNotAllowed, &events.Refusal{Field: "by", Value: e.By, Allowed: ownerText(d)})
	}
	return mayRecord(register, e)
}

func ownerText(d people.Device) string {
	if d.Person == "" {
		return "nobody: the device belongs to nobody"
	}
	return d.Person + ", whose device it is"
}

// mayRecord judges an event by the roles in which its source speaks now.
func mayRecord(register *people.Register, e events.Event) error {
	if refused := e.MayBeBy(register.Roles(e.Source)...); refused != nil {
		return forbidden(api.CodeNotAllowed, refused)
	}
	if !register.MayRecord(e.Source, e.Kind) {
		return forbidden(api.CodeNotAllowed, &events.Refusal{Field: "type", Value: e.Kind.Type(), Allowed: "the kinds that " + e.Source.String() + " is enrolled for"})
	}
	return nil
}

func forbidden(code string, r *events.Refusal) error {
	p := refusal(http.StatusForbidden, code, r)
	return &p
}

// standsAt finds an event in the record, byte for byte; 0: it is not there. The
// stream's own window is over after some minutes, a device may ask after days.
func (h *Hub) standsAt(e events.Event, body []byte) (seq uint64, err error) {
	first, ok, err := h.projector.First(e.Source, e.ID)
	if err != nil || !ok || !bytes.Equal(first.Body, body) {
		return 0, err
	}
	return first.Seq, nil
}

// takeEntry takes what a person enters by a session. The hub signs it: it vouches
// that a session of that person said so. It answers once the entry is folded.
func (w *web) takeEntry(rw http.ResponseWriter, r *http.Request) {
	key, err := entryKey(r)
	if err != nil {
		w.fail(rw, err)
		return
	}
	told(w, rw, r, http.StatusAccepted, func(c door.Caller, in api.Entry) (any, error) {
		if key != "" {
			return w.hub.enterOnce(r.Context(), c, in, key)
		}
		id, err := uuid.NewV7()
		if err != nil {
			return nil, err
		}
		return w.hub.enter(r.Context(), c, in, id.String())
	})
}

// enter makes an entry and returns when it is folded.
func (h *Hub) enter(ctx context.Context, c door.Caller, in api.Entry, id string) (out api.Entered, err error) {
	e, err := h.deskEntry(c, in, id)
	if err != nil {
		return out, err
	}
	if err := h.mayPermit(e); err != nil {
		return out, err
	}
	body, err := e.Encode()
	if err != nil {
		return out, err
	}
	seq, refused, err := h.publishFolded(ctx, e.Subject(), body)
	if err != nil {
		return out, err
	}
	return entered(id, seq, refused), nil
}

// mayPermit refuses a permit to strip that would not stand: nobody is to hold a paper
// that is worth nothing. One that a device signed is kept, and the record says what
// it is worth.
func (h *Hub) mayPermit(e events.Event) error {
	d, ok := e.Data.(*events.PermitIssued)
	if !ok {
		return nil
	}
	return h.look(everything, func(p pictured) error {
		ref := projector.Ref{Site: e.Source.Site, Wall: e.Wall}
		w := p.Wall(ref)
		if w == nil {
			w = wall.New(ref.Site, ref.Wall)
		}
		against := scheduler.MayPermit(p.Site(ref.Site), p.Devices(ref.Site), w, p.hub, p.now, d, e.By)
		if len(against) == 0 {
			return nil
		}
		return &events.Refusal{Field: "data", Value: d.Number, Allowed: "a permit to strip that stands when it is issued: " + strings.Join(against, "; ")}
	})
}

func entered(id string, seq uint64, refused *events.Refusal) api.Entered {
	out := api.Entered{ID: id, Sequence: seq}
	if refused != nil {
		out.Refused = &api.Refused{Field: refused.Field, Reason: refused.Allowed}
	}
	return out
}

func errNoPerson() error {
	return forbidden(api.CodeNotAllowed, &events.Refusal{Field: "by", Allowed: "the session of a person"})
}

// deskEntry makes the event of an entry, and judges it.
func (h *Hub) deskEntry(c door.Caller, in api.Entry, id string) (e events.Event, err error) {
	if c.Person == "" {
		return e, errNoPerson()
	}
	if !h.sightOf(c).sees(in.Site) {
		return e, errUnseen
	}
	now := h.clock.Now()
	if in.Time.IsZero() {
		in.Time = now
	}
	if in.Time.Before(now.Add(-behindMost)) {
		return e, &events.Refusal{Field: "time", Value: in.Time.Format(time.RFC3339), Allowed: "at most 30 days before the hub's, where it is " + now.UTC().Format(time.RFC3339)}
	}
	if in.Time.After(now.Add(aheadMost)) {
		return e, &events.Refusal{Field: "time", Value: in.Time.Format(time.RFC3339), Allowed: "at most 2 minutes ahead of the hub, where it is " + now.UTC().Format(time.RFC3339)}
	}
	e = events.Event{
		ID: id, Source: events.Source{Site: in.Site, Device: events.DeskOf(c.Person)}, By: c.Person,
		Kind: in.Kind, Wall: in.Wall, Time: in.Time, HasOffset: true,
	}
	if e.Data, err = events.DecodeData(in.Kind, in.Data); err != nil {
		return e, err
	}
	if err := e.Check(); err != nil {
		return e, err
	}
	return e, mayRecord(h.projector.Register(), e)
}
