package picture

import (
	"cmp"
	"math"
	"slices"
)

// tag is the label of a front, above the wall. Its box is in the row's lane:
// y 0 is the top of the form, upwards is negative.
type tag struct {
	box    Box
	lines  []string
	bold   int // of the lines, from the first
	state  FrontState
	leader float64 // px, where the line down to the front stands
	topM   float64
}

const (
	tagPad    = 8.0
	tagLevels = 4
)

// tags finds room above a row for the labels of the fronts that belong to it,
// and says how much room they need. The most pressing is placed first, or the
// shortest if more of them find room so.
func (u *unrolling) tags(i int) (tags []tag, above float64) {
	var fronts []Front
	for _, f := range u.w.Fronts {
		if home(u.rows, f.FromM, f.ToM) == i {
			fronts = append(fronts, f)
		}
	}
	slices.SortStableFunc(fronts, func(a, b Front) int { return cmp.Compare(a.MinutesLeft, b.MinutesLeft) })
	tags, hidden := u.placeTags(u.rows[i], fronts)
	if len(hidden) > 0 {
		slices.SortStableFunc(fronts, func(a, b Front) int { return cmp.Compare(a.ToM-a.FromM, b.ToM-b.FromM) })
		if others, left := u.placeTags(u.rows[i], fronts); len(left) < len(hidden) {
			tags, hidden = others, left
		}
	}
	u.hidden = append(u.hidden, hidden...)
	for _, t := range tags {
		above = max(above, -t.box.Y0)
	}
	return tags, above + 6
}

func (u *unrolling) placeTags(r row, fronts []Front) (tags []tag, hidden []Front) {
	lane := &sheet{wide: u.wide}
	for _, f := range fronts {
		t, found := u.placeTag(lane, r, f)
		if !found {
			hidden = append(hidden, f)
			continue
		}
		tags = append(tags, t)
	}
	return tags, hidden
}

func (u *unrolling) placeTag(lane *sheet, r row, f Front) (tag, bool) {
	t, w, high := u.newTag(f)
	x0, x1, _ := r.span(f.FromM, f.ToM)
	mid := (x0 + x1) / 2
	best, least := t, math.Inf(1)
	for level := range tagLevels {
		bottom := lane.above(level)
		for k, dx := range [...]float64{0, 0.25, -0.25, 0.5, -0.5, 0.75, -0.75, 1, -1} {
			left := clamp(mid-w/2+dx*max(w, (x1-x0)/2), u.margin, u.wide-u.margin-w)
			t.box = Box{left, bottom - high, left + w, bottom}
			if !lane.free(t.box.grow(3)) {
				continue
			}
			// A label is rather moved along than up, and rather up than that its
			// line crosses an opening.
			trouble, found := u.placeLeader(lane, r, &t, x0, x1)
			if cost := float64(level) + 0.1*float64(k) + 2*trouble; found && cost < least {
				best, least = t, cost
			}
		}
	}
	if math.IsInf(least, 1) {
		return best, false
	}
	lane.take(best.box)
	lane.take(Box{best.leader - 3, best.box.Y1, best.leader + 3, 0})
	return best, true
}

// newTag is the label of a front, not yet placed, and its size.
func (u *unrolling) newTag(f Front) (t tag, w, high float64) {
	t = tag{state: f.State, topM: f.TopM}
	const most = 330
	room := min(most, u.wide-2*u.margin) - 3*tagPad - u.size
	for k, say := range u.tagLines(f) {
		t.lines = append(t.lines, wrap(say, u.size, k == 0, room)...)
		if k == 0 {
			t.bold = len(t.lines)
		}
	}
	high = float64(len(t.lines))*leading*u.size + tagPad
	for k, l := range t.lines {
		w = max(w, wide(l, u.size, k < t.bold))
	}
	w += 3*tagPad + u.size
	return t, w, high
}

// placeLeader finds where the line from a label down to its front can stand:
// under the label and over the front, at best where it crosses nothing. Trouble
// is 1 where it does cross an opening.
func (u *unrolling) placeLeader(lane *sheet, r row, t *tag, x0, x1 float64) (trouble float64, found bool) {
	lo, hi := max(t.box.X0+6, x0), min(t.box.X1-14, x1)
	if lo > hi {
		return 0, false
	}
	for _, part := range [...]float64{0.5, 0.3, 0.7, 0.1, 0.9, 0, 1} {
		x := lo + float64(part*(hi-lo))
		if !lane.free(Box{x - 3, t.box.Y1, x + 3, 0}) {
			continue
		}
		if !u.crosses(r, x, t.topM) {
			t.leader = x
			return 0, true
		}
		if !found {
			t.leader, found = x, true
		}
	}
	return 1, found
}

