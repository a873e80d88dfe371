package concrete_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

func drawPlacing(t *rapid.T) concrete.Placing {
	return concrete.Placing{
		UnitWeight: rapid.Float64Range(14, 32).Draw(t, "weight"),
		Height:     rapid.Float64Range(0.3, 9).Draw(t, "height"),
		Rate:       rapid.Float64Range(0, 6).Draw(t, "rate"),
		TempC:      rapid.Float64Range(0, 40).Draw(t, "temp"),
		Slump:      rapid.Float64Range(0.02, 0.17).Draw(t, "slump"),
		Binder:     concrete.BinderKind(rapid.IntRange(0, 3).Draw(t, "binder")),
		Retarder:   concrete.Retarder(rapid.IntRange(0, 2).Draw(t, "retarder")),
		Member:     concrete.Member(rapid.IntRange(0, 1).Draw(t, "member")),
	}
}

func drawEdition(t *rapid.T) concrete.Constants {
	return rapid.SampledFrom([]concrete.Constants{concrete.SIConstants, concrete.USConstants}).Draw(t, "edition")
}

func aciKPa(t require.TestingT, c concrete.Constants, p concrete.Placing) float64 {
	out, err := concrete.ACIWallPressure(c, p)
	require.NoError(t, err)
	return out.KPa
}

func TestACIPressureStaysBetweenMinimumAndHead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, p := drawEdition(t), drawPlacing(t)
		out, err := concrete.ACIWallPressure(c, p)
		require.NoError(t, err)
		cw, err := concrete.ACIUnitWeightCoefficient(c, p.UnitWeight)
		require.NoError(t, err)
		least := 30 * cw
		if c == concrete.USConstants {
			least = 600 * unit.PSF * cw
		}
		require.LessOrEqual(t, out.KPa, p.UnitWeight*p.Height*(1+1e-12), "above the full head")
		require.GreaterOrEqual(t, out.KPa, math.Min(least, p.UnitWeight*p.Height)*(1-1e-12), "below the minimum")
		require.InDelta(t, out.KPa, out.Depth*out.Slope, 1e-9, "depth of the hydrostatic part")
		require.LessOrEqual(t, out.Depth, out.Height*(1+1e-12))
	})
}

// More of what raises the pressure never lowers it, also across the boundaries
// from one formula to the next.
func TestACIPressureIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, p := drawEdition(t), drawPlacing(t)
		worse := p
		switch rapid.IntRange(0, 5).Draw(t, "what") {
		case 0:
			worse.Rate = rapid.Float64Range(p.Rate, 8).Draw(t, "faster")
		case 1:
			worse.TempC = rapid.Float64Range(0, p.TempC).Draw(t, "colder")
		case 2:
			worse.Height = rapid.Float64Range(p.Height, 12).Draw(t, "higher")
		case 3:
			worse.UnitWeight = rapid.Float64Range(p.UnitWeight, 36).Draw(t, "heavier")
		case 4:
			worse.Binder, worse.Retarder = concrete.BinderUnrecorded, concrete.RetarderUnrecorded
		case 5:
			worse.Slump = rapid.SampledFrom([]float64{0, 0.18, 0.25}).Draw(t, "slump")
		}
		require.GreaterOrEqual(t, aciKPa(t, c, worse), aciKPa(t, c, p)*(1-1e-12))
	})
}

