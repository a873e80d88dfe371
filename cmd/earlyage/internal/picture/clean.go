package picture

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"time"
)

// The greatest wall that is drawn, m.
const (
	mostLengthM = 20000.0
	mostHeightM = 100.0
)

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

func clamp(v, lo, hi float64) float64 { return min(max(v, lo), hi) }

// drawable reports whether the wall has an extent that can be drawn.
func (w *Wall) drawable() bool {
	return finite(w.LengthM, w.FormTopM) && w.LengthM > 0.01 && w.LengthM <= mostLengthM && w.FormTopM > 0.01 && w.FormTopM <= mostHeightM
}

// clean returns the wall with plain names and without what cannot be drawn. The
// wall has to be drawable. Nothing of the original is changed.
func (w Wall) clean() Wall {
	w.Site, w.Name, w.State = plain(w.Site), plain(w.Name), plain(w.State)
	if !finite(w.TopM) || w.TopM < 0.01 || w.TopM > w.FormTopM {
		w.TopM = w.FormTopM
	}
	w.Layers = cleaned(w.Layers, w.cleanLayer)
	w.Openings = cleaned(w.Openings, w.cleanOpening)
	w.Corners = cleaned(w.Corners, func(c *Corner) bool {
		c.Name = plain(c.Name)
		return w.onWall(c.AtM)
	})
	w.Bulkheads = cleaned(w.Bulkheads, func(b *Bulkhead) bool {
		b.Name = plain(b.Name)
		return w.onWall(b.AtM)
	})
	w.Pilasters = cleaned(w.Pilasters, func(p *Pilaster) bool {
		p.Name = plain(p.Name)
		return w.clip(&p.FromM, &p.ToM) && p.FromM < p.ToM
	})
	w.Braces = cleaned(w.Braces, func(b *Brace) bool {
		b.Name = plain(b.Name)
		if !w.onWall(b.AtM) {
			b.AtM = -1
		}
		return true
	})
	slices.SortStableFunc(w.Braces, func(a, b Brace) int { return cmp.Compare(a.AtM, b.AtM) })
	w.Fronts = cleaned(w.Fronts, w.cleanFront)
	w.Joints = cleaned(w.Joints, w.cleanJoint)
	for i := range w.Joints {
		if j := &w.Joints[i]; j.Name == "" {
			j.Name = "J" + strconv.Itoa(i+1)
		}
	}
	return w
}

// cleaned copies what keep, which may change it, wants to keep.
func cleaned[T any](in []T, keep func(*T) bool) []T {
	out := make([]T, 0, len(in))
	for _, v := range in {
		if keep(&v) {
			out = append(out, v)
		}
	}
	return out
}

func (w *Wall) onWall(m float64) bool { return finite(m) && m >= 0 && m <= w.LengthM }

// clip orders a range of stations and cuts it to the wall. It reports false
// where nothing of it lies on the wall.
func (w *Wall) clip(from, to *float64) bool {
	if !finite(*from, *to) {
		return false
	}
	lo, hi := min(*from, *to), max(*from, *to)
	if hi < 0 || lo > w.LengthM {
		return false
	}
	*from, *to = max(lo, 0), min(hi, w.LengthM)
	return true
}

// cleanLayer turns a layer to run from low to high, which swaps its times too,
// and cuts it to the wall, which interpolates them.
func (w *Wall) cleanLayer(l *Layer) bool {
	if !finite(l.FromM, l.ToM, l.BottomM, l.TopM) {
		return false
	}
	l.BottomM, l.TopM = max(l.BottomM, 0), min(l.TopM, w.FormTopM)
	whole := *l
	if l.FromM == l.ToM || !w.clip(&l.FromM, &l.ToM) || l.FromM >= l.ToM || l.BottomM >= l.TopM {
		return false
	}
	l.Began, l.Ended = whole.placedAt(l.FromM), whole.placedAt(l.ToM)
	return true
}

// placedAt is when the layer reached a station: evenly from its begin to its
// end. Zero where either is not known.
func (l Layer) placedAt(m float64) time.Time {
	if l.Began.IsZero() || l.Ended.IsZero() {
		return time.Time{}
	}
	part := clamp((m-l.FromM)/(l.ToM-l.FromM), 0, 1)
	return l.Began.Add(time.Duration(part * float64(l.Ended.Sub(l.Began))))
}

func (w *Wall) cleanOpening(o *Opening) bool {
	if !finite(o.SillM, o.HeadM) || !w.clip(&o.FromM, &o.ToM) || o.FromM >= o.ToM {
		return false
	}
	o.Name = plain(o.Name)
	o.SillM, o.HeadM = clamp(o.SillM, 0, w.FormTopM), clamp(o.HeadM, 0, w.FormTopM)
	return o.SillM < o.HeadM
}

func (w *Wall) cleanFront(f *Front) bool {
	face := f.FromM == f.ToM
	if !finite(f.TopM, f.MinutesLeft) || !w.clip(&f.FromM, &f.ToM) || !face && f.FromM >= f.ToM {
		return false
	}
	switch f.State {
	case FrontLive, FrontClosing:
	default:
		f.State = FrontPastLimit
	}
	if f.MinutesLeft = clamp(f.MinutesLeft, -1e6, 1e6); f.MinutesLeft < 0 {
		f.State = FrontPastLimit
	}
	if f.Room != nil && (!finite(f.Room.NowM) || f.Room.NowM < 0) {
		f.Room = nil
	}
	f.TopM = clamp(f.TopM, 0, w.FormTopM)
	if !face {
		f.BottomM = f.TopM
		return true
	}
	if !finite(f.BottomM) {
		return false
	}
	f.BottomM = clamp(f.BottomM, 0, w.FormTopM)
	return f.BottomM < f.TopM
}

func (w *Wall) cleanJoint(j *Joint) bool {
	upright := j.FromM == j.ToM
	if !finite(j.LevelM) || !w.clip(&j.FromM, &j.ToM) || !upright && j.FromM >= j.ToM {
		return false
	}
	j.Name = plain(j.Name)
	if j.State != JointTreated {
		j.State = JointCold
	}
	if !finite(j.AgeMin, j.LimitMin) || j.AgeMin < 0 || j.LimitMin < 0 || j.AgeMin > 1e7 || j.LimitMin > 1e7 {
		j.AgeMin, j.LimitMin = 0, 0
	}
	j.LevelM = clamp(j.LevelM, 0, w.FormTopM)
	if !upright {
		j.TopM = j.LevelM
		return true
	}
	if !finite(j.TopM) {
		return false
	}
	j.TopM = clamp(j.TopM, 0, w.FormTopM)
	return j.LevelM < j.TopM
}
