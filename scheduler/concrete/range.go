package concrete

import (
	"fmt"
	"math"
	"strconv"
)

// RangeError says that a value lies outside the range for which a formula is
// valid. Both bounds are allowed values. A formula that is given such a value
// gives no number.
type RangeError struct {
	Name     string  // the parameter, as in "concrete temperature"
	Value    float64 // what was given; may be NaN or infinite
	Min, Max float64 // the allowed range, both ends included; Max may be +Inf
	Unit     string  // as in "°C"; empty for a ratio or a count
}

// Error names the parameter, the value and the allowed range.
func (e RangeError) Error() string {
	unit := e.Unit
	if unit != "" {
		unit = " " + unit
	}
	if math.IsInf(e.Max, 1) {
		return fmt.Sprintf("%s %s%s: allowed %s%s and over", e.Name, short(e.Value), unit, short(e.Min), unit)
	}
	return fmt.Sprintf("%s %s%s: allowed %s to %s%s", e.Name, short(e.Value), unit, short(e.Min), short(e.Max), unit)
}

// inRange returns a RangeError unless min <= v <= max. NaN and both infinities
// are refused, whatever the bounds.
func inRange(name string, v, min, max float64, unit string) error {
	if math.IsNaN(v) || math.IsInf(v, 0) || v < min || v > max {
		return RangeError{Name: name, Value: v, Min: min, Max: max, Unit: unit}
	}
	return nil
}

// short writes a number with as few digits as tell it apart.
func short(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
