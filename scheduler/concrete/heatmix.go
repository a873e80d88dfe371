package concrete

import "fmt"

// Usual thermal properties of young concrete and of what stands beside it. All
// are from memory but for the specific heat, of which published figures of
// 0.20 to 0.25 cal/(g K), that is 837 to 1047 J/(kg K), were found
// (concreteconstruction.net, "Heat of concrete").
const (
	UsualDensity      = 2400.0 // kg/m3
	UsualSpecificHeat = 1050.0 // J/(kg K)
	UsualConductivity = 2.0    // W/(m K); 1.7 to 2.5 for young concrete
)

const (
	maxCementitious  = 800.0 // kg/m3
	minDensity       = 1400.0
	maxDensity       = 4000.0
	minSpecificHeat  = 837.0
	maxSpecificHeat  = 1200.0
	minConductivity  = 0.5
	maxConductivity  = 4.0
	minPlacingTemp   = 0.0
	maxPlacingTemp   = 45.0
	minSurroundTemp  = -50.0
	maxSurroundTemp  = 60.0
	maxPredictionHrs = 24 * 56.0
	maxSpacingHrs    = 24.0
)

// HeatMix is a concrete as the heat model sees it. A cementitious content of 0
// is allowed: such a concrete sets no heat free.
type HeatMix struct {
	Hydration    Hydration
	Cementitious float64 // Cc, kg/m3, 0 to 800
	Density      float64 // kg/m3, 1400 to 4000
	SpecificHeat float64 // J/(kg K), 837 to 1200
	Conductivity float64 // W/(m K), 0.5 to 4.0
}

// NewHeatMix is a concrete of cementitious kg/m3 of the binder with the usual
// density, specific heat and conductivity (from memory; the specific heat found).
// Errors as of Binder.Hydration, and a [RangeError] for a content outside 0 to
// 800 kg/m3.
func NewHeatMix(b Binder, cementitious float64) (HeatMix, error) {
	h, err := b.Hydration()
	if err != nil {
		return HeatMix{}, fmt.Errorf("heat mix: %w", err)
	}
	m := HeatMix{
		Hydration:    h,
		Cementitious: cementitious,
		Density:      UsualDensity,
		SpecificHeat: UsualSpecificHeat,
		Conductivity: UsualConductivity,
	}
	if err := m.validate(); err != nil {
		return HeatMix{}, fmt.Errorf("heat mix: %w", err)
	}
	return m, nil
}

func (m HeatMix) validate() error {
	if err := m.Hydration.validate(); err != nil {
		return err
	}
	if err := inRange("cementitious content", m.Cementitious, 0, maxCementitious, "kg/m3"); err != nil {
		return err
	}
	if err := inRange("density", m.Density, minDensity, maxDensity, "kg/m3"); err != nil {
		return err
	}
	if err := inRange("specific heat", m.SpecificHeat, minSpecificHeat, maxSpecificHeat, "J/(kg K)"); err != nil {
		return err
	}
	return inRange("thermal conductivity", m.Conductivity, minConductivity, maxConductivity, "W/(m K)")
}

// capacity is the volumetric heat capacity in J/(m3 K).
func (m HeatMix) capacity() float64 { return m.Density * m.SpecificHeat }

// FullRise is the rise in K if all binder hydrated without loss of heat,
// Cc Hu/(rho c) (computed). No concrete reaches it. A field out of range is
// refused with a [RangeError].
func (m HeatMix) FullRise() (float64, error) {
	if err := m.validate(); err != nil {
		return 0, fmt.Errorf("full rise: %w", err)
	}
	return m.fullRise(), nil
}

func (m HeatMix) fullRise() float64 {
	return m.Cementitious * m.Hydration.Heat * joulesPerGramToKilo / m.capacity()
}

// AdiabaticRise is the rise in K without loss of heat at an age of te hours at
// 21.1 °C, Cc Hu alpha/(rho c). It is given against age, not against the clock:
// the warmer concrete ages faster, which Adiabatic counts. A thumb rule has 10
// to 13 K for each 100 kg of cement after about a week (from memory). A
// negative age or a field out of range is refused with a [RangeError].
func (m HeatMix) AdiabaticRise(te float64) (float64, error) {
	if err := m.validate(); err != nil {
		return 0, fmt.Errorf("adiabatic rise: %w", err)
	}
	alpha, err := m.Hydration.Degree(te)
	if err != nil {
		return 0, fmt.Errorf("adiabatic rise: %w", err)
	}
	return m.fullRise() * alpha, nil
}

// Adiabatic is the temperature of concrete that loses no heat, the warmest that
// any wall of it can be: the rise against the clock, with the ageing that its
// own heat speeds up (computed, by the heat model of Schindler & Folliard 2005,
// from memory). Errors as of Section.Lumped.
func (m HeatMix) Adiabatic(run HeatRun) (HeatHistory, error) {
	if err := m.validate(); err != nil {
		return HeatHistory{}, fmt.Errorf("adiabatic curve: %w", err)
	}
	if err := run.validate(); err != nil {
		return HeatHistory{}, fmt.Errorf("adiabatic curve: %w", err)
	}
	h, err := refine(run, (&lump{mix: m}).integrate)
	if err != nil {
		return HeatHistory{}, fmt.Errorf("adiabatic curve: %w", err)
	}
	return h, nil
}
