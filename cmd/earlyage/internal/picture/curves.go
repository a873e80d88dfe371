package picture

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"time"

	"earlyage/scheduler/concrete/unit"
)

// Curves draws the curing of a wall: temperatures, and the equivalent age with
// what it has to reach.
func Curves(c Curing, o Options) SVG { return DrawCurves(c, o).SVG() }

type curves struct {
	*sheet
	speech
	c      Curing
	axis   timeAxis
	direct bool // names stand beside the ends of the curves
}

// DrawCurves lays out what [Curves] draws.
func DrawCurves(c Curing, o Options) *Drawing {
	k := newCurves(c, o)
	room := k.wide - 2*k.margin
	y := k.paragraph(heading(k.c.Name, k.c.Site)+": curing", headSize, true, ink, k.margin, k.margin, room)
	for _, line := range k.summary() {
		y = k.paragraph(line, k.size, false, ink, k.margin, y, room)
	}
	y += 12 + k.size
	top := y
	high := 220.0
	if k.narrow {
		high = 190
	}
	var temperature, age Box
	if k.hasTemperatures() {
		temperature, y = k.frame(y, high, "temperature, "+k.degree())
	}
	age, _ = k.frame(y, high+40, cmp.Or(k.c.AgeName, "equivalent age")+", h")
	if k.hasTemperatures() {
		k.temperatures(temperature)
	}
	k.ages(age)
	k.nowLine(k.axis, k.speech, c.At, top, age.Y1)
	y = k.timeTicks(k.axis, age.Y1+2) + 16
	y = k.entries(y, k.key())
	if !o.OnPage {
		y = k.caution(y)
	}
	return k.done(y+k.margin, o.id("curves"), heading(k.c.Name, k.c.Site)+": curves of curing", k.describe())
}

func newCurves(c Curing, o Options) *curves {
	k := &curves{sheet: newSheet(o), speech: o.speech(), c: c.clean()}
	k.direct = !k.narrow && len(k.c.Temperatures) <= 8
	right := k.wide - k.margin - 2
	if k.direct {
		right -= k.nameRoom()
	}
	from, to := reach(k.moments(), c.At)
	k.axis = timeAxis{from, to, k.margin + wide("-100.0", k.size, false), right, k.zone}
	return k
}

func (k *curves) hasTemperatures() bool { return len(k.c.Temperatures) > 0 }

func (k *curves) degree() string {
	_, symbol := unit.In(unit.Temperature, 0, k.sys)
	return symbol
}

// shown is a temperature in the unit of the picture.
func (k *curves) shown(c float64) float64 {
	v, _ := unit.In(unit.Temperature, c, k.sys)
	return v
}

func (k *curves) floorEnd() time.Time {
	if k.c.ClockZero.IsZero() || k.c.FloorH == 0 {
		return time.Time{}
	}
	return k.c.ClockZero.Add(time.Duration(k.c.FloorH * float64(time.Hour)))
}

func (k *curves) moments() []time.Time {
	out := []time.Time{k.c.ClockZero, k.floorEnd(), k.c.Early, k.c.Likely, k.c.Late, k.c.Met}
	for _, s := range k.c.Temperatures {
		out = append(out, s.Points[0].At, s.Points[len(s.Points)-1].At)
	}
	if n := len(k.c.Age); n > 0 {
		out = append(out, k.c.Age[0].At, k.c.Age[n-1].At)
	}
	if n := len(k.c.Expected); n > 0 {
		out = append(out, k.c.Expected[n-1].At)
	}
	return out
}

// summary are the lines under the heading.
func (k *curves) summary() []string {
	out := []string{"as of " + k.moment(k.c.At)}
	switch {
	case !k.c.Met.IsZero():
		out = append(out, "Age needed reached "+k.due(k.c.Met))
	case !k.c.Likely.IsZero():
		say := "Age needed expected " + k.due(k.c.Likely)
		if !k.c.Early.IsZero() && !k.c.Late.IsZero() {
			say += ", at the earliest " + k.due(k.c.Early) + ", at the latest " + k.due(k.c.Late)
		}
		out = append(out, say)
	}
	if end := k.floorEnd(); !end.IsZero() {
		out = append(out, "Floor of "+trimmed(k.c.FloorH)+" h after the last concrete ends "+k.due(end))
	}
	return out
}

