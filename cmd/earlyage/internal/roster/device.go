package roster

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"log/slog"

	"earlyage/events"
	"earlyage/projector/people"
)

// Proofs are the signatures of both keys over RotateProof, as unpadded URL
// base64: the old one shows that the device asks, the new one that it has the
// key. They hide themselves when they are printed.
type Proofs struct {
	Old string `json:"old"`
	New string `json:"new"`
}

// String implements fmt.Stringer; it hides the signatures.
func (Proofs) String() string { return "(proofs)" }

// GoString implements fmt.GoStringer; it hides the signatures.
func (Proofs) GoString() string { return "(proofs)" }

// LogValue implements slog.LogValuer; it hides the signatures.
func (Proofs) LogValue() slog.Value { return slog.StringValue("(proofs)") }

// Rotate gives a device a new key, on the word of the old one: the old key ends,
// and what it signed before stays good. A device whose key is lost or known to
// others is revoked, and joins anew. Asked again with the same key it changes
// nothing.
func (r *Roster) Rotate(ctx context.Context, src events.Source, newKey string, proofs Proofs) error {
	err := r.change(ctx, func(reg *people.Register) error {
		d, err := standing(reg, src)
		if err != nil {
			return err
		}
		current, ok := d.Current()
		if !ok {
			return fmt.Errorf("it has no key: %w", ErrNotAllowed)
		}
		text := RotateProof(src, newKey)
		if err := proven(newKey, text, proofs.New); err != nil {
			return err
		}
		if current.Public == newKey {
			return nil
		}
		if err := proven(current.Public, text, proofs.Old); err != nil {
			return err
		}
		if holdsKey(reg, newKey) {
			return fmt.Errorf("key %s: %w", newKey, ErrExists)
		}
		err = r.sayNow(ctx, src.Site, d.Person, "device.enrolled", &events.DeviceEnrolled{
			Device: src.Device, Person: d.Person, Sort: d.Sort, Key: newKey, Wall: d.Wall, Kinds: d.Kinds,
		})
		if err != nil {
			return err
		}
		return r.cfg.Cabinet.EndOfDevice(src)
	})
	if err != nil {
		return fmt.Errorf("rotate key of %s: %w", src, err)
	}
	return nil
}

// Revoke ends a device for good. For keepers, and for whose device it is. One
// that is revoked already stays so.
func (r *Roster) Revoke(ctx context.Context, by string, src events.Source, reason string) error {
	err := r.change(ctx, func(reg *people.Register) error {
		d, ok := reg.Device(src)
		if err := keeper(reg, by); err != nil && (!ok || d.Person != by) {
			return err
		}
		if !ok {
			return ErrUnknown
		}
		if !d.Revoked {
			err := r.sayNow(ctx, src.Site, by, "device.revoked", &events.DeviceRevoked{Device: src.Device, Reason: reason})
			if err != nil {
				return err
			}
		}
		// A crash before this leaves what the register does not let in any more.
		return errors.Join(r.cfg.Cabinet.DropSecret(src), r.cfg.Cabinet.EndOfDevice(src))
	})
	if err != nil {
		return fmt.Errorf("revoke %s: %w", src, err)
	}
	return nil
}

// EnrolProbe admits a device that cannot sign, with a user name and a password
// of 256 random bits that is shown this once. An empty wall is any, empty kinds
// are all that the role probe may record. For keepers.
func (r *Roster) EnrolProbe(ctx context.Context, by, site, device, wall string, kinds []events.Kind) (user, password string, err error) {
	src := events.Source{Site: site, Device: device}
	err = r.change(ctx, func(reg *people.Register) error {
		if err := stationMay(keeper(reg, by), kinds); err != nil {
			return err
		}
		if err := free(reg, src); err != nil {
			return err
		}
		if site == everywhere {
			return &events.Refusal{Field: "site", Value: site, Allowed: "one site: a probe stands somewhere"}
		}
		e, err := r.saying(site, by, "device.enrolled", &events.DeviceEnrolled{Device: device, Sort: events.SortProbe, Wall: wall, Kinds: kinds})
		if err != nil {
			return err
		}
		// A crash after this leaves a password of a device that is not enrolled.
		if password, err = r.password(src); err != nil {
			return err
		}
		if err := r.say(ctx, e); err != nil {
			return errors.Join(err, r.cfg.Cabinet.DropSecret(src))
		}
		return nil
	})
	if err != nil {
		return "", "", fmt.Errorf("enrol probe %s: %w", src, err)
	}
	return UserOf(src), password, nil
}

// NewPassword gives a probe a new password; the old one ends. For keepers.
func (r *Roster) NewPassword(ctx context.Context, by string, src events.Source) (user, password string, err error) {
	err = r.change(ctx, func(reg *people.Register) error {
		if err := keeper(reg, by); err != nil {
			return err
		}
		d, err := standing(reg, src)
		if err != nil {
			return err
		}
		if d.Sort != events.SortProbe {
			return fmt.Errorf("a %s has a key and no password: %w", d.Sort, ErrNotAllowed)
		}
		password, err = r.password(src)
		return err
	})
	if err != nil {
		return "", "", fmt.Errorf("new password of %s: %w", src, err)
	}
	r.cfg.Log.Info("new password", "source", src.String(), "by", by)
	return UserOf(src), password, nil
}

func (r *Roster) password(src events.Source) (string, error) {
	raw := make([]byte, 32)
	rand.Read(raw)
	password := base64.RawURLEncoding.EncodeToString(raw)
	return password, r.cfg.Cabinet.SetSecret(src, password)
}

// standing returns a device that is enrolled, not revoked, and whose person has
// a role on its site.
func standing(reg *people.Register, src events.Source) (people.Device, error) {
	d, ok := reg.Device(src)
	switch {
	case !ok:
		return d, fmt.Errorf("device %s: %w", src, ErrUnknown)
	case d.Revoked:
		return d, fmt.Errorf("device %s is revoked: %w", src, ErrUnknown)
	case !reg.Standing(src):
		return d, fmt.Errorf("person %s has no role on %s: %w", d.Person, src.Site, ErrNotAllowed)
	}
	return d, nil
}
