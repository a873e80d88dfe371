package notify

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"sync"
	"time"

	"earlyage/events"
	"earlyage/notify/desk"
)

// Engine tells people of alerts.
type Engine struct {
	cfg     Config
	hearing hearing
	voice   *line[saying]
	teller  *line[numbered]
	measure *measure

	// What others leave for the core.
	in      box[any] // batch, levelling, direct, result, said, told, tested
	asks    chan ask
	stopped chan struct{}
	sending sync.WaitGroup

	// What follows belongs to Run's goroutine; what is marked mu is read by others
	// under it.
	desk     *desk.Desk
	owed     *owed
	at       uint64 // heard so far
	moved    uint64 // heard so far, in the ledger
	hold     hold
	lost     map[string]bool     // cases whose rows are damaged: their words are heard again
	damage   foundRow            // rows that cannot be made good
	heard    map[string]heardRow // what was raised, cleared and issued
	number   uint64              // the last of the teller's
	telling  int                 // notices that the teller owes
	lanes    map[string]*lane    // by channel
	starting []start             // messages that are sent once they are noted as being sent
	answered []chan struct{}     // who waits for what is owed to be on the disk
	asked    []ask
	sweeper  sweeper
	retry    time.Time     // by the machine's time: no write before it; zero: none failed
	failing  time.Time     // by the machine's time: since when no write succeeds; zero: the last one did
	wait     time.Duration // how long the next such wait is
	mu       sync.RWMutex
	letters  map[string]letterRow // that are not gone, or owe a word; mu
	cases    map[string]caseRow   // that have not ended; mu
	untold   []desk.Trouble       // mu
	stirred  bool                 // cases or letters have changed since untold was looked at
	uttered  map[string]bool      // words that the voice owes, by id
	next     time.Time            // mu
}

type ask struct {
	head uint64
	done chan struct{}
}

// Open reads the ledger. The first Open of a ledger is the switching on: what is
// in the stream by then is never told.
func Open(ctx context.Context, c Config) (*Engine, error) {
	c, err := c.prepared()
	if err != nil {
		return nil, err
	}
	e := &Engine{
		cfg: c, hearing: hearing{c.Key, c.Demo, c.Judge, newKnown()}, measure: newMeasure(c.Delay), in: newBox[any](), asks: make(chan ask), stopped: make(chan struct{}),
		desk: desk.New(c.Rota()), owed: newOwed(), hold: newHold(), heard: map[string]heardRow{},
		lanes: map[string]*lane{}, sweeper: sweeper{at: map[string][]byte{}},
		uttered: map[string]bool{}, letters: map[string]letterRow{}, cases: map[string]caseRow{},
	}
	for _, ch := range c.Channels {
		e.lanes[ch.Name()] = &lane{channel: ch, waiting: map[string]bool{}, busy: map[string]bool{}}
	}
	e.voice = &line[saying]{"the stream", false, c.Log, e.publish, func(s saying) { e.in.put(said{s}) }, newBox[saying]()}
	e.teller = &line[numbered]{"whoever listens", true, c.Log, e.tell, func(n numbered) { e.in.put(told{n.number}) }, newBox[numbered]()}
	if err := e.begin(ctx); err != nil {
		return nil, fmt.Errorf("open the ledger of telling: %w", err)
	}
	return e, nil
}

// begin reads the ledger; one that is empty is switched on.
func (e *Engine) begin(ctx context.Context) error {
	if err := prepare(e.cfg.Ledger); err != nil {
		return err
	}
	k, err := load(e.cfg.Ledger, e.cfg.Log)
	if err != nil {
		return err
	}
	if !k.on {
		if err := e.switchOn(ctx, &k); err != nil {
			return err
		}
	}
	e.removeOld()
	e.at, e.moved, e.heard = k.after, k.after, k.heard
	if err := e.mend(k); err != nil {
		return err
	}
	e.restore(k)
	return nil
}

