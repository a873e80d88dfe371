package stream_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

// allow has the guard admit a device for these kinds from its next connection on.
func (r *register) allow(t testing.TB, id stream.Identity, kinds ...events.Kind) {
	t.Helper()
	public, err := id.Public()
	require.NoError(t, err)
	r.admit(public, stream.Admission{Source: id.Source, Kinds: kinds})
}

// answered has a hub answer receipts from what the stream holds.
func (g guarded) answered(t testing.TB) {
	t.Helper()
	f, seen := newFold(), uint64(0)
	stop, err := stream.AnswerReceipts(g.hub, func(src events.Source) (stream.Receipt, bool, error) {
		for _, m := range readAll(t, g.st) {
			if m.Seq > seen {
				f.take(m.Seq, m.Subject, m.Body)
				seen = m.Seq
			}
		}
		r, ok := f.receipt(src, time.Now())
		return r, ok, nil
	})
	require.NoError(t, err)
	t.Cleanup(stop)
}

func numbersIn(t testing.TB, st stream.Reader, src events.Source) (numbers []uint64) {
	t.Helper()
	for n, count := range numbersOf(t, readAll(t, st), src) {
		require.Equal(t, 1, count, "number %d", n)
		numbers = append(numbers, n)
	}
	slices.Sort(numbers)
	return numbers
}

// One entry that the device may not say any more keeps back nothing else,
// wherever in the outbox it lies, and goes when the role is back.
func TestDrainSetsAsideWhatIsNotAllowed(t *testing.T) {
	const yes, no = events.Kind("pour.started"), events.Kind("pour.resumed")
	for name, kinds := range map[string][]events.Kind{
		"alone": {no}, "first": {no, yes, yes}, "in the middle": {yes, no, yes}, "last": {yes, yes, no},
		"several": {no, no, yes, no, no, yes, no}, "all": {no, no, no},
	} {
		t.Run(name, func(t *testing.T) {
			g := guard(t, nil)
			g.answered(t)
			id := g.reg.device(t, "a", "phone-1", events.Crew)
			g.reg.allow(t, id, yes, "device.reported")
			cfg := stream.OutboxConfig{Dir: t.TempDir(), Source: id.Source, Sign: id.Sign, Wait: time.Hour, Log: testLog(t)}
			box, err := cfg.Open()
			require.NoError(t, err)
			var sent, aside []uint64
			for i, k := range kinds {
				_, err := box.Add(events.Event{Kind: k, Wall: fmt.Sprint("w", i), Data: &events.Moment{}})
				require.NoError(t, err)
				if n := uint64(i + 1); k == yes {
					sent = append(sent, n)
				} else {
					aside = append(aside, n)
				}
			}
			sent = append(sent, uint64(len(kinds)+1)) // the report, which tells the hub of the numbers that it lacks
			nc, _ := g.as(t, id)
			require.NoError(t, box.Drain(testContext(t), nc), "it waited for an answer that does not come")
			require.Equal(t, sent, numbersIn(t, g.st, id.Source))

			require.NoError(t, box.Close())
			box, err = cfg.Open() // it is on the disk
			require.NoError(t, err)
			defer func() { require.NoError(t, box.Close()) }()
			require.NoError(t, box.Drain(testContext(t), nc))
			require.Equal(t, sent, numbersIn(t, g.st, id.Source), "nothing is new")
			list, err := box.SetAside()
			require.NoError(t, err)
			require.Len(t, list, len(aside))
			for i, a := range list {
				require.Equal(t, aside[i], a.Event.Sequence)
				require.Equal(t, "not allowed to record pour.resumed on this site now", a.Reason)
				require.True(t, a.Denied)
			}
			s, err := box.Status()
			require.NoError(t, err)
			require.Equal(t, len(aside), s.Denied)
			require.Zero(t, s.Waiting)
			require.ErrorIs(t, box.Retry(sent[0]), stream.ErrNotDenied)
			require.ErrorIs(t, box.Retry(99), stream.ErrNotDenied)

			// Too early: it is set aside again.
			require.NoError(t, box.Retry(aside[0]))
			require.NoError(t, box.Drain(testContext(t), nc))
			require.Equal(t, sent, numbersIn(t, g.st, id.Source))

			g.reg.allow(t, id, yes, no, "device.reported")
			require.Equal(t, 1, g.srv.Disconnect(func(events.Source) bool { return true }))
			again, _ := g.as(t, id)
			for _, n := range aside {
				require.NoError(t, box.Retry(n))
			}
			require.NoError(t, box.Drain(testContext(t), again))
			require.Len(t, numbersIn(t, g.st, id.Source), len(kinds)+1)
			list, err = box.SetAside()
			require.NoError(t, err)
			require.Empty(t, list)
		})
	}
}

