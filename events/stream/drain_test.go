package stream_test

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

func TestDrainSendsInOrderAndReportsOnce(t *testing.T) {
	hub, d := runHub(t), newDevice(t)
	sent := d.fill(2300)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	all := readAll(t, hub.st)
	require.Len(t, all, 2301)
	for i, e := range sent {
		body, err := e.Encode()
		require.NoError(t, err)
		require.Equal(t, string(body), string(all[i].Body))
		require.Equal(t, e.Subject(), all[i].Subject)
	}
	report, err := events.Decode(all[2300].Subject, all[2300].Body)
	require.NoError(t, err)
	require.EqualValues(t, "device.reported", report.Kind)
	require.Equal(t, &events.DeviceReported{Last: 2300, Walls: []events.WallLast{{Wall: "w0", Last: 2299}, {Wall: "w1", Last: 2300}}}, report.Data)

	require.NoError(t, d.Drain(testContext(t), hub.hub))
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	require.Len(t, readAll(t, hub.st), 2301, "nothing is new, nothing is said")
	require.Equal(t, 2301, d.status().Settled)

	_, err = d.Add(started("w1"))
	require.NoError(t, err)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	all = readAll(t, hub.st)
	require.Len(t, all, 2303)
	report, err = events.Decode(all[2302].Subject, all[2302].Body)
	require.NoError(t, err)
	require.Equal(t, &events.DeviceReported{Last: 2302, Walls: []events.WallLast{{Wall: "w1", Last: 2302}}}, report.Data)
	hub.requireOnce(phone, 2303)
}

func TestDrainSignsWhatWasAdded(t *testing.T) {
	hub := runHub(t)
	key := testKey('p')
	d := configDevice(t, stream.OutboxConfig{Dir: t.TempDir(), Key: key})
	d.fill(3)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	for _, m := range readAll(t, hub.st) {
		require.True(t, stream.Verify(key.Public().(ed25519.PublicKey), m.Signature, m.Body), "message %d", m.Seq)
	}
}

func TestDrainOfADemoSaysItsTime(t *testing.T) {
	hub := runHub(t)
	now := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	d := configDevice(t, stream.OutboxConfig{Dir: t.TempDir(), Demo: true, Now: func() time.Time { return now }})
	d.fill(1)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	require.Equal(t, "2026-01-02T03:04:05Z", readAll(t, hub.st)[0].DemoRecorded)
}

// The first contact needs the hub's word; later the server alone will do.
func TestDrainWithoutAHub(t *testing.T) {
	r := run(t)
	d := newDevice(t)
	d.fill(3)
	err := d.Drain(testContext(t), r.hub)
	require.ErrorIs(t, err, stream.ErrNoReceipt)
	require.Equal(t, 3, d.status().Waiting)
	require.Empty(t, readAll(t, r.st))

	stop, err := stream.AnswerReceipts(r.hub, func(events.Source) (stream.Receipt, bool, error) {
		return stream.Receipt{At: time.Now()}, false, nil
	})
	require.NoError(t, err)
	require.NoError(t, d.Drain(testContext(t), r.hub))
	stop()
	d.fill(3)
	require.NoError(t, d.Drain(testContext(t), r.hub))
	require.Len(t, readAll(t, r.st), 8)
}

// The hub's clock is ahead; what is added after the first contact says by how
// much, to half a round trip.
func TestClockOffset(t *testing.T) {
	hub, d := runHub(t), newDevice(t)
	hub.ahead = -7 * time.Minute
	e := d.fill(1)[0]
	require.False(t, e.HasOffset)
	began := time.Now()
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	trip := time.Since(began)
	e = d.fill(1)[0]
	require.True(t, e.HasOffset)
	require.InDelta(t, -7*time.Minute, e.ClockOffset, float64(trip/2+time.Millisecond))
	require.Equal(t, e.ClockOffset, d.status().Offset)
	require.NoError(t, d.Close())
	d = openDevice(t, d.dir)
	require.Equal(t, e.ClockOffset, d.fill(1)[0].ClockOffset, "known after a restart too")
}

