package text

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"earlyage/scheduler/concrete/unit"
)

// A measure is how a number is shown.
type measure struct {
	dimension unit.Dimension // none: shown as it is
	inBase    float64        // how many of it make one base unit of the dimension
	si, us    int            // digits after the point
	symbol    string         // of what has no dimension here
}

// measures are what the numbers of an alert may measure (events.About), and what
// stands in the texts of the kinds.
var measures = map[string]measure{
	"height":      {unit.Length, 1, 2, 1, ""},
	"line":        {unit.Thickness, 1000, 0, 2, ""},
	"temperature": {unit.Temperature, 1, 1, 1, ""},
	"wind":        {unit.Speed, 1, 1, 1, ""},
	"pressure":    {unit.Pressure, 1, 1, 0, ""},
	"age":         {0, 1, 0, 0, "min"},
	"slump":       {unit.Thickness, 1000, 0, 1, ""},
	"station":     {unit.Length, 1, 1, 1, ""},
}

// Which way a number is rounded.
type rounding func(float64) float64

var (
	up   rounding = math.Ceil
	down rounding = math.Floor
)

// quantity writes a number in the units of a system, rounded one way; "" for
// what is no number or no measure.
func quantity(name string, x float64, sys unit.System, way rounding) string {
	m, known := measures[name]
	if !known || math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	v, symbol, digits := x, m.symbol, m.si
	if m.dimension != 0 {
		v, symbol = unit.In(m.dimension, x/m.inBase, sys)
		if sys == unit.US {
			digits = m.us
		}
	}
	return rounded(v, digits, way) + " " + symbol
}

// rounded writes a number. What is off a whole last digit by no more than the
// error of binary fractions counts as whole.
func rounded(v float64, digits int, way rounding) string {
	p := math.Pow10(digits)
	n := math.Round(v * p)
	if math.Abs(float64(v*p)-n) > 1e-6 {
		n = way(v * p)
	}
	if n == 0 {
		n = 0 // no minus before nothing
	}
	return strconv.FormatFloat(n/p, 'f', digits, 64)
}

// stretch writes both ends of a stretch, rounded outwards, with the unit once. On
// a wall that closes a stretch may go over its beginning: then from is the greater.
func stretch(from, to float64, sys unit.System) (a, b string) {
	a, b = quantity("station", from, sys, down), quantity("station", to, sys, up)
	number, _, _ := strings.Cut(a, " ")
	return number, b
}

// against writes what a value is and what it may be, each so that the step over
// the limit is not shown smaller than it is.
func against(name string, have, limit float64, sys unit.System) (h, l string) {
	if have >= limit {
		return quantity(name, have, sys, up), quantity(name, limit, sys, down)
	}
	return quantity(name, have, sys, down), quantity(name, limit, sys, up)
}

// written finds the quantities in a text of the kinds' table.
var written = regexp.MustCompile(`(-|−)?\b\d+(\.\d+)? (mm|m/s|m|kPa|MPa|°C)(\b|$|[ .,;:)])`)

// spoken says how those are put in US units: the few of the table, each to its
// safe side. What is not in it is rounded to the nearest.
var spoken = map[string]string{
	"1.2 m":   "4 ft",    // kept at least: 3.94 ft
	"0.6 m":   "2 ft",    // at least: 1.97 ft
	"0.3 m":   "1 ft",    // at most, by trade: 0.98 ft
	"1.8 m":   "5.9 ft",  // at most: 5.906 ft
	"175 mm":  "6.8 in",  // at most: 6.89 in
	"3.5 MPa": "508 psi", // at least: 507.6 psi
}

var dimensions = map[string]struct {
	dimension unit.Dimension
	inBase    float64
}{
	"mm": {unit.Thickness, 1000}, "m": {unit.Length, 1}, "m/s": {unit.Speed, 1},
	"kPa": {unit.Pressure, 1}, "MPa": {unit.Strength, 1}, "°C": {unit.Temperature, 1},
}

// local puts the quantities of a text of the hub's own into the units of a system.
func local(s string, sys unit.System) string {
	if sys == unit.SI {
		return s
	}
	return written.ReplaceAllStringFunc(s, func(found string) string {
		tail := ""
		if last := found[len(found)-1]; strings.IndexByte(" .,;:)", last) >= 0 {
			found, tail = found[:len(found)-1], string(last)
		}
		if said, ok := spoken[found]; ok {
			return said + tail
		}
		number, symbol, _ := strings.Cut(found, " ")
		x, err := strconv.ParseFloat(strings.Replace(number, "−", "-", 1), 64)
		if err != nil {
			return found + tail
		}
		d := dimensions[symbol]
		return unit.Format(d.dimension, x/d.inBase, sys) + tail
	})
}