// The formulas of the two editions agree within 0.5 % where the same one holds
// in both, Cw within 2 % where both are on the same side of its limits.
func TestACIEditionsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPlacing(t)
		p.UnitWeight = rapid.SampledFrom([]float64{14, 16, 20, 21.5, 23, 23.5, 25, 28}).Draw(t, "same side of the limits")
		p.Rate = rapid.SampledFrom([]float64{0, 0.5, 1, 2, 2.09, 2.15, 3, 4.5}).Draw(t, "same side of the ceiling")
		p.Height = rapid.SampledFrom([]float64{1, 3, 4.2, 4.3, 9}).Draw(t, "same side of the height limit")
		formula := map[concrete.Constants]float64{}
		cw := map[concrete.Constants]float64{}
		for _, c := range []concrete.Constants{concrete.SIConstants, concrete.USConstants} {
			out, err := concrete.ACIWallPressure(c, p)
			require.NoError(t, err)
			cw[c], err = concrete.ACIUnitWeightCoefficient(c, p.UnitWeight)
			require.NoError(t, err)
			formula[c] = out.FormulaKPa / cw[c]
		}
		require.InEpsilon(t, formula[concrete.SIConstants], formula[concrete.USConstants], 0.005)
		require.InEpsilon(t, cw[concrete.SIConstants], cw[concrete.USConstants], 0.02)
	})
}

// At the boundary the SI pair jumps by less than 1.5 %, the US pair not at all.
func TestACIContinuityAtTheBoundary(t *testing.T) {
	p := concrete.Placing{
		UnitWeight: 23.2, Height: 4, Slump: 0.12, Binder: concrete.BinderPortland, Retarder: concrete.WithoutRetarder,
	}
	for temp := 5.0; temp <= 32; temp++ {
		p.TempC = temp
		for c, edge := range map[concrete.Constants]struct{ at, jump float64 }{
			concrete.SIConstants: {2.1, 0.015}, concrete.USConstants: {7 * unit.Foot, 1e-6},
		} {
			p.Rate = edge.at * (1 - 1e-8)
			below := aciKPa(t, c, p)
			p.Rate = edge.at
			at := aciKPa(t, c, p)
			require.GreaterOrEqual(t, at, below*(1-1e-12), "%s at %v °C", c, temp)
			require.LessOrEqual(t, at/below-1, edge.jump, "%s at %v °C", c, temp)
		}
	}
}

func TestACIGreatestRateIsTheInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, p := drawEdition(t), drawPlacing(t)
		rated := rapid.Float64Range(15, 90).Draw(t, "rated")
		limit, err := concrete.ACIGreatestRate(c, rated, p)
		require.NoError(t, err)
		if !limit.Possible {
			require.Zero(t, limit.Rate)
			require.Contains(t, limit.Notes, concrete.NoteFormTooWeak)
			p.Rate = 0
			require.Greater(t, aciKPa(t, c, p)*(1+1e-6), rated, "a rate was there")
			return
		}
		p.Rate = limit.Rate
		require.LessOrEqual(t, aciKPa(t, c, p), rated, "over the rating at the rate given")
		require.Equal(t, limit.HeadFits, p.UnitWeight*p.Height <= rated)
		ceiling := 2.1
		if c == concrete.USConstants {
			ceiling = 7 * unit.Foot
		}
		if p.Member == concrete.Wall {
			require.LessOrEqual(t, limit.Rate, ceiling)
			if limit.Rate == ceiling {
				return
			}
		}
		if p.Rate+0.02 <= 100 {
			p.Rate += 0.02
			require.Greater(t, aciKPa(t, c, p), rated*(1-1e-6), "a greater rate was there")
		}
	})
}

func TestACIGreatestRateRefusesWhatNoFormulaCovers(t *testing.T) {
	p := concrete.Placing{
		UnitWeight: 23.2, Height: 3, TempC: 20, Slump: 0.2, Binder: concrete.BinderPortland, Retarder: concrete.WithoutRetarder,
	}
	limit, err := concrete.ACIGreatestRate(concrete.SIConstants, 60, p)
	require.NoError(t, err)
	require.False(t, limit.Possible)
	require.Contains(t, limit.Notes, concrete.NoteSlumpHigh)
	// The form holds 69.6 kPa of full head: any slump will do.
	limit, err = concrete.ACIGreatestRate(concrete.SIConstants, 70, p)
	require.NoError(t, err)
	require.True(t, limit.Possible)
	require.True(t, limit.HeadFits)
	require.Equal(t, 2.1, limit.Rate)
	// Rated between the two formulas at 2.1 m/h (50.8 and 51.3 kPa at 20 °C): the
	// second holds at the ceiling itself, so that the rate stays below it.
	p.Slump = 0.12
	limit, err = concrete.ACIGreatestRate(concrete.SIConstants, 51, p)
	require.NoError(t, err)
	require.Less(t, limit.Rate, 2.1)
	require.InDelta(t, 2.1, limit.Rate, 0.011)
}

