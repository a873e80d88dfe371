package scheduler_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/scheduler"
)

// naive is a second accountant: minute by minute, in plain floats, from lists of
// readings, with no days, slots or tables. It knows the top, the air and forecasts.
type naive struct {
	zero     time.Time
	top, air []events.TimedTemperature
	hours    []events.ForecastHour
	rule     func(c float64) float64
}

// rules as NUMBERS.md 2 has them.
var naiveRules = map[string]func(c float64) float64{
	"arrhenius": func(c float64) float64 { return math.Exp(5000 * (1.0/293 - 1/(273+c))) },
	"fhp": func(c float64) float64 {
		ea := 33500.0
		if c < 20 {
			ea += 1470 * (20 - c)
		}
		return math.Exp(ea / 8.314 * (1.0/293 - 1/(273+c)))
	},
	"en-1992":    func(c float64) float64 { return math.Exp(13.65 - 4000/(273+c)) },
	"sadgrove":   func(c float64) float64 { return (c + 16) * (c + 16) / 1296 },
	"nurse-saul": func(c float64) float64 { return max(0, c/20) },
}

// read is the straight line between the readings about a moment, if they are no
// further than 45 minutes apart; before and after are those readings.
func read(list []events.TimedTemperature, at time.Time) (c float64, ok bool, before, after *events.TimedTemperature) {
	for i := range list {
		if list[i].At.After(at) {
			after = &list[i]
			break
		}
		before = &list[i]
	}
	if before == nil || after == nil || after.At.Sub(before.At) > 45*time.Minute {
		return 0, false, before, after
	}
	share := float64(at.Sub(before.At)) / float64(after.At.Sub(before.At))
	return *before.Celsius + (*after.Celsius-*before.Celsius)*share, true, before, after
}

// hour is what one minute earns, in hours, and whether it counts as frost.
func (n *naive) minute(at time.Time) (earned float64, frost bool) {
	mid := at.Add(30 * time.Second)
	if c, ok, _, _ := read(n.top, mid); ok {
		if c <= 0 {
			return 0, true
		}
		return n.rule(c) / 60, false
	}
	c, known := math.Inf(1), false
	if air, ok, _, _ := read(n.air, mid); ok {
		c, known = air-2, true
	}
	_, _, before, after := read(n.top, mid)
	_, _, airBefore, _ := read(n.air, mid)
	recent := before != nil && mid.Sub(before.At) <= 24*time.Hour || airBefore != nil && mid.Sub(airBefore.At) <= 24*time.Hour
	for _, h := range n.hours {
		if recent && !mid.Before(h.At) && mid.Before(h.At.Add(time.Hour)) {
			c, known = min(c, *h.Celsius-5), true
		}
	}
	if !known {
		return 0, false
	}
	if before != nil {
		c = min(c, *before.Celsius)
	}
	if after != nil {
		c = min(c, *after.Celsius)
	}
	if c <= 0 {
		return 0, true
	}
	return min(n.rule(c), 1) / 60, false
}

// metAt is when the sum reaches 48 h, and whether it froze before; a freeze begins
// the sum again. Zero: not by the end.
func (n *naive) metAt(until time.Time) (met time.Time, frozen bool) {
	sum := 0.0
	for at := n.zero; at.Before(until); at = at.Add(time.Minute) {
		earned, frost := n.minute(at)
		if frost {
			sum, frozen = 0, true
		}
		if sum += earned; sum >= 48 {
			return at.Add(time.Minute), frozen
		}
	}
	return time.Time{}, frozen
}

