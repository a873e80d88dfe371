package board

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/scheduler"
	"earlyage/scheduler/concrete/unit"
)

// week is all expected strip times on one line of days: each site by its own
// days, the same date below the same.
type week struct {
	Days  []string // the heads of the columns
	Sites []weekSite
}

type weekSite struct {
	Name, Zone string
	Frost      string // in words
	Lines      []weekLine
}

type weekLine struct {
	Name, Link, Says string
	State            Cell
	Picture          template.HTML
	Open             bool // it may be stripped: said only while it is fresh
}

// dayWide is how wide a day is in the pictures, in their own units.
const dayWide = 100.0

// axis places moments by the local day and how much of it has gone, so that the
// days of all sites stand below each other and a day of 23 hours is as wide as
// any.
type axis struct {
	first time.Time // local midnight of the first day, in the zone
}

func (a axis) x(at time.Time) float64 {
	here := at.In(a.first.Location())
	midnight := time.Date(here.Year(), here.Month(), here.Day(), 0, 0, 0, 0, here.Location())
	next := midnight.AddDate(0, 0, 1)
	whole := dayNumber(midnight) - dayNumber(a.first)
	part := float64(here.Sub(midnight)) / float64(next.Sub(midnight))
	return min(max(dayWide*(float64(whole)+part), 0), dayWide*daysShown)
}

// dayNumber counts days of the calendar.
func dayNumber(t time.Time) int {
	return int(time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// weekOf lays the week out.
func weekOf(c *words.Catalogue, b Board) week {
	out := week{}
	all := tongues(c, b)
	first := firstDay(b)
	for i := range daysShown {
		day := first.AddDate(0, 0, i)
		out.Days = append(out.Days, c.T("board.day."+days[day.Weekday()])+" "+strconv.Itoa(day.Day()))
	}
	for _, s := range b.Sites {
		t := all[s.Site.Site]
		a := axis{time.Date(first.Year(), first.Month(), first.Day(), 0, 0, 0, 0, t.zone)}
		place := weekSite{Name: t.name, Zone: t.short(), Frost: t.frost(s.Frost)}
		rows := slices.Clone(b.Walls)
		slices.SortStableFunc(rows, func(x, y Row) int { return byTime(stripAt(x), stripAt(y)) })
		for _, r := range rows {
			if r.Site == s.Site.Site && (r.State == scheduler.StateCuring || r.State == scheduler.StateMayStrip) {
				place.Lines = append(place.Lines, t.weekLine(r, a, s.Frost))
			}
		}
		if len(place.Lines) > 0 {
			out.Sites = append(out.Sites, place)
		}
	}
	return out
}

// firstDay is the earliest date that it now is at any of the sites.
func firstDay(b Board) time.Time {
	first := b.At.Time.UTC()
	for i, s := range b.Sites {
		here := b.At.In(s.Location())
		if day := time.Date(here.Year(), here.Month(), here.Day(), 0, 0, 0, 0, time.UTC); i == 0 || day.Before(first) {
			first = day
		}
	}
	return time.Date(first.Year(), first.Month(), first.Day(), 0, 0, 0, 0, time.UTC)
}

// stripAt orders the walls of the week; zero: no time is known.
func stripAt(r Row) time.Time {
	w := r.Window
	switch {
	case w.Open:
		return w.Since.Time
	case !w.Earliest.IsZero():
		return w.Earliest.Time
	}
	return w.Expected.Likely.Time
}

func (t tongue) weekLine(r Row, a axis, frost []Frost) weekLine {
	var s [slots]Cell
	t.window(&s, r)
	says := s[slotWindow].Text
	if s[slotRange].Text != "" {
		says += "; " + s[slotRange].Text
	}
	if s[slotGoverns].Text != "" {
		says += "; " + s[slotGoverns].Text
	}
	return weekLine{
		Name: r.Name, Link: r.link(), Says: says, State: t.state(r),
		Picture: t.bar(r, a, frost), Open: r.Window.Open,
	}
}

// frost names the nights of frost.
func (t tongue) frost(nights []Frost) string {
	out := ""
	for _, n := range nights {
		day, err := time.Parse(time.DateOnly, n.Date)
		if err != nil {
			continue
		}
		if out != "" {
			out += ", "
		}
		out += t.T("board.frost.night", "day", t.day(day), "t", t.quantity(unit.Temperature, n.ColdestC))
	}
	return out
}

// bar draws one wall's line: nights of frost behind, then the band of its window
// with the likely moment, and now. It says nothing that does not stand beside it
// in words.
func (t tongue) bar(r Row, a axis, frost []Frost) template.HTML {
	var b []byte
	put := func(format string, args ...any) { b = fmt.Appendf(b, format, args...) }
	put(`<svg class="bar" aria-hidden="true" viewBox="0 0 %g 40" preserveAspectRatio="none">`, dayWide*daysShown)
	for _, n := range frost {
		if x0, x1 := a.x(n.From.Time), a.x(n.To.Time); x1 > x0 {
			put(`<rect x="%.1f" y="0" width="%.1f" height="40" fill="#B3CFE3"/>`, x0, x1-x0)
		}
	}
	for i := 0; i <= daysShown; i++ {
		put(`<path d="M%g 0V40" stroke="#5C646B" stroke-width="1" vector-effect="non-scaling-stroke"/>`, dayWide*float64(i))
	}
	t.band(put, r.Window, a)
	put(`<path d="M%.1f 0V40" stroke="#111417" stroke-width="3" vector-effect="non-scaling-stroke"/></svg>`, a.x(t.at))
	return template.HTML(b) // #nosec G203 -- numbers, and the name escaped
}

func (t tongue) band(put func(string, ...any), w Window, a axis) {
	box := func(class string, from, to time.Time, fill, stroke string) {
		x0 := a.x(from)
		put(`<rect class="%s" x="%.1f" y="10" width="%.1f" height="20" fill="%s" stroke="%s" stroke-width="2" vector-effect="non-scaling-stroke"/>`, class, x0, max(a.x(to)-x0, 3), fill, stroke)
	}
	switch {
	case w.Open:
		box("may", w.Since.Time, cmp.Or(w.Overdue, face.Time{Time: t.at}).Time, "#1F6B3A", "#111417")
	case w.Earliest.After(t.at):
		box("sure", w.Earliest.Time, w.Earliest.Add(time.Hour), "#6B2C91", "#111417")
	case w.CuredAt.IsZero() && !w.Expected.Likely.IsZero():
		early, late := cmp.Or(w.Expected.Early, w.Expected.Likely), cmp.Or(w.Expected.Late, w.Expected.Likely)
		box("band", early.Time, late.Time, "#FFFFFF", "#6B2C91")
		likely := a.x(w.Expected.Likely.Time)
		put(`<path d="M%.1f 4V36" stroke="#6B2C91" stroke-width="6" vector-effect="non-scaling-stroke"/>`, likely)
	}
}
