package picture

import (
	"cmp"
	"slices"
	"time"
)

// timeAxis places moments along a picture.
type timeAxis struct {
	from, to time.Time
	x0, x1   float64 // px
	zone     *time.Location
}

func (a timeAxis) x(t time.Time) float64 {
	return a.x0 + float64((a.x1-a.x0)*(float64(t.Sub(a.from))/float64(a.to.Sub(a.from))))
}

// at is where a moment stands, moved to the nearer end where it is outside.
func (a timeAxis) at(t time.Time) float64 { return clamp(a.x(t), a.x0, a.x1) }

func (a timeAxis) holds(t time.Time) bool {
	return !t.IsZero() && !t.Before(a.from) && !t.After(a.to)
}

// reach is the span of some moments, those that are not known left out, with a
// little room at both ends; at least an hour. No moment is further than a year
// from the one that is given last.
func reach(moments []time.Time, now time.Time) (from, to time.Time) {
	const year = 366 * 24 * time.Hour
	from, to = now, now
	for _, t := range moments {
		if t.IsZero() || t.Before(now.Add(-year)) || t.After(now.Add(year)) {
			continue
		}
		if t.Before(from) {
			from = t
		}
		if t.After(to) {
			to = t
		}
	}
	if short := time.Hour - to.Sub(from); short > 0 {
		from, to = from.Add(-short/2), to.Add(short/2)
	}
	room := to.Sub(from) / 50
	return from.Add(-room), to.Add(room)
}

// tick is a place on a time axis with what is written there.
type tick struct {
	at  time.Time
	say string
}

// The steps of a time axis, minutes within a day and then whole days.
var (
	minuteSteps = [...]int{5, 10, 15, 30, 60, 120, 180, 360, 720}
	daySteps    = [...]int{1, 2, 7, 14, 28, 91}
)

// ticks are moments that are round in local time, at least apart px from each
// other. days reports that they are whole days.
func (a timeAxis) ticks(apart float64) (out []tick, days bool) {
	perMinute := (a.x1 - a.x0) / a.to.Sub(a.from).Minutes()
	local := a.from.In(a.zone)
	for _, step := range minuteSteps {
		if float64(step)*perMinute >= apart {
			return a.walk(func(k int) time.Time {
				return time.Date(local.Year(), local.Month(), local.Day(), 0, k*step, 0, 0, a.zone)
			}, "15:04"), false
		}
	}
	step := daySteps[len(daySteps)-1]
	for _, s := range daySteps {
		if float64(s)*24*60*perMinute >= apart {
			step = s
			break
		}
	}
	return a.walk(func(k int) time.Time {
		return time.Date(local.Year(), local.Month(), local.Day()+k*step, 0, 0, 0, 0, a.zone)
	}, "2 Jan"), true
}

func (a timeAxis) walk(moment func(k int) time.Time, layout string) []tick {
	var out []tick
	for k := 0; k < 5000; k++ {
		t := moment(k)
		if t.After(a.to) {
			break
		}
		// A change of the clocks can put two of them at one moment.
		if t.Before(a.from) || len(out) > 0 && !t.After(out[len(out)-1].at) {
			continue
		}
		out = append(out, tick{t, t.In(a.zone).Format(layout)})
	}
	return out
}

// timeTicks writes a time axis under y and returns how far down it reaches.
// Under times of day it names the days.
func (s *sheet) timeTicks(a timeAxis, y float64) float64 {
	ticks, days := a.ticks(wide("00 Mon", s.size, false) * 1.2)
	lane := Box{2, y, s.wide - 2, y + 10 + 2*leading*s.size}
	base := y + 8 + s.size
	for _, t := range ticks {
		x := a.x(t.at)
		s.line(ink, 1, Point{x, y}, Point{x, y + 6})
		s.tryNear(Text{At: Point{x, base}, Say: t.say}, lane)
	}
	s.line(ink, 1.5, Point{a.x0, y}, Point{a.x1, y})
	if days {
		return base + descent*s.size
	}
	s.dayNames(a, base+leading*s.size, lane)
	return base + leading*s.size + descent*s.size
}

// grid draws thin lines at the ticks of an axis.
func (s *sheet) grid(a timeAxis, top, bottom float64) {
	ticks, _ := a.ticks(wide("00 Mon", s.size, false) * 1.2)
	for _, t := range ticks {
		s.line(gridLine, 1, Point{a.x(t.at), top}, Point{a.x(t.at), bottom})
	}
}

// gridLine helps the eye along and says nothing.
const gridLine Color = "#C9CDC6"

// dayNames writes each day under the part of the axis that it covers.
func (s *sheet) dayNames(a timeAxis, base float64, lane Box) {
	local := a.from.In(a.zone)
	for k := 0; k < 400; k++ {
		begin := time.Date(local.Year(), local.Month(), local.Day()+k, 0, 0, 0, 0, a.zone)
		end := time.Date(local.Year(), local.Month(), local.Day()+k+1, 0, 0, 0, 0, a.zone)
		if begin.After(a.to) {
			return
		}
		x0, x1 := a.at(begin), a.at(end)
		for _, layout := range [...]string{"Mon 2 Jan 2006 MST", "Mon 2 Jan", "2 Jan"} {
			say := begin.Add(12 * time.Hour).In(a.zone).Format(layout)
			if wide(say, s.size, false) <= x1-x0-8 && s.trySay(Text{At: Point{(x0 + x1) / 2, base}, Say: say, Anchor: Middle}, lane) {
				break
			}
		}
		if a.holds(begin) {
			s.line(ink, 1, Point{x0, base - s.size}, Point{x0, base + 4})
		}
	}
}

// nowLine draws the present moment across a picture, but not through a text,
// and names it above.
func (s *sheet) nowLine(a timeAxis, p speech, now time.Time, top, bottom float64) {
	x := a.at(now)
	for _, part := range s.gaps(x, top, bottom) {
		s.line(paper, 5, part...)
		s.dashed(ink, 2.5, []float64{2, 3}, part...)
	}
	s.tryNear(Text{At: Point{x, top - 8}, Say: "now " + p.clock(now), Bold: true}, Box{2, top - 2*s.size, s.wide - 2, top})
}

// gaps are the parts of an upright line that nothing is written on.
func (s *sheet) gaps(x, top, bottom float64) [][]Point {
	var here []Box
	for _, b := range s.taken {
		if b.X0 < x+4 && b.X1 > x-4 {
			here = append(here, b)
		}
	}
	slices.SortFunc(here, func(a, b Box) int { return cmp.Compare(a.Y0, b.Y0) })
	var out [][]Point
	for _, b := range here {
		if b.Y0-1 > top && top < bottom {
			out = append(out, []Point{{x, top}, {x, min(b.Y0-1, bottom)}})
		}
		top = max(top, b.Y1+1)
	}
	if top < bottom {
		out = append(out, []Point{{x, top}, {x, bottom}})
	}
	return out
}
