package notify

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"earlyage/events/stream"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/notify/text"
)

// A Source is the stream. *stream.Stream is one.
type Source interface {
	// Head returns the first and the last sequence of the stream.
	Head(ctx context.Context) (first, last uint64, err error)
	// Read hands every message after a sequence to deliver, in order. It returns
	// when ctx ends, with deliver's error, or with stream.ErrShort.
	Read(ctx context.Context, after uint64, limits stream.Limits, deliver func([]stream.Message) error) error
}

// A Clock says what time it is. It is safe for concurrent use. The scheduler's
// clocks are such.
type Clock interface {
	Now() time.Time
	// Until returns a channel that is closed once Now is at or after t.
	Until(t time.Time) <-chan struct{}
}

// A Directory knows readers, sites and walls. It is safe for concurrent use.
type Directory interface {
	// Reader returns a person with the roles on a site, and whether there is one.
	Reader(person, site string) (notice.Reader, bool)
	Site(token string) notice.Site
	// Walls returns the names for people of those walls of a site that have one.
	Walls(site string, tokens []string) map[string]string
}

// A Composer puts into words what is told. Identity, channel, step and reason are
// filled in afterwards. It is safe for concurrent use.
type Composer interface {
	Alert(n notice.Notice, f text.Facts) notice.Message
	Summary(list []notice.Notice, f text.Facts) notice.Message
	Sheet(n notice.Notice, f text.Facts) notice.Message
	Test(f text.Facts) notice.Message
}

// Words is the Composer that speaks as package text does.
type Words struct{}

// Alert implements Composer.
func (Words) Alert(n notice.Notice, f text.Facts) notice.Message { return text.Alert(n, f) }

// Summary implements Composer.
func (Words) Summary(list []notice.Notice, f text.Facts) notice.Message { return text.Summary(list, f) }

// Sheet implements Composer.
func (Words) Sheet(n notice.Notice, f text.Facts) notice.Message { return text.Sheet(n, f) }

// Test implements Composer.
func (Words) Test(f text.Facts) notice.Message { return text.Test(f) }

// Config wires an Engine.
type Config struct {
	Stream    Source
	Ledger    Ledger
	Key       ed25519.PublicKey // the hub's
	Judge     Judge             // of people's words; nil: those alone count that the hub signed for a desk
	Clock     Clock
	Directory Directory
	Rota      func() desk.Rota // asked each time, so that another route file counts at once
	Channels  []notice.Channel
	Compose   Composer // nil: Words
	Teller    Teller   // hears every raised and cleared; nil: none
	Voice     Voice
	Link      func(site, wall, alert string) string // page to open; nil: none
	Log       *slog.Logger                          // nil: none

	Delay   func(kind string) time.Duration // how long a condition holds before its alert is raised on purpose; nil: for no time
	Demo    bool                            // invented times of recording count
	Changed func()                          // called after what Untold lists has changed, from the engine's goroutine: it does not wait; nil: none
	Within  time.Duration                   // how long one try of a channel may take; default 30 s
	Workers int                             // messages that one channel sends at once; default 8
	Old     string                          // path of the file of the time before the ledger: taken over and removed; empty: none
}

func (c Config) prepared() (Config, error) {
	for _, m := range []struct {
		name    string
		missing bool
	}{
		{"Stream", c.Stream == nil}, {"Ledger", c.Ledger == nil}, {"Clock", c.Clock == nil}, {"Directory", c.Directory == nil},
		{"Rota", c.Rota == nil}, {"Voice", c.Voice == nil},
	} {
		if m.missing {
			return c, errors.New("notify config: " + m.name + " is missing")
		}
	}
	if len(c.Key) != ed25519.PublicKeySize {
		return c, fmt.Errorf("notify config: Key has %d bytes, allowed %d", len(c.Key), ed25519.PublicKeySize)
	}
	seen := map[string]bool{}
	for _, ch := range c.Channels {
		if seen[ch.Name()] {
			return c, errors.New("notify config: Channels has " + ch.Name() + " twice")
		}
		seen[ch.Name()] = true
	}
	return c.withDefaults(), nil
}

func (c Config) withDefaults() Config {
	if c.Compose == nil {
		c.Compose = Words{}
	}
	if c.Link == nil {
		c.Link = func(string, string, string) string { return "" }
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Changed == nil {
		c.Changed = func() {}
	}
	if c.Delay == nil {
		c.Delay = func(string) time.Duration { return 0 }
	}
	if c.Within <= 0 {
		c.Within = 30 * time.Second
	}
	if c.Workers <= 0 {
		c.Workers = 8
	}
	return c
}
