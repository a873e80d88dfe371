package concrete

import (
	"fmt"
	"slices"
)

// Freeze is the first frost of a temperature history and the strength then.
type Freeze struct {
	Frozen  bool    // the history reaches FreezingC
	AtHours float64 // the first moment at or below it
	MPa     float64 // the strength at that moment
	Harmful bool    // frozen below the strength asked for
}

// FirstFreeze looks for the first moment at or below 0 °C and compares the
// strength at it, by counted equivalent age from the start of the series, with
// the strength needed, 0.1 to 200 MPa: [FirstFreezeStrengthMPa] (found) or
// [FreezeStrengthEN13670MPa] (from memory). The series is of the coldest place
// of the wall and begins at placing. A series, rule or curve that is not valid is
// refused.
func FirstFreeze(s Series, m Maturity, curve StrengthCurve, needMPa float64) (Freeze, error) {
	if err := checkStrength("strength needed before frost", needMPa); err != nil {
		return Freeze{}, fmt.Errorf("first freeze: %w", err)
	}
	age, err := s.CountedAge(m)
	if err != nil {
		return Freeze{}, fmt.Errorf("first freeze: %w", err)
	}
	at, frozen, err := s.FirstAtOrBelow(FreezingC)
	if err != nil || !frozen {
		return Freeze{}, err
	}
	hours, err := age.At(at)
	if err != nil {
		return Freeze{}, fmt.Errorf("first freeze: %w", err)
	}
	f := Freeze{Frozen: true, AtHours: at}
	if days := hours / hoursPerDay; days >= minAgeDays {
		if f.MPa, err = curve.MPa(days); err != nil {
			return Freeze{}, fmt.Errorf("first freeze: %w", err)
		}
	}
	f.Harmful = f.MPa < needMPa
	return f, nil
}

// GreatestDrop is the largest fall of temperature from any moment to a later
// one not more than windowHours (0.01 to 1,000 h) away, and the moment at which
// that fall is complete. 0 if the series never falls. To be held against
// [MaxCoolingPerHourK] and [MaxCoolingPerDayK] (computed; straight lines between
// readings).
func (s Series) GreatestDrop(windowHours float64) (drop Difference, atHours float64, err error) {
	if err := s.Validate(); err != nil {
		return 0, 0, err
	}
	if err := inRange("window", windowHours, 0.01, 1000, "h"); err != nil {
		return 0, 0, fmt.Errorf("greatest drop: %w", err)
	}
	// On straight lines the largest fall begins or ends at a reading. The window
	// is widened by more than the rounding of its shifted ends.
	const rounding = 1e-9
	points := s.withShifted(windowHours)
	var warmest []int // indexes of falling temperature, the front is the warmest in the window
	atHours = points[0].Hours
	for i, p := range points {
		for len(warmest) > 0 && points[warmest[0]].Hours < p.Hours-windowHours-rounding {
			warmest = warmest[1:]
		}
		for len(warmest) > 0 && points[warmest[len(warmest)-1]].TempC <= p.TempC {
			warmest = warmest[:len(warmest)-1]
		}
		warmest = append(warmest, i)
		if fall := Difference(points[warmest[0]].TempC - p.TempC); fall > drop {
			drop, atHours = fall, p.Hours
		}
	}
	return drop, atHours, nil
}

// withShifted is the series with the points one window before and after each
// reading put in.
func (s Series) withShifted(window float64) Series {
	hours := make([]float64, 0, 3*len(s))
	for _, r := range s {
		for _, h := range [...]float64{r.Hours - window, r.Hours, r.Hours + window} {
			if h >= s[0].Hours && h <= s[len(s)-1].Hours {
				hours = append(hours, h)
			}
		}
	}
	slices.Sort(hours)
	hours = slices.Compact(hours)
	out := make(Series, 0, len(hours))
	i := 0
	for _, h := range hours {
		for i+1 < len(s)-1 && s[i+1].Hours <= h {
			i++
		}
		a, b := s[i], s[i+1]
		share := (h - a.Hours) / (b.Hours - a.Hours)
		out = append(out, Reading{h, a.TempC + float64(share*(b.TempC-a.TempC))})
	}
	return out
}
