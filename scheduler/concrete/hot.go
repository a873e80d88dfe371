package concrete

import (
	"cmp"
	"fmt"
	"math"

	"earlyage/scheduler/concrete/unit"
)

// EvaporationFormula is a form of the nomograph of ACI 305R.
type EvaporationFormula int

// The forms. The zero value is the default.
const (
	UnoExact EvaporationFormula = iota // exact conversion of the US form to SI
	UnoSI                              // Uno's rounded SI form; reads 4 to 5 % low
	UnoUS                              // Uno's US form
	Menzel                             // Menzel's formula with vapour pressures
)

// Evaporation is the rate in kg/(m² h) at which water leaves a fresh surface:
// concrete surface 0 to 70 °C, air -60 to 60 °C, relative humidity 0 to 1 (not
// per cent), wind 0 to 60 m/s at 0.5 m above the surface. With V in km/h:
//
//	exact:  5.275 ([Tc + 17.778]^2.5 - r [Ta + 17.778]^2.5)(V + 4.02336) 10^-6
//	SI:     5 ([Tc + 18]^2.5 - r [Ta + 18]^2.5)(V + 4) 10^-6
//	US:     (Tc^2.5 - r Ta^2.5)(1 + 0.4 V) 10^-6 lb/(ft² h), °F, mph
//	Menzel: 0.315 (e0 - r ea)(0.253 + 0.060 V), e = 0.61 exp[17.3 T/(237.3 + T)] kPa
//
// Where the air takes up no water (condensation) it is 0. Air below -17.8 °C (0
// °F) is taken as dry in the first three, which overstates the rate. For a wall
// only the top is exposed. A guide only: actual rates lie within 40 % of the
// nomograph (found, Hover, ACI SP-338).
//
// Source: Uno, ACI Materials Journal 95-M34, 1998: title, purpose and height of
// 0.5 m found, constants from memory; the exact conversion found in an
// instrument maker's note and derived again.
func Evaporation(f EvaporationFormula, concreteC, airC, humidity, windMS float64) (float64, error) {
	err := cmp.Or(
		inRange("concrete surface temperature", concreteC, 0, 70, "°C"),
		inRange("air temperature", airC, -60, 60, "°C"),
		inRange("relative humidity", humidity, 0, 1, ""),
		inRange("wind speed", windMS, 0, 60, "m/s"),
	)
	if err != nil {
		return 0, fmt.Errorf("evaporation: %w", err)
	}
	kmh := windMS / unit.KMH
	var rate float64
	switch f {
	case UnoExact:
		rate = 5.275 * powers(concreteC+17.778, airC+17.778, humidity) * (kmh + 4.02336) * 1e-6
	case UnoSI:
		rate = 5 * powers(concreteC+18, airC+18, humidity) * (kmh + 4) * 1e-6
	case UnoUS:
		lbft2h := powers(float64(concreteC*1.8)+32, float64(airC*1.8)+32, humidity) * (1 + 0.4*windMS/unit.MPH) * 1e-6
		rate = lbft2h * unit.Pound / unit.SquareFoot
	case Menzel:
		rate = 0.315 * (vapourPressure(concreteC) - float64(humidity*vapourPressure(airC))) * (0.253 + float64(0.060*kmh))
	default:
		return 0, fmt.Errorf("evaporation: formula %d: none of the four", f)
	}
	return math.Max(0, rate), nil
}

// powers is the bracket of the nomograph. Below 0 °F the power of the air's
// temperature has no real value, and is taken as nothing.
func powers(surface, air, humidity float64) float64 {
	return math.Pow(surface, 2.5) - float64(humidity*math.Pow(math.Max(0, air), 2.5))
}

// vapourPressure is the saturation pressure of water in kPa.
func vapourPressure(c float64) float64 { return 0.61 * math.Exp(17.3*c/(237.3+c)) }

// Evaporation rates at which something must be done, kg/(m² h).
const (
	EvaporationLimit        = 1.0  // 0.2 lb/(ft² h); found, UFGS 03300N, which cites ACI 305R Figure 2.1.5
	EvaporationIntermediate = 0.75 // 0.15; Canadian and Australian practice, from memory
	EvaporationLowBleed     = 0.5  // 0.1; low-bleed and silica-fume mixes, found (secondary)
)

// DryingAction is what an evaporation rate calls for.
type DryingAction int

// The actions, in rising order.
const (
	DryingNone       DryingAction = iota
	DryingWatch                   // from 0.5: cover and mist at hand
	DryingPrecaution              // from 0.75
	DryingAct                     // from 1.0, or from 0.5 for a mix that bleeds little: protect at once
)

// DryingActionFor is the action for an evaporation rate of 0 to 100 kg/(m² h).
// A rate that equals a level has reached it. Source: that of the levels.
func DryingActionFor(rate float64, lowBleed bool) (DryingAction, error) {
	if err := inRange("evaporation", rate, 0, 100, "kg/(m² h)"); err != nil {
		return DryingNone, fmt.Errorf("drying action: %w", err)
	}
	switch {
	case reaches(rate, EvaporationLimit), lowBleed && reaches(rate, EvaporationLowBleed):
		return DryingAct, nil
	case reaches(rate, EvaporationIntermediate):
		return DryingPrecaution, nil
	case reaches(rate, EvaporationLowBleed):
		return DryingWatch, nil
	}
	return DryingNone, nil
}

// HotLimit is a greatest temperature of concrete at discharge or placing.
type HotLimit struct {
	Rule   string  // its name
	MaxC   float64 // °C; the value itself is allowed
	Source string
	Status string // found or from memory
}

var hotLimits = [...]HotLimit{
	{"aci-301-20", 35, "ACI 301-20 and ACI 305.1-14, at discharge (95 °F), secondary", "found"},
	{"us-90f", 32, "older US practice, below 32 °C (90 °F): Everett WA specification p. 251", "found"},
	{"jsce", 35, "JSCE Standard Specification, at placing", "found"},
	{"jass-5", 35, "AIJ JASS 5", "from memory"},
	{"csa-a23.1", 30, "CSA A23.1, 30 to 35 °C by size; the lower is taken", "from memory"},
}

// HotLimits lists the limits on the temperature of fresh concrete, °C, each with
// its source and how far that was checked.
func HotLimits() []HotLimit {
	limits := hotLimits
	return limits[:]
}

// HotLimitFor is the limit of a rule that HotLimits names; another name is
// refused.
func HotLimitFor(rule string) (HotLimit, error) {
	for _, l := range hotLimits {
		if l.Rule == rule {
			return l, nil
		}
	}
	return HotLimit{}, fmt.Errorf("hot limit: rule %q is unknown", rule)
}

// TooHot says whether fresh concrete of -10 to 100 °C breaks the limit. Any other
// temperature is refused.
func (l HotLimit) TooHot(tempC float64) (bool, error) {
	if err := inRange("concrete temperature", tempC, -10, 100, "°C"); err != nil {
		return false, fmt.Errorf("hot limit %s: %w", l.Rule, err)
	}
	return tempC > l.MaxC, nil
}
