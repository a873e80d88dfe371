package picture

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// Unrolled draws a wall unrolled: stations along, height up.
func Unrolled(w Wall, o Options) SVG { return DrawUnrolled(w, o).SVG() }

// DrawUnrolled lays out what [Unrolled] draws.
func DrawUnrolled(w Wall, o Options) *Drawing {
	s := newSheet(o)
	if !w.drawable() {
		return s.notLaidOut(o, w)
	}
	u := &unrolling{sheet: s, speech: o.speech(), w: w.clean(), borders: o.ageBorders(), dated: map[Layer]bool{}, sized: map[Opening]bool{}}
	y := u.head(u.margin)
	u.scale()
	for i := range u.rows {
		y = u.drawRow(i, y) + 20
	}
	y = u.key(y)
	if !o.OnPage && u.w.saysStrip() {
		y = u.caution(y)
	}
	return u.done(y+u.margin, o.id("unrolled"), u.title(), u.describe())
}

func (s *sheet) notLaidOut(o Options, w Wall) *Drawing {
	title := heading(plain(w.Name), plain(w.Site))
	y := s.paragraph(title, headSize, true, ink, s.margin, s.margin, s.wide-2*s.margin)
	const say = "The wall is not laid out, so there is nothing to draw."
	y = s.paragraph(say, s.size, false, ink, s.margin, y, s.wide-2*s.margin)
	return s.done(y+s.margin, o.id("unrolled"), title, say)
}

// headSize is the size of the line at the top of a picture, px.
const headSize = 24.0

type unrolling struct {
	*sheet
	speech
	w       Wall
	borders [4]float64 // h
	rows    []row
	gutter  float64 // px, for the heights at the left
	hidden  []Front // found no room for their label
	dated   map[Layer]bool
	sized   map[Opening]bool // sill and head are written
}

func (u *unrolling) title() string { return heading(u.w.Name, u.w.Site) + ", unrolled" }

// heading names a wall of a site: "Wall North, Harbour Road".
func heading(name, site string) string {
	say := name
	if !strings.Contains(strings.ToLower(name), "wall") {
		say = strings.TrimSpace("Wall " + name)
	}
	if site != "" {
		say += ", " + site
	}
	return sentence(say)
}

// head writes what is shown and as of when.
func (u *unrolling) head(y float64) float64 {
	room := u.wide - 2*u.margin
	y = u.paragraph(heading(u.w.Name, u.w.Site), headSize, true, ink, u.margin, y, room)
	say := "as of " + u.moment(u.w.At)
	if u.w.State != "" {
		say = u.w.State + ", " + say
	}
	return u.paragraph(say, u.size, false, ink, u.margin, y, room) + 8
}

// scale chooses the rows and the scales. Heights are drawn larger than lengths
// where a lift would otherwise be too thin to write in.
func (u *unrolling) scale() {
	u.gutter = max(wide(u.length(u.w.FormTopM), u.size, false), wide(u.length(u.w.TopM), u.size, false)) + 18
	left := u.margin + u.gutter
	u.rows = u.w.split(u.wide - left - u.margin - 2)
	line := u.size + 10
	perUp := max(u.rows[0].perM, line/u.liftHeight())
	high := clamp(perUp*u.w.FormTopM, 150, 300)
	for i := range u.rows {
		u.rows[i].left, u.rows[i].perUp = left, high/u.w.FormTopM
	}
}

// liftHeight is a usual thickness of this wall's layers, m.
func (u *unrolling) liftHeight() float64 {
	var thick []float64
	for _, l := range u.w.Layers {
		if t := l.TopM - l.BottomM; t >= 0.15 {
			thick = append(thick, t)
		}
	}
	if len(thick) == 0 {
		return 0.6
	}
	slices.Sort(thick)
	return thick[len(thick)/4]
}

// drawRow draws one row from y down and returns where the next may begin.
func (u *unrolling) drawRow(i int, y float64) float64 {
	r := &u.rows[i]
	tags, above := u.tags(i)
	r.top = y + above
	r.base = r.top + float64(u.w.FormTopM*r.perUp)
	u.form(*r)
	u.concrete(*r)
	u.features(*r)
	u.jointLines(*r)
	u.frontLines(*r)
	u.outline(*r)
	u.drawTags(tags, r.top)
	u.openingNames(i)
	u.jointNames(i)
	u.writeAges(*r)
	u.heights(*r)
	y = u.braces(i, r.base)
	return u.stations(*r, y)
}

