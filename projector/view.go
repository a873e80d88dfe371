package projector

import (
	"fmt"
	"maps"
	"slices"
	"sync"

	"go.etcd.io/bbolt"

	"earlyage/projector/people"
	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// View is one consistent picture of the folded record. It is only valid within
// the function that Read calls; nothing in it may be kept or changed, and Read
// may not be called again inside it. What a view shows may be used only after
// Read has returned nil: a state that cannot be read makes Read fail.
type View struct {
	p   *Projector
	f   *fold
	bad *failure
}

// failure is the first thing that went wrong in a view. A view may be used by
// several goroutines.
type failure struct {
	mu  sync.Mutex
	err error // mu
}

func (f *failure) set(err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.err == nil {
		f.err = err
	}
}

func (f *failure) get() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.err
}

// Through returns the stream sequence that the picture is of.
func (v View) Through() uint64 { return v.f.stand.Through }

// Level reports whether the picture is of the stream's head, as it was seen
// within the last 15 s. Where it is false, nothing may be shown as open.
func (v View) Level() bool { return v.p.level.is() }

// Hub returns how the store stands to the stream.
func (v View) Hub() HubState { return v.p.level.state(v.f.stand, v.p.keep) }

// Register returns who may do what, as of this picture. It may be kept.
func (v View) Register() *people.Register { return v.f.register }

// Sites lists the sites that any message named, in order, without the company.
func (v View) Sites() []string {
	list := slices.Sorted(maps.Keys(v.f.sites))
	return slices.DeleteFunc(list, func(s string) bool { return s == "_" })
}

// Site returns a site's state, or nil. "_" is the company.
func (v View) Site(name string) *site.State {
	if p := v.f.sites[name]; p != nil {
		return p.state
	}
	return nil
}

// Devices returns what is known of a site's devices, or nil.
func (v View) Devices(name string) *site.Devices {
	if p := v.f.sites[name]; p != nil {
		return p.devices
	}
	return nil
}

// Walls lists, in order, the walls of a site on which an accepted event stands;
// of all sites if site is empty.
func (v View) Walls(site string) []Ref {
	var list []Ref
	for _, s := range slices.Sorted(maps.Keys(v.f.known)) {
		if site != "" && s != site {
			continue
		}
		for _, w := range v.f.known[s] {
			list = append(list, Ref{s, w})
		}
	}
	return list
}

// Wall returns a wall's state, or nil if no message named it. A wall that only
// refused messages name has a state that is not Known. It is nil too when the
// stored state cannot be read; then Read returns the error.
func (v View) Wall(ref Ref) *wall.State {
	if st := v.f.walls.get(ref); st != nil {
		return st
	}
	st, err := v.f.loadWall(ref)
	if err != nil {
		v.bad.set(err)
		return nil
	}
	if st != nil {
		v.f.walls.put(ref, st, false)
	}
	return st
}

// Refused lists messages that were not accepted, the newest first, at most limit.
func (v View) Refused(limit int) (rows []RefusedRow) {
	err := guarded(func() error {
		return v.f.view.db.View(func(tx *bbolt.Tx) (err error) {
			rows, err = refusedRows(tx, limit)
			return err
		})
	})
	if err != nil {
		v.bad.set(fmt.Errorf("refused messages: %w", err))
	}
	return rows
}

// Leaf returns the bytes of the message at a sequence as they were received
// (see ParseLeaf), or nil if none is kept.
func (v View) Leaf(seq uint64) ([]byte, error) { return v.f.keep.leaf(seq) }

// Leaves calls f with every folded message whose subject names a wall, or with
// an empty Wall a site itself, in order of the stream. The leaf's body must not
// be changed.
func (v View) Leaves(at Ref, f func(Leaf) error) error {
	list, err := v.f.keep.sequences(at, v.f.stand.Through)
	if err != nil {
		return fmt.Errorf("messages of %s: %w", at, err)
	}
	for _, seq := range list {
		raw, err := v.f.keep.leaf(seq)
		if err != nil {
			return err
		}
		l, err := ParseLeaf(raw)
		if err != nil {
			return fmt.Errorf("message %d of %s: %w", seq, at, err)
		}
		if err := f(l); err != nil {
			return err
		}
	}
	return nil
}