// A crash after each step of it loses and doubles nothing.
func TestDrainSetsAsideThroughCrashes(t *testing.T) {
	for _, at := range []string{"planned", "published one", "denied", "acked"} {
		t.Run(at, func(t *testing.T) {
			g := guard(t, nil)
			g.answered(t)
			id := g.reg.device(t, "a", "phone-1", events.Crew)
			g.reg.allow(t, id, "pour.started", "device.reported")
			cfg := stream.OutboxConfig{Dir: t.TempDir(), Source: id.Source, Sign: id.Sign, Wait: patience}
			box, err := cfg.Open()
			require.NoError(t, err)
			for _, k := range []events.Kind{"pour.started", "pour.resumed", "pour.started"} {
				_, err := box.Add(events.Event{Kind: k, Wall: "w1", Data: &events.Moment{}})
				require.NoError(t, err)
			}
			nc, _ := g.as(t, id)
			crash := errors.New("crash")
			box.OnStep(func(step string) error {
				if step == at {
					return crash
				}
				return nil
			})
			require.ErrorIs(t, box.Drain(testContext(t), nc), crash)
			require.NoError(t, box.Close())
			box, err = cfg.Open()
			require.NoError(t, err)
			defer func() { require.NoError(t, box.Close()) }()
			require.NoError(t, box.Drain(testContext(t), nc))
			require.Equal(t, []uint64{1, 3, 4}, numbersIn(t, g.st, id.Source))
			list, err := box.SetAside()
			require.NoError(t, err)
			require.Len(t, list, 1)
		})
	}
}

// What the server denies ends at once, under a context that never ends too, and
// an old denial is none of a new message.
func TestPublishWhatIsNotAllowed(t *testing.T) {
	g := guard(t, nil)
	nc, said := g.as(t, g.reg.device(t, "a", "phone-1", events.Crew))
	for range 2 {
		_, _, err := stream.PublishOne(context.Background(), nc, "pour.a.w1.permit.issued", []byte("x"), "")
		require.ErrorIs(t, err, stream.ErrNotAllowed)
		require.ErrorIs(t, err, nats.ErrPermissionViolation)
		require.ErrorIs(t, next(t, said), nats.ErrPermissionViolation)
		_, _, err = stream.PublishOne(context.Background(), nc, "pour.a.w1.pour.started", []byte("x"), "")
		require.NoError(t, err)
	}
	ok, bad := stream.Post{Subject: "pour.a.w1.pour.started"}, stream.Post{Subject: "pour.a.w1.permit.issued"}
	for _, posts := range [][]stream.Post{{bad, ok, ok}, {ok, bad, ok}, {ok, ok, bad}} {
		_, err := stream.PublishBatch(context.Background(), nc, posts)
		require.ErrorIs(t, err, stream.ErrNotAllowed)
	}
	_, err := stream.PublishBatch(context.Background(), nc, []stream.Post{ok, ok})
	require.NoError(t, err)
	require.Len(t, readAll(t, g.st), 4, "a batch that was denied is stored in part")
}