// form draws the form up to where the concrete is to end: hatched, for nothing
// is placed there yet.
func (u *unrolling) form(r row) {
	u.rect(Box{r.left, r.top, r.right(), r.base}, Style{Fill: paper})
	u.hatch(Box{r.left, r.y(u.w.TopM), r.right(), r.base}, 12)
}

// tone is the shade of an age and the step that it belongs to; step 5 is an age
// that is not known.
func (u *unrolling) tone(l Layer) (Color, int) {
	mid := l.placedAt((l.FromM + l.ToM) / 2)
	if mid.IsZero() {
		return slab, len(ages)
	}
	h := u.w.At.Sub(mid).Hours()
	step, _ := slices.BinarySearch(u.borders[:], h)
	if step < len(u.borders) && h == u.borders[step] {
		step++
	}
	return ages[step], step
}

// concrete draws the layers.
func (u *unrolling) concrete(r row) {
	for _, l := range u.w.Layers {
		x0, x1, shows := r.span(l.FromM, l.ToM)
		if !shows {
			continue
		}
		tone, _ := u.tone(l)
		u.rect(Box{x0, r.y(l.TopM), x1, r.y(l.BottomM)}, Style{Fill: tone, Stroke: on(tone), WidthPX: 1})
	}
}

// features draws openings, folds, bulkheads and pilasters.
func (u *unrolling) features(r row) {
	for _, p := range u.w.Pilasters {
		for _, m := range [2]float64{p.FromM, p.ToM} {
			if r.holds(m) {
				u.upright(r, m, 1.5, []float64{3, 3})
			}
		}
	}
	for _, c := range u.w.Corners {
		if r.holds(c.AtM) && c.AtM > r.fromM && c.AtM < r.toM {
			u.upright(r, c.AtM, 2.5, []float64{14, 4, 3, 4})
		}
	}
	for _, o := range u.w.Openings {
		u.opening(r, o)
	}
	for _, b := range u.w.Bulkheads {
		if r.holds(b.AtM) {
			u.bulkhead(r, b.AtM)
		}
	}
}

// upright draws a line up the wall, with paper on both sides of it so that it
// shows on any shade.
func (u *unrolling) upright(r row, m, width float64, dash []float64) {
	x := r.x(m)
	u.rect(Box{x - width/2 - 2, r.top, x + width/2 + 2, r.base}, Style{Fill: paper})
	u.dashed(ink, width, dash, Point{x, r.top}, Point{x, r.base})
	u.take(Box{x - 4, r.top, x + 4, r.base})
}

// bulkhead is a heavy line with ties.
func (u *unrolling) bulkhead(r row, m float64) {
	x := r.x(m)
	u.rect(Box{x - 5, r.top, x + 5, r.base}, Style{Fill: paper})
	u.line(ink, 4, Point{x, r.top}, Point{x, r.base})
	var ties [][]Point
	for y := r.base - 8; y > r.top+4; y -= 14 {
		ties = append(ties, []Point{{x - 5, y}, {x + 5, y}})
	}
	u.path(Style{Stroke: ink, WidthPX: 2}, ties...)
	u.take(Box{x - 6, r.top, x + 6, r.base})
}

// openingBox is where an opening shows in a row.
func openingBox(r row, o Opening) (Box, bool) {
	x0, x1, shows := r.span(o.FromM, o.ToM)
	return Box{x0, r.y(o.HeadM), x1, r.y(o.SillM)}, shows
}

// opening is a heavy frame with thin diagonals.
func (u *unrolling) opening(r row, o Opening) {
	b, shows := openingBox(r, o)
	if !shows {
		return
	}
	u.rect(b, Style{Fill: paper, Stroke: ink, WidthPX: 3})
	u.path(Style{Stroke: grey, WidthPX: 1}, []Point{{b.X0, b.Y0}, {b.X1, b.Y1}}, []Point{{b.X0, b.Y1}, {b.X1, b.Y0}})
}

