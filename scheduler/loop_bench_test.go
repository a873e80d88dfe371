package scheduler_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"earlyage/scheduler"
)

// BenchmarkLoop10000Walls is one change of one wall among 10,000 that wait: what
// is done must not grow with how many wait.
func BenchmarkLoop10000Walls(b *testing.B) { benchLoop(b, 10_000) }

// BenchmarkLoop100Walls is the same among 100, to compare.
func BenchmarkLoop100Walls(b *testing.B) { benchLoop(b, 100) }

func benchLoop(b *testing.B, walls int) {
	h := newFakeHub(b, day)
	refs := make([]scheduler.Ref, walls)
	h.set(func() {
		for i := range refs {
			refs[i] = scheduler.Ref{Site: fmt.Sprintf("site-%d", i/50), Wall: fmt.Sprintf("wall-%d", i)}
			a := curing()
			a.Next = day.Add(time.Duration(i+1) * time.Hour)
			h.ought[refs[i]] = func(time.Time) scheduler.Assessment { return a }
		}
	})
	r := h.begin()
	r.settle()
	i := 0
	for b.Loop() {
		ref := refs[i%walls]
		i++
		h.set(func() { h.append(stored{refs: []scheduler.Ref{ref}}) })
		if err := r.Settle(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
	r.end()
}
