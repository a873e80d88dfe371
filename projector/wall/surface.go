package wall

import (
	"cmp"
	"slices"
)

// Layer is one lift's concrete over one stretch, with what lies below it. Above
// an opening a layer begins at the head, and what lies below it ends at the sill.
type Layer struct {
	Lift   int // index into Pour.Lifts
	Bottom int // mm above the wall's foot
	Top    int
	Below  *Layer
}

// Stretch is a run of stations with the same layers, in millimetres.
type Stretch struct {
	From, To int
	Top      *Layer // nil: nothing placed
}

// Height is where the concrete stands on the stretch, in millimetres.
func (s Stretch) Height() int {
	if s.Top == nil {
		return 0
	}
	return s.Top.Top
}

func (s Stretch) mid() int { return (s.From + s.To) / 2 }

// Contact is a layer that newer concrete met, over one stretch or at one end.
type Contact struct {
	From, To     int // mm; equal at a nose
	Level        int // mm: height of the joint; of a nose its foot
	Head         int // mm: of a nose its top; else as Level
	Lower, Upper int // index into Pour.Lifts: the older and the newer
	AgeMS        int64
	Placed       int64 // the older layer there, early, Unix ms
	Covered      int64 // by the newer layer there, late, Unix ms
}

// Nose reports whether the contact is the vertical end of a lift.
func (c *Contact) Nose() bool { return c.From == c.To }

// noseFrom is the age under which the end of a lift is no joint: the pass went on.
const noseFrom = 5 * minute

// outOfOrder is how much earlier than the layer below it a layer may seem to
// be, before the lift is marked.
const outOfOrder = 2 * minute

// surface is the top of the concrete along the stations, painted lift by lift
// in the order in which they were placed.
type surface struct {
	geometry  *Geometry
	stretches []Stretch
	contacts  []Contact
}

func newSurface(g *Geometry) *surface {
	s := &surface{geometry: g}
	borders := g.borders()
	for i := 1; i < len(borders); i++ {
		s.stretches = append(s.stretches, Stretch{From: borders[i-1], To: borders[i]})
	}
	return s
}

// paint lays a lift over its stations.
func (s *surface) paint(lifts []Lift, index int) {
	l := &lifts[index]
	for _, pieces := range append(l.others, l.pieces) {
		for _, p := range pieces {
			s.cut(p.low)
			s.cut(p.high)
		}
	}
	for _, p := range l.pieces {
		for i := s.find(p.low); i < len(s.stretches) && s.stretches[i].From < p.high; i++ {
			if l.surely(s.stretches[i].mid()) {
				s.lay(lifts, &s.stretches[i], index)
			} else {
				s.brush(lifts, &s.stretches[i], index)
			}
		}
	}
	for _, pieces := range l.others {
		for _, p := range pieces {
			for i := s.find(p.low); i < len(s.stretches) && s.stretches[i].From < p.high; i++ {
				if mid := s.stretches[i].mid(); !slices.ContainsFunc(l.pieces, func(p piece) bool { return p.holds(mid) }) {
					s.brush(lifts, &s.stretches[i], index)
				}
			}
		}
	}
	s.noses(lifts, index)
	l.judge()
}

// brush notes that a lift may have covered a stretch, and leaves its surface.
func (s *surface) brush(lifts []Lift, st *Stretch, index int) {
	if st.Top != nil && st.Top.Lift != index && lifts[index].height(st.Height()) > st.Height() {
		s.contacts = append(s.contacts, flat(lifts, st, index))
	}
}

// find returns the first stretch that begins at a station or after it.
func (s *surface) find(at int) int {
	i, _ := slices.BinarySearchFunc(s.stretches, at, func(a Stretch, at int) int { return cmp.Compare(a.From, at) })
	return i
}

// cut makes a station a border between stretches.
func (s *surface) cut(at int) {
	i := s.find(at)
	if i < len(s.stretches) && s.stretches[i].From == at || i == 0 {
		return
	}
	before := &s.stretches[i-1]
	if at >= before.To {
		return
	}
	right := Stretch{From: at, To: before.To, Top: before.Top}
	before.To = at
	s.stretches = slices.Insert(s.stretches, i, right)
}

// lay puts a lift's concrete on one stretch: up to the sills, on from the heads.
func (s *surface) lay(lifts []Lift, st *Stretch, index int) {
	l := &lifts[index]
	zones := s.geometry.zones(st.mid())
	height := st.Height()
	base := height
	for i := 1; i < len(zones); i++ {
		if height == zones[i-1].top {
			base = zones[i].bottom // it stands at the sill: the next concrete begins at the head
		}
	}
	top := l.height(base)
	if top > s.geometry.Height {
		l.mark("above the top of the wall")
		top = s.geometry.Height
	}
	if top <= height {
		l.below += st.To - st.From
		return
	}
	laid := false
	for _, z := range zones {
		bottom, end := max(height, z.bottom), min(top, z.top)
		if end > bottom {
			s.layer(lifts, st, index, bottom, end)
			laid = true
		}
	}
	if !laid {
		l.inside += st.To - st.From
	}
}

