package concrete

import (
	"fmt"
	"math"
)

// StrengthCurve is a strength that grows with age. The age is equivalent age at
// the reference of the curve, in days; at a constant 20 °C it is plain age.
type StrengthCurve interface {
	// MPa is the strength at an age in days. An age beyond the range of the
	// curve is a RangeError.
	MPa(ageDays float64) (float64, error)
	// AgeDays is the inverse: the age at which the strength is reached. A
	// strength that the curve never reaches is a RangeError.
	AgeDays(mpa float64) (float64, error)
}

// The ranges of the strength curves.
const (
	minAgeDays, maxAgeDays   = 0.01, 36525.0
	minStrength, maxStrength = 0.1, 200.0
	hoursPerDay              = 24.0
)

func checkAge(days float64) error {
	return inRange("age", days, minAgeDays, maxAgeDays, "d")
}

func checkStrength(name string, mpa float64) error {
	return inRange(name, mpa, minStrength, maxStrength, "MPa")
}

// below refuses a strength that a curve only nears as its age grows.
func below(mpa, limit float64) error {
	if err := checkStrength("strength", mpa); err != nil {
		return err
	}
	if mpa >= limit {
		return RangeError{"strength", mpa, minStrength, math.Nextafter(limit, 0), "MPa"}
	}
	return nil
}

// CementClass is the strength class of the cement in EN 1992-1-1 3.1.2(6).
type CementClass int

// The closed set of cement classes (from memory).
const (
	ClassR CementClass = iota + 1 // rapid: CEM 42.5R, 52.5; s = 0.20
	ClassN                        // normal: CEM 32.5R, 42.5N; s = 0.25
	ClassS                        // slow: CEM 32.5N; s = 0.38
)

// String is the letter of the class.
func (c CementClass) String() string {
	switch c {
	case ClassR:
		return "R"
	case ClassN:
		return "N"
	case ClassS:
		return "S"
	}
	return "unknown"
}

// exponent is the s of equation 3.2.
func (c CementClass) exponent() (float64, error) {
	switch c {
	case ClassR:
		return 0.20, nil
	case ClassN:
		return 0.25, nil
	case ClassS:
		return 0.38, nil
	}
	return 0, fmt.Errorf("cement class %d: unknown", int(c))
}

// EN1992 is the mean strength of EN 1992-1-1 3.1.2(6), equations 3.1 and 3.2
// (that they exist: found; the constants: from memory): fcm(t) = fcm
// exp{s[1 - sqrt(28/t)]} with fcm = fck + 8 MPa and t in days at 20 °C. The
// clause gives strengths from 3 to 28 d and wants tests below 3 d: see
// EN1992Covers.
type EN1992 struct {
	FckMPa float64 // characteristic cylinder strength at 28 d, 8 to 100 MPa
	Class  CementClass
}

// EN1992Covers says whether the clause itself gives a strength at this age.
func EN1992Covers(ageDays float64) bool { return ageDays >= 3 && ageDays <= 28 }

// EN1992Ratio is beta_cc(t), the part of the 28-day mean strength, at an age of
// 0.01 to 36,525 d (EN 1992-1-1 3.1.2(6), constants from memory). Another age, and
// an unknown class, are refused.
func EN1992Ratio(c CementClass, ageDays float64) (float64, error) {
	s, err := c.exponent()
	if err != nil {
		return 0, err
	}
	if err := checkAge(ageDays); err != nil {
		return 0, err
	}
	return math.Exp(s * (1 - math.Sqrt(28/ageDays))), nil
}

// MeanMPa is fcm = fck + 8 MPa, the mean strength at 28 d (EN 1992-1-1, from
// memory). A strength out of range is refused.
func (c EN1992) MeanMPa() (float64, error) {
	if err := inRange("characteristic strength fck", c.FckMPa, 8, 100, "MPa"); err != nil {
		return 0, err
	}
	return c.FckMPa + 8, nil
}

