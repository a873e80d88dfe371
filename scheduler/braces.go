package scheduler

import (
	"slices"
	"strings"

	"earlyage/projector/wall"
)

// reach is the run of stations that a brace answers for, in millimetres, ends
// included. On a closed wall it may run round station 0: then from is the greater.
type reach struct{ from, to int }

// touches reports whether some stations lie within the reach.
func (r reach) touches(from, to int) bool {
	if r.from <= r.to {
		return from <= r.to && r.from <= to
	}
	return to >= r.from || from <= r.to
}

// parts are the reach as one or two runs along the stations.
func (r reach) parts(length int) [][2]int {
	if r.from <= r.to {
		return [][2]int{{r.from, r.to}}
	}
	return [][2]int{{r.from, length}, {0, r.to}}
}

// meets reports whether a joint lies in what is looked at.
func (k *look) meets(j Joint) bool {
	return k.brace == "" || k.reach.touches(int(j.FromM*1000), int(float64(j.ToM*1000)+0.5))
}

// standingAt lists the braces that stood at a moment and whose place is known, by
// station.
func (k *look) standingAt(at int64) []*wall.Brace {
	return slices.DeleteFunc(k.stoodAt(at), func(b *wall.Brace) bool { return b.At < 0 })
}

// neighbours are the places of the braces on either side, at another station; -1:
// none. On a closed wall they may be at one station.
func (k *look) neighbours(list []*wall.Brace, i int) (before, after int) {
	return k.nextTo(list, i, -1), k.nextTo(list, i, 1)
}

func (k *look) nextTo(list []*wall.Brace, i, step int) int {
	n := len(list)
	for j := i + step; ; j += step {
		if k.wall.Holding.Geometry.Closed {
			j = (j + n) % n
		}
		switch {
		case j < 0 || j == n || j == i:
			return -1
		case !k.together(list[i], list[j]):
			return j
		}
	}
}

// together reports whether two braces stand at one station, as on either side of a
// wall: they answer for the same concrete.
func (k *look) together(a, b *wall.Brace) bool {
	g := &k.wall.Holding.Geometry
	return a.At == b.At || g.Closed && g.Length > 0 && a.At%g.Length == b.At%g.Length
}

// reachOf is what a brace answers for: from the next brace on one side to the
// next on the other, round corners, past openings, all the way up.
func (k *look) reachOf(list []*wall.Brace, i int) reach {
	before, after := k.neighbours(list, i)
	r := reach{0, k.wall.Holding.Geometry.Length}
	if k.wall.Holding.Geometry.Closed {
		if before < 0 || k.together(list[before], list[after]) {
			return r // one or two stations round a closed wall: each answers for all of it
		}
		return reach{list[before].At, list[after].At}
	}
	if before >= 0 {
		r.from = list[before].At
	}
	if after >= 0 {
		r.to = list[after].At
	}
	return r
}

// clockZero is the last concrete within a reach: the end of the last lift or
// top-up that touches it, never interpolated, the last consolidation there, and
// on the whole wall the last discharge and line correction. What names a station
// that the wall has not counts everywhere.
func (k *look) clockZero(r reach) int64 {
	p := &k.wall.Pour
	zero := max(p.Discharged, p.Corrected)
	for i := range p.Lifts {
		l := &p.Lifts[i]
		if l.Ended.Late <= zero {
			continue
		}
		for _, part := range r.parts(k.wall.Holding.Geometry.Length) {
			if l.Reaches(part[0], part[1]) {
				zero = l.Ended.Late
			}
		}
	}
	for _, c := range p.Consolidated {
		if c.At > zero && (r.touches(c.From, c.To) || c.To > k.wall.Holding.Geometry.Length) {
			zero = c.At
		}
	}
	if len(p.Lifts) == 0 {
		return 0
	}
	return zero
}

