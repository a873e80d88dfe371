package stream_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"earlyage/events/stream"
)

func TestPublishOne(t *testing.T) {
	r := run(t)
	seq, dup, err := stream.PublishOne(testContext(t), r.hub, "pour.a.w1.pour.started", []byte("one"), "ed25519 k s")
	require.NoError(t, err)
	require.EqualValues(t, 1, seq)
	require.False(t, dup)
	seq, dup, err = stream.PublishOne(testContext(t), r.hub, "pour.a.w1.pour.started", []byte("one"), "ed25519 k s")
	require.NoError(t, err)
	require.EqualValues(t, 2, seq, "another publication has another id")
	require.False(t, dup)
	m := readAll(t, r.st)[0]
	require.Equal(t, "one", string(m.Body))
	require.Equal(t, "ed25519 k s", m.Signature)
	require.Empty(t, m.DemoRecorded)
}

func TestPublishUnderOneID(t *testing.T) {
	r := run(t)
	p := stream.Post{Subject: "pour.a.w1.pour.started", Body: []byte("x"), MsgID: stream.NewMsgID(), DemoRecorded: "2026-05-04T08:00:00Z"}
	seq, dup, err := stream.Publish(testContext(t), r.hub, p)
	require.NoError(t, err)
	require.False(t, dup)
	again, dup, err := stream.Publish(testContext(t), r.hub, p)
	require.NoError(t, err)
	require.True(t, dup)
	require.Equal(t, seq, again)
	all := readAll(t, r.st)
	require.Len(t, all, 1)
	require.Equal(t, "2026-05-04T08:00:00Z", all[0].DemoRecorded)
}

// The acknowledgement is lost: the message went through, no answer came back,
// and the connection is cut. The retry goes out under the same id, so that the
// stream holds the message once.
func TestPublishAfterALostAcknowledgement(t *testing.T) {
	r := run(t)
	relay := newRelay(t, r.srv.ClientURL())
	nc := dial(t, relay.url())
	relay.setDeaf(true)
	type result struct {
		dup bool
		err error
	}
	published := make(chan result)
	go func() {
		_, dup, err := stream.PublishOne(testContext(t), nc, "pour.a.w1.pour.started", []byte("x"), "")
		published <- result{dup, err}
	}()
	waitFor(t, r.st, 1) // stored, and not acknowledged
	relay.setDeaf(false)
	relay.cut()
	got := <-published
	require.NoError(t, got.err)
	require.True(t, got.dup)
	require.Len(t, readAll(t, r.st), 1)
}

func TestPublishGivesUpWithItsContext(t *testing.T) {
	r := run(t)
	relay := newRelay(t, r.srv.ClientURL())
	nc := dial(t, relay.url())
	relay.setDeaf(true)
	ctx, cancel := context.WithTimeout(testContext(t), 100*time.Millisecond)
	defer cancel()
	_, _, err := stream.PublishOne(ctx, nc, "pour.a.w1.pour.started", []byte("x"), "")
	require.ErrorIs(t, err, context.DeadlineExceeded)
}

// Without a stream there is nobody to acknowledge: it is tried until ctx ends.
func TestPublishWithoutAStream(t *testing.T) {
	hub := connectHub(t, startServer(t, t.TempDir()))
	ctx, cancel := context.WithCancel(testContext(t))
	ended := make(chan error, 1)
	go func() {
		_, _, err := stream.PublishOne(ctx, hub, "pour.a.w1.pour.started", []byte("x"), "")
		ended <- err
	}()
	require.Eventually(t, func() bool { return hub.Stats().OutMsgs >= 2 }, patience, time.Millisecond, "it does not try again")
	cancel()
	err := <-ended
	require.ErrorIs(t, err, context.Canceled)
	require.ErrorIs(t, err, jetstream.ErrNoStreamResponse)
}

func posts(n int) []stream.Post {
	list := make([]stream.Post, n)
	for i := range list {
		list[i] = stream.Post{Subject: fmt.Sprintf("pour.a.w%d.pour.started", i%3), Body: []byte(fmt.Sprint(i)), MsgID: stream.NewMsgID(), Signature: fmt.Sprint("s", i)}
	}
	return list
}

func TestPublishBatch(t *testing.T) {
	r := run(t)
	for _, n := range []int{1, 2, stream.MaxBatch} {
		_, before, err := r.st.Head(testContext(t))
		require.NoError(t, err)
		list := posts(n)
		last, err := stream.PublishBatch(testContext(t), r.hub, list)
		require.NoError(t, err)
		require.EqualValues(t, before+uint64(n), last)
		all := readAll(t, r.st)[before:]
		require.Len(t, all, n)
		for i, m := range all {
			require.Equal(t, string(list[i].Body), string(m.Body))
			require.Equal(t, list[i].Subject, m.Subject)
			require.Equal(t, list[i].Signature, m.Signature)
		}
	}
	for _, n := range []int{0, stream.MaxBatch + 1} {
		_, err := stream.PublishBatch(testContext(t), r.hub, posts(n))
		require.ErrorContains(t, err, fmt.Sprintf("%d messages, allowed 1 to 1000", n))
	}
}

// One message that the stream has already refuses the whole batch.
func TestPublishBatchWithADuplicate(t *testing.T) {
	r := run(t)
	for _, at := range []int{0, 7, 19} {
		list := posts(20)
		_, _, err := stream.Publish(testContext(t), r.hub, list[at])
		require.NoError(t, err)
		before := len(readAll(t, r.st))
		_, err = stream.PublishBatch(testContext(t), r.hub, list)
		require.ErrorIs(t, err, stream.ErrDuplicateInBatch, "duplicate at %d", at)
		require.Len(t, readAll(t, r.st), before, "some of a refused batch was stored")
	}
}

func TestMsgIDsAreUnpredictable(t *testing.T) {
	seen := map[string]bool{}
	for range 1000 {
		id := stream.NewMsgID()
		require.Len(t, id, 26) // 130 bits in base 32
		require.False(t, seen[id])
		seen[id] = true
	}
}
