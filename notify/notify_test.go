package notify_test

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var (
	start   = time.Date(2026, 1, 15, 6, 0, 0, 0, time.UTC)
	hubKey  = ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
	hub     = hubKey.Public().(ed25519.PublicKey)
	otherBy = ed25519.NewKeyFromSeed(append(make([]byte, ed25519.SeedSize-1), 1))
)

// tape is a stream that a test writes to.
type tape struct {
	mu    sync.Mutex
	all   []stream.Message
	grown chan struct{} // closed when all grows
	from  []uint64      // where each Read began
}

func newTape() *tape { return &tape{grown: make(chan struct{})} }

func (p *tape) Head(context.Context) (first, last uint64, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	n := uint64(len(p.all))
	return min(1, n), n, nil
}

func (p *tape) Read(ctx context.Context, after uint64, limits stream.Limits, deliver func([]stream.Message) error) error {
	p.mu.Lock()
	p.from = append(p.from, after)
	p.mu.Unlock()
	for {
		p.mu.Lock()
		grown := p.grown
		if after > uint64(len(p.all)) {
			p.mu.Unlock()
			return fmt.Errorf("read: %w", stream.ErrShort)
		}
		batch := p.all[after:min(uint64(len(p.all)), after+uint64(limits.Max))]
		p.mu.Unlock()
		if len(batch) > 0 {
			after += uint64(len(batch))
			if err := deliver(batch); err != nil {
				return err
			}
			continue
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-grown:
		}
	}
}

func (p *tape) put(m stream.Message) {
	p.mu.Lock()
	defer p.mu.Unlock()
	m.Seq, m.Recorded = uint64(len(p.all)+1), start.Add(time.Duration(len(p.all))*time.Minute)
	p.all = append(p.all, m)
	close(p.grown)
	p.grown = make(chan struct{})
}

// told gathers notices and fails as it is told to.
type told struct {
	mu   sync.Mutex
	list []notify.Notice
	fail []error // for each call: nil; errLost: not told; errUnsure: told, and yet an error
	stop func()  // called once after the next notice
}

var errLost, errUnsure = errors.New("not told"), errors.New("told, and not known to be")

func (o *told) Tell(ctx context.Context, n notify.Notice) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	var err error
	if len(o.fail) > 0 {
		err, o.fail = o.fail[0], o.fail[1:]
	}
	if err != errLost {
		o.list = append(o.list, n)
	}
	if o.stop != nil {
		o.stop()
		o.stop = nil
		return ctx.Err()
	}
	return err
}

func (o *told) notices() []notify.Notice {
	o.mu.Lock()
	defer o.mu.Unlock()
	return slices.Clone(o.list)
}

func (o *told) ids() (ids []string) {
	for _, n := range o.notices() {
		ids = append(ids, n.State+" "+n.Alert)
	}
	return ids
}

func word(t *testing.T, key ed25519.PrivateKey, device string, wall string, kind events.Kind, data events.Data) stream.Message {
	e := events.Event{ID: "id-" + string(kind) + fmt.Sprint(time.Now().UnixNano()), Source: events.Source{Site: "mill", Device: device}, Kind: kind, Wall: wall, Time: start, Data: data}
	require.NoError(t, e.Check())
	body, err := e.Encode()
	require.NoError(t, err)
	m := stream.Message{Subject: e.Subject(), Body: body}
	if key != nil {
		m.Signature = stream.Sign(key, body)
	}
	return m
}

func raised(t *testing.T, id string) stream.Message {
	return word(t, hubKey, "hub", "north", "alert.raised", raisedData(id))
}

func raisedData(id string) *events.AlertRaised {
	return &events.AlertRaised{Alert: id, Kind: "load-old", Cause: "load 7", Priority: "high", Since: start, Text: "Load 7 is old.", Rules: "rules-1"}
}

func cleared(t *testing.T, id string) stream.Message {
	return word(t, hubKey, "hub", "", "alert.cleared", &events.AlertCleared{Alert: id, Kind: "load-old", Cause: "load 7", At: start, Rules: "rules-1"})
}

func reading(t *testing.T) stream.Message {
	return word(t, nil, "phone-1", "north", "pour.started", &events.Moment{At: start})
}

// running is a notifier at work.
type running struct {
	t      *testing.T
	n      *notify.Notifier
	cancel context.CancelFunc
	ended  chan error
}

