package scheduler

import (
	"context"
	"sync"
	"time"
)

// resubscribeAfter is how long the inbox waits after a subscription that ended,
// by the machine's own time: it waits for another part of the program.
const resubscribeAfter = 100 * time.Millisecond

// inbox gathers changes while the loop is busy, so that the loop is never the
// slow reader of the record, however long a publication takes.
type inbox struct {
	signal chan struct{} // holds one; filled when something came in

	mu       sync.Mutex
	through  uint64
	expected uint64 // the greatest sequence that expect was called with
	walls    map[Ref]struct{}
	sites    map[string]struct{}
	pokes    map[string]struct{} // sites to be looked at for a reason outside the record
	overdue  uint64              // a change through it was expected and should have come
	lost     bool                // changes were lost, or none were ever heard: everything may have changed
}

// mail is what came in since the last look.
type mail struct {
	through uint64
	walls   map[Ref]struct{}
	sites   map[string]struct{}
	pokes   map[string]struct{}
	overdue uint64
	lost    bool
}

func newInbox() *inbox {
	return &inbox{signal: make(chan struct{}, 1), walls: map[Ref]struct{}{}, sites: map[string]struct{}{}, pokes: map[string]struct{}{}}
}

// run listens until ctx ends.
func (b *inbox) run(ctx context.Context, record Record) {
	for {
		changes, cancel := record.Subscribe()
		b.put(func() { b.lost = true })
		b.listen(ctx, changes)
		cancel()
		select {
		case <-ctx.Done():
			return
		case <-time.After(resubscribeAfter):
		}
	}
}

func (b *inbox) listen(ctx context.Context, changes <-chan Change) {
	for {
		select {
		case <-ctx.Done():
			return
		case c, ok := <-changes:
			if !ok {
				return
			}
			b.put(func() { b.merge(c) })
		}
	}
}

// merge takes one change in; b.mu is held.
func (b *inbox) merge(c Change) {
	b.through = max(b.through, c.Through)
	for _, w := range c.Walls {
		b.walls[w] = struct{}{}
	}
	for _, s := range c.Sites {
		b.sites[s] = struct{}{}
	}
}

func (b *inbox) poke(site string) { b.put(func() { b.pokes[site] = struct{}{} }) }

func (b *inbox) put(do func()) {
	b.mu.Lock()
	do()
	b.mu.Unlock()
	select {
	case b.signal <- struct{}{}:
	default:
	}
}

// expect gives the record a little time to say what has changed up to a sequence
// that it has reached; then a change is overdue.
func (b *inbox) expect(through uint64) {
	b.mu.Lock()
	waiting := b.expected >= through
	b.expected = max(b.expected, through)
	b.mu.Unlock()
	if waiting {
		return
	}
	time.AfterFunc(resubscribeAfter, func() { b.put(func() { b.overdue = max(b.overdue, through) }) })
}

// take empties the inbox.
func (b *inbox) take() mail {
	b.mu.Lock()
	defer b.mu.Unlock()
	m := mail{through: b.through, walls: b.walls, sites: b.sites, pokes: b.pokes, overdue: b.overdue, lost: b.lost}
	b.walls, b.sites, b.lost = map[Ref]struct{}{}, map[string]struct{}{}, false
	b.pokes = map[string]struct{}{}
	return m
}
