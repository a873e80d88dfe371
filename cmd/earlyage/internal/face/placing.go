package face

import (
	"fmt"
	"io"
	"math"
	"time"

	"earlyage/scheduler"
	"earlyage/scheduler/concrete/unit"
)

// Front is a stretch that waits for concrete.
type Front struct {
	FromM    float64 `json:"from_m"`
	ToM      float64 `json:"to_m"`
	TopM     float64 `json:"top_m"`
	EndM     float64 `json:"end_m"`
	Deadline Time    `json:"deadline"` // when what is there no longer knits
	LeftMin  float64 `json:"left_min"` // rounded down to 0.1
	BatchBy  Time    `json:"batch_by"` // last moment to batch a load for it
	RiseM    float64 `json:"rise_m"`   // placed in the last 60 minutes
	NowM     float64 `json:"now_m"`    // may be placed now
	FullM    float64 `json:"full_m"`   // a full lift
	FullFrom Time    `json:"full_from"`
	RiseBy   string  `json:"rise_by"`
}

// Brace is one brace with its own window.
type Brace struct {
	Name      string  `json:"name"`
	AtM       float64 `json:"at_m"`
	FromM     float64 `json:"from_m"` // its reach
	ToM       float64 `json:"to_m"`
	State     string  `json:"state"`
	ClockZero Time    `json:"clock_zero"`
	CuredAt   Time    `json:"cured_at"`
	Earliest  Time    `json:"earliest"`
	Likely    Time    `json:"likely"`
	Governs   string  `json:"governs"`
	MayStrip  bool    `json:"may_strip"`
	Waits     string  `json:"waits"`
}

// Face is one face of a form that comes off.
type Face struct {
	Face     string `json:"face"`
	State    string `json:"state"`
	Earliest Time   `json:"earliest"`
	MayStrip bool   `json:"may_strip"`
	Waits    string `json:"waits"`
}

// Placing is what a wall takes, and how fast.
type Placing struct {
	RiseMPH     float64 `json:"rise_m_per_h"`
	RateM3H     float64 `json:"rate_m3_per_h"`
	PressureKPa float64 `json:"pressure_kpa"`
	RatedKPa    float64 `json:"rated_kpa"` // 0: not recorded
	PressureBy  string  `json:"pressure_by"`
	NeedM3      float64 `json:"need_m3"`
	PlacedM3    float64 `json:"placed_m3"`
	DeliveredM3 float64 `json:"delivered_m3"`
	ComingM3    float64 `json:"coming_m3"`
	ToGoM3      float64 `json:"to_go_m3"`
	BalanceAt   Time    `json:"balance_at"`
	BalanceM3   float64 `json:"balance_m3"`
}

// byPlace adds what is said of places to a wall's JSON.
func (w *Wall) byPlace(a scheduler.Assessment) {
	for _, f := range a.Fronts {
		w.Fronts = append(w.Fronts, Front{f.FromM, f.ToM, f.TopM, f.EndM, Time{f.Deadline}, tenth(f.LeftMin, math.Floor), Time{f.BatchBy},
			f.RiseM, f.NowM, f.FullM, Time{f.FullFrom}, f.RiseBy})
	}
	for _, b := range a.Braces {
		w.Braces = append(w.Braces, Brace{b.Name, b.AtM, b.FromM, b.ToM, b.State, Time{b.ClockZero}, Time{b.Strip.CuredAt}, Time{b.Strip.Earliest},
			Time{b.Strip.Expected.Likely}, b.Strip.Governs, b.MayStrip, b.Waits})
	}
	for _, f := range a.Faces {
		w.Faces = append(w.Faces, Face{f.Face, f.State, Time{f.Earliest}, f.MayStrip, f.Waits})
	}
	if a.State == scheduler.StatePlacing {
		w.Placing = &Placing{a.Rate.RiseMPH, a.Rate.M3H, a.Pressure.KPa, a.Pressure.RatedKPa, a.Pressure.By, a.Take.NeedM3, a.Take.PlacedM3,
			a.Take.DeliveredM3, a.Take.ComingM3, a.Take.ToGoM3, Time{a.Take.BalanceAt}, a.Take.BalanceM3}
	}
	w.Open = a.Open
}

