package projector

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"time"

	"go.etcd.io/bbolt"
)

// Leaf is one message exactly as it was received. Signatures and proofs are
// over its bytes, never over a re-encoding of the event.
type Leaf struct {
	Seq       uint64
	Recorded  time.Time // the stream's timestamp, UTC, whole milliseconds
	Subject   string
	Signature string // the signature header; empty where there was none
	Body      []byte
}

var errLeaf = errors.New("not a leaf")

// Append appends the leaf's bytes: sequence and recorded time (Unix
// milliseconds) as 8 bytes big endian, subject, signature and body, each after
// its length as an unsigned varint.
func (l Leaf) Append(b []byte) []byte {
	b = append(b, 8)
	b = binary.BigEndian.AppendUint64(b, l.Seq)
	b = append(b, 8)
	b = binary.BigEndian.AppendUint64(b, uint64(l.Recorded.UnixMilli()))
	b = appendText(b, l.Subject)
	b = appendText(b, l.Signature)
	b = binary.AppendUvarint(b, uint64(len(l.Body)))
	return append(b, l.Body...)
}

func appendText(b []byte, s string) []byte {
	return append(binary.AppendUvarint(b, uint64(len(s))), s...)
}

// ParseLeaf reads a leaf. Only what Append writes is accepted, so that one leaf
// has one form. Body is a part of b.
func ParseLeaf(b []byte) (Leaf, error) {
	var field [5][]byte
	rest := b
	for i := range field {
		n, size := binary.Uvarint(rest)
		if size <= 0 || n > uint64(len(rest)-size) || size != uvarintLen(n) {
			return Leaf{}, fmt.Errorf("leaf field %d: %w", i, errLeaf)
		}
		field[i], rest = rest[size:size+int(n)], rest[size+int(n):]
	}
	if len(field[0]) != 8 || len(field[1]) != 8 || len(rest) != 0 {
		return Leaf{}, fmt.Errorf("leaf of %d bytes: %w", len(b), errLeaf)
	}
	return Leaf{
		Seq:       binary.BigEndian.Uint64(field[0]),
		Recorded:  time.UnixMilli(int64(binary.BigEndian.Uint64(field[1]))).UTC(),
		Subject:   string(field[2]),
		Signature: string(field[3]),
		Body:      field[4],
	}, nil
}

func uvarintLen(n uint64) int {
	size := 1
	for ; n >= 0x80; n >>= 7 {
		size++
	}
	return size
}

// size returns how many bytes Append appends.
func (l Leaf) size() int {
	return 9 + 9 + textLen(len(l.Subject)) + textLen(len(l.Signature)) + textLen(len(l.Body))
}

func textLen(n int) int { return uvarintLen(uint64(n)) + n }

// Leaves are stored in packs: the leaves of up to 64 messages that came
// together, one after another, under the sequence of the first. A live message
// is a pack of its own. Each entry is the leaf after its length, and a checksum
// of the leaf.

func appendEntry(b []byte, l Leaf) []byte {
	b = binary.AppendUvarint(b, uint64(l.size()))
	start := len(b)
	b = l.Append(b)
	return binary.BigEndian.AppendUint32(b, crc32.Checksum(b[start:], castagnoli))
}

// cutEntry takes the first entry off a pack. The checksum is not looked at.
func cutEntry(pack []byte) (leaf, sum, rest []byte, err error) {
	n, size := binary.Uvarint(pack)
	if size <= 0 || n < 18 || n > uint64(len(pack)-size) || uint64(len(pack)-size)-n < 4 {
		return nil, nil, nil, fmt.Errorf("pack of leaves: %w", ErrDamaged)
	}
	end := size + int(n)
	return pack[size:end:end], pack[end : end+4], pack[end+4:], nil
}

// leafSeq returns the sequence that a leaf begins with.
func leafSeq(leaf []byte) uint64 { return binary.BigEndian.Uint64(leaf[1:9]) }

// verify checks a leaf against its checksum.
func verify(leaf, sum []byte) error {
	if crc32.Checksum(leaf, castagnoli) != binary.BigEndian.Uint32(sum) {
		return fmt.Errorf("leaf %d: checksum: %w", leafSeq(leaf), ErrDamaged)
	}
	return nil
}

// leafWalk goes over the kept leaves in order.
type leafWalk struct {
	c    *bbolt.Cursor
	pack []byte // what is left of the pack at hand
}

// walkLeaves begins at a sequence, or after it where it is missing.
func walkLeaves(b *bbolt.Bucket, from uint64) (*leafWalk, error) {
	w := &leafWalk{c: b.Cursor()}
	key, pack := w.c.Seek(seqKey(from))
	if key == nil || binary.BigEndian.Uint64(key) > from {
		// The pack before may reach over it.
		if key, pack = before(w.c, seqKey(from)); key == nil {
			key, pack = w.c.First()
		}
	}
	if key == nil {
		return w, nil
	}
	w.pack = pack
	for len(w.pack) > 0 {
		leaf, _, rest, err := cutEntry(w.pack)
		if err != nil {
			return nil, err
		}
		if leafSeq(leaf) >= from {
			break
		}
		w.pack = rest
	}
	return w, nil
}

// next returns the next leaf, checked, or nil at the end. It is a part of the
// file: valid within the transaction only.
func (w *leafWalk) next() ([]byte, error) {
	if len(w.pack) == 0 {
		var key []byte
		if key, w.pack = w.c.Next(); key == nil {
			return nil, nil
		}
	}
	leaf, sum, rest, err := cutEntry(w.pack)
	if err != nil {
		return nil, err
	}
	w.pack = rest
	return leaf, verify(leaf, sum)
}

// leafAt returns the leaf of one sequence, checked, or nil.
func leafAt(b *bbolt.Bucket, seq uint64) ([]byte, error) {
	w, err := walkLeaves(b, seq)
	if err != nil {
		return nil, err
	}
	leaf, err := w.next()
	if err != nil || leaf == nil || leafSeq(leaf) != seq {
		return nil, err
	}
	return leaf, nil
}
