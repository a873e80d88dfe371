package stream

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Limits bounds what Read hands over at once.
type Limits struct {
	Max   int // most messages, default 1,000
	Bytes int // most bytes of bodies, default 32 MiB; a greater message comes alone
}

const (
	defaultMax   = 1000
	defaultBytes = 32 << 20

	pullMessages  = 20_000                 // asked for at once
	pullBytes     = 16 << 20               // of one request; two may be under way, and the client drops over 64 MiB
	pullExpires   = 30 * time.Second       // of one request
	pullHeartbeat = 5 * time.Second        // silence twice as long: begin again
	inactive      = time.Minute            // the server forgets a consumer that nobody reads
	askWait       = 5 * time.Second        // for one answer of the JetStream API
	forgetWait    = time.Second            // for the deletion of a consumer, which inactive does too
	headEvery     = 5 * time.Second        // how often a silent stream's head is looked at
	restartFirst  = 100 * time.Millisecond // pause before beginning again, doubled while nothing comes
	restartMost   = 5 * time.Second
	shortTimes    = 3 // a cluster's new leader may not have applied yet what the old one delivered
)

// Read hands every message after a sequence to deliver, in the order of the
// sequence and each once, from the calling goroutine. While catching up it hands
// over as many as limits allow, when live each at once. The messages are
// deliver's to keep.
//
// Read goes on by itself, exactly after the last message delivered, when the
// connection is cut, the server is restarted or the consumer is lost. A sequence
// that the stream does not have is passed over: the next message's Seq jumps,
// and the reader must look. Read ends
//
//   - when ctx ends, with its error;
//   - with deliver's error, wrapped; nothing more is delivered;
//   - with ErrShort when the stream ends before after, or before what was
//     delivered, is gone, or has another message where the last delivered was;
//   - with nats.ErrConnectionClosed when somebody closed the connection.
//
// The library's own ordered consumer is not used: it begins again by itself
// without looking whether the stream still is what it was, and while the server
// is away its Stop blocks until the server answers.
func (s *Stream) Read(ctx context.Context, after uint64, limits Limits, deliver func([]Message) error) error {
	if limits.Max <= 0 {
		limits.Max = defaultMax
	}
	if limits.Bytes <= 0 {
		limits.Bytes = defaultBytes
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	box := newInbox(limits, after)
	ended := make(chan error, 1)
	go func() {
		err := s.fill(ctx, box)
		box.close()
		ended <- err
	}()
	for {
		batch, ok := box.take(ctx)
		if !ok {
			return <-ended
		}
		if err := deliver(batch); err != nil {
			cancel()
			<-ended
			return fmt.Errorf("deliver messages %d to %d: %w", batch[0].Seq, batch[len(batch)-1].Seq, err)
		}
	}
}

// fill runs one consumer after the other until ctx ends or none can help.
func (s *Stream) fill(ctx context.Context, box *inbox) error {
	pause, short := restartFirst, 0
	for {
		before := box.last()
		err := s.consume(ctx, box)
		if errors.Is(err, ErrShort) {
			short++
		} else {
			short = 0
		}
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case short == shortTimes:
			return err
		case s.nc.IsClosed():
			return fmt.Errorf("read after %d: %w", box.last(), nats.ErrConnectionClosed)
		}
		if box.last() != before {
			pause = restartFirst
		}
		s.log.Warn("reading is interrupted and begins again", "after", box.last(), "cause", err.Error())
		if err := s.wait(ctx, pause); err != nil {
			return err
		}
		pause = min(2*pause, restartMost)
	}
}

// wait pauses, and then as long as the connection is cut.
func (s *Stream) wait(ctx context.Context, pause time.Duration) error {
	status := s.nc.StatusChanged(nats.CONNECTED, nats.CLOSED)
	defer s.nc.RemoveStatusListener(status)
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(pause):
	}
	for s.nc.IsReconnecting() {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-status:
		case <-time.After(restartMost): // a status can be missed while the channel is full
		}
	}
	return nil
}

