package projector

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"
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
