package notify

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"go.etcd.io/bbolt"
)

// toldFor is how long it is remembered that an alert was told, by the stream's
// clock: a second hub can say the same only within moments.
const toldFor = 30 * 24 * time.Hour

var (
	placeBucket = []byte("place")
	toldBucket  = []byte("told")
	afterKey    = []byte("after")
)

var errPlace = errors.New("file is not a place in a stream")

// place is the file that holds how far the stream was told, and what was told.
type place struct{ db *bbolt.DB }

func openPlace(path string) (*place, error) {
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: time.Second})
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", path, err)
	}
	p := &place{db}
	err = db.Update(func(tx *bbolt.Tx) error {
		b, err := tx.CreateBucketIfNotExists(placeBucket)
		if err != nil {
			return err
		}
		if v := b.Get(afterKey); v != nil && len(v) != 8 {
			return errPlace
		}
		told, err := tx.CreateBucketIfNotExists(toldBucket)
		if err != nil {
			return err
		}
		return forget(told)
	})
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open %s: %w", path, err), db.Close())
	}
	return p, nil
}

// forget drops what was told long before the last thing told.
func forget(told *bbolt.Bucket) error {
	var newest int64
	var old [][]byte
	if err := told.ForEach(func(_, v []byte) error {
		if len(v) != 8 {
			return errPlace
		}
		newest = max(newest, int64(binary.BigEndian.Uint64(v))) // #nosec G115 -- milliseconds, written from an int64
		return nil
	}); err != nil {
		return err
	}
	limit := newest - toldFor.Milliseconds()
	if err := told.ForEach(func(k, v []byte) error {
		if int64(binary.BigEndian.Uint64(v)) < limit { // #nosec G115 -- as above
			old = append(old, k)
		}
		return nil
	}); err != nil {
		return err
	}
	for _, k := range old {
		if err := told.Delete(k); err != nil {
			return err
		}
	}
	return nil
}

// after returns the sequence that was told last; ok is false before the first
// switching on.
func (p *place) after() (seq uint64, ok bool, err error) {
	err = p.db.View(func(tx *bbolt.Tx) error {
		if v := tx.Bucket(placeBucket).Get(afterKey); v != nil {
			seq, ok = binary.BigEndian.Uint64(v), true
		}
		return nil
	})
	return seq, ok, err
}

// told reports whether a notice was told before.
func (p *place) told(n Notice) (told bool, err error) {
	err = p.db.View(func(tx *bbolt.Tx) error {
		told = tx.Bucket(toldBucket).Get(toldKey(n)) != nil
		return nil
	})
	return told, err
}

// move puts the place behind a sequence, and with a notice notes that it was
// told, in one transaction.
func (p *place) move(seq uint64, n *Notice) error {
	err := p.db.Update(func(tx *bbolt.Tx) error {
		if n != nil {
			at := binary.BigEndian.AppendUint64(nil, uint64(n.Recorded.UnixMilli()))
			if err := tx.Bucket(toldBucket).Put(toldKey(*n), at); err != nil {
				return err
			}
		}
		return tx.Bucket(placeBucket).Put(afterKey, binary.BigEndian.AppendUint64(nil, seq))
	})
	if err != nil {
		return fmt.Errorf("note stream_seq=%d as told: %w", seq, err)
	}
	return nil
}

func toldKey(n Notice) []byte { return []byte(n.Alert + " " + n.State) }