func (s *surface) layer(lifts []Lift, st *Stretch, index, bottom, top int) {
	l := &lifts[index]
	if under := st.Top; under != nil {
		l.over = true
		if l.EarlyAt(st.mid(), st.mid()) < lifts[under.Lift].EarlyAt(st.mid(), st.mid())-outOfOrder {
			l.mark("out of time order")
		}
		if under.Lift != index && under.Top == bottom {
			s.contacts = append(s.contacts, flat(lifts, st, index))
		}
	}
	st.Top = &Layer{Lift: index, Bottom: bottom, Top: top, Below: st.Top}
	l.VolumeML += int64(st.To-st.From) * int64(s.geometry.core(st.mid())) * int64(top-bottom) / 1000
	l.gain(st, lifts)
}

// flat is how old the lower layer was where and when the upper covered it: the
// greatest over the stretch; both were placed linearly along the stations.
func flat(lifts []Lift, st *Stretch, upper int) Contact {
	lo, up := &lifts[st.Top.Lift], &lifts[upper]
	c := Contact{From: st.From, To: st.To, Level: st.Top.Top, Head: st.Top.Top, Lower: st.Top.Lift, Upper: upper}
	for _, at := range [2]int{st.From, st.To} {
		placed, covered := lo.EarlyAt(st.mid(), at), up.LateAt(st.mid(), at)
		if age := covered - placed; age > c.AgeMS || c.Covered == 0 {
			c.AgeMS, c.Placed, c.Covered = age, placed, covered
		}
	}
	return c
}

// noses finds the older end faces that the new lift rises beside: at its two
// ends, round station 0 on a closed wall, not at a bulkhead.
func (s *surface) noses(lifts []Lift, index int) {
	l := &lifts[index]
	if len(l.pieces) == 0 {
		return
	}
	first, last := l.pieces[0], l.pieces[len(l.pieces)-1]
	if l.Way > 0 {
		s.nose(lifts, index, first.low, -1)
		s.nose(lifts, index, last.high, 1)
	} else {
		s.nose(lifts, index, first.high, 1)
		s.nose(lifts, index, last.low, -1)
	}
}

// nose looks across a station from inside the lift, in a direction along the stations.
func (s *surface) nose(lifts []Lift, index, at, way int) {
	if slices.Contains(s.geometry.Bulkheads, at) {
		return
	}
	inside, outside := s.neighbours(at, way)
	if inside == nil || outside == nil {
		return
	}
	for in := inside.Top; in != nil && in.Lift == index; in = in.Below {
		for out := outside.Top; out != nil && out.Top > in.Bottom; out = out.Below {
			foot, head := max(in.Bottom, out.Bottom), min(in.Top, out.Top)
			if head <= foot {
				continue
			}
			placed := lifts[out.Lift].EarlyAt(outside.mid(), s.edge(outside, -way))
			covered := lifts[index].LateAt(inside.mid(), s.edge(inside, way))
			if covered-placed > noseFrom {
				s.contacts = append(s.contacts, Contact{From: at, To: at, Level: foot, Head: head, Lower: out.Lift, Upper: index,
					AgeMS: covered - placed, Placed: placed, Covered: covered})
			}
		}
	}
}

// edge is the station of a stretch's end in a direction.
func (s *surface) edge(st *Stretch, way int) int {
	if way > 0 {
		return st.To
	}
	return st.From
}

// neighbours are the stretches on the inner and the outer side of a station.
func (s *surface) neighbours(at, way int) (inside, outside *Stretch) {
	n := len(s.stretches)
	if n == 0 {
		return nil, nil
	}
	right := s.find(at)
	left := right - 1
	if s.geometry.Closed {
		right, left = right%n, (left+n)%n
	}
	pick := func(i int) *Stretch {
		if i < 0 || i >= n {
			return nil
		}
		return &s.stretches[i]
	}
	if way > 0 {
		return pick(left), pick(right)
	}
	return pick(right), pick(left)
}

// riseWithin sums what was placed on the stretch in the time before the top
// layer, the top layer included. A layer counts whole if it counts anywhere on
// the stretch, so that the rise is never understated.
func (st *Stretch) riseWithin(lifts []Lift, window int64) int {
	mid, rise := st.mid(), 0
	last := &lifts[st.Top.Lift]
	for y := st.Top; y != nil; y = y.Below {
		l := &lifts[y.Lift]
		age := min(last.EarlyAt(mid, st.From)-l.EarlyAt(mid, st.From), last.EarlyAt(mid, st.To)-l.EarlyAt(mid, st.To))
		if age >= window {
			break
		}
		rise += y.Top - y.Bottom
	}
	return rise
}
