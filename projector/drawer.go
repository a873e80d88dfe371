package projector

import (
	"fmt"

	"go.etcd.io/bbolt"
)

// Drawer is a bucket of keep.db for a part of the hub that keeps something
// beside the record, in the record's own file and backup.
type Drawer struct {
	db   database
	name []byte
}

// Drawer returns a part's bucket and makes it if it is missing. The name is the
// part's own: nobody else writes to it.
func (p *Projector) Drawer(name string) (*Drawer, error) {
	d := &Drawer{db: p.keep.db, name: []byte("drawer " + name)}
	err := guarded(func() error {
		return d.db.Update(func(tx *bbolt.Tx) error {
			_, err := tx.CreateBucketIfNotExists(d.name)
			return err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("open drawer %s: %w", name, err)
	}
	return d, nil
}

// Update changes what is kept, in one transaction. It returns nil only when that
// is on the disk; after an error of the store it may be or not be. It waits for
// the transaction of the record that is being written.
func (d *Drawer) Update(f func(*bbolt.Bucket) error) error {
	return guarded(func() error {
		return d.db.Update(func(tx *bbolt.Tx) error { return f(tx.Bucket(d.name)) })
	})
}

// View reads what is kept. Values are valid within f only.
func (d *Drawer) View(f func(*bbolt.Bucket) error) error {
	return guarded(func() error {
		return d.db.View(func(tx *bbolt.Tx) error { return f(tx.Bucket(d.name)) })
	})
}
