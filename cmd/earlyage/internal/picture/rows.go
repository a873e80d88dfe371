package picture

import "math"

// row is a part of the wall that is drawn in one strip across the picture.
type row struct {
	fromM, toM  float64
	first, last bool
	left        float64 // px, of fromM
	top, base   float64 // px, of the form's top and of its foot
	perM, perUp float64 // px per metre along and upwards
}

func (r row) x(m float64) float64 { return r.left + float64((m-r.fromM)*r.perM) }
func (r row) y(h float64) float64 { return r.base - float64(h*r.perUp) }
func (r row) right() float64      { return r.x(r.toM) }

// span cuts a range of stations to the row, in px. It reports false where
// nothing of it shows. A single station belongs to the row that it begins.
func (r row) span(from, to float64) (x0, x1 float64, shows bool) {
	if from == to {
		return r.x(from), r.x(from), r.holds(from)
	}
	from, to = max(from, r.fromM), min(to, r.toM)
	return r.x(from), r.x(to), from < to
}

// solid is what of a level line shows: openings at its height are left out.
func (u *unrolling) solid(r row, from, to, level float64) [][2]float64 {
	x0, x1, shows := r.span(from, to)
	if !shows {
		return nil
	}
	parts := [][2]float64{{x0, x1}}
	for _, o := range u.w.Openings {
		a, z, over := r.span(o.FromM, o.ToM)
		if !over || level <= o.SillM || level >= o.HeadM {
			continue
		}
		var next [][2]float64
		for _, p := range parts {
			for _, q := range [2][2]float64{{p[0], min(p[1], a)}, {max(p[0], z), p[1]}} {
				if q[0] < q[1] {
					next = append(next, q)
				}
			}
		}
		parts = next
	}
	return parts
}

func (r row) holds(m float64) bool {
	return m >= r.fromM && (m < r.toM || r.last && m <= r.toM)
}

// home reports whether the row shows the largest part of a range, the first of
// equals: the row in which it is labelled.
func home(rows []row, from, to float64) int {
	best, most := -1, -1.0
	for i, r := range rows {
		if x0, x1, shows := r.span(from, to); shows && x1-x0 > most {
			best, most = i, x1-x0
		}
	}
	return best
}

// leastPerM is how many pixels a metre of wall gets at least, so that braces at
// every 1.8 m have room for a name; a longer wall is drawn in several rows, but
// not in more than mostRows.
const (
	leastPerM = 24.0
	mostRows  = 12
)

// split divides the wall into rows for a plot of some width: at corners where
// they lie well, never through an opening if it can be helped.
func (w *Wall) split(plotWide float64) []row {
	n := int(math.Ceil(w.LengthM * leastPerM / plotWide))
	n = min(max(n, 1), mostRows)
	ends := []float64{0}
	for k := 1; k < n; k++ {
		prev := ends[k-1]
		share := (w.LengthM - prev) / float64(n-k+1)
		ends = append(ends, w.breakNear(prev, share))
	}
	ends = append(ends, w.LengthM)
	rows, longest := make([]row, n), 0.0
	for i := range rows {
		rows[i] = row{fromM: ends[i], toM: ends[i+1], first: i == 0, last: i == n-1}
		longest = max(longest, ends[i+1]-ends[i])
	}
	for i := range rows {
		rows[i].perM = plotWide / longest
	}
	return rows
}

// breakNear finds where a row that begins at prev and would be share long ends.
func (w *Wall) breakNear(prev, share float64) float64 {
	ideal := prev + share
	slack := share * 0.2
	best, off := ideal, slack
	for _, c := range w.Corners {
		if d := math.Abs(c.AtM - ideal); d <= off {
			best, off = c.AtM, d
		}
	}
	if best != ideal {
		return best
	}
	for _, o := range w.Openings {
		if o.FromM < ideal && ideal < o.ToM {
			edge := o.FromM - 0.1
			if o.ToM-ideal < ideal-o.FromM {
				edge = o.ToM + 0.1
			}
			if math.Abs(edge-ideal) <= slack {
				return edge
			}
		}
	}
	return ideal
}
