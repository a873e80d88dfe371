package picture

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// Timeline draws a pour: height against time, stretch by stretch, with loads,
// stops, limits and the present moment.
func Timeline(p Pour, o Options) SVG { return DrawTimeline(p, o).SVG() }

// The most that one picture shows; the rest is counted.
const (
	mostStretches = 24
	mostLoads     = 200
	loadTracks    = 4
)

// DrawTimeline lays out what [Timeline] draws.
func DrawTimeline(p Pour, o Options) *Drawing {
	t := &timeline{sheet: newSheet(o), speech: o.speech(), p: p.clean()}
	from, to := reach(t.moments(), p.At)
	gutter := wide(t.length(t.p.TopM), t.size, false) + 14
	t.axis = timeAxis{from, to, t.margin + gutter, t.wide - t.margin - 2, t.zone}
	room := t.wide - 2*t.margin
	y := t.paragraph(heading(t.p.Name, t.p.Site)+": the pour", headSize, true, ink, t.margin, t.margin, room)
	y = t.paragraph("height against time, as of "+t.moment(p.At), t.size, false, ink, t.margin, y, room) + 12 + t.size
	top := y
	y = t.loads(y)
	var panels []Box
	for _, s := range t.p.Stretches {
		b := Box{t.axis.x0, y + leading*t.size + 4, t.axis.x1, y + leading*t.size + 4 + panelHigh}
		panels = append(panels, b)
		t.grid(t.axis, b.Y0, b.Y1)
		t.panelName(s, y)
		y = b.Y1 + 12
	}
	bottom := y - 8
	t.stops(top, bottom, panels)
	for i, s := range t.p.Stretches {
		t.panel(s, panels[i])
	}
	t.labelLimits(panels)
	t.nowLine(t.axis, t.speech, p.At, top, bottom)
	y = t.timeTicks(t.axis, bottom+4) + 16
	y = t.entries(y, t.key())
	for _, n := range t.notes() {
		y = t.paragraph(n, t.size, false, ink, t.margin, y, room)
	}
	return t.done(y+t.margin, o.id("timeline"), heading(t.p.Name, t.p.Site)+": timeline of the pour", t.describe())
}

const panelHigh = 84.0

type timeline struct {
	*sheet
	speech
	p     Pour
	axis  timeAxis
	names int // loads that found no room for their name
	more  []string
	over  bool // some step was past its limit
	ahead bool // some limit is still to come
}

// clean returns the pour with plain names and without what cannot be drawn.
func (p Pour) clean() Pour {
	p.Site, p.Name = plain(p.Site), plain(p.Name)
	p.Stretches = cleaned(p.Stretches, func(s *Stretch) bool {
		s.Name = plain(s.Name)
		s.Steps = cleaned(s.Steps, func(x *Step) bool {
			return !x.At.IsZero() && finite(x.TopM) && x.TopM >= 0 && x.TopM <= mostHeightM
		})
		slices.SortStableFunc(s.Steps, func(a, b Step) int { return a.At.Compare(b.At) })
		return finite(s.FromM, s.ToM) && abs(s.FromM) <= mostLengthM && abs(s.ToM) <= mostLengthM
	})
	if !finite(p.TopM) || p.TopM <= 0 || p.TopM > mostHeightM {
		p.TopM = 0
	}
	for _, s := range p.Stretches {
		for _, x := range s.Steps {
			p.TopM = max(p.TopM, x.TopM)
		}
	}
	if p.TopM < 0.01 {
		p.TopM = 1
	}
	p.Loads = cleaned(p.Loads, func(l *Load) bool {
		l.Name = plain(l.Name)
		return true
	})
	p.Stops = cleaned(p.Stops, func(s *Stop) bool {
		s.Reason = plain(s.Reason)
		if s.To.IsZero() {
			s.To = p.At
		}
		return !s.From.IsZero() && !s.To.Before(s.From)
	})
	return p
}

// moments are all times that the picture has to reach.
func (t *timeline) moments() []time.Time {
	var out []time.Time
	if n := len(t.p.Stretches) - mostStretches; n > 0 {
		t.p.Stretches = t.p.Stretches[:mostStretches]
		t.more = append(t.more, plural(n, "more stretch is", "more stretches are")+" not drawn.")
	}
	if n := len(t.p.Loads) - mostLoads; n > 0 {
		t.p.Loads = t.p.Loads[n:]
		t.more = append(t.more, plural(n, "earlier load is", "earlier loads are")+" not drawn.")
	}
	for _, s := range t.p.Stretches {
		for i, x := range s.Steps {
			out = append(out, x.At)
			if i == len(s.Steps)-1 && !x.Limit.IsZero() {
				out = append(out, x.Limit)
			}
		}
	}
	for _, l := range t.p.Loads {
		out = append(out, l.Batched, l.Arrived, l.Began, l.Ended, l.Rejected, l.Expected)
	}
	for _, s := range t.p.Stops {
		out = append(out, s.From, s.To)
	}
	return out
}

func (s Stretch) stations(p speech) string { return p.between(s.FromM, s.ToM) }

// panelName writes which stretch a panel shows and where it stands now.
func (t *timeline) panelName(s Stretch, y float64) {
	name := cmp.Or(s.Name, s.stations(t.speech))
	right := "nothing placed"
	if n := len(s.Steps); n > 0 {
		right = "now " + t.length(s.Steps[n-1].TopM)
	}
	base := y + ascent*t.size + 2
	edge := t.axis.x1
	room := edge - t.margin - wide(right, t.size, false) - 16
	if s.Name != "" {
		if whole := s.Name + ", " + s.stations(t.speech); wide(whole, t.size, true) <= room {
			name = whole
		}
	}
	t.say(Text{At: Point{t.margin, base}, Say: fit(name, t.size, true, room), Bold: true})
	t.say(Text{At: Point{edge, base}, Say: right, Anchor: End})
}