// A hub is put back to an older state, stream and all. Its receipt falls, and it
// gets the events again.
func TestRestoredHubGetsTheEventsAgain(t *testing.T) {
	hub, d := runHub(t), newDevice(t)
	d.fill(5)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	require.NoError(t, d.Drain(testContext(t), hub.hub)) // the receipt is seen
	require.Equal(t, 6, d.status().Settled)

	restored := runHub(t) // knows nothing
	require.NoError(t, d.Drain(testContext(t), restored.hub))
	require.NoError(t, d.Drain(testContext(t), restored.hub))
	restored.requireOnce(phone, 6)
	require.Equal(t, 6, d.status().Settled)
}

// The hub loses its newest messages and no receipt that the device has seen
// falls. What it should have folded by now, or has not for long, is sent again.
func TestLostTailIsSentAgain(t *testing.T) {
	for _, bare := range []bool{false, true} {
		hub := runHub(t)
		hub.fold.bare = bare
		now := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
		d := configDevice(t, stream.OutboxConfig{Dir: t.TempDir(), Now: func() time.Time { return now }})
		d.fill(5)
		require.NoError(t, d.Drain(testContext(t), hub.hub))
		require.NoError(t, d.Drain(testContext(t), hub.hub))
		d.fill(3)
		require.NoError(t, d.Drain(testContext(t), hub.hub)) // numbers 7 to 10

		restored := runHub(t)
		restored.fold.bare = bare
		for _, m := range readAll(t, hub.st)[:6] {
			_, _, err := stream.PublishOne(testContext(t), restored.hub, m.Subject, m.Body, m.Signature)
			require.NoError(t, err)
		}
		require.NoError(t, d.Drain(testContext(t), restored.hub))
		require.Equal(t, 4, d.status().Sent, "not folded through there yet: it waits")
		publish(t, restored.hub, 2) // others fill the place
		require.NoError(t, d.Drain(testContext(t), restored.hub))
		now = now.Add(11 * time.Minute)
		require.NoError(t, d.Drain(testContext(t), restored.hub))
		require.NoError(t, d.Drain(testContext(t), restored.hub))
		require.Equal(t, 10, d.status().Settled)
		restored.requireAll(phone, 10)
	}
}

// A gap that will never fill costs a hub that says what it misses nothing, and
// one that says only how far it got a few copies, ever more rarely.
func TestNumbersBehindAGap(t *testing.T) {
	for bare, most := range map[bool]int{false: 1, true: 16} {
		hub := runHub(t)
		hub.fold.bare = bare
		now := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
		d := configDevice(t, stream.OutboxConfig{Dir: t.TempDir(), Now: func() time.Time { return now }})
		d.fill(5)
		require.NoError(t, d.Close())
		raw, err := os.ReadFile(logOf(d.dir))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(logOf(d.dir), []byte(strings.Replace(string(raw), "entry 1", "entry X", 1)), 0o600))
		d = configDevice(t, stream.OutboxConfig{Dir: d.dir, Now: func() time.Time { return now }})
		for range 24 * 7 {
			require.NoError(t, d.Drain(testContext(t), hub.hub))
			now = now.Add(time.Hour)
		}
		count := numbersOf(t, readAll(t, hub.st), phone)
		reports := map[bool]int{false: 14, true: 3} // twice a day, or half a day after the last copy went out
		require.Len(t, count, 4+reports[bare])
		for n, times := range count {
			require.LessOrEqual(t, times, most, "number %d, bare %v", n, bare)
		}
	}
}

// What the hub refuses is set aside in view, counts as held, and stops nothing.
func TestRefusedNumbersAreSetAside(t *testing.T) {
	hub, d := runHub(t), newDevice(t)
	hub.fold.refuse = func(e events.Event) string {
		if e.Sequence == 2 || e.Sequence == 4 {
			return "data.at: \"x\";\nallowed: something"
		}
		return ""
	}
	sent := d.fill(5)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	aside, err := d.SetAside()
	require.NoError(t, err)
	require.Len(t, aside, 2)
	for i, n := range []int{1, 3} {
		require.Equal(t, sent[n], aside[i].Event)
		require.Equal(t, "data.at: \"x\";\nallowed: something", aside[i].Reason)
	}
	d.fill(2)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	hub.requireOnce(phone, 9)
	s := d.status()
	require.Equal(t, 2, s.SetAside)
	require.Zero(t, s.Waiting)
	require.NoError(t, d.Close())
	aside, err = openDevice(t, d.dir).SetAside()
	require.NoError(t, err)
	require.Len(t, aside, 2)
}