// openingNames writes name, head and sill into the openings.
func (u *unrolling) openingNames(i int) {
	r := u.rows[i]
	for _, o := range u.w.Openings {
		b, shows := openingBox(r, o)
		if !shows {
			continue
		}
		if home(u.rows, o.FromM, o.ToM) == i {
			lines := []string{o.Name, "head " + u.bareLength(o.HeadM), "sill " + u.bareLength(o.SillM)}
			if o.SillM < 0.001 {
				lines = lines[:2]
			}
			u.sized[o] = u.plaque(lines, b)
		}
		u.take(b.grow(2)) // no age is written across an opening
	}
}

// plaque writes as many of the lines as fit in the middle of a box, on paper. It
// reports whether all of them did.
func (u *unrolling) plaque(lines []string, b Box) bool {
	lines = slices.DeleteFunc(slices.Clone(lines), func(l string) bool { return l == "" })
	step := leading * u.size
	for n := len(lines); n > 0; n-- {
		w := 0.0
		for _, l := range lines[:n] {
			w = max(w, wide(l, u.size, false))
		}
		mid := b.middle()
		p := Box{mid.X - w/2 - 3, mid.Y - float64(n)*step/2, mid.X + w/2 + 3, mid.Y + float64(n)*step/2}
		if !p.within(b.grow(-3)) || !u.free(p) {
			continue
		}
		u.rect(p, Style{Fill: paper})
		for k, l := range lines[:n] {
			u.say(Text{At: Point{mid.X, baseline(p.Y0+(float64(k)+0.5)*step, u.size)}, Say: l, Anchor: Middle})
		}
		return n == len(lines)
	}
	return false
}

// outline draws the edges of the form, the planned top and the foot. Where the
// wall goes on in another row the edge is torn.
func (u *unrolling) outline(r row) {
	top := r.y(u.w.TopM)
	u.line(paper, 4, Point{r.left, top}, Point{r.right(), top})
	u.dashed(ink, 2, []float64{8, 5}, Point{r.left, top}, Point{r.right(), top})
	if u.w.TopM < u.w.FormTopM {
		u.take(Box{r.left, top - 3, r.right(), top + 3})
	}
	u.line(ink, 3, Point{r.left, r.top}, Point{r.right(), r.top})
	u.line(ink, 4, Point{r.left, r.base}, Point{r.right(), r.base})
	u.edge(r, r.left, r.first)
	u.edge(r, r.right(), r.last)
}

func (u *unrolling) edge(r row, x float64, end bool) {
	if end {
		u.line(ink, 3, Point{x, r.top - 1.5}, Point{x, r.base + 2})
		return
	}
	u.line(ink, 1.5, saw(Point{x, r.top}, Point{x, r.base}, 10)...)
}

// heights writes the heights at the left: the form's top, the planned top, the
// foot, and round heights where there is room.
func (u *unrolling) heights(r row) {
	want := []float64{u.w.FormTopM, 0}
	if u.w.FormTopM-u.w.TopM > 0.001 {
		want = append(want, u.w.TopM)
	}
	step := u.size * 1.2
	steps := u.lengthStep(step * 1.6 / r.perUp)
	for k := 1; float64(k)*steps < u.w.TopM && k < 100; k++ {
		h := float64(k) * steps
		if !slices.ContainsFunc(want, func(o float64) bool { return math.Abs(o-h)*r.perUp < step*1.6 }) {
			want = append(want, h)
		}
	}
	slices.SortFunc(want, func(a, b float64) int { return cmp.Compare(b, a) })
	at := make([]float64, len(want))
	for k, h := range want {
		at[k] = r.y(h)
	}
	spread(at, step, r.top-step/4, r.base+step/2)
	for k, h := range want {
		y := r.y(h)
		u.say(Text{At: Point{r.left - 14, baseline(at[k], u.size)}, Say: u.length(h), Anchor: End})
		u.line(ink, 1, Point{r.left - 11, at[k]}, Point{r.left - 4, y}, Point{r.left, y})
	}
}
