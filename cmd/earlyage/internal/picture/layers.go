package picture

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// writeAges writes the age of the concrete into each layer of a row that has
// room for it: the span of ages, one age, or the number alone.
func (u *unrolling) writeAges(r row) {
	cells := make([]Box, len(u.w.Layers)) // empty where a layer does not show
	for i, l := range u.w.Layers {
		if x0, x1, shows := r.span(l.FromM, l.ToM); shows {
			cells[i] = Box{x0, r.y(l.TopM), x1, r.y(l.BottomM)}
		}
	}
	for i, l := range u.w.Layers {
		cell := cells[i].grow(-2)
		if cell.high() < u.size*(ascent+descent) || cell.wide() < 12 {
			continue
		}
		tone, _ := u.tone(l)
		for _, say := range u.ageWords(l) {
			if u.writeAge(say, l, cell, cells[i+1:], on(tone)) {
				u.dated[l] = true
				break
			}
		}
	}
}

// mostUndated is how many layers without room for their age the key lists.
const mostUndated = 6

// undated says in the key how old the layers are that had no room for it, the
// youngest of them first.
func (u *unrolling) undated() []string {
	var rest []Layer
	for _, l := range u.w.Layers {
		if !u.dated[l] && !l.Ended.IsZero() && !slices.Contains(rest, l) {
			rest = append(rest, l)
		}
	}
	slices.SortStableFunc(rest, func(a, b Layer) int {
		return cmp.Or(b.Ended.Compare(a.Ended), cmp.Compare(a.FromM, b.FromM))
	})
	var out []string
	for _, l := range rest[:min(len(rest), mostUndated)] {
		young, old := u.ages(l)
		out = append(out, "Layer "+u.between(l.FromM, l.ToM)+" along, "+u.between(l.BottomM, l.TopM)+" high: "+span(young, old)+" old.")
	}
	if more := len(rest) - mostUndated; more > 0 {
		out = append(out, plural(more, "older layer has", "older layers have")+" no age written for want of room.")
	}
	return out
}

// ageWords are the ways to write a layer's age, the fullest first. Where there
// is room for one number only it is the one on the safe side: under 10 hours,
// when joints are made, the oldest concrete's, and later the youngest's.
func (u *unrolling) ageWords(l Layer) []string {
	if l.Began.IsZero() || l.Ended.IsZero() {
		return []string{"age not known", "?"}
	}
	young, old := u.ages(l)
	full := span(young, old)
	if old >= 1000 {
		return []string{full}
	}
	one := hours(young, math.Floor)
	if old < 10 {
		one = hours(old, math.Ceil)
	}
	return []string{full, strings.ReplaceAll(strings.TrimSuffix(full, " h"), " to ", "–"), one + " h", one}
}

// ages are how old the youngest and the oldest concrete of a layer is, h.
func (u *unrolling) ages(l Layer) (young, old float64) {
	a, z := u.age(l.Began), u.age(l.Ended)
	return min(a, z), max(a, z)
}

// age is in hours, never under 0.
func (u *unrolling) age(placed time.Time) float64 { return max(u.w.At.Sub(placed).Hours(), 0) }

// writeAge tries places along the middle of a cell, from its middle outwards.
// Beside the age stands an arrow in the direction of placing, where it fits. over
// are the layers drawn over this one.
func (u *unrolling) writeAge(say string, l Layer, cell Box, over []Box, c Color) bool {
	arrow := u.size * 0.9
	way := 1.0
	if l.Ended.Before(l.Began) {
		way = -1
	}
	if l.Began.Equal(l.Ended) {
		arrow = 0
	}
	w := wide(say, u.size, false)
	for _, room := range [...]float64{w + arrow, w} {
		for _, dx := range [...]float64{0, 1, -1, 2, -2, 3, -3, 4, -4} {
			mid := cell.middle()
			mid.X += dx * (cell.wide() - room) / 8.5
			b := Box{mid.X - room/2 - 3, mid.Y - u.size*0.6, mid.X + room/2 + 3, mid.Y + u.size*0.6}
			if b.X0 < cell.X0 || b.X1 > cell.X1 || !u.free(b) || slices.ContainsFunc(over, b.grow(1).meets) {
				continue
			}
			u.say(Text{At: Point{mid.X - room/2, baseline(mid.Y, u.size)}, Say: say, Color: c})
			if room > w {
				u.arrow(Point{mid.X + room/2 - arrow*0.35, mid.Y}, u.size*0.3*way, c)
			}
			u.take(b)
			return true
		}
	}
	return false
}

// arrow is a chevron that points along the wall.
func (s *sheet) arrow(at Point, reach float64, c Color) {
	s.line(c, 2, Point{at.X - reach/2, at.Y - abs(reach)}, Point{at.X + reach/2, at.Y}, Point{at.X - reach/2, at.Y + abs(reach)})
}

func abs(x float64) float64 { return max(x, -x) }

// ageScale draws the shades with the ages at which they change, and returns how
// far down it reaches.
func (u *unrolling) ageScale(y float64) float64 {
	y = u.paragraph("Age of the concrete in hours; the arrow shows the way it was placed", u.size, false, ink, u.margin, y, u.wide-2*u.margin)
	each := min(96, (u.wide-2*u.margin-2)/float64(len(ages)))
	for i, tone := range ages {
		x := u.margin + 1 + float64(i)*each
		u.rect(Box{x, y, x + each, y + 24}, Style{Fill: tone, Stroke: ink, WidthPX: 1})
		if i > 0 {
			say := strconv.FormatFloat(u.borders[i-1], 'g', 6, 64)
			u.trySay(Text{At: Point{x, y + 26 + u.size}, Say: say, Anchor: Middle}, Box{0, y, u.wide, y + 100})
			u.line(ink, 1, Point{x, y + 20}, Point{x, y + 29})
		}
	}
	edge := u.margin + 1
	u.say(Text{At: Point{edge + 8, baseline(y+12, u.size)}, Say: "new", Color: on(ages[0])})
	u.say(Text{At: Point{edge + 5*each - 8, baseline(y+12, u.size)}, Say: "old", Color: on(ages[4]), Anchor: End})
	return y + 26 + leading*u.size + 10
}
