package scheduler

import (
	"cmp"
	"math"
	"slices"

	"earlyage/events"
	"earlyage/projector/wall"
)

// stood is one time that a brace stood at one place, as the fold has it.
type stood struct {
	brace *wall.Brace // as it was then: its place, when it was set, what has come of it since
	early int64       // it may have been set already
	until int64       // early, of the strip, or late, of a set at another place; 0: it stands
}

// standsOf reads from a wall's entries, in their order, when its braces stood. The
// fold keeps only the last set and the last strip of each: what was taken off and
// set again stood before as well.
func standsOf(w *wall.State) (all []stood) {
	up := map[string]int{} // places in all
	end := func(name string, at int64) {
		if i, stands := up[name]; stands {
			all[i].until = at
			delete(up, name)
		}
	}
	entries := w.Entries()
	for i := range entries {
		e := &entries[i]
		switch d := e.Last().(type) {
		case *events.BraceSet:
			for _, p := range d.Braces {
				end(p.Name, e.Ended.Late-1)
				up[p.Name] = len(all)
				all = append(all, stood{brace: braceAs(w, p, e), early: e.Began.Early})
			}
		case *events.BraceStripped:
			if e.Maybe {
				continue // its void waits for a second person
			}
			for _, y := range slices.Clone(all) {
				if len(d.Braces) == 0 || slices.Contains(d.Braces, y.brace.Name) {
					end(y.brace.Name, e.Began.Early)
				}
			}
		}
	}
	for i := range all {
		all[i].brace.Stripped = all[i].until
	}
	slices.SortStableFunc(all, func(x, y stood) int {
		return cmp.Or(cmp.Compare(x.brace.At, y.brace.At), cmp.Compare(x.brace.Name, y.brace.Name))
	})
	return all
}

// braceAs is a brace as one entry set it.
func braceAs(w *wall.State, p events.BracePlan, e *wall.Entry) *wall.Brace {
	b := wall.Brace{Name: p.Name}
	if i := slices.IndexFunc(w.Holding.Braces, func(b *wall.Brace) bool { return b.Name == p.Name }); i >= 0 {
		b = *w.Holding.Braces[i]
	}
	b.At, b.Set, b.Stripped = stationOf(p), e.Ended.Late, 0
	return &b
}

// stationOf is where an entry set a brace, mm; -1: not said.
func stationOf(p events.BracePlan) int {
	if p.AtM == nil {
		return -1
	}
	return int(math.Round(float64(*p.AtM * 1000)))
}

// stoodAt lists the braces that stood at a moment, as they stood then, by station;
// one that was taken off at that moment is among them. A brace of which it is not
// sure that it was set by then is none of them: those beside it answer for what it
// would have answered for.
func (k *look) stoodAt(at int64) (out []*wall.Brace) {
	for _, y := range k.stands {
		if at == k.now {
			k.at(y.brace.Set)
		}
		if y.brace.Set > at || y.until != 0 && y.until < at {
			continue
		}
		if i := slices.IndexFunc(out, func(b *wall.Brace) bool { return b.Name == y.brace.Name }); i < 0 {
			out = append(out, y.brace)
		}
	}
	return out
}

// mayHaveStood is stoodAt with those of which that is not sure.
func (k *look) mayHaveStood(at int64) (out []*wall.Brace) {
	for _, y := range k.stands {
		if y.early <= at && (y.until == 0 || y.until >= at) {
			out = append(out, y.brace)
		}
	}
	return out
}