// crosses reports whether a line down the wall to a height meets an opening, or
// runs along a fold or a bulkhead.
func (u *unrolling) crosses(r row, x, downTo float64) bool {
	for _, o := range u.w.Openings {
		if b, shows := openingBox(r, o); shows && o.HeadM > downTo && b.X0-5 < x && x < b.X1+5 {
			return true
		}
	}
	for _, c := range u.w.Corners {
		if abs(r.x(c.AtM)-x) < 9 {
			return true
		}
	}
	for _, b := range u.w.Bulkheads {
		if abs(r.x(b.AtM)-x) < 11 {
			return true
		}
	}
	return false
}

// above is where labels of a level may end: over as many labels as the level
// says.
func (s *sheet) above(level int) float64 {
	if level == 0 {
		return -14
	}
	var tops []float64
	for _, b := range s.taken {
		if b.Y1 != 0 {
			tops = append(tops, b.Y0)
		}
	}
	slices.Sort(tops)
	tops = slices.Compact(tops)
	if len(tops) == 0 {
		return -14
	}
	return tops[max(len(tops)-level, 0)] - 6
}

func (u *unrolling) tagLines(f Front) []string {
	lines := []string{left(f.State, f.MinutesLeft)}
	if f.Room != nil {
		say := "no room now"
		if f.Room.NowM >= 0.01 {
			say = "room for " + u.length(f.Room.NowM) + " now"
		}
		lines = append(lines, say)
		if !f.Room.Full.IsZero() && f.Room.Full.After(u.w.At) {
			lines = append(lines, "full lift from "+u.clockUp(f.Room.Full))
		}
	}
	return lines
}

func (u *unrolling) drawTags(tags []tag, top float64) {
	for _, t := range tags {
		y := u.frontY(t, top)
		u.line(paper, 5, Point{t.leader, t.box.Y1 + top}, Point{t.leader, y})
		u.line(ink, 2, Point{t.leader, t.box.Y1 + top}, Point{t.leader, y})
		u.take(Box{t.leader - 3, t.box.Y1 + top, t.leader + 3, y})
	}
	for _, t := range tags {
		b := t.box.moved(0, top)
		u.plate(b, paper, ink, 2)
		frontMark(t.state)(u.sheet, Point{b.X0 + tagPad + u.size/2, b.Y0 + tagPad/2 + leading*u.size/2}, u.size)
		for k, l := range t.lines {
			y := b.Y0 + tagPad/2 + (float64(k)+0.5)*leading*u.size
			u.say(Text{At: Point{b.X0 + 2*tagPad + u.size, baseline(y, u.size)}, Say: l, Bold: k < t.bold})
		}
	}
}

func (u *unrolling) frontY(t tag, top float64) float64 {
	return top + float64((u.w.FormTopM-t.topM)*u.rows[0].perUp) - 3
}

func frontMark(s FrontState) mark {
	switch s {
	case FrontLive:
		return placingMark
	case FrontClosing:
		return watchMark
	}
	return holdMark
}

// frontLines draws the open fronts on the concrete.
func (u *unrolling) frontLines(r row) {
	for _, f := range u.w.Fronts {
		if f.FromM == f.ToM {
			if x := r.x(f.FromM); r.holds(f.FromM) {
				u.openSurface(Box{x - 3, r.y(f.TopM), x + 3, r.y(f.BottomM)}, f.State)
			}
			continue
		}
		for _, p := range u.solid(r, f.FromM, f.ToM, f.TopM) {
			u.openSurface(Box{p[0], r.y(f.TopM) - 6, p[1], r.y(f.TopM)}, f.State)
		}
	}
}

func (u *unrolling) openSurface(b Box, state FrontState) {
	u.band(b, state)
	u.take(b.grow(1))
}

// band is an open surface: solid while it is live, striped when it is closing,
// broken into blocks past its limit.
func (s *sheet) band(b Box, state FrontState) {
	switch state {
	case FrontLive:
		s.rect(b, Style{Fill: placingBlue, Stroke: paper, WidthPX: 1})
	case FrontClosing:
		s.rect(b, Style{Fill: watchAmber, Stroke: ink, WidthPX: 1.5})
		s.path(Style{Stroke: ink, WidthPX: 2}, s.bars(b, 9)...)
	default:
		s.rect(b.grow(1), Style{Fill: paper, Stroke: ink, WidthPX: 1})
		from, to := Point{b.X0, b.middle().Y}, Point{b.X1, b.middle().Y}
		width := b.high()
		if b.high() > b.wide() {
			from, to, width = Point{b.middle().X, b.Y0}, Point{b.middle().X, b.Y1}, b.wide()
		}
		s.dashed(holdRed, width, []float64{12, 5}, from, to)
	}
}

// bars are slanting lines across a narrow box, however it lies.
func (s *sheet) bars(b Box, step float64) [][]Point {
	var out [][]Point
	if b.wide() >= b.high() {
		for x := b.X0 + step; x < b.X1; x += step {
			out = append(out, []Point{{max(x-b.high(), b.X0), b.Y1}, {x, b.Y0}})
		}
		return out
	}
	for y := b.Y0 + step; y < b.Y1; y += step {
		out = append(out, []Point{{b.X0, y}, {b.X1, max(y-b.wide(), b.Y0)}})
	}
	return out
}