// braceWindows looks at every brace that stood at the look's moment, by its own
// clock zero. Braces with one clock zero share the sums of temperature.
func (k *look) braceWindows(joints []Joint) []BraceWindow {
	list := k.standingAt(k.now)
	if len(list) == 0 || len(k.wall.Pour.Lifts) == 0 {
		return k.plainBraces()
	}
	accounts := map[int64]*account{}
	looks := make([]look, len(list))
	out := make([]BraceWindow, len(list))
	for i, b := range list {
		looks[i] = *k
		y := &looks[i]
		y.brace, y.reach, y.next = b.Name, k.reachOf(list, i), 0
		y.zero = k.clockZero(y.reach)
		if accounts[y.zero] == nil {
			accounts[y.zero] = y.account()
		}
		out[i] = y.braceWindow(b, joints, accounts[y.zero])
		k.at(y.next)
	}
	for i := range out {
		k.askNeighbours(list, out, i)
	}
	return k.withOthers(out)
}

func (k *look) braceWindow(b *wall.Brace, joints []Joint, acc *account) BraceWindow {
	w := BraceWindow{Name: b.Name, AtM: metres(b.At), FromM: metres(k.reach.from), ToM: metres(k.reach.to), ClockZero: moment(k.zero), State: BraceStanding}
	w.Strip = k.window(k.judge(acc, joints), acc)
	if b.Disturbed > b.Inspected {
		w.State = BraceDisturbed
	}
	return w
}

// askNeighbours lets a brace go only if both its neighbours may go as well. A strip
// that is past is asked less of: see shutBy.
func (k *look) askNeighbours(list []*wall.Brace, out []BraceWindow, i int) {
	w := &out[i]
	before, after := k.neighbours(list, i)
	var shut, early []string
	for _, n := range [2]int{before, after} {
		if n < 0 || openButPermit(out[n].Strip) {
			continue
		}
		waits := "brace " + out[n].Name + " beside it waits for "
		shut = append(shut, waits+out[n].Strip.Governs)
		if why := keptShut(out[n].Strip); why != "" {
			early = append(early, waits+why)
		}
	}
	w.beside = strings.Join(early, "; ")
	w.MayStrip, w.Waits = w.Strip.Open && len(shut) == 0, strings.Join(shut, "; ")
	if !w.Strip.Open {
		w.Waits = "waits for " + w.Strip.Governs
	}
	if w.MayStrip && w.State == BraceStanding {
		w.State = BraceMayStrip
	}
}

// openButPermit reports whether a window is open but for a permit: the permit is
// for a brace, what holds the wall up is for its neighbours too.
func openButPermit(s Strip) bool {
	return !slices.ContainsFunc(s.Criteria, func(c Criterion) bool { return !c.Met && c.Name != Permit })
}

// plainBraces lists the braces where there is nothing to say of their windows.
func (k *look) plainBraces() []BraceWindow { return k.withOthers(nil) }

// lastReach says what a stripped brace answered for when it was taken off.
func (k *look) lastReach(b *wall.Brace, w *BraceWindow) {
	list := k.standingAt(b.Stripped)
	i := slices.IndexFunc(list, func(x *wall.Brace) bool { return x.Name == b.Name })
	if i < 0 {
		return
	}
	r := k.reachOf(list, i)
	w.FromM, w.ToM, w.ClockZero = metres(r.from), metres(r.to), moment(k.clockZero(r))
}

// withOthers adds the braces that do not stand, and puts all in order of station.
func (k *look) withOthers(standing []BraceWindow) []BraceWindow {
	byName := map[string]BraceWindow{}
	for _, w := range standing {
		byName[w.Name] = w
	}
	var out []BraceWindow
	for _, b := range k.wall.Holding.Braces {
		if w, ok := byName[b.Name]; ok {
			out = append(out, w)
			continue
		}
		w := BraceWindow{Name: b.Name, AtM: metres(max(b.At, 0)), State: BracePlanned}
		switch {
		case b.Stripped != 0:
			w.State = BraceStripped
			k.lastReach(b, &w)
		case b.Set != 0:
			w.State = BraceStanding
		}
		out = append(out, w)
	}
	return out
}