// switchOn finds where telling begins: where the old file was, or at the head of
// the stream.
func (e *Engine) switchOn(ctx context.Context, k *kept) error {
	old, ok, err := readOld(e.cfg.Old)
	if err != nil && errors.Is(err, errPlace) {
		e.cfg.Log.Error("what was told before cannot be read: it is told from the head of the stream", "err", err)
	} else if err != nil {
		return err
	}
	if ok {
		k.after = old.after
		for key, at := range old.heard {
			k.heard[key] = heardRow{At: at}
		}
	} else if _, k.after, err = e.cfg.Stream.Head(ctx); err != nil {
		return err
	}
	first := newOwed()
	first.after, first.moved, first.heard = k.after, true, k.heard
	if err := e.cfg.Ledger.Update(first.write); err != nil {
		return fmt.Errorf("switch on after %d: %w", k.after, err)
	}
	e.cfg.Log.Info("switched on: alerts are told from here", "after", k.after)
	return nil
}

// removeOld removes the old file: the ledger has what it held.
func (e *Engine) removeOld() {
	if e.cfg.Old == "" {
		return
	}
	if err := os.Remove(e.cfg.Old); err != nil && !errors.Is(err, os.ErrNotExist) {
		e.cfg.Log.Warn("the old file of what was told could not be removed", "err", err)
	}
}

// restore hands what is kept to the desk, the voice and the teller. What was
// being sent when the process ended is due again, under its id.
func (e *Engine) restore(k kept) {
	var cases []desk.Case
	for id, row := range k.cases {
		if row.Closed.IsZero() {
			cases = append(cases, row.Case)
			if row.Case.Ended.IsZero() {
				e.cases[id] = row
			}
		}
	}
	var letters []desk.Letter
	for _, row := range k.letters {
		if row.Letter.State == desk.Sending {
			row.Letter.State = desk.Due
		}
		if !row.Gone {
			letters = append(letters, row.Letter)
		}
		if !row.Gone || len(row.Say) > 0 {
			e.letters[row.Letter.ID] = row
		}
		e.utter(row.Letter, row.Say)
	}
	slices.SortFunc(cases, func(a, b desk.Case) int { return cmp.Compare(a.ID, b.ID) })
	e.desk.Load(cases, letters)
	e.stirred = true
	for _, n := range k.tell {
		e.number = max(e.number, n.number)
	}
	e.telling = len(k.tell)
	e.teller.in.put(k.tell...)
}

// Close ends what Open began. Run must have returned. The ledger's file is its
// owner's to close.
func (e *Engine) Close() error { return nil }

// Run tells alerts until ctx ends; then it returns nil and leaves no goroutine
// behind. It may be called once.
func (e *Engine) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	e.hold.since = time.Now()
	var beside sync.WaitGroup
	for _, run := range []func(context.Context){e.read, e.voice.run, e.teller.run} {
		beside.Go(func() { run(ctx) })
	}
	for e.turn(ctx); e.sleep(ctx); {
		e.turn(ctx)
	}
	cancel()
	beside.Wait()
	e.sending.Wait()
	close(e.stopped)
	return e.last()
}

// last writes what came in while the parts beside were ending. What cannot be
// written is found again at the next start.
func (e *Engine) last() error {
	e.takeIn(e.cfg.Clock.Now())
	e.starting = nil
	if e.at != e.moved {
		e.owed.after, e.owed.moved = e.at, true // so that the next start need not read so far again
	}
	if e.owed.empty() {
		return nil
	}
	if err := e.cfg.Ledger.Update(e.owed.write); err != nil {
		return fmt.Errorf("write the ledger of telling: %w", err)
	}
	return nil
}

// Direct takes words of the hub whose publication was not acknowledged: they are
// told at once, whether the stream is there or not. The stream's own word later
// tells nobody anything new. It never waits.
func (e *Engine) Direct(words []events.Event) {
	now := e.cfg.Clock.Now()
	for _, w := range words {
		if hubOnly := toldOf[w.Kind]; !hubOnly || w.Source.Device != events.HubDevice {
			continue
		}
		if n, ok := noticeOf(w); ok {
			n.Recorded = now
			e.in.put(n)
		}
	}
}
