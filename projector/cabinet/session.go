package cabinet

import (
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"time"

	"go.etcd.io/bbolt"

	"earlyage/events"
)

// Session is a time in which a person, or a person's device, need not prove
// again who it is. It is over at Until, or when it was not used for the limit
// Idle, whichever comes first; at that very moment it is over.
type Session struct {
	Person string        `json:"person,omitzero"`
	Device events.Source `json:"device,omitzero"` // zero: a page
	Made   time.Time     `json:"made"`            // given by Begin
	Seen   time.Time     `json:"seen"`            // given by Begin and Touch; up to the limit Touch late
	Until  time.Time     `json:"until"`           // at most the limit Session after Made; zero in Begin: just that
}

// Begin keeps a session and returns its token, 256 random bits in base64url.
// The token is kept nowhere.
func (c *Cabinet) Begin(s Session) (token string, err error) {
	raw := make([]byte, 32)
	rand.Read(raw)
	s.Made = c.now().UTC()
	s.Seen = s.Made
	if last := s.Made.Add(c.limits.Session); s.Until.IsZero() || s.Until.After(last) {
		s.Until = last
	}
	err = c.db.Update(func(tx *bbolt.Tx) error {
		return put(tx.Bucket(sessionBucket), hash("session", raw), s)
	})
	if err != nil {
		return "", fmt.Errorf("begin session of %s: %w", s.Person, err)
	}
	return base64.RawURLEncoding.EncodeToString(raw), nil
}

// Session returns the session of a token, or ErrNoSession.
func (c *Cabinet) Session(token string) (s Session, err error) {
	key := tokenKey(token)
	if key == nil {
		return s, ErrNoSession
	}
	now := c.now()
	err = c.db.View(func(tx *bbolt.Tx) error {
		s, err = c.session(tx, key, now)
		return err
	})
	return s, err
}

// Touch notes that a session was used. It writes at most once in the limit
// Touch, so it may be called for every request.
func (c *Cabinet) Touch(token string) error {
	s, err := c.Session(token)
	if now := c.now(); err != nil || now.Sub(s.Seen) < c.limits.Touch {
		return err
	}
	key := tokenKey(token)
	return c.db.Update(func(tx *bbolt.Tx) error {
		now := c.now()
		s, err := c.session(tx, key, now)
		if err != nil || now.Sub(s.Seen) < c.limits.Touch {
			return err
		}
		s.Seen = now.UTC()
		return put(tx.Bucket(sessionBucket), key, s)
	})
}

// End ends the session of a token, if there is one.
func (c *Cabinet) End(token string) error {
	key := tokenKey(token)
	if key == nil {
		return nil
	}
	return c.db.Update(func(tx *bbolt.Tx) error { return tx.Bucket(sessionBucket).Delete(key) })
}

// EndOf ends all sessions of a person, those of the person's devices too.
func (c *Cabinet) EndOf(person string) error {
	if err := c.end(func(s Session) bool { return s.Person == person }); err != nil {
		return fmt.Errorf("end sessions of %s: %w", person, err)
	}
	return nil
}

// EndOfDevice ends all sessions of a device.
func (c *Cabinet) EndOfDevice(src events.Source) error {
	if err := c.end(func(s Session) bool { return s.Device == src }); err != nil {
		return fmt.Errorf("end sessions of %s: %w", src, err)
	}
	return nil
}

// Sweep removes sessions and invitations that are over. Nothing depends on it
// but the size of the file.
func (c *Cabinet) Sweep() error {
	now := c.now()
	err := c.end(func(s Session) bool { return c.over(s, now) })
	if err == nil {
		err = c.db.Update(func(tx *bbolt.Tx) error {
			return remove(tx.Bucket(invitationBucket), func(inv Invitation) bool { return !now.Before(inv.Until) })
		})
	}
	if err != nil {
		return fmt.Errorf("sweep sessions and invitations: %w", err)
	}
	return nil
}

func (c *Cabinet) end(match func(Session) bool) error {
	return c.db.Update(func(tx *bbolt.Tx) error { return remove(tx.Bucket(sessionBucket), match) })
}

func (c *Cabinet) session(tx *bbolt.Tx, key []byte, now time.Time) (Session, error) {
	sealed := tx.Bucket(sessionBucket).Get(key)
	if sealed == nil {
		return Session{}, ErrNoSession
	}
	s, err := read[Session](key, sealed)
	if err != nil {
		return Session{}, fmt.Errorf("session: %w", err)
	}
	if c.over(s, now) {
		return Session{}, ErrNoSession
	}
	return s, nil
}

func (c *Cabinet) over(s Session, now time.Time) bool {
	return !now.Before(s.Until) || !now.Before(s.Made.Add(c.limits.Session)) || !now.Before(s.Seen.Add(c.limits.Idle))
}

// tokenKey is nil for what is no token.
func tokenKey(token string) []byte {
	raw, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(raw) != 32 {
		return nil
	}
	return hash("session", raw)
}
