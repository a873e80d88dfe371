package scheduler

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"earlyage/events"
)

const (
	// chunk is how many walls are assessed under one look at the record, so that
	// the record is never held for long.
	chunk = 256
	// mostSteps bounds how many due moments of one wall are gone through one by
	// one when the loop comes late; after that it looks at the present at once.
	mostSteps = 100
	// retryAfter is how soon a loop that cannot speak looks again, by the
	// machine's own time: it waits for the stream, not for the site's clock.
	// It doubles with each failed publication, up to longestPause.
	retryAfter   = 100 * time.Millisecond
	longestPause = 10 * time.Second
	// sayWithin is how long one publication may take.
	sayWithin = 15 * time.Second
	// sayAgainAfter is how long the same words are held back that were stored and
	// yet did not come back from the record: it refused them.
	sayAgainAfter = time.Minute
	// handedFor is how long it is remembered which alerts were handed to Unsaid.
	handedFor = 7 * 24 * time.Hour
	// offsetsEvery is how often the devices' clocks are looked through.
	offsetsEvery = 10 * time.Second
)

// ErrStopped is returned by Settle when the loop has stopped.
var ErrStopped = errors.New("scheduler has stopped")

// A Header says how far the stream is.
type Header interface {
	// Head returns the first and the last sequence of the stream.
	Head(ctx context.Context) (first, last uint64, err error)
}

// Config wires a Loop.
type Config struct {
	Record Record
	Voice  Voice
	Stream Header
	Clock  Clock        // nil: the machine's
	Log    *slog.Logger // nil: none

	// Synchronised says whether a time server keeps the hub's clock; nil: not
	// known, then only the devices' clocks confirm it. See MachineSynchronised.
	Synchronised func() bool

	// Beside gives the alerts that ought to stand on a site for a reason outside
	// the record; nil: none. They are raised and cleared like the site's own. What
	// it gives changed: see Poke. It is called while the record is read, so it
	// does not wait and does not ask the record.
	Beside func(site string) []Alert
	// Unsaid takes alerts that cannot be published now: a publication was not
	// acknowledged, the stream does not answer, or it is shorter than the record.
	// Each alert is handed on once. It may be in the stream all the same, and is
	// said there as soon as that can be, under the same alert id, also if its
	// condition is over by then. What is never said there is that the stream is short,
	// and an alert whose place another word has taken: their end is handed on as well.
	// The words are not signed. Nil: nobody is told. It is called by Run's goroutine
	// with nothing locked, and the loop waits for it.
	Unsaid func([]events.Event)
	// Handed gives the alerts that Unsaid took before the start and of which nothing
	// was heard since: not in the stream, and not over. Nil: none. It is called once,
	// when Run begins.
	Handed func() []events.Event
}

// Loop says what the assessments of all walls ask for: statements, alerts, the
// morning sheets. It guarantees:
//
// It sleeps until the earliest moment at which time alone changes an answer, or
// until the record changes, and looks only at the walls concerned. Due moments
// are instants, compared with the wall clock at start and at least once a
// second, so that a clock that jumps loses none.
//
// What was said is known from the folded record alone. After a publication the
// loop waits until the record has folded it. While the record is not level with
// the stream, or the stream is shorter than the record, it says nothing.
//
// An assessment for publication is made for a moment that the record and the
// due moments give, not for whenever this process came to it, so that two hubs
// with the same record say the same bytes.
type Loop struct {
	cfg     Config
	inbox   *inbox
	asks    chan ask
	stopped chan struct{}
	hub     atomic.Pointer[Hub]
	stats   atomic.Pointer[Stats]

	// What follows belongs to Run's goroutine.
	guard      Guard
	offsets    []Offset
	offsetsAt  time.Duration // by the steady clock; 0: never
	doubtSince time.Time     // when the hub's clock came into doubt; zero: it is not
	queue      dueQueue
	marks      map[Ref]bool // to be looked at; true: for the present moment, not the record's
	last       map[Ref]time.Time
	gone       map[Ref]map[alarmKey]time.Time
	gaps       map[string]string
	recent     map[string]time.Duration // what was said (see heldBy), by the steady clock
	handed     map[string]time.Duration // alerts that Unsaid got, by id; when, by the steady clock
	heard      uint64                   // everything up to it has been marked
	subscribed bool                     // the record tells what changes, and everything was marked after that began
	whole      uint64                   // where the record stood when everything was marked
	through    uint64
	echo       uint64        // nothing is said before the record has come so far
	unsure     bool          // a publication failed and how far the stream is is not known
	notBefore  time.Time     // by the machine's own time: no publication is tried again before it
	pause      time.Duration // how long the next such wait is
	blocked    bool
	short      bool
	level      bool                          // the record was level when last looked
	wasLevel   bool                          // and at some time since the start
	away       bool                          // the stream did not answer when last asked
	askedAt    time.Time                     // when it was last asked because the record is not level, by the machine's own time
	peeked     map[Ref]time.Time             // looked at while the stream is away: when to look again; zero: not by itself
	fallen     *events.AlertRaised           // what was handed on of a short stream; nil: it is not short
	falls      int                           // how often it became short
	mending    bool                          // it is whole again
	mendedAt   time.Duration                 // since when, by the steady clock
	owing      map[Ref][]*events.AlertRaised // handed to Unsaid, and not known to be in the stream
	lapsed     []events.Event                // ends of such as can never be said
	count      Stats
	asked      []ask
}

