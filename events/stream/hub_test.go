package stream_test

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

// fold is the least that a hub does for its devices: it holds their numbers.
type fold struct {
	through uint64
	held    map[events.Source]map[uint64]string // number to reason of refusal; empty: accepted
	first   map[events.Source]map[uint64]string // number to the id that came first
	clashes []string                            // numbers that came with two ids
	refuse  func(events.Event) string
	bare    bool // gives UpTo alone
}

func newFold() *fold {
	return &fold{held: map[events.Source]map[uint64]string{}, first: map[events.Source]map[uint64]string{}}
}

func (f *fold) take(seq uint64, subject string, body []byte) {
	f.through = seq
	e, err := events.Decode(subject, body)
	if err != nil || e.Sequence == 0 {
		return
	}
	if f.held[e.Source] == nil {
		f.held[e.Source], f.first[e.Source] = map[uint64]string{}, map[uint64]string{}
	}
	if id, ok := f.first[e.Source][e.Sequence]; ok {
		if id != e.ID {
			f.clashes = append(f.clashes, fmt.Sprintf("%s %d: %s and %s", e.Source, e.Sequence, id, e.ID))
		}
		return
	}
	reason := ""
	if f.refuse != nil {
		reason = f.refuse(e)
	}
	f.held[e.Source][e.Sequence], f.first[e.Source][e.Sequence] = reason, e.ID
}

func (f *fold) receipt(src events.Source, at time.Time) (stream.Receipt, bool) {
	r := stream.Receipt{Source: src.String(), Through: f.through, At: at}
	var numbers []uint64
	for n, reason := range f.held[src] {
		numbers = append(numbers, n)
		if reason != "" {
			r.Refused = append(r.Refused, stream.RefusedNumber{Number: n, Reason: reason})
		}
	}
	slices.Sort(numbers)
	slices.SortFunc(r.Refused, func(a, b stream.RefusedNumber) int { return int(a.Number) - int(b.Number) })
	last := uint64(0)
	for _, n := range numbers {
		if n == r.UpTo+1 {
			r.UpTo = n
		}
		if n > last+1 && !f.bare {
			r.Missing = append(r.Missing, stream.Span{From: last + 1, To: n - 1})
		}
		last = n
	}
	if !f.bare {
		r.High = last
	}
	return r, len(numbers) > 0
}

// testHub folds a real stream and answers devices.
type testHub struct {
	running
	t testing.TB

	mu     sync.Mutex
	fold   *fold
	asleep bool          // gives the receipt of what it had folded
	ahead  time.Duration // of its clock
}

func runHub(t testing.TB) *testHub {
	t.Helper()
	h := &testHub{running: run(t), t: t, fold: newFold()}
	h.answer()
	return h
}

func (h *testHub) answer() {
	h.t.Helper()
	stop, err := stream.AnswerReceipts(h.hub, func(src events.Source) (stream.Receipt, bool, error) {
		if err := h.level(); err != nil {
			return stream.Receipt{}, false, err
		}
		h.mu.Lock()
		defer h.mu.Unlock()
		r, ok := h.fold.receipt(src, time.Now().Add(h.ahead))
		return r, ok, nil
	})
	require.NoError(h.t, err)
	h.t.Cleanup(stop)
}

// level folds what the stream holds.
func (h *testHub) level() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	_, last, err := h.st.Head(ctx)
	if err != nil || h.asleep || last == h.fold.through {
		return err
	}
	err = h.st.Read(ctx, h.fold.through, stream.Limits{}, func(batch []stream.Message) error {
		for _, m := range batch {
			h.fold.take(m.Seq, m.Subject, m.Body)
		}
		if h.fold.through >= last {
			return errEnough
		}
		return nil
	})
	if h.fold.through >= last {
		return nil
	}
	return err
}

func (h *testHub) sleep(asleep bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.asleep = asleep
}

// requireOnce checks that the stream holds every number of the device from 1 to
// last exactly once, in order, and no number under two ids.
func (h *testHub) requireOnce(src events.Source, last uint64) {
	h.t.Helper()
	count := numbersOf(h.t, readAll(h.t, h.st), src)
	for n := uint64(1); n <= last; n++ {
		require.Equal(h.t, 1, count[n], "number %d of %d", n, last)
	}
	require.Len(h.t, count, int(last))
}

// requireAll checks that the hub holds every number up to last, however often
// it came, and none under two ids.
func (h *testHub) requireAll(src events.Source, last uint64) {
	h.t.Helper()
	h.sleep(false)
	require.NoError(h.t, h.level())
	h.mu.Lock()
	defer h.mu.Unlock()
	r, _ := h.fold.receipt(src, time.Now())
	require.Equal(h.t, last, r.UpTo)
	require.Empty(h.t, h.fold.clashes)
}

// device is an outbox of a test with its folder.
type device struct {
	*stream.Outbox
	t   testing.TB
	dir string
}

func newDevice(t testing.TB) *device { return openDevice(t, t.TempDir()) }

func openDevice(t testing.TB, dir string) *device {
	t.Helper()
	return configDevice(t, stream.OutboxConfig{Dir: dir})
}

func configDevice(t testing.TB, cfg stream.OutboxConfig) *device {
	t.Helper()
	cfg.Source, cfg.Log = phone, testLog(t)
	o, err := cfg.Open()
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, o.Close()) })
	return &device{Outbox: o, t: t, dir: cfg.Dir}
}

// fill adds n events on two walls.
func (d *device) fill(n int) []events.Event {
	d.t.Helper()
	list := make([]events.Event, n)
	for i := range list {
		list[i] = events.Event{Kind: "pour.started", Wall: fmt.Sprintf("w%d", i%2), Data: &events.Moment{Note: fmt.Sprint("entry ", i)}}
	}
	stamped, err := d.AddAll(list)
	require.NoError(d.t, err)
	return stamped
}

func (d *device) status() stream.OutboxStatus {
	d.t.Helper()
	s, err := d.Status()
	require.NoError(d.t, err)
	return s
}
