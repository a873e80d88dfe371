package notify

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"time"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"
)

// oldPlace is what the file of the time before the ledger knew: how far the
// stream was told, and which words were told lately.
type oldPlace struct {
	after uint64
	heard map[string]time.Time // alert and state: when
}

// errPlace: the file holds something else, or is damaged.
var errPlace = errors.New("file is not a place in a stream")

// readOld reads the old file; ok is false if there is none, or one that was
// never switched on.
func readOld(path string) (p oldPlace, ok bool, err error) {
	if path == "" {
		return p, false, nil
	}
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return p, false, nil
	}
	defer func() {
		if r := recover(); r != nil { // a damaged page
			p, ok, err = oldPlace{}, false, fmt.Errorf("read %s: %v: %w", path, r, errPlace)
		}
	}()
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: time.Second, ReadOnly: true})
	switch {
	case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrChecksum), errors.Is(err, berrors.ErrVersionMismatch):
		return p, false, fmt.Errorf("open %s: %w: %w", path, err, errPlace)
	case err != nil:
		return p, false, fmt.Errorf("open %s: %w", path, err)
	}
	err = db.View(func(tx *bbolt.Tx) error {
		p, ok, err = oldPlaceOf(tx)
		return err
	})
	if err = errors.Join(err, db.Close()); err != nil {
		return p, false, fmt.Errorf("read %s: %w", path, err)
	}
	return p, ok, nil
}

func oldPlaceOf(tx *bbolt.Tx) (p oldPlace, ok bool, err error) {
	place, told := tx.Bucket([]byte("place")), tx.Bucket([]byte("told"))
	if place == nil || told == nil {
		return p, false, nil
	}
	after := place.Get([]byte("after"))
	switch {
	case after == nil:
		return p, false, nil
	case len(after) != 8:
		return p, false, errPlace
	}
	p = oldPlace{after: binary.BigEndian.Uint64(after), heard: map[string]time.Time{}}
	return p, true, told.ForEach(func(k, v []byte) error {
		if len(v) != 8 {
			return errPlace
		}
		p.heard[string(k)] = time.UnixMilli(int64(binary.BigEndian.Uint64(v))).UTC() // #nosec G115 -- milliseconds, written from an int64
		return nil
	})
}
