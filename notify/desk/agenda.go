package desk

import (
	"container/heap"
	"time"
)

// agenda holds keys by time: set, removed and looked at in O(log n).
type agenda struct {
	items []entry
	place map[string]int
}

type entry struct {
	key string
	at  time.Time
}

func newAgenda() *agenda { return &agenda{place: map[string]int{}} }

// set puts the key at a time; a zero time takes it off.
func (a *agenda) set(key string, at time.Time) {
	i, there := a.place[key]
	switch {
	case at.IsZero() && there:
		heap.Remove(a, i)
	case at.IsZero():
	case there:
		a.items[i].at = at
		heap.Fix(a, i)
	default:
		heap.Push(a, entry{key, at})
	}
}

// first returns the earliest key; ok is false where there is none.
func (a *agenda) first() (e entry, ok bool) {
	if len(a.items) == 0 {
		return entry{}, false
	}
	return a.items[0], true
}

// Len, Less, Swap, Push and Pop are for container/heap.
func (a *agenda) Len() int { return len(a.items) }

func (a *agenda) Less(i, j int) bool {
	x, y := a.items[i], a.items[j]
	if !x.at.Equal(y.at) {
		return x.at.Before(y.at)
	}
	return x.key < y.key
}

func (a *agenda) Swap(i, j int) {
	a.items[i], a.items[j] = a.items[j], a.items[i]
	a.place[a.items[i].key], a.place[a.items[j].key] = i, j
}

func (a *agenda) Push(x any) {
	e := x.(entry)
	a.place[e.key] = len(a.items)
	a.items = append(a.items, e)
}

func (a *agenda) Pop() any {
	e := a.items[len(a.items)-1]
	a.items = a.items[:len(a.items)-1]
	delete(a.place, e.key)
	return e
}