// Stats counts what the loop did since it started.
type Stats struct {
	Assessed uint64
	Said     uint64
	Failed   uint64    // publications that failed
	Unsaid   uint64    // alerts handed to Config.Unsaid
	Walls    int       // walls and sites with a next moment
	NextDue  time.Time // zero: none
	Silent   bool      // it cannot speak now: the record is not level, or the stream is short
}

type ask struct {
	head uint64
	done chan struct{}
}

// NewLoop returns a loop that has not begun.
func NewLoop(c Config) (*Loop, error) {
	switch {
	case c.Record == nil:
		return nil, errors.New("scheduler config: Record is missing")
	case c.Voice == nil:
		return nil, errors.New("scheduler config: Voice is missing")
	case c.Stream == nil:
		return nil, errors.New("scheduler config: Stream is missing")
	}
	c = c.filled()
	l := &Loop{
		cfg: c, inbox: newInbox(), asks: make(chan ask), stopped: make(chan struct{}),
		queue: dueQueue{place: map[Ref]int{}}, marks: map[Ref]bool{}, last: map[Ref]time.Time{},
		gone: map[Ref]map[alarmKey]time.Time{}, gaps: map[string]string{}, recent: map[string]time.Duration{},
		handed: map[string]time.Duration{}, peeked: map[Ref]time.Time{}, owing: map[Ref][]*events.AlertRaised{},
	}
	l.hub.Store(&Hub{Doubts: l.guard.Doubts()})
	l.stats.Store(&Stats{Silent: true})
	return l, nil
}

// filled is the config with what may be left out.
func (c Config) filled() Config {
	if c.Clock == nil {
		c.Clock = NewReal(nil)
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Synchronised == nil {
		c.Synchronised = func() bool { return false }
	}
	if c.Beside == nil {
		c.Beside = func(string) []Alert { return nil }
	}
	if c.Unsaid == nil {
		c.Unsaid = func([]events.Event) {}
	}
	if c.Handed == nil {
		c.Handed = func() []events.Event { return nil }
	}
	return c
}

// Hub returns what now shuts every window. It is safe for concurrent use.
func (l *Loop) Hub() Hub { return *l.hub.Load() }

// Stats returns the counts. It is safe for concurrent use.
func (l *Loop) Stats() Stats { return *l.stats.Load() }

// Poke makes the loop look at a site again now, for the present moment: what
// Beside says of it changed. It is safe for concurrent use, and returns at once.
func (l *Loop) Poke(site string) { l.inbox.poke(site) }

// Run works until ctx ends; then it returns nil and leaves no goroutine behind.
// It may be called once. An error means that the record cannot be read.
func (l *Loop) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	var listening sync.WaitGroup
	listening.Go(func() { l.inbox.run(ctx, l.cfg.Record) })
	defer listening.Wait()
	defer cancel()
	defer close(l.stopped)
	l.recall()
	for {
		if err := l.turn(ctx); err != nil {
			return err
		}
		l.publishStats()
		l.answer()
		if !l.sleep(ctx) {
			return nil
		}
	}
}

