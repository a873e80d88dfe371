package picture

import (
	"cmp"
	"math"
)

// Box is a rectangle with its sides along the axes.
type Box struct{ X0, Y0, X1, Y1 float64 }

func (b Box) grow(by float64) Box { return Box{b.X0 - by, b.Y0 - by, b.X1 + by, b.Y1 + by} }
func (b Box) wide() float64       { return b.X1 - b.X0 }
func (b Box) high() float64       { return b.Y1 - b.Y0 }
func (b Box) middle() Point       { return Point{(b.X0 + b.X1) / 2, (b.Y0 + b.Y1) / 2} }
func (b Box) moved(dx, dy float64) Box {
	return Box{b.X0 + dx, b.Y0 + dy, b.X1 + dx, b.Y1 + dy}
}

// meets reports whether two boxes share more than an edge.
func (b Box) meets(o Box) bool {
	return b.X0 < o.X1 && o.X0 < b.X1 && b.Y0 < o.Y1 && o.Y0 < b.Y1
}

func (b Box) within(o Box) bool {
	return b.X0 >= o.X0 && b.X1 <= o.X1 && b.Y0 >= o.Y0 && b.Y1 <= o.Y1
}

func (b Box) corners() []Point {
	return []Point{{b.X0, b.Y0}, {b.X1, b.Y0}, {b.X1, b.Y1}, {b.X0, b.Y1}}
}

// How far a line of text reaches from its baseline, and from one baseline to
// the next, in parts of its size.
const (
	ascent  = 0.80
	descent = 0.24
	leading = 1.30
)

func (t Text) box() Box {
	b := Box{t.At.X, t.At.Y - ascent*t.SizePX, t.At.X + t.WidthPX, t.At.Y + descent*t.SizePX}
	switch t.Anchor {
	case Middle:
		return b.moved(-t.WidthPX/2, 0)
	case End:
		return b.moved(-t.WidthPX, 0)
	}
	return b
}

// baseline is where a text has to stand to be in the middle of a height.
func baseline(middle, size float64) float64 { return middle + (ascent-descent)/2*size }

// sheet is a drawing in the making, and what is taken on it.
type sheet struct {
	wide   float64
	narrow bool
	size   float64 // of running text
	margin float64
	ops    []op
	taken  []Box
}

func newSheet(o Options) *sheet {
	s := &sheet{wide: o.width(), size: 16, margin: 16}
	if s.wide < narrowUnder {
		s.narrow, s.size, s.margin = true, 18, 8
	}
	return s
}

func (s *sheet) path(st Style, lines ...[]Point) {
	kept := lines[:0:0]
	for _, l := range lines {
		if len(l) > 1 {
			kept = append(kept, l)
		}
	}
	if len(kept) > 0 {
		s.ops = append(s.ops, op{lines: kept, style: st})
	}
}

// line draws an open line.
func (s *sheet) line(c Color, width float64, points ...Point) {
	s.path(Style{Stroke: c, WidthPX: width}, points)
}

func (s *sheet) dashed(c Color, width float64, dash []float64, points ...Point) {
	s.path(Style{Stroke: c, WidthPX: width, DashPX: dash}, points)
}

func (s *sheet) rect(b Box, st Style) {
	st.Closed = true
	s.path(st, b.corners())
}

// free reports whether nothing is in a place.
func (s *sheet) free(b Box) bool {
	for _, t := range s.taken {
		if t.meets(b) {
			return false
		}
	}
	return true
}

func (s *sheet) take(b Box) { s.taken = append(s.taken, b) }

// say writes a text and takes its place.
func (s *sheet) say(t Text) {
	if t.Say == "" {
		return
	}
	t = s.set(t)
	s.ops = append(s.ops, op{text: t})
	s.take(t.box())
}

// set completes a text with its size, colour and width.
func (s *sheet) set(t Text) Text {
	if t.SizePX == 0 {
		t.SizePX = s.size
	}
	if t.Color == "" {
		t.Color = ink
	}
	w, known := measure(t.Say, t.SizePX, t.Bold)
	t.WidthPX, t.Set = w, !known
	return t
}

// gap is the least distance between two labels, px.
const gap = 4.0

// trySay writes a text where there is room for it, and reports whether there was.
func (s *sheet) trySay(t Text, within Box) bool {
	t = s.set(t)
	b := t.box()
	if t.Say == "" || !b.within(within) || !s.free(Box{b.X0 - gap, b.Y0, b.X1 + gap, b.Y1}) {
		return false
	}
	s.say(t)
	return true
}

// tryNear writes a text with its middle at its place, or as near to that as it
// can be within the lane.
func (s *sheet) tryNear(t Text, lane Box) bool {
	w := wide(t.Say, cmp.Or(t.SizePX, s.size), t.Bold)
	t.At.X = clamp(t.At.X-w/2, lane.X0, max(lane.X1-w, lane.X0))
	return s.trySay(t, lane)
}

// paragraph writes wrapped text from a top left corner and returns where the
// next may begin.
func (s *sheet) paragraph(say string, size float64, bold bool, c Color, x, y, room float64) float64 {
	for _, line := range wrap(say, size, bold, room) {
		s.say(Text{At: Point{x, y + ascent*size}, Say: line, SizePX: size, Bold: bold, Color: c})
		y += leading * size
	}
	return y
}

// done closes the sheet at a height.
func (s *sheet) done(height float64, id, title, desc string) *Drawing {
	height = math.Ceil(height)
	ground := op{lines: [][]Point{Box{0, 0, s.wide, height}.corners()}, style: Style{Fill: paper, Closed: true}}
	return &Drawing{WidthPX: s.wide, HeightPX: height, ID: id, Title: title, Desc: desc, ops: append([]op{ground}, s.ops...)}
}

// spread moves the middles of labels, in rising order, apart to at least step,
// as near to where they were as simple pushing gets them, within lo and hi. It
// reports false where they do not all fit.
func spread(at []float64, step, lo, hi float64) bool {
	if len(at) == 0 {
		return true
	}
	if float64(len(at)-1)*step > hi-lo {
		return false
	}
	at[0] = max(at[0], lo)
	for i := 1; i < len(at); i++ {
		at[i] = max(at[i], at[i-1]+step)
	}
	last := len(at) - 1
	at[last] = min(at[last], hi)
	for i := last - 1; i >= 0; i-- {
		at[i] = min(at[i], at[i+1]-step)
	}
	return true
}
