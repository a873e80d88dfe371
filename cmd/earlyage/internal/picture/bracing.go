package picture

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// Bracing draws the bracing of a wall against time, a bar for each brace.
func Bracing(r Register, o Options) SVG { return DrawBracing(r, o).SVG() }

// Register is the bracing of a wall.
type Register struct {
	Site, Name string
	At         time.Time // now
	Bars       []Bar     // in order of station
}

// Bar is the story of one brace. Times that are zero are not known or have not
// come.
type Bar struct {
	Name      string
	AtM       float64 // station; under 0: not known
	State     BraceState
	Set       time.Time
	ClockZero time.Time // the last concrete within its reach
	Opened    time.Time // its window
	Expected  time.Time // its window, where it is still shut
	Permit    time.Time
	Disturbed time.Time
	Inspected time.Time // found sound
	HeldFrom  time.Time
	HeldUntil time.Time // zero: still held, if HeldFrom is known
	Stripped  time.Time
	Early     bool // stripped before its window opened
}

const mostBars = 200

type bracing struct {
	*sheet
	speech
	r    Register
	axis timeAxis
	more string
}

// DrawBracing lays out what [Bracing] draws.
func DrawBracing(r Register, o Options) *Drawing {
	d := &bracing{sheet: newSheet(o), speech: o.speech(), r: r.clean()}
	if n := len(d.r.Bars) - mostBars; n > 0 {
		d.r.Bars, d.more = d.r.Bars[:mostBars], plural(n, "more brace is", "more braces are")+" not drawn."
	}
	from, to := reach(d.moments(), r.At)
	names, words := d.columns()
	d.axis = timeAxis{from, to, d.margin + names, d.wide - d.margin - words, d.zone}
	room := d.wide - 2*d.margin
	y := d.paragraph(heading(d.r.Name, d.r.Site)+": bracing", headSize, true, ink, d.margin, d.margin, room)
	y = d.paragraph("as of "+d.moment(r.At), d.size, false, ink, d.margin, y, room) + 16 + d.size
	top := y
	var bars []float64
	for range d.r.Bars {
		if d.narrow {
			y += leading*d.size + 4
		}
		bars = append(bars, y+barHigh/2+4)
		y += barHigh + 16
	}
	bottom := y
	d.grid(d.axis, top, bottom)
	for i, b := range d.r.Bars {
		d.bar(b, bars[i])
		d.words(b, bars[i])
	}
	d.nowLine(d.axis, d.speech, r.At, top, bottom)
	for i, b := range d.r.Bars {
		d.marks(b, bars[i])
	}
	y = d.timeTicks(d.axis, bottom+2) + 16
	y = d.entries(y, d.key())
	if d.more != "" {
		y = d.paragraph(d.more, d.size, false, ink, d.margin, y, room)
	}
	if !o.OnPage {
		y = d.caution(y)
	}
	return d.done(y+d.margin, o.id("bracing"), heading(d.r.Name, d.r.Site)+": timeline of the bracing", d.describe())
}

const barHigh = 22.0

func (r Register) clean() Register {
	r.Site, r.Name = plain(r.Site), plain(r.Name)
	r.Bars = cleaned(r.Bars, func(b *Bar) bool {
		b.Name = cmp.Or(plain(b.Name), "brace")
		if !finite(b.AtM) || b.AtM > mostLengthM {
			b.AtM = -1
		}
		return true
	})
	return r
}

func (d *bracing) moments() []time.Time {
	var out []time.Time
	for _, b := range d.r.Bars {
		out = append(out, b.Set, b.ClockZero, b.Opened, b.Expected, b.Permit, b.Disturbed, b.Inspected, b.HeldFrom, b.HeldUntil, b.Stripped)
	}
	return out
}

// columns are how wide the names at the left and the words at the right are: on
// a phone they stand over the bar instead.
func (d *bracing) columns() (names, words float64) {
	if d.narrow {
		return 0, 2
	}
	for _, b := range d.r.Bars {
		names = max(names, wide(d.nameOf(b), d.size, true))
		words = max(words, wide(d.says(b), d.size, false))
	}
	return min(names, 220) + d.size + 20, min(words, 340) + 12
}

func (d *bracing) nameOf(b Bar) string { return fit(b.Name, d.size, true, 150) }

// says is the state of a brace in words, with the moment that goes with it.
func (d *bracing) says(b Bar) string {
	switch word := braceWord(b.State); {
	case b.State == BraceStripped && b.Early:
		return "stripped early, " + d.short(b.Stripped)
	case b.State == BraceStripped && !b.Stripped.IsZero():
		return word + " " + d.short(b.Stripped)
	case b.State == BraceMayStrip && !b.Opened.IsZero():
		return word + " since " + d.shortUp(b.Opened)
	case b.State == BraceStanding && !b.Expected.IsZero():
		return word + ", expected " + d.shortUp(b.Expected)
	default:
		return word
	}
}

func (p speech) short(t time.Time) string { return t.In(p.zone).Format("Mon 2 Jan 15:04") }

