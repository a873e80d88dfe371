// Package conformance is what every channel is put through: one suite, run by the
// test of each against a counterpart that speaks the channel's own protocol.
package conformance

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/notify/notice"
)

// What a counterpart does with a message.
type Manner int

const (
	Accept  Manner = iota
	Refuse         // for good
	Trouble        // does not take it, now
	Lose           // takes it, and reports that it did not
	Hang           // is reached, and never answers
)

// Bench is a channel and its counterpart.
type Bench struct {
	Channel notice.Channel
	Reader  notice.Reader     // within reach
	Nobody  []notice.Reader   // out of reach
	Set     func(Manner)      // what the counterpart does from now on
	Taken   func() []string   // what tells the messages apart that it took, in their order
	Reached <-chan struct{}   // a message has come and hangs
	Secrets []string          // may stand in no error and no line of the log
	Log     func() string     // nil: the channel has none
	Never   map[Manner]string // what the carrier does not do, and why
}

const patience = time.Minute

// Message makes a message to a reader.
func Message(id string, to notice.Reader, channel string) notice.Message {
	at := time.Date(2026, 7, 3, 9, 5, 0, 0, time.UTC)
	return notice.Message{
		ID: id, What: notice.Raised, Channel: channel, To: to, Alerts: []string{"alert-" + id}, Kind: "joint-closing", Site: "mill", Wall: "north",
		Priority: "urgent", Urgent: true, At: at, Until: at.Add(20 * time.Minute), Step: 1, Why: "route 1",
		First: "Mill house, wall north: 20 min left on the joint at 4.0 m", Short: "Mill house north: joint 4.0 m, 20 min. Place or vibrate now.",
		Plain: "Mill house, wall north: 20 min left on the joint at 4.0 m.\n\nPlace the next lift by 09:25 MST.\n",
		HTML:  "<p>Mill house, wall north: <b>20 min left</b> on the joint at 4.0 m.</p>", Link: "https://hub.example/w/mill/north",
	}
}

// Run runs the suite. make makes a new bench for every part of it.
func Run(t *testing.T, make func(t *testing.T) Bench) {
	for name, part := range map[string]func(*testing.T, Bench){
		"accepted": accepted, "refused": refused, "trouble": trouble, "lost": lost, "hangs": hangs, "ended": ended,
		"many at once": many, "nobody": nobody,
	} {
		t.Run(name, func(t *testing.T) { part(t, make(t)) })
	}
}

func (b Bench) send(t *testing.T, ctx context.Context, id string) error {
	t.Helper()
	err := b.Channel.Send(ctx, Message(id, b.Reader, b.Channel.Name()))
	b.quiet(t, err)
	return err
}

// quiet demands that neither an error nor the log tells a secret.
func (b Bench) quiet(t *testing.T, err error) {
	t.Helper()
	said := fmt.Sprintf("%v %+v", err, err)
	if b.Log != nil {
		said += b.Log()
	}
	for _, secret := range b.Secrets {
		require.NotEmpty(t, secret)
		require.NotContains(t, said, secret)
	}
}

func long(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	t.Cleanup(cancel)
	return ctx
}

func accepted(t *testing.T, b Bench) {
	require.NotEmpty(t, b.Channel.Name())
	require.True(t, b.Channel.Reaches(b.Reader))
	b.Set(Accept)
	require.NoError(t, b.send(t, long(t), "m1"))
	require.NoError(t, b.send(t, long(t), "m2"))
	taken := b.Taken()
	require.Len(t, taken, 2)
	require.NotEqual(t, taken[0], taken[1], "two messages")
}

func refused(t *testing.T, b Bench) {
	if b.cannot(Refuse) {
		return
	}
	b.Set(Refuse)
	require.ErrorIs(t, b.send(t, long(t), "m1"), notice.ErrRefused)
	require.Empty(t, b.Taken())
}

// cannot reports what a carrier does not do; its test says why in the bench.
func (b Bench) cannot(m Manner) bool { return b.Never[m] != "" }

func trouble(t *testing.T, b Bench) {
	b.Set(Trouble)
	err := b.send(t, long(t), "m1")
	require.Error(t, err)
	require.False(t, errors.Is(err, notice.ErrRefused), "%v", err)
	require.Empty(t, b.Taken())
	b.Set(Accept)
	require.NoError(t, b.send(t, long(t), "m1"))
	require.Len(t, b.Taken(), 1)
}

// lost: a message that arrived and was not reported comes again, as the same.
func lost(t *testing.T, b Bench) {
	b.Set(Lose)
	err := b.send(t, long(t), "m1")
	require.Error(t, err)
	require.False(t, errors.Is(err, notice.ErrRefused), "%v", err)
	b.Set(Accept)
	require.NoError(t, b.send(t, long(t), "m1"))
	taken := b.Taken()
	require.Len(t, taken, 2)
	require.Equal(t, taken[0], taken[1], "a second try of one message is the same message")
}

func hangs(t *testing.T, b Bench) {
	b.Set(Hang)
	ctx, cancel := context.WithCancel(long(t))
	ended := make(chan error, 1)
	go func() { ended <- b.Channel.Send(ctx, Message("m1", b.Reader, b.Channel.Name())) }()
	wait(t, b.Reached, "the counterpart is reached")
	cancel()
	select {
	case err := <-ended:
		require.Error(t, err)
		require.False(t, errors.Is(err, notice.ErrRefused), "%v", err)
		b.quiet(t, err)
	case <-time.After(patience):
		require.FailNow(t, "Send did not return when its context ended")
	}
	b.Set(Accept)
	require.NoError(t, b.send(t, long(t), "m1"), "the next try is not hindered")
}

func wait(t *testing.T, c <-chan struct{}, what string) {
	t.Helper()
	select {
	case <-c:
	case <-time.After(patience):
		require.FailNow(t, "waited in vain", what)
	}
}

func ended(t *testing.T, b Bench) {
	b.Set(Accept)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	err := b.send(t, ctx, "m1")
	require.Error(t, err)
	require.False(t, errors.Is(err, notice.ErrRefused), "%v", err)
	require.Empty(t, b.Taken())
}

func many(t *testing.T, b Bench) {
	const n = 20
	b.Set(Accept)
	ctx := long(t)
	errs := make([]error, n)
	var all sync.WaitGroup
	for i := range n {
		all.Go(func() { errs[i] = b.Channel.Send(ctx, Message(fmt.Sprintf("m%d", i), b.Reader, b.Channel.Name())) })
	}
	all.Wait()
	require.NoError(t, errors.Join(errs...))
	different := map[string]bool{}
	for _, id := range b.Taken() {
		different[id] = true
	}
	require.Len(t, different, n)
}

func nobody(t *testing.T, b Bench) {
	require.False(t, b.Channel.Reaches(notice.Reader{Person: "p-nobody"}))
	b.Set(Accept)
	for _, r := range append(b.Nobody, notice.Reader{Person: "p-nobody"}) {
		err := b.Channel.Send(long(t), Message("m1", r, b.Channel.Name()))
		require.ErrorIs(t, err, notice.ErrRefused)
		b.quiet(t, err)
	}
	require.Empty(t, b.Taken())
}
