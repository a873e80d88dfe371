package picture

import (
	"cmp"
	"strings"

	"earlyage/scheduler"
)

// entry is a line of the key: a sample, drawn in a box of sampleWide by the
// height of a line, and what it stands for.
type entry struct {
	sample func(s *sheet, b Box)
	say    string
}

const sampleWide = 36.0

// entries writes the lines of a key side by side as far as they fit, and
// returns how far down they reach.
func (s *sheet) entries(y float64, list []entry) float64 {
	x, line := s.margin, leading*s.size
	edge := s.wide - s.margin
	for _, e := range list {
		room := sampleWide + 8 + wide(e.say, s.size, false)
		if x > s.margin && x+room > edge {
			x, y = s.margin, y+line+6
		}
		b := Box{x, y, x + sampleWide, y + line}
		e.sample(s, b)
		if room <= edge-x {
			s.say(Text{At: Point{b.X1 + 8, baseline(b.middle().Y, s.size)}, Say: e.say})
			x += room + 24
			continue
		}
		top := b.middle().Y - line/2
		end := s.paragraph(e.say, s.size, false, ink, b.X1+8, top+(leading-ascent-descent)/2*s.size, edge-b.X1-8)
		x, y = s.margin, max(end, y+line)+4
	}
	if x > s.margin {
		y += line + 6
	}
	return y
}

func marked(m mark) func(*sheet, Box) {
	return func(s *sheet, b Box) { m(s, b.middle(), s.size+2) }
}

// key writes what the shapes and patterns stand for, as far as they occur.
func (u *unrolling) key(y float64) float64 {
	if len(u.w.Layers) > 0 {
		y = u.ageScale(y)
	}
	list := u.formEntries()
	list = append(list, u.frontEntries()...)
	list = append(list, u.braceEntries()...)
	for _, j := range u.w.Joints {
		list = append(list, entry{func(s *sheet, b Box) {
			s.joint(Point{b.X0, b.middle().Y}, Point{b.X1, b.middle().Y}, j.State)
		}, u.jointSays(j)})
	}
	y = u.entries(y, list)
	for _, n := range u.notes() {
		y = u.paragraph(n, u.size, false, ink, u.margin, y, u.wide-2*u.margin)
	}
	return y
}

func level(c Color, width float64, dash []float64) func(*sheet, Box) {
	return func(s *sheet, b Box) {
		s.dashed(c, width, dash, Point{b.X0, b.middle().Y}, Point{b.X1, b.middle().Y})
	}
}

func upright(width float64, dash []float64) func(*sheet, Box) {
	return func(s *sheet, b Box) {
		s.dashed(ink, width, dash, Point{b.middle().X, b.Y0}, Point{b.middle().X, b.Y1})
	}
}

func hatched(s *sheet, b Box) {
	b = Box{b.X0, b.Y0 + 2, b.X1, b.Y1 - 2}
	s.hatch(b, 8)
	s.rect(b, Style{Stroke: ink, WidthPX: 1})
}

func (u *unrolling) formEntries() []entry {
	list := []entry{{hatched, "nothing placed"}, {level(ink, 3, nil), "top of the form, " + u.length(u.w.FormTopM)}}
	if u.w.TopM < u.w.FormTopM {
		list = append(list, entry{level(ink, 2, []float64{8, 5}), "planned top, " + u.length(u.w.TopM)})
	}
	if len(u.w.Openings) > 0 {
		list = append(list, entry{func(s *sheet, b Box) {
			b = Box{b.X0 + 6, b.Y0 + 2, b.X1 - 6, b.Y1 - 2}
			s.rect(b, Style{Fill: paper, Stroke: ink, WidthPX: 3})
			s.path(Style{Stroke: grey, WidthPX: 1}, []Point{{b.X0, b.Y0}, {b.X1, b.Y1}}, []Point{{b.X0, b.Y1}, {b.X1, b.Y0}})
		}, "opening" + u.sillsAndHeads()})
	}
	if len(u.w.Corners) > 0 {
		list = append(list, entry{upright(2.5, []float64{9, 3, 3, 3}), "corner: the wall is folded out flat here"})
	}
	if len(u.w.Bulkheads) > 0 {
		list = append(list, entry{func(s *sheet, b Box) {
			x := b.middle().X
			s.line(ink, 4, Point{x, b.Y0}, Point{x, b.Y1})
			s.path(Style{Stroke: ink, WidthPX: 2}, []Point{{x - 5, b.Y0 + 5}, {x + 5, b.Y0 + 5}}, []Point{{x - 5, b.Y1 - 5}, {x + 5, b.Y1 - 5}})
		}, "bulkhead"})
	}
	if len(u.w.Pilasters) > 0 {
		list = append(list, entry{upright(1.5, []float64{3, 3}), "edge of a pilaster"})
	}
	return list
}

