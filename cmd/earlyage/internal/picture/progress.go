package picture

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Progress is how the cure window of a wall stands, criterion by criterion.
type Progress struct {
	Site, Name string
	At         time.Time
	ClockZero  time.Time // zero: no concrete
	Rows       []Criterion
	Governs    string // the name of a row
	Open       bool
	Opened     time.Time // when it opened
	Cured      time.Time // when the last cured criterion was met
	Early      time.Time // cured, as it is expected
	Likely     time.Time
	Late       time.Time
}

// Criterion is a row of the window.
type Criterion struct {
	Name     string
	Standing bool // it is about today, not about time and temperature
	Met      bool
	MetAt    time.Time // when, or when it surely will be; zero: not known
	Part     float64   // of what it needs, 0 to 1; under 0: not a matter of more or less
	Say      string    // what there is of what it needs
}

// ProgressFromRecord is the window as an assessment has it.
func ProgressFromRecord(s *site.State, w *wall.State, a scheduler.Assessment) Progress {
	out := Progress{
		Site: s.Name(), Name: cmp.Or(w.Holding.Name, w.Wall), At: a.At, ClockZero: moment(w.Pour.ClockZero), Governs: a.Strip.Governs,
		Open: a.Strip.Open, Cured: a.Strip.CuredAt,
	}
	if out.Open {
		out.Opened = a.Strip.OpenedAt
	}
	if out.Cured.IsZero() {
		out.Early, out.Likely, out.Late = a.Strip.Expected.Early, a.Strip.Expected.Likely, a.Strip.Expected.Late
	}
	for _, c := range a.Strip.Criteria {
		out.Rows = append(out.Rows, Criterion{c.Name, c.Layer == scheduler.LayerStanding, c.Met, c.MetAt, partOf(c), haveOf(c)})
	}
	return out
}

// partOf is how much there is of what a criterion of time needs.
func partOf(c scheduler.Criterion) float64 {
	have, err := strconv.ParseFloat(c.Have, 64)
	need, err2 := strconv.ParseFloat(c.Need, 64)
	if err != nil || err2 != nil || need <= 0 {
		return -1
	}
	return min(max(have/need, 0), 1)
}

func haveOf(c scheduler.Criterion) string {
	switch {
	case partOf(c) >= 0:
		return strings.TrimSpace(c.Have + " of " + c.Need + " " + c.Unit)
	case c.Met || c.Have == "":
		return c.Have
	case c.Need == "":
		return strings.TrimSpace(c.Have + " " + c.Unit)
	}
	return strings.TrimSpace(c.Have + ", needs " + c.Need + " " + c.Unit)
}

// ProgressOf draws the window: for each criterion a mark, how far it is, and
// along the time since the last concrete when it was met or will be.
func ProgressOf(p Progress, o Options) SVG { return DrawProgress(p, o).SVG() }

type progress struct {
	*sheet
	speech
	p    Progress
	axis timeAxis
	left float64 // width of what stands before the axis
}

// DrawProgress lays out what [ProgressOf] draws.
func DrawProgress(p Progress, o Options) *Drawing {
	g := &progress{sheet: newSheet(o), speech: o.speech(), p: p.clean()}
	g.left = g.margin
	if !g.narrow {
		g.left = min(g.wide*0.42, 400)
	}
	moments := []time.Time{g.p.ClockZero, g.p.Cured, g.p.Early, g.p.Likely, g.p.Late, g.p.Opened}
	for _, r := range g.p.Rows {
		moments = append(moments, r.MetAt)
	}
	from, to := reach(moments, p.At)
	g.axis = timeAxis{from, to, g.left + 8, g.wide - g.margin - 12, g.zone} // marks reach beyond it
	room := g.wide - 2*g.margin
	y := g.paragraph(heading(g.p.Name, g.p.Site)+": the window", headSize, true, ink, g.margin, g.margin, room)
	for _, line := range g.summary() {
		y = g.paragraph(line, g.size, false, ink, g.margin, y, room)
	}
	y = g.rows(y + 10 + g.size)
	y = g.entries(y, g.key())
	if !o.OnPage {
		y = g.caution(y)
	}
	return g.done(y+g.margin, o.id("window"), heading(g.p.Name, g.p.Site)+": the window, criterion by criterion", g.describe())
}

// clean returns the window with plain names and finite numbers.
func (p Progress) clean() Progress {
	p.Site, p.Name, p.Governs = plain(p.Site), plain(p.Name), plain(p.Governs)
	p.Rows = cleaned(p.Rows, func(c *Criterion) bool {
		c.Name, c.Say = plain(c.Name), plain(c.Say)
		if !finite(c.Part) || c.Part > 1 {
			c.Part = -1
		}
		return true
	})
	return p
}