func begin(t *testing.T, path string, p *tape, o *told) *running {
	n, err := notify.Open(context.Background(), notify.Config{Path: path, Stream: p, Key: hub, Teller: o})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	r := &running{t, n, cancel, make(chan error, 1)}
	go func() { r.ended <- n.Run(ctx) }()
	synctest.Wait()
	return r
}

func (r *running) end() {
	r.cancel()
	require.NoError(r.t, <-r.ended)
	require.NoError(r.t, r.n.Close())
}

func bubble(t *testing.T, f func(t *testing.T, path string, p *tape, o *told)) {
	path := filepath.Join(t.TempDir(), "told.db")
	synctest.Test(t, func(t *testing.T) { f(t, path, newTape(), &told{}) })
}

func TestWhatWasRecordedBeforeTheSwitchingOnIsNeverTold(t *testing.T) {
	bubble(t, func(t *testing.T, path string, p *tape, o *told) {
		p.put(raised(t, "old"))
		r := begin(t, path, p, o)
		defer r.end()
		require.Empty(t, o.ids())
		p.put(raised(t, "new"))
		p.put(cleared(t, "old"))
		synctest.Wait()
		require.Equal(t, []string{"raised new", "cleared old"}, o.ids())
	})
}

func TestANoticeSaysWhatTheAlertSays(t *testing.T) {
	bubble(t, func(t *testing.T, path string, p *tape, o *told) {
		r := begin(t, path, p, o)
		defer r.end()
		p.put(raised(t, "a"))
		p.put(cleared(t, "a"))
		synctest.Wait()
		require.Equal(t, []notify.Notice{
			{State: notify.Raised, Alert: "a", Kind: "load-old", Cause: "load 7", Site: "mill", Wall: "north", Priority: "high", Since: start, Text: "Load 7 is old.", Seq: 1, Recorded: start},
			{State: notify.Cleared, Alert: "a", Kind: "load-old", Cause: "load 7", Site: "mill", At: start, Seq: 2, Recorded: start.Add(time.Minute)},
		}, o.notices())
		require.Equal(t, "alert.mill.north", o.notices()[0].Subject())
		require.Equal(t, "alert.mill._", o.notices()[1].Subject())
	})
}

func TestARestartTellsNothingTwiceAndLosesNothing(t *testing.T) {
	bubble(t, func(t *testing.T, path string, p *tape, o *told) {
		var want []string
		for i := range 6 {
			r := begin(t, path, p, o)
			id := fmt.Sprint("running-", i)
			p.put(raised(t, id))
			p.put(reading(t))
			synctest.Wait()
			r.end()
			p.put(raised(t, fmt.Sprint("stopped-", i)))
			want = append(want, "raised "+id, "raised stopped-"+fmt.Sprint(i))
		}
		r := begin(t, path, p, o)
		defer r.end()
		require.Equal(t, want, o.ids())
	})
}

// The record is rebuilt, or the whole stream is read again: the notifier's place
// is its own.
func TestAReplayTellsNothing(t *testing.T) {
	bubble(t, func(t *testing.T, path string, p *tape, o *told) {
		r := begin(t, path, p, o)
		for i := range 10 {
			p.put(raised(t, fmt.Sprint(i)))
		}
		synctest.Wait()
		r.end()
		require.Len(t, o.ids(), 10)
		again := &told{}
		r = begin(t, path, p, again)
		require.Empty(t, again.ids())
		r.end()
		r = begin(t, path+".lost", p, again)
		require.Empty(t, again.ids(), "a new file is a new switching on")
		r.end()
	})
}

func TestOnlyTheHubsOwnWordsAreTold(t *testing.T) {
	bubble(t, func(t *testing.T, path string, p *tape, o *told) {
		r := begin(t, path, p, o)
		defer r.end()
		p.put(word(t, nil, "hub", "north", "alert.raised", raisedData("unsigned")))
		p.put(word(t, otherBy, "hub", "north", "alert.raised", raisedData("other key")))
		p.put(word(t, hubKey, "phone-1", "north", "alert.raised", raisedData("other device")))
		moved := raised(t, "moved")
		moved.Subject = "pour.mill.south.alert.raised"
		p.put(moved)
		changed := raised(t, "changed")
		changed.Body = append(changed.Body, ' ')
		p.put(changed)
		p.put(stream.Message{Subject: "pour.mill.north.alert.raised", Body: []byte("{"), Signature: stream.Sign(hubKey, []byte("{"))})
		p.put(stream.Message{Subject: "pour.nonsense"})
		p.put(reading(t))
		p.put(raised(t, "good"))
		synctest.Wait()
		require.Equal(t, []string{"raised good"}, o.ids())
	})
}

