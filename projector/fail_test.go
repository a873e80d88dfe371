package projector_test

import (
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/projector"
)

// fault makes one write, or all from one on, of one file fail.
type fault struct {
	file    string
	applied bool // the write is on the disk, and still reported as failed
	err     error
	all     bool

	mu    sync.Mutex
	after int // writes that still succeed; negative: not armed; mu
	hit   int // writes that failed; mu
}

func (f *fault) open(path string, options *bbolt.Options) (projector.Database, error) {
	db, err := projector.OpenFile(path, options)
	if err != nil || filepath.Base(path) != f.file {
		return db, err
	}
	return faulty{db, f}, nil
}

func (f *fault) arm(after int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.after = after
}

func (f *fault) hits() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.hit
}

// strikes reports whether the write at hand fails.
func (f *fault) strikes() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.after < 0 {
		return false
	}
	f.after--
	if f.after >= 0 {
		return false
	}
	if f.all {
		f.after = 0
	}
	f.hit++
	return true
}

type faulty struct {
	projector.Database
	fault *fault
}

func (f faulty) Update(write func(*bbolt.Tx) error) error {
	if !f.fault.strikes() {
		return f.Database.Update(write)
	}
	if f.fault.applied {
		return errors.Join(f.Database.Update(write), f.fault.err)
	}
	return f.Database.Update(func(tx *bbolt.Tx) error { return errors.Join(write(tx), f.fault.err) })
}

// TestEachWriteFailsBothWays fails every write of every file once, applied and
// not applied: nothing is lost, nothing counts twice, everything is told.
func TestEachWriteFailsBothWays(t *testing.T) {
	const batches = 5
	story := func() *tape {
		s := newTape()
		s.cuts = []int{6}
		d, e := newDevice("alder", "phone-1"), newDevice("birch", "phone-2")
		for i := range 6 * batches / 3 {
			s.add(t, d.lift("w1", 0, 6, 0.1*float64(i+1)))
			s.add(t, e.reading(fmt.Sprint("w", i%4), float64(i)))
			s.put("pour.birch.w1.lift.placed", []byte("{"), "")
		}
		return s
	}
	want := digest(t, foldAll(t, story()))
	for _, file := range []string{"keep.db", "view.db"} {
		for _, applied := range []bool{false, true} {
			for write := range batches {
				t.Run(fmt.Sprintf("%s/applied=%t/write=%d", file, applied, write), func(t *testing.T) {
					synctest.Test(t, func(t *testing.T) {
						s := story()
						f := &fault{file: file, applied: applied, err: errors.New("injected"), after: -1}
						var r receipts
						cfg := newConfig(t, t.TempDir(), s)
						cfg.OpenWith(f.open)
						cfg.Receipts = r.publish
						p := open(t, cfg)
						changes, cancel := p.Subscribe()
						defer cancel()
						f.arm(write)
						stop := run(t, p)
						time.Sleep(10 * time.Second)
						require.Equal(t, 1, f.hits())
						require.Equal(t, want, digest(t, p))
						require.Equal(t, map[string]uint64{"/site/alder/device/phone-1": 10, "/site/birch/device/phone-2": 10}, upTo(r.take()[0]))
						require.Len(t, (<-changes).Walls, 5)
						require.NoError(t, stop())
					})
				})
			}
		}
	}
}

func TestLiveWriteThatFailsIsToldOnce(t *testing.T) {
	for _, file := range []string{"keep.db", "view.db"} {
		for _, applied := range []bool{false, true} {
			synctest.Test(t, func(t *testing.T) {
				s := newTape()
				d := newDevice("alder", "phone-1")
				f := &fault{file: file, applied: applied, err: errors.New("injected"), after: -1}
				var r receipts
				cfg := newConfig(t, t.TempDir(), s)
				cfg.OpenWith(f.open)
				cfg.Receipts = r.publish
				p := open(t, cfg)
				stop := run(t, p)
				synctest.Wait()
				changes, cancel := p.Subscribe()
				defer cancel()
				f.arm(0)
				s.add(t, d.lift("w1", 0, 6, 1))
				time.Sleep(3 * time.Second)
				require.Equal(t, 1, f.hits())
				require.Len(t, changes, 1)
				require.Equal(t, []projector.Ref{{"alder", "w1"}}, (<-changes).Walls)
				require.Len(t, r.take(), 1)
				require.NoError(t, stop())
			})
		}
	}
}

func TestFullDiskEndsRunAndIsSaid(t *testing.T) {
	for _, file := range []string{"keep.db", "view.db"} {
		synctest.Test(t, func(t *testing.T) {
			s := newTape()
			d := newDevice("alder", "phone-1")
			s.add(t, d.lift("w1", 0, 6, 1))
			f := &fault{file: file, err: fmt.Errorf("write: %w", syscall.ENOSPC), all: true, after: -1}
			cfg := newConfig(t, t.TempDir(), s)
			cfg.OpenWith(f.open)
			p := open(t, cfg)
			f.arm(1)
			stop := run(t, p)
			synctest.Wait()
			s.add(t, d.lift("w1", 0, 6, 2))
			synctest.Wait()
			err := stop()
			require.ErrorIs(t, err, projector.ErrGiveUp)
			require.ErrorIs(t, err, syscall.ENOSPC)
			require.Equal(t, 1, f.hits(), "no second try")
			h := hub(t, p)
			require.False(t, h.Level)
			require.Contains(t, h.Why, "no space left on device")
			require.EqualValues(t, 1, h.Through, "what is committed can be read")
			// With room again, the same store goes on.
			f.arm(1 << 30)
			stop = run(t, p)
			synctest.Wait()
			require.EqualValues(t, 2, hub(t, p).Through)
			require.True(t, hub(t, p).Level)
			require.NoError(t, stop())
		})
	}
}

func TestWritesThatKeepFailingEndRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newTape()
		s.add(t, newDevice("alder", "phone-1").lift("w1", 0, 6, 1))
		f := &fault{file: "view.db", err: errors.New("injected"), all: true, after: -1}
		cfg := newConfig(t, t.TempDir(), s)
		cfg.OpenWith(f.open)
		p := open(t, cfg)
		f.arm(0)
		stop := run(t, p)
		time.Sleep(time.Minute)
		require.ErrorIs(t, stop(), projector.ErrGiveUp)
		require.Equal(t, 6, f.hits())
	})
}
