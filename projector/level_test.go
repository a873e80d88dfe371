package projector_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
)

func hub(t *testing.T, p *projector.Projector) (h projector.HubState) {
	view(t, p, func(v projector.View) {
		h = v.Hub()
		require.Equal(t, h.Level, v.Level())
	})
	return h
}

// receipts collects what is published.
type receipts struct {
	mu    sync.Mutex
	calls [][]stream.Receipt // mu
	err   error              // mu
}

func (r *receipts) publish(list []stream.Receipt) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.calls = append(r.calls, list)
	return r.err
}

func (r *receipts) take() [][]stream.Receipt {
	r.mu.Lock()
	defer r.mu.Unlock()
	calls := r.calls
	r.calls = nil
	return calls
}

func (r *receipts) fail(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.err = err
}

// upTo gives the receipts of one call by source.
func upTo(call []stream.Receipt) map[string]uint64 {
	m := map[string]uint64{}
	for _, r := range call {
		m[r.Source] = r.UpTo
	}
	return m
}

func TestCatchingUpIsSilentAndLiveIsNot(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newTape()
		s.cuts = []int{7}
		a, b := newDevice("alder", "phone-1"), newDevice("birch", "phone-2")
		for range 20 {
			s.add(t, a.reading("w1", 10))
			s.add(t, b.reading("w2", 10))
		}
		s.add(t, b.event("", "wind.read", "", &events.WindRead{GustMPS: ptr(4.0)}))
		var r receipts
		cfg := newConfig(t, t.TempDir(), s)
		cfg.Receipts = r.publish
		p := open(t, cfg)
		require.False(t, hub(t, p).Level, "before it runs")
		changes, cancel := p.Subscribe()
		defer cancel()
		stop := run(t, p)
		synctest.Wait()
		require.True(t, hub(t, p).Level)
		require.Len(t, changes, 1, "one change for all that was caught up with")
		require.Equal(t, projector.Change{
			Through: 41, Walls: []projector.Ref{{"alder", "w1"}, {"birch", "w2"}}, Sites: []string{"birch"},
		}, <-changes)
		calls := r.take()
		require.Len(t, calls, 1)
		require.Equal(t, map[string]uint64{"/site/alder/device/phone-1": 20, "/site/birch/device/phone-2": 21}, upTo(calls[0]))
		require.EqualValues(t, 41, calls[0][0].Through)

		s.add(t, a.reading("w1", 11))
		synctest.Wait()
		require.Equal(t, projector.Change{Through: 42, Walls: []projector.Ref{{"alder", "w1"}}, Sites: []string{}}, <-changes)
		require.Equal(t, map[string]uint64{"/site/alder/device/phone-1": 21}, upTo(r.take()[0]))
		require.NoError(t, stop())
		require.False(t, hub(t, p).Level, "after it ran")
	})
}

func TestLevelEndsWhenTheStreamCannotBeSeen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newTape()
		s.add(t, newDevice("alder", "phone-1").reading("w1", 10))
		p := open(t, newConfig(t, t.TempDir(), s))
		stop := run(t, p)
		synctest.Wait()
		require.True(t, hub(t, p).Level)
		s.fail(errors.New("no servers"))
		time.Sleep(20 * time.Second)
		require.False(t, hub(t, p).Level)
		require.Equal(t, "the stream cannot be seen", hub(t, p).Why)
		s.fail(nil)
		time.Sleep(5 * time.Second)
		require.True(t, hub(t, p).Level)
		require.NoError(t, stop())
	})
}

func TestHoleStandsUntilAKeeperAcceptsIt(t *testing.T) {
	s := newTape()
	d, office := newDevice("alder", "phone-1"), newDevice("_", "office")
	accept := func(who *device, from, to uint64) events.Event {
		return who.event("", "hole.accepted", "keeper-1", &events.HoleAccepted{From: from, To: to, Reason: "healed from the phones"})
	}
	s.add(t, accept(office, 1, 1<<40)) // not in advance
	s.lose(3)                          // 2 to 4
	s.add(t, d.reading("w1", 10))      // 5
	s.lose(1)                          // 6
	s.add(t, d.reading("w1", 10))      // 7
	p := foldAll(t, s)
	h := hub(t, p)
	require.Equal(t, []projector.Hole{
		{2, 4, monday.Add(5 * time.Second)}, {6, 6, monday.Add(7 * time.Second)},
	}, h.Holes)
	require.EqualValues(t, 3, h.Folded, "folding goes on")

	s.add(t, accept(d, 2, 4)) // a site's device speaks for the site only
	s.add(t, accept(office, 3, 4))
	p = foldAll(t, s)
	require.Equal(t, []projector.Hole{{2, 2, monday.Add(5 * time.Second)}, {6, 6, monday.Add(7 * time.Second)}}, hub(t, p).Holes)
	view(t, p, func(v projector.View) {
		require.Equal(t, "source", v.Refused(1)[0].Field)
	})
	s.add(t, accept(office, 2, 6))
	require.Empty(t, hub(t, foldAll(t, s)).Holes)
}

