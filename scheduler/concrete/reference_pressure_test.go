package concrete_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

func init() {
	reference("full-head", refFullHead)
	reference("aci-wall", refACIWall)
	reference("aci-cw", refACIUnitWeight)
	reference("aci-cc", refACIChemistry)
	reference("aci-greatest-rate", refACIGreatestRate)
	reference("ciria", refCIRIA)
	reference("din-1980", refDIN1980)
	reference("din-2010", refDIN2010)
	reference("rise", refRise)
	reference("placing-guidance", refPlacingGuidance)
}

// quantity reads an input that is written with its unit, in the base unit of
// its dimension; one that is not given is 0.
func (in inputs) quantity(t *testing.T, key string, dim unit.Dimension) float64 {
	t.Helper()
	if !in.has(key) {
		return 0
	}
	v, err := unit.Parse(dim, in.word(key))
	require.NoError(t, err, "input %q", key)
	return v
}

// choice maps a word to a value; a word that is not listed fails the row.
func choice[T any](t *testing.T, in inputs, key string, of map[string]T) T {
	t.Helper()
	v, ok := of[in.word(key)]
	require.True(t, ok, "input %s=%q", key, in.word(key))
	return v
}

func editionOf(t *testing.T, in inputs) concrete.Constants {
	return choice(t, in, "edition", map[string]concrete.Constants{"si": concrete.SIConstants, "us": concrete.USConstants})
}

func mixOf(t *testing.T, in inputs) (concrete.BinderKind, concrete.Retarder) {
	b := choice(t, in, "binder", map[string]concrete.BinderKind{
		"": concrete.BinderUnrecorded, "portland": concrete.BinderPortland,
		"blended": concrete.BinderBlended, "rich": concrete.BinderRichBlend,
	})
	r := choice(t, in, "retarder", map[string]concrete.Retarder{
		"": concrete.RetarderUnrecorded, "no": concrete.WithoutRetarder, "yes": concrete.WithRetarder,
	})
	return b, r
}

func placingOf(t *testing.T, in inputs) concrete.Placing {
	b, r := mixOf(t, in)
	return concrete.Placing{
		UnitWeight: in.quantity(t, "weight", unit.UnitWeight), Height: in.quantity(t, "height", unit.Length),
		Rate: in.quantity(t, "rate", unit.RiseRate), TempC: in.quantity(t, "temp", unit.Temperature),
		Slump: in.quantity(t, "slump", unit.Thickness), Binder: b, Retarder: r, FromBase: in.word("from-base") == "yes",
	}
}

func flag(is bool) float64 {
	if is {
		return 1
	}
	return 0
}

func refFullHead(t *testing.T, in inputs) map[string]float64 {
	p, err := concrete.FullHeadPressure(placingOf(t, in))
	require.NoError(t, err)
	psf, _ := unit.In(unit.Pressure, p.KPa, unit.US)
	psi, _ := unit.In(unit.Strength, p.KPa/1000, unit.US)
	return map[string]float64{"kpa": p.KPa, "psf": psf, "psi": psi}
}

func refACIWall(t *testing.T, in inputs) map[string]float64 {
	edition := editionOf(t, in)
	p, err := concrete.ACIWallPressure(edition, placingOf(t, in))
	require.NoError(t, err)
	out := map[string]float64{
		"first": flag(p.Formula == concrete.FormulaACIFirst), "second": flag(p.Formula == concrete.FormulaACISecond),
		"head": flag(p.Formula == concrete.FormulaFullHead), "formula": p.FormulaKPa, "pressure": p.KPa,
	}
	if edition == concrete.USConstants {
		out["formula"], _ = unit.In(unit.Pressure, p.FormulaKPa, unit.US)
		out["pressure"], _ = unit.In(unit.Pressure, p.KPa, unit.US)
	}
	return out
}

func refACIUnitWeight(t *testing.T, in inputs) map[string]float64 {
	cw, err := concrete.ACIUnitWeightCoefficient(editionOf(t, in), in.quantity(t, "weight", unit.UnitWeight))
	require.NoError(t, err)
	return map[string]float64{"cw": cw}
}

func refACIChemistry(t *testing.T, in inputs) map[string]float64 {
	b, r := mixOf(t, in)
	cc, err := concrete.ACIChemistryCoefficient(b, r)
	require.NoError(t, err)
	return map[string]float64{"cc": cc}
}

func refACIGreatestRate(t *testing.T, in inputs) map[string]float64 {
	limit, err := concrete.ACIGreatestRate(editionOf(t, in), in.quantity(t, "rated", unit.Pressure), placingOf(t, in))
	require.NoError(t, err)
	return map[string]float64{"rate": limit.Rate, "possible": flag(limit.Possible)}
}

func refCIRIA(t *testing.T, in inputs) map[string]float64 {
	p, err := concrete.CIRIAPressure(placingOf(t, in), in.quantity(t, "form", unit.Length))
	require.NoError(t, err)
	return map[string]float64{"pressure": p.KPa, "depth": p.Depth, "head": p.HeadKPa}
}

func refDIN1980(t *testing.T, in inputs) map[string]float64 {
	p, err := concrete.DIN1980Pressure(concrete.DIN1980{
		Consistency: choice(t, in, "consistency", map[string]concrete.Consistency{
			"stiff": concrete.Stiff, "plastic": concrete.Plastic, "soft": concrete.Soft,
		}),
		Rate: in.quantity(t, "rate", unit.RiseRate), TempC: in.quantity(t, "temp", unit.Temperature),
		SetHours: in.quantity(t, "set", unit.Duration), Height: in.quantity(t, "height", unit.Length),
	})
	require.NoError(t, err)
	return map[string]float64{"pressure": p.KPa, "depth": p.Depth}
}

func refDIN2010(t *testing.T, in inputs) map[string]float64 {
	p, err := concrete.DIN2010Pressure(concrete.SelfCompacting{
		UnitWeight: in.quantity(t, "weight", unit.UnitWeight), Rate: in.quantity(t, "rate", unit.RiseRate),
		SetHours: in.quantity(t, "set", unit.Duration), Height: in.quantity(t, "height", unit.Length),
	})
	require.NoError(t, err)
	return map[string]float64{"pressure": p.KPa}
}

func refRise(t *testing.T, in inputs) map[string]float64 {
	length, core := in.quantity(t, "length", unit.Length), in.quantity(t, "core", unit.Thickness)
	if in.has("delivery") {
		rate, err := concrete.RiseRate(in.quantity(t, "delivery", unit.Delivery), length, core)
		require.NoError(t, err)
		return map[string]float64{"rate": rate}
	}
	delivery, err := concrete.DeliveryForRise(in.quantity(t, "rate", unit.RiseRate), length, core)
	require.NoError(t, err)
	return map[string]float64{"delivery": delivery, "hours": length * core * in.quantity(t, "height", unit.Length) / delivery}
}

func refPlacingGuidance(*testing.T, inputs) map[string]float64 {
	return map[string]float64{
		"rise": concrete.CustomaryRise, "lift-least": concrete.CustomaryLiftLeast, "lift-most": concrete.CustomaryLiftMost,
		"layer": concrete.LayerMost, "free-fall": concrete.FreeFallMost,
	}
}
