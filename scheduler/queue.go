package scheduler

import (
	"container/heap"
	"time"
)

// dueQueue holds for each subject the next moment at which time alone changes
// what is to be said of it. The earliest is found at once, a subject is moved
// in logarithmic time.
type dueQueue struct {
	items []dueItem
	place map[Ref]int // in items
}

type dueItem struct {
	ref Ref
	at  time.Time
}

// set puts or moves a subject; a zero time takes it out.
func (q *dueQueue) set(ref Ref, at time.Time) {
	i, known := q.place[ref]
	switch {
	case at.IsZero() && known:
		heap.Remove(q, i)
	case at.IsZero():
	case known:
		q.items[i].at = at
		heap.Fix(q, i)
	default:
		heap.Push(q, dueItem{ref, at})
	}
}

// first is the earliest moment; zero if nothing is due ever.
func (q *dueQueue) first() time.Time {
	if len(q.items) == 0 {
		return time.Time{}
	}
	return q.items[0].at
}

// pop takes out the earliest subject, if it is due at now.
func (q *dueQueue) pop(now time.Time) (dueItem, bool) {
	if len(q.items) == 0 || q.items[0].at.After(now) {
		return dueItem{}, false
	}
	return heap.Pop(q).(dueItem), true
}

// Len, Less, Swap, Push and Pop are for container/heap.
func (q *dueQueue) Len() int { return len(q.items) }

func (q *dueQueue) Less(i, j int) bool {
	a, b := q.items[i], q.items[j]
	if !a.at.Equal(b.at) {
		return a.at.Before(b.at)
	}
	return a.ref.compare(b.ref) < 0
}

func (q *dueQueue) Swap(i, j int) {
	q.items[i], q.items[j] = q.items[j], q.items[i]
	q.place[q.items[i].ref], q.place[q.items[j].ref] = i, j
}

func (q *dueQueue) Push(x any) {
	it := x.(dueItem)
	q.place[it.ref] = len(q.items)
	q.items = append(q.items, it)
}

func (q *dueQueue) Pop() any {
	last := q.items[len(q.items)-1]
	q.items = q.items[:len(q.items)-1]
	delete(q.place, last.ref)
	return last
}
