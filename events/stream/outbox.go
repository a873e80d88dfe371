package stream

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/gofrs/flock"
	"github.com/google/uuid"

	"earlyage/events"
)

// OutboxConfig says what an outbox is for.
type OutboxConfig struct {
	Dir    string        // the device's folder, made if it is missing; one device in one folder
	Source events.Source // the device

	Now  func() time.Time   // the device's clock; default time.Now
	Log  *slog.Logger       // default: none
	Key  ed25519.PrivateKey // signs what is sent, where there is no Sign; default: nothing is signed
	Keep time.Duration      // how long events are kept after they were sent; default 30 days
	Wait time.Duration      // how long Drain waits for each answer; default 10 s

	// Sign returns the value of SignatureHeader for a body. It is called when an
	// event is sent, so that it signs with the key that the device has then.
	Sign func(body []byte) string

	// Demo sends Now along as an invented recorded time, DemoRecordedHeader.
	Demo bool
}

// Outbox holds a device's events on its disk until the hub's receipt says that
// it has them, and for Keep after they were sent. Any number of goroutines and
// processes may use one folder at a time.
type Outbox struct {
	cfg     OutboxConfig
	lock    *flock.Flock // of the log, between processes
	drainer *flock.Flock // held by the one that drains

	draining chan struct{} // capacity 1, of Drain in this process; taken first
	mu       sync.Mutex    // of this process, for all below; taken before lock
	log      *logFile
	book     book
	said     int // damages that were logged

	step func(string) error // for tests: called between the steps of Drain
}

// OpenOutbox opens a device's outbox with the defaults of OutboxConfig.
func OpenOutbox(dir string, source events.Source) (*Outbox, error) {
	return OutboxConfig{Dir: dir, Source: source}.Open()
}

const (
	defaultKeep = 30 * 24 * time.Hour
	defaultWait = 10 * time.Second
)

// Open opens the outbox and reads it whole. What cannot be read is said in the
// log and by Status.
func (cfg OutboxConfig) Open() (*Outbox, error) {
	if cfg.Dir == "" {
		return nil, errors.New("outbox config: Dir is empty")
	}
	if _, err := events.ParseSource(cfg.Source.String()); err != nil {
		return nil, fmt.Errorf("outbox config: %w", err)
	}
	if cfg.Now == nil {
		cfg.Now = time.Now
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	if cfg.Keep <= 0 {
		cfg.Keep = defaultKeep
	}
	if cfg.Wait <= 0 {
		cfg.Wait = defaultWait
	}
	if err := os.MkdirAll(cfg.Dir, 0o700); err != nil {
		return nil, fmt.Errorf("open outbox: %w", err)
	}
	o := &Outbox{
		cfg:      cfg,
		draining: make(chan struct{}, 1),
		lock:     flock.New(filepath.Join(cfg.Dir, "lock")),
		drainer:  flock.New(filepath.Join(cfg.Dir, "drain.lock")),
		log:      &logFile{path: filepath.Join(cfg.Dir, "outbox.log")},
		step:     func(string) error { return nil },
	}
	if err := o.locked(func() error { return nil }); err != nil {
		return nil, errors.Join(err, o.Close())
	}
	return o, nil
}

// Close frees the files. What the outbox holds stays on the disk.
func (o *Outbox) Close() error {
	o.mu.Lock()
	defer o.mu.Unlock()
	return errors.Join(o.log.close(), o.lock.Close(), o.drainer.Close())
}

// locked runs f while no other goroutine or process reads or writes the log, and
// with everything known that they wrote.
func (o *Outbox) locked(f func() error) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if err := o.lock.Lock(); err != nil {
		return fmt.Errorf("lock outbox %s: %w", o.cfg.Dir, err)
	}
	err := o.refresh()
	if err == nil {
		err = f()
	}
	return errors.Join(err, o.lock.Unlock())
}

func (o *Outbox) refresh() error {
	fresh := func() { o.book, o.said = newBook(), 0 }
	// o.book.take would hold on to the book before fresh.
	if err := o.log.refresh(fresh, func(l line) error { return o.book.take(l) }); err != nil {
		return err
	}
	for ; o.said < len(o.log.damage); o.said++ {
		o.cfg.Log.Error("outbox is damaged", "dir", o.cfg.Dir, "what", o.log.damage[o.said])
	}
	switch want := o.cfg.Source.String(); {
	case o.book.source == "": // it is new, or its first line is damaged
		return o.write("outbox 1 " + want)
	case o.book.source != want:
		return fmt.Errorf("outbox %s is of %q, not of %q", o.cfg.Dir, o.book.source, want)
	}
	return nil
}