func TestFullHeadReasons(t *testing.T) {
	sound := concrete.Placing{
		UnitWeight: 24, Height: 3, Rate: 1, TempC: 15, Slump: 0.12, Binder: concrete.BinderPortland, Retarder: concrete.WithoutRetarder,
	}
	require.Less(t, aciKPa(t, concrete.SIConstants, sound), 72.0)
	for note, change := range map[concrete.Note]func(*concrete.Placing){
		concrete.NoteSlumpUnknown:      func(p *concrete.Placing) { p.Slump = 0 },
		concrete.NoteSlumpHigh:         func(p *concrete.Placing) { p.Slump = 0.18 },
		concrete.NoteExternalVibration: func(p *concrete.Placing) { p.ExternalVibration = true },
		concrete.NoteDeepVibration:     func(p *concrete.Placing) { p.VibrationDepth = 1.3 },
		concrete.NoteRateHigh:          func(p *concrete.Placing) { p.Rate = 4.6 },
	} {
		p := sound
		change(&p)
		out, err := concrete.ACIWallPressure(concrete.SIConstants, p)
		require.NoError(t, err)
		require.Equal(t, []concrete.Note{note}, out.Notes)
		require.Equal(t, concrete.FormulaFullHead, out.Formula)
		require.InDelta(t, 72, out.KPa, 1e-9)
	}
	p := sound
	p.FromBase = true
	out, err := concrete.ACIWallPressure(concrete.SIConstants, p)
	require.NoError(t, err)
	require.Equal(t, concrete.FormulaBasePumped, out.Formula)
	require.Equal(t, []concrete.Note{concrete.NoteFromBase}, out.Notes)
	require.InDelta(t, 90, out.KPa, 1e-9)
	require.InDelta(t, 72, out.HeadKPa, 1e-9)
	// 175 mm and 7 in exactly are within the rule, each in its edition.
	for c, slump := range map[concrete.Constants]float64{concrete.SIConstants: 0.175, concrete.USConstants: 0.1778} {
		p := sound
		p.Slump = slump
		require.Less(t, aciKPa(t, c, p), 72.0, c)
	}
}

func TestPressureNotes(t *testing.T) {
	p := concrete.Placing{UnitWeight: 24, Height: 3, Rate: 1, TempC: 2, Slump: 0.12}
	out, err := concrete.ACIWallPressure(concrete.SIConstants, p)
	require.NoError(t, err)
	require.Equal(t, []concrete.Note{concrete.NoteMixUnknown, concrete.NoteTempOutsideTables}, out.Notes)
}

func TestEnvelope(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPlacing(t)
		p.FromBase = rapid.Bool().Draw(t, "base")
		out, err := concrete.ACIWallPressure(drawEdition(t), p)
		require.NoError(t, err)
		levels := out.Envelope()
		require.Zero(t, levels[0].Depth)
		require.Zero(t, levels[0].KPa)
		require.InDelta(t, 0, levels[len(levels)-1].AboveBase, 1e-12)
		require.InDelta(t, out.KPa, levels[len(levels)-1].KPa, 1e-9)
		for i, l := range levels {
			at, err := out.At(l.Depth)
			require.NoError(t, err)
			require.Equal(t, at, l.KPa)
			require.InDelta(t, p.Height, l.Depth+l.AboveBase, 1e-12)
			if i > 0 {
				require.Greater(t, l.Depth, levels[i-1].Depth)
				require.GreaterOrEqual(t, l.KPa, levels[i-1].KPa)
			}
		}
		deep, shallow := rapid.Float64Range(0, p.Height).Draw(t, "a"), rapid.Float64Range(0, p.Height).Draw(t, "b")
		a, err := out.At(math.Max(deep, shallow))
		require.NoError(t, err)
		b, err := out.At(math.Min(deep, shallow))
		require.NoError(t, err)
		require.GreaterOrEqual(t, a, b)
		_, err = out.At(p.Height * 1.01)
		require.ErrorAs(t, err, new(concrete.RangeError))
	})
}

