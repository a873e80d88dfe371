package projector

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"errors"
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
//   - key: id, site, device -> sequence of the first message with that key. Ids
//     lead, since a UUIDv7 begins with the time.
//   - wall: block of 65,536 sequences, site, wall, first sequence -> the
//     sequences within the block.
//   - number: block, site, device, first sequence -> pairs of number and sequence.
//
// The entries of one name in a block are split into pieces, so that a device
// that fills a block alone does not have all of it written again by each commit.
const (
	blockBits = 16
	pieceMax  = 512 // bytes; a piece that is longer is not added to
)

// Tags of the key index. Accepted UUIDs come last: a message whose key is past
// the end of the index is new, and most are.
const (
	tagRefused  = 'R' // a refused message claims nothing against an acceptable one
	tagAccepted = 'a' // claimed by a message that is acceptable by itself
)

// appendClaim writes the key index's form of an event's key. A canonical UUID
// takes 16 bytes instead of 36.
func appendClaim(b []byte, refused bool, id string, src events.Source) []byte {
	tag := byte(tagAccepted)
	if refused {
		tag = tagRefused
	}
	if u, ok := parseUUID(id); ok {
		b = append(append(b, tag, 'u'), u[:]...)
	} else {
		b = append(append(append(b, tag, 's'), id...), 0)
	}
	b = append(append(b, src.Site...), 0)
	return append(b, src.Device...)
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

// appendBlock writes the key of a block index, as far as all pieces share it.
func appendBlock(b []byte, seq uint64, site, name string) []byte {
	b = binary.BigEndian.AppendUint64(b, seq>>blockBits)
	b = append(append(b, site...), 0)
	return append(append(b, name...), 0)
}

// row is one entry to be added to a block index.
type row struct {
	key  []byte // of its block and name
	tail []byte // what is added
	seq  uint64
}

// rows gathers entries, in order of their sequences, in one arena.
type rows struct {
	list  []row
	arena []byte
}

func newRows(n int) *rows { return &rows{list: make([]row, 0, n), arena: make([]byte, 0, n*40)} }

func (r *rows) add(seq uint64, site, name string, number uint64) {
	start := len(r.arena)
	r.arena = appendBlock(r.arena, seq, site, name)
	mid := len(r.arena)
	if number != 0 {
		r.arena = binary.AppendUvarint(r.arena, number)
	}
	r.arena = binary.AppendUvarint(r.arena, seq&(1<<blockBits-1))
	end := len(r.arena)
	r.list = append(r.list, row{r.arena[start:mid:mid], r.arena[mid:end:end], seq})
}

// write adds every entry to its block, keys in order: puts of a sorted run stay
// within one page after another.
func (r *rows) write(b *bbolt.Bucket) error {
	b.FillPercent = 0.9
	slices.SortFunc(r.list, func(x, y row) int {
		if c := bytes.Compare(x.key, y.key); c != 0 {
			return c
		}
		return cmp.Compare(x.seq, y.seq)
	})
	last := b.Cursor()
	for i := 0; i < len(r.list); {
		name := r.list[i].key
		key, value := lastPiece(last, name)
		for ; i < len(r.list) && bytes.Equal(r.list[i].key, name); i++ {
			if key == nil || len(value) > pieceMax {
				if key != nil {
					if err := b.Put(key, value); err != nil {
						return err
					}
				}
				key, value = binary.BigEndian.AppendUint64(slices.Clip(name), r.list[i].seq), nil
			}
			value = append(value, r.list[i].tail...)
		}
		if err := b.Put(key, value); err != nil {
			return err
		}
	}
	return nil
}

// lastPiece returns a copy of the piece that new entries of a name are added
// to, or nothing.
func lastPiece(c *bbolt.Cursor, name []byte) (key, value []byte) {
	// No piece begins at the greatest of all sequences.
	k, v := before(c, append(slices.Clip(name), 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff))
	if !bytes.HasPrefix(k, name) {
		return nil, nil
	}
	return slices.Clone(k), append(make([]byte, 0, len(v)+16), v...)
}

// blocks calls f with every piece of one name up to a sequence, oldest first.
func blocks(b *bbolt.Bucket, site, name string, upTo uint64, f func(base uint64, value []byte) error) error {
	c := b.Cursor()
	for block := uint64(0); block <= upTo>>blockBits; block++ {
		prefix := appendBlock(nil, block<<blockBits, site, name)
		for k, v := c.Seek(prefix); k != nil && bytes.HasPrefix(k, prefix); k, v = c.Next() {
			if err := f(block<<blockBits, v); err != nil {
				return err
			}
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

// errFound ends a search.
var errFound = errors.New("found")

// holderOf finds the first message of a device with a number, before a
// sequence; 0 if there is none.
func holderOf(b *bbolt.Bucket, device events.Source, number, before uint64) (holder uint64, err error) {
	err = blocks(b, device.Site, device.Device, before, func(base uint64, v []byte) error {
		for len(v) > 0 {
			no, n := binary.Uvarint(v)
			low, m := binary.Uvarint(v[max(n, 0):])
			if n <= 0 || m <= 0 {
				return fmt.Errorf("number index of %s: %w", device, ErrDamaged)
			}
			v = v[n+m:]
			if no == number && base+low < before {
				holder = base + low
				return errFound
			}
		}
		return nil
	})
	if errors.Is(err, errFound) {
		err = nil
	}
	return holder, err
}
