package scheduler_test

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// fakeHub stands for stream and projector: it keeps what is published, folds
// the hub's words with the real fold, and lets the test say what ought to be
// said. It is a Record, a Voice and a Header.
type fakeHub struct {
	t     require.TestingT
	clock *scheduler.Stepped

	mu       sync.Mutex
	stream   []stored
	folded   int
	holdBack bool // nothing is folded until fold is called
	walls    map[scheduler.Ref]*wall.State
	sites    map[string]*site.State
	ought    map[scheduler.Ref]func(time.Time) scheduler.Assessment
	refs     map[string][]scheduler.Ref // what Refs answers, made when len(ought) was listed
	listed   int
	begun    time.Time
	zone     *time.Location
	minute   int
	gaps     map[string]string
	permit   bool
	braced   time.Time
	hub      scheduler.Hub // as it was last shown to an assessment
	looked   map[scheduler.Ref]int
	subs     map[chan scheduler.Change]struct{}
	bodies   map[string][]byte
	behind   bool // not level
	away     bool // the stream does not answer
	short    bool
	holes    []scheduler.Hole
	offsets  []scheduler.Offset
	failures []failure
	tries    int
	wrong    []string // seen in the loop's goroutine, where a test cannot fail
}

// stored is one message of the fake stream; without an event it is somebody
// else's word about refs.
type stored struct {
	event    *events.Event
	repeated bool
	refs     []scheduler.Ref
	sites    []string
	recorded time.Time
}

// failure is how a publication fails.
type failure int

const (
	notStored failure = iota + 1
	storedUnanswered
	halfStored
)

var errPublish = errors.New("no answer from the stream")

func newFakeHub(t require.TestingT, start time.Time) *fakeHub {
	return &fakeHub{
		t: t, clock: scheduler.NewStepped(start), walls: map[scheduler.Ref]*wall.State{}, sites: map[string]*site.State{},
		ought: map[scheduler.Ref]func(time.Time) scheduler.Assessment{}, begun: start, zone: time.UTC, minute: 6 * 60,
		gaps: map[string]string{}, looked: map[scheduler.Ref]int{}, subs: map[chan scheduler.Change]struct{}{}, bodies: map[string][]byte{},
	}
}

func (h *fakeHub) lock() func() { h.mu.Lock(); return h.mu.Unlock }

// ask sets what ought to be said of a wall or a site and tells the record.
func (h *fakeHub) ask(ref scheduler.Ref, f func(time.Time) scheduler.Assessment) {
	defer h.lock()()
	h.ought[ref] = f
	if ref.Wall == "" {
		h.append(stored{sites: []string{ref.Site}})
	} else {
		h.append(stored{refs: []scheduler.Ref{ref}})
	}
}

// askAlways is ask for an answer that does not change with time.
func (h *fakeHub) askAlways(ref scheduler.Ref, a scheduler.Assessment) {
	h.ask(ref, func(time.Time) scheduler.Assessment { return a })
}

// append stores one message; h.mu is held.
func (h *fakeHub) append(m stored) uint64 {
	m.recorded = h.clock.Now().Truncate(time.Millisecond)
	h.stream = append(h.stream, m)
	if !h.holdBack {
		h.foldAll()
	}
	return uint64(len(h.stream))
}

func (h *fakeHub) fold() {
	defer h.lock()()
	h.holdBack = false
	h.foldAll()
}

// foldAll folds what is stored and tells the subscribers; h.mu is held.
func (h *fakeHub) foldAll() {
	var c scheduler.Change
	for ; h.folded < len(h.stream); h.folded++ {
		m := h.stream[h.folded]
		c.Walls, c.Sites = append(c.Walls, m.refs...), append(c.Sites, m.sites...)
		if m.event == nil {
			continue
		}
		e := *m.event
		f := wall.Fact{Event: e, Seq: uint64(h.folded + 1), Recorded: m.recorded, Trusted: true}
		if e.Wall == "" {
			c.Sites = append(c.Sites, e.Source.Site)
			if !m.repeated {
				h.siteState(e.Source.Site).Add(f)
			}
			continue
		}
		ref := scheduler.Ref{Site: e.Source.Site, Wall: e.Wall}
		c.Walls = append(c.Walls, ref)
		if !m.repeated {
			h.wallState(ref).Add(f)
		}
	}
	c.Through = uint64(h.folded)
	if len(c.Walls)+len(c.Sites) == 0 {
		return // as the projector does: of nobody, to nobody
	}
	for s := range h.subs {
		select {
		case s <- c:
		default:
			delete(h.subs, s)
			close(s)
		}
	}
}

