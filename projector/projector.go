package projector

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"

	"go.etcd.io/bbolt"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
)

// Projector keeps the store in one folder level with a stream.
type Projector struct {
	cfg    Config
	keep   *keep
	reader reader
	level  level
	feed   feed
	unsaid unsaid
	due    chan struct{} // receipts are due; room for one
	seen   chan struct{} // the head should be looked at; room for one
	damage chan error    // a state that could not be read; room for one

	running   atomic.Bool
	readAgain atomic.Pointer[context.CancelCauseFunc] // ends the reading under way

	register atomic.Pointer[people.Register] // after the last commit
	cabinet  *cabinet.Cabinet

	mu     sync.RWMutex
	fold   *fold         // mu: changed under the write lock only
	closed bool          // mu
	moved  chan struct{} // mu: closed and made anew by each commit
}

// Open opens the store in cfg.Dir, makes it if there is none, and checks it: the
// end of keep.db, every page and value of view.db. A view that is missing,
// damaged, ahead of keep.db or folded by another version is built anew from
// keep.db; the log says so. What was kept and not yet folded is folded.
// ErrLocked is wrapped when another process has the folder.
func Open(cfg Config) (*Projector, error) {
	cfg, err := cfg.withDefaults()
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(cfg.Dir, 0o750); err != nil {
		return nil, fmt.Errorf("open store: %w", err)
	}
	k, err := openKeep(cfg, keepName)
	if err != nil {
		return nil, fmt.Errorf("open store %s: %w", cfg.Dir, err)
	}
	f, err := openFold(cfg, k)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open store %s: %w", cfg.Dir, err), k.db.Close())
	}
	p := &Projector{
		cfg: cfg, keep: k, reader: f.reader, fold: f,
		due: make(chan struct{}, 1), seen: make(chan struct{}, 1),
		damage: make(chan error, 1), moved: make(chan struct{}),
	}
	if p.cabinet, err = cabinet.New(k.db, cfg.Now); err != nil {
		return nil, errors.Join(fmt.Errorf("open store %s: %w", cfg.Dir, err), f.view.db.Close(), k.db.Close())
	}
	p.register.Store(f.register)
	p.level.now = cfg.Now
	p.level.commit(f.stand.Through)
	return p, nil
}

// openFold opens view.db, or builds it, and folds the rest of what is kept. From
// here on the view stands at the last kept message whenever no batch is under way.
func openFold(cfg Config, k *keep) (*fold, error) {
	if err := removeUnfinished(cfg.Dir); err != nil {
		return nil, err
	}
	f, err := usableView(cfg, k)
	if err != nil {
		return nil, err
	}
	if f == nil {
		if f, err = buildView(cfg, k); err != nil {
			return nil, err
		}
	}
	if err := f.catchUp(context.Background(), k.last, cfg.BatchMax, nil); err != nil {
		return nil, errors.Join(err, f.view.db.Close())
	}
	return f, nil
}