func TestFirstMessageMissingIsAHole(t *testing.T) {
	s := newTape()
	s.lose(2)
	s.add(t, newDevice("alder", "phone-1").reading("w1", 10))
	require.Equal(t, []projector.Hole{{1, 2, monday.Add(3 * time.Second)}}, hub(t, foldAll(t, s)).Holes)
}

// filled is a store that stands at 10 on a tape of one device.
func filled(t *testing.T) (s *tape, d *device, cfg projector.Config, r *receipts) {
	s, d, r = newTape(), newDevice("alder", "phone-1"), &receipts{}
	for range 10 {
		s.add(t, d.reading("w1", 10))
	}
	cfg = newConfig(t, t.TempDir(), s)
	cfg.Receipts = r.publish
	p, err := projector.Open(cfg)
	require.NoError(t, err)
	stop := run(t, p)
	synctest.Wait()
	require.NoError(t, stop())
	require.NoError(t, p.Close())
	require.Len(t, r.take(), 1)
	return s, d, cfg, r
}

func TestShortStreamPublishesNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, _, cfg, r := filled(t)
		rest := s.shorten(6)
		p := open(t, cfg)
		changes, cancel := p.Subscribe()
		defer cancel()
		stop := run(t, p)
		time.Sleep(time.Minute)
		h := hub(t, p)
		require.True(t, h.Short)
		require.False(t, h.Level)
		require.Equal(t, "the stream ends at 6, before the store", h.Why)
		require.EqualValues(t, 10, h.Through, "reads go on")
		view(t, p, func(v projector.View) { require.True(t, v.Wall(projector.Ref{"alder", "w1"}).Known()) })
		require.Empty(t, r.take())
		require.Empty(t, changes)
		_, ok, err := p.Receipt(events.Source{Site: "alder", Device: "phone-1"})
		require.NoError(t, err)
		require.False(t, ok, "nobody may forget anything")

		s.restore(rest)
		time.Sleep(5 * time.Second)
		require.True(t, hub(t, p).Level)
		require.Len(t, r.take(), 1)
		require.NoError(t, stop())
	})
}

func TestStreamMadeAnewIsNotTheRecord(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, _, cfg, r := filled(t)
		s.shorten(0)
		other := newDevice("alder", "phone-9")
		for range 25 {
			s.add(t, other.reading("w1", 99))
		}
		p := open(t, cfg)
		before := digest(t, p)
		stop := run(t, p)
		time.Sleep(time.Minute)
		h := hub(t, p)
		require.True(t, h.Short)
		require.False(t, h.Level)
		require.EqualValues(t, 10, h.Through)
		require.Contains(t, h.Why, "another message")
		require.Empty(t, r.take())
		require.Equal(t, before, digest(t, p), "nothing of it is folded")
		require.NoError(t, stop())
	})
}

func TestStreamShortenedUnderARunningHub(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, d, cfg, r := filled(t)
		p := open(t, cfg)
		stop := run(t, p)
		time.Sleep(time.Second)
		require.True(t, hub(t, p).Level)
		r.take()
		rest := s.shorten(4)
		time.Sleep(5 * time.Second)
		require.True(t, hub(t, p).Short)
		s.restore(rest)
		s.add(t, d.reading("w1", 12))
		time.Sleep(5 * time.Second)
		require.True(t, hub(t, p).Level)
		require.EqualValues(t, 11, hub(t, p).Through)
		require.NoError(t, stop())
	})
}

func TestReceiptsComeAgainAfterARestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, d, cfg, r := filled(t)
		r.fail(errors.New("not connected"))
		p, err := projector.Open(cfg)
		require.NoError(t, err)
		stop := run(t, p)
		synctest.Wait()
		s.add(t, d.reading("w1", 11))
		synctest.Wait()
		require.NotEmpty(t, r.take())
		r.fail(nil)
		time.Sleep(6 * time.Second)
		require.EqualValues(t, 11, upTo(r.take()[0])["/site/alder/device/phone-1"], "tried again")
		require.NoError(t, stop())
		require.NoError(t, p.Close())
		// The process may end between a commit and its receipt.
		p = open(t, cfg)
		stop = run(t, p)
		synctest.Wait()
		require.Equal(t, map[string]uint64{"/site/alder/device/phone-1": 11}, upTo(r.take()[0]))
		require.NoError(t, stop())
	})
}