func TestCIRIAIsMonotoneAndCapped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPlacing(t)
		form := rapid.Float64Range(p.Height, 12).Draw(t, "form")
		out, err := concrete.CIRIAPressure(p, form)
		require.NoError(t, err)
		require.LessOrEqual(t, out.KPa, out.HeadKPa*(1+1e-12))
		worse, higher := p, form
		switch rapid.IntRange(0, 3).Draw(t, "what") {
		case 0:
			worse.Rate = rapid.Float64Range(p.Rate, 40).Draw(t, "faster")
		case 1:
			worse.TempC = rapid.Float64Range(0, p.TempC).Draw(t, "colder")
		case 2:
			worse.Binder = concrete.BinderUnrecorded
		case 3:
			higher = rapid.Float64Range(form, 14).Draw(t, "higher")
		}
		more, err := concrete.CIRIAPressure(worse, higher)
		require.NoError(t, err)
		require.GreaterOrEqual(t, more.KPa, out.KPa*(1-1e-12))
	})
}

func TestDINFallsBackToFullHead(t *testing.T) {
	sound := concrete.DIN1980{Consistency: concrete.Plastic, Rate: 2, TempC: 15, SetHours: 5, Height: 6}
	for note, change := range map[concrete.Note]func(*concrete.DIN1980){
		concrete.NoteSetUnknown: func(d *concrete.DIN1980) { d.SetHours = 0 },
		concrete.NoteSetLate:    func(d *concrete.DIN1980) { d.SetHours = 5.1 },
		concrete.NoteRateHigh:   func(d *concrete.DIN1980) { d.Rate = 7.1 },
	} {
		d := sound
		change(&d)
		out, err := concrete.DIN1980Pressure(d)
		require.NoError(t, err)
		require.Equal(t, []concrete.Note{note}, out.Notes)
		require.InDelta(t, 150, out.KPa, 1e-9)
	}
	d := sound
	d.TempC = 40
	hot, err := concrete.DIN1980Pressure(d)
	require.NoError(t, err)
	require.Equal(t, []concrete.Note{concrete.NoteWarmerThanTable}, hot.Notes)
	d.TempC = 25
	at25, err := concrete.DIN1980Pressure(d)
	require.NoError(t, err)
	require.Equal(t, at25.KPa, hot.KPa)
	d.Height = 0.5
	low, err := concrete.DIN1980Pressure(d)
	require.NoError(t, err)
	require.Equal(t, concrete.FormulaFullHead, low.Formula)
	require.InDelta(t, 12.5, low.KPa, 1e-9)
	for _, s := range []concrete.SelfCompacting{{UnitWeight: 24, Rate: 1, Height: 3}, {UnitWeight: 24, Rate: 8, SetHours: 5, Height: 3}} {
		out, err := concrete.DIN2010Pressure(s)
		require.NoError(t, err)
		require.Equal(t, concrete.FormulaFullHead, out.Formula)
		require.InDelta(t, 72, out.KPa, 1e-9)
	}
}

func TestRiseRateInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.Float64Range(0.1, 3).Draw(t, "rate")
		length, core := rapid.Float64Range(1, 100).Draw(t, "length"), rapid.Float64Range(0.1, 0.9).Draw(t, "core")
		delivery, err := concrete.DeliveryForRise(rate, length, core)
		require.NoError(t, err)
		back, err := concrete.RiseRate(delivery, length, core)
		require.NoError(t, err)
		require.InEpsilon(t, rate, back, 1e-12)
	})
}

// Every value out of range is refused by name and gives no number.
func TestPressureRanges(t *testing.T) {
	sound := concrete.Placing{UnitWeight: 24, Height: 3, Rate: 1, TempC: 15, Slump: 0.12}
	for name, change := range map[string]func(*concrete.Placing){
		"unit weight":          func(p *concrete.Placing) { p.UnitWeight = 150 },
		"height of placement":  func(p *concrete.Placing) { p.Height = 0 },
		"rate of rise":         func(p *concrete.Placing) { p.Rate = math.Inf(1) },
		"concrete temperature": func(p *concrete.Placing) { p.TempC = -1 },
		"slump":                func(p *concrete.Placing) { p.Slump = math.NaN() },
		"depth of vibration":   func(p *concrete.Placing) { p.VibrationDepth = -1 },
		"binder kind":          func(p *concrete.Placing) { p.Binder = 4 },
		"retarder":             func(p *concrete.Placing) { p.Retarder = -1 },
		"member":               func(p *concrete.Placing) { p.Member = 2 },
	} {
		p := sound
		change(&p)
		out, err := concrete.ACIWallPressure(concrete.SIConstants, p)
		requireRange(t, name, err)
		require.Zero(t, out)
		_, err = concrete.CIRIAPressure(p, 40)
		requireRange(t, name, err)
		if name != "rate of rise" {
			limit, err := concrete.ACIGreatestRate(concrete.SIConstants, 40, p)
			requireRange(t, name, err)
			require.Zero(t, limit)
		}
	}
	_, err := concrete.ACIWallPressure("metric", sound)
	require.ErrorContains(t, err, "metric")
	_, err = concrete.ACIUnitWeightCoefficient("metric", 24)
	require.ErrorContains(t, err, "metric")
	_, err = concrete.ACIUnitWeightCoefficient(concrete.SIConstants, 2400)
	requireRange(t, "unit weight", err)
	_, err = concrete.ACIChemistryCoefficient(9, concrete.WithRetarder)
	requireRange(t, "binder kind", err)
	_, err = concrete.ACIGreatestRate(concrete.SIConstants, 0, sound)
	requireRange(t, "rated pressure of the form", err)
	_, err = concrete.FullHeadPressure(concrete.Placing{UnitWeight: 24})
	requireRange(t, "height of placement", err)
	_, err = concrete.CIRIAPressure(sound, 2)
	requireRange(t, "height of the form", err)
	_, err = concrete.DIN1980Pressure(concrete.DIN1980{Consistency: concrete.Stiff, Rate: 1, TempC: 4, SetHours: 5, Height: 3})
	requireRange(t, "concrete temperature", err)
	_, err = concrete.DIN1980Pressure(concrete.DIN1980{Rate: 1, TempC: 15, SetHours: 5, Height: 3})
	requireRange(t, "consistency", err)
	_, err = concrete.DIN2010Pressure(concrete.SelfCompacting{UnitWeight: 24, SetHours: 49, Height: 3})
	requireRange(t, "setting time", err)
	_, err = concrete.RiseRate(301, 40, 0.15)
	requireRange(t, "delivery", err)
	_, err = concrete.RiseRate(7, 40, 0)
	requireRange(t, "core thickness", err)
	_, err = concrete.DeliveryForRise(1, 0, 0.15)
	requireRange(t, "length of wall", err)
}

func requireRange(t *testing.T, name string, err error) {
	t.Helper()
	var out concrete.RangeError
	require.ErrorAs(t, err, &out, name)
	require.Equal(t, name, out.Name)
}
