package board

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/notify/text"
	"earlyage/scheduler"
	"earlyage/scheduler/concrete/unit"
)

// tongue writes in one language, for one site, at one moment.
type tongue struct {
	*words.Catalogue
	at    time.Time
	zone  *time.Location
	units unit.System
	name  string // the site's
	site  face.Site
}

// tongues gives the tongue of each site of a board.
func tongues(c *words.Catalogue, b Board) map[string]tongue {
	out := make(map[string]tongue, len(b.Sites))
	for _, s := range b.Sites {
		out[s.Site.Site] = tongueOf(c, s.Site, b.At.Time)
	}
	out[scheduler.Company] = tongue{Catalogue: c, at: b.At.Time, zone: time.UTC, name: c.T("board.company")}
	return out
}

func tongueOf(c *words.Catalogue, s face.Site, at time.Time) tongue {
	t := tongue{Catalogue: c, at: at, zone: s.Location(), name: cmp.Or(s.Name, s.Site), site: s}
	if s.Units == "us" {
		t.units = unit.US
	}
	return t
}

// down writes a moment of which it is safer to think too early: a deadline, or
// what has been.
func (t tongue) down(at face.Time) string { return t.clock(at.Truncate(time.Minute)) }

// orNone writes a time to strip, or that there is none.
func (t tongue) orNone(at face.Time) string {
	if at.IsZero() {
		return t.T("board.not-known")
	}
	return t.up(at)
}

// up writes a time to strip: rounded up to the minute.
func (t tongue) up(at face.Time) string {
	down := at.Truncate(time.Minute)
	if down.Before(at.Time) {
		down = down.Add(time.Minute)
	}
	return t.clock(down)
}

// clock writes a moment in the site's zone, with the day where it is not today.
func (t tongue) clock(at time.Time) string {
	here, today := at.In(t.zone), t.at.In(t.zone)
	clock := here.Format("15:04")
	switch {
	case here.Format(time.DateOnly) == today.Format(time.DateOnly):
		return clock
	case here.Sub(today).Abs() < 6*24*time.Hour:
		return t.day(here) + " " + clock
	default:
		return t.day(here) + here.Format(" 2.1. ") + clock
	}
}

// days are the keys of the days' short names, Sunday first.
var days = [...]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

func (t tongue) day(at time.Time) string { return t.T("board.day." + days[at.Weekday()]) }

// short is the name of the zone at the moment.
func (t tongue) short() string { return t.at.In(t.zone).Format("MST") }

// of writes two quantities of one unit: "12.5 of 24.0 m³".
func (t tongue) of(d unit.Dimension, have, all float64) string {
	return t.T("board.of", "have", t.tenths(d, have), "all", t.tenths(d, all)+" "+t.symbol(d))
}

// tenths writes a number without its unit, to a tenth.
func (t tongue) tenths(d unit.Dimension, x float64) string {
	value, _ := unit.In(d, x, t.units)
	return strconv.FormatFloat(value, 'f', 1, 64)
}

func (t tongue) symbol(d unit.Dimension) string {
	_, symbol := unit.In(d, 0, t.units)
	return symbol
}

func (t tongue) quantity(d unit.Dimension, x float64) string { return unit.Format(d, x, t.units) }

// minutes writes a time span, rounded to the minute.
func (t tongue) minutes(x float64) string { return t.T("common.minutes", "n", math.Round(x)) }

// where says where a joint is.
func (t tongue) where(j Joint) string {
	m := t.symbol(unit.Length)
	if j.FromM == j.ToM {
		return t.T("board.where.end", "from", t.tenths(unit.Length, j.FromM)+" "+m)
	}
	return t.T("board.where.level", "from", t.tenths(unit.Length, j.FromM), "to", t.tenths(unit.Length, j.ToM)+" "+m, "top", t.quantity(unit.Length, j.TopM))
}

// criterion names a criterion of the window.
func (t tongue) criterion(name string) string {
	if name == "" {
		return ""
	}
	return t.T("board.criterion." + name)
}

// alert names a kind of alert: in the language, if it has a word for it, else in
// the hub's own.
func (t tongue) alert(kind string) string {
	return own(t.Catalogue, "alert."+kind+".name", scheduler.AlertKinds[kind].Name, kind)
}

// todo says what to do about an alert.
func (t tongue) todo(kind string) string {
	return text.InUnits(own(t.Catalogue, "alert."+kind+".do", scheduler.AlertKinds[kind].Action, ""), t.units.String())
}

// who names the role that acts first.
func (t tongue) who(kind string) string {
	r := events.ActsFirst(kind)
	return own(t.Catalogue, "role."+string(r), r.Title(), "")
}

func own(c *words.Catalogue, key string, otherwise ...string) string {
	if c.Has(key) {
		return c.T(key)
	}
	return cmp.Or(otherwise...)
}

// span writes how long a time lasts, as the page's script does: whole minutes, or
// hours and minutes.
func span(c *words.Catalogue, minutes int64) string {
	if minutes < 100 {
		return c.T("common.minutes", "n", minutes)
	}
	return c.T("board.hours", "h", minutes/60, "m", fmt.Sprintf("%02d", minutes%60))
}
