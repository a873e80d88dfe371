package picture

import (
	"cmp"
	"math"
	"slices"
	"time"

	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// The curves of a record: how long before the clock zero and how far back they
// go at most, and the grain in which readings are drawn.
const (
	curvesBefore = 6 * time.Hour
	curvesMost   = 40 * 24 * time.Hour
	slotsPerDay  = 24 * 3600 / wall.SlotSeconds
	hourNS       = float64(time.Hour)
)

// CurvesFromRecord is how the wall cures: the temperatures as they were read,
// the one that counts hour by hour and the sums of the sheet, and for what is to
// come the forecast air and straight lines from the sum of now to the need at the
// times expected. What lies on these lines is not computed and opens nothing.
func CurvesFromRecord(s *site.State, w *wall.State, sheet scheduler.Sheet) Curing {
	a := sheet.Assessment
	out := Curing{
		Site: s.Name(), Name: cmp.Or(w.Holding.Name, w.Wall), At: a.At, ClockZero: sheet.Zero.At,
		NeedH: float64(sheet.NeedNS) / hourNS, FloorH: float64(s.Policy.FloorS) / 3600,
		Thresholds: []Threshold{{Name: "nothing counts at or below", C: 0}},
	}
	for _, c := range a.Strip.Criteria {
		switch {
		case c.Name == scheduler.Temperature && c.Met:
			out.Met = c.MetAt
		case c.Name == scheduler.Temperature:
			out.Early, out.Likely, out.Late = a.Strip.Expected.Early, a.Strip.Expected.Likely, a.Strip.Expected.Late
		}
	}
	rule := slowest(sheet)
	if rule >= 0 {
		out.AgeName = "equivalent age by " + sheet.Weighed[rule]
		out.Age = agesOf(sheet, rule)
		out.Expected = bandOf(out)
	}
	from := curvesFrom(sheet.Zero.At, a.At)
	out.Temperatures = slices.Concat(tracksOf(&w.Readings, "", from, a.At), tracksOf(&s.Air, "site ", from, a.At))
	if c := countedOf(sheet); len(c.Points) > 0 {
		out.Temperatures = append(out.Temperatures, c)
	}
	if f := forecastOf(s, out); len(f.Points) > 1 {
		out.Temperatures = append(out.Temperatures, f)
	}
	return out
}

func curvesFrom(zero, now time.Time) time.Time {
	from := now.Add(-48 * time.Hour)
	if !zero.IsZero() {
		from = zero.Add(-curvesBefore)
	}
	if least := now.Add(-curvesMost); from.Before(least) {
		return least
	}
	return from
}

// slowest is the rule whose sum is the least now: the one that governs. -1: none.
func slowest(s scheduler.Sheet) int {
	rule := -1
	for i := range min(len(s.Sum), len(s.Weighed)) {
		if rule < 0 || s.Sum[i] < s.Sum[rule] {
			rule = i
		}
	}
	return rule
}

// agesOf are the sums of the sheet at the end of each hour.
func agesOf(s scheduler.Sheet, rule int) []Sample {
	if s.Zero.At.IsZero() {
		return nil
	}
	out := []Sample{{At: s.Zero.At}}
	for _, h := range s.Hours {
		if rule < len(h.Sum) {
			out = append(out, Sample{h.At.Add(time.Duration(h.Seconds) * time.Second), float64(h.Sum[rule]) / hourNS})
		}
	}
	return out
}

// bandOf are straight lines from the age of now to the need.
func bandOf(c Curing) []Band {
	end, ok := last(c.Age)
	if !ok || c.Early.IsZero() || c.Likely.IsZero() || c.Late.IsZero() || !c.Early.After(c.At) || end.Value >= c.NeedH {
		return nil
	}
	on := func(at, to time.Time) float64 {
		part := float64(at.Sub(c.At)) / float64(to.Sub(c.At))
		return end.Value + (c.NeedH-end.Value)*min(part, 1)
	}
	moments := []time.Time{c.At}
	const steps = 48
	for i := 1; i <= steps; i++ {
		moments = append(moments, c.At.Add(c.Late.Sub(c.At)*time.Duration(i)/steps))
	}
	var out []Band
	for _, at := range moments {
		out = append(out, Band{at, on(at, c.Late), on(at, c.Likely), on(at, c.Early)})
	}
	return out
}

// tracksOf are the readings of each probe from one moment to another, in half
// hours: of each the lowest that counts. What is in doubt is drawn as cold as it
// may have been.
func tracksOf(r *wall.Readings, before string, from, to time.Time) []Series {
	const perHalfHour = 1800 / wall.SlotSeconds
	var out []Series
	for _, t := range r.Tracks() {
		if t.Place == wall.PlaceWind {
			continue
		}
		s := Series{Place: Place(t.Place), Name: before + t.Place}
		if t.Probe != "" {
			s.Name += ", " + t.Probe
		}
		for day := from.Unix() / 86400; day <= to.Unix()/86400; day++ {
			d := t.Day(day)
			for slot := 0; slot < slotsPerDay; slot += perHalfHour {
				at := time.Unix(day*86400+int64(slot)*wall.SlotSeconds, 0).UTC()
				if at.Before(from) || at.After(to) {
					continue
				}
				s.Points = append(s.Points, Sample{at, lowest(d, slot, slot+perHalfHour)})
			}
		}
		out = append(out, s)
	}
	return out
}

func lowest(d *wall.Day, from, to int) float64 {
	least := wall.None
	if d == nil {
		return math.NaN()
	}
	take := func(c int16) {
		if c != wall.None && (least == wall.None || c < least) {
			least = c
		}
	}
	for i := from; i < to; i++ {
		take(d.Slots[i])
		if d.Capped != nil {
			take(d.Capped[i])
		}
	}
	if least == wall.None {
		return math.NaN()
	}
	return float64(least) / 100
}

// countedOf is the temperature of each hour that the sum went by.
func countedOf(s scheduler.Sheet) Series {
	out := Series{Place: PlaceCounted, Name: "counted"}
	for _, h := range s.Hours {
		v := math.NaN()
		if h.Counted > 0 {
			v = float64(h.CentiC) / 100
		}
		end := h.At.Add(time.Duration(h.Seconds) * time.Second)
		out.Points = append(out.Points, Sample{h.At, v}, Sample{end, v})
	}
	return out
}

// forecastOf is the air to come as it was forecast last, as far as the picture
// needs it.
func forecastOf(s *site.State, c Curing) Series {
	out := Series{Place: "forecast", Name: "air, forecast"}
	until := c.At.Add(72 * time.Hour)
	if c.Late.After(c.At) && c.Late.Before(until) {
		until = c.Late
	}
	for _, h := range s.Hours {
		at := time.UnixMilli(h.At).UTC()
		if at.After(c.At.Add(-time.Hour)) && !at.After(until) {
			out.Points = append(out.Points, Sample{at, float64(h.Latest) / 100})
		}
	}
	return out
}