func (h *fakeHub) wallState(ref scheduler.Ref) *wall.State {
	if h.walls[ref] == nil {
		h.walls[ref] = wall.New(ref.Site, ref.Wall)
	}
	return h.walls[ref]
}

func (h *fakeHub) siteState(name string) *site.State {
	if h.sites[name] == nil {
		h.sites[name] = site.New(name)
	}
	return h.sites[name]
}

// Say implements Voice.
func (h *fakeHub) Say(_ context.Context, words []events.Event) (uint64, error) {
	defer h.lock()()
	h.tries++
	if h.away {
		return 0, errPublish
	}
	fails := failure(0)
	if len(h.failures) > 0 {
		fails, h.failures = h.failures[0], h.failures[1:]
	}
	if fails == notStored {
		return 0, errPublish
	}
	var last uint64
	for i, e := range words {
		if fails == halfStored && i == (len(words)+1)/2 {
			return last, errPublish
		}
		last = h.keep(e)
	}
	if fails != 0 {
		return 0, errPublish
	}
	return last, nil
}

// keep stores one word. One id stands for ever for the same bytes.
func (h *fakeHub) keep(e events.Event) uint64 {
	body, err := e.Encode()
	old, repeated := h.bodies[e.ID]
	switch {
	case err != nil || e.Check() != nil || e.Source.Device != scheduler.HubDevice:
		h.wrong = append(h.wrong, fmt.Sprintf("not a word of the hub: %+v", e))
	case repeated && !bytes.Equal(old, body):
		h.wrong = append(h.wrong, fmt.Sprintf("one id, two bodies:\n%s\n%s", old, body))
	}
	h.bodies[e.ID] = body
	return h.append(stored{event: &e, repeated: repeated})
}

// Head implements Header.
func (h *fakeHub) Head(context.Context) (first, last uint64, err error) {
	defer h.lock()()
	if h.away {
		return 0, 0, errPublish
	}
	return min(1, uint64(len(h.stream))), uint64(len(h.stream)), nil
}

// Subscribe implements Record.
func (h *fakeHub) Subscribe() (<-chan scheduler.Change, func()) {
	defer h.lock()()
	c := make(chan scheduler.Change, 64)
	h.subs[c] = struct{}{}
	return c, func() {
		defer h.lock()()
		if _, ok := h.subs[c]; ok {
			delete(h.subs, c)
			close(c)
		}
	}
}

// Read implements Record.
func (h *fakeHub) Read(show func(scheduler.Page) error) error {
	defer h.lock()()
	return show(fakePage{h})
}

type fakePage struct{ h *fakeHub }

func (p fakePage) Status() scheduler.Status {
	st := scheduler.Status{
		Through: uint64(p.h.folded), Level: !p.h.behind, Short: p.h.short, Holes: p.h.holes,
		Offsets: func() []scheduler.Offset { return p.h.offsets },
	}
	if p.h.folded > 0 {
		st.Recorded = p.h.stream[p.h.folded-1].recorded
	}
	return st
}

func (p fakePage) Refs(site string) []scheduler.Ref {
	h := p.h
	if h.listed != len(h.ought) {
		h.refs, h.listed = map[string][]scheduler.Ref{}, len(h.ought)
		for r := range h.ought {
			h.refs[r.Site], h.refs[""] = append(h.refs[r.Site], r), append(h.refs[""], r)
		}
		for _, list := range h.refs {
			slices.SortFunc(list, func(a, b scheduler.Ref) int { return cmp.Or(cmp.Compare(a.Site, b.Site), cmp.Compare(a.Wall, b.Wall)) })
		}
	}
	return h.refs[site]
}

