package post

import "sync"

const remembered = 4096

// Memory holds what was accepted of late, so that a message that goes to several
// addresses is not sent again to those that have it. It forgets the oldest, and
// everything at a stop. The zero value is empty; it is safe for concurrent use.
type Memory struct {
	mu   sync.Mutex
	has  map[string]bool
	ring []string // in the order of coming
	next int      // where the next one stands
}

// Has reports whether a key is remembered.
func (m *Memory) Has(key string) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.has[key]
}

// Add remembers a key.
func (m *Memory) Add(key string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.has == nil {
		m.has, m.ring = map[string]bool{}, make([]string, remembered)
	}
	if m.has[key] {
		return
	}
	delete(m.has, m.ring[m.next])
	m.has[key], m.ring[m.next] = true, key
	m.next = (m.next + 1) % remembered
}
