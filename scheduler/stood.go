package scheduler

import (
	"cmp"
	"math"
	"slices"

	"earlyage/events"
	"earlyage/projector/wall"
)

// stood is one time that a brace stood at one place, or may have.
type stood struct {
	brace  *wall.Brace // as it was then: its place, when it was set, what has come of it since
	early  int64       // it may have been set already
	lost   int64       // until then it surely stood, if it was set; 0: it surely stands
	until  int64       // after that it surely does not; 0: it may stand
	unsure bool        // it is not sure that it was ever set there
}

// standsOf reads from a wall's entries, in their order, when its braces stood. The
// fold keeps only the last set and the last strip of each: what was taken off and
// set again stood before as well. What the versions of an entry do not agree on, or
// is voided by one person alone, is not sure.
func standsOf(w *wall.State) ([]stood, []move) {
	s := standing{wall: w, up: map[string][]int{}}
	entries := w.Entries()
	for i := range entries {
		switch e := &entries[i]; e.Last().(type) {
		case *events.BraceSet:
			s.set(e)
		case *events.BraceStripped:
			s.strip(e)
		}
	}
	for i := range s.all {
		s.all[i].brace.Stripped = s.all[i].lost
	}
	slices.SortStableFunc(s.all, func(x, y stood) int {
		return cmp.Or(cmp.Compare(x.brace.At, y.brace.At), cmp.Compare(x.brace.Name, y.brace.Name))
	})
	return s.all, s.moves
}

// move is a set of a brace at another place than where it stood.
type move struct {
	set  *wall.Entry
	name string
	at   int // where it stood, mm
}

// besideMost is within which a set again says the same place, mm (common practice,
// no source): a tape is read anew.
const besideMost = 500

// standing gathers when braces stood.
type standing struct {
	wall *wall.State
	all  []stood
	up   map[string][]int // places in all of what may still stand
	off  []*wall.Entry    // what took braces off so far

	moves []move
}

// lose ends what stands of a name: from a moment it is not sure any more, from
// another, if any, it is surely gone.
func (s *standing) lose(name string, lost, until int64) {
	for _, i := range s.up[name] {
		if y := &s.all[i]; y.lost == 0 {
			y.lost = lost
		}
		s.all[i].until = until
	}
	if until != 0 {
		delete(s.up, name)
	}
}

func (s *standing) strip(e *wall.Entry) {
	s.off = append(s.off, e)
	sure, any := wall.TakenOff(e)
	for name := range s.up {
		switch {
		case sure.Has(name):
			s.lose(name, e.Began.Early, max(e.Began.Early, e.Ended.Late))
		case any.Has(name):
			s.lose(name, e.Began.Early, 0)
		}
	}
}

func (s *standing) set(e *wall.Entry) {
	told := map[string][]events.BracePlan{}
	var names []string
	for _, v := range e.Versions {
		for _, p := range v.(*events.BraceSet).Braces {
			if told[p.Name] == nil {
				names = append(names, p.Name)
			}
			told[p.Name] = append(told[p.Name], p)
		}
	}
	for _, name := range names {
		s.setOne(e, name, told[name])
	}
}

// setOne takes in what the versions of an entry say of one brace.
func (s *standing) setOne(e *wall.Entry, name string, told []events.BracePlan) {
	places := map[int]bool{}
	for _, p := range told {
		places[stationOf(p)] = true
	}
	s.move(e, name, places)
	if !e.Maybe && len(told) == len(e.Versions) && len(places) == 1 {
		s.lose(name, e.Ended.Late-1, e.Ended.Late-1)
		s.put(stood{brace: braceAs(s.wall, told[0], e), early: e.Began.Early, unsure: s.mayBeOff(e, name)})
		return
	}
	for _, i := range s.up[name] {
		if y := &s.all[i]; y.lost == 0 && (len(places) > 1 || !places[y.brace.At]) {
			y.lost = e.Began.Early
		}
	}
	for _, p := range told {
		if at := stationOf(p); places[at] {
			places[at] = false
			s.put(stood{brace: braceAs(s.wall, p, e), early: e.Began.Early, unsure: true})
		}
	}
}

