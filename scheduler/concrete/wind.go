package concrete

import (
	"cmp"
	"fmt"
	"math"

	"earlyage/scheduler/concrete/unit"
)

// What follows is an aid for the engineer who answers for the bracing, not a
// design: it holds no judgement of soil, anchors, gusts in the lee of
// buildings, or of a wall that is not straight and level.

// The factors of ASCE 7 for solid free-standing walls (from memory, but for Kd,
// whose introduction in ASCE 7-98 was found: scribd 259121785).
const (
	WindDirectionality  = 0.85 // Kd
	GustFactor          = 0.85 // G
	ExposureCLow        = 0.85 // Kz, open country, up to 4.6 m (15 ft)
	ExposureBLow        = 0.57 // Kz, built-up, ASCE 7-16
	ExposureBLowOlder   = 0.70 // Kz, built-up, in some older tables; the safe one
	PlainConcretePhi    = 0.60 // ACI 318-14 ch. 14, from memory
	LowExposureHeight   = 4.6  // m, up to which the three Kz hold
	weeksBeforeFirstCut = 6 * 7 * 24.0
	yearHours           = 365 * 24.0
)

// ConstructionWindFactor is the factor on wind *speed* for a construction period
// of 0 to 5 years, in hours: under 6 weeks 0.75, to 1 year 0.80, to 2 years
// 0.85, to 5 years 0.90. A period that equals a limit takes the larger factor.
// Not for a hurricane season without a plan. ASCE 37-14 6.2.1, from memory. An
// aid for the engineer, not a design.
func ConstructionWindFactor(hours float64) (float64, error) {
	if err := inRange("construction period", hours, 0, 5*yearHours, "h"); err != nil {
		return 0, fmt.Errorf("construction wind factor: %w", err)
	}
	switch {
	case hours < weeksBeforeFirstCut:
		return 0.75, nil
	case hours < yearHours:
		return 0.80, nil
	case hours < 2*yearHours:
		return 0.85, nil
	}
	return 0.90, nil
}

// WindFactors turn a wind speed into a velocity pressure.
type WindFactors struct {
	Kz  float64 // height and exposure, 0.5 to 2
	Kzt float64 // topography, 1 to 3; 0: 1
	Kd  float64 // directionality, 0.8 to 1; 0: WindDirectionality
}

// VelocityPressure is q in kPa for a wind of 0 to 120 m/s: 0.613 Kz Kzt Kd V²
// N/m² with V in m/s, or with USConstants 0.00256 Kz Kzt Kd V² psf with V in
// mph. ASCE 7, from memory. An aid for the engineer, not a design.
func VelocityPressure(c Constants, windMS float64, f WindFactors) (float64, error) {
	kzt, kd := cmp.Or(f.Kzt, 1), cmp.Or(f.Kd, WindDirectionality)
	err := cmp.Or(
		inRange("wind speed", windMS, 0, 120, "m/s"), inRange("Kz", f.Kz, 0.5, 2, ""),
		inRange("Kzt", kzt, 1, 3, ""), inRange("Kd", kd, 0.8, 1, ""),
	)
	if err != nil {
		return 0, fmt.Errorf("velocity pressure: %w", err)
	}
	switch c {
	case SIConstants:
		return 0.613 * f.Kz * kzt * kd * windMS * windMS / 1000, nil
	case USConstants:
		mph := windMS / unit.MPH
		return 0.00256 * f.Kz * kzt * kd * mph * mph * unit.PSF, nil
	}
	return 0, fmt.Errorf("velocity pressure: constants %q: neither %s nor %s", string(c), SIConstants, USConstants)
}

// WallForceCoefficient is Cf of a wall that stands on the ground, by its length
// over its height, 1 to 1000: 1.45 at 1, 1.35 at 5, 1.30 from 10, straight
// lines between. ASCE 7, from memory. An aid for the engineer, not a design.
func WallForceCoefficient(lengthOverHeight float64) (float64, error) {
	if err := inRange("length over height of wall", lengthOverHeight, 1, 1000, ""); err != nil {
		return 0, fmt.Errorf("wall force coefficient: %w", err)
	}
	switch {
	case lengthOverHeight < 5:
		return 1.45 - 0.10*(lengthOverHeight-1)/4, nil
	case lengthOverHeight < 10:
		return 1.35 - 0.05*(lengthOverHeight-5)/5, nil
	}
	return 1.30, nil
}

// WindPressureOnWall is p = q G Cf in kPa, for q of 0 to 10 kPa, G 0.85 to 1.5
// and Cf 1 to 2. ASCE 7, from memory. An aid for the engineer, not a design.
func WindPressureOnWall(velocityKPa, gust, coefficient float64) (float64, error) {
	err := cmp.Or(
		inRange("velocity pressure", velocityKPa, 0, 10, "kPa"),
		inRange("gust factor", gust, 0.85, 1.5, ""),
		inRange("force coefficient", coefficient, 1, 2, ""),
	)
	if err != nil {
		return 0, fmt.Errorf("wind pressure on wall: %w", err)
	}
	return velocityKPa * gust * coefficient, nil
}

