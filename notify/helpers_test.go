package notify_test

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
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
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/scheduler"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		fmt.Fprintln(os.Stderr, runChild(dir))
		os.Exit(1)
	}
	goleak.VerifyTestMain(m)
}

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
	grown chan struct{} // closed when all grows, or the stream goes
	from  []uint64      // where each Read began
	away  bool
}

var errAway = errors.New("no stream")

func newTape() *tape { return &tape{grown: make(chan struct{})} }

func (p *tape) Head(context.Context) (first, last uint64, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.away {
		return 0, 0, errAway
	}
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
		if p.away || after > uint64(len(p.all)) {
			away := p.away
			p.mu.Unlock()
			if away {
				return errAway
			}
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

func (p *tape) put(list ...stream.Message) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, m := range list {
		m.Seq, m.Recorded = uint64(len(p.all)+1), time.Now().UTC()
		p.all = append(p.all, m)
	}
	close(p.grown)
	p.grown = make(chan struct{})
}

func (p *tape) goAway(away bool) {
	p.mu.Lock()
	p.away = away
	p.mu.Unlock()
	p.put()
}

// Say is the hub's voice on the tape.
func (p *tape) Say(_ context.Context, e events.Event) error {
	p.mu.Lock()
	away := p.away
	p.mu.Unlock()
	if away {
		return errAway
	}
	p.put(sealed(hubKey, e))
	return nil
}

// said lists the words on what came of telling, each id once, and fails if one
// id has two bodies.
func (p *tape) said(t *testing.T) (words []*events.AlertTold) {
	t.Helper()
	bodies := map[string]string{}
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, m := range p.all {
		e, err := events.Decode(m.Subject, m.Body)
		if err != nil {
			continue
		}
		w, ok := e.Data.(*events.AlertTold)
		if !ok {
			continue
		}
		require.True(t, stream.Verify(hub, m.Signature, m.Body))
		if body, ok := bodies[e.ID]; ok {
			require.Equal(t, body, string(m.Body), "one id, two bodies")
			continue
		}
		bodies[e.ID] = string(m.Body)
		words = append(words, w)
	}
	return words
}

func sealed(key ed25519.PrivateKey, e events.Event) stream.Message {
	body, err := e.Encode()
	if err != nil {
		panic(err)
	}
	m := stream.Message{Subject: e.Subject(), Body: body}
	if key != nil {
		m.Signature = stream.Sign(key, body)
	}
	return m
}

var ids struct {
	sync.Mutex
	last int
}

func eventBy(t *testing.T, device, by, wall string, kind events.Kind, data events.Data) events.Event {
	t.Helper()
	ids.Lock()
	ids.last++
	id := fmt.Sprint("id-", ids.last)
	ids.Unlock()
	e := events.Event{ID: id, Source: events.Source{Site: "mill", Device: device}, Kind: kind, Wall: wall, By: by, Time: start, Data: data}
	require.NoError(t, e.Check())
	return e
}

func word(t *testing.T, key ed25519.PrivateKey, device, wall string, kind events.Kind, data events.Data) stream.Message {
	t.Helper()
	return sealed(key, eventBy(t, device, "", wall, kind, data))
}

func raisedData(id, priority string) *events.AlertRaised {
	return &events.AlertRaised{Alert: id, Kind: "load-old", Cause: "load " + id, Priority: priority, Since: start, Text: "Load " + id + " is old.", Rules: "rules-1"}
}

func raisedEvent(t *testing.T, id, priority string) events.Event {
	t.Helper()
	return eventBy(t, "hub", "", "north", "alert.raised", raisedData(id, priority))
}

func raised(t *testing.T, id string) stream.Message {
	t.Helper()
	return sealed(hubKey, raisedEvent(t, id, "urgent"))
}

func cleared(t *testing.T, id string) stream.Message {
	t.Helper()
	return word(t, hubKey, "hub", "north", "alert.cleared", &events.AlertCleared{Alert: id, Kind: "load-old", Cause: "load " + id, At: start, Rules: "rules-1"})
}

func acknowledged(t *testing.T, key ed25519.PrivateKey, device, by, id, kind string) stream.Message {
	t.Helper()
	return sealed(key, eventBy(t, device, by, "north", "alert.acknowledged", &events.AlertAcknowledged{Alert: id, Kind: kind, At: start}))
}

func reading(t *testing.T) stream.Message {
	t.Helper()
	return word(t, nil, "phone-1", "north", "pour.started", &events.Moment{At: start})
}

// rig is an engine with what is around it.
type rig struct {
	t      *testing.T
	tape   *tape
	shelf  *shelf
	mail   *carrier
	ear    *listener
	cfg    notify.Config
	e      *notify.Engine
	cancel context.CancelFunc
	ended  chan error
}

// bubble runs a test in a bubble, on a ledger of its own.
func bubble(t *testing.T, f func(t *testing.T, r *rig)) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "keep.db")
	synctest.Test(t, func(t *testing.T) {
		r := &rig{t: t, tape: newTape(), shelf: newShelf(t, path), mail: newCarrier("mail"), ear: &listener{}}
		r.cfg = r.config(scheduler.NewReal(nil))
		defer func() { require.NoError(t, r.stop()) }()
		f(t, r)
	})
}

func (r *rig) config(clock notify.Clock) notify.Config {
	return notify.Config{
		Stream: r.tape, Ledger: r.shelf, Key: hub, Clock: clock, Directory: directory{}, Compose: plain{}, Teller: r.ear, Voice: r.tape,
		Rota: func() desk.Rota { return rota{[]string{"mail"}} }, Channels: []notice.Channel{r.mail},
		Log: slog.New(slog.NewTextHandler(r.t.Output(), nil)),
	}
}

func (r *rig) begin() {
	r.t.Helper()
	r.cfg.Ledger = r.shelf
	e, err := notify.Open(context.Background(), r.cfg)
	require.NoError(r.t, err)
	r.run(e)
}

func (r *rig) run(e *notify.Engine) {
	ctx, cancel := context.WithCancel(context.Background())
	r.e, r.cancel, r.ended = e, cancel, make(chan error, 1)
	go func() { r.ended <- e.Run(ctx) }()
	synctest.Wait()
}

// stop ends the engine and returns Run's error.
func (r *rig) stop() error {
	r.t.Helper()
	if r.e == nil {
		return nil
	}
	r.cancel()
	err := <-r.ended
	require.NoError(r.t, r.e.Close())
	r.e = nil
	return err
}

func (r *rig) end() {
	r.t.Helper()
	require.NoError(r.t, r.stop())
}

func (r *rig) put(list ...stream.Message) {
	r.tape.put(list...)
	synctest.Wait()
}

func wait(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

// outcomes lists what the stream says of telling: outcome, person, text.
func (r *rig) outcomes() (list []string) {
	r.t.Helper()
	for _, w := range r.tape.said(r.t) {
		list = append(list, w.Outcome+" "+w.Person+": "+w.Text)
	}
	return list
}

func states(t *testing.T, e *notify.Engine, f notify.Filter) (list []string) {
	t.Helper()
	all, err := e.List(f)
	require.NoError(t, err)
	for _, l := range all {
		list = append(list, l.State+" "+l.Person)
	}
	slices.Sort(list)
	return list
}
