package lookout

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"earlyage/notify/hook"
	"earlyage/notify/notice"
)

// Config makes a Lookout.
type Config struct {
	Hub      string // name of the hub, for people; default "the hub"
	Secrets  []string
	Readers  []notice.Reader
	Channels []notice.Channel
	Zone     *time.Location   // of the times in messages; nil: UTC
	Now      func() time.Time // nil: time.Now. Its monotonic reading, if there is one, measures silence.
	Log      *slog.Logger     // nil: none

	Silent time.Duration // without a heartbeat until it tells; default 150 s
	Unwell time.Duration // of a hub that says it is not well, until it tells; default 5 min
}

// Lookout expects heartbeats.
type Lookout struct {
	cfg  Config
	sign hook.Signer

	strays rate.Sometimes // what an old heartbeat, sent again and again, can make the log say

	mu      sync.Mutex // guards what follows
	seen    map[string]time.Time
	watch   watch
	words   []word
	changed chan struct{} // holds one when there is something to look at
}

// New checks the configuration: each reader must be within reach of a channel.
// The silence is counted from here.
func New(c Config) (*Lookout, error) {
	sign, err := hook.NewSigner(c.Secrets...)
	if err != nil {
		return nil, fmt.Errorf("lookout: %w", err)
	}
	if len(c.Readers) == 0 {
		return nil, errors.New("lookout: nobody to tell: no Readers")
	}
	for _, r := range c.Readers {
		if len(reaching(c.Channels, r)) == 0 {
			return nil, fmt.Errorf("lookout: no channel reaches %q", r.Person)
		}
	}
	c.Hub, c.Silent, c.Unwell = cmp.Or(c.Hub, "the hub"), cmp.Or(c.Silent, silentLong), cmp.Or(c.Unwell, unwellLong)
	if c.Zone == nil {
		c.Zone = time.UTC
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	return &Lookout{
		cfg: c, sign: sign, strays: rate.Sometimes{First: 10, Interval: time.Second}, seen: map[string]time.Time{}, changed: make(chan struct{}, 1),
		watch: watch{silentLong: c.Silent, unwellLong: c.Unwell, againAfter: againAfter, againMost: againMost, againTimes: againTimes, begun: c.Now()},
	}, nil
}

func reaching(all []notice.Channel, r notice.Reader) []notice.Channel {
	var list []notice.Channel
	for _, c := range all {
		if c.Reaches(r) {
			list = append(list, c)
		}
	}
	return list
}

// Run tells until ctx ends, and returns nil once every delivery has ended.
func (l *Lookout) Run(ctx context.Context) error {
	round := &round{lookout: l}
	defer round.end()
	for {
		words, wait := l.look()
		for _, w := range words {
			round.tell(ctx, w)
		}
		timer := time.NewTimer(wait)
		select {
		case <-ctx.Done():
			timer.Stop()
			return nil
		case <-l.changed:
			timer.Stop()
		case <-timer.C:
		}
	}
}

// lookLong is the longest that the loop sleeps, whatever the clocks do.
const lookLong = time.Minute

// look takes what is to be told, and says how long nothing will be.
func (l *Lookout) look() ([]word, time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.cfg.Now()
	words := append(l.words, l.watch.tick(now)...)
	l.words = nil
	wait := lookLong
	if next := l.watch.next(); !next.IsZero() {
		wait = min(max(next.Sub(now), 0), lookLong)
	}
	return words, wait
}

// poke has the loop look.
func (l *Lookout) poke() {
	select {
	case l.changed <- struct{}{}:
	default:
	}
}
