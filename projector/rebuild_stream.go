package projector

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"go.etcd.io/bbolt"
	"golang.org/x/sync/errgroup"

	"earlyage/events/stream"
	"earlyage/projector/people"
)

// streamBuild fills a scratch keep.db from the stream, so that nothing of the
// fold rests on the indexes of the store that is being checked.
type streamBuild struct {
	b       *builder
	f       *fold
	scratch *keep
	last    uint64 // of the stream when it was opened
	read    uint64 // handed on

	register *people.Register // after it
}

func (b *builder) openStream(ctx context.Context, f *fold) (*streamBuild, error) {
	if b.cfg.Stream == nil {
		return nil, errors.New("config has no Stream")
	}
	_, last, err := b.cfg.Stream.Head(ctx)
	if err != nil {
		return nil, err
	}
	if last < b.keep.last {
		b.report.records(fmt.Sprintf("the stream ends at %d, the kept messages at %d", last, b.keep.last))
	}
	cfg := b.cfg
	cfg.Demo, cfg.Unsigned = b.keep.demo, b.keep.unsigned
	open := cfg.open
	cfg.open = func(path string, options *bbolt.Options) (database, error) {
		options.NoSync, options.NoGrowSync = true, true
		return open(path, options)
	}
	k, err := openKeep(cfg, keepName+newMark)
	if err != nil {
		return nil, err
	}
	f.keep = k // the reader of f keeps the key of the store
	return &streamBuild{b: b, f: f, scratch: k, last: last, register: f.register}, nil
}

func (s *streamBuild) close() { _ = s.scratch.db.Close() }

func (r *Report) records(what string) {
	if len(r.RecordsDiffer) < 20 {
		r.RecordsDiffer = append(r.RecordsDiffer, what)
	}
}

// errReached ends the reading of the stream at a sequence.
var errReached = errors.New("reached")

// catchUp keeps and folds the stream's messages up to a sequence.
func (s *streamBuild) catchUp(upTo uint64) error {
	if s.read >= upTo {
		return nil
	}
	return s.pump(context.Background(), upTo)
}

func (s *streamBuild) pump(ctx context.Context, upTo uint64) error {
	next := make(chan []item)
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error {
		defer close(next)
		err := s.b.cfg.Stream.Read(ctx, s.read, stream.Limits{Max: s.b.cfg.BatchMax, Bytes: batchBytes}, func(batch []stream.Message) error {
			return s.take(ctx, batch, upTo, next)
		})
		if errors.Is(err, errReached) {
			return nil
		}
		return err
	})
	g.Go(func() error {
		for items := range next {
			if err := s.scratch.commit(items); err != nil {
				return err
			}
			if err := s.f.commit(items); err != nil {
				return err
			}
			if s.b.progress != nil {
				s.b.progress(s.f.stand.Through, upTo)
			}
		}
		return nil
	})
	return g.Wait()
}

func (s *streamBuild) take(ctx context.Context, batch []stream.Message, upTo uint64, next chan<- []item) error {
	for len(batch) > 0 {
		n := cut(batch, s.b.cfg.BatchMax)
		for i := range n {
			if batch[i].Seq > upTo {
				n = i
				break
			}
		}
		if n > 0 {
			var items []item
			items, s.register = s.f.reader.decode(batch[:n], s.register)
			if err := s.match(items); err != nil {
				return err
			}
			if err := send(ctx, next, items); err != nil {
				return err
			}
			s.read = batch[n-1].Seq
		}
		if s.read >= upTo || n == 0 {
			s.read = max(s.read, upTo)
			return errReached
		}
		batch = batch[n:]
	}
	return nil
}

// match compares messages of the stream with the kept ones, and looks for kept
// ones that the stream passed over.
func (s *streamBuild) match(items []item) error {
	return guarded(func() error {
		return s.b.keep.db.View(func(tx *bbolt.Tx) error {
			w, err := walkLeaves(tx.Bucket(leafBucket), s.read+1)
			if err != nil {
				return err
			}
			kept, err := w.next()
			for i := 0; i < len(items) && err == nil; i++ {
				kept, err = s.matchOne(w, kept, &items[i])
			}
			return err
		})
	})
}

// matchOne returns the kept leaf that comes after the item.
func (s *streamBuild) matchOne(w *leafWalk, kept []byte, it *item) ([]byte, error) {
	var err error
	for kept != nil && leafSeq(kept) < it.seq {
		s.b.report.records(fmt.Sprintf("message %d is kept and not in the stream", leafSeq(kept)))
		if kept, err = w.next(); err != nil {
			return nil, err
		}
	}
	switch {
	case kept != nil && leafSeq(kept) == it.seq:
		if !bytes.Equal(kept, it.leaf) {
			s.b.report.records(fmt.Sprintf("message %d has other bytes in the stream", it.seq))
		}
		return w.next()
	case it.seq <= s.b.keep.last:
		s.b.report.records(fmt.Sprintf("message %d is in the stream and not kept", it.seq))
	}
	return kept, nil
}
