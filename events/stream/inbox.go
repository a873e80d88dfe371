package stream

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// linger is how long a batch that is not full waits while the server has said
// that more is to come.
const linger = 50 * time.Millisecond

// inbox is where consumers, one after the other, leave messages for one reader.
// It keeps the one order: only the current consumer's turn may put, and only the
// message that its consumer numbers next.
type inbox struct {
	limits Limits

	mu       sync.Mutex
	list     []Message
	bytes    int
	after    uint64    // sequence of the last message put, or where reading began
	recorded time.Time // of that message; zero: none was put
	more     bool      // the last message said that others follow
	stuck    bool      // a message waits for room
	closed   bool
	turn     *turn

	filled chan struct{} // capacity 1: there is something to take, or no more will come
	room   chan struct{} // capacity 1: something was taken
}

func newInbox(limits Limits, after uint64) *inbox {
	return &inbox{limits: limits, after: after, filled: make(chan struct{}, 1), room: make(chan struct{}, 1)}
}

func nudge(ch chan struct{}) {
	select {
	case ch <- struct{}{}:
	default:
	}
}

// turn is one consumer's right to put.
type turn struct {
	box      *inbox
	consumer string
	number   uint64 // the consumer's number of the last message put
	over     chan struct{}
	failed   chan error // capacity 1
}

func (b *inbox) begin(consumer string) *turn {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.turn = &turn{box: b, consumer: consumer, over: make(chan struct{}), failed: make(chan error, 1)}
	return b.turn
}

func (b *inbox) end(t *turn) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.turn == t {
		b.turn = nil
		close(t.over)
	}
}

func (t *turn) fail(err error) {
	select {
	case t.failed <- err:
	default:
	}
}

// handle takes one message of the turn's consumer. It blocks while the box is
// full, which stops the consumer from asking for more.
func (t *turn) handle(m jetstream.Msg) {
	md, err := m.Metadata()
	if err != nil {
		t.fail(err)
		return
	}
	if md.Stream != Name || md.Consumer != t.consumer {
		t.fail(fmt.Errorf("message of consumer %s of %s", md.Consumer, md.Stream))
		return
	}
	for !t.put(m, md) {
		select {
		case <-t.box.room:
		case <-t.over:
			return
		}
	}
}

// errMissed says that the consumer sent a message that did not arrive.
var errMissed = errors.New("messages of the consumer were lost on the way")

// put reports false when the box is full.
func (t *turn) put(m jetstream.Msg, md *jetstream.MsgMetadata) bool {
	b := t.box
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case b.turn != t:
		return true // too late: the next consumer delivers it
	case md.Sequence.Consumer != t.number+1:
		t.fail(fmt.Errorf("%w: number %d after %d", errMissed, md.Sequence.Consumer, t.number))
		return true
	case md.Sequence.Stream <= b.after:
		t.fail(fmt.Errorf("message %d came after message %d", md.Sequence.Stream, b.after))
		return true
	case len(b.list) > 0 && (len(b.list) >= b.limits.Max || b.bytes+len(m.Data()) > b.limits.Bytes):
		b.stuck = true
		nudge(b.filled)
		return false
	}
	b.list = append(b.list, messageOf(m, md))
	b.bytes += len(m.Data())
	b.after, b.recorded = md.Sequence.Stream, md.Timestamp.UTC()
	b.more = md.NumPending > 0
	t.number++
	if len(b.list) == 1 || len(b.list) == b.limits.Max || !b.more {
		nudge(b.filled)
	}
	return true
}

// take returns what is there, and waits for it. While more is to come and the
// batch is not full it waits a little longer. It reports false when the box is
// closed and empty, or ctx has ended.
func (b *inbox) take(ctx context.Context) ([]Message, bool) {
	var late <-chan time.Time
	waited := false
	for ctx.Err() == nil {
		b.mu.Lock()
		n := len(b.list)
		if n > 0 && (!b.more || waited || b.closed || b.stuck || n >= b.limits.Max) {
			list := b.list
			b.list, b.bytes, b.stuck = make([]Message, 0, min(b.limits.Max, 2*n)), 0, false
			b.mu.Unlock()
			nudge(b.room)
			return list, true
		}
		closed := b.closed
		b.mu.Unlock()
		if closed {
			return nil, false
		}
		if n > 0 && late == nil {
			timer := time.NewTimer(linger)
			defer timer.Stop()
			late = timer.C
		}
		select {
		case <-ctx.Done():
		case <-b.filled:
		case <-late:
			waited = true
		}
	}
	return nil, false
}

// close lets take return what is left and then false.
func (b *inbox) close() {
	b.mu.Lock()
	b.closed = true
	b.mu.Unlock()
	nudge(b.filled)
}

func (b *inbox) last() uint64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.after
}

// tail returns the last message put, or where reading began with a zero time.
func (b *inbox) tail() (seq uint64, recorded time.Time) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.after, b.recorded
}

// holds reports whether there are messages that the reader has not taken.
func (b *inbox) holds() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return len(b.list) > 0
}