// write appends lines and folds them; the same fold reads them again later.
func (o *Outbox) write(texts ...string) error {
	lines, err := o.log.add(texts)
	if err != nil {
		return err
	}
	for _, l := range lines {
		if err := o.book.take(l); err != nil {
			return fmt.Errorf("outbox line %q: %w", clipText(l.text), err)
		}
	}
	return nil
}

func clipText(s string) string { return s[:min(len(s), 60)] }

// Add stamps an event with id, sequence, the number of the device's event before
// it on the same wall, the source, the clock's offset where it is known and,
// where it has none, the time, and returns it when it is on the disk. An event
// that is not acceptable is refused with the *events.Refusal; nothing is kept.
//
// A crash before Add returns leaves the event in the outbox or not.
func (o *Outbox) Add(e events.Event) (events.Event, error) {
	all, err := o.AddAll([]events.Event{e})
	if err != nil {
		return events.Event{}, err
	}
	return all[0], nil
}

// AddAll is Add for many events and one wait for the disk. If one is refused,
// none is kept; the error names it by its place, from 1. A crash before it
// returns may leave the first of them in the outbox.
func (o *Outbox) AddAll(list []events.Event) ([]events.Event, error) {
	for _, e := range list {
		if e.Kind == reportKind {
			return nil, &events.Refusal{Field: "type", Value: string(e.Kind), Allowed: "a kind that a person or a sensor records: the outbox makes " + string(e.Kind) + " by itself"}
		}
	}
	var stamped []events.Event
	err := o.locked(func() (err error) {
		stamped, err = o.add(list)
		return err
	})
	return stamped, err
}

func (o *Outbox) add(list []events.Event) ([]events.Event, error) {
	if len(list) == 0 {
		return nil, nil
	}
	now := o.cfg.Now().UTC().Truncate(time.Millisecond)
	number, walls := o.book.next(), maps.Clone(o.book.walls)
	stamped, texts := make([]events.Event, len(list)), make([]string, len(list))
	for i, e := range list {
		e, err := o.stamp(e, number, walls[e.Wall], now)
		if err == nil {
			texts[i], err = o.line(e, 0)
		}
		if err != nil && len(list) > 1 {
			err = fmt.Errorf("event %d: %w", i+1, err)
		}
		if err != nil {
			return nil, err
		}
		if e.Wall != "" { // the number before means the wall's; the whole site has none
			walls[e.Wall] = number
		}
		stamped[i] = e
		number++
	}
	// A crash in the middle of the append leaves a tail that is cut when the log
	// is next read, and perhaps some whole lines before it.
	return stamped, o.write(texts...)
}

// stamp completes an event and checks it whole.
func (o *Outbox) stamp(e events.Event, number, before uint64, now time.Time) (events.Event, error) {
	if (e.Source == events.Source{}) {
		e.Source = o.cfg.Source
	}
	switch {
	case e.ID != "" || e.Sequence != 0 || e.WallSequence != 0:
		return e, errors.New("add to outbox: id, sequence and wallsequence are the outbox's to give")
	case e.Source != o.cfg.Source:
		return e, fmt.Errorf("add to outbox: source %s, the outbox is of %s", e.Source, o.cfg.Source)
	case e.Kind.SchedulerOnly():
		return e, &events.Refusal{Field: "type", Value: string(e.Kind), Allowed: "a kind that a person or a device records: only the hub says " + string(e.Kind)}
	}
	id, err := uuid.NewV7()
	if err != nil {
		return e, fmt.Errorf("add to outbox: %w", err)
	}
	if e.Time.IsZero() {
		e.Time = now
	}
	e.ID, e.Time = id.String(), e.Time.UTC()
	e.Sequence, e.WallSequence = number, before
	e.HasOffset = o.book.contact.HasOffset
	e.ClockOffset = time.Duration(o.book.contact.OffsetMS) * time.Millisecond
	return e, e.Check()
}

// line is an event as it stands in the log.
func (o *Outbox) line(e events.Event, old uint64) (string, error) {
	body, err := e.Encode()
	if err != nil {
		return "", fmt.Errorf("add to outbox: %w", err)
	}
	if bytes.IndexByte(body, '\n') >= 0 {
		return "", errors.New("add to outbox: a line feed in the body")
	}
	// The dash is where older logs hold a signature: one is made when the event is
	// sent.
	return fmt.Sprintf("event %d %d %s - %s", e.Sequence, old, e.Subject(), body), nil
}

