package concrete

import (
	"fmt"
	"math"
)

// Constants of the hydration model. Its reference temperature is 21.1 °C
// (70 °F), not the 20 °C of the maturity rules: an age counted here is no
// equivalent age of a strip window and must never be compared with one.
const (
	// HydrationReference is the reference temperature of the hydration model
	// in °C (from memory: Schindler & Folliard, ACI Materials Journal
	// 102-M04, 2005).
	HydrationReference = 21.1
	// DelayedEttringiteWarning is the concrete temperature in °C from which a
	// prediction is flagged. A peak above 70 °C risks delayed ettringite
	// formation (from memory); the flag stands 5 K below.
	DelayedEttringiteWarning = 65.0

	hydrationZeroC      = 273.15 // K at 0 °C; this model prints 273.15, C1074 273
	joulesPerGramToKilo = 1000.0 // J/g is 1000 J/kg
	secondsPerHour      = 3600.0
)

// Range of validity of the hydration model (from memory: fitted on laboratory
// mixes by Schindler & Folliard 2005). Outside it the model is refused.
const (
	minWaterBinder  = 0.32
	maxWaterBinder  = 0.70
	maxAshFraction  = 0.55
	maxSlagFraction = 0.50
	maxAshLime      = 0.40 // mass fraction; at 0.40 the ash term of Ea is zero
)

// Range of temperature in °C in which the age factor of the hydration model is
// computed. Below 0 °C the model has no data: it serves there only to carry a
// prediction through a cold night.
const (
	minHydrationTemp = -40.0
	maxHydrationTemp = 110.0
)

// Cement is the composition of a Portland cement: mass fractions (0 to 1, not
// per cent) of its compounds by the Bogue calculation, and its fineness.
type Cement struct {
	C3S, C2S, C3A, C4AF float64
	SO3, FreeLime, MgO  float64
	Blaine              float64 // m2/kg
}

// ReferenceCement is the average Type I Portland cement with which every
// figure of the heat reference tables was computed: C3S 54 %, C2S 18 %, C3A
// 10 %, C4AF 8 %, Blaine 369 m2/kg (from memory: PCA handbook average), with
// SO3 3 %, free lime 1 % and MgO 2 % assumed.
func ReferenceCement() Cement {
	return Cement{
		C3S: 0.54, C2S: 0.18, C3A: 0.10, C4AF: 0.08,
		SO3: 0.030, FreeLime: 0.010, MgO: 0.020,
		Blaine: 369,
	}
}

// validate refuses fractions and fineness that no Portland cement has. The
// limits are common practice, no source; they keep the model's powers away
// from zero, where they run to infinity.
func (c Cement) validate() error {
	checks := []struct {
		name   string
		v      float64
		lo, hi float64
		unit   string
	}{
		{"C3S", c.C3S, 0.20, 0.75, "mass fraction"},
		{"C2S", c.C2S, 0, 0.55, "mass fraction"},
		{"C3A", c.C3A, 0.01, 0.16, "mass fraction"},
		{"C4AF", c.C4AF, 0.01, 0.20, "mass fraction"},
		{"SO3", c.SO3, 0.01, 0.06, "mass fraction"},
		{"free lime", c.FreeLime, 0, 0.05, "mass fraction"},
		{"MgO", c.MgO, 0, 0.08, "mass fraction"},
		{"Blaine fineness", c.Blaine, 200, 700, "m2/kg"},
	}
	for _, k := range checks {
		if err := inRange(k.name, k.v, k.lo, k.hi, k.unit); err != nil {
			return err
		}
	}
	sum := c.C3S + c.C2S + c.C3A + c.C4AF + c.SO3 + c.FreeLime + c.MgO
	return inRange("sum of cement compounds", sum, 0, 1, "mass fraction")
}

// Heat is the total heat of the cement's complete hydration in J/g:
// 500 C3S + 260 C2S + 866 C3A + 420 C4AF + 624 SO3 + 1186 free lime + 850 MgO
// (from memory: Schindler & Folliard 2005).
//
// A fraction that no Portland cement has is refused with a [RangeError].
func (c Cement) Heat() (float64, error) {
	if err := c.validate(); err != nil {
		return 0, fmt.Errorf("cement heat: %w", err)
	}
	return float64(500*c.C3S) + float64(260*c.C2S) + float64(866*c.C3A) + float64(420*c.C4AF) +
		float64(624*c.SO3) + float64(1186*c.FreeLime) + float64(850*c.MgO), nil
}