func (p fakePage) Look(ref scheduler.Ref) scheduler.Folded {
	h := p.h
	f := scheduler.Folded{Zone: h.zone}
	if ought := h.ought[ref]; ought != nil {
		f.Assess = func(hub scheduler.Hub, now time.Time) scheduler.Assessment {
			h.looked[ref]++
			h.hub = hub
			a := ought(now)
			a.Site, a.Wall, a.At = ref.Site, ref.Wall, now
			return a
		}
	}
	if ref.Wall == "" {
		s := h.siteState(ref.Site)
		f.Alarms, f.Sheets, f.SheetMinute, f.Gaps = s.Alarms(), s.Sheets(), h.minute, h.gaps[ref.Site]
		return f
	}
	w := h.wallState(ref)
	f.Alarms = w.Alarms()
	f.Said, f.HasSaid = w.Said()
	f.Permitted = func(time.Time) bool { return h.permit }
	f.Begun = func() time.Time { return h.begun }
	f.Braced = func(time.Time) time.Time { return h.braced }
	f.Digest = func() [32]byte { return sha256.Sum256([]byte(ref.String())) }
	return f
}

// words lists what the hub said and the stream holds, repeated messages left out.
func (h *fakeHub) words() (out []events.Event) {
	defer h.lock()()
	for _, m := range h.stream {
		if m.event != nil && !m.repeated {
			out = append(out, *m.event)
		}
	}
	return out
}

func (h *fakeHub) looks() map[scheduler.Ref]int {
	defer h.lock()()
	return maps.Clone(h.looked)
}

func (h *fakeHub) set(do func()) {
	defer h.lock()()
	do()
}

func dataOf[D any](words []events.Event) (out []D) {
	for _, e := range words {
		if d, ok := e.Data.(D); ok {
			out = append(out, d)
		}
	}
	return out
}

func (h *fakeHub) statements() []*events.WindowStated { return dataOf[*events.WindowStated](h.words()) }
func (h *fakeHub) raised() []*events.AlertRaised      { return dataOf[*events.AlertRaised](h.words()) }
func (h *fakeHub) cleared() []*events.AlertCleared    { return dataOf[*events.AlertCleared](h.words()) }
func (h *fakeHub) sheets() []*events.SheetIssued      { return h.sheetsOf(events.MorningSheet) }

func (h *fakeHub) sheetsOf(sheet string) []*events.SheetIssued {
	return slices.DeleteFunc(dataOf[*events.SheetIssued](h.words()), func(d *events.SheetIssued) bool { return d.Name() != sheet })
}

// running is a loop at work.
type running struct {
	*scheduler.Loop
	h      *fakeHub
	cancel context.CancelFunc
	ended  chan error
}

// begin starts a loop over the fake.
func (h *fakeHub) begin() *running { return h.beginAs(scheduler.Config{}) }

func (h *fakeHub) beginAs(c scheduler.Config) *running {
	if c.Record == nil {
		c.Record = h
	}
	if c.Voice == nil {
		c.Voice = h
	}
	if c.Clock == nil {
		c.Clock = h.clock
	}
	if c.Synchronised == nil {
		c.Synchronised = func() bool { return true }
	}
	if t, ok := h.t.(*testing.T); ok {
		c.Log = slog.New(slog.NewTextHandler(testLog{t}, &slog.HandlerOptions{Level: slog.LevelWarn}))
	}
	c.Stream = h
	l, err := scheduler.NewLoop(c)
	require.NoError(h.t, err)
	ctx, cancel := context.WithCancel(context.Background())
	r := &running{Loop: l, h: h, cancel: cancel, ended: make(chan error, 1)}
	go func() { r.ended <- l.Run(ctx) }()
	return r
}

// settle waits until there is nothing more to do at the present clock.
func (r *running) settle() {
	require.NoError(r.h.t, r.Settle(context.Background()))
}

// step lets time pass and settles.
func (r *running) step(d time.Duration) {
	r.h.clock.Step(d)
	r.settle()
}

func (r *running) end() {
	r.cancel()
	require.NoError(r.h.t, <-r.ended)
	r.h.set(func() { require.Empty(r.h.t, r.h.wrong) })
}

type testLog struct{ t *testing.T }

func (l testLog) Write(b []byte) (int, error) {
	l.t.Log(string(bytes.TrimSpace(b)))
	return len(b), nil
}