func TestTheSameAlertOfTwoHubsIsToldOnce(t *testing.T) {
	bubble(t, func(t *testing.T, path string, p *tape, o *told) {
		r := begin(t, path, p, o)
		p.put(raised(t, "a"))
		p.put(raised(t, "a"))
		synctest.Wait()
		r.end()
		p.put(raised(t, "a"))
		p.put(cleared(t, "a"))
		p.put(cleared(t, "a"))
		r = begin(t, path, p, o)
		defer r.end()
		require.Equal(t, []string{"raised a", "cleared a"}, o.ids())
	})
}

func TestTellingIsTriedAgainInOrder(t *testing.T) {
	bubble(t, func(t *testing.T, path string, p *tape, o *told) {
		o.fail = []error{errLost, errLost, errUnsure, nil, errLost}
		r := begin(t, path, p, o)
		defer r.end()
		p.put(raised(t, "a"))
		p.put(raised(t, "b"))
		time.Sleep(time.Minute)
		synctest.Wait()
		require.Equal(t, []string{"raised a", "raised a", "raised b"}, o.ids(), "what may not have been told is told again, with its id")
	})
}

// The process stops when an alert is out and the place is not yet moved.
func TestAStopBetweenTellingAndNotingLosesNothing(t *testing.T) {
	bubble(t, func(t *testing.T, path string, p *tape, o *told) {
		r := begin(t, path, p, o)
		o.mu.Lock()
		o.stop = r.cancel
		o.mu.Unlock()
		p.put(raised(t, "a"))
		p.put(raised(t, "b"))
		synctest.Wait()
		r.end()
		require.Equal(t, []string{"raised a"}, o.ids())
		r = begin(t, path, p, o)
		defer r.end()
		require.Equal(t, []string{"raised a", "raised a", "raised b"}, o.ids())
	})
}

func TestThePlaceMovesOnWithoutAlerts(t *testing.T) {
	bubble(t, func(t *testing.T, path string, p *tape, o *told) {
		r := begin(t, path, p, o)
		for range 25 {
			p.put(reading(t))
		}
		synctest.Wait()
		r.end()
		begin(t, path, p, o).end()
		require.Equal(t, []uint64{0, 25}, p.from)
	})
}

func TestAShortStreamIsWaitedForInSilence(t *testing.T) {
	bubble(t, func(t *testing.T, path string, p *tape, o *told) {
		for range 4 {
			p.put(reading(t))
		}
		begin(t, path, p, o).end()
		whole := p.all
		p.all = p.all[:2]
		r := begin(t, path, p, o)
		defer r.end()
		time.Sleep(time.Minute)
		p.mu.Lock()
		p.all = whole
		p.mu.Unlock()
		p.put(raised(t, "a"))
		time.Sleep(time.Minute)
		synctest.Wait()
		require.Equal(t, []string{"raised a"}, o.ids())
	})
}

func TestANotifierTellsWhatItLacks(t *testing.T) {
	p, o, path := newTape(), &told{}, filepath.Join(t.TempDir(), "told.db")
	for want, c := range map[string]notify.Config{
		"notify config: Path is empty":                                    {Stream: p, Key: hub, Teller: o},
		"notify config: Stream is missing":                                {Path: path, Key: hub, Teller: o},
		"notify config: Key has 0 bytes, allowed 32":                      {Path: path, Stream: p, Teller: o},
		"notify config: Teller is missing":                                {Path: path, Stream: p, Key: hub},
		"open /dev/null/told.db: open /dev/null/told.db: not a directory": {Path: "/dev/null/told.db", Stream: p, Key: hub, Teller: o},
	} {
		_, err := notify.Open(context.Background(), c)
		require.EqualError(t, err, want)
	}
	require.NoError(t, os.WriteFile(path, []byte("this is no store at all, only a text that is long enough to be looked at"), 0o600))
	_, err := notify.Open(context.Background(), notify.Config{Path: path, Stream: p, Key: hub, Teller: o})
	require.ErrorContains(t, err, "open "+path)
}

func TestTheFileIsLocked(t *testing.T) {
	c := notify.Config{Path: filepath.Join(t.TempDir(), "told.db"), Stream: newTape(), Key: hub, Teller: &told{}}
	n, err := notify.Open(context.Background(), c)
	require.NoError(t, err)
	_, err = notify.Open(context.Background(), c)
	require.ErrorContains(t, err, "open "+c.Path+": timeout")
	require.NoError(t, n.Close())
}
