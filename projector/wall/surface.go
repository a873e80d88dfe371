package wall

import (
	"cmp"
	"slices"
)

// Layer is one lift's concrete over one stretch, with what lies below it.
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

// Contact is a layer covered by another over one stretch.
type Contact struct {
	From, To, Level int // mm
	Lower, Upper    int // index into Pour.Lifts
	AgeMS           int64
	Placed          int64 // the lower layer there, early, Unix ms
	Covered         int64 // by the upper layer there, late, Unix ms
}

// surface is the top of the concrete along the stations, painted lift by lift
// in the order in which they were placed.
type surface struct {
	stretches []Stretch
	contacts  []Contact
}

// paint lays a lift over its stations. raise gives the new height for the
// height that is there. It returns the least and the greatest thickness placed.
func (s *surface) paint(lifts []Lift, index int, raise func(height int) int) {
	l := &lifts[index]
	s.cut(l.Low)
	s.cut(l.High)
	first, _ := slices.BinarySearchFunc(s.stretches, l.Low, func(a Stretch, at int) int { return cmp.Compare(a.From, at) })
	for i := first; i < len(s.stretches) && s.stretches[i].From < l.High; i++ {
		st := &s.stretches[i]
		height := st.Height()
		top := raise(height)
		if top <= height {
			l.mark("below the surface already there")
			continue
		}
		if st.Top != nil {
			s.contacts = append(s.contacts, contact(lifts, st, index))
		}
		st.Top = &Layer{Lift: index, Bottom: height, Top: top, Below: st.Top}
		l.gain(st, lifts)
	}
}

// cut makes a station a border between stretches.
func (s *surface) cut(at int) {
	i, found := slices.BinarySearchFunc(s.stretches, at, func(a Stretch, at int) int { return cmp.Compare(a.From, at) })
	if found || i == 0 {
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

// contact is how old the lower layer was where and when the upper covered it:
// the greatest over the stretch; both were placed linearly along the stations.
func contact(lifts []Lift, st *Stretch, upper int) Contact {
	lo, up := &lifts[st.Top.Lift], &lifts[upper]
	c := Contact{From: st.From, To: st.To, Level: st.Top.Top, Lower: st.Top.Lift, Upper: upper}
	for _, at := range [2]int{st.From, st.To} {
		placed, covered := lo.EarlyAt(at), up.LateAt(at)
		if age := covered - placed; age > c.AgeMS || c.Covered == 0 {
			c.AgeMS, c.Placed, c.Covered = age, placed, covered
		}
	}
	return c
}

// riseWithin sums what was placed on the stretch in the time before the top
// layer at its middle, the top layer included.
func (st *Stretch) riseWithin(lifts []Lift, window int64) int {
	mid := (st.From + st.To) / 2
	last := lifts[st.Top.Lift].EarlyAt(mid)
	rise := 0
	for y := st.Top; y != nil && last-lifts[y.Lift].EarlyAt(mid) < window; y = y.Below {
		rise += y.Top - y.Bottom
	}
	return rise
}
