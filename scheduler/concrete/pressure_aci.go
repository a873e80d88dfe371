package concrete

import (
	"fmt"
	"math"

	"earlyage/scheduler/concrete/unit"
)

// aci holds the constants of one edition of ACI 347 in that edition's units.
type aci struct {
	base, rise1           float64 // first formula: base + rise1 R/T
	constant2, rise2      float64 // second: base + (constant2 + rise2 R)/T
	zeroT                 float64 // added to the temperature
	least                 float64 // least pressure, times Cw
	rateFirst, rateSecond float64 // R below rateFirst: first formula; up to rateSecond: second
	height                float64 // greatest height of the first formula
	light, heavy, normal  float64 // unit weights of Cw
	slump, depth          float64 // m, in both editions

	kPa, metre, weight float64 // one unit of pressure in kPa, of length in m, of unit weight in kN/m³
	fahrenheit         bool
}

var aciEditions = map[Constants]aci{
	SIConstants: {
		base: 7.2, rise1: 785, constant2: 1156, rise2: 244, zeroT: 17.8, least: 30,
		rateFirst: 2.1, rateSecond: 4.5, height: 4.2, light: 22.5, heavy: 24, normal: 23.2,
		slump: 0.175, depth: 1.2, kPa: 1, metre: 1, weight: 1,
	},
	USConstants: {
		base: 150, rise1: 9000, constant2: 43400, rise2: 2800, least: 600,
		rateFirst: 7, rateSecond: 15, height: 14, light: 140, heavy: 150, normal: 145,
		slump: 7 * unit.Inch, depth: 4 * unit.Foot, kPa: unit.PSF, metre: unit.Foot, weight: unit.PCF, fahrenheit: true,
	},
}

func (c Constants) aci() (aci, error) {
	k, ok := aciEditions[c]
	if !ok {
		return aci{}, fmt.Errorf("constants %q: neither %s nor %s", string(c), SIConstants, USConstants)
	}
	return k, nil
}

// ACIWallPressure is the lateral pressure by ACI 347-04 2.2.2 and 347R-14
// 4.2.2. With w in kN/m³, R in m/h, T in °C:
//
//	first:  p = Cw Cc [7.2 + 785 R/(T + 17.8)] kPa
//	second: p = Cw Cc [7.2 + 1156/(T + 17.8) + 244 R/(T + 17.8)] kPa
//
// and with USConstants, R in ft/h, T in °F:
//
//	first:  p = Cw Cc [150 + 9000 R/T] psf
//	second: p = Cw Cc [150 + 43,400/T + 2800 R/T] psf
//
// The first holds for columns, and for walls with R under 2.1 m/h (7 ft/h) and a
// height up to 4.2 m (14 ft); the second for other walls up to 4.5 m/h (15
// ft/h). The result is at least 30 Cw kPa (600 Cw psf) and never above the full
// head, which also governs for slump over 175 mm (7 in) or not recorded, for
// external vibration, internal vibration deeper than 1.2 m (4 ft), pumping from
// the base, and a faster rise. Outside 4 to 32 °C a note is added.
//
// The formulas of the two editions agree within 0.5 %, Cw within 2 % (145 pcf is
// 22.8, not 23.2 kN/m³), and the minimum is 30 or 28.7 kPa; their boundaries
// differ a little (2.1 m/h is 6.9 ft/h, 4.2 m 13.8 ft). The SI pair jumps up by
// under 1.5 % at 2.1 m/h; there the second counts.
//
// Source: which formula holds where, and the limit on slump: M. K. Hurd, "Use
// updated wall pressure formulas", concreteconstruction.net (found); constants
// from memory. Ranges of inputs: those of [Placing].
func ACIWallPressure(c Constants, p Placing) (Pressure, error) {
	k, err := c.aci()
	if err == nil {
		err = p.validate()
	}
	if err != nil {
		return Pressure{}, fmt.Errorf("aci wall pressure: %w", err)
	}
	if notes := k.fullHead(p); len(notes) > 0 {
		return p.head(notes...), nil
	}
	cw, cc := k.unitWeight(p.UnitWeight), chemistry(p.Binder, p.Retarder)
	formulaKPa, by := cw*cc*k.bracket(p), FormulaACISecond
	if k.first(p) {
		by = FormulaACIFirst
	}
	kPa := formulaKPa
	if least := cw * k.least * k.kPa; kPa < least {
		kPa, by = least, FormulaACIMinimum
	}
	return p.limited(kPa, formulaKPa, by, aciNotes(p)), nil
}