func (g *progress) summary() []string {
	out := []string{"as of " + g.moment(g.p.At)}
	switch {
	case g.p.Open && !g.p.Opened.IsZero():
		out = append(out, "Open since "+g.due(g.p.Opened)+".")
	case !g.p.Cured.IsZero() && !g.p.Cured.After(g.p.At):
		out = append(out, "Shut. Cured since "+g.due(g.p.Cured)+".")
	case !g.p.Likely.IsZero() && !g.p.Early.IsZero():
		late := "late not known"
		if !g.p.Late.IsZero() {
			late = "late " + g.due(g.p.Late)
		}
		out = append(out, "Shut. Cured expected early "+g.due(g.p.Early)+", likely "+g.due(g.p.Likely)+", "+late+".")
	default:
		out = append(out, "Shut.")
	}
	if g.p.Governs != "" {
		out = append(out, "What governs: "+g.p.Governs+".")
	}
	return out
}

const rowBar = 18.0 // px high

// rows draws the criteria and, under them, when the wall is cured.
func (g *progress) rows(y float64) float64 {
	top := y
	for i, r := range g.p.Rows {
		if i == 0 || r.Standing != g.p.Rows[i-1].Standing {
			y = g.layer(r.Standing, y)
		}
		y = g.row(r, y)
		g.line(gridLine, 1, Point{g.margin, y}, Point{g.wide - g.margin, y})
	}
	y = g.curedRow(y)
	if !g.narrow { // else it would run through the words: each bar has its own
		g.nowLine(g.axis, g.speech, g.p.At, top, y)
	}
	return g.timeTicks(g.axis, y+2) + 16
}

func (g *progress) layer(standing bool, y float64) float64 {
	say := "Cured: time and temperature"
	if standing {
		say = "Standing: what holds the wall up today"
	}
	room := g.left + 60
	if g.narrow {
		room = g.wide - 2*g.margin
	}
	return g.paragraph(say, g.size, true, grey, g.margin, y+12, room) + 2
}

// row draws one criterion and returns where the next begins.
func (g *progress) row(r Criterion, y float64) float64 {
	mark := holdMark
	switch {
	case r.Met:
		mark = tickMark
	case r.MetAt.After(g.p.At):
		mark = ringMark
	}
	name := r.Name
	if r.Name == g.p.Governs {
		name += " (governs)"
	}
	return g.line2(mark, name, g.stands(r), y, func(b Box) { g.span(r, b) })
}

// line2 writes a mark, a name and under it or beside it what is said, and draws
// along the time beside or under them. It returns where the next line begins.
func (g *progress) line2(draw mark, name, say string, y float64, along func(Box)) float64 {
	x, line := g.margin+28, leading*g.size
	y += 7
	draw(g.sheet, Point{g.margin + 9, y + line/2}, 18)
	room := g.left - x - 16
	if g.narrow {
		room = g.wide - x - g.margin
	}
	end := g.paragraph(name, g.size, true, ink, x, y, room)
	if say != "" {
		end = g.paragraph(say, g.size, false, ink, x, end, room)
	}
	if g.narrow {
		now := g.axis.at(g.p.At)
		along(Box{g.axis.x0, end + 4, g.axis.x1, end + 4 + rowBar})
		g.dashed(ink, 2.5, []float64{2, 3}, Point{now, end + 1}, Point{now, end + 7 + rowBar})
		return end + 4 + rowBar + 9
	}
	mid := (y + end) / 2
	along(Box{g.axis.x0, mid - rowBar/2, g.axis.x1, mid + rowBar/2})
	return end + 7
}

// stands says in few words how a criterion stands.
func (g *progress) stands(r Criterion) string {
	switch {
	case r.Part >= 0:
		return r.Say
	case r.Met:
		return cmp.Or(r.Say, "met")
	}
	return cmp.Or(r.Say, "not met")
}

// span draws a criterion along the time: full while it ran and was met, open
// with bars while it is not, and onwards, dashed, to when it surely will be.
func (g *progress) span(r Criterion, b Box) {
	mid := (b.Y0 + b.Y1) / 2
	from := g.p.ClockZero
	if from.IsZero() {
		from = g.p.At
	}
	if r.Standing {
		g.standing(r, mid)
		return
	}
	end := g.p.At
	if r.Met && !r.MetAt.IsZero() && r.MetAt.Before(end) {
		end = r.MetAt
	}
	x0, x1 := g.axis.at(from), g.axis.at(end)
	bar := Box{x0, b.Y0, max(x1, x0+2), b.Y1}
	g.rect(bar, Style{Fill: paper})
	if r.Met {
		g.rect(bar, Style{Fill: stripGreen})
	} else {
		g.rect(bar, Style{Fill: slab})
		g.path(Style{Stroke: curingPurple, WidthPX: 3}, g.bars(bar.grow(-1), 12)...)
	}
	g.rect(bar, Style{Stroke: ink, WidthPX: 2})
	if !r.MetAt.IsZero() && r.MetAt.After(g.p.At) {
		g.dashed(curingPurple, 3, []float64{7, 5}, Point{g.axis.at(g.p.At), mid}, Point{g.axis.at(r.MetAt), mid})
		expectedMark(g.sheet, Point{g.axis.at(r.MetAt), mid}, 18)
	}
	if r.Met && !r.MetAt.IsZero() {
		tickMark(g.sheet, Point{g.axis.at(r.MetAt), mid}, 20)
	}
}