func trimmed(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64) }

// frame opens a plot under its name and returns it, and where the next begins.
func (k *curves) frame(y, high float64, name string) (Box, float64) {
	k.say(Text{At: Point{k.margin, y + ascent*k.size}, Say: fit(name, k.size, true, k.wide-2*k.margin), Bold: true})
	b := Box{k.axis.x0, y + leading*k.size + 8, k.axis.x1, y + leading*k.size + 8 + high}
	k.grid(k.axis, b.Y0, b.Y1)
	return b, b.Y1 + 16
}

// scale is a vertical axis.
type scale struct {
	lo, hi float64
	b      Box
}

func (s scale) y(v float64) float64 {
	return s.b.Y1 - float64((clamp(v, s.lo, s.hi)-s.lo)/(s.hi-s.lo)*s.b.high())
}

// scaleFor chooses round ends around some values and writes the axis.
func (k *curves) scaleFor(b Box, lo, hi float64) scale {
	step := roundStep(max((hi-lo)/(b.high()/(k.size*2.2)), 1e-3))
	lo, hi = math.Floor(lo/step+1e-9)*step, math.Ceil(hi/step-1e-9)*step
	if hi <= lo {
		hi = lo + step
	}
	s := scale{lo, hi, b}
	for n := 0; ; n++ {
		v := lo + float64(n)*step
		if v > hi+step/2 {
			break
		}
		k.line(gridLine, 1, Point{b.X0, s.y(v)}, Point{b.X1, s.y(v)})
		k.say(Text{At: Point{b.X0 - 8, baseline(s.y(v), k.size)}, Say: trimmed(v), Anchor: End})
	}
	k.line(ink, 2, Point{b.X0, b.Y0}, Point{b.X0, b.Y1}, Point{b.X1, b.Y1})
	return s
}

// strokes of the curves: each has its own dashes.
var placeStrokes = map[Place]Style{
	PlaceTop:     {Stroke: ink, WidthPX: 3},
	PlaceCore:    {Stroke: curingPurple, WidthPX: 3, DashPX: []float64{12, 4}},
	PlaceAir:     {Stroke: placingBlue, WidthPX: 3, DashPX: []float64{3, 4}},
	PlaceCounted: {Stroke: stripGreen, WidthPX: 4, DashPX: []float64{14, 4, 3, 4}},
}

var otherStrokes = [...]Style{
	{Stroke: holdRed, WidthPX: 2.5, DashPX: []float64{7, 3}},
	{Stroke: grey, WidthPX: 2.5, DashPX: []float64{2, 2}},
	{Stroke: noLinkGrey, WidthPX: 2.5, DashPX: []float64{8, 3, 2, 3, 2, 3}},
}

func (k *curves) stroke(i int) Style {
	if s, known := placeStrokes[k.c.Temperatures[i].Place]; known {
		return s
	}
	return otherStrokes[i%len(otherStrokes)]
}

func (k *curves) temperatures(b Box) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, s := range k.c.Temperatures {
		for _, p := range s.Points {
			if !math.IsNaN(p.Value) {
				lo, hi = min(lo, k.shown(p.Value)), max(hi, k.shown(p.Value))
			}
		}
	}
	for _, t := range k.c.Thresholds {
		lo, hi = min(lo, k.shown(t.C)), max(hi, k.shown(t.C))
	}
	s := k.scaleFor(b, lo, hi)
	for _, t := range k.c.Thresholds {
		y := s.y(k.shown(t.C))
		k.dashed(ink, 2, []float64{8, 5}, Point{b.X0, y}, Point{b.X1, y})
	}
	var traces [][]Point
	for i, c := range k.c.Temperatures {
		lines := k.trace(c.Points, func(v float64) float64 { return s.y(k.shown(v)) })
		k.path(k.stroke(i), lines...)
		traces = append(traces, lines...)
	}
	for _, t := range k.c.Thresholds {
		say := k.celsius(t.C)
		if t.Name != "" {
			say = t.Name + ", " + say
		}
		k.aside(fit(say, k.size, false, b.wide()-8), b, s.y(k.shown(t.C)), traces)
	}
	if k.direct {
		k.names(b, s)
	}
}

