package stream_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"earlyage/events/stream"
)

// reading is a Read that runs beside the test.
type reading struct {
	got    chan []stream.Message
	ended  chan error
	cancel context.CancelFunc
}

func startReading(t testing.TB, st stream.Reader, after uint64, limits stream.Limits) *reading {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r := &reading{got: make(chan []stream.Message), ended: make(chan error, 1), cancel: cancel}
	done := make(chan struct{})
	go func() {
		defer close(done)
		r.ended <- st.Read(ctx, after, limits, func(batch []stream.Message) error {
			select {
			case r.got <- batch:
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		})
	}()
	t.Cleanup(func() { cancel(); <-done })
	return r
}

// upTo collects messages until one has the sequence.
func (r *reading) upTo(t testing.TB, seq uint64) []stream.Message {
	t.Helper()
	var all []stream.Message
	for {
		select {
		case batch := <-r.got:
			all = append(all, batch...)
			if all[len(all)-1].Seq >= seq {
				return all
			}
		case err := <-r.ended:
			require.NoError(t, err, "reading ended")
			t.Fatal("reading ended")
		case <-time.After(patience):
			t.Fatalf("message %d did not come; %d others did", seq, len(all))
		}
	}
}

func (r *reading) end(t testing.TB) error {
	t.Helper()
	for {
		select {
		case <-r.got:
		case err := <-r.ended:
			return err
		case <-time.After(patience):
			t.Fatal("reading does not end")
		}
	}
}

// requireRun checks that sequences run from one to another without a jump.
func requireRun(t testing.TB, all []stream.Message, from, to uint64) {
	t.Helper()
	require.Len(t, all, int(to-from+1))
	for i, m := range all {
		require.Equal(t, from+uint64(i), m.Seq)
	}
}

func TestReadInBatchesThenLive(t *testing.T) {
	r := run(t)
	publish(t, r.hub, 2500)
	in := startReading(t, r.st, 0, stream.Limits{Max: 700})
	var sizes []int
	var all []stream.Message
	for len(all) < 2500 {
		batch := <-in.got
		sizes = append(sizes, len(batch))
		all = append(all, batch...)
	}
	requireRun(t, all, 1, 2500)
	require.LessOrEqual(t, len(sizes), 6, "catching up in %v, wanted full batches", sizes)
	for _, n := range sizes {
		require.LessOrEqual(t, n, 700)
	}
	for i := range 3 { // live: each at once
		publish(t, r.hub, 1)
		batch := <-in.got
		requireRun(t, batch, uint64(2501+i), uint64(2501+i))
		require.WithinDuration(t, time.Now(), batch[0].Recorded, time.Minute)
	}
	in.cancel()
	require.ErrorIs(t, in.end(t), context.Canceled)
}

func TestReadBeginsAfter(t *testing.T) {
	r := run(t)
	publish(t, r.hub, 30)
	requireRun(t, startReading(t, r.st, 20, stream.Limits{}).upTo(t, 30), 21, 30)
	in := startReading(t, r.st, 30, stream.Limits{})
	publish(t, r.hub, 1)
	requireRun(t, in.upTo(t, 31), 31, 31)
}

// Great bodies come in batches that hold no more than the bytes allowed, unless
// one alone is greater.
func TestReadBoundsBytes(t *testing.T) {
	r := run(t)
	for i := range 40 {
		size := 40_000
		if i == 20 {
			size = 260_000
		}
		_, _, err := stream.PublishOne(testContext(t), r.hub, "pour.a.w.check.answered", make([]byte, size), "")
		require.NoError(t, err)
	}
	in := startReading(t, r.st, 0, stream.Limits{Max: 1000, Bytes: 100_000})
	var all []stream.Message
	for len(all) < 40 {
		batch := <-in.got
		all = append(all, batch...)
		if len(batch) > 1 {
			require.LessOrEqual(t, len(batch), 2, "batch of %d messages of 40 kB", len(batch))
		}
	}
	requireRun(t, all, 1, 40)
}

func TestReadEndsWithDeliversError(t *testing.T) {
	r := run(t)
	publish(t, r.hub, 10)
	full := errors.New("disk full")
	calls := 0
	err := r.st.Read(testContext(t), 0, stream.Limits{Max: 4}, func(batch []stream.Message) error {
		calls++
		if batch[0].Seq > 4 {
			return full
		}
		return nil
	})
	require.ErrorIs(t, err, full)
	require.ErrorContains(t, err, "deliver messages 5 to 8")
	require.Equal(t, 2, calls)
}

// A relay cuts the connection again and again while messages come; each arrives
// once and in order.
func TestReadGoesOnAfterCuts(t *testing.T) {
	r := run(t)
	relay := newRelay(t, r.srv.ClientURL())
	st := openStream(t, dial(t, relay.url()))
	const n = 20_000
	publish(t, r.hub, n/2)
	in := startReading(t, st, 0, stream.Limits{Max: 500})
	var all []stream.Message
	for cuts := 0; len(all) < n; {
		select {
		case batch := <-in.got:
			all = append(all, batch...)
		case <-time.After(patience):
			t.Fatalf("silent after %d messages", len(all))
		}
		if cuts < 8 && len(all) >= (cuts+1)*n/10 {
			cuts++
			relay.cut()
		}
		if len(all) == n/2 {
			publish(t, r.hub, n/2)
		}
	}
	requireRun(t, all, 1, n)
}

// What was sent into a deaf connection is lost there; it is read again.
func TestReadGoesOnAfterDeafness(t *testing.T) {
	r := run(t)
	relay := newRelay(t, r.srv.ClientURL())
	st := openStream(t, dial(t, relay.url()))
	publish(t, r.hub, 5)
	in := startReading(t, st, 0, stream.Limits{})
	requireRun(t, in.upTo(t, 5), 1, 5)
	relay.setDeaf(true)
	publish(t, r.hub, 5)
	// The server has sent them when it answers a question asked after them.
	require.NoError(t, r.hub.Flush())
	relay.setDeaf(false)
	relay.cut()
	requireRun(t, in.upTo(t, 10), 6, 10)
}

func TestReadGoesOnWhenTheConsumerIsDeleted(t *testing.T) {
	r := run(t)
	publish(t, r.hub, 5)
	in := startReading(t, r.st, 0, stream.Limits{})
	requireRun(t, in.upTo(t, 5), 1, 5)
	js, err := jetstream.New(r.hub)
	require.NoError(t, err)
	st, err := js.Stream(testContext(t), stream.Name)
	require.NoError(t, err)
	deleted := 0
	for name := range st.ConsumerNames(testContext(t)).Name() {
		require.NoError(t, st.DeleteConsumer(testContext(t), name))
		deleted++
	}
	require.Equal(t, 1, deleted)
	publish(t, r.hub, 3)
	requireRun(t, in.upTo(t, 8), 6, 8)
}

// A consumer that lives, beats and delivers nothing is found out by the head of
// the stream. Here somebody has paused it.
func TestReadGoesOnWhenTheConsumerIsSilent(t *testing.T) {
	r := run(t)
	publish(t, r.hub, 5)
	st := openStream(t, r.hub)
	st.LookEvery(50 * time.Millisecond)
	in := startReading(t, st, 0, stream.Limits{})
	in.upTo(t, 5)
	js, err := jetstream.New(r.hub)
	require.NoError(t, err)
	s, err := js.Stream(testContext(t), stream.Name)
	require.NoError(t, err)
	for name := range s.ConsumerNames(testContext(t)).Name() {
		_, err := s.PauseConsumer(testContext(t), name, time.Now().Add(time.Hour))
		require.NoError(t, err)
	}
	publish(t, r.hub, 5)
	requireRun(t, in.upTo(t, 10), 6, 10)
}

// The reader's own consumer is gone from the server when reading has ended.
func TestReadLeavesNoConsumer(t *testing.T) {
	r := run(t)
	publish(t, r.hub, 5)
	require.Len(t, readAll(t, r.st), 5)
	js, err := jetstream.New(r.hub)
	require.NoError(t, err)
	st, err := js.Stream(testContext(t), stream.Name)
	require.NoError(t, err)
	require.Zero(t, st.CachedInfo().State.Consumers)
}

func TestReadGoesOnAfterTheServerRestarts(t *testing.T) {
	dir := t.TempDir()
	srv := startServer(t, dir)
	relay := newRelay(t, srv.ClientURL())
	hub := connectHub(t, srv)
	openStream(t, hub)
	publish(t, hub, 10)
	st := openStream(t, dial(t, relay.url()))
	in := startReading(t, st, 0, stream.Limits{})
	requireRun(t, in.upTo(t, 10), 1, 10)

	hub.Close()
	srv.Stop()
	srv = startServer(t, dir)
	relay.aim(t, srv.ClientURL())
	publish(t, connectHub(t, srv), 10)
	requireRun(t, in.upTo(t, 20), 11, 20)
}

// A number that the stream has lost is passed over in plain sight.
func TestReadShowsAHole(t *testing.T) {
	dir := t.TempDir()
	srv := startServer(t, dir)
	hub := connectHub(t, srv)
	openStream(t, hub)
	publish(t, hub, 3)
	_, _, err := stream.PublishOne(testContext(t), hub, "pour.a.w.pour.started", []byte("HERE-IS-THE-ONE"), "")
	require.NoError(t, err)
	publish(t, hub, 3)
	hub.Close()
	srv.Stop()
	flipByte(t, dir, "HERE-IS-THE-ONE")

	srv = startServer(t, dir)
	st := openStream(t, connectHub(t, srv))
	_, last, err := st.Head(testContext(t))
	require.NoError(t, err)
	require.EqualValues(t, 7, last)
	var seqs []uint64
	for _, m := range startReading(t, st, 0, stream.Limits{}).upTo(t, 7) {
		seqs = append(seqs, m.Seq)
	}
	require.Equal(t, []uint64{1, 2, 3, 5, 6, 7}, seqs)
}

// flipByte changes a byte of a stored message.
func flipByte(t testing.TB, dir, text string) {
	t.Helper()
	found := 0
	require.NoError(t, filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, ".blk") {
			return err
		}
		raw, err := os.ReadFile(path)
		if i := strings.Index(string(raw), text); i >= 0 {
			raw[i] ^= 1
			found++
			return os.WriteFile(path, raw, 0o600)
		}
		return err
	}))
	require.Equal(t, 1, found)
}

