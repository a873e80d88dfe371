package projector

import (
	"fmt"
	"io"

	"go.etcd.io/bbolt"
)

// CopyKeep writes a copy of keep.db as it is at one moment, while the record goes
// on, and returns the sequence of its last message. The copy is a whole file:
// the messages, their hashes, the hub's key, names, and what is kept beside them.
func (p *Projector) CopyKeep(w io.Writer) (through uint64, err error) {
	err = guarded(func() error {
		return p.keep.db.View(func(tx *bbolt.Tx) (err error) {
			if through, err = lastLeaf(tx.Bucket(leafBucket)); err != nil {
				return err
			}
			_, err = tx.WriteTo(w)
			return err
		})
	})
	if err != nil {
		return 0, fmt.Errorf("copy %s: %w", keepName, err)
	}
	return through, nil
}
