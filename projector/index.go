package projector

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"slices"

	"go.etcd.io/bbolt"

	"earlyage/events"
)

// Three indexes stand beside the leaves. They are laid out so that a commit
// touches pages at the end of a tree only, whatever walls and devices it is
// about: an index ordered by wall or device would make every commit of a
// catching-up hub write a page for each of thousands of walls.
//
//   - key: id, source -> sequence of the first message with that key. Ids lead,
//     since a UUIDv7 begins with the time.
//   - wall: block of 4,096 sequences, site, wall -> the sequences within it.
//   - number: block, site, device -> pairs of number and sequence.
const blockBits = 12

const (
	tagAccepted = 'a' // claimed by a message that is acceptable by itself
	tagRefused  = 'r' // a refused message claims nothing against an acceptable one
)

// appendClaim writes the key index's form of an event's key. A canonical UUID
// takes 16 bytes instead of 36.
func appendClaim(b []byte, refused bool, id, source string) []byte {
	tag := byte(tagAccepted)
	if refused {
		tag = tagRefused
	}
	if u, ok := parseUUID(id); ok {
		b = append(append(b, tag, 'u'), u[:]...)
	} else {
		b = append(append(append(b, tag, 's'), id...), 0)
	}
	return append(b, source...)
}

// parseUUID reads the one canonical form, 36 characters in lower case, so that
// no two ids share an entry.
func parseUUID(s string) (u [16]byte, ok bool) {
	if len(s) != 36 || s[8] != '-' || s[13] != '-' || s[18] != '-' || s[23] != '-' {
		return u, false
	}
	at := 0
	for i := 0; i < 36; {
		if s[i] == '-' && (i == 8 || i == 13 || i == 18 || i == 23) {
			i++
			continue
		}
		hi, lo := hexDigit(s[i]), hexDigit(s[i+1])
		if hi > 15 || lo > 15 {
			return u, false
		}
		u[at] = hi<<4 | lo
		at++
		i += 2
	}
	return u, true
}

func hexDigit(c byte) byte {
	switch {
	case c >= '0' && c <= '9':
		return c - '0'
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10
	}
	return 255
}

// appendBlock writes the key of a block index.
func appendBlock(b []byte, seq uint64, site, name string) []byte {
	b = binary.BigEndian.AppendUint64(b, seq>>blockBits)
	b = append(append(b, site...), 0)
	return append(b, name...)
}

// row is one entry to be appended to a block.
type row struct {
	key  []byte
	at   int
	tail []byte
}

// rows gathers entries in one arena.
type rows struct {
	list  []row
	arena []byte
}

func newRows(n int) *rows { return &rows{list: make([]row, 0, n), arena: make([]byte, 0, n*48)} }

func (r *rows) add(seq uint64, site, name string, number uint64, numbered bool) {
	start := len(r.arena)
	r.arena = appendBlock(r.arena, seq, site, name)
	mid := len(r.arena)
	if numbered {
		r.arena = binary.AppendUvarint(r.arena, number)
	}
	r.arena = binary.AppendUvarint(r.arena, seq&(1<<blockBits-1))
	end := len(r.arena)
	r.list = append(r.list, row{r.arena[start:mid:mid], len(r.list), r.arena[mid:end:end]})
}

// write appends every entry to its block, keys in order: bbolt puts of a sorted
// run stay within one page after another.
func (r *rows) write(b *bbolt.Bucket) error {
	b.FillPercent = 0.9
	slices.SortFunc(r.list, func(x, y row) int {
		if c := bytes.Compare(x.key, y.key); c != 0 {
			return c
		}
		return x.at - y.at
	})
	for i := 0; i < len(r.list); {
		key := r.list[i].key
		value := slices.Clone(b.Get(key))
		for ; i < len(r.list) && bytes.Equal(r.list[i].key, key); i++ {
			value = append(value, r.list[i].tail...)
		}
		if err := b.Put(key, value); err != nil {
			return err
		}
	}
	return nil
}

// blocks calls f with every block of one name up to a sequence, oldest first.
func blocks(b *bbolt.Bucket, site, name string, upTo uint64, f func(base uint64, value []byte) error) error {
	for block := uint64(0); block <= upTo>>blockBits; block++ {
		v := b.Get(appendBlock(nil, block<<blockBits, site, name))
		if v == nil {
			continue
		}
		if err := f(block<<blockBits, v); err != nil {
			return err
		}
	}
	return nil
}

// sequencesOf lists the messages of a wall, or of a site itself, up to a sequence.
func sequencesOf(b *bbolt.Bucket, at Ref, upTo uint64) ([]uint64, error) {
	var list []uint64
	err := blocks(b, at.Site, at.Wall, upTo, func(base uint64, v []byte) error {
		for len(v) > 0 {
			low, n := binary.Uvarint(v)
			if n <= 0 {
				return fmt.Errorf("wall index of %s: %w", at, ErrDamaged)
			}
			v = v[n:]
			if base+low <= upTo {
				list = append(list, base+low)
			}
		}
		return nil
	})
	return list, err
}

// holderOf finds the first message of a device with a number, before a
// sequence; 0 if there is none.
func holderOf(b *bbolt.Bucket, device events.Source, number, before uint64) (uint64, error) {
	var holder uint64
	err := blocks(b, device.Site, device.Device, before, func(base uint64, v []byte) error {
		for len(v) > 0 && holder == 0 {
			no, n := binary.Uvarint(v)
			low, m := binary.Uvarint(v[max(n, 0):])
			if n <= 0 || m <= 0 {
				return fmt.Errorf("number index of %s: %w", device, ErrDamaged)
			}
			v = v[n+m:]
			if no == number && base+low < before {
				holder = base + low
			}
		}
		return nil
	})
	return holder, err
}