func TestReadNoticesAShortStream(t *testing.T) {
	r := run(t)
	publish(t, r.hub, 5)
	err := r.st.Read(testContext(t), 6, stream.Limits{}, func([]stream.Message) error { return nil })
	require.ErrorIs(t, err, stream.ErrShort)
	require.ErrorContains(t, err, "read through 6, it ends at 5")
}

func copyFolder(t testing.TB, from string) string {
	t.Helper()
	to := t.TempDir()
	require.NoError(t, os.CopyFS(to, os.DirFS(from)))
	return to
}

func TestReadNoticesThatTheStreamWasPutBack(t *testing.T) {
	for name, grow := range map[string]int{"and is shorter": 2, "and has grown past": 40} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			srv := startServer(t, dir)
			hub := connectHub(t, srv)
			openStream(t, hub)
			publish(t, hub, 10)
			hub.Close()
			srv.Stop()
			before := copyFolder(t, dir)

			srv = startServer(t, dir)
			relay := newRelay(t, srv.ClientURL())
			publish(t, connectHub(t, srv), 10)
			in := startReading(t, openStream(t, dial(t, relay.url())), 0, stream.Limits{})
			requireRun(t, in.upTo(t, 20), 1, 20)

			// The old copy grows before the reader sees it.
			srv.Stop()
			old := startServer(t, before)
			publish(t, connectHub(t, old), grow)
			relay.aim(t, old.ClientURL())
			err := in.end(t)
			require.ErrorIs(t, err, stream.ErrShort)
		})
	}
}