// ACIUnitWeightCoefficient is Cw of ACI 347 for a unit weight of 8 to 40 kN/m³:
// 0.5(1 + w/23.2) but at least 0.80 below 22.5 kN/m³ (140 pcf); 1.0 to 24 kN/m³
// (150 pcf); w/23.2 (w/145) above. The editions differ in their boundaries:
// 140 pcf is 22.0 kN/m³. From memory.
func ACIUnitWeightCoefficient(c Constants, unitWeight float64) (float64, error) {
	k, err := c.aci()
	if err == nil {
		err = inRange("unit weight", unitWeight, 8, 40, "kN/m³")
	}
	if err != nil {
		return 0, fmt.Errorf("aci unit weight coefficient: %w", err)
	}
	return k.unitWeight(unitWeight), nil
}

// ACIChemistryCoefficient is Cc of ACI 347: Portland 1.0, with a retarder 1.2;
// blends with less than 70 % slag or 40 % fly ash 1.2, with a retarder 1.4;
// richer blends 1.4. Binder or retarder not recorded: 1.4. A value outside the
// closed sets is refused. From memory.
func ACIChemistryCoefficient(b BinderKind, r Retarder) (float64, error) {
	if err := (Placing{UnitWeight: 24, Height: 1, Binder: b, Retarder: r}).validate(); err != nil {
		return 0, fmt.Errorf("aci chemistry coefficient: %w", err)
	}
	return chemistry(b, r), nil
}

func chemistry(b BinderKind, r Retarder) float64 {
	switch {
	case b == BinderPortland && r == WithoutRetarder:
		return 1.0
	case b == BinderPortland && r == WithRetarder, b == BinderBlended && r == WithoutRetarder:
		return 1.2
	default:
		return 1.4
	}
}

func (k aci) unitWeight(kNm3 float64) float64 {
	w := kNm3 / k.weight
	switch {
	case !reaches(w, k.light):
		return math.Max(0.80, 0.5*(1+w/k.normal))
	case over(w, k.heavy):
		return w / k.normal
	default:
		return 1.0
	}
}

// temp is the divisor of the formulas.
func (k aci) temp(c float64) float64 {
	if k.fahrenheit {
		return float64(c*1.8) + 32
	}
	return c + k.zeroT
}

// first says whether the first formula holds.
func (k aci) first(p Placing) bool {
	return p.Member == Column || (!reaches(p.Rate/k.metre, k.rateFirst) && !over(p.Height/k.metre, k.height))
}

// bracket is the formula without its coefficients, in kPa.
func (k aci) bracket(p Placing) float64 {
	r, t := p.Rate/k.metre, k.temp(p.TempC)
	if k.first(p) {
		return (k.base + k.rise1*r/t) * k.kPa
	}
	return (k.base + (k.constant2+float64(k.rise2*r))/t) * k.kPa
}

// fullHead lists the reasons for which no formula holds.
func (k aci) fullHead(p Placing) []Note {
	notes := k.outOfScope(p)
	if p.Member == Wall && over(p.Rate/k.metre, k.rateSecond) {
		notes = append(notes, NoteRateHigh)
	}
	return notes
}

// outOfScope lists those of the reasons that no rate of rise can mend.
func (k aci) outOfScope(p Placing) []Note {
	var notes []Note
	for _, c := range []struct {
		is   bool
		note Note
	}{
		{p.Slump == 0, NoteSlumpUnknown},
		{over(p.Slump, k.slump), NoteSlumpHigh},
		{p.ExternalVibration, NoteExternalVibration},
		{over(p.VibrationDepth, k.depth), NoteDeepVibration},
		{p.FromBase, NoteFromBase},
	} {
		if c.is {
			notes = append(notes, c.note)
		}
	}
	return notes
}