// TestTheNaiveModelAgrees: by each rule, on drawn histories with gaps, the accountant
// says the same moment as the naive model, within what its grain makes: readings are
// drawn on the slots, constant to a degree for hours, and temperatures are whole
// hundredths, so that a minute is all that may be left.
func TestTheNaiveModelAgrees(t *testing.T) {
	compared := 0
	rapid.Check(t, func(rt *rapid.T) {
		w := newWorld(rt)
		rule := one(w, "arrhenius", "fhp", "en-1992", "sadgrove", "nurse-saul")
		w.sound()
		opened, _ := w.say(monday, 0, "office", "boss", "", &events.SiteAmended{Policy: events.Policy{Rule: &rule}, Reason: "r"})
		w.sign(monday, opened)
		n := &naive{zero: w.zero, rule: naiveRules[rule]}
		n.top, n.air, n.hours = w.history(one(w, 4, 12, 20, 28)), w.history(one(w, 6, 14, 24)), w.hours(one(w, 8, 15))
		w.recordHistory("top", n.top)
		w.recordHistory("air", n.air)
		until := w.zero.Add(170 * time.Hour)
		want, frozen := n.metAt(until)
		f := w.fold(until.Add(100 * time.Hour)) // late readings included
		a := scheduler.Assess(f.site, f.devices, f.wall(propertySite, propertyWall), scheduler.Hub{}, until)
		got := temperature(a)
		frost := a.Strip.Criteria[4]
		// Within the last slot, which is not over, the accountant has not counted yet.
		inLast := !want.IsZero() && !want.Before(until.Add(-5*time.Minute))
		if !inLast {
			require.Equal(rt, want.IsZero(), got.MetAt.IsZero(), "%s: naive %s, accountant %s (%s of 48 h)", rule, want, got.MetAt, got.Have)
			require.Equal(rt, frozen, !frost.Met, "%s: frost, %s", rule, frost.Have)
		}
		sheet := scheduler.SheetOf(f.site, f.devices, f.wall(propertySite, propertyWall), scheduler.Hub{}, until)
		for _, other := range sheet.Others {
			if other.Policy && !frozen { // counted slot by slot, without strides
				require.Equal(rt, got.MetAt, other.MetAt, "%s on the sheet", other.Name)
			}
		}
		if !want.IsZero() && !inLast {
			compared++
			require.LessOrEqual(rt, want.Sub(got.MetAt).Abs(), time.Minute, "%s: naive %s, accountant %s", rule, want, got.MetAt)
		}
	})
	require.Positive(t, compared)
}

// history draws readings on whole slots, level for some hours, with gaps between.
func (w *world) history(mean int) []events.TimedTemperature {
	var out []events.TimedTemperature
	at := w.zero.Truncate(5 * time.Minute).Add(-time.Duration(w.even(0, 12)) * 5 * time.Minute)
	for at.Before(w.zero.Add(180 * time.Hour)) {
		c := float64(mean + w.even(-3, 6))
		for range w.even(1, 200) {
			out = append(out, events.TimedTemperature{At: at, Celsius: p(c)})
			at = at.Add(time.Duration(one(w, 3, 3, 3, 6, 9)*5) * time.Minute)
		}
		// The step to the next level takes a gap of over 45 minutes or one slot.
		at = at.Add(time.Duration(one(w, 0, 0, 0, 60, 300)) * time.Minute)
	}
	return out
}

// hours draws a forecast by the hour and records it.
func (w *world) hours(mean int) []events.ForecastHour {
	if w.yes() {
		return nil
	}
	d := &events.WeatherForecast{Issued: w.zero}
	for h := -2; h < 180; h++ {
		d.Hours = append(d.Hours, events.ForecastHour{At: w.zero.Truncate(time.Hour).Add(time.Duration(h) * time.Hour), Celsius: p(float64(mean))})
	}
	w.say(w.zero, 0, "office", "boss", "", d)
	return d.Hours
}

func (w *world) recordHistory(place string, list []events.TimedTemperature) {
	for len(list) > 0 {
		n := 1
		for n < len(list) && n < 40 && list[n].At.Sub(list[0].At) < 40*time.Hour {
			n++
		}
		part := list[:n]
		w.say(part[n-1].At, 0, "probe-"+place, "", propertyWall, &events.TemperatureRead{Place: place, Probe: place + "-1", Series: part})
		list = list[n:]
	}
}
