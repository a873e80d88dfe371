package projector_test

import (
	"context"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
)

// TestHubOnARealServer folds what comes through an embedded server, publishes
// receipts and answers for them, and goes on where it stopped.
func TestHubOnARealServer(t *testing.T) {
	s := startServer(t)
	cfg := newConfig(t, t.TempDir(), s.stream)
	cfg.Receipts = func(list []stream.Receipt) error { return stream.PublishReceipts(context.Background(), s.nc, list) }
	d := newDevice("alder", "phone-1")
	publish := func(e events.Event) uint64 {
		seq, _, err := stream.PublishOne(t.Context(), s.nc, e.Subject(), encode(t, e), "")
		require.NoError(t, err)
		return seq
	}
	sub, err := s.nc.SubscribeSync(stream.ReceiptSubject(d.source))
	require.NoError(t, err)
	receipt := func() stream.Receipt {
		m, err := sub.NextMsg(time.Minute)
		require.NoError(t, err)
		r, err := stream.ParseReceipt(d.source, m.Data)
		require.NoError(t, err)
		return r
	}

	publish(d.lift("w1", 0, 6, 1))
	p, err := projector.Open(cfg)
	require.NoError(t, err)
	answers, err := stream.AnswerReceipts(s.nc, p.Receipt)
	require.NoError(t, err)
	stop := run(t, p)
	require.EqualValues(t, 1, receipt().UpTo)
	e := d.lift("w1", 0, 6, 2)
	bad := publish(e)
	reach(t, p, bad)
	require.EqualValues(t, 2, receipt().UpTo)
	asked, err := stream.AskReceipt(t.Context(), s.nc, d.source)
	require.NoError(t, err)
	require.EqualValues(t, 2, asked.UpTo)
	require.EqualValues(t, 2, asked.Through)
	answers()
	require.NoError(t, stop())
	require.NoError(t, p.Close())

	publish(e) // the phone did not hear
	last := publish(d.reading("w1", 12))
	p = open(t, cfg)
	stop = run(t, p)
	reach(t, p, last)
	for r := receipt(); r.UpTo < 3; r = receipt() {
		require.EqualValues(t, 2, r.UpTo, "the receipt of the last run comes again")
	}
	view(t, p, func(v projector.View) { require.Equal(t, verdicts{3, 1, 0}, verdictsOf(v)) })
	require.NoError(t, stop())
	require.NoError(t, p.Close())
	for _, from := range []projector.From{projector.Keep, projector.Stream} {
		r, err := projector.Check(t.Context(), cfg, from, nil)
		require.NoError(t, err)
		require.True(t, r.Equal, "%s: %v", from, r.Differences)
	}
}

// TestForgedHeadersChangeNothing: sequence and subject are the stream's own.
func TestForgedHeadersChangeNothing(t *testing.T) {
	s := startServer(t)
	d := newDevice("alder", "phone-1")
	e := d.lift("w1", 0, 6, 1)
	m := nats.NewMsg(e.Subject())
	m.Data = encode(t, e)
	m.Header.Set("Nats-Sequence", "77")
	m.Header.Set("Nats-Subject", "pour.birch.w7.lift.placed")
	m.Header.Set("Nats-Time-Stamp", "2030-01-01T00:00:00Z")
	_, err := s.nc.RequestMsg(m, time.Minute)
	require.NoError(t, err)
	p := open(t, newConfig(t, t.TempDir(), s.stream))
	stop := run(t, p)
	reach(t, p, 1)
	require.NoError(t, stop())
	view(t, p, func(v projector.View) {
		require.EqualValues(t, 1, v.Through())
		require.Equal(t, []projector.Ref{{"alder", "w1"}}, v.Walls(""))
		require.Empty(t, v.Hub().Holes)
		require.NotEqual(t, 2030, v.Hub().Recorded.Year())
	})
}
