package projector

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"sync"

	"go.etcd.io/bbolt"

	"earlyage/events"
	"earlyage/events/stream"
)

// numbersPage is how many refused numbers a receipt carries at most of the newest,
// and of the others.
const numbersPage = 64

// pages is which refused numbers each device is told of next. A receipt carries
// the newest and one page of the others; the next one the page before, and after
// the oldest it begins again. So a receipt stays small, and a device that asks as
// often as it sends learns of each in time. A restart begins at the newest.
type pages struct {
	mu   sync.Mutex
	next map[events.Source][]byte // mu; the key that the next page ends before
}

func (p *pages) turn(src events.Source, read func(end []byte) (next []byte, err error)) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	next, err := read(p.next[src])
	switch {
	case err != nil:
	case next == nil:
		delete(p.next, src)
	default:
		if p.next == nil {
			p.next = map[events.Source][]byte{}
		}
		p.next[src] = next
	}
	return err
}

// refusedOf lists a device's newest refused numbers and the page of the others
// that ends before a key (nil: that follows on the newest), in order of number.
// next is where the page after it ends; nil: there is none.
func refusedOf(tx *bbolt.Tx, src events.Source, end []byte) (list []stream.RefusedNumber, next []byte, err error) {
	prefix := prefixOf(src.Site, src.Device)
	newest, last, err := refusedBefore(tx, prefix, append(bytes.Clone(prefix[:len(prefix)-1]), 1))
	if err != nil || last == nil {
		return newest, nil, err
	}
	if end == nil || bytes.Compare(end, last) > 0 {
		end = last
	}
	others, next, err := refusedBefore(tx, prefix, end)
	return append(others, newest...), next, err
}

// refusedBefore lists a page of refused numbers before a key, and where the next
// one ends; nil: that was the last.
func refusedBefore(tx *bbolt.Tx, prefix, end []byte) (list []stream.RefusedNumber, next []byte, err error) {
	c := tx.Bucket(sectionNames[refusedNumbers]).Cursor()
	key, sealed := before(c, end)
	for ; key != nil && bytes.HasPrefix(key, prefix) && len(list) < numbersPage; key, sealed = c.Prev() {
		raw, err := unseal(key, sealed)
		if err != nil {
			return nil, nil, err
		}
		number, err := strconv.ParseUint(string(key[len(prefix):len(prefix)+20]), 10, 64)
		if err != nil {
			return nil, nil, fmt.Errorf("refused number %q: %w", key, ErrDamaged)
		}
		list, next = append(list, stream.RefusedNumber{Number: number, Reason: string(raw)}), bytes.Clone(key)
	}
	slices.Reverse(list)
	if !bytes.HasPrefix(key, prefix) {
		next = nil
	}
	return list, next, nil
}
