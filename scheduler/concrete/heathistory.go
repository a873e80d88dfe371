package concrete

import (
	"fmt"
	"math"
)

// stepTolerance is how much a predicted temperature may still change, in K,
// when the time step is halved.
const stepTolerance = 0.02

const (
	longestStep = 0.1 // h, the step a prediction begins with
	maxHalvings = 12
)

// HeatRun says what is to be predicted: from placing, for how long.
type HeatRun struct {
	Start float64 // temperature of the concrete as placed, °C, 0 to 45
	Hours float64 // length, h, up to 56 days
	Every float64 // spacing of the points given back, h, 0.01 to 24
}

func (r HeatRun) validate() error {
	if err := inRange("placing temperature", r.Start, minPlacingTemp, maxPlacingTemp, "°C"); err != nil {
		return err
	}
	if err := inRange("hours to predict", r.Hours, 0, maxPredictionHrs, "h"); err != nil {
		return err
	}
	return inRange("spacing of points", r.Every, 0.01, maxSpacingHrs, "h")
}

// spans is the number of spacings that cover the run; the last may reach past
// its end by a part of a spacing.
func (r HeatRun) spans() int { return int(math.Ceil(r.Hours/r.Every - 1e-9)) }

// HeatPlace is a place in the thickness of a wall.
type HeatPlace int

// The places at which a prediction is given.
const (
	HeatMean  HeatPlace = iota + 1 // mean over the thickness
	HeatCore                       // mid-thickness
	HeatInner                      // inner face of the concrete, under its form
	HeatOuter                      // outer face of the concrete, under its form
)

// HeatPoint is a predicted state at one moment. The lumped wall knows the mean
// only and gives it for every place.
type HeatPoint struct {
	Hour                     float64 // h since placing
	Mean, Core, Inner, Outer float64 // °C
	// Age is the least age of any place in the thickness, in h at 21.1 °C by
	// the heat model's own activation energy. It is not the equivalent age of
	// a maturity rule.
	Age    float64
	Degree float64 // degree of hydration, mean over the thickness, 0 to 1
}

// At is the temperature at a place in °C; for none of the four it is NaN.
func (p HeatPoint) At(place HeatPlace) float64 {
	switch place {
	case HeatMean:
		return p.Mean
	case HeatCore:
		return p.Core
	case HeatInner:
		return p.Inner
	case HeatOuter:
		return p.Outer
	default:
		return math.NaN()
	}
}

// HeatHistory is a predicted history of one wall section, first point at
// placing. It is a forecast for planning protection: when to insulate, when to
// look. It must never open a strip window by itself, because the mix, the wind
// and the water that the model assumes are not those of the wall.
type HeatHistory struct {
	Points []HeatPoint
	Step   float64 // h, the time step at which halving changes less than 0.02 K
}

// Peak is the first point at which a place is warmest.
func (h HeatHistory) Peak(place HeatPlace) HeatPoint {
	var peak HeatPoint
	for i, p := range h.Points {
		if i == 0 || p.At(place) > peak.At(place) {
			peak = p
		}
	}
	return peak
}

// FallsThrough is the first moment, in h since placing, at which a place that
// was warmer than level °C is so no longer; linear between points. It is how
// the hour is found at which a face goes through 0 °C. False if it never
// happens within the history, and also if the place was never warmer (computed).
func (h HeatHistory) FallsThrough(place HeatPlace, level float64) (float64, bool) {
	return h.crossing(place, func(t float64) float64 { return t - level })
}

// RisesThrough is the first moment, in h since placing, at which a place that
// was colder than level °C is so no longer; linear between points (computed).
// False if it never happens within the history.
func (h HeatHistory) RisesThrough(place HeatPlace, level float64) (float64, bool) {
	return h.crossing(place, func(t float64) float64 { return level - t })
}

// crossing finds where excess, positive before, first is zero or less.
func (h HeatHistory) crossing(place HeatPlace, excess func(float64) float64) (float64, bool) {
	for i := 1; i < len(h.Points); i++ {
		before, after := h.Points[i-1], h.Points[i]
		a, b := excess(before.At(place)), excess(after.At(place))
		if a > 0 && b <= 0 {
			return before.Hour + (after.Hour-before.Hour)*a/(a-b), true
		}
	}
	return 0, false
}

// Hot is the first moment, in h since placing, at which any place is at 65 °C
// or more, and whether there is one: a peak above 70 °C risks delayed
// ettringite formation (from memory), the flag stands 5 K below it.
func (h HeatHistory) Hot() (float64, bool) {
	for _, p := range h.Points {
		if max(p.Mean, p.Core, p.Inner, p.Outer) >= DelayedEttringiteWarning {
			return p.Hour, true
		}
	}
	return 0, false
}

// solver predicts a run with a number of equal time steps to each spacing.
type solver func(run HeatRun, steps int) (HeatHistory, error)

// refine halves the time step until that changes no temperature by 0.02 K, and
// gives the finer of the last two histories.
func refine(run HeatRun, solve solver) (HeatHistory, error) {
	steps := int(math.Ceil(run.Every/longestStep - 1e-9))
	coarse, err := solve(run, steps)
	if err != nil {
		return HeatHistory{}, err
	}
	for range maxHalvings {
		steps *= 2
		fine, err := solve(run, steps)
		if err != nil {
			return HeatHistory{}, err
		}
		if coarse.farthest(fine) < stepTolerance {
			return fine, nil
		}
		coarse = fine
	}
	return HeatHistory{}, fmt.Errorf("step %s h: halving it still changes a temperature by %v K",
		short(coarse.Step), stepTolerance)
}

// farthest is the greatest difference in K between two histories of one run.
// A difference that is no number counts as infinite.
func (h HeatHistory) farthest(other HeatHistory) float64 {
	worst := 0.0
	for i, p := range h.Points {
		q := other.Points[i]
		for _, place := range []HeatPlace{HeatMean, HeatCore, HeatInner, HeatOuter} {
			d := math.Abs(p.At(place) - q.At(place))
			if math.IsNaN(d) {
				return math.Inf(1)
			}
			worst = max(worst, d)
		}
	}
	return worst
}