// Binder is what hardens: a cement with what replaces part of it, and the
// water. Ash and Slag are mass fractions of all cementitious material; the
// rest is cement.
type Binder struct {
	Cement      Cement
	WaterBinder float64 // w/cm by mass, 0.32 to 0.70
	Ash         float64 // fly ash, 0 to 0.55
	AshLime     float64 // CaO in the ash by mass, 0 to 0.40; unused without ash
	Slag        float64 // ground slag, 0 to 0.50
}

func (b Binder) validate() error {
	checks := []struct {
		name   string
		v      float64
		lo, hi float64
	}{
		{"water to binder ratio", b.WaterBinder, minWaterBinder, maxWaterBinder},
		{"fly ash", b.Ash, 0, maxAshFraction},
		{"CaO in fly ash", b.AshLime, 0, maxAshLime},
		{"slag", b.Slag, 0, maxSlagFraction},
		{"fly ash and slag", b.Ash + b.Slag, 0, maxAshFraction},
	}
	for _, k := range checks {
		if err := inRange(k.name, k.v, k.lo, k.hi, "mass fraction"); err != nil {
			return err
		}
	}
	return nil
}

// Hydration holds the parameters of one binder's hydration curve. It predicts
// temperature only. It must never open a strip window: a window counts
// measured temperature by a maturity rule.
type Hydration struct {
	Heat             float64 // Hu: heat at complete hydration of the binder, J/g
	Ultimate         float64 // alpha_u: degree of hydration reached in the end, 0 to 1
	Slope            float64 // beta, dimensionless
	Time             float64 // tau, h at 21.1 °C
	ActivationEnergy float64 // J/mol
}

// Hydration gives the parameters of the binder's hydration curve by the model
// of Schindler & Folliard, ACI Materials Journal 102-M04, 2005 (constants from
// memory; the w/cm term of the ultimate degree found in public research code).
// In slope, time and activation energy the compounds count as fractions of all
// cementitious material, which is an assumption of this library.
//
// Refused with a [RangeError]: w/cm outside 0.32 to 0.70, fly ash over 55 %,
// slag over 50 %, both together over 55 %, CaO in the ash over 40 %, or a
// composition that no Portland cement has. Admixtures are not in the model: a
// retarder's delay is not predicted.
func (b Binder) Hydration() (Hydration, error) {
	heat, err := b.Cement.Heat()
	if err != nil {
		return Hydration{}, fmt.Errorf("hydration: %w", err)
	}
	if err := b.validate(); err != nil {
		return Hydration{}, fmt.Errorf("hydration: %w", err)
	}
	part := 1 - b.Ash - b.Slag
	c3s, c3a, c4af, so3 := part*b.Cement.C3S, part*b.Cement.C3A, part*b.Cement.C4AF, part*b.Cement.SO3
	blaine, lime := b.Cement.Blaine, b.AshLime
	energyFactor := 1 - float64(1.05*b.Ash*(1-lime/maxAshLime)) + float64(0.40*b.Slag)
	return Hydration{
		Heat: float64(heat*part) + float64(461*b.Slag) + float64(1800*lime*b.Ash),
		Ultimate: math.Min(1,
			1.031*b.WaterBinder/(0.194+b.WaterBinder)+float64(0.50*b.Ash)+float64(0.30*b.Slag)),
		Slope: 181.4 * math.Pow(c3a, 0.146) * math.Pow(c3s, 0.227) *
			math.Pow(blaine, -0.535) * math.Pow(so3, 0.558) * math.Exp(-0.647*b.Slag),
		Time: 66.78 * math.Pow(c3a, -0.154) * math.Pow(c3s, -0.401) *
			math.Pow(blaine, -0.804) * math.Pow(so3, -0.758) *
			math.Exp(float64(2.187*b.Slag)+float64(9.50*b.Ash*lime)),
		ActivationEnergy: 22100 * energyFactor * math.Pow(c3a, 0.30) *
			math.Pow(c4af, 0.25) * math.Pow(blaine, 0.35),
	}, nil
}

func (h Hydration) validate() error {
	checks := []struct {
		name   string
		v      float64
		lo, hi float64
		unit   string
	}{
		{"heat of hydration", h.Heat, 0, 1000, "J/g"},
		{"ultimate degree of hydration", h.Ultimate, 0, 1, ""},
		{"hydration slope", h.Slope, 0.1, 3, ""},
		{"hydration time", h.Time, 0.5, 1000, "h"},
		{"activation energy", h.ActivationEnergy, 1e4, 1e5, "J/mol"},
	}
	for _, k := range checks {
		if err := inRange(k.name, k.v, k.lo, k.hi, k.unit); err != nil {
			return err
		}
	}
	return nil
}