// consume reads with one consumer of its own from the last message in the box.
// The error says why it ended.
func (s *Stream) consume(ctx context.Context, box *inbox) error {
	// Before the head is looked at: whatever happens to the connection from here
	// on is seen.
	status := s.nc.StatusChanged(nats.RECONNECTING, nats.DISCONNECTED, nats.CLOSED)
	defer s.nc.RemoveStatusListener(status)
	if _, err := s.stillThere(ctx, box); err != nil {
		return err
	}
	name := "earlyage-" + NewMsgID()
	cons, err := s.createConsumer(ctx, name, box.last()+1)
	if err != nil {
		return err
	}
	defer s.forget(ctx, name)

	turn := box.begin(name)
	defer box.end(turn)
	cc, err := cons.Consume(turn.handle,
		jetstream.PullMaxMessagesWithBytesLimit(pullMessages, max(pullBytes, int(2*s.nc.MaxPayload()))),
		jetstream.PullExpiry(pullExpires), jetstream.PullHeartbeat(pullHeartbeat),
		jetstream.ConsumeErrHandler(func(_ jetstream.ConsumeContext, err error) { turn.fail(err) }))
	if err != nil {
		return fmt.Errorf("consume after %d: %w", box.last(), err)
	}
	defer func() {
		box.end(turn) // frees the handler, if the box is full
		cc.Stop()
		<-cc.Closed()
	}()
	return s.supervise(ctx, box, turn, status)
}

// supervise returns when the consumer cannot be relied upon any more.
func (s *Stream) supervise(ctx context.Context, box *inbox, turn *turn, status <-chan nats.Status) error {
	look := time.NewTicker(s.headEvery)
	defer look.Stop()
	seen, behind := box.last(), false
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case st := <-status:
			return fmt.Errorf("connection is %v", st)
		case err := <-turn.failed:
			return err
		case <-look.C:
			if last := box.last(); last != seen {
				seen, behind = last, false
				continue
			}
			further, err := s.stillThere(ctx, box)
			if err != nil {
				return err
			}
			// What is on its way now must have come by the next look.
			if behind && further && box.last() == seen && !box.holds() {
				return errors.New("consumer is silent, the stream is further on")
			}
			behind = further
		}
	}
}

// stillThere checks that the stream is the one that was read, and reaches as
// far; further says that it holds more. Before anything was delivered only the
// length can be checked.
func (s *Stream) stillThere(ctx context.Context, box *inbox) (further bool, err error) {
	ctx, cancel := context.WithTimeout(ctx, askWait)
	defer cancel()
	tail, recorded := box.tail()
	_, last, err := s.Head(ctx)
	switch {
	case errors.Is(err, jetstream.ErrStreamNotFound):
		return false, fmt.Errorf("%w: read through %d, the stream is gone", ErrShort, tail)
	case err != nil:
		return false, err
	case last < tail:
		return false, fmt.Errorf("%w: read through %d, it ends at %d", ErrShort, tail, last)
	}
	if !recorded.IsZero() {
		m, err := s.Message(ctx, tail)
		if err != nil && !errors.Is(err, ErrNoMessage) {
			return false, err
		}
		// A message that is missing now was damaged since: a hole that lies behind
		// this reader. One with another time is another stream's.
		if err == nil && !m.Recorded.Equal(recorded) {
			return false, fmt.Errorf("%w: message %d is another one, recorded %s, not %s", ErrShort, tail,
				m.Recorded.Format(time.RFC3339Nano), recorded.Format(time.RFC3339Nano))
		}
	}
	return last > box.last(), nil
}

func (s *Stream) createConsumer(ctx context.Context, name string, from uint64) (jetstream.Consumer, error) {
	ctx, cancel := context.WithTimeout(ctx, askWait)
	defer cancel()
	cons, err := s.js.CreateConsumer(ctx, Name, jetstream.ConsumerConfig{
		Name:              name,
		DeliverPolicy:     jetstream.DeliverByStartSequencePolicy,
		OptStartSeq:       from,
		AckPolicy:         jetstream.AckNonePolicy,
		InactiveThreshold: inactive,
		MemoryStorage:     true,
		Replicas:          1,
	})
	if err != nil {
		return nil, fmt.Errorf("consumer from %d: %w", from, err)
	}
	return cons, nil
}

// forget deletes the consumer if that is easy; the server does it by itself when
// nobody has read for a while.
func (s *Stream) forget(ctx context.Context, name string) {
	if !s.nc.IsConnected() {
		return
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), forgetWait)
	defer cancel()
	if err := s.js.DeleteConsumer(ctx, Name, name); err != nil {
		s.log.Debug("consumer left to the server", "consumer", name, "cause", err.Error())
	}
}