// Someone who reads the stream and knows how devices number publishes under
// every id that could be guessed. Nobody's event is suppressed.
func TestPredictableIDsSuppressNobody(t *testing.T) {
	hub, d := runHub(t), newDevice(t)
	d.fill(3)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	next := d.fill(5)

	js, err := jetstream.New(dial(t, hub.srv.ClientURL()))
	require.NoError(t, err)
	guesses := []string{}
	for _, e := range next {
		n := fmt.Sprint(e.Sequence)
		guesses = append(guesses, e.ID, n, fmt.Sprintf("%020d", e.Sequence), e.Source.String()+"#"+e.ID, e.Source.String()+"/"+n, e.Source.Device+"-"+n)
	}
	// Ids of what this device has published can be read, and what follows guessed.
	st, err := js.Stream(testContext(t), stream.Name)
	require.NoError(t, err)
	for seq := uint64(1); seq <= 4; seq++ {
		m, err := st.GetMsg(testContext(t), seq)
		require.NoError(t, err)
		id := m.Header.Get(nats.MsgIdHdr)
		require.Len(t, id, 32)
		last := id[len(id)-1]
		guesses = append(guesses, id[:len(id)-1]+string(last+1), id+"-"+fmt.Sprint(seq+1), fmt.Sprintf("%s.%d", id, seq+4))
	}
	for _, id := range guesses {
		_, err := js.Publish(testContext(t), "pour.a.w0.pour.started", []byte("rubbish"), jetstream.WithMsgID(id))
		require.NoError(t, err)
	}
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	require.NoError(t, hub.level())
	hub.requireAll(phone, 10)
}

// The folder is lost, or an old copy of it put back: new events take numbers
// that nobody has used, under their own ids, and nothing is taken for another.
func TestLostFolder(t *testing.T) {
	for _, bare := range []bool{false, true} {
		hub, d := runHub(t), newDevice(t)
		hub.fold.bare = bare
		d.fill(4)
		old := copyFolder(t, d.dir)
		require.NoError(t, d.Drain(testContext(t), hub.hub)) // 1 to 5
		later := copyFolder(t, d.dir)
		d.fill(3)
		require.NoError(t, d.Drain(testContext(t), hub.hub)) // 6 to 9

		empty := newDevice(t)
		fresh := empty.fill(3)
		require.EqualValues(t, 1, fresh[0].Sequence)
		require.NoError(t, empty.Drain(testContext(t), hub.hub)) // 10 to 13
		hub.requireAll(phone, 13)
		for i, m := range readAll(t, hub.st)[9:12] {
			e, err := events.Decode(m.Subject, m.Body)
			require.NoError(t, err)
			require.Equal(t, fresh[i].ID, e.ID)
			require.Equal(t, fresh[i].Data, e.Data)
			require.EqualValues(t, 10+i, e.Sequence)
		}
		require.NoError(t, empty.Drain(testContext(t), hub.hub))
		require.Equal(t, 4, empty.status().Settled)

		older := openDevice(t, later) // knows 1 to 5
		older.fill(2)
		require.NoError(t, older.Drain(testContext(t), hub.hub))
		hub.requireAll(phone, 16)

		// A copy from before anything was sent holds numbers 1 to 4 with ids that the
		// hub knows. They are sent under new numbers, which the hub sees by their ids.
		oldest := openDevice(t, old)
		require.NoError(t, oldest.Drain(testContext(t), hub.hub))
		hub.requireAll(phone, 21)
	}
}

