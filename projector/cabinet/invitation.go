package cabinet

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"go.etcd.io/bbolt"

	"earlyage/events"
)

// Invitation lets its bearer enrol one device, or one passkey, for one person.
type Invitation struct {
	Person string    `json:"person,omitzero"` // empty: a station
	Site   string    `json:"site"`
	Sort   string    `json:"sort"`        // phone, page or station
	By     string    `json:"by,omitzero"` // who invited; empty: at the hub itself
	Until  time.Time `json:"until"`       // given by Invite

	Device string        `json:"device,omitzero"` // of a station: its name; empty: as it likes
	Kinds  []events.Kind `json:"kinds,omitzero"`  // of a station: what it may say; empty: what a probe may
}

// Invite keeps an invitation and returns its code, which is kept nowhere: 128
// random bits as 26 letters and digits in groups. The time given as Until is
// not looked at.
func (c *Cabinet) Invite(inv Invitation) (code string, until time.Time, err error) {
	raw := make([]byte, 16)
	rand.Read(raw)
	inv.Until = c.now().UTC().Add(c.limits.Invitation)
	err = c.db.Update(func(tx *bbolt.Tx) error {
		return put(tx.Bucket(invitationBucket), hash("invitation", raw), inv)
	})
	if err != nil {
		return "", time.Time{}, fmt.Errorf("invite %s onto %s: %w", inv.Person, inv.Site, err)
	}
	return writeCode(raw), inv.Until, nil
}

// Peek returns what a code is for, and leaves it as it is.
func (c *Cabinet) Peek(code string) (inv Invitation, err error) {
	key, err := codeKey(code)
	if err != nil {
		return inv, err
	}
	err = c.db.View(func(tx *bbolt.Tx) error {
		inv, err = c.invitation(tx, key)
		return err
	})
	return inv, err
}

// Redeem spends a code and calls use with what it is for. Of any number of
// calls at once one finds the code. It is spent on the disk before use runs, so
// a crash in use can cost a code and never gives a second use of it. When use
// returns an error the code is good again until its old end, unless the error
// wraps ErrSpent: use says so where it cannot tell what it has brought about.
// Under Limits.Lasting no code is spent.
func (c *Cabinet) Redeem(code string, use func(Invitation) error) error {
	key, err := codeKey(code)
	if err != nil {
		return err
	}
	var inv Invitation
	err = c.db.Update(func(tx *bbolt.Tx) error {
		if inv, err = c.invitation(tx, key); err != nil || c.limits.Lasting {
			return err
		}
		return tx.Bucket(invitationBucket).Delete(key)
	})
	if err != nil {
		return err
	}
	if err = use(inv); err == nil || errors.Is(err, ErrSpent) {
		return err
	}
	back := c.db.Update(func(tx *bbolt.Tx) error { return put(tx.Bucket(invitationBucket), key, inv) })
	if back != nil {
		return errors.Join(err, fmt.Errorf("give invitation back: %w", back))
	}
	return err
}

// DropInvitations ends the open invitations of a person and those that the
// person has made.
func (c *Cabinet) DropInvitations(person string) error {
	err := c.db.Update(func(tx *bbolt.Tx) error {
		return remove(tx.Bucket(invitationBucket), func(inv Invitation) bool { return inv.Person == person || inv.By == person })
	})
	if err != nil {
		return fmt.Errorf("drop invitations of %s: %w", person, err)
	}
	return nil
}

// invitation returns one that is still good.
func (c *Cabinet) invitation(tx *bbolt.Tx, key []byte) (Invitation, error) {
	sealed := tx.Bucket(invitationBucket).Get(key)
	if sealed == nil {
		return Invitation{}, ErrNoInvitation
	}
	inv, err := read[Invitation](key, sealed)
	if err != nil {
		return Invitation{}, fmt.Errorf("invitation: %w", err)
	}
	if !c.now().Before(inv.Until) {
		return Invitation{}, ErrNoInvitation
	}
	return inv, nil
}

// remove deletes the values that match, and those that are damaged: nobody can
// use them any more.
func remove[T any](b *bbolt.Bucket, match func(T) bool) error {
	var keys [][]byte
	err := b.ForEach(func(key, sealed []byte) error {
		if v, err := read[T](key, sealed); err != nil || match(v) {
			keys = append(keys, bytes.Clone(key))
		}
		return nil
	})
	for _, key := range keys {
		err = errors.Join(err, b.Delete(key))
	}
	return err
}

// hash is what is kept of a secret. The domain keeps the hash of one sort from
// ever being the hash of another.
func hash(domain string, parts ...[]byte) []byte {
	h := sha256.New()
	_, _ = io.WriteString(h, "earlyage "+domain)
	for _, p := range parts {
		_, _ = fmt.Fprintf(h, " %d:", len(p))
		_, _ = h.Write(p)
	}
	return h.Sum(nil)
}

// letters are Crockford's base 32 in lower case: no i, l, o, u.
var letters = base32.NewEncoding("0123456789abcdefghjkmnpqrstvwxyz").WithPadding(base32.NoPadding)

// lookAlikes are what is typed in the place of another letter or between them.
var lookAlikes = strings.NewReplacer("-", "", " ", "", "\t", "", "\r", "", "\n", "", "o", "0", "i", "1", "l", "1")

// writeCode writes 128 bits as five groups of 5, 5, 5, 5 and 6.
func writeCode(raw []byte) string {
	s := letters.EncodeToString(raw)
	return strings.Join([]string{s[:5], s[5:10], s[10:15], s[15:20], s[20:]}, "-")
}

// readCode reads a code as people type it: capitals, spaces and hyphens
// anywhere, o for 0, i and l for 1. nil: it is none.
func readCode(code string) []byte {
	s := lookAlikes.Replace(strings.ToLower(code))
	raw, err := letters.DecodeString(s)
	if err != nil || len(raw) != 16 || letters.EncodeToString(raw) != s { // the last letter has two bits to spare
		return nil
	}
	return raw
}

func codeKey(code string) ([]byte, error) {
	raw := readCode(code)
	if raw == nil {
		return nil, ErrNoInvitation
	}
	return hash("invitation", raw), nil
}
