package paper

// grid is a table to be printed.
type grid struct {
	caption string
	head    []string
	right   map[int]bool // columns of numbers
	heavy   map[int]bool // rows that stand out
	rows    [][]string
	size    float64 // of the text; 0: cellSize
}

// Measures of a table, in points.
const (
	cellGap  = 8 // between columns
	cellPad  = 2 // above and below the text of a row
	leastCol = 22
)

// table prints a grid. Its head stands at the top of every page that it goes on to.
func (p *press) table(g grid) {
	if len(g.rows) == 0 {
		return
	}
	if g.size == 0 {
		g.size = cellSize
	}
	g.head = cleaned(g.head)
	for i, r := range g.rows {
		g.rows[i] = cleaned(r)
	}
	cols := p.columns(g)
	head := p.cells(g.head, cols, bold, g.size)
	if g.caption != "" {
		p.caption(g.caption)
	}
	first := true
	for i, r := range g.rows {
		f := plain
		if g.heavy[i] {
			f = bold
		}
		lines := p.cells(r, cols, f, g.size)
		high := rowHigh(lines, g.size)
		if first {
			p.need(rowHigh(head, g.size) + min(high, 60))
			p.row(head, cols, g, bold, 0.8)
			first = false
		}
		p.body(lines, head, cols, g, f)
	}
	p.y += gapWide
}

// body prints one row of the table; one that is higher than a page in pieces.
func (p *press) body(lines, head [][]string, cols []float64, g grid, f cut) {
	step := g.size * leading
	for {
		high := rowHigh(lines, g.size)
		if p.y+high <= p.bottom() {
			p.row(lines, cols, g, f, 0.25)
			return
		}
		whole := p.bottom() - p.top() - rowHigh(head, g.size)
		if high <= whole || p.bottom()-p.y < 6*step {
			p.page()
			p.row(head, cols, g, bold, 0.8)
			if high <= whole {
				continue
			}
		}
		fit := max(int((p.bottom()-p.y-2*cellPad)/step), 1)
		var now, rest [][]string
		for _, c := range lines {
			n := min(fit, len(c))
			now, rest = append(now, c[:n]), append(rest, c[n:])
		}
		p.row(now, cols, g, f, 0.25)
		if lines = rest; rowHigh(lines, g.size) <= 2*cellPad {
			return
		}
	}
}

func rowHigh(cells [][]string, size float64) float64 {
	most := 0
	for _, c := range cells {
		most = max(most, len(c))
	}
	return float64(most)*size*leading + 2*cellPad
}

// row prints the lines of a row's cells and a line under them.
func (p *press) row(cells [][]string, cols []float64, g grid, f cut, thick float64) {
	x := p.left()
	for i, c := range cells {
		y := p.y + cellPad
		for _, line := range c {
			y += g.size * leading
			at := x
			if g.right[i] {
				at += cols[i] - p.width(line, f, g.size)
			}
			p.say(at, y-g.size*(leading-1)/2-g.size*0.1, line, f, g.size)
		}
		x += cols[i] + cellGap
	}
	p.y += rowHigh(cells, g.size)
	p.rule(p.y, thick, 90)
}

// cells wraps the texts of a row.
func (p *press) cells(texts []string, cols []float64, f cut, size float64) [][]string {
	out := make([][]string, len(cols))
	for i := range cols {
		if i < len(texts) {
			out[i] = p.wrap(texts[i], f, size, cols[i])
		}
	}
	return out
}

func cleaned(texts []string) []string {
	out := make([]string, len(texts))
	for i, s := range texts {
		out[i] = clean(s)
	}
	return out
}
