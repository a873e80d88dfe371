package paper

import (
	"math"
	"strings"
)

// extent is how much room the text of a cell takes.
type extent struct {
	widest float64 // line of it, unwrapped
	area   float64 // all its lines, one after the other
	lines  float64 // of it, unwrapped
}

func (p *press) extent(text string, f cut, size float64) (e extent) {
	for line := range strings.SplitSeq(text, "\n") {
		w := p.width(line, f, size) + 0.5
		e.widest, e.area, e.lines = max(e.widest, w), e.area+w, e.lines+1
	}
	return e
}

// in is about how many lines the text has in a column of a width.
func (e extent) in(width float64) float64 {
	if e.widest <= width {
		return e.lines
	}
	return max(e.lines, e.area/width+0.5)
}

// mostLooked is how many rows of a table are looked at for its columns.
const mostLooked = 150

// columns shares the width out so that the table gets low: each column has what its
// longest word needs, and the rest goes, bit by bit, to where it saves most height.
func (p *press) columns(g grid) []float64 {
	room := p.across() - float64(len(g.head)-1)*cellGap
	out, most := make([]float64, len(g.head)), make([]float64, len(g.head))
	rows := [][]extent{p.extents(g.head, out, bold, g.size, room)}
	for i := 0; i < len(g.rows); i += 1 + len(g.rows)/mostLooked {
		f := plain
		if g.heavy[i] {
			f = bold
		}
		rows = append(rows, p.extents(g.rows[i], out, f, g.size, room))
	}
	for _, r := range rows {
		for i, e := range r {
			most[i] = max(most[i], e.widest)
		}
	}
	return share(rows, out, most, room)
}

// extents measures a row, and raises what each column needs at least.
func (p *press) extents(texts []string, least []float64, f cut, size, room float64) []extent {
	out := make([]extent, len(least))
	for i := range min(len(texts), len(least)) {
		out[i] = p.extent(texts[i], f, size)
		least[i] = max(least[i], leastCol)
		for word := range fields(texts[i]) {
			least[i] = max(least[i], min(p.width(word, f, size)+0.5, room/4))
		}
	}
	return out
}

// step is the bit of width that is given away at a time, in points.
const step = 4

// share gives away what of the width the least widths leave.
func share(rows [][]extent, out, most []float64, room float64) []float64 {
	have := 0.0
	for _, w := range out {
		have += w
	}
	if have >= room {
		for i := range out {
			out[i] *= room / have
		}
		return out
	}
	for ; room-have >= step; have += step {
		best, gain := -1, 1e-9
		for i, g := range gains(rows, out) {
			if g > gain && out[i] < most[i] {
				best, gain = i, g
			}
		}
		if best < 0 {
			break
		}
		out[best] += step
	}
	for i := range out {
		out[i] += (room - have) / float64(len(out))
	}
	return out
}

// gains says for each column how much height a wider one would save: the height of a
// row is that of its highest cell, softened so that of two alike both count.
func gains(rows [][]extent, widths []float64) []float64 {
	out := make([]float64, len(widths))
	for _, r := range rows {
		all := 0.0
		for i, e := range r {
			all += math.Pow(e.in(widths[i]), 6)
		}
		for i, e := range r {
			if n := e.in(widths[i]); n > e.lines {
				out[i] += math.Pow(all, 1.0/6-1) * math.Pow(n, 6) / widths[i]
			}
		}
	}
	return out
}