// Numbers that were written off while the phone lay in a drawer are sent when it
// comes back: those that never left under new numbers if the hub counts the old
// ones as held, and with a hub that says what it misses as they are.
func TestWrittenOffNumbers(t *testing.T) {
	for name, receipt := range map[string]stream.Receipt{
		"bare":    {UpTo: 3, Through: 1},
		"missing": {UpTo: 3, High: 3, Missing: []stream.Span{{From: 1, To: 3}}, Through: 1},
	} {
		r, d := run(t), newDevice(t)
		d.fill(3)
		receipt.At = time.Now()
		_, err := stream.AnswerReceipts(r.hub, func(events.Source) (stream.Receipt, bool, error) { return receipt, true, nil })
		require.NoError(t, err)
		require.NoError(t, d.Drain(testContext(t), r.hub))
		count := numbersOf(t, readAll(t, r.st), phone)
		require.Len(t, count, 4, name)
		if name == "missing" {
			require.Contains(t, count, uint64(1))
		} else {
			require.Contains(t, count, uint64(7))
		}
	}
}

// Settle takes a receipt that was published; another device's is refused.
func TestSettleByAPublishedReceipt(t *testing.T) {
	hub, d := runHub(t), newDevice(t)
	d.fill(3)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	require.Equal(t, 4, d.status().Sent)
	require.NoError(t, d.Settle(stream.Receipt{Source: phone.String(), UpTo: 3, Through: 3, At: time.Unix(0, 0)}))
	s := d.status()
	require.Equal(t, 3, s.Settled)
	require.Less(t, s.Offset.Abs(), time.Minute, "a published receipt says nothing of the clock")
	require.ErrorContains(t, d.Settle(stream.Receipt{Source: "/site/a/device/other", UpTo: 3}), "is for")
}

// A receipt that a newer one has overtaken changes nothing, whether it was
// published or asked for; one that falls short once more, when it is asked again,
// is of a hub that was put back, and everything is sent again.
func TestOvertakenReceipt(t *testing.T) {
	s, d := newSea(), newDevice(t)
	ctx := context.Background()
	drain := func() { require.NoError(t, d.DrainOver(ctx, s)) }
	d.fill(3)
	drain()
	early := s.says()
	s.level()
	d.fill(3)
	s.asleep = true
	drain()
	require.NoError(t, d.Settle(s.says()))
	sent := len(s.posts)
	require.Equal(t, 8, sent, "six events and two reports")
	require.Equal(t, 4, d.status().Sent)

	require.NoError(t, d.Settle(early))
	require.EqualValues(t, 4, d.status().UpTo, "published")
	link := &crossing{sea: s, box: d.Outbox, other: d.Outbox}
	require.NoError(t, d.DrainOver(ctx, link))
	require.Equal(t, 2, link.asked, "it is asked again")
	require.Equal(t, 8, d.status().Settled, "asked for")
	require.Len(t, s.posts, sent, "nothing is sent again")

	s.putBack(2)
	require.NoError(t, d.Settle(s.says()))
	require.Equal(t, 8, d.status().Settled, "a published receipt alone is not believed")
	drain()
	require.NoError(t, d.DrainOver(ctx, s))
	require.Equal(t, 8, d.status().Settled)
	require.Len(t, s.posts, 8, "what the hub had lost")
}

// What is sent is kept for 30 days; then what the hub holds is forgotten, and
// what it does not hold is not.
func TestForgetAfterThirtyDays(t *testing.T) {
	hub := runHub(t)
	now := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	cfg := stream.OutboxConfig{Dir: t.TempDir(), Now: func() time.Time { return now }}
	d, other := configDevice(t, cfg), configDevice(t, cfg)
	size := func() int64 {
		info, err := os.Stat(logOf(cfg.Dir))
		require.NoError(t, err)
		return info.Size()
	}
	d.fill(1000)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	full := size()
	require.Greater(t, full, int64(300_000))
	now = now.Add(29 * 24 * time.Hour)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	require.Equal(t, 1001, d.status().Settled)

	hub.sleep(true)
	d.fill(10)
	require.NoError(t, d.Drain(testContext(t), hub.hub)) // acknowledged, no receipt
	waiting := d.fill(1)[0]
	now = now.Add(32 * 24 * time.Hour)
	d.OnStep(func(step string) error {
		if step == "forgetting" {
			return errCrash
		}
		return nil
	})
	hub.sleep(false)
	require.ErrorIs(t, d.Drain(testContext(t), hub.hub), errCrash)
	require.Greater(t, size(), full)
	d.OnStep(func(string) error { return nil })
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	require.Less(t, size(), full/50)

	s := d.status()
	require.EqualValues(t, 1015, s.Last, "with the report of the day 29")
	require.Equal(t, 2, s.Settled, "the last entry and its report: sent just now")
	e, err := other.Add(started("w0")) // another process sees the new log
	require.NoError(t, err)
	require.EqualValues(t, 1016, e.Sequence)
	require.Equal(t, waiting.Sequence, e.WallSequence)
	require.Equal(t, s.Offset, e.ClockOffset)
	require.NoError(t, other.Drain(testContext(t), hub.hub))
	hub.requireAll(phone, 1017)
	hub.requireOnce(phone, 1017)
}