// Settle returns when everything that was published before the call, and what
// the loop said to it, is folded and assessed, and nothing is due at the present
// clock. It is safe for concurrent use; it needs Run to be running.
func (l *Loop) Settle(ctx context.Context) error {
	_, head, err := l.cfg.Stream.Head(ctx)
	for err == nil {
		a := ask{head, make(chan struct{})}
		select {
		case l.asks <- a:
		case <-l.stopped:
			return ErrStopped
		case <-ctx.Done():
			return ctx.Err()
		}
		select {
		case <-a.done:
		case <-l.stopped:
			return ErrStopped
		case <-ctx.Done():
			return ctx.Err()
		}
		var now uint64
		if _, now, err = l.cfg.Stream.Head(ctx); err == nil && now == head {
			return nil
		}
		head = now
	}
	return fmt.Errorf("settle: %w", err)
}

// sleep waits for the next thing to do; false: the end.
func (l *Loop) sleep(ctx context.Context) bool {
	until := l.cfg.Clock.Now().Add(lookEvery)
	var retry <-chan time.Time
	if l.blocked {
		timer := time.NewTimer(max(retryAfter, time.Until(l.notBefore)))
		defer timer.Stop()
		retry = timer.C
	} else {
		until = earlier(until, l.queue.first())
	}
	select {
	case <-ctx.Done():
		return false
	case <-l.inbox.signal:
	case a := <-l.asks:
		l.asked = append(l.asked, a)
	case <-l.cfg.Clock.Until(until):
	case <-retry:
	}
	return true
}

// answer tells those who wait in Settle that all is done.
func (l *Loop) answer() {
	if l.blocked || l.busy() {
		return
	}
	l.asked = slices.DeleteFunc(l.asked, func(a ask) bool {
		settled := l.heard >= a.head
		if settled {
			close(a.done)
		}
		return settled
	})
	if len(l.asked) > 0 && l.through >= l.asked[0].head {
		// The record is there and has not said what changed. Either it is about to,
		// or the last messages are about no wall and no site.
		l.inbox.expect(l.through)
	}
}

func (l *Loop) busy() bool {
	first := l.queue.first()
	return len(l.marks) > 0 || !first.IsZero() && !first.After(l.cfg.Clock.Now())
}

func (l *Loop) publishStats() {
	s := l.count
	s.Walls, s.NextDue, s.Silent = l.queue.Len(), l.queue.first(), l.blocked
	l.stats.Store(&s)
}

// turn does all that can be done now.
func (l *Loop) turn(ctx context.Context) error {
	for ctx.Err() == nil {
		if l.unsure && !l.findHead(ctx) {
			return l.aside(ctx)
		}
		words, err := l.round()
		if err != nil {
			return err
		}
		l.tellShort()
		l.tellLapsed()
		if len(words) > 0 {
			l.say(ctx, words)
			continue
		}
		if l.blocked && l.lost(ctx) {
			continue
		}
		if l.blocked || !l.busy() {
			return nil
		}
	}
	return nil
}

// round looks at the record once and returns what there is to say.
func (l *Loop) round() (words []events.Event, err error) {
	err = l.read(func(p Page, st Status, now time.Time) {
		if l.blocked = !l.maySpeak(st); l.blocked {
			return
		}
		for _, j := range l.take(now) {
			words = append(words, l.study(p, st, j, now)...)
		}
	})
	return words, err
}

// read looks at the record once, guards the clock and marks what has changed.
func (l *Loop) read(look func(Page, Status, time.Time)) error {
	in := l.inbox.take()
	err := l.cfg.Record.Read(func(p Page) error {
		st, now := p.Status(), l.cfg.Clock.Now()
		l.through = st.Through
		l.watch(p, st, now)
		l.deliver(p, in)
		look(p, st, now)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the record: %w", err)
	}
	return nil
}