// sign signs with the key that the device has now. A device that has none sends
// the signature that an older log holds, or none.
func (o *Outbox) sign(p *Post) {
	switch {
	case o.cfg.Sign != nil:
		p.Signature = o.cfg.Sign(p.Body)
	case o.cfg.Key != nil:
		p.Signature = Sign(o.cfg.Key, p.Body)
	}
}

// stored reads an event's subject, its exact body and what signature there is
// from the log.
func (o *Outbox) stored(en *entry) (Post, bool) {
	text, ok := o.log.read(en.off, en.size)
	word := strings.SplitN(text, " ", 6)
	if !ok || len(word) != 6 {
		return Post{}, false
	}
	p := Post{Subject: word[3], Body: []byte(word[5])}
	if word[4] != "-" {
		p.Signature = strings.ReplaceAll(word[4], ",", " ")
	}
	return p, true
}

// Aside is an event that does not count, and is not sent again by itself.
type Aside struct {
	Event  events.Event
	Reason string

	// Denied: the event has not left the device, since the role of its person does
	// not cover it now. Once it does again, Retry sends it. Otherwise the hub has
	// refused the event, and what it should have said has to be entered anew.
	Denied bool
}

// SetAside lists what the hub refused or the device may not say, in order of
// number, as long as it is kept. What was denied is kept until it has been said.
func (o *Outbox) SetAside() ([]Aside, error) {
	var list []Aside
	err := o.locked(func() error {
		for _, en := range o.book.entries {
			a := Aside{Reason: en.reason}
			if o.book.aside(en) {
				a = Aside{Reason: en.denied, Denied: true}
			}
			if a.Reason == "" {
				continue
			}
			if p, ok := o.stored(en); ok {
				// What was checked when it was added can still be read; if not, the
				// number is what is left to show.
				a.Event, _ = events.Decode(p.Subject, p.Body)
			}
			a.Event.Sequence = en.number
			list = append(list, a)
		}
		return nil
	})
	return list, err
}

// ErrNotDenied is wrapped by Retry for a number that SetAside does not list as
// denied.
var ErrNotDenied = errors.New("not set aside because it was not allowed")

// Retry has the next Drain send an event again that was denied, under its number.
// When it returns, that is on the disk.
func (o *Outbox) Retry(number uint64) error {
	return o.locked(func() error {
		i, found := o.book.find(number)
		if !found || !o.book.aside(o.book.entries[i]) {
			return fmt.Errorf("retry outbox number %d: %w", number, ErrNotDenied)
		}
		return o.write(fmt.Sprint("retry ", number))
	})
}

// OutboxStatus counts what an outbox holds.
type OutboxStatus struct {
	Waiting   int           // not acknowledged: to be sent
	Sent      int           // acknowledged, no receipt yet
	Settled   int           // the hub has them; kept for a while
	SetAside  int           // of the settled, refused by the hub
	Denied    int           // not sent: the device may not say them now
	Last      uint64        // the greatest number
	UpTo      uint64        // of the hub's last receipt
	Known     bool          // the hub has given a receipt once
	Offset    time.Duration // hub time minus device time, if HasOffset
	HasOffset bool
	Damage    []string // what could not be read, in words
}

// Status says how the outbox stands.
func (o *Outbox) Status() (OutboxStatus, error) {
	var s OutboxStatus
	err := o.locked(func() error {
		b := &o.book
		c := b.contact
		s = OutboxStatus{Last: b.last, UpTo: c.UpTo, Known: b.known, HasOffset: c.HasOffset,
			Offset: time.Duration(c.OffsetMS) * time.Millisecond, Damage: append([]string(nil), o.log.damage...)}
		for _, e := range b.entries {
			switch {
			case b.settled(e):
				s.Settled++
			case e.done:
				s.Sent++
			case b.aside(e):
				s.Denied++
			default:
				s.Waiting++
			}
			if e.reason != "" {
				s.SetAside++
			}
		}
		return nil
	})
	return s, err
}

// lockDrain waits until no one else drains, in this process or another.
func (o *Outbox) lockDrain(ctx context.Context) (unlock func() error, err error) {
	select {
	case o.draining <- struct{}{}:
	case <-ctx.Done():
		return nil, fmt.Errorf("lock outbox %s: %w", o.cfg.Dir, ctx.Err())
	}
	if _, err := o.drainer.TryLockContext(ctx, drainPoll); err != nil {
		<-o.draining
		return nil, fmt.Errorf("lock outbox %s: %w", o.cfg.Dir, err)
	}
	return func() error {
		err := o.drainer.Unlock()
		<-o.draining
		return err
	}, nil
}

const drainPoll = 50 * time.Millisecond