// sillsAndHeads says the heights that found no room in their openings.
func (u *unrolling) sillsAndHeads() string {
	var say []string
	for _, o := range u.w.Openings {
		if !u.sized[o] {
			say = append(say, cmp.Or(o.Name, "at "+u.length(o.FromM)+":")+" "+u.between(o.SillM, o.HeadM))
		}
	}
	if len(say) == 0 {
		return ", with head and sill"
	}
	return ", sill to head: " + strings.Join(say, ", ")
}

func (u *unrolling) frontEntries() []entry {
	var list []entry
	for _, state := range [...]FrontState{FrontPastLimit, FrontClosing, FrontLive} {
		for _, f := range u.w.Fronts {
			if f.State == state {
				list = append(list, entry{func(s *sheet, b Box) {
					frontMark(state)(s, Point{b.X0 + 7, b.middle().Y}, 14)
					s.band(Box{b.X0 + 18, b.middle().Y - 3, b.X1, b.middle().Y + 3}, state)
				}, "open front, " + string(state)})
				break
			}
		}
	}
	return list
}

var braceStates = [...]BraceState{BraceHeld, BraceDisturbed, BraceStanding, BraceMayStrip, BraceStripped, BracePlanned, "not known"}

// braceEntries name every brace with its state, so that one whose label found
// no room is not lost.
func (u *unrolling) braceEntries() []entry {
	var list []entry
	for _, state := range braceStates {
		if names := u.bracesThat(state); names != "" {
			list = append(list, entry{marked(braceMark(state)), string(state) + ": " + names})
		}
	}
	return list
}

// bracesThat names the braces in a state; three and more neighbours are drawn
// together: "B1 to B6".
func (u *unrolling) bracesThat(state BraceState) string {
	var out []string
	n := 0
	braces := u.w.Braces
	for from := 0; from < len(braces); {
		to := from
		if braceWord(braces[from].State) != string(state) {
			from++
			continue
		}
		for to+1 < len(braces) && braceWord(braces[to+1].State) == string(state) {
			to++
		}
		n += to - from + 1
		if to-from >= 2 {
			out = append(out, braceName(braces[from])+" to "+braceName(braces[to]))
		} else {
			for _, b := range braces[from : to+1] {
				out = append(out, braceName(b))
			}
		}
		from = to + 1
	}
	if n == 0 {
		return ""
	}
	return plural(n, "brace", "braces") + ", " + strings.Join(out, ", ")
}

func braceName(b Brace) string { return cmp.Or(b.Name, "without a name") }

// mostHidden is how many fronts without a label the key lists.
const mostHidden = 8

// notes are what the drawing cannot show.
func (u *unrolling) notes() []string {
	var out []string
	if u.w.Closed {
		out = append(out, "The wall is closed: "+u.length(u.w.LengthM)+" meets 0.")
	}
	out = append(out, u.describeFronts(u.hidden[:min(len(u.hidden), mostHidden)])...)
	if more := len(u.hidden) - mostHidden; more > 0 {
		out = append(out, plural(more, "more open front has", "more open fronts have")+" no label here for want of room.")
	}
	out = append(out, u.undated()...)
	var lost []string
	for _, b := range u.w.Braces {
		if b.AtM < 0 {
			lost = append(lost, braceName(b))
		}
	}
	if len(lost) > 0 {
		out = append(out, "Not drawn, for their station is not known: "+list(lost)+".")
	}
	return out
}

// saysStrip reports whether the picture says that anything may be stripped.
func (w *Wall) saysStrip() bool {
	for _, b := range w.Braces {
		if b.State == BraceMayStrip {
			return true
		}
	}
	return w.State == words(scheduler.StateMayStrip)
}

// caution writes the caution beside a heavy bar.
func (s *sheet) caution(y float64) float64 {
	y += 8
	end := s.paragraph(scheduler.Caution, s.size, false, ink, s.margin+16, y, s.wide-2*s.margin-16)
	s.line(ink, 4, Point{s.margin + 4, y}, Point{s.margin + 4, end})
	return end
}