// MPa is the mean strength at an age of 0.01 to 36,525 d (from memory). Another
// age, and fields out of range, are refused.
func (c EN1992) MPa(ageDays float64) (float64, error) {
	fcm, err := c.MeanMPa()
	if err != nil {
		return 0, err
	}
	ratio, err := EN1992Ratio(c.Class, ageDays)
	return ratio * fcm, err
}

// AgeDays is the inverse of MPa, in days (computed). A strength under 0.1 MPa, and
// one that the curve never reaches, are refused.
func (c EN1992) AgeDays(mpa float64) (float64, error) {
	fcm, err := c.MeanMPa()
	if err != nil {
		return 0, err
	}
	s, err := c.Class.exponent()
	if err != nil {
		return 0, err
	}
	if err := below(mpa, fcm*math.Exp(s)); err != nil {
		return 0, err
	}
	root := 1 - math.Log(mpa/fcm)/s
	return 28 / (root * root), nil
}

// ACI209 is ACI 209R-92 equation 2-1 (from memory): f(t) = f28 t/(A + B t), t in
// days. The ratio at 28 d is not exactly 1 for every pair: that is the
// standard's own rounding.
type ACI209 struct {
	F28MPa float64 // 1 to 150 MPa
	A      float64 // d, 0.1 to 10
	B      float64 // 0.5 to 1.2
}

// The pairs of ACI 209R-92 (from memory) for a strength at 28 d.

// ACI209TypeIMoist is Type I cement, moist cured: A 4.0, B 0.85 (from memory).
func ACI209TypeIMoist(f28MPa float64) ACI209 { return ACI209{f28MPa, 4.0, 0.85} }

// ACI209TypeIIIMoist is Type III cement, moist cured: A 2.3, B 0.92 (from memory).
func ACI209TypeIIIMoist(f28MPa float64) ACI209 { return ACI209{f28MPa, 2.3, 0.92} }

// ACI209TypeISteam is Type I cement, steam cured: A 1.0, B 0.95 (from memory).
func ACI209TypeISteam(f28MPa float64) ACI209 { return ACI209{f28MPa, 1.0, 0.95} }

// ACI209TypeIIISteam is Type III cement, steam cured: A 0.70, B 0.98 (from memory).
func ACI209TypeIIISteam(f28MPa float64) ACI209 { return ACI209{f28MPa, 0.70, 0.98} }

func (c ACI209) validate() error {
	if err := inRange("strength at 28 d", c.F28MPa, 1, 150, "MPa"); err != nil {
		return err
	}
	if err := inRange("ACI 209 constant a", c.A, 0.1, 10, "d"); err != nil {
		return err
	}
	return inRange("ACI 209 constant b", c.B, 0.5, 1.2, "")
}

// MPa is the strength at an age of 0.01 to 36,525 d (source: that of the curve).
// Another age, and fields out of range, are refused.
func (c ACI209) MPa(ageDays float64) (float64, error) {
	if err := c.validate(); err != nil {
		return 0, err
	}
	if err := checkAge(ageDays); err != nil {
		return 0, err
	}
	return c.F28MPa * ageDays / (c.A + float64(c.B*ageDays)), nil
}

// AgeDays is the inverse of MPa, in days (computed). A strength under 0.1 MPa, and
// one that the curve never reaches, are refused.
func (c ACI209) AgeDays(mpa float64) (float64, error) {
	if err := c.validate(); err != nil {
		return 0, err
	}
	if err := below(mpa, c.F28MPa/c.B); err != nil {
		return 0, err
	}
	ratio := mpa / c.F28MPa
	return c.A * ratio / (1 - float64(c.B*ratio)), nil
}

