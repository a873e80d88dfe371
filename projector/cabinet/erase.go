package cabinet

import (
	"encoding/binary"
	"errors"
	"fmt"

	"go.etcd.io/bbolt"
)

// wipeBucket holds the filling while free pages are written over. That it is
// there says that an erasing has not come to its end.
var wipeBucket = []byte("wipe")

// wipePages is how many pages one transaction writes over, so that the record
// waits for some ten milliseconds at a time.
const wipePages = 1024

// EraseCard takes a person's card out of the file, and where their browsers are
// reached with it.
//
// bbolt never writes over a page in use: what is deleted or replaced stays
// legible in a free page until that page is used again, and every copy of a page
// that was made when its neighbours changed is such a page. A copy by
// compaction holds no free pages and so nothing of the card. In the file itself
// EraseCard fills every free page once and gives it free again, so that the
// bytes are gone from there too, unless a reader that began before (a backup)
// still holds the old pages: then they are written over by the next EraseCard
// or in the course of things. Copies made earlier, and what a file system or a
// disk keeps beneath the file, are out of reach.
//
// The card counts as erased from the first transaction on. A crash after it
// leaves the filling to the next New.
func (c *Cabinet) EraseCard(person string) error {
	c.wiping.Lock()
	defer c.wiping.Unlock()
	err := c.db.Update(func(tx *bbolt.Tx) error {
		_, err := tx.CreateBucketIfNotExists(wipeBucket)
		return errors.Join(err, tx.Bucket(personBucket).Delete([]byte(person)), tx.Bucket(pushBucket).Delete([]byte(person)))
	})
	if err == nil {
		err = c.wipe()
	}
	if err != nil {
		return fmt.Errorf("erase card of %s: %w", person, err)
	}
	return nil
}

// wipe fills as many pages as are free, then gives them back.
func (c *Cabinet) wipe() error {
	for left, next := -1, uint64(0); left != 0; {
		err := c.db.Update(func(tx *bbolt.Tx) error {
			if stats := tx.DB().Stats(); left < 0 {
				// The pages that the transaction before has freed are pending still.
				left = stats.FreePageN + stats.PendingPageN + 1
			}
			n := min(left, wipePages)
			left -= n
			return fill(tx, &next, n)
		})
		if err != nil {
			return err
		}
	}
	return c.db.Update(func(tx *bbolt.Tx) error { return tx.DeleteBucket(wipeBucket) })
}

// fill writes n leaf pages: bbolt puts at least two values on a page, so each
// is a little under half of one.
func fill(tx *bbolt.Tx, next *uint64, n int) error {
	b, err := tx.CreateBucketIfNotExists(wipeBucket)
	if err != nil {
		return err
	}
	b.FillPercent = 1
	half := make([]byte, tx.DB().Info().PageSize/2-64)
	for range 2 * n {
		if err := b.Put(binary.BigEndian.AppendUint64(nil, *next), half); err != nil {
			return err
		}
		*next++
	}
	return nil
}