func aciNotes(p Placing) []Note {
	var notes []Note
	if p.Binder == BinderUnrecorded || p.Retarder == RetarderUnrecorded {
		notes = append(notes, NoteMixUnknown)
	}
	if p.TempC < 4 || p.TempC > 32.3 {
		notes = append(notes, NoteTempOutsideTables)
	}
	return notes
}

// RateLimit is the greatest rate of rise for a form.
type RateLimit struct {
	Rate     float64 // m/h; 0 if no rate is allowed
	Possible bool    // false: the form may not be filled at any rate
	HeadFits bool    // the form holds the full head, so that pressure sets no limit
	Formula  Formula // what governs the pressure at that rate
	Notes    []Note  // what a reader must see; may be empty
}

// jumpStep is taken off the ceiling where the second formula, which holds at
// the ceiling itself, gives more than the form is rated for. m/h.
const jumpStep = 0.01

// ACIGreatestRate is the inverse of ACIWallPressure: the greatest rate of rise
// at which the pressure stays within a form's rating of 0.1 to 1000 kPa. The
// Rate of p does not count. For walls it is never above 2.1 m/h (7 ft/h), even
// where the form holds the full head. There is no rate, and Possible is false,
// if the rating is under 30 Cw kPa (600 Cw psf), or if no formula holds (slump
// over 175 mm or not recorded, and the like), unless the form holds the full
// head. ACIWallPressure at the result is never above the rating. Source: that
// of ACIWallPressure; the inversion is arithmetic.
func ACIGreatestRate(c Constants, ratedKPa float64, p Placing) (RateLimit, error) {
	p.Rate = 0
	k, err := c.aci()
	if err == nil {
		err = p.validate()
	}
	if err == nil {
		err = inRange("rated pressure of the form", ratedKPa, 0.1, 1000, "kPa")
	}
	if err != nil {
		return RateLimit{}, fmt.Errorf("aci greatest rate: %w", err)
	}
	ceiling := k.rateFirst * k.metre
	if p.Member == Column {
		ceiling = 100
	}
	if head := p.head(); head.KPa <= ratedKPa {
		return RateLimit{Rate: ceiling, Possible: true, HeadFits: true, Formula: head.Formula, Notes: []Note{NoteFormHoldsHead}}, nil
	}
	if notes := k.outOfScope(p); len(notes) > 0 {
		return RateLimit{Formula: p.head().Formula, Notes: append(notes, NoteFormTooWeak)}, nil
	}
	return k.greatestRate(c, ratedKPa, ceiling, p)
}

func (k aci) greatestRate(c Constants, ratedKPa, ceiling float64, p Placing) (RateLimit, error) {
	cw := k.unitWeight(p.UnitWeight)
	if cw*k.least*k.kPa > ratedKPa {
		return RateLimit{Formula: FormulaACIMinimum, Notes: append(aciNotes(p), NoteFormTooWeak)}, nil
	}
	t := k.temp(p.TempC)
	bracket := ratedKPa/(k.kPa*cw*chemistry(p.Binder, p.Retarder)) - k.base
	rate, by := bracket*t/k.rise1, FormulaACIFirst
	if !k.first(p) {
		rate, by = (float64(bracket*t)-k.constant2)/k.rise2, FormulaACISecond
	}
	// A hair less, so that rounding never carries the pressure over the rating.
	rate *= k.metre * (1 - 1e-9)
	if rate <= 0 {
		return RateLimit{Formula: by, Notes: append(aciNotes(p), NoteFormTooWeak)}, nil
	}
	out := RateLimit{Rate: rate, Possible: true, Formula: by, Notes: aciNotes(p)}
	if !reaches(rate, ceiling) {
		return out, nil
	}
	p.Rate = ceiling
	at, err := ACIWallPressure(c, p)
	if err != nil {
		return RateLimit{}, err
	}
	out.Rate, out.Formula, out.Notes = ceiling, at.Formula, append(out.Notes, NoteRateCeiling)
	if at.KPa > ratedKPa {
		out.Rate, out.Formula = ceiling-jumpStep, by
	}
	return out, nil
}