// shortUp rounds up to the minute, as a time to strip is.
func (p speech) shortUp(t time.Time) string { return p.short(t.Add(time.Minute - time.Nanosecond)) }

func (d *bracing) words(b Bar, mid float64) {
	m := braceMark(b.State)
	if b.Early {
		m = holdMark
	}
	if d.narrow {
		base := mid - barHigh/2 - 4 - descent*d.size - 2
		m(d.sheet, Point{d.margin + d.size/2, base - d.size*0.3}, d.size)
		x := d.margin + d.size + 6
		name := d.nameOf(b)
		d.say(Text{At: Point{x, base}, Say: name, Bold: true})
		x += wide(name, d.size, true) + 10
		say, room := d.says(b), d.wide-d.margin-x
		if _, rest, found := strings.Cut(say, ", "); found && wide(say, d.size, false) > room {
			say = rest
		}
		d.say(Text{At: Point{x, base}, Say: fit(say, d.size, false, room)})
		return
	}
	base := baseline(mid, d.size)
	m(d.sheet, Point{d.margin + d.size/2, mid}, d.size)
	d.say(Text{At: Point{d.margin + d.size + 6, base}, Say: d.nameOf(b), Bold: true})
	d.say(Text{At: Point{d.axis.x1 + 12, base}, Say: fit(d.says(b), d.size, false, d.wide-d.margin-d.axis.x1-12)})
}

// bar draws one brace from when it was set to when it was stripped, or to now.
func (d *bracing) bar(b Bar, mid float64) {
	d.line(gridLine, 1, Point{d.axis.x0, mid}, Point{d.axis.x1, mid})
	end := cmp.Or(b.Stripped, d.r.At)
	if !b.Set.IsZero() && b.Set.Before(end) {
		box := Box{d.axis.at(b.Set), mid - barHigh/2, d.axis.at(end), mid + barHigh/2}
		d.stages(b, box, end)
		d.held(b, box, end)
		d.rect(box, Style{Stroke: ink, WidthPX: 2})
	}
	if b.Opened.IsZero() && !b.Expected.IsZero() && b.Expected.After(d.r.At) && b.Stripped.IsZero() {
		d.dashed(grey, 2, []float64{5, 4}, Point{d.axis.at(d.r.At), mid}, Point{d.axis.at(b.Expected), mid})
	}
}

// marks draws what happened to a brace, each mark at its moment or, where two
// would lie on each other, beside it.
func (d *bracing) marks(b Bar, mid float64) {
	const side = 20.0
	all := d.events(b)
	slices.SortStableFunc(all, func(a, b happening) int { return a.at.Compare(b.at) })
	at := make([]float64, len(all))
	for i, e := range all {
		at[i] = d.axis.at(e.at)
		d.line(ink, 2, Point{at[i], mid - barHigh/2}, Point{at[i], mid + barHigh/2})
	}
	// What has been stays to the left of now.
	past := len(all)
	for past > 0 && all[past-1].at.After(d.r.At) {
		past--
	}
	now := d.axis.at(d.r.At)
	press(at[:past], side+1, max(d.axis.x0, side/2+1), min(now-2, d.axis.x1))
	press(at[past:], side+1, min(now+side/2+2, d.axis.x1), d.axis.x1)
	for i, e := range all {
		e.draw(d.sheet, Point{at[i], mid}, side)
	}
}

// stages fills a bar: empty before the concrete, full while it cures, slanted
// bars from when its window opened.
func (d *bracing) stages(b Bar, box Box, end time.Time) {
	d.rect(box, Style{Fill: paper})
	x := func(t time.Time) float64 { return clamp(d.axis.at(t), box.X0, box.X1) }
	if !b.ClockZero.IsZero() && b.ClockZero.Before(end) {
		d.rect(Box{x(b.ClockZero), box.Y0, x(end), box.Y1}, Style{Fill: curingPurple})
	}
	if !b.Opened.IsZero() && b.Opened.Before(end) {
		open := Box{x(b.Opened), box.Y0, x(end), box.Y1}
		d.rect(open, Style{Fill: paper, Stroke: stripGreen, WidthPX: 2})
		d.path(Style{Stroke: stripGreen, WidthPX: 4}, d.bars(open.grow(-1), 14)...)
	}
}

// held marks a hold as a broken line along the foot of a bar.
func (d *bracing) held(b Bar, box Box, end time.Time) {
	until := cmp.Or(b.HeldUntil, end)
	if b.HeldFrom.IsZero() || !b.HeldFrom.Before(until) {
		return
	}
	x0, x1 := clamp(d.axis.at(b.HeldFrom), box.X0, box.X1), clamp(d.axis.at(until), box.X0, box.X1)
	d.band(Box{x0, box.Y1 - 7, max(x1, x0+2), box.Y1}, FrontPastLimit)
}

// happening is a mark on a bar.
type happening struct {
	at   time.Time
	draw mark
	say  string
}

