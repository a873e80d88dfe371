package hub

import (
	"context"
	"fmt"
	"time"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
)

// tapped shows every message to someone else before it is folded.
type tapped struct {
	projector.Source
	tap func(stream.Message)
}

// Read implements projector.Source.
func (t tapped) Read(ctx context.Context, after uint64, limits stream.Limits, deliver func([]stream.Message) error) error {
	return t.Source.Read(ctx, after, limits, func(batch []stream.Message) error {
		for _, m := range batch {
			t.tap(m)
		}
		return deliver(batch)
	})
}

// demoSource gives an invented recorded time to messages of a demo that carry
// none: an MQTT client can send no header, and a command of today knows nothing of it. It is the time of the entry by
// the hub's clock, but never before the message that went before, so that it is the same whenever
// the stream is read.
type demoSource struct {
	projector.Source
	at func(ctx context.Context, seq uint64) (stream.Message, error) // reads one message
}

// Read implements projector.Source.
func (d demoSource) Read(ctx context.Context, after uint64, limits stream.Limits, deliver func([]stream.Message) error) error {
	last, err := d.before(ctx, after)
	if err != nil {
		return err
	}
	return d.Source.Read(ctx, after, limits, func(batch []stream.Message) error {
		for i := range batch {
			last = stamp(&batch[i], last)
		}
		return deliver(batch)
	})
}

// before finds the invented time of the message at a sequence, by going back to
// one that carries it.
func (d demoSource) before(ctx context.Context, seq uint64) (time.Time, error) {
	var later []stream.Message
	last := time.Time{}
	for ; seq > 0; seq-- {
		m, err := d.at(ctx, seq)
		if err != nil {
			return last, fmt.Errorf("read demo message %d: %w", seq, err)
		}
		if m.DemoRecorded != "" {
			last = stamp(&m, last)
			break
		}
		later = append(later, m)
	}
	for i := len(later) - 1; i >= 0; i-- {
		last = stamp(&later[i], last)
	}
	return last, nil
}

// stamp gives a message its invented time and returns it.
func stamp(m *stream.Message, last time.Time) time.Time {
	if m.DemoRecorded != "" {
		if t, err := time.Parse(time.RFC3339Nano, m.DemoRecorded); err == nil {
			return t
		}
	}
	if e, err := events.Decode(m.Subject, m.Body); err == nil {
		if at := e.Time.Add(e.ClockOffset); at.After(last) {
			last = at
		}
	}
	m.DemoRecorded = last.UTC().Format(time.RFC3339Nano)
	return last
}
