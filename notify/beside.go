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

// line hands things over one after the other, each until it succeeds. Where the
// order counts, what comes after it waits, so that an end is never told before its
// beginning; elsewhere it is tried again after the others.
type line[T any] struct {
	name    string
	ordered bool
	log     *slog.Logger
	hand    func(context.Context, T) error
	done    func(T) // called when it succeeded
	in      box[T]
}

func (l *line[T]) run(ctx context.Context) {
	var list []T
	for wait := tryPause; ; {
		list = append(list, l.in.take()...)
		if len(list) == 0 {
			select {
			case <-ctx.Done():
				return
			case <-l.in.signal:
				continue
			}
		}
		err := l.try(ctx, list[0])
		switch {
		case ctx.Err() != nil:
			return
		case err == nil:
			l.done(list[0])
			list, wait = list[1:], tryPause
			continue
		}
		if wait == tryPause { // said once, until it works again
			l.log.Warn("could not be handed on, will try again", "to", l.name, "err", err)
		}
		if !l.ordered {
			list = append(list[1:], list[0])
		}
		pause(ctx, wait)
		wait = min(2*wait, tryLong)
	}
}

func (l *line[T]) try(ctx context.Context, v T) error {
	ctx, cancel := context.WithTimeout(ctx, tryWithin)
	defer cancel()
	return l.hand(ctx, v)
}

func pause(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}
