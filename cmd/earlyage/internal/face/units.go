package face

import (
	"math"
	"strconv"
	"strings"

	"earlyage/scheduler"
	"earlyage/scheduler/concrete/unit"
)

// shown maps the unit that a criterion is given in to its dimension and to how
// many of it make one of the dimension's base unit.
var shown = map[string]struct {
	dimension unit.Dimension
	inBase    float64
}{
	"m":   {unit.Length, 1},
	"mm":  {unit.Thickness, 1000},
	"m/s": {unit.Speed, 1},
	"°C":  {unit.Temperature, 1},
	"K":   {unit.Difference, 1},
	"MPa": {unit.Strength, 1},
	"kPa": {unit.Pressure, 1},
}

// numeric reports whether a side of a criterion is a plain number.
func numeric(value string) bool {
	_, err := strconv.ParseFloat(value, 64)
	return err == nil
}

// quantity writes a value that is given in SI with its unit, in the units of a
// system. Words stand for themselves.
func quantity(value, symbol string, sys unit.System) string {
	x, err := strconv.ParseFloat(value, 64)
	if err != nil {
		return value
	}
	if d, known := shown[symbol]; known && sys != unit.SI {
		return unit.Format(d.dimension, x/d.inBase, sys)
	}
	return strings.TrimSpace(value + " " + symbol)
}

// minutesUp writes an age in minutes, rounded up: a joint is never younger.
func minutesUp(x float64) string { return strconv.FormatFloat(math.Ceil(x), 'f', 0, 64) + " min" }

// minutesDown writes a limit in minutes, rounded down.
func minutesDown(x float64) string { return strconv.FormatFloat(math.Floor(x), 'f', 0, 64) + " min" }

// minutesLeft writes how long a joint stays open, rounded down.
func minutesLeft(j Joint) string {
	if j.State != scheduler.JointLive && j.State != scheduler.JointClosing || math.Ceil(j.AgeMin) >= math.Floor(j.LimitMin) {
		return "none"
	}
	return minutesDown(math.Floor(j.LimitMin) - math.Ceil(j.AgeMin))
}
