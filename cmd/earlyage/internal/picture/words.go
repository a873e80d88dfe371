package picture

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/scheduler/concrete/unit"
)

// speech writes quantities and moments for one picture.
type speech struct {
	zone *time.Location
	sys  unit.System
}

func (o Options) speech() speech {
	p := speech{zone: o.Zone, sys: unit.SI}
	if p.zone == nil {
		p.zone = time.UTC
	}
	if o.US {
		p.sys = unit.US
	}
	return p
}

func (p speech) length(m float64) string { return unit.Format(unit.Length, m, p.sys) }

// bareLength is a length in an axis whose unit stands beside it.
func (p speech) bareLength(m float64) string {
	number, _, _ := strings.Cut(p.length(m), " ")
	return number
}

func (p speech) lengthUnit() string {
	_, symbol := unit.In(unit.Length, 0, p.sys)
	return symbol
}

// lengthStep is a round step of at least least metres, in metres.
func (p speech) lengthStep(least float64) float64 {
	one, _ := unit.In(unit.Length, 1, p.sys)
	return roundStep(least*one) / one
}

func (p speech) between(from, to float64) string {
	return p.bareLength(min(from, to)) + " to " + p.length(max(from, to))
}

func (p speech) celsius(c float64) string { return unit.Format(unit.Temperature, c, p.sys) }

// moment writes what has been, rounded down to the minute.
func (p speech) moment(t time.Time) string { return face.Past(t, p.zone) }

// due writes a time to strip, rounded up to the minute.
func (p speech) due(t time.Time) string { return face.Strip(t, p.zone) }

// clock writes a time of day, rounded down to the minute.
func (p speech) clock(t time.Time) string { return t.In(p.zone).Format("15:04") }

// clockUp writes a time of day, rounded up to the minute.
func (p speech) clockUp(t time.Time) string {
	return p.clock(t.Add(time.Minute - time.Nanosecond))
}

// roundStep is the least of 1, 2 and 5 times a power of ten that is not under
// least.
func roundStep(least float64) float64 {
	if !(least > 0) || math.IsInf(least, 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(least)))
	for _, m := range [...]float64{1, 2, 5} {
		if m*power >= least*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// hours writes an age in hours, rounded as told, a little over or under taken
// for the number itself: tenths under 10.
func hours(h float64, round func(float64) float64) string {
	const little = 1e-6
	if near := math.Round(h * 10); math.Abs(h*10-near) < little {
		h = near / 10
	}
	if h < 10 {
		return strconv.FormatFloat(round(h*10)/10, 'f', 1, 64)
	}
	return strconv.FormatFloat(round(h), 'f', 0, 64)
}

// span writes the ages of the youngest and the oldest concrete of something:
// "0.2 to 0.5 h"; in days, rounded down, from 1000 hours.
func span(young, old float64) string {
	a, z := hours(young, math.Floor), hours(old, math.Ceil)
	switch {
	case old >= 1000:
		return strconv.FormatFloat(math.Floor(young/24), 'f', 0, 64) + " d"
	case a == z:
		return a + " h"
	}
	return a + " to " + z + " h"
}

// minutes writes a span of minutes, rounded down: "42 min", "3 h 05 min".
func minutes(m float64) string {
	whole := int(math.Floor(m))
	if whole < 60 {
		return strconv.Itoa(whole) + " min"
	}
	return fmt.Sprintf("%d h %02d min", whole/60, whole%60)
}

// minutesUp writes a span of minutes, rounded up.
func minutesUp(m float64) string { return minutes(math.Ceil(m)) }

// left says what is left of a limit, rounded to the safe side.
func left(state FrontState, min float64) string {
	if state != FrontLive && state != FrontClosing || min < 0 {
		if min > -1e-9 {
			return "past limit"
		}
		return "past limit by " + minutes(math.Ceil(-min))
	}
	say := minutes(min) + " left"
	if min < 1 {
		say = "under 1 min left"
	}
	if state == FrontClosing {
		return "closing, " + say
	}
	return say
}

// list joins words: "a", "a and b", "a, b and c".
func list(words []string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}