// standing draws what holds today: the moment since when, or that it does not.
func (g *progress) standing(r Criterion, mid float64) {
	now := g.axis.at(g.p.At)
	if !r.Met {
		g.dashed(holdRed, 3, []float64{3, 5}, Point{g.axis.x0, mid}, Point{now, mid})
		holdMark(g.sheet, Point{max(now-14, g.axis.x0), mid}, 18)
		return
	}
	x := g.axis.x0
	if !r.MetAt.IsZero() {
		x = g.axis.at(r.MetAt)
	}
	g.line(stripGreen, 4, Point{x, mid}, Point{now, mid})
	if !r.MetAt.IsZero() {
		tickMark(g.sheet, Point{x, mid}, 20)
	}
}

// curedRow draws when the wall was cured, or early, likely and late.
func (g *progress) curedRow(y float64) float64 {
	say, draw := "not to be said", holdMark
	switch {
	case !g.p.Cured.IsZero():
		say, draw = g.due(g.p.Cured), tickMark
	case !g.p.Likely.IsZero():
		say, draw = "likely "+g.due(g.p.Likely), ringMark
	}
	return g.line2(draw, "all of time and temperature", say, y, func(b Box) { g.whiskers((b.Y0 + b.Y1) / 2) })
}

func (g *progress) whiskers(mid float64) {
	if !g.p.Cured.IsZero() {
		tickMark(g.sheet, Point{g.axis.at(g.p.Cured), mid}, 22)
		return
	}
	if g.p.Early.IsZero() || g.p.Likely.IsZero() {
		return
	}
	x0, x1 := g.axis.at(g.p.Early), g.axis.x1
	g.line(curingPurple, 3, Point{x0, mid - 8}, Point{x0, mid + 8})
	if g.p.Late.IsZero() { // not within what can be seen
		g.dashed(curingPurple, 3, []float64{7, 5}, Point{x0, mid}, Point{x1, mid})
	} else {
		x1 = g.axis.at(g.p.Late)
		g.line(curingPurple, 3, Point{x0, mid}, Point{x1, mid})
		g.line(curingPurple, 3, Point{x1, mid - 8}, Point{x1, mid + 8})
	}
	ringMark(g.sheet, Point{g.axis.at(g.p.Likely), mid}, 20)
}

func (g *progress) key() []entry {
	list := []entry{
		{marked(tickMark), "met"},
		{marked(holdMark), "not met"},
		{barSample(func(s *sheet, b Box) { s.rect(b, Style{Fill: stripGreen}) }), "ran until it was met"},
		{barSample(func(s *sheet, b Box) {
			s.rect(b, Style{Fill: slab})
			s.path(Style{Stroke: curingPurple, WidthPX: 3}, s.bars(b.grow(-1), 12)...)
		}), "runs"},
	}
	if g.narrow {
		list = append(list, entry{func(s *sheet, b Box) {
			s.dashed(ink, 2.5, []float64{2, 3}, Point{b.middle().X, b.Y0}, Point{b.middle().X, b.Y1})
		}, "now, " + g.moment(g.p.At)})
	}
	if slices.ContainsFunc(g.p.Rows, func(r Criterion) bool { return r.MetAt.After(g.p.At) }) {
		list = append(list, entry{marked(expectedMark), "when it will be met"})
	}
	if g.p.Cured.IsZero() && !g.p.Likely.IsZero() {
		list = append(list, entry{func(s *sheet, b Box) {
			m := b.middle().Y
			s.path(Style{Stroke: curingPurple, WidthPX: 3}, []Point{{b.X0, m}, {b.X1, m}}, []Point{{b.X0, m - 8}, {b.X0, m + 8}}, []Point{{b.X1, m - 8}, {b.X1, m + 8}})
			ringMark(s, b.middle(), 18)
		}, "cured expected: early, likely, late"})
	}
	return list
}

// describe says in plain words what the picture shows.
func (g *progress) describe() string {
	said := []string{strings.Join(g.summary(), " ")}
	for _, r := range g.p.Rows {
		say := r.Name + ": "
		switch {
		case r.Met && !r.MetAt.IsZero():
			say += "met " + g.due(r.MetAt)
		case r.Met:
			say += "met"
		case r.MetAt.After(g.p.At):
			say += "not met, will be " + g.due(r.MetAt)
		default:
			say += "not met"
		}
		if r.Say != "" {
			say += "; " + r.Say
		}
		said = append(said, say+".")
	}
	return strings.Join(said, " ")
}