// panel draws the steps of one stretch.
func (t *timeline) panel(s Stretch, b Box) {
	perM := (b.high() - 8) / t.p.TopM
	y := func(m float64) float64 { return b.Y1 - float64(m*perM) }
	t.dashed(ink, 2, []float64{8, 5}, Point{b.X0, y(t.p.TopM)}, Point{b.X1, y(t.p.TopM)})
	t.say(Text{At: Point{b.X0 - 10, baseline(y(t.p.TopM), t.size)}, Say: t.length(t.p.TopM), Anchor: End})
	t.say(Text{At: Point{b.X0 - 10, baseline(b.Y1-4, t.size)}, Say: t.length(0), Anchor: End})
	if len(s.Steps) > 0 {
		line := []Point{{t.axis.at(s.Steps[0].At), b.Y1}}
		for i, x := range s.Steps {
			line = append(line, Point{t.axis.at(x.At), y(x.TopM)}, Point{t.axis.at(t.until(s, i)), y(x.TopM)})
		}
		area := append(slices.Clone(line), Point{line[len(line)-1].X, b.Y1})
		t.path(Style{Fill: ages[3], Closed: true}, area)
		t.line(ink, 3, line...)
		for i, x := range s.Steps {
			t.limit(x, t.until(s, i), i == len(s.Steps)-1, y(x.TopM))
		}
	}
	t.line(ink, 2, Point{b.X0, b.Y1}, Point{b.X1, b.Y1})
}

// until is when a step was covered, or now.
func (t *timeline) until(s Stretch, i int) time.Time {
	if i+1 < len(s.Steps) {
		return s.Steps[i+1].At
	}
	if s.Steps[i].At.After(t.p.At) {
		return s.Steps[i].At
	}
	return t.p.At
}

// limit marks how a step stands against its limit: blocks where it was open
// past it, a dashed line ahead to it while it is open.
func (t *timeline) limit(x Step, until time.Time, open bool, y float64) {
	if x.Limit.IsZero() {
		return
	}
	if until.After(x.Limit) {
		from := x.Limit
		if from.Before(x.At) {
			from = x.At
		}
		t.over = true
		x0, x1 := t.axis.at(from), t.axis.at(until)
		t.band(Box{x0, y - 4, max(x1, x0+3), y + 4}, FrontPastLimit)
		return
	}
	if !open {
		return
	}
	t.ahead = true
	x0, x1 := t.axis.at(until), t.axis.at(x.Limit)
	t.limitLine(x0, x1, y)
}

func (s *sheet) limitLine(x0, x1, y float64) {
	s.line(paper, 6, Point{x0, y}, Point{x1, y})
	s.dashed(placingBlue, 3, []float64{6, 4}, Point{x0, y}, Point{x1, y})
	s.line(placingBlue, 3, Point{x1, y - 8}, Point{x1, y + 8})
}

// labelLimits writes until when the open steps must be covered.
func (t *timeline) labelLimits(panels []Box) {
	for i, s := range t.p.Stretches {
		if len(s.Steps) == 0 {
			continue
		}
		x, b := s.Steps[len(s.Steps)-1], panels[i]
		if x.Limit.IsZero() {
			continue
		}
		says := []string{"by " + t.clock(x.Limit)}
		if t.p.At.After(x.Limit) {
			says = []string{"past limit since " + t.clock(x.Limit), "past limit"}
		}
		y := b.Y1 - x.TopM*(b.high()-8)/t.p.TopM
		if !slices.ContainsFunc(says, func(say string) bool { return t.labelLimit(say, x.Limit, b, y) }) {
			t.more = append(t.more, cmp.Or(s.Name, s.stations(t.speech))+": "+says[0]+".")
		}
	}
}

// labelLimit tries places about the end of an open step.
func (t *timeline) labelLimit(say string, limit time.Time, b Box, y float64) bool {
	w, end, now := wide(say, t.size, true), t.axis.at(limit), t.axis.at(t.p.At)
	for _, p := range [...]Point{{end - w - 6, y - 8}, {now - w - 8, y - 8}, {end + 8, y + 4}, {now + 8, y - 8}, {end - w - 6, y + 8 + t.size}} {
		text := t.set(Text{At: p, Say: say, Bold: true})
		box := text.box().grow(2)
		if !box.within(Box{b.X0, b.Y0 - 4, t.wide - 2, b.Y1}) || !t.free(box) || box.X0 < now+3 && box.X1 > now-3 {
			continue
		}
		t.rect(box, Style{Fill: paper})
		t.say(text)
		return true
	}
	return false
}

// stops hatches the time of each stop over all panels and says why.
func (t *timeline) stops(top, bottom float64, panels []Box) {
	for _, s := range t.p.Stops {
		x0, x1 := t.axis.at(s.From), t.axis.at(s.To)
		x1 = max(x1, x0+2)
		for _, b := range panels {
			t.hatch(Box{x0, b.Y0, x1, b.Y1}, 7)
		}
		for _, x := range [2]float64{x0, x1} {
			for _, b := range panels {
				t.line(ink, 1.5, Point{x, b.Y0}, Point{x, b.Y1})
			}
		}
	}
}

func (t *timeline) stopSays(s Stop) string {
	say := "stopped "
	if s.Planned {
		say = "stopped as planned "
	}
	say += t.clock(s.From) + " to " + t.clock(s.To)
	if s.To.Equal(t.p.At) {
		say = strings.TrimSuffix(say, " to "+t.clock(s.To)) + ", still standing"
	}
	if s.Reason != "" {
		say += ": " + s.Reason
	}
	return say
}
