package face

import (
	"math"
	"strconv"
	"strings"

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

// convert writes a value that is given in SI in the units of a system. A value
// that is no plain number, or whose unit is the same in both, is left as it is.
func convert(value, symbol string, sys unit.System) (string, string) {
	d, known := shown[symbol]
	x, err := strconv.ParseFloat(value, 64)
	if sys == unit.SI || !known {
		return value, symbol
	}
	_, other := unit.In(d.dimension, 0, sys)
	if err != nil {
		if value == "" {
			return value, other
		}
		return value + " " + symbol, other
	}
	text := unit.Format(d.dimension, x/d.inBase, sys)
	number, name, _ := strings.Cut(text, " ")
	return number, name
}

// minutesUp writes an age in minutes, rounded up: a joint is never younger.
func minutesUp(x float64) string { return strconv.FormatFloat(math.Ceil(x), 'f', 0, 64) + " min" }

// minutesDown writes a limit in minutes, rounded down.
func minutesDown(x float64) string { return strconv.FormatFloat(math.Floor(x), 'f', 0, 64) + " min" }
