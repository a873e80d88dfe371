package notify

import "sync"

// box is where things are left for a goroutine that works on them later. Leaving
// never waits.
type box[T any] struct {
	mu     *sync.Mutex
	list   *[]T
	signal chan struct{} // has a value after something was left
}

func newBox[T any]() box[T] {
	return box[T]{mu: new(sync.Mutex), list: new([]T), signal: make(chan struct{}, 1)}
}

func (b box[T]) put(v ...T) {
	b.mu.Lock()
	*b.list = append(*b.list, v...)
	b.mu.Unlock()
	select {
	case b.signal <- struct{}{}:
	default:
	}
}

func (b box[T]) take() (all []T) {
	b.mu.Lock()
	defer b.mu.Unlock()
	all, *b.list = *b.list, nil
	return all
}