func TestReceiptStopsAtAGapUntilItIsWrittenOff(t *testing.T) {
	s := newTape()
	d, office := newDevice("alder", "phone-1"), newDevice("alder", "tablet-1")
	s.add(t, d.reading("w1", 10))
	lost := d.reading("w1", 11) // 2
	s.add(t, d.reading("w1", 12))
	receipt := func() uint64 {
		r, ok, err := foldAll(t, s).Receipt(d.source)
		require.NoError(t, err)
		require.True(t, ok)
		require.EqualValues(t, 3, r.High)
		require.Equal(t, []stream.Span{{From: 2, To: 2}}, r.Missing, "a number that never came is not held, written off or not")
		require.False(t, r.Holds(2))
		require.True(t, r.Holds(3), "what lies over the gap need not be sent again")
		return r.UpTo
	}
	require.EqualValues(t, 1, receipt())
	off := office.event("", "gap.written-off", "officer-1", &events.GapWrittenOff{Device: "phone-1", From: 2, To: 2, Reason: "lost phone"})
	s.add(t, off)
	s.add(t, office.event("", "record.countersigned", "officer-2", &events.RecordCountersigned{
		Target: events.Target{Source: off.Source.String(), ID: off.ID}, Role: "officer",
	}))
	require.EqualValues(t, 3, receipt())
	s.add(t, lost) // found after all
	p := foldAll(t, s)
	view(t, p, func(v projector.View) { require.Equal(t, verdicts{5, 0, 0}, verdictsOf(v)) })
	r, _, err := p.Receipt(d.source)
	require.NoError(t, err)
	require.Empty(t, r.Missing)
}

func TestCountersignedWriteOffIsToldToItsDevice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, d, cfg, r := filled(t)
		office := newDevice("alder", "tablet-1")
		d.number++ // 11 is lost
		s.add(t, d.reading("w1", 12))
		off := office.event("", "gap.written-off", "officer-1", &events.GapWrittenOff{Device: "phone-1", From: 11, To: 11, Reason: "lost phone"})
		s.add(t, off)
		p := open(t, cfg)
		stop := run(t, p)
		synctest.Wait()
		require.EqualValues(t, 10, upTo(r.take()[0])[d.source.String()])
		s.add(t, office.event("", "record.countersigned", "officer-2", &events.RecordCountersigned{
			Target: events.Target{Source: off.Source.String(), ID: off.ID}, Role: "officer",
		}))
		synctest.Wait()
		require.EqualValues(t, 12, upTo(r.take()[0])[d.source.String()])
		require.NoError(t, stop())
	})
}

func TestWhatIsOfTheCompanyChangesEverySite(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, _, cfg, _ := filled(t)
		p := open(t, cfg)
		stop := run(t, p)
		synctest.Wait()
		changes, cancel := p.Subscribe()
		defer cancel()
		s.add(t, newDevice("_", "office").event("", "mix.approved", "engineer-1", &events.MixApproved{Mix: "c30", Binder: "portland"}))
		synctest.Wait()
		require.Equal(t, projector.Change{Through: 11, Walls: []projector.Ref{}, Sites: []string{"_", "alder"}}, <-changes)
		require.NoError(t, stop())
	})
}

func TestSlowReaderIsCut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newTape()
		d := newDevice("alder", "phone-1")
		p := open(t, newConfig(t, t.TempDir(), s))
		slow, _ := p.Subscribe()
		fast, cancel := p.Subscribe()
		stop := run(t, p)
		synctest.Wait()
		seen := 0
		for range 200 {
			s.add(t, d.reading("w1", 10))
			synctest.Wait()
			<-fast
			seen++
		}
		require.Equal(t, 200, seen)
		kept := 0
		for range slow { // ends, since the channel is closed
			kept++
		}
		require.Less(t, kept, 200)
		cancel()
		cancel()
		_, open := <-fast
		require.False(t, open)
		require.NoError(t, stop())
	})
}

func TestCloseEndsSubscriptions(t *testing.T) {
	p := open(t, newConfig(t, t.TempDir(), newTape()))
	changes, cancel := p.Subscribe()
	defer cancel()
	require.NoError(t, p.Close())
	_, open := <-changes
	require.False(t, open)
	require.Error(t, p.Read(func(projector.View) error { return nil }))
	require.Error(t, p.Wait(t.Context(), 1))
}

// lateHead answers with the head that it saw when it was asked, once it is let.
type lateHead struct {
	*tape
	asked, answer chan struct{}
}

func (s lateHead) Head(ctx context.Context) (first, last uint64, err error) {
	first, last, err = s.tape.Head(ctx)
	select {
	case s.asked <- struct{}{}:
		select {
		case <-s.answer:
		case <-ctx.Done():
		}
	default:
	}
	return first, last, err
}

// What is committed while the head is asked for makes no short stream: the answer
// is of before.
func TestAnAnswerOfBeforeIsNoShortStream(t *testing.T) {
	s, d := newTape(), newDevice("north", "phone-1")
	s.add(t, d.lift("w1", 0, 12, 0.3))
	late := lateHead{s, make(chan struct{}), make(chan struct{})}
	p := open(t, newConfig(t, t.TempDir(), late))
	run(t, p)
	reach(t, p, 1)
	for i := range 3 {
		<-late.asked
		reach(t, p, s.add(t, d.lift("w1", 0, 12, 0.4+0.1*float64(i))))
		late.answer <- struct{}{}
		require.False(t, hub(t, p).Short)
	}
	<-late.asked // what came of the answer before is noted
	require.False(t, hub(t, p).Short)
	late.answer <- struct{}{}
}
