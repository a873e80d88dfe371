package notify

import (
	"context"
	"errors"
	"time"

	"earlyage/events/stream"
)

const (
	readMost   = 1000                   // messages at once
	readPause  = 100 * time.Millisecond // before the stream is read again; doubled each time
	readLong   = 5 * time.Second        // the longest such pause
	headWithin = 5 * time.Second
	muchAtOnce = 100 // messages: so many come together only when the reader is behind
)

// read hears the stream until ctx ends. While it cannot be read, what is there is
// told.
func (e *Engine) read(ctx context.Context) {
	at, said := e.at, false
	var err error
	for wait := readPause; ; wait = min(2*wait, readLong) {
		before := at
		if !errors.Is(err, errUnjudged) { // it is no further behind for the record's sake
			err = e.level(ctx)
		} else {
			err = nil
		}
		if err == nil {
			err = e.cfg.Stream.Read(ctx, at, stream.Limits{Max: readMost}, func(batch []stream.Message) error {
				err := e.deliver(ctx, batch, &at)
				if err == nil && said {
					said = false
					e.cfg.Log.Info("the stream is read again", "through", at)
				}
				return err
			})
		}
		if ctx.Err() != nil {
			return
		}
		if !errors.Is(err, errUnjudged) {
			e.in.put(unread{})
		}
		if at != before {
			wait = readPause
		}
		if !said {
			said = true
			e.sayUnread(err, at)
		}
		pause(ctx, wait)
	}
}

func (e *Engine) sayUnread(err error, at uint64) {
	if errors.Is(err, stream.ErrShort) {
		e.cfg.Log.Error("the stream ends before what was told already: nothing of it is told until it is restored", "after", at)
		return
	}
	if errors.Is(err, errUnjudged) {
		e.cfg.Log.Warn("a person's word waits for the record, and what comes after it", "after", at, "err", err)
		return
	}
	e.cfg.Log.Error("the stream cannot be read: what comes directly is told, and what is to be told already", "after", at, "err", err)
}

// level has everything up to the head heard before more is sent.
func (e *Engine) level(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, headWithin)
	defer cancel()
	_, head, err := e.cfg.Stream.Head(ctx)
	if err == nil {
		e.in.put(levelling{head})
	}
	return err
}

// deliver hands a batch to the core and waits until it is on the disk. at is
// where it got.
func (e *Engine) deliver(ctx context.Context, messages []stream.Message, at *uint64) error {
	if len(messages) >= muchAtOnce {
		_ = e.level(ctx) // it is behind; if the head is not known, it is no further behind than before
	}
	b := batch{through: *at, done: make(chan struct{})}
	var unknown error
	for _, m := range messages {
		n, ok, err := e.hearing.read(ctx, m)
		if err != nil {
			unknown = err // what came before is heard all the same
			break
		}
		if ok {
			b.notices = append(b.notices, n)
		}
		b.through = m.Seq
	}
	e.in.put(b)
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-b.done:
		*at = b.through
		return unknown
	}
}
