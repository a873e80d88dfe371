package projector

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
	"runtime/debug"
	"syscall"
	"time"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"
)

const (
	keepName = "keep.db"
	viewName = "view.db"
	newMark  = ".new"  // a file that is being built; a crash leaves it, the next Open removes it
	oldMark  = ".away" // a view that could not be used, kept for a look
)

const lockWait = 300 * time.Millisecond

// mapped is the address space given to a file at once, so that a growing file
// is not mapped anew, all pages in hand copied, every time it doubles.
const mapped = 1 << 30

// database is what the projector asks of a bbolt file. Update returns nil only
// when the transaction is on the disk; after an error it may be or not be.
type database interface {
	Update(func(*bbolt.Tx) error) error
	View(func(*bbolt.Tx) error) error
	Close() error
}

type opener func(path string, options *bbolt.Options) (database, error)

// keepOptions: the free list is synced. keep.db only grows, so its free list is
// a few pages, while building it again at Open would mean a walk over every
// page of a file that holds the whole record.
func keepOptions() *bbolt.Options {
	return &bbolt.Options{Timeout: lockWait, FreelistType: bbolt.FreelistMapType, InitialMmapSize: mapped}
}

// viewOptions: the free list is not synced. Every commit of view.db frees about
// as many pages as it writes, so the list is long; and Open reads all its pages
// anyway, since it checks every value. bbolt then walks the pages once more to
// find the free ones, in a goroutine of its own, where a damaged page would end
// the process: so viewFile.check comes first, on the file opened for reading.
func viewOptions() *bbolt.Options {
	return &bbolt.Options{Timeout: lockWait, FreelistType: bbolt.FreelistMapType, NoFreelistSync: true, InitialMmapSize: mapped}
}

// openFile opens a bbolt file and takes its lock.
func openFile(path string, options *bbolt.Options) (db database, err error) {
	err = guarded(func() error {
		file, err := bbolt.Open(path, 0o600, options)
		switch {
		case errors.Is(err, berrors.ErrTimeout):
			return fmt.Errorf("open %s: %w", path, ErrLocked)
		case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrChecksum), errors.Is(err, berrors.ErrVersionMismatch):
			return fmt.Errorf("open %s: %w: %w", filepath.Base(path), err, ErrDamaged)
		case err != nil:
			return fmt.Errorf("open %s: %w", filepath.Base(path), err)
		}
		db = file
		return nil
	})
	return db, err
}

// guarded turns a panic of bbolt on a damaged page into an error, and so a fault
// on a page that lies outside a file that was cut off.
func guarded(f func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("%v: %w", r, ErrDamaged)
		}
	}()
	return f()
}

// final reports whether a failed commit is worth no second try. After EIO the
// kernel may have dropped the pages that it could not write, so a second sync
// would succeed and mean nothing.
func final(err error) bool {
	for _, no := range []error{syscall.ENOSPC, syscall.EDQUOT, syscall.EROFS, syscall.EIO, berrors.ErrDatabaseNotOpen, ErrDamaged} {
		if errors.Is(err, no) {
			return true
		}
	}
	return false
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// checksum is over key and value. bbolt has none of its own, and a flipped bit
// in a number must not reach a strip time.
func checksum(key, value []byte) uint32 {
	return crc32.Update(crc32.Checksum(key, castagnoli), castagnoli, value)
}

func seal(key, value []byte) []byte {
	return binary.BigEndian.AppendUint32(value, checksum(key, value))
}

// unseal checks and removes the checksum. The result is a part of sealed.
func unseal(key, sealed []byte) ([]byte, error) {
	n := len(sealed) - 4
	if n < 0 || checksum(key, sealed[:n]) != binary.BigEndian.Uint32(sealed[n:]) {
		return nil, fmt.Errorf("checksum of key %q: %w", key, ErrDamaged)
	}
	return sealed[:n:n], nil
}

func seqKey(seq uint64) []byte { return binary.BigEndian.AppendUint64(nil, seq) }

// swapFile puts a finished file in the place of another. A crash leaves one or
// the other whole.
func swapFile(from, to string) error {
	if err := os.Rename(from, to); err != nil {
		return err
	}
	return syncDir(filepath.Dir(to))
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
