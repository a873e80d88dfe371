package wall

import "slices"

// Waits says where the next concrete on a stretch begins and up to where it may
// rise, mm above the wall's foot: to the next sill or the planned top. It
// reports false where nothing more is planned: the stretch stands at its top, or
// was declared to stay low. Where begin is above the stretch's height an opening
// lies between.
func (p *Pour) Waits(st Stretch) (begin, end int, waits bool) {
	g := p.geometry
	if g == nil || p.leftLow(st) {
		return 0, 0, false
	}
	begin, end = st.Height(), g.Top
	mid := st.mid()
	for again := true; again; {
		again = false
		for i := range g.Openings {
			o := &g.Openings[i]
			if o.From > mid {
				break // they stand by station
			}
			if mid < o.To && o.Sill-topTolerance <= begin && begin < o.Head {
				begin, again = o.Head, true
			}
		}
	}
	for i := range g.Openings {
		o := &g.Openings[i]
		if o.From > mid {
			break
		}
		if mid < o.To && o.Sill > begin {
			end = min(end, o.Sill)
		}
	}
	return begin, end, begin < end-topTolerance
}

// leftLow reports whether all of a stretch was declared to stand as low as it does.
func (p *Pour) leftLow(st Stretch) bool {
	return slices.ContainsFunc(p.LeftLow, func(d LeftLow) bool {
		return d.From <= st.From && st.To <= d.To && st.Height() >= d.Top-topTolerance
	})
}

// Core is the concrete's thickness at a station, pilasters included, mm.
func (g *Geometry) Core(at int) int { return g.core(at) }

// LeastCore is the thinnest that the wall's core is, mm.
func (g *Geometry) LeastCore() int {
	least := 0
	for _, l := range g.Legs {
		if least == 0 || l.Core < least {
			least = l.Core
		}
	}
	return least
}

// PlanArea is what the wall covers seen from above, pilasters included, mm².
func (g *Geometry) PlanArea() int64 {
	var area int64
	for _, l := range g.Legs {
		area += int64(l.To-l.From) * int64(l.Core)
	}
	for _, p := range g.Pilasters {
		area += int64(p.To-p.From) * int64(p.Depth)
	}
	return area
}

// At returns the stretch over a station, and the one that ends there where a
// border lies at it; on a closed wall round station 0. A nil one is off the wall.
func (p *Pour) At(station int) (before, after *Stretch) {
	n := len(p.Stretches)
	if n == 0 {
		return nil, nil
	}
	i, border := slices.BinarySearchFunc(p.Stretches, station, func(s Stretch, at int) int { return s.From - at })
	if !border {
		i--
	}
	pick := func(i int) *Stretch {
		if p.geometry != nil && p.geometry.Closed {
			i = (i + n) % n
		}
		if i < 0 || i >= n {
			return nil
		}
		return &p.Stretches[i]
	}
	switch {
	case border:
		return pick(i - 1), pick(i)
	case station >= p.Stretches[n-1].To:
		return pick(n - 1), pick(n)
	default:
		return pick(i), pick(i)
	}
}

// Over returns the stretches between two stations, those that begin or end
// beyond them left out.
func (p *Pour) Over(from, to int) []Stretch {
	begins := func(s Stretch, at int) int { return s.From - at }
	i, _ := slices.BinarySearchFunc(p.Stretches, from, begins)
	j, _ := slices.BinarySearchFunc(p.Stretches, to, begins)
	if j > i && p.Stretches[j-1].To > to {
		j--
	}
	return p.Stretches[i:max(i, j)]
}

// Coldest returns the lowest reading of a place from one moment to another,
// minima and what is in doubt included.
func (r *Readings) Coldest(place string, from, to int64) (centi int16, ok bool) {
	see := func(c int16) {
		if !ok || c < centi {
			centi, ok = c, true
		}
	}
	within := func(list []span) {
		for _, s := range list {
			if s.from <= to && s.to >= from {
				see(s.centi)
			}
		}
	}
	for _, t := range r.tracks {
		if t.Place != place {
			continue
		}
		for n := floorDiv(from, dayMS) - 2; n <= floorDiv(to, dayMS); n++ {
			y := t.days[n]
			if y == nil {
				continue
			}
			for _, p := range y.points {
				if p.at >= from && p.at <= to {
					see(p.centi)
				}
			}
		}
		for n := floorDiv(from, dayMS) - 4; n <= floorDiv(to, dayMS)+4; n++ {
			if y := t.days[n]; y != nil {
				within(y.spans)
			}
		}
		for _, y := range t.loose {
			within(y.caps)
		}
	}
	return centi, ok
}
