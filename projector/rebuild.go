package projector

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"earlyage/events/stream"
)

// From says what a view is rebuilt from.
type From int

const (
	Keep   From = iota // the kept bytes
	Stream             // the stream, which is compared with the kept bytes
)

func (f From) String() string {
	if f == Stream {
		return "stream"
	}
	return "keep"
}

// ErrRecordsDiffer is wrapped when stream and kept bytes are not the same
// record: then neither is put in the place of the other.
var ErrRecordsDiffer = errors.New("stream and kept messages differ")

// Report says what a rebuild or a check found.
type Report struct {
	From    From
	Events  uint64 // messages folded
	Through uint64 // last sequence folded
	Took    time.Duration

	// The view that was there, and the new one at the same sequence. The digests
	// are over all states, lists and counts.
	Compared      bool // false: there was no view, or none of this version
	ComparedAt    uint64
	Before, After [32]byte
	Equal         bool
	Differences   []string // what differs, by name; at most 20
	More          int      // how many more differ

	// From the stream only: sequences whose bytes differ or are missing on one side.
	RecordsDiffer []string

	// What the log of hashes, or a checkpoint, holds otherwise than the kept
	// messages give; at most 20.
	LogDiffers []string
	Swapped    bool // the new view is in place
}

// Rebuild builds the view anew beside the one that is there, compares the two
// by a digest of all states, and swaps them. progress may be nil. No hub may
// have the folder open. Differences between the old and the new view are in the
// report and do not stop the swap; a stream that is not the kept record does
// (ErrRecordsDiffer).
func Rebuild(ctx context.Context, cfg Config, from From, progress func(done, total uint64)) (Report, error) {
	return rebuild(ctx, cfg, from, progress, true)
}

// Check does what Rebuild does, but changes nothing.
func Check(ctx context.Context, cfg Config, from From, progress func(done, total uint64)) (Report, error) {
	return rebuild(ctx, cfg, from, progress, false)
}

func rebuild(ctx context.Context, cfg Config, from From, progress func(done, total uint64), swap bool) (r Report, err error) {
	began := time.Now()
	if cfg, err = cfg.withDefaults(); err != nil {
		return r, err
	}
	if _, err := os.Stat(filepath.Join(cfg.Dir, keepName)); err != nil {
		return r, fmt.Errorf("rebuild view: %w", err)
	}
	k, err := openKeep(cfg, keepName)
	if err != nil {
		return r, fmt.Errorf("rebuild view in %s: %w", cfg.Dir, err)
	}
	b := builder{cfg: cfg, keep: k, from: from, progress: progress}
	r, err = b.run(ctx, swap)
	r.Took = time.Since(began)
	if err = errors.Join(err, k.db.Close(), removeUnfinished(cfg.Dir)); err != nil {
		return r, fmt.Errorf("rebuild view from %s in %s: %w", from, cfg.Dir, err)
	}
	return r, nil
}

// builder builds one view beside another.
type builder struct {
	cfg      Config
	keep     *keep
	from     From
	progress func(done, total uint64)
	report   Report
}

func (b *builder) run(ctx context.Context, swap bool) (Report, error) {
	b.report.From = b.from
	err := removeUnfinished(b.cfg.Dir)
	if err != nil {
		return b.report, err
	}
	if b.report.LogDiffers, err = b.keep.checkTree(mostDiffers); err != nil {
		return b.report, err
	}
	old := b.oldView()
	if old != nil {
		defer old.view.db.Close()
	}
	f, err := newViewFile(b.cfg, b.keep)
	if err != nil {
		return b.report, err
	}
	if err := b.build(ctx, f, old); err != nil {
		return b.report, errors.Join(err, f.view.db.Close())
	}
	b.report.Events = f.stand.Folded + f.stand.Duplicates + f.stand.Refused
	b.report.Through = f.stand.Through
	if err := finish(f.view); err != nil {
		return b.report, err
	}
	if len(b.report.RecordsDiffer) > 0 {
		return b.report, ErrRecordsDiffer
	}
	if !swap {
		return b.report, nil
	}
	path := filepath.Join(b.cfg.Dir, viewName)
	if err := swapFile(path+newMark, path); err != nil {
		return b.report, err
	}
	b.report.Swapped = true
	return b.report, nil
}

