package cabinet

import (
	"crypto/subtle"
	"fmt"

	"go.etcd.io/bbolt"

	"earlyage/events"
)

// SetSecret keeps the hash of a probe's password in the place of the one
// before. The password has to be random, 256 bits.
func (c *Cabinet) SetSecret(src events.Source, secret string) error {
	err := c.db.Update(func(tx *bbolt.Tx) error {
		key := []byte(src.String())
		return tx.Bucket(secretBucket).Put(key, seal(key, secretHash(src, secret)))
	})
	if err != nil {
		return fmt.Errorf("set secret of %s: %w", src, err)
	}
	return nil
}

// CheckSecret reports whether this is the probe's password. A store that cannot
// be read knows no password. The time that it takes tells nothing of how near
// the guess was, nor whether there is such a probe.
func (c *Cabinet) CheckSecret(src events.Source, secret string) bool {
	kept := make([]byte, 32) // no password has this hash
	found := false
	err := c.db.View(func(tx *bbolt.Tx) error {
		value, err := readBytes(tx.Bucket(secretBucket), []byte(src.String()))
		if len(value) == len(kept) {
			kept, found = value, true
		}
		return err
	})
	same := subtle.ConstantTimeCompare(kept, secretHash(src, secret)) == 1
	return err == nil && found && same
}

// DropSecret forgets a probe's password.
func (c *Cabinet) DropSecret(src events.Source) error {
	err := c.db.Update(func(tx *bbolt.Tx) error { return tx.Bucket(secretBucket).Delete([]byte(src.String())) })
	if err != nil {
		return fmt.Errorf("drop secret of %s: %w", src, err)
	}
	return nil
}

func secretHash(src events.Source, secret string) []byte {
	return hash("secret", []byte(src.String()), []byte(secret))
}
