package concrete

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Constants says in which printed edition of a rule the constants are taken.
// Inputs and results are in the units of this package either way; the editions
// differ by the rounding of their constants.
type Constants string

// The two editions.
const (
	SIConstants Constants = "si"
	USConstants Constants = "us"
)

// Formula names what governs a lateral pressure.
type Formula string

// What may govern.
const (
	FormulaFullHead     Formula = "full head"
	FormulaBasePumped   Formula = "full head and 25 % for pumping from the base"
	FormulaACIFirst     Formula = "aci 347 first formula"
	FormulaACISecond    Formula = "aci 347 second formula"
	FormulaACIMinimum   Formula = "aci 347 minimum"
	FormulaCIRIA        Formula = "ciria 108"
	FormulaDIN1980      Formula = "din 18218:1980"
	FormulaDIN2010      Formula = "din 18218:2010 self-compacting"
	FormulaDIN2010Least Formula = "din 18218:2010 minimum"
)

// Note is a remark on a result that a reader must see with it.
type Note string

// The remarks on pressures and placing rates.
const (
	NoteSlumpUnknown      Note = "slump not recorded: full head"
	NoteSlumpHigh         Note = "slump over 175 mm (7 in): full head"
	NoteExternalVibration Note = "external vibration: full head"
	NoteDeepVibration     Note = "internal vibration deeper than 1.2 m (4 ft): full head"
	NoteFromBase          Note = "pumped from the base: full head and 25 %"
	NoteRateHigh          Note = "rate of rise beyond the formula: full head"
	NoteSetUnknown        Note = "setting time not recorded: full head"
	NoteSetLate           Note = "sets later than 5 h after mixing: full head"
	NoteMixUnknown        Note = "binder or retarder not recorded: the largest coefficient taken"
	NoteTempOutsideTables Note = "concrete temperature outside the published tables (4 to 32 °C)"
	NoteWarmerThanTable   Note = "warmer than 25 °C: no further reduction taken"
	NoteFormTooWeak       Note = "the form is rated under the least pressure of the rule"
	NoteFormHoldsHead     Note = "the form holds the full head"
	NoteRateCeiling       Note = "held at the ceiling of the first formula, 2.1 m/h (7 ft/h)"
)

// BinderKind groups binders as the pressure rules do. The zero value is not
// recorded, and takes the largest coefficient.
type BinderKind int

// The kinds of binder.
const (
	BinderUnrecorded BinderKind = iota
	BinderPortland              // types I, II, III; OPC, RHPC, SRPC
	BinderBlended               // less than 70 % slag or 40 % fly ash; other types
	BinderRichBlend             // 70 % slag or 40 % fly ash, or more
)

// Retarder says whether the mix holds one; a retarding water reducer is one.
// The zero value is not recorded, and takes the largest coefficient.
type Retarder int

// Whether the mix holds a retarder.
const (
	RetarderUnrecorded Retarder = iota
	WithoutRetarder
	WithRetarder
)

// Member is a wall unless said otherwise.
type Member int

// The members. For CIRIA 108 a column has both width and breadth under 2 m.
const (
	Wall Member = iota
	Column
)

// Placing is what the lateral pressure of a placement depends on. Where
// several loads are in the form, give the coldest, heaviest and most retarded.
type Placing struct {
	UnitWeight        float64    // kN/m³, 8 to 40
	Height            float64    // m of concrete placed in one go, over 0 to 50
	Rate              float64    // m/h of rise, 0 to 100
	TempC             float64    // °C of the concrete at placing, 0 to 50
	Slump             float64    // m, 0 to 0.35; 0: not recorded
	Binder            BinderKind // the worst of the loads in the form
	Retarder          Retarder   // of any load in the form
	Member            Member     // wall unless said otherwise
	VibrationDepth    float64    // m that the vibrator reaches down, 0 to 50; 0: within the rule
	ExternalVibration bool       // vibrators on the form
	FromBase          bool       // pumped in from the foot of the form
}

func (p Placing) validate() error {
	return cmp.Or(
		inRange("unit weight", p.UnitWeight, 8, 40, "kN/m³"),
		inRange("height of placement", p.Height, 0.01, 50, "m"),
		inRange("rate of rise", p.Rate, 0, 100, "m/h"),
		inRange("concrete temperature", p.TempC, 0, 50, "°C"),
		inRange("slump", p.Slump, 0, 0.35, "m"),
		inRange("depth of vibration", p.VibrationDepth, 0, 50, "m"),
		inRange("binder kind", float64(p.Binder), 0, float64(BinderRichBlend), ""),
		inRange("retarder", float64(p.Retarder), 0, float64(WithRetarder), ""),
		inRange("member", float64(p.Member), 0, float64(Column), ""),
	)
}