func TestReadNoticesThatTheStreamIsGone(t *testing.T) {
	r := run(t)
	publish(t, r.hub, 5)
	in := startReading(t, r.st, 0, stream.Limits{})
	requireRun(t, in.upTo(t, 5), 1, 5)
	js, err := jetstream.New(r.hub)
	require.NoError(t, err)
	require.NoError(t, js.DeleteStream(testContext(t), stream.Name))
	require.ErrorIs(t, in.end(t), stream.ErrShort)
}

func TestReadEndsWhenTheConnectionIsClosed(t *testing.T) {
	r := run(t)
	nc := dial(t, r.srv.ClientURL())
	in := startReading(t, openStream(t, nc), 0, stream.Limits{})
	publish(t, r.hub, 1)
	in.upTo(t, 1)
	nc.Close()
	require.ErrorIs(t, in.end(t), nats.ErrConnectionClosed)
}

// Reading stops at once when it is told to, also while the server is away.
func TestReadStopsWhileTheServerIsAway(t *testing.T) {
	r := run(t)
	relay := newRelay(t, r.srv.ClientURL())
	var all []*reading
	publish(t, r.hub, 1)
	for range 3 {
		in := startReading(t, openStream(t, dial(t, relay.url())), 0, stream.Limits{})
		in.upTo(t, 1)
		all = append(all, in)
	}
	r.srv.Stop()
	relay.cut()
	soonest := patience // of three: the machine may have other work once, and not each time
	for _, in := range all {
		began := time.Now()
		in.cancel()
		require.ErrorIs(t, in.end(t), context.Canceled)
		soonest = min(soonest, time.Since(began))
	}
	require.Less(t, soonest, 3*time.Second)
}

