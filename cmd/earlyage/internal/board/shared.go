package board

import (
	"context"
	"slices"
	"strings"
	"sync"
	"time"

	"earlyage/cmd/earlyage/internal/words"
)

// picture is one board for all viewers, and what was made of it for them.
type picture struct {
	board   Board
	through uint64
	made    time.Time // by the machine's steady clock

	mu     sync.Mutex // guards what follows
	drawn  map[string]*drawn
	steps  map[[2]*drawn][]byte // the messages that lead from what was shown before
	prints map[string]string
}

// refresh is the longest that a picture is shown while nothing changes.
const refresh = 5 * time.Second

// picture gives the present picture of the record. It is computed anew where the
// record went on, where time alone changes something, and now and then; but not
// within Every of the one before.
func (p *Pages) picture(ctx context.Context) (*picture, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	through := p.config.Source.Through()
	if p.latest.holds(through, p.config.Every) {
		return p.latest, nil
	}
	next := &picture{through: through, made: time.Now(), drawn: map[string]*drawn{}, steps: map[[2]*drawn][]byte{}, prints: map[string]string{}}
	if err := p.config.Source.Look(ctx, func(in Input) error { next.board = Make(in); return nil }); err != nil {
		return nil, err
	}
	p.latest = next
	return next, nil
}

// holds reports whether a picture may still be shown.
func (y *picture) holds(through uint64, every time.Duration) bool {
	if y == nil {
		return false
	}
	age := time.Since(y.made)
	due := !y.board.Next.IsZero() && !y.board.At.Add(age).Before(y.board.Next.Time)
	return age < every || age < refresh && y.through == through && !due
}

// draw gives the board in a language, of what is in sight; each is made once.
func (y *picture) draw(c *words.Catalogue, s Sight) *drawn {
	key := c.Lang() + " " + s.key()
	y.mu.Lock()
	defer y.mu.Unlock()
	d := y.drawn[key]
	if d == nil {
		d = draw(c, y.board.Narrow(s.Sees))
		y.drawn[key] = d
	}
	return d
}

// key is the same for all who see the same.
func (s Sight) key() string {
	if s.All {
		return "*"
	}
	return strings.Join(slices.Sorted(slices.Values(s.Sites)), " ")
}
