package cabinet

import (
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"

	"go.etcd.io/bbolt"
)

// MaxPasskeyID is the greatest length in bytes of a passkey's id, by Web
// Authentication Level 2 (from memory).
const MaxPasskeyID = 1023

// The passkey bucket has four sorts of keys, told apart by their first byte.
const (
	passkeyRecord = 'k' // k person 0 id: the record
	passkeyOwner  = 'i' // i id: the person
	handleOf      = 'u' // u person: the handle
	handleOwner   = 'h' // h handle: the person
)

func passkeyKey(sort byte, parts ...[]byte) []byte {
	return append([]byte{sort}, bytes.Join(parts, []byte{0})...)
}

// PutPasskey keeps a passkey of a person, or its record anew after it was used.
// What the record holds is the caller's affair; it holds no secret.
func (c *Cabinet) PutPasskey(person string, id, record []byte) error {
	err := c.db.Update(func(tx *bbolt.Tx) error {
		b := tx.Bucket(passkeyBucket)
		if n := len(id); n == 0 || n > MaxPasskeyID {
			return fmt.Errorf("id of %d bytes, allowed 1 to %d", n, MaxPasskeyID)
		}
		at := passkeyKey(passkeyOwner, id)
		if owner, err := readBytes(b, at); err != nil {
			return err
		} else if owner != nil && string(owner) != person {
			return ErrTaken
		}
		key := passkeyKey(passkeyRecord, []byte(person), id)
		return errors.Join(b.Put(at, seal(at, []byte(person))), b.Put(key, seal(key, record)))
	})
	if err != nil {
		return fmt.Errorf("put passkey of %s: %w", person, err)
	}
	return nil
}

// Passkeys returns the records of a person's passkeys, by id.
func (c *Cabinet) Passkeys(person string) (records [][]byte, err error) {
	err = c.db.View(func(tx *bbolt.Tx) error {
		return eachPasskey(tx.Bucket(passkeyBucket), person, func(key, sealed []byte) error {
			record, err := unseal(key, sealed)
			records = append(records, bytes.Clone(record))
			return err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("passkeys of %s: %w", person, err)
	}
	return records, nil
}

// PasskeyOwner returns whose passkey an id is.
func (c *Cabinet) PasskeyOwner(id []byte) (person string, ok bool, err error) {
	return c.owner(passkeyKey(passkeyOwner, id))
}

// PersonOf returns whose handle it is.
func (c *Cabinet) PersonOf(handle []byte) (person string, ok bool, err error) {
	return c.owner(passkeyKey(handleOwner, handle))
}

// DropPasskeys takes all passkeys of a person out. The handle stays, for the
// passkeys that may come after.
func (c *Cabinet) DropPasskeys(person string) error {
	err := c.db.Update(func(tx *bbolt.Tx) error {
		b := tx.Bucket(passkeyBucket)
		var keys [][]byte
		head := len(passkeyKey(passkeyRecord, []byte(person), nil))
		err := eachPasskey(b, person, func(key, _ []byte) error {
			keys = append(keys, bytes.Clone(key), passkeyKey(passkeyOwner, key[head:]))
			return nil
		})
		for _, key := range keys {
			err = errors.Join(err, b.Delete(key))
		}
		return err
	})
	if err != nil {
		return fmt.Errorf("drop passkeys of %s: %w", person, err)
	}
	return nil
}

// UserHandle returns the 32 random bytes by which an authenticator knows a
// person; they are made at the first call and say nothing of the person.
func (c *Cabinet) UserHandle(person string) (handle []byte, err error) {
	at := passkeyKey(handleOf, []byte(person))
	err = c.db.View(func(tx *bbolt.Tx) error {
		handle, err = readBytes(tx.Bucket(passkeyBucket), at)
		return err
	})
	if err == nil && handle == nil {
		err = c.db.Update(func(tx *bbolt.Tx) error {
			b := tx.Bucket(passkeyBucket)
			if handle, err = readBytes(b, at); err != nil || handle != nil {
				return err
			}
			handle = make([]byte, 32)
			rand.Read(handle)
			back := passkeyKey(handleOwner, handle)
			return errors.Join(b.Put(at, seal(at, handle)), b.Put(back, seal(back, []byte(person))))
		})
	}
	if err != nil {
		return nil, fmt.Errorf("user handle of %s: %w", person, err)
	}
	return handle, nil
}

func (c *Cabinet) owner(key []byte) (person string, ok bool, err error) {
	err = c.db.View(func(tx *bbolt.Tx) error {
		owner, err := readBytes(tx.Bucket(passkeyBucket), key)
		person, ok = string(owner), owner != nil
		return err
	})
	if err != nil {
		return "", false, fmt.Errorf("owner of a passkey: %w", err)
	}
	return person, ok, nil
}

// readBytes returns a copy of a sealed value; nil: none.
func readBytes(b *bbolt.Bucket, key []byte) ([]byte, error) {
	sealed := b.Get(key)
	if sealed == nil {
		return nil, nil
	}
	value, err := unseal(key, sealed)
	if err != nil {
		return nil, err
	}
	return append([]byte{}, value...), nil
}

func eachPasskey(b *bbolt.Bucket, person string, f func(key, sealed []byte) error) error {
	prefix := passkeyKey(passkeyRecord, []byte(person), nil)
	cur := b.Cursor()
	for key, sealed := cur.Seek(prefix); bytes.HasPrefix(key, prefix); key, sealed = cur.Next() {
		if err := f(key, sealed); err != nil {
			return err
		}
	}
	return nil
}
