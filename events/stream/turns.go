package stream

import (
	"context"
	"sync"
)

// turns shares the way into the stream among devices. The stream takes messages
// one after the other, and each that is not of a batch waits for the disk: what
// lies in its queue stands before whoever comes next. So no more than most
// messages are under way, and who has the fewest of them goes first. As much
// again is kept for devices that have none under way: they wait for nobody's
// backlog.
type turns struct {
	most    int
	through func() // returns when what went before it has been through the stream
	start   func(func())

	mu      sync.Mutex
	under   int            // messages under way
	passed  map[*meter]int // of those, handed to the server since through was last called
	waiting []*wish        // in the order in which they came
	asking  bool           // through is being waited for
}

// wish is a device's wish to pass messages on.
type wish struct {
	of    *meter
	n     int
	given chan struct{} // closed when it may
}

func newTurns(most int, through func(), start func(func())) *turns {
	return &turns{most: most, through: through, start: start, passed: map[*meter]int{}}
}

// take waits until a device may pass on n messages. passed must be called when
// they are with the server, or will not be.
func (t *turns) take(ctx context.Context, m *meter, n int) (passed func(), err error) {
	mine := &wish{of: m, n: n, given: make(chan struct{})}
	t.mu.Lock()
	t.waiting = append(t.waiting, mine)
	t.give()
	t.ask()
	t.mu.Unlock()
	select {
	case <-mine.given:
		return func() { t.pass(mine) }, nil
	case <-ctx.Done():
	}
	t.mu.Lock()
	for i, w := range t.waiting {
		if w == mine {
			t.waiting = append(t.waiting[:i], t.waiting[i+1:]...)
			t.mu.Unlock()
			return nil, ctx.Err()
		}
	}
	t.mu.Unlock()
	t.pass(mine) // it was given at the last moment
	return nil, ctx.Err()
}

// give lets those pass for whom there is room, who has the fewest messages under
// way first. Called under mu.
func (t *turns) give() {
	for len(t.waiting) > 0 {
		first := 0
		for i, w := range t.waiting {
			if w.of.under < t.waiting[first].of.under {
				first = i
			}
		}
		w := t.waiting[first]
		room := t.most
		if w.of.under == 0 {
			room *= 2
		}
		if t.under > 0 && t.under+w.n > room {
			return
		}
		t.waiting = append(t.waiting[:first], t.waiting[first+1:]...)
		t.under += w.n
		w.of.under += w.n
		close(w.given)
	}
}

func (t *turns) pass(w *wish) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.passed[w.of] += w.n
	t.ask()
}

// ask finds out what has been through the stream, when it matters. Called under mu.
func (t *turns) ask() {
	if !t.asking && t.worthAsking() {
		t.asking = true
		t.start(t.run)
	}
}

func (t *turns) worthAsking() bool {
	return len(t.passed) > 0 && (t.under > t.most/2 || len(t.waiting) > 0)
}

// run asks until nobody waits and little is under way.
func (t *turns) run() {
	t.mu.Lock()
	defer t.mu.Unlock()
	for t.worthAsking() {
		before := t.passed
		t.passed = map[*meter]int{}
		t.mu.Unlock()
		t.through()
		t.mu.Lock()
		for m, n := range before {
			m.under -= n
			t.under -= n
		}
		t.give()
	}
	t.asking = false
}
