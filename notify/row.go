package notify

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"

	"github.com/go-json-experiment/json"
	"go.etcd.io/bbolt"
)

// errDamaged: a row is not what was written.
var errDamaged = errors.New("row is damaged")

// rowVersion is the form of the rows that this program writes and reads.
const rowVersion = 1

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// A row is its version, JSON, and a checksum over the key and both, so that a
// row in another's place is found too.
func putRow(b *bbolt.Bucket, key []byte, v any) error {
	value, err := json.Marshal(v)
	if err != nil {
		return err
	}
	row := append([]byte{rowVersion}, value...)
	return b.Put(key, binary.BigEndian.AppendUint32(row, rowSum(key, row)))
}

func rowSum(key, row []byte) uint32 {
	return crc32.Update(crc32.Checksum(key, castagnoli), castagnoli, row)
}

// getRow reads a row. The row itself is never part of the error: it holds what
// was said to whom.
func getRow[T any](key, row []byte) (v T, err error) {
	n := len(row) - 4
	if n < 1 || rowSum(key, row[:n]) != binary.BigEndian.Uint32(row[n:]) {
		return v, fmt.Errorf("row %q: checksum: %w", key, errDamaged)
	}
	if row[0] != rowVersion {
		return v, fmt.Errorf("row %q: version %d, this program reads %d: %w", key, row[0], rowVersion, errDamaged)
	}
	if err := json.Unmarshal(row[1:n], &v); err != nil {
		return v, fmt.Errorf("row %q: %w: %w", key, err, errDamaged)
	}
	return v, nil
}

// eachRow goes through a bucket in the order of its keys. A damaged row is
// handed to bad and passed over.
func eachRow[T any](b *bbolt.Bucket, bad func(key string, err error), f func(key string, v T)) error {
	return b.ForEach(func(k, row []byte) error {
		v, err := getRow[T](k, row)
		if err != nil {
			bad(string(k), err)
			return nil
		}
		f(string(k), v)
		return nil
	})
}