// move notes that a brace which stood was set elsewhere, by any version. Where the
// entry sets another at its place, they have only changed their names.
func (s *standing) move(e *wall.Entry, name string, places map[int]bool) {
	for _, i := range s.up[name] {
		y := &s.all[i]
		if y.unsure || y.lost != 0 || y.brace.At < 0 || !elsewhere(places, y.brace.At) || setNear(e, y.brace.At) {
			continue
		}
		s.moves = append(s.moves, move{e, name, y.brace.At})
		return
	}
}

func elsewhere(places map[int]bool, station int) bool {
	for at := range places {
		if at >= 0 && !beside(at, station) {
			return true
		}
	}
	return false
}

func beside(a, b int) bool { return max(a-b, b-a) <= besideMost }

// setNear reports whether every version of an entry sets a brace at a station.
func setNear(e *wall.Entry, station int) bool {
	return !slices.ContainsFunc(e.Versions, func(v events.Data) bool {
		return !slices.ContainsFunc(v.(*events.BraceSet).Braces, func(p events.BracePlan) bool { return p.AtM != nil && beside(stationOf(p), station) })
	})
}

func (s *standing) put(y stood) {
	s.up[y.brace.Name] = append(s.up[y.brace.Name], len(s.all))
	s.all = append(s.all, y)
}

// mayBeOff reports whether an entry that comes before a set may have taken the brace
// off only after it. What one device says it says in order.
func (s *standing) mayBeOff(set *wall.Entry, name string) bool {
	return slices.ContainsFunc(s.off, func(e *wall.Entry) bool {
		inOrder := e.Source == set.Source && e.Sequence != 0 && e.Sequence < set.Sequence
		_, any := wall.TakenOff(e)
		return !inOrder && e.Ended.Late > set.Began.Early && any.Has(name)
	})
}

// taken is an entry that took braces off: a strip, or a set at another place of what
// stood at this one.
type taken struct {
	wall.Strip
	moved    bool
	from, to int // of what was moved: where it stood, mm
}

// takenOff lists what took braces off. A brace that was moved before concrete lay in
// its reach is none; one that was moved stood a moment before.
func (k *look) takenOff(moves []move) (out []taken) {
	for _, s := range k.wall.Holding.Strips {
		out = append(out, taken{Strip: s})
	}
	for _, m := range moves {
		if !k.concreteBy(m) {
			continue
		}
		if n := len(out); n > 0 && out[n-1].Key == m.set.Key() {
			y := &out[n-1]
			y.Braces, y.from, y.to = append(y.Braces, m.name), min(y.from, m.at), max(y.to, m.at)
			continue
		}
		at := wall.Interval{Early: m.set.Began.Early - 1, Late: m.set.Began.Late - 1}
		out = append(out, taken{wall.Strip{Key: m.set.Key(), Seq: m.set.Seq, Began: at, Braces: []string{m.name}, Maybe: m.set.Maybe, By: m.set.By}, true, m.at, m.at})
	}
	return out
}

// concreteBy reports whether concrete may have lain in a brace's reach when it was moved.
func (k *look) concreteBy(m move) bool {
	at := m.set.Began.Early - 1
	list := k.standingAt(at)
	r := reach{0, k.wall.Holding.Geometry.Length}
	if i := slices.IndexFunc(list, func(b *wall.Brace) bool { return b.Name == m.name }); i >= 0 {
		r = k.reachOf(list, i)
	}
	return slices.ContainsFunc(k.wall.Pour.Lifts, func(l wall.Lift) bool {
		return l.Began.Early <= at && slices.ContainsFunc(r.parts(k.wall.Holding.Geometry.Length), func(p [2]int) bool { return l.Reaches(p[0], p[1]) })
	})
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
// sure that it stood then is none of them: those beside it answer for what it would
// have answered for.
func (k *look) stoodAt(at int64) (out []*wall.Brace) {
	for _, y := range k.stands {
		if at == k.now {
			k.at(y.brace.Set)
		}
		if y.unsure || y.brace.Set > at || y.lost != 0 && y.lost < at {
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