// aside writes along a level line, over or under it, from the left to the right
// as far as it has to go so that no trace runs through it.
func (k *curves) aside(say string, b Box, y float64, traces [][]Point) {
	w, now := wide(say, k.size, false), k.axis.at(k.c.At)
	for part := 0.0; part <= 1; part += 0.125 {
		for _, base := range [2]float64{y - 7, y + 5 + ascent*k.size} {
			t := k.set(Text{At: Point{b.X0 + 6 + part*(b.wide()-w-12), base}, Say: say})
			box := t.box().grow(1)
			if !box.within(b) || !k.free(box) || box.X0 < now+4 && box.X1 > now-4 || touched(box.grow(3), traces) {
				continue
			}
			k.rect(box, Style{Fill: paper})
			k.say(t)
			return
		}
	}
}

// touched reports whether any of some lines runs through a box.
func touched(b Box, lines [][]Point) bool {
	for _, line := range lines {
		for i := 1; i < len(line); i++ {
			p, q := line[i-1], line[i]
			if max(p.X, q.X) < b.X0 || min(p.X, q.X) > b.X1 || max(p.Y, q.Y) < b.Y0 || min(p.Y, q.Y) > b.Y1 {
				continue
			}
			const steps = 16
			for n := range steps + 1 {
				part := float64(n) / steps
				x, y := p.X+part*(q.X-p.X), p.Y+part*(q.Y-p.Y)
				if b.X0 <= x && x <= b.X1 && b.Y0 <= y && y <= b.Y1 {
					return true
				}
			}
		}
	}
	return false
}

// trace turns samples into lines, broken where a value is missing. At most two
// points are kept for each pixel.
func (k *curves) trace(points []Sample, y func(float64) float64) [][]Point {
	var lines [][]Point
	var line []Point
	for _, p := range points {
		if math.IsNaN(p.Value) {
			lines, line = append(lines, line), nil
			continue
		}
		at := Point{k.axis.at(p.At), y(p.Value)}
		if n := len(line); n > 1 && math.Round(line[n-1].X) == math.Round(at.X) && math.Round(line[n-2].X) == math.Round(at.X) {
			line[n-1] = at
			continue
		}
		line = append(line, at)
	}
	return append(lines, line)
}

func last(points []Sample) (Sample, bool) {
	for _, p := range slices.Backward(points) {
		if !math.IsNaN(p.Value) {
			return p, true
		}
	}
	return Sample{}, false
}

func (k *curves) nameOf(s Series) string {
	end, _ := last(s.Points)
	return fit(s.Name, k.size, false, 150) + " " + k.celsius(end.Value)
}

func (k *curves) nameRoom() float64 {
	w := 0.0
	for _, s := range k.c.Temperatures {
		w = max(w, wide(k.nameOf(s), k.size, false))
	}
	return w + 64
}

// names writes what each curve is beside its end.
func (k *curves) names(b Box, s scale) {
	type name struct {
		say string
		y   float64
		st  Style
	}
	var all []name
	for i, c := range k.c.Temperatures {
		end, _ := last(c.Points)
		all = append(all, name{k.nameOf(c), s.y(k.shown(end.Value)), k.stroke(i)})
	}
	slices.SortStableFunc(all, func(a, b name) int { return cmp.Compare(a.y, b.y) })
	at := make([]float64, len(all))
	for i, n := range all {
		at[i] = n.y
	}
	spread(at, k.size*1.3, b.Y0-4, b.Y1)
	for i, n := range all {
		x := b.X1 + 8
		k.path(n.st, []Point{{x, at[i]}, {x + 40, at[i]}})
		k.say(Text{At: Point{x + 46, baseline(at[i], k.size)}, Say: n.say})
	}
}
