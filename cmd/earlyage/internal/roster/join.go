package roster

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"github.com/nats-io/nkeys"

	"earlyage/events"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
)

// JoinRequest is what a device sends with a code. It hides itself when it is
// printed.
type JoinRequest struct {
	Code   string `json:"code"`
	Key    string `json:"key"`             // its public key, an nkey (U...)
	Device string `json:"device,omitzero"` // the name it would like; empty: any
	Proof  string `json:"proof"`           // the key's signature over JoinProof(Code), as unpadded URL base64
}

// String implements fmt.Stringer; it hides the code and the proof.
func (q JoinRequest) String() string { return "(join " + q.Device + " " + q.Key + ")" }

// GoString implements fmt.GoStringer; it hides the code and the proof.
func (q JoinRequest) GoString() string { return q.String() }

// LogValue implements slog.LogValuer; it hides the code and the proof.
func (q JoinRequest) LogValue() slog.Value { return slog.StringValue(q.String()) }

// JoinProof is what a key signs to join with a code, written as it is sent.
func JoinProof(code string) []byte { return []byte("earlyage join " + code) }

// RotateProof is what the old and the new key sign to put one in the place of
// the other.
func RotateProof(src events.Source, key string) []byte {
	return []byte("earlyage rotate " + src.String() + " " + key)
}

// Joined is what a device knows once it has joined.
type Joined struct {
	Site   string        `json:"site"`
	Device string        `json:"device"`
	Person string        `json:"person,omitzero"`
	Roles  []events.Role `json:"roles"`
	HubKey string        `json:"hub_key"` // with which the hub signs, as an nkey (U...)
}

// Join enrols a device. The key is proven before anything else is looked at,
// and the code is spent on the disk before the device is enrolled. Asked again
// with the same code and key, because the answer was lost, it answers again.
func (r *Roster) Join(ctx context.Context, q JoinRequest) (out Joined, err error) {
	if err := proven(q.Key, JoinProof(q.Code), q.Proof); err != nil {
		return out, fmt.Errorf("join: %w", err)
	}
	err = r.change(ctx, func(reg *people.Register) error {
		if dev, ok := r.joined.again(q, reg, r.cfg.Now()); ok {
			out = r.answer(dev.Source, dev.Person)
			return nil
		}
		if holdsKey(reg, q.Key) {
			return fmt.Errorf("key %s: %w", q.Key, ErrExists)
		}
		return r.cfg.Cabinet.Redeem(q.Code, func(inv cabinet.Invitation) error {
			out, err = r.enrol(ctx, reg, inv, q)
			return err
		})
	})
	if err != nil {
		return Joined{}, fmt.Errorf("join: %w", err)
	}
	return out, nil
}

// enrol says the device; what it refuses before that leaves the code good.
func (r *Roster) enrol(ctx context.Context, reg *people.Register, inv cabinet.Invitation, q JoinRequest) (Joined, error) {
	if inv.Sort != Phone && inv.Sort != Station {
		return Joined{}, fmt.Errorf("an invitation to a %s, not to a device: %w", inv.Sort, ErrNotAllowed)
	}
	if err := mayInvite(reg, inv); err != nil {
		return Joined{}, err
	}
	src, err := name(reg, inv, q.Device)
	if err != nil {
		return Joined{}, err
	}
	e, err := r.saying(src.Site, inv.By, "device.enrolled", &events.DeviceEnrolled{
		Device: src.Device, Person: inv.Person, Sort: inv.Sort, Key: q.Key, Kinds: inv.Kinds,
	})
	if err != nil {
		return Joined{}, err
	}
	r.joined.note(q, src, r.cfg.Now(), inv.Until)
	if err := r.say(ctx, e); err != nil {
		return Joined{}, unlessRefused(err)
	}
	return r.answer(src, inv.Person), nil
}

// unlessRefused spends the code for good where the device may be enrolled.
func unlessRefused(err error) error {
	if errors.Is(err, ErrUnsure) {
		return errors.Join(err, cabinet.ErrSpent)
	}
	return err
}

func (r *Roster) answer(src events.Source, person string) Joined {
	roles := []events.Role{events.Probe}
	if person != "" {
		roles = r.cfg.Register().RolesOf(person, src.Site)
	}
	return Joined{Site: src.Site, Device: src.Device, Person: person, Roles: roles, HubKey: r.hubKey}
}

// name chooses the device's name: the invitation's, the one wanted, or one that
// is free.
func name(reg *people.Register, inv cabinet.Invitation, wanted string) (events.Source, error) {
	src := events.Source{Site: inv.Site, Device: wanted}
	if inv.Device != "" {
		src.Device = inv.Device
		if wanted != "" && wanted != inv.Device {
			return src, &events.Refusal{Field: "device", Value: wanted, Allowed: inv.Device + ", for which the invitation is"}
		}
	}
	if src.Device != "" {
		return src, free(reg, src)
	}
	for range 1000 {
		src.Device = inv.Sort + "-" + random(4)
		if free(reg, src) == nil {
			return src, nil
		}
	}
	return src, fmt.Errorf("a free name for a %s on %s: %w", inv.Sort, inv.Site, ErrExists)
}

// free refuses the name of a device that is or was enrolled.
func free(reg *people.Register, src events.Source) error {
	if _, taken := reg.Device(src); taken {
		return fmt.Errorf("device %s: %w", src, ErrExists)
	}
	return nil
}

// holdsKey reports whether a key is one that any device has or had.
func holdsKey(reg *people.Register, key string) bool {
	return slices.ContainsFunc(reg.Devices(), func(d people.Device) bool {
		return slices.ContainsFunc(d.Keys, func(k people.Key) bool { return k.Public == key })
	})
}

// proven checks a signature. Neither it nor what was signed is in the error.
func proven(key string, text []byte, proof string) error {
	if !nkeys.IsValidPublicUserKey(key) {
		return &events.Refusal{Field: "key", Value: key, Allowed: "the public key of a NATS user, U and 55 characters"}
	}
	sig, err := base64.RawURLEncoding.Strict().DecodeString(proof)
	if err == nil {
		var pub nkeys.KeyPair
		if pub, err = nkeys.FromPublicKey(key); err == nil {
			err = pub.Verify(text, sig)
		}
	}
	if err != nil {
		return fmt.Errorf("the proof is not one by key %s: %w", key, ErrNotAllowed)
	}
	return nil
}

// joined remembers which key used which code, as long as the code would have
// been good, so that a device whose answer was lost gets it again.
type joined map[[sha256.Size]byte]joining

type joining struct {
	src   events.Source
	until time.Time
}

func joiningKey(q JoinRequest) [sha256.Size]byte { return sha256.Sum256([]byte(q.Key + " " + q.Code)) }

func (j joined) note(q JoinRequest, src events.Source, now, until time.Time) {
	for key, old := range j {
		if !now.Before(old.until) {
			delete(j, key)
		}
	}
	j[joiningKey(q)] = joining{src, until}
}

// again returns the device that this very request has enrolled before.
func (j joined) again(q JoinRequest, reg *people.Register, now time.Time) (people.Device, bool) {
	was, ok := j[joiningKey(q)]
	if !ok || !now.Before(was.until) {
		return people.Device{}, false
	}
	dev, ok := reg.ByKey(q.Key)
	return dev, ok && dev.Source == was.src && !dev.Revoked
}