// Pressure is the lateral pressure of fresh concrete on a form: it rises with
// depth as in a liquid down to Depth, and stays the same below. It is what a
// rule says, for comparison with the form's rating; it designs no form.
type Pressure struct {
	KPa        float64 // kPa, the greatest at any height
	HeadKPa    float64 // kPa, unit weight times height
	FormulaKPa float64 // kPa that the formula gives before its minimum and before the full head caps it
	Depth      float64 // m below the top of the concrete at which KPa is reached
	Slope      float64 // kPa per m of depth above Depth
	Height     float64 // m of concrete
	Formula    Formula // what governs
	Notes      []Note  // what a reader must see; may be empty
}

// Level is a point of a pressure diagram.
type Level struct {
	Depth     float64 // m below the top of the concrete
	AboveBase float64 // m
	KPa       float64 // kPa
}

// At is the lateral pressure in kPa at a depth in m below the top of the
// concrete, from 0 to the height placed; another depth is refused. Source: that
// of the rule.
func (p Pressure) At(depth float64) (float64, error) {
	if err := inRange("depth", depth, 0, p.Height, "m"); err != nil {
		return 0, fmt.Errorf("pressure at depth: %w", err)
	}
	return math.Min(p.Slope*depth, p.KPa), nil
}

// Envelope is the diagram of the greatest pressure that each height sees while
// the form is filled, by its corners from the top down.
func (p Pressure) Envelope() []Level {
	depths := []float64{0, math.Min(p.Depth, p.Height), p.Height}
	out := make([]Level, 0, len(depths))
	for _, d := range slices.Compact(depths) {
		out = append(out, Level{Depth: d, AboveBase: p.Height - d, KPa: math.Min(p.Slope*d, p.KPa)})
	}
	return out
}

// FullHeadPressure is the pressure of concrete as a liquid, p = w h, and 1.25
// w h when it is pumped in from the base. It is the ceiling of every rule, and
// the rule for slump over 175 mm (7 in), self-compacting concrete and external
// vibration. Of p only UnitWeight, Height and FromBase count, and are refused
// outside their ranges. Source:
// concreteconstruction.net "Form pressure" (found); 25 % for pumping from the
// base: ACI 347 (from memory).
func FullHeadPressure(p Placing) (Pressure, error) {
	p = Placing{UnitWeight: p.UnitWeight, Height: p.Height, FromBase: p.FromBase}
	if err := p.validate(); err != nil {
		return Pressure{}, fmt.Errorf("full head pressure: %w", err)
	}
	return p.head(), nil
}

// head is the full liquid head of a placement that is known to be valid.
func (p Placing) head(notes ...Note) Pressure {
	out := Pressure{
		HeadKPa: p.UnitWeight * p.Height, Slope: p.UnitWeight, Depth: p.Height, Height: p.Height,
		Formula: FormulaFullHead, Notes: notes,
	}
	if p.FromBase {
		out.Slope *= 1.25
		out.Formula = FormulaBasePumped
		if !slices.Contains(notes, NoteFromBase) {
			out.Notes = append(slices.Clone(notes), NoteFromBase)
		}
	}
	out.KPa = out.Slope * p.Height
	out.FormulaKPa = out.KPa
	return out
}

// limited is the pressure that a formula gives, never above the full head.
func (p Placing) limited(kPa, formulaKPa float64, by Formula, notes []Note) Pressure {
	out := p.head(notes...)
	out.FormulaKPa = formulaKPa
	if kPa < out.KPa {
		out.KPa, out.Depth, out.Formula = kPa, kPa/out.Slope, by
	}
	return out
}

// RiseRate is the rate in m/h at which concrete rises in a form, R = Q/(L t):
// delivery 0 to 300 m³/h, length of wall over 0 to 2000 m, core 0.05 to 5 m
// thick; other values are refused. Source: arithmetic; eng-tips thread 150606
// gives an example (found).
func RiseRate(deliveryM3h, lengthM, coreM float64) (float64, error) {
	if err := cmp.Or(inRange("delivery", deliveryM3h, 0, 300, "m³/h"), plan(lengthM, coreM)); err != nil {
		return 0, fmt.Errorf("rate of rise: %w", err)
	}
	return deliveryM3h / (lengthM * coreM), nil
}

// DeliveryForRise is the inverse of RiseRate (arithmetic): the m³/h that raise
// the concrete at a rate of 0 to 100 m/h. Values out of range are refused.
func DeliveryForRise(rateMh, lengthM, coreM float64) (float64, error) {
	if err := cmp.Or(inRange("rate of rise", rateMh, 0, 100, "m/h"), plan(lengthM, coreM)); err != nil {
		return 0, fmt.Errorf("delivery for a rate of rise: %w", err)
	}
	return rateMh * lengthM * coreM, nil
}

func plan(lengthM, coreM float64) error {
	return cmp.Or(
		inRange("length of wall", lengthM, 0.1, 2000, "m"),
		inRange("core thickness", coreM, 0.05, 5, "m"),
	)
}

// over and reaches compare with a limit. A value that was converted from the
// unit of the limit counts as equal to it, although its last digits differ.
func over(v, limit float64) bool    { return v > limit*(1+1e-9) }
func reaches(v, limit float64) bool { return v >= limit*(1-1e-9) }
