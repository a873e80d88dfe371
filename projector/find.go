package projector

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/go-json-experiment/json"
	"go.etcd.io/bbolt"

	"earlyage/events"
)

// First returns the first kept message that bears an id of a source and was
// acceptable by itself: well formed, and signed as it must be. ok is false where
// there is none. It costs a look-up in an index, however much is kept. What is kept
// may not be folded yet: Wait for its sequence.
func (p *Projector) First(src events.Source, id string) (l Leaf, ok bool, err error) {
	err = guarded(func() error {
		return p.keep.db.View(func(tx *bbolt.Tx) error {
			at := tx.Bucket(keyBucket).Get(appendClaim(nil, false, id, src))
			if len(at) != 8 {
				return nil
			}
			raw, err := leafAt(tx.Bucket(leafBucket), binary.BigEndian.Uint64(at))
			if err == nil && raw == nil {
				err = ErrDamaged
			}
			if err != nil {
				return err
			}
			l, err = parseKept(bytes.Clone(raw))
			ok = err == nil
			return err
		})
	})
	if err != nil {
		return Leaf{}, false, fmt.Errorf("first message %s of %s: %w", id, src, err)
	}
	return l, ok, nil
}

// First is that of the projector.
func (v View) First(src events.Source, id string) (l Leaf, ok bool, err error) {
	return v.p.First(src, id)
}

// errEnough ends a walk.
var errEnough = errors.New("enough")

// EachRefused calls f with the messages that were not accepted, the newest first,
// from the last one before a sequence on; 0: from the newest of all. It ends when
// f returns false.
func (v View) EachRefused(before uint64, f func(RefusedRow) bool) {
	err := guarded(func() error {
		return v.f.view.db.View(func(tx *bbolt.Tx) error {
			err := eachRefused(tx.Bucket(sectionNames[refusedSection]).Cursor(), before, f)
			if errors.Is(err, errEnough) {
				err = nil
			}
			return err
		})
	})
	if err != nil {
		v.bad.set(fmt.Errorf("refused messages: %w", err))
	}
}

func eachRefused(c *bbolt.Cursor, below uint64, f func(RefusedRow) bool) error {
	key, sealed := c.Last()
	if below != 0 {
		key, sealed = before(c, seqKey(below))
	}
	for ; key != nil; key, sealed = c.Prev() {
		row, err := refusedRow(key, sealed)
		if err != nil {
			return err
		}
		if !f(row) {
			return errEnough
		}
	}
	return nil
}

func refusedRow(key, sealed []byte) (row RefusedRow, err error) {
	raw, err := unseal(key, sealed)
	if err != nil {
		return row, err
	}
	if err := json.Unmarshal(raw, &row); err != nil {
		return row, errors.Join(err, ErrDamaged)
	}
	return row, nil
}

// RefusedAt returns why the message at a sequence was not accepted; ok is false
// where it was, or where there is none.
func (v View) RefusedAt(seq uint64) (row RefusedRow, ok bool) {
	err := guarded(func() error {
		return v.f.view.db.View(func(tx *bbolt.Tx) (err error) {
			key := seqKey(seq)
			sealed := tx.Bucket(sectionNames[refusedSection]).Get(key)
			if sealed == nil {
				return nil
			}
			row, err = refusedRow(key, sealed)
			ok = err == nil
			return err
		})
	})
	if err != nil {
		v.bad.set(fmt.Errorf("refused message %d: %w", seq, err))
	}
	return row, ok
}