// Hyperbolic is the curve of Carino 1984 and of the ASTM C1074 annex (from
// memory; the symbols: found): S = Su k(t - t0)/[1 + k(t - t0)], nothing up to
// t0, and half of Su at t0 + 1/k.
type Hyperbolic struct {
	SuMPa   float64 // the strength it nears, 1 to 200 MPa
	KPerDay float64 // the rate, 0.001 to 50 per day
	T0Days  float64 // the age at which strength begins, 0 to 10 d
}

func (c Hyperbolic) validate() error {
	if err := inRange("limiting strength Su", c.SuMPa, 1, 200, "MPa"); err != nil {
		return err
	}
	if err := inRange("rate k", c.KPerDay, 0.001, 50, "1/d"); err != nil {
		return err
	}
	return inRange("age t0", c.T0Days, 0, 10, "d")
}

// MPa is the strength at an age of 0.01 to 36,525 d (source: that of the curve).
// Another age, and fields out of range, are refused.
func (c Hyperbolic) MPa(ageDays float64) (float64, error) {
	if err := c.validate(); err != nil {
		return 0, err
	}
	if err := checkAge(ageDays); err != nil {
		return 0, err
	}
	return c.at(ageDays), nil
}

func (c Hyperbolic) at(ageDays float64) float64 {
	x := c.KPerDay * max(0, ageDays-c.T0Days)
	return c.SuMPa * x / (1 + x)
}

// AgeDays is the inverse of MPa, in days (computed). A strength under 0.1 MPa, and
// one that the curve never reaches, are refused.
func (c Hyperbolic) AgeDays(mpa float64) (float64, error) {
	if err := c.validate(); err != nil {
		return 0, err
	}
	if err := below(mpa, c.SuMPa); err != nil {
		return 0, err
	}
	return c.T0Days + mpa/(c.KPerDay*(c.SuMPa-mpa)), nil
}

// Exponential is the curve of Freiesleben Hansen and Pedersen (from memory):
// S = Su exp[-(tau/t)^a], with Su/e at tau.
type Exponential struct {
	SuMPa   float64 // the strength it nears, 1 to 200 MPa
	TauDays float64 // 0.01 to 100 d
	Alpha   float64 // 0.1 to 5
}

func (c Exponential) validate() error {
	if err := inRange("limiting strength Su", c.SuMPa, 1, 200, "MPa"); err != nil {
		return err
	}
	if err := inRange("time constant tau", c.TauDays, 0.01, 100, "d"); err != nil {
		return err
	}
	return inRange("exponent a", c.Alpha, 0.1, 5, "")
}

// MPa is the strength at an age of 0.01 to 36,525 d (source: that of the curve).
// Another age, and fields out of range, are refused.
func (c Exponential) MPa(ageDays float64) (float64, error) {
	if err := c.validate(); err != nil {
		return 0, err
	}
	if err := checkAge(ageDays); err != nil {
		return 0, err
	}
	return c.at(ageDays), nil
}

func (c Exponential) at(ageDays float64) float64 {
	return c.SuMPa * math.Exp(-math.Pow(c.TauDays/ageDays, c.Alpha))
}

// AgeDays is the inverse of MPa, in days (computed). A strength under 0.1 MPa, and
// one that the curve never reaches, are refused.
func (c Exponential) AgeDays(mpa float64) (float64, error) {
	if err := c.validate(); err != nil {
		return 0, err
	}
	if err := below(mpa, c.SuMPa); err != nil {
		return 0, err
	}
	return c.TauDays / math.Pow(math.Log(c.SuMPa/mpa), 1/c.Alpha), nil
}

// WhenReached is the first moment in h of a temperature history, summed up as
// equivalent age from placing, at which a strength in MPa is reached (computed);
// false if it has not by the end of the history. A strength that the curve never
// reaches is refused.
func WhenReached(curve StrengthCurve, age *Curve, mpa float64) (float64, bool, error) {
	days, err := curve.AgeDays(mpa)
	if err != nil {
		return 0, false, fmt.Errorf("moment of %s MPa: %w", short(mpa), err)
	}
	return age.When(days * hoursPerDay)
}