// removeUnfinished clears away what a crash during a rebuild left.
func removeUnfinished(dir string) error {
	for _, name := range []string{keepName, viewName} {
		if err := os.Remove(filepath.Join(dir, name+newMark)); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

// usableView opens view.db and loads its states. It returns nil if there is no
// view, or after it has put away one that cannot be used.
func usableView(cfg Config, k *keep) (*fold, error) {
	path := filepath.Join(cfg.Dir, viewName)
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	f, why, err := tryView(cfg, k)
	if err != nil || f != nil {
		return f, err
	}
	cfg.Log.Warn("view cannot be used and is built anew from the kept messages", "cause", why.Error(), "put_away_as", viewName+oldMark)
	return nil, swapFile(path, path+oldMark)
}

// tryView returns the fold on view.db, or why the view cannot be used.
func tryView(cfg Config, k *keep) (f *fold, why, err error) {
	switch err := checkView(cfg, k); {
	case errors.Is(err, errUnusable), errors.Is(err, ErrDamaged):
		return nil, err, nil
	case err != nil:
		return nil, nil, err
	}
	v, err := openView(cfg, viewName, viewOptions())
	if err != nil {
		return nil, nil, err
	}
	f = newFold(cfg, k, v)
	if err := f.load(); err != nil {
		return nil, err, v.db.Close()
	}
	if f.stand.Through > k.last {
		return nil, fmt.Errorf("view stands at %d, the kept messages end at %d", f.stand.Through, k.last), v.db.Close()
	}
	return f, nil, nil
}

var errUnusable = errors.New("view is of another version")

// checkView checks version and bytes of the view without opening it for writing.
func checkView(cfg Config, k *keep) error {
	v, err := openView(cfg, viewName, &bbolt.Options{Timeout: lockWait, ReadOnly: true})
	if err != nil {
		return err
	}
	r := newReader(cfg, k)
	name, err := v.foldedBy()
	if want := foldName(r); err == nil && !bytes.Equal(name, want) {
		err = fmt.Errorf("%w: folded by %q, this is %q", errUnusable, name, want)
	}
	if err == nil {
		err = v.check()
	}
	return errors.Join(err, v.db.Close())
}

// HubKey is the key that the hub signs its statements and alerts with. It was
// made with the store and is kept in keep.db.
func (p *Projector) HubKey() ed25519.PrivateKey { return slices.Clone(p.keep.hub) }

// Register returns who may do what after the last commit. It takes no lock and
// never waits for a commit.
func (p *Projector) Register() *people.Register { return p.register.Load() }

// Cabinet returns what stands beside the record in keep.db: names, passkeys,
// sessions. It may be used until Close.
func (p *Projector) Cabinet() *cabinet.Cabinet { return p.cabinet }

// Read calls f with a consistent picture. Commits wait while it runs. After an
// error of Read nothing that f saw may be used.
func (p *Projector) Read(f func(View) error) error {
	p.mu.RLock()
	defer p.mu.RUnlock()
	if p.closed || !p.fold.loaded {
		return errors.New("read view: the store is not open")
	}
	v := View{p: p, f: p.fold, bad: &failure{}}
	err := f(v)
	if bad := v.bad.get(); bad != nil {
		p.report(bad)
		return fmt.Errorf("read view: %w", bad)
	}
	return err
}

// report stops Run for a state that could not be read: the next Open checks the
// file and builds it anew.
func (p *Projector) report(bad error) {
	p.level.stop(bad.Error())
	select {
	case p.damage <- bad:
	default:
	}
}

// Receipt says what a device may forget: every number up to UpTo is folded,
// refused or written off, and both files are on the disk. It reports false for
// a device that nothing with a number came from, and while the store does not
// stand for the stream (it is short): then nobody may forget anything.
func (p *Projector) Receipt(src events.Source) (stream.Receipt, bool, error) {
	p.mu.RLock()
	defer p.mu.RUnlock()
	if p.closed || !p.fold.loaded {
		return stream.Receipt{}, false, errors.New("receipt: the store is not open")
	}
	if p.level.misfits() {
		return stream.Receipt{}, false, nil
	}
	r, ok, err := p.fold.receipt(src)
	r.At = p.cfg.Now().UTC()
	if err != nil {
		return stream.Receipt{}, false, fmt.Errorf("receipt of %s: %w", src, err)
	}
	return r, ok, nil
}

// Wait returns when the message at a sequence is folded and committed.
func (p *Projector) Wait(ctx context.Context, seq uint64) error {
	for {
		p.mu.RLock()
		through, moved, closed := p.fold.stand.Through, p.moved, p.closed
		p.mu.RUnlock()
		switch {
		case through >= seq:
			return nil
		case closed:
			return errors.New("wait: the store is closed")
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return fmt.Errorf("wait for message %d, at %d: %w", seq, through, ctx.Err())
		}
	}
}

// Close closes both files. Run must have returned.
func (p *Projector) Close() error {
	if p.running.Load() {
		return errors.New("close store: it is running")
	}
	p.feed.close()
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return nil
	}
	p.closed = true
	close(p.moved)
	return errors.Join(p.fold.view.db.Close(), p.keep.db.Close())
}
