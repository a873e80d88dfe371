package cabinet_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
	"go.uber.org/goleak"

	"earlyage/projector/cabinet"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var start = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)

// clock is set by hand.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func newClock() *clock { return &clock{now: start} }

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) set(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = t
}

func (c *clock) add(d time.Duration) { c.set(c.Now().Add(d)) }

// store is a real file that can be told to fail, and counts what is written.
type store struct {
	*bbolt.DB
	writes atomic.Int64
	fail   atomic.Int64 // the write, counted from 1, that fails; 0: none
	after  atomic.Bool  // it fails after it was applied
}

var errDisk = errors.New("the disk says no")

func (s *store) Update(f func(*bbolt.Tx) error) error {
	n := s.writes.Add(1)
	if n != s.fail.Load() {
		return s.DB.Update(f)
	}
	if s.after.Load() {
		if err := s.DB.Update(f); err != nil {
			return err
		}
	}
	return errDisk
}

// next makes a write fail: the first one from now, or a later one.
func (s *store) next(n int64, applied bool) {
	s.after.Store(applied)
	s.fail.Store(s.writes.Load() + n)
}

func open(t *testing.T, path string) *store {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: time.Second, FreelistType: bbolt.FreelistMapType, NoSync: true, InitialMmapSize: 1 << 26})
	require.NoError(t, err)
	s := &store{DB: db}
	t.Cleanup(func() {
		require.NoError(t, db.View(func(tx *bbolt.Tx) error {
			for err := range tx.Check() {
				require.NoError(t, err, "consistency of %s", path)
			}
			return nil
		}))
		require.NoError(t, db.Close())
	})
	return s
}

func newCabinet(t *testing.T) (*cabinet.Cabinet, *clock, *store) {
	t.Helper()
	at := newClock()
	s := open(t, filepath.Join(t.TempDir(), "keep.db"))
	c, err := cabinet.New(s, at.Now)
	require.NoError(t, err)
	return c, at, s
}

// copyOf is the file as a crash would leave it now.
func copyOf(t *testing.T, s *store) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, s.View(func(tx *bbolt.Tx) error { return tx.CopyFile(path, 0o600) }))
	return path
}

// legible reports whether a file holds a text anywhere.
func legible(t *testing.T, path, text string) bool {
	t.Helper()
	all, err := os.ReadFile(path)
	require.NoError(t, err)
	return bytes.Contains(all, []byte(text))
}