// oldView loads the view that is there, or says in the report why it cannot be
// compared.
func (b *builder) oldView() *fold {
	if _, err := os.Stat(filepath.Join(b.cfg.Dir, viewName)); err != nil {
		b.report.differ("view.db: there is none")
		return nil
	}
	f, why, err := tryView(b.cfg, b.keep)
	if why = errors.Join(why, err); why != nil {
		b.report.differ("view.db: " + why.Error())
		return nil
	}
	return f
}

// mostDiffers is how many differences of a sort are named.
const mostDiffers = 20

func (r *Report) differ(what string) {
	if len(r.Differences) < mostDiffers {
		r.Differences = append(r.Differences, what)
		return
	}
	r.More++
}

// build folds everything, and on the way compares the new view with the old one
// at the sequence where the old one stands.
func (b *builder) build(ctx context.Context, f, old *fold) error {
	upTo := b.keep.last
	catchUp := func(to uint64) error { return f.catchUp(ctx, to, b.cfg.BatchMax, b.progress) }
	if b.from == Stream {
		s, err := b.openStream(ctx, f)
		if err != nil {
			return err
		}
		defer s.close()
		upTo, catchUp = s.last, s.catchUp
	}
	if old != nil && old.stand.Through <= upTo {
		if err := catchUp(old.stand.Through); err != nil {
			return err
		}
		if err := b.compare(old, f); err != nil {
			return err
		}
	}
	return catchUp(upTo)
}

// newViewFile lays out view.db.new. It is not synced until it is finished:
// after a crash it is thrown away.
func newViewFile(cfg Config, k *keep) (*fold, error) {
	options := viewOptions()
	options.NoSync, options.NoGrowSync = true, true
	v, err := openView(cfg, viewName+newMark, options)
	if err != nil {
		return nil, err
	}
	f := newFold(cfg, k, v)
	err = v.create(foldName(f.reader))
	if err == nil {
		err = f.load()
	}
	if err != nil {
		return nil, errors.Join(err, v.db.Close())
	}
	return f, nil
}

// finish puts a file that was written without syncs on the disk.
func finish(v viewFile) error {
	var err error
	if s, ok := v.db.(interface{ Sync() error }); ok {
		err = s.Sync()
	}
	return errors.Join(err, v.db.Close())
}

// buildView builds view.db from the kept messages, puts it in place and opens it.
func buildView(cfg Config, k *keep) (*fold, error) {
	began := time.Now()
	f, err := newViewFile(cfg, k)
	if err != nil {
		return nil, err
	}
	if err := f.catchUp(context.Background(), k.last, cfg.BatchMax, nil); err != nil {
		return nil, errors.Join(err, f.view.db.Close())
	}
	if err := finish(f.view); err != nil {
		return nil, err
	}
	path := filepath.Join(cfg.Dir, viewName)
	if err := swapFile(path+newMark, path); err != nil {
		return nil, err
	}
	if k.last > 0 {
		cfg.Log.Info("view built from the kept messages", "through", k.last, "took", time.Since(began).Round(time.Millisecond))
	}
	v, err := openView(cfg, viewName, viewOptions())
	if err != nil {
		return nil, err
	}
	f = newFold(cfg, k, v)
	if err := f.load(); err != nil {
		return nil, errors.Join(err, v.db.Close())
	}
	return f, nil
}

// catchUp folds the kept messages up to a sequence: one goroutine reads and
// decodes the next batch while another folds.
func (f *fold) catchUp(ctx context.Context, upTo uint64, most int, progress func(done, total uint64)) error {
	if f.stand.Through >= upTo {
		return nil
	}
	from, register := f.stand.Through, f.register
	next := make(chan []item)
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error {
		defer close(next)
		return f.keep.read(from, upTo, most, func(batch []stream.Message) error {
			var items []item
			items, register = f.reader.decode(batch, register)
			if err := f.keep.resolveKept(items); err != nil {
				return err
			}
			return send(ctx, next, items)
		})
	})
	g.Go(func() error {
		for items := range next {
			if err := f.commit(items); err != nil {
				return err
			}
			if progress != nil {
				progress(f.stand.Through, upTo)
			}
		}
		return nil
	})
	return g.Wait()
}
