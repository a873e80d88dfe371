package demo

import (
	"context"
	"sync"
	"time"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/scheduler"
)

// word is something that the hub said, and when by the demo's clock.
type word struct {
	events.Event
	said time.Time
}

// ear hears every message that the hub reads from the stream.
type ear struct {
	mu      sync.Mutex
	words   []word // not yet taken
	ids     map[string]bool
	waiting map[string]chan struct{}
}

func newEar() *ear { return &ear{ids: map[string]bool{}, waiting: map[string]chan struct{}{}} }

// hear is called from the goroutine that reads the stream.
func (a *ear) hear(m stream.Message) {
	e, err := events.Decode(m.Subject, m.Body)
	if err != nil {
		return
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	switch {
	case e.Source.Device == scheduler.HubDevice:
		said, err := time.Parse(time.RFC3339Nano, m.DemoRecorded)
		if err != nil {
			said = e.Time
		}
		a.words = append(a.words, word{e, said})
	case e.Sequence == 0:
		a.ids[e.ID] = true
		if c := a.waiting[e.ID]; c != nil {
			close(c)
			delete(a.waiting, e.ID)
		}
	}
}

// heard waits for an event that bears no number.
func (a *ear) heard(ctx context.Context, id string) error {
	a.mu.Lock()
	if a.ids[id] {
		a.mu.Unlock()
		return nil
	}
	c := make(chan struct{})
	a.waiting[id] = c
	a.mu.Unlock()
	select {
	case <-c:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// take gives what the hub has said since it was last asked.
func (a *ear) take() []word {
	a.mu.Lock()
	defer a.mu.Unlock()
	words := a.words
	a.words = nil
	return words
}