// WallBaseMoment is the moment in kNm per m at the foot of a wall 0 to 30 m
// high that is free at the top and bears an even pressure of 0 to 20 kPa: p
// h²/2. Source: statics. An aid for the engineer, not a design.
func WallBaseMoment(pressureKPa, height float64) (float64, error) {
	err := cmp.Or(inRange("pressure", pressureKPa, 0, 20, "kPa"), inRange("height of wall", height, 0, 30, "m"))
	if err != nil {
		return 0, fmt.Errorf("wall base moment: %w", err)
	}
	return pressureKPa * height * height / 2, nil
}

// WallTension is the tension in MPa at the face of a wall 0.05 to 3 m thick
// under a moment of 0 to 10,000 kNm per m, with no axial load: 6 M/t². Source:
// statics. A base cold joint bears no tension: do not rely on it. An aid for
// the engineer, not a design.
func WallTension(momentKNm, thickness float64) (float64, error) {
	err := cmp.Or(inRange("moment", momentKNm, 0, 1e4, "kNm/m"), inRange("wall thickness", thickness, 0.05, 3, "m"))
	if err != nil {
		return 0, fmt.Errorf("wall tension: %w", err)
	}
	return 6 * momentKNm / (thickness * thickness) / 1000, nil
}

// ModulusOfRupture is fr in MPa for a strength of 0 to 100 MPa: 0.62 sqrt(f'c)
// MPa, or with USConstants 7.5 sqrt(f'c) psi. Normal weight. ACI 318-14, from
// memory. An aid for the engineer, not a design.
func ModulusOfRupture(c Constants, strengthMPa float64) (float64, error) {
	v, err := rootStrength(c, strengthMPa, 0.62, 7.5)
	if err != nil {
		return 0, fmt.Errorf("modulus of rupture: %w", err)
	}
	return v, nil
}

// PlainFlexuralStress is the nominal stress in MPa of plain concrete in bending
// for a strength of 0 to 100 MPa: 0.42 sqrt(f'c) MPa, or with USConstants 5
// sqrt(f'c) psi. Normal weight. ACI 318-14 ch. 14, from memory. An aid for the
// engineer, not a design.
func PlainFlexuralStress(c Constants, strengthMPa float64) (float64, error) {
	v, err := rootStrength(c, strengthMPa, 0.42, 5)
	if err != nil {
		return 0, fmt.Errorf("plain flexural stress: %w", err)
	}
	return v, nil
}

func rootStrength(c Constants, strengthMPa, si, us float64) (float64, error) {
	if err := inRange("strength", strengthMPa, 0, 100, "MPa"); err != nil {
		return 0, err
	}
	switch c {
	case SIConstants:
		return si * math.Sqrt(strengthMPa), nil
	case USConstants:
		return us * math.Sqrt(strengthMPa/unit.PSI) * unit.PSI, nil
	}
	return 0, fmt.Errorf("constants %q: neither %s nor %s", string(c), SIConstants, USConstants)
}

// RequiredPlainStrength is the strength f'c in MPa at which plain concrete bears
// a tension of 0 to 2 MPa times a load factor of 1 to 2: 0.60 · 0.42 sqrt(f'c)
// is the stress allowed, so that f'c = (factor σ/0.252)². ACI 318-14 ch. 14,
// from memory. The rule was made for hardened concrete; a base cold joint bears
// no tension. An aid for the engineer, not a design.
func RequiredPlainStrength(tensionMPa, loadFactor float64) (float64, error) {
	err := cmp.Or(inRange("tension", tensionMPa, 0, 2, "MPa"), inRange("load factor", loadFactor, 1, 2, ""))
	if err != nil {
		return 0, fmt.Errorf("required plain strength: %w", err)
	}
	root := loadFactor * tensionMPa / (PlainConcretePhi * 0.42)
	return root * root, nil
}

// ResistingMoment is the moment in kNm per m of a wall's own weight about its
// toe: w h t²/2, for a unit weight of 8 to 40 kN/m³, a height of 0 to 30 m and a
// thickness of 0.05 to 3 m. Source: statics. An aid for the engineer, not a
// design.
func ResistingMoment(unitWeight, height, thickness float64) (float64, error) {
	err := cmp.Or(
		inRange("unit weight", unitWeight, 8, 40, "kN/m³"),
		inRange("height of wall", height, 0, 30, "m"),
		inRange("wall thickness", thickness, 0.05, 3, "m"),
	)
	if err != nil {
		return 0, fmt.Errorf("resisting moment: %w", err)
	}
	return unitWeight * height * thickness * thickness / 2, nil
}