func (d *bracing) events(b Bar) []happening {
	all := []happening{
		{b.ClockZero, placingMark, "last concrete within reach"},
		{b.Disturbed, watchMark, "disturbed"},
		{b.Inspected, soundMark, "inspected, sound"},
		{b.Opened, tickMark, "window opened"},
		{b.Permit, permitMark, "permit to strip"},
		{b.Stripped, strippedMark, "stripped"},
	}
	if b.Early {
		all[5].draw, all[5].say = holdMark, "stripped early"
	}
	if b.Opened.IsZero() && b.Stripped.IsZero() && b.Expected.After(d.r.At) {
		all = append(all, happening{b.Expected, expectedMark, "window expected: it opens nothing"})
	}
	return slices.DeleteFunc(all, func(h happening) bool { return h.at.IsZero() })
}

// press is spread, or as much of it as there is room for.
func press(at []float64, step, lo, hi float64) {
	if n := len(at); n > 1 && float64(n-1)*step > hi-lo {
		step = max(hi-lo, 0) / float64(n-1)
	}
	if !spread(at, step, lo, hi) {
		for i := range at {
			at[i] = clamp(at[i], lo, hi)
		}
	}
}

// cleared draws a disc of paper behind a mark that has gaps.
func cleared(s *sheet, at Point, side float64) {
	s.path(Style{Fill: paper, Stroke: ink, WidthPX: 1.5, Closed: true}, circle(at, side*0.5))
}

func strippedMark(s *sheet, at Point, side float64) {
	cleared(s, at, side)
	crossMark(s, at, side*0.8)
}

// soundMark is an eye: somebody looked.
func soundMark(s *sheet, at Point, side float64) {
	cleared(s, at, side)
	s.path(Style{Fill: ink, Closed: true}, circle(at, side*0.2))
}

// permitMark is a pennant on a pole.
func permitMark(s *sheet, at Point, side float64) {
	cleared(s, at, side)
	s.polygon(at, side, Style{Fill: ink}, Point{-0.35, -0.65}, Point{0.6, -0.3}, Point{-0.35, 0.05})
	s.line(ink, 2, Point{at.X - side*0.17, at.Y - side*0.32}, Point{at.X - side*0.17, at.Y + side*0.34})
}

// expectedMark is a dashed ring.
func expectedMark(s *sheet, at Point, side float64) {
	s.path(Style{Fill: paper, Stroke: grey, WidthPX: 2, DashPX: []float64{4, 3}, Closed: true}, circle(at, side*0.42))
}

func (d *bracing) key() []entry {
	list := []entry{
		{barSample(func(s *sheet, b Box) {}), "set, before the concrete"},
		{barSample(func(s *sheet, b Box) { s.rect(b, Style{Fill: curingPurple}) }), "curing"},
		{barSample(func(s *sheet, b Box) { s.path(Style{Stroke: stripGreen, WidthPX: 4}, s.bars(b.grow(-1), 14)...) }), "window open"},
	}
	if slices.ContainsFunc(d.r.Bars, func(b Bar) bool { return !b.HeldFrom.IsZero() }) {
		list = append(list, entry{barSample(func(s *sheet, b Box) {
			s.rect(b, Style{Fill: curingPurple})
			s.band(Box{b.X0, b.Y1 - 7, b.X1, b.Y1}, FrontPastLimit)
		}), "held"})
	}
	seen := map[string]bool{}
	for _, b := range d.r.Bars {
		for _, e := range d.events(b) {
			if !seen[e.say] {
				seen[e.say] = true
				list = append(list, entry{marked(e.draw), e.say})
			}
		}
	}
	return list
}

func barSample(fill func(*sheet, Box)) func(*sheet, Box) {
	return func(s *sheet, b Box) {
		b = Box{b.X0, b.Y0 + 1, b.X1, b.Y1 - 1}
		s.rect(b, Style{Fill: paper})
		fill(s, b)
		s.rect(b, Style{Stroke: ink, WidthPX: 2})
	}
}

// describe says in plain words what the timeline shows.
func (d *bracing) describe() string {
	said := []string{"The bracing as of " + d.moment(d.r.At) + ", " + plural(len(d.r.Bars), "brace", "braces") + "."}
	for _, b := range d.r.Bars {
		say := b.Name
		if b.AtM >= 0 {
			say += " at " + d.length(b.AtM)
		}
		say += ": " + d.says(b)
		if !b.Set.IsZero() {
			say += "; set " + d.short(b.Set)
		}
		for _, e := range d.events(b) {
			if e.say != "stripped" && e.say != "stripped early" {
				say += "; " + e.say + " " + d.shortUp(e.at)
			}
		}
		if !b.HeldFrom.IsZero() {
			say += "; held from " + d.short(b.HeldFrom)
			if !b.HeldUntil.IsZero() {
				say += " to " + d.shortUp(b.HeldUntil)
			}
		}
		said = append(said, say+".")
	}
	if d.more != "" {
		said = append(said, d.more)
	}
	return strings.Join(said, " ")
}
