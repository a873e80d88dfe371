package notify

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"earlyage/events/stream"
)

const (
	readMost   = 1000             // messages at once
	moveEvery  = 10_000           // messages without an alert until the place is moved
	tellPause  = time.Second      // before telling is tried again; doubled each time
	tellLong   = 30 * time.Second // the longest such pause
	tellWithin = 10 * time.Second // one try
	shortPause = 5 * time.Second  // before a stream that is too short is looked at again
)

// A Source is the stream. *stream.Stream is one.
type Source interface {
	// Head returns the first and the last sequence of the stream.
	Head(ctx context.Context) (first, last uint64, err error)
	// Read hands every message after a sequence to deliver, in order. It returns
	// when ctx ends, with deliver's error, or with stream.ErrShort.
	Read(ctx context.Context, after uint64, limits stream.Limits, deliver func([]stream.Message) error) error
}

// A Teller hands a notice on.
type Teller interface {
	// Tell returns nil when the notice is out of this process's hands. After an
	// error it is called again with the same notice.
	Tell(ctx context.Context, n Notice) error
}

// Config wires a Notifier.
type Config struct {
	Path   string // of its file; made if it is missing
	Stream Source
	Key    ed25519.PublicKey // the hub's
	Teller Teller
	Log    *slog.Logger // nil: none
}

// Notifier tells alerts.
type Notifier struct {
	cfg   Config
	place *place
	at    uint64 // read so far; belongs to Run's goroutine
	moved uint64 // the place in the file
}

// Open opens the file. The first Open of a file is the switching on: what is in
// the stream by then is never told. The file is locked until Close.
func Open(ctx context.Context, c Config) (*Notifier, error) {
	switch {
	case c.Path == "":
		return nil, errors.New("notify config: Path is empty")
	case c.Stream == nil:
		return nil, errors.New("notify config: Stream is missing")
	case len(c.Key) != ed25519.PublicKeySize:
		return nil, fmt.Errorf("notify config: Key has %d bytes, allowed %d", len(c.Key), ed25519.PublicKeySize)
	case c.Teller == nil:
		return nil, errors.New("notify config: Teller is missing")
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	p, err := openPlace(c.Path)
	if err != nil {
		return nil, err
	}
	n := &Notifier{cfg: c, place: p}
	if err := n.begin(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open %s: %w", c.Path, err), n.Close())
	}
	return n, nil
}

// Close closes the file. Run must have returned.
func (n *Notifier) Close() error { return n.place.db.Close() }

// Run tells alerts until ctx ends, and then returns nil. It may be called once.
func (n *Notifier) Run(ctx context.Context) error {
	var err error
	for warned := false; ; {
		err = n.cfg.Stream.Read(ctx, n.at, stream.Limits{Max: readMost}, func(batch []stream.Message) error { return n.deliver(ctx, batch) })
		if !errors.Is(err, stream.ErrShort) || ctx.Err() != nil {
			break
		}
		if !warned {
			warned = true
			n.cfg.Log.Error("the stream ends before what was told already: nothing is told until it is restored", "after", n.at)
		}
		pause(ctx, shortPause)
	}
	if ctx.Err() == nil {
		return fmt.Errorf("tell alerts: %w", err)
	}
	if n.at == n.moved {
		return nil
	}
	return n.place.move(n.at, nil) // so that the next start need not read so far again
}

// begin finds the place; at the switching on it is the stream's head.
func (n *Notifier) begin(ctx context.Context) error {
	after, on, err := n.place.after()
	if err != nil {
		return err
	}
	if !on {
		if _, after, err = n.cfg.Stream.Head(ctx); err != nil {
			return err
		}
		if err = n.place.move(after, nil); err != nil {
			return err
		}
		n.cfg.Log.Info("switched on: alerts are told from here", "after", after)
	}
	n.at, n.moved = after, after
	return nil
}

func (n *Notifier) deliver(ctx context.Context, batch []stream.Message) error {
	for _, m := range batch {
		notice, ok := readNotice(m, n.cfg.Key)
		if ok {
			told, err := n.place.told(notice)
			if err != nil {
				return err
			}
			ok = !told // a second hub said the same
		}
		if !ok {
			n.at = m.Seq
			continue
		}
		if err := n.tell(ctx, notice); err != nil {
			return err
		}
		// A stop here has the notice told again at the next start, with the same id.
		if err := n.place.move(m.Seq, &notice); err != nil {
			return err
		}
		n.at, n.moved = m.Seq, m.Seq
	}
	if n.at-n.moved >= moveEvery {
		if err := n.place.move(n.at, nil); err != nil {
			return err
		}
		n.moved = n.at
	}
	return nil
}

// tell tries until the notice is told or ctx ends. What comes after it waits: an
// alert is never told after its end.
func (n *Notifier) tell(ctx context.Context, notice Notice) error {
	wait := tellPause
	for {
		try, cancel := context.WithTimeout(ctx, tellWithin)
		err := n.cfg.Teller.Tell(try, notice)
		cancel()
		if err == nil {
			n.cfg.Log.Info("alert told", "state", notice.State, "site", notice.Site, "wall", notice.Wall, "kind", notice.Kind, "priority", notice.Priority,
				"alert", notice.Alert, "text", notice.Text)
			return nil
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		n.cfg.Log.Warn("alert could not be told, will try again", "alert", notice.Alert, "err", err)
		pause(ctx, wait)
		wait = min(2*wait, tellLong)
	}
}

func pause(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}