// placing says how fast the wall rises and what it still takes.
func (p Page) placing(w io.Writer, _ time.Time, a Wall) error {
	if a.Placing == nil {
		return nil
	}
	sys, x := p.system(a.Site), a.Placing
	fmt.Fprintln(w)
	t := newTable()
	t.add("Rate", unit.Format(unit.RiseRate, x.RiseMPH, sys)+", "+unit.Format(unit.Delivery, x.RateM3H, sys)+" over the last 60 minutes")
	pressure := unit.Format(unit.Pressure, x.PressureKPa, sys) + " by " + x.PressureBy
	if x.PressureKPa == 0 {
		pressure = "no fresh concrete"
	}
	if x.RatedKPa > 0 {
		pressure += ", rated " + unit.Format(unit.Pressure, x.RatedKPa, sys)
	}
	t.add("Form", pressure)
	t.add("Volume", fmt.Sprintf("%s placed of %s, %s coming, %s to go", unit.Format(unit.Volume, x.PlacedM3, sys), unit.Format(unit.Volume, x.NeedM3, sys),
		unit.Format(unit.Volume, x.ComingM3, sys), unit.Format(unit.Volume, x.ToGoM3, sys)))
	if !x.BalanceAt.IsZero() {
		t.add("Balance", fmt.Sprintf("call %s, about %s", Past(x.BalanceAt.Time, p.zone(a.Site)), unit.Format(unit.Volume, x.BalanceM3, sys)))
	}
	return t.write(w)
}

// fronts says what may be placed where, and until when.
func (p Page) fronts(w io.Writer, _ time.Time, a Wall) error {
	if len(a.Fronts) == 0 || a.State != scheduler.StatePlacing {
		return nil
	}
	sys, zone := p.system(a.Site), p.zone(a.Site)
	fmt.Fprintln(w)
	t := newTable("FRONT FROM", "TO", "TOP", "COVER BY", "LEFT", "BATCH BY", "NOW", "FULL LIFT", "FROM")
	for _, f := range a.Fronts {
		left := ""
		if !f.Deadline.IsZero() {
			left = minutesDown(f.LeftMin)
		}
		from := clockOf(f.FullFrom, zone)
		if f.FullFrom.IsZero() {
			from = "not known"
		}
		t.add(unit.Format(unit.Length, f.FromM, sys), unit.Format(unit.Length, f.ToM, sys), unit.Format(unit.Length, f.TopM, sys),
			clockOf(f.Deadline, zone), left, clockOf(f.BatchBy, zone), unit.Format(unit.Length, f.NowM, sys), unit.Format(unit.Length, f.FullM, sys), from)
	}
	return t.write(w)
}

// clockOf is a time of this pour, down to the minute: a deadline is never said later.
func clockOf(t Time, zone *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return t.Truncate(time.Minute).In(zone).Format("15:04")
}

// braces says of each brace what it answers for and what it waits for.
func (p Page) braces(w io.Writer, at time.Time, a Wall) error {
	if len(a.Braces) == 0 {
		return nil
	}
	sys, zone := p.system(a.Site), p.zone(a.Site)
	fmt.Fprintln(w)
	t := newTable("BRACE", "AT", "ANSWERS FOR", "LAST CONCRETE", "CURED", "STATE", "WAITS")
	for _, b := range a.Braces {
		reach := ""
		if !b.ClockZero.IsZero() {
			reach = unit.Format(unit.Length, b.FromM, sys) + " to " + unit.Format(unit.Length, b.ToM, sys)
		}
		t.add(b.Name, unit.Format(unit.Length, b.AtM, sys), reach, pastOrNone(b.ClockZero, zone), curedText(b, at, zone), b.State, b.Waits)
	}
	return t.write(w)
}

func pastOrNone(t Time, zone *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return Past(t.Time, zone)
}

func curedText(b Brace, at time.Time, zone *time.Location) string {
	switch {
	case !b.CuredAt.IsZero():
		return Strip(b.CuredAt.Time, zone)
	case b.Likely.After(at) && !b.ClockZero.IsZero():
		return "expected " + Strip(b.Likely.Time, zone)
	default:
		return ""
	}
}

// faces says which face of the form may come off.
func (p Page) faces(w io.Writer, _ time.Time, a Wall) error {
	if len(a.Faces) == 0 {
		return nil
	}
	fmt.Fprintln(w)
	t := newTable("FACE", "STATE", "OLD ENOUGH", "WAITS")
	for _, f := range a.Faces {
		old := ""
		if !f.Earliest.IsZero() {
			old = Strip(f.Earliest.Time, p.zone(a.Site))
		}
		t.add(f.Face, f.State, old, f.Waits)
	}
	return t.write(w)
}

// openPoints lists what is open and no alert.
func (p Page) openPoints(w io.Writer, _ time.Time, a Wall) error {
	if len(a.Open) == 0 {
		return nil
	}
	fmt.Fprint(w, "\nOPEN POINTS\n")
	for _, o := range a.Open {
		if err := wrapped(w, oneLine(o), "  ", width); err != nil {
			return err
		}
	}
	return nil
}
