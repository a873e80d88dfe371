package projector

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"earlyage/events/stream"
	"earlyage/projector/people"
)

// errOther: the stream holds another message at the last kept sequence.
var errOther = errors.New("the stream holds another message at the last kept sequence")

// errAgain ends a reading that has to begin anew.
var errAgain = errors.New("read again")

// intake is the first step's place in the stream.
type intake struct {
	p    *Projector
	out  chan<- []item
	last uint64 // handed on
	leaf []byte // of the last message handed on; nil: none is kept

	register *people.Register // after it
}

// readStream is the first step. It reads from one message before the first
// that is not kept, to see that the stream is still the one that the store was
// filled from: a stream that was made anew counts from one again.
//
// The register is of the last kept message.
func (p *Projector) readStream(ctx context.Context, register *people.Register, out chan<- []item) error {
	in := intake{p: p, out: out, last: p.keep.last, register: register}
	leaf, err := p.keep.leaf(in.last)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrGiveUp, err)
	}
	in.leaf = leaf
	for {
		err := in.read(ctx)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, errAgain):
		case errors.Is(err, errOther):
			if p.level.misfit(err.Error()) {
				p.cfg.Log.Error("stream does not fit the store: nothing is published, everything is stale", "stream_seq", in.last)
			}
		case errors.Is(err, stream.ErrShort):
			_, last, _ := p.cfg.Stream.Head(ctx)
			p.short(last)
		case err != nil:
			p.cfg.Log.Warn("stream cannot be read, trying again", "after", in.last, "cause", err.Error())
		}
		if err := sleep(ctx, readPause); err != nil {
			return err
		}
	}
}

// read reads until something ends it.
func (in *intake) read(ctx context.Context) error {
	_, last, err := in.p.cfg.Stream.Head(ctx)
	if err != nil {
		return err
	}
	if last < in.last {
		return fmt.Errorf("stream ends at %d, store at %d: %w", last, in.last, stream.ErrShort)
	}
	inner, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	in.p.readAgain.Store(&cancel)
	after := in.last
	if in.leaf != nil {
		after--
	} else {
		in.p.fits()
	}
	err = in.p.cfg.Stream.Read(inner, after, stream.Limits{Max: in.p.cfg.BatchMax, Bytes: batchBytes}, func(batch []stream.Message) error {
		return in.deliver(inner, batch)
	})
	if cause := context.Cause(inner); errors.Is(cause, errAgain) {
		return errAgain
	}
	return err
}

// deliver decodes a batch and hands it on, cut to the bounds of a transaction.
func (in *intake) deliver(ctx context.Context, batch []stream.Message) error {
	for len(batch) > 0 && batch[0].Seq <= in.last {
		if err := in.compare(batch[0]); err != nil {
			return err
		}
		batch = batch[1:]
	}
	if len(batch) > 0 {
		// Past the last kept message without having seen it: it is missing in the
		// stream, which is a hole behind us. What is kept stands.
		in.p.fits()
	}
	for len(batch) > 0 {
		n := cut(batch, in.p.cfg.BatchMax)
		items, register := in.p.reader.decode(batch[:n], in.register)
		last, leaf := items[n-1].seq, items[n-1].leaf // what is handed on belongs to the next step
		if err := send(ctx, in.out, items); err != nil {
			return err
		}
		in.last, in.leaf, in.register = last, leaf, register
		batch = batch[n:]
	}
	return nil
}

// compare checks the one message that is read twice.
func (in *intake) compare(m stream.Message) error {
	if m.Seq < in.last || in.leaf == nil {
		return nil
	}
	it := in.p.reader.readAll([]stream.Message{m})[0]
	if !bytes.Equal(it.leaf, in.leaf) {
		return fmt.Errorf("message %d: %w", m.Seq, errOther)
	}
	in.p.fits()
	return nil
}

// cut returns how many messages fit into one transaction, at least one.
func cut(batch []stream.Message, most int) int {
	size := 0
	for i := range batch {
		size += len(batch[i].Body)
		if i > 0 && (i == most || size > batchBytes) {
			return i
		}
	}
	return len(batch)
}
