package projector

import (
	"container/list"
	"slices"
	"sync"

	"earlyage/projector/wall"
)

// Ref names a wall, or with an empty Wall a site.
type Ref struct{ Site, Wall string }

func (r Ref) String() string { return r.Site + "/" + r.Wall }

// cache holds the walls that were used last. Its mutex lets readers, who load
// walls too, share it; the states in it change only under the projector's
// write lock.
type cache struct {
	most int

	mu    sync.Mutex
	walls map[Ref]*list.Element // of *cached; mu
	order *list.List            // used last in front; mu
}

type cached struct {
	ref   Ref
	state *wall.State
	dirty bool // holds what is not committed: must not be evicted
}

func newCache(most int) *cache {
	return &cache{most: most, walls: map[Ref]*list.Element{}, order: list.New()}
}

func (c *cache) get(ref Ref) *wall.State {
	c.mu.Lock()
	defer c.mu.Unlock()
	e, ok := c.walls[ref]
	if !ok {
		return nil
	}
	c.order.MoveToFront(e)
	return e.Value.(*cached).state
}

func (c *cache) put(ref Ref, state *wall.State, dirty bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if e, ok := c.walls[ref]; ok {
		e.Value = &cached{ref, state, dirty}
		c.order.MoveToFront(e)
		return
	}
	c.walls[ref] = c.order.PushFront(&cached{ref, state, dirty})
	if !dirty {
		c.evict()
	}
}

// clean marks walls as committed and evicts what is over the bound.
func (c *cache) clean(refs []Ref) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, ref := range refs {
		if e, ok := c.walls[ref]; ok {
			e.Value.(*cached).dirty = false
		}
	}
	c.evict()
}

// evict drops clean walls, those used longest ago first. The caller holds mu.
func (c *cache) evict() {
	for e := c.order.Back(); e != nil && len(c.walls) > c.most; {
		w := e.Value.(*cached)
		before := e.Prev()
		if !w.dirty {
			c.order.Remove(e)
			delete(c.walls, w.ref)
		}
		e = before
	}
}

func (c *cache) len() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return len(c.walls)
}

// known lists the walls on which an accepted event stands, by site, in order.
type known map[string][]string

func (k known) has(ref Ref) bool {
	_, ok := slices.BinarySearch(k[ref.Site], ref.Wall)
	return ok
}

func (k known) add(ref Ref) {
	if i, ok := slices.BinarySearch(k[ref.Site], ref.Wall); !ok {
		k[ref.Site] = slices.Insert(k[ref.Site], i, ref.Wall)
	}
}
