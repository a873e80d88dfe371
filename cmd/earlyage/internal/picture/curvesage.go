package picture

import (
	"math"
	"slices"
	"time"
)

// ages draws the equivalent age up to now, the band in which it is expected to
// go on, and what it has to reach.
func (k *curves) ages(b Box) {
	hi := max(k.c.NeedH*1.15, 1)
	for _, p := range k.c.Age {
		if !math.IsNaN(p.Value) {
			hi = max(hi, p.Value)
		}
	}
	for _, e := range k.c.Expected {
		hi = max(hi, e.Likely, min(e.High, k.c.NeedH*2))
	}
	s := k.scaleFor(b, 0, hi)
	k.expected(s)
	if k.c.NeedH > 0 {
		y := s.y(k.c.NeedH)
		k.dashed(ink, 2.5, []float64{8, 5}, Point{b.X0, y}, Point{b.X1, y})
	}
	k.path(Style{Stroke: ink, WidthPX: 4}, k.trace(k.c.Age, s.y)...)
	k.need(s)
	k.floor(b)
	if k.c.NeedH > 0 {
		traces := append(k.trace(k.c.Age, s.y), k.edges(s)...)
		k.aside("needed "+trimmed(k.c.NeedH)+" h", b, s.y(k.c.NeedH), traces)
	}
}

// need marks when the age needed is expected or was reached.
func (k *curves) need(s scale) {
	if k.c.NeedH == 0 {
		return
	}
	y := s.y(k.c.NeedH)
	put := func(at time.Time, draw func(x float64)) {
		if k.axis.holds(at) {
			x := k.axis.at(at)
			draw(x)
			k.take(Box{x - 10, y - 10, x + 10, y + 10})
		}
	}
	for _, m := range [...]time.Time{k.c.Early, k.c.Late} {
		put(m, func(x float64) { k.line(curingPurple, 2, Point{x, y - 8}, Point{x, y + 8}) })
	}
	if k.c.Met.IsZero() {
		put(k.c.Likely, func(x float64) { ringMark(k.sheet, Point{x, y}, 18) })
	}
	put(k.c.Met, func(x float64) { tickMark(k.sheet, Point{x, y}, 20) })
}

// edges are the borders of the expected band, and the end of the floor.
func (k *curves) edges(s scale) [][]Point {
	var low, high []Point
	for _, e := range k.c.Expected {
		x := k.axis.at(e.At)
		low, high = append(low, Point{x, s.y(e.Low)}), append(high, Point{x, s.y(e.High)})
	}
	lines := [][]Point{low, high}
	if end := k.floorEnd(); !end.IsZero() {
		lines = append(lines, []Point{{k.axis.at(end), s.b.Y0}, {k.axis.at(end), s.b.Y1}})
	}
	return lines
}

// expected draws the band: hatched upright between its dashed edges.
func (k *curves) expected(s scale) {
	if len(k.c.Expected) < 2 {
		return
	}
	var low, high, likely []Point
	var bars [][]Point
	lastX := math.Inf(-1)
	for _, e := range k.c.Expected {
		x := k.axis.at(e.At)
		low, high, likely = append(low, Point{x, s.y(e.Low)}), append(high, Point{x, s.y(e.High)}), append(likely, Point{x, s.y(e.Likely)})
		if x-lastX >= 8 {
			bars, lastX = append(bars, []Point{{x, s.y(e.Low)}, {x, s.y(e.High)}}), x
		}
	}
	back := slices.Clone(high)
	slices.Reverse(back)
	k.path(Style{Fill: slab, Closed: true}, append(slices.Clone(low), back...))
	k.path(Style{Stroke: grey, WidthPX: 1}, bars...)
	k.path(Style{Stroke: curingPurple, WidthPX: 1.5}, low, high)
	k.path(Style{Stroke: curingPurple, WidthPX: 3, DashPX: []float64{9, 5}}, likely)
}

// floor draws how long the floor lasts as a dimension along the foot of a plot.
func (k *curves) floor(b Box) {
	end := k.floorEnd()
	if end.IsZero() {
		return
	}
	x0, x1, y := k.axis.at(k.c.ClockZero), k.axis.at(end), b.Y1-16
	k.line(paper, 5, Point{x1, b.Y0}, Point{x1, b.Y1})
	k.line(holdRed, 2.5, Point{x1, b.Y0}, Point{x1, b.Y1})
	k.path(Style{Stroke: holdRed, WidthPX: 2.5}, []Point{{x0, y}, {x1, y}}, []Point{{x0, y - 8}, {x0, y + 8}}, []Point{{x1 - 8, y - 6}, {x1, y}, {x1 - 8, y + 6}})
	say := trimmed(k.c.FloorH) + " h floor"
	w := wide(say, k.size, true)
	now := k.axis.at(k.c.At)
	defer k.take(Box{x0, y - 8, x1, y + 8})
	defer k.take(Box{x1 - 3, b.Y0, x1 + 3, b.Y1})
	for _, mid := range [...]float64{(x0 + x1) / 2, x0 + (x1-x0)*0.75, x0 + (x1-x0)*0.25} {
		t := k.set(Text{At: Point{mid, baseline(y, k.size)}, Say: say, Bold: true, Anchor: Middle})
		box := t.box().grow(3)
		if mid-w/2 < x0+12 || mid+w/2 > x1-14 || box.X0 < now && now < box.X1 || !k.free(box) {
			continue
		}
		k.rect(box, Style{Fill: paper})
		k.say(t)
		return
	}
}
