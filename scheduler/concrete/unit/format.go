package unit

import (
	"math"
	"strconv"
	"strings"
)

// In gives a value that is in the base unit of its dimension in the unit of a
// system, with that unit's symbol: for a column whose head names the unit.
// Nothing is rounded. Of an unknown dimension it gives the value and "?".
func In(d Dimension, base float64, sys System) (value float64, symbol string) {
	t, ok := d.table()
	if !ok {
		return base, "?"
	}
	s := t.shown(sys)
	for _, sc := range t.scales {
		for _, name := range sc.names {
			if name == spellings.Replace(s.symbol) {
				return base*sc.div/sc.mul + sc.zero, s.symbol
			}
		}
	}
	panic("unit: " + s.symbol + " is no unit of " + t.name)
}

// Format writes a value that is in the base unit of its dimension, rounded to
// the digits that people on a site use, always with its unit: "1.22 m/h",
// "4.00 ft/h". What is not a number is written as such, with the unit.
func Format(d Dimension, base float64, sys System) string {
	v, symbol := In(d, base, sys)
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.FormatFloat(v, 'f', -1, 64) + " " + symbol
	}
	digits := -1
	if t, ok := d.table(); ok {
		digits = t.shown(sys).digits
	}
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	return text + " " + symbol
}

func (t dimension) shown(sys System) shown {
	if sys == US {
		return t.us
	}
	return t.si
}
