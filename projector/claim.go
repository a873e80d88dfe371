package projector

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"slices"

	"go.etcd.io/bbolt"

	"earlyage/events"
)

// resolve finds for each item the first message with its key. With put it
// claims keys that are not in the index; without, their absence is damage.
func resolve(tx *bbolt.Tx, items []item, put bool) error {
	keys, leaves := tx.Bucket(keyBucket), tx.Bucket(leafBucket)
	if put {
		keys.FillPercent = 0.9
	}
	end, _ := keys.Cursor().Last()
	end = bytes.Clone(end)
	var held []byte
	var first uint64
	for _, c := range claims(items) {
		it := &items[c.at]
		if !bytes.Equal(c.key, held) {
			held, first = c.key, it.seq
			var v []byte
			if bytes.Compare(c.key, end) <= 0 {
				v = keys.Get(c.key)
			}
			switch {
			case len(v) == 8:
				first = binary.BigEndian.Uint64(v)
			case put:
				if err := keys.Put(c.key, it.key()); err != nil {
					return err
				}
			default:
				return fmt.Errorf("key index lacks message %d: %w", it.seq, ErrDamaged)
			}
		}
		it.first = first
		if first != it.seq {
			if err := it.compare(leaves); err != nil {
				return err
			}
		}
	}
	return resolveRefused(keys, leaves, items)
}

// resolveRefused finds refused messages that repeat an accepted one, and accepted
// ones that repeat a refused one: the same body on the same subject.
//
// The former came without a signature, or with one that has ended since. They say
// nothing new, and whoever sends them, they change nothing. The latter came too
// early: a device sent them with a key that had just ended, and signed them anew.
func resolveRefused(keys, leaves *bbolt.Bucket, items []item) error {
	anyRefused, _ := keys.Cursor().First()
	for i := range items {
		it := &items[i]
		refused := it.refusal != nil
		if it.id == "" || it.source.Device == "" || !refused && (it.first != it.seq || len(anyRefused) == 0 || anyRefused[0] != tagRefused) {
			continue
		}
		v := keys.Get(appendClaim(nil, !refused, it.id, it.source))
		if len(v) != 8 || binary.BigEndian.Uint64(v) >= it.seq {
			continue
		}
		again := item{subject: it.subject, body: it.body, first: binary.BigEndian.Uint64(v)}
		switch err := again.compare(leaves); {
		case err != nil:
			return err
		case again.other:
		case refused:
			it.first, it.other, it.firstAt = again.first, false, again.firstAt
		default:
			it.refused = again.first
		}
	}
	return nil
}

type claim struct {
	key []byte
	at  int
}

// claims lists the keys of a batch in order, and of equal keys the first
// message first.
func claims(items []item) []claim {
	list := make([]claim, 0, len(items))
	arena := make([]byte, 0, len(items)*64)
	for i := range items {
		it := &items[i]
		if it.id == "" || it.source.Device == "" {
			continue
		}
		start := len(arena)
		arena = appendClaim(arena, it.refusal != nil, it.id, it.source)
		list = append(list, claim{arena[start:len(arena):len(arena)], i})
	}
	slices.SortFunc(list, func(a, b claim) int {
		if c := bytes.Compare(a.key, b.key); c != 0 {
			return c
		}
		return a.at - b.at
	})
	return list
}

// compare reports whether the first message with the item's key is the same
// one: the same subject and the same body.
func (it *item) compare(leaves *bbolt.Bucket) error {
	leaf, err := leafAt(leaves, it.first)
	if err == nil && leaf == nil {
		err = fmt.Errorf("leaf %d is in the key index and not kept: %w", it.first, ErrDamaged)
	}
	if err != nil {
		return err
	}
	l, err := parseKept(leaf)
	if err != nil {
		return err
	}
	it.other = l.Subject != it.subject || !bytes.Equal(l.Body, it.body)
	if sub, err := events.ParseSubject(l.Subject); err == nil {
		it.firstAt = Ref{sub.Site, sub.Wall}
	}
	return nil
}