// A reader that is slow is waited for; nothing is dropped and nobody else waits.
func TestReadWaitsForASlowReader(t *testing.T) {
	r := run(t)
	publish(t, r.hub, 12_000)
	slow := startReading(t, r.st, 0, stream.Limits{Max: 10})
	first := <-slow.got
	requireRun(t, readAll(t, r.st), 1, 12_000) // meanwhile
	requireRun(t, append(first, slow.upTo(t, 12_000)...), 1, 12_000)
}

func BenchmarkRead(b *testing.B) {
	r := run(b)
	const n = 200_000
	publish(b, r.hub, n)
	for _, where := range []string{"loopback", "in-process"} {
		b.Run(where, func(b *testing.B) {
			st := r.st
			if where == "in-process" {
				nc, err := r.srv.ConnectInProcess()
				require.NoError(b, err)
				defer nc.Close()
				st = openStream(b, nc)
			}
			for b.Loop() {
				got := 0
				err := st.Read(testContext(b), 0, stream.Limits{Max: 20_000}, func(batch []stream.Message) error {
					if got += len(batch); got == n {
						return errEnough
					}
					return nil
				})
				require.ErrorIs(b, err, errEnough)
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "msgs/s")
		})
	}
}

func BenchmarkPublish(b *testing.B) {
	r := run(b)
	body := []byte(strings.Repeat("x", 380))
	b.Run("one-by-one", func(b *testing.B) {
		for b.Loop() {
			_, _, err := stream.PublishOne(testContext(b), r.hub, "pour.a.w1.temperature.read", body, "")
			require.NoError(b, err)
		}
		b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "msgs/s")
	})
	b.Run(fmt.Sprintf("batch-%d", stream.MaxBatch), func(b *testing.B) {
		for b.Loop() {
			publish(b, r.hub, stream.MaxBatch)
		}
		b.ReportMetric(float64(stream.MaxBatch)*float64(b.N)/b.Elapsed().Seconds(), "msgs/s")
	})
}