// Without a receipt nothing is ever forgotten.
func TestKeptWithoutAReceipt(t *testing.T) {
	hub := runHub(t)
	hub.sleep(true)
	now := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	d := configDevice(t, stream.OutboxConfig{Dir: t.TempDir(), Now: func() time.Time { return now }})
	d.fill(1000)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	now = now.Add(400 * 24 * time.Hour)
	require.NoError(t, d.Settle(stream.Receipt{Source: phone.String(), UpTo: 3, Through: 3}))
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	s := d.status()
	require.Equal(t, 1001, s.Sent+s.Settled+s.Waiting)
}

// One event that the server will not take stops neither the others nor is it
// forgotten; no empty outbox is reported.
func TestServerRefusesOneEvent(t *testing.T) {
	srv := startForeign(t, server.Options{ServerName: "small", JetStream: true, SyncAlways: true, MaxPayload: 4000})
	nc, err := nats.Connect(srv.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	st := openStream(t, nc)
	stop, err := stream.AnswerReceipts(nc, func(events.Source) (stream.Receipt, bool, error) {
		return stream.Receipt{At: time.Now()}, false, nil
	})
	require.NoError(t, err)
	defer stop()
	d := newDevice(t)
	d.fill(2)
	big := events.Event{Kind: "line.read", Wall: "w1", Data: &events.LineRead{When: "after", Points: make([]events.LinePoint, 200)}}
	for i := range 200 {
		big.Data.(*events.LineRead).Points[i] = events.LinePoint{AtM: ptr(float64(i)), OffMM: ptr(1.5)}
	}
	_, err = d.Add(big)
	require.NoError(t, err)
	d.fill(2)
	err = d.Drain(testContext(t), nc)
	require.ErrorContains(t, err, "outbox number 3: ")
	require.Equal(t, map[uint64]int{1: 1, 2: 1, 4: 1, 5: 1}, numbersOf(t, readAll(t, st), phone))
	require.Equal(t, 1, d.status().Waiting)
}

// Two processes drain one folder at a time: one waits for the other.
func TestTwoDrains(t *testing.T) {
	hub, d := runHub(t), newDevice(t)
	d.fill(300)
	other := openDevice(t, d.dir)
	var wg sync.WaitGroup
	errs := make([]error, 4)
	for i, o := range []*device{d, other, d, other} {
		wg.Go(func() { errs[i] = o.Drain(testContext(t), hub.hub) })
	}
	wg.Wait()
	require.NoError(t, errors.Join(errs...))
	hub.requireOnce(phone, 301)

	held := make(chan struct{})
	release := make(chan struct{})
	d.OnStep(func(string) error {
		select {
		case held <- struct{}{}:
			<-release
		case <-release:
		}
		return nil
	})
	wg.Go(func() { errs[0] = d.Drain(testContext(t), hub.hub) })
	<-held
	for _, o := range []*device{d, other} {
		ctx, cancel := context.WithTimeout(testContext(t), 100*time.Millisecond)
		require.ErrorIs(t, o.Drain(ctx, hub.hub), context.DeadlineExceeded)
		cancel()
	}
	e, err := other.Add(started("w1")) // adding does not wait for a drain
	require.NoError(t, err)
	require.EqualValues(t, 302, e.Sequence)
	close(release)
	wg.Wait()
	require.NoError(t, errs[0])
}
