package wallpage

import (
	"cmp"
	"math"
	"strconv"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	telling "earlyage/notify/text"
	"earlyage/scheduler"
	"earlyage/scheduler/concrete/unit"
)

// tongue writes in one language, for one site, at one moment.
type tongue struct {
	*words.Catalogue
	at    time.Time
	zone  *time.Location
	units unit.System
	name  string              // the site's
	who   func(string) string // a person's name
	paper bool                // pictures are drawn elsewhere, lists are written out
	site  face.Site
	unit  string // of the number that answers an item of a check list
}

func tongueOf(c *words.Catalogue, s face.Site, at time.Time, who func(string) string) tongue {
	t := tongue{Catalogue: c, at: at, zone: s.Location(), name: cmp.Or(s.Name, s.Site), who: who, site: s}
	if s.Units == "us" {
		t.units = unit.US
	}
	return t
}

// up writes a time to strip: rounded up to the minute.
func (t tongue) up(at face.Time) string {
	down := at.Truncate(time.Minute)
	if down.Before(at.Time) {
		down = down.Add(time.Minute)
	}
	return t.moment(down)
}

// down writes what has been, or a deadline: rounded down to the minute.
func (t tongue) down(at face.Time) string { return t.moment(at.Truncate(time.Minute)) }

// either writes a moment that may not be known.
func (t tongue) either(at face.Time, write func(face.Time) string) string {
	if at.IsZero() {
		return ""
	}
	return write(at)
}

// moment writes a moment with its day, its zone and, where it is another, its year.
func (t tongue) moment(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	here := at.In(t.zone)
	year := ""
	if here.Year() != t.at.In(t.zone).Year() {
		year = " " + strconv.Itoa(here.Year())
	}
	return t.T("board.day."+days[here.Weekday()]) + " " + strconv.Itoa(here.Day()) + " " + t.T("wall.month."+strconv.Itoa(int(here.Month()))) + year + here.Format(" 15:04 MST")
}

// long writes a moment with its year.
func (t tongue) long(at time.Time) string {
	here := at.In(t.zone)
	return t.T("board.day."+days[here.Weekday()]) + " " + strconv.Itoa(here.Day()) + " " + t.T("wall.month."+strconv.Itoa(int(here.Month()))) + here.Format(" 2006 15:04 MST")
}

// days are the keys of the days' short names, Sunday first.
var days = [...]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

func (t tongue) quantity(d unit.Dimension, x float64) string { return unit.Format(d, x, t.units) }

func (t tongue) length(m float64) string { return t.quantity(unit.Length, m) }

// between writes two stations.
func (t tongue) between(from, to float64) string {
	if from == to {
		return t.T("wall.at-station", "at", t.length(from))
	}
	return t.T("wall.between", "from", t.length(from), "to", t.length(to))
}

func (t tongue) person(id string) string {
	if id == "" {
		return ""
	}
	return cmp.Or(t.who(id), id)
}

// own is a text if there is one, else what the record says.
func (t tongue) own(key, otherwise string) string {
	if t.Has(key) {
		return t.T(key)
	}
	return otherwise
}

func (t tongue) criterion(name string) string { return t.own("criterion."+name, name) }

func (t tongue) alert(kind string) string {
	return t.own("alert."+kind+".name", cmp.Or(scheduler.AlertKinds[kind].Name, kind))
}

func (t tongue) todo(kind string) string {
	return telling.InUnits(t.own("alert."+kind+".do", scheduler.AlertKinds[kind].Action), t.units.String())
}

func (t tongue) kind(k events.Kind) string { return t.own("kind."+string(k), string(k)) }

func (t tongue) value(v string) string { return t.own("wall.value."+v, v) }

// units of the window's criteria, and how many of one make the base unit.
var criterionUnits = map[string]struct {
	dimension unit.Dimension
	inBase    float64
}{
	"m": {unit.Length, 1}, "mm": {unit.Thickness, 1000}, "m/s": {unit.Speed, 1}, "°C": {unit.Temperature, 1},
	"K": {unit.Difference, 1}, "MPa": {unit.Strength, 1}, "kPa": {unit.Pressure, 1},
}

// haveNeed writes both sides of a criterion in the site's units. A side that is
// no number stays as it was said, and so does the other.
func (t tongue) haveNeed(c face.Criterion) (have, need string) {
	const atMost = "at most "
	bound, most := strings.CutPrefix(c.Need, atMost)
	if !numeric(c.Have) && !numeric(bound) {
		return c.Have, c.Need
	}
	have, need = t.side(c.Have, c.Unit), t.side(bound, c.Unit)
	if most {
		need = t.T("wall.at-most", "x", need)
	}
	return have, need
}

func numeric(s string) bool {
	_, err := strconv.ParseFloat(s, 64)
	return err == nil
}

func (t tongue) side(value, symbol string) string {
	x, err := strconv.ParseFloat(value, 64)
	if err != nil {
		return value
	}
	if d, known := criterionUnits[symbol]; known && t.units != unit.SI {
		return unit.Format(d.dimension, x/d.inBase, t.units)
	}
	return strings.TrimSpace(value + " " + symbol)
}

// ageUp writes an age in minutes, rounded up.
func (t tongue) ageUp(x float64) string { return t.T("common.minutes", "n", math.Ceil(x-1e-6)) }

// ageDown writes a limit in minutes, rounded down.
func (t tongue) ageDown(x float64) string { return t.T("common.minutes", "n", math.Floor(x+1e-6)) }

// verdict says in few words when the bracing may come off, and by what state.
func (t tongue) verdict(p Page) (say, state string) {
	s := p.Wall.Strip
	switch {
	case p.Wall.State == scheduler.StatePlanned:
		return t.T("wall.strip.planned"), "planned"
	case p.Wall.State == scheduler.StateStripped, p.Wall.State == scheduler.StateHandedOver:
		return t.T("wall.strip.off"), "off"
	case p.MayStrip:
		return t.T("wall.strip.may", "when", t.up(s.Earliest)), "done"
	case s.Open && p.AsOf:
		return t.T("wall.strip.was-open", "when", t.up(s.Earliest)), "done"
	case s.Open:
		return t.T("wall.strip.ask"), "nolink"
	case s.Earliest.After(p.At.Time):
		return t.T("wall.strip.not-before", "when", t.up(s.Earliest)), "curing"
	case !s.CuredAt.IsZero() && !s.CuredAt.After(p.At.Time):
		return t.T("wall.strip.cured", "when", t.up(s.CuredAt)), "hold"
	case s.Expected.Likely.After(p.At.Time):
		return t.T("wall.strip.expected", "when", t.up(s.Expected.Likely)), "curing"
	default:
		return t.T("wall.strip.no-time"), "hold"
	}
}

// stateMark is the mark of a wall's state.
func stateMark(state string) string {
	switch state {
	case scheduler.StatePlacing:
		return "placing"
	case scheduler.StateCuring:
		return "curing"
	case scheduler.StateMayStrip:
		return "done"
	case scheduler.StatePlanned:
		return "planned"
	}
	return "off"
}