// Degree is the degree of hydration, 0 to Ultimate, at an age of te hours at
// 21.1 °C: alpha_u exp[-(tau/te)^beta] (from memory: Schindler & Folliard
// 2005). At te = 0 it is 0, the limit. A negative te is refused with a
// [RangeError].
func (h Hydration) Degree(te float64) (float64, error) {
	if err := inRange("hydration age", te, 0, math.Inf(1), "h"); err != nil {
		return 0, fmt.Errorf("degree of hydration: %w", err)
	}
	return h.degree(te), nil
}

// degree is Degree unchecked, for the inner loops.
func (h Hydration) degree(te float64) float64 {
	if te <= 0 {
		return 0
	}
	return h.Ultimate * math.Exp(-math.Pow(h.Time/te, h.Slope))
}

// DegreeRate is the derivative of Degree in 1/h of age at 21.1 °C:
// alpha (tau/te)^beta beta/te (computed from Degree). At te = 0 it is 0, the
// limit: the curve has an essential zero there. A negative te is refused with a
// [RangeError].
func (h Hydration) DegreeRate(te float64) (float64, error) {
	if err := inRange("hydration age", te, 0, math.Inf(1), "h"); err != nil {
		return 0, fmt.Errorf("rate of hydration: %w", err)
	}
	if te == 0 {
		return 0, nil
	}
	x := math.Pow(h.Time/te, h.Slope)
	if math.IsInf(x, 1) {
		return 0, nil
	}
	return h.Ultimate * math.Exp(-x) * x * h.Slope / te, nil
}

// AgeAtDegree is the inverse of Degree: the age in h at 21.1 °C at which the
// degree of hydration reaches alpha, tau [ln(alpha_u/alpha)]^(-1/beta)
// (computed). Alpha must lie above 0 and below Ultimate, else a [RangeError].
func (h Hydration) AgeAtDegree(alpha float64) (float64, error) {
	least, most := math.SmallestNonzeroFloat64, math.Nextafter(h.Ultimate, 0)
	if err := inRange("degree of hydration", alpha, least, most, ""); err != nil {
		return 0, fmt.Errorf("hydration age: %w", err)
	}
	return h.Time * math.Pow(math.Log(h.Ultimate/alpha), -1/h.Slope), nil
}

// AgeFactor is the hours of age at 21.1 °C that one hour at t °C is worth,
// exp[-Ea/R (1/(273.15+t) - 1/294.25)] (from memory: Arrhenius, as used by
// Schindler & Folliard 2005). It is a factor of the heat model and no maturity
// rule. Refused outside -40 to 110 °C; below 0 °C it is an extrapolation.
func (h Hydration) AgeFactor(t float64) (float64, error) {
	if err := inRange("concrete temperature", t, minHydrationTemp, maxHydrationTemp, "°C"); err != nil {
		return 0, fmt.Errorf("hydration age factor: %w", err)
	}
	return h.ageFactor(t), nil
}

func (h Hydration) ageFactor(t float64) float64 {
	return math.Exp(-h.ActivationEnergy / GasConstant *
		(1/(hydrationZeroC+t) - 1/(hydrationZeroC+HydrationReference)))
}

// HeatRate is the heat set free in W per m3 of concrete at an age of te hours,
// a temperature of t °C and cementitious kg/m3 of binder:
// q = Hu Cc (d alpha/d te)(d te/d t) (from memory: Schindler & Folliard 2005).
// Ranges as of DegreeRate, AgeFactor and Mass.Cementitious.
func (h Hydration) HeatRate(te, t, cementitious float64) (float64, error) {
	rate, err := h.DegreeRate(te)
	if err != nil {
		return 0, fmt.Errorf("heat rate: %w", err)
	}
	factor, err := h.AgeFactor(t)
	if err != nil {
		return 0, fmt.Errorf("heat rate: %w", err)
	}
	if err := inRange("cementitious content", cementitious, 0, maxCementitious, "kg/m3"); err != nil {
		return 0, fmt.Errorf("heat rate: %w", err)
	}
	return h.Heat * joulesPerGramToKilo * cementitious * rate * factor / secondsPerHour, nil
}
