package notify

import (
	"context"
	"log/slog"
	"time"

	"earlyage/events"
	"earlyage/notify/notice"
)

// A Voice publishes what the hub says of its telling.
type Voice interface {
	// Say returns nil once the word is in the stream. After an error it is called
	// again with the same word; one that is there twice counts once, by its id.
	Say(ctx context.Context, e events.Event) error
}

// A Teller hands a notice on to whoever listens.
type Teller interface {
	// Tell returns nil when the notice is out of this process's hands. After an
	// error it is called again with the same notice.
	Tell(ctx context.Context, n notice.Notice) error
}

const (
	tryPause  = time.Second      // before telling or saying is tried again; doubled each time
	tryLong   = 30 * time.Second // the longest such pause
	tryWithin = 10 * time.Second // one try
)

// line hands things over one after the other, each until it succeeds: what comes
// after it waits, so that an end is never told before its beginning.
type line[T any] struct {
	name string
	log  *slog.Logger
	hand func(context.Context, T) error
	done func(T) // called when it succeeded
	in   box[T]
}

func newLine[T any](name string, log *slog.Logger, hand func(context.Context, T) error, done func(T)) *line[T] {
	return &line[T]{name: name, log: log, hand: hand, done: done, in: newBox[T]()}
}

func (l *line[T]) run(ctx context.Context) {
	for {
		for _, v := range l.in.take() {
			if !l.one(ctx, v) {
				return
			}
			l.done(v)
		}
		select {
		case <-ctx.Done():
			return
		case <-l.in.signal:
		}
	}
}

// one tries until it succeeds; false: ctx ended first. The failure is said once.
func (l *line[T]) one(ctx context.Context, v T) bool {
	said := false
	for wait := tryPause; ; wait = min(2*wait, tryLong) {
		try, cancel := context.WithTimeout(ctx, tryWithin)
		err := l.hand(try, v)
		cancel()
		if err == nil {
			return true
		}
		if ctx.Err() != nil {
			return false
		}
		if !said {
			l.log.Warn("could not be handed on, will try again", "to", l.name, "err", err)
		}
		said = true
		pause(ctx, wait)
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
