package concrete_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/scheduler/concrete"
)

func init() {
	reference("cement-heat", func(t *testing.T, in inputs) map[string]float64 {
		h, err := cementOf(t, in).Heat()
		require.NoError(t, err)
		return map[string]float64{"heat": h}
	})
	reference("hydration", func(t *testing.T, in inputs) map[string]float64 {
		h := hydrationOf(t, in)
		return map[string]float64{
			"heat": h.Heat, "ultimate": h.Ultimate, "slope": h.Slope,
			"time": h.Time, "activation-energy": h.ActivationEnergy,
		}
	})
	reference("degree", func(t *testing.T, in inputs) map[string]float64 {
		alpha, err := hydrationOf(t, in).Degree(in.num(t, "te"))
		require.NoError(t, err)
		return map[string]float64{"degree": alpha}
	})
	reference("hydration-age-factor", func(t *testing.T, in inputs) map[string]float64 {
		f, err := hydrationOf(t, in).AgeFactor(in.num(t, "t"))
		require.NoError(t, err)
		return map[string]float64{"factor": f}
	})
	reference("adiabatic-rise", refAdiabaticRise)
	reference("adiabatic", refAdiabatic)
	reference("heat-constants", refHeatConstants)
	reference("form-resistance", func(t *testing.T, in inputs) map[string]float64 {
		r, err := concrete.FormResistance(in.num(t, "thickness"), in.num(t, "conductivity"))
		require.NoError(t, err)
		return map[string]float64{"si": r, "us": r * usPerSI}
	})
	reference("wall-section", refSection)
	reference("cooling", refCooling)
	reference("lumped", refLumped)
}

// usPerSI turns m2 K/W into the US unit of thermal resistance, ft2 h °F/Btu.
const usPerSI = 5.678263

// heatOr is the value as a number, or its default where the row gives none.
func heatOr(t *testing.T, in inputs, key string, or float64) float64 {
	t.Helper()
	if !in.has(key) {
		return or
	}
	return in.num(t, key)
}

func cementOf(t *testing.T, in inputs) concrete.Cement {
	t.Helper()
	require.Equal(t, "reference", in.word("cement"))
	return concrete.ReferenceCement()
}

func hydrationOf(t *testing.T, in inputs) concrete.Hydration {
	t.Helper()
	h, err := concrete.Binder{
		Cement:      cementOf(t, in),
		WaterBinder: in.num(t, "wcm"),
		Ash:         heatOr(t, in, "ash", 0),
		AshLime:     heatOr(t, in, "lime", 0),
		Slag:        heatOr(t, in, "slag", 0),
	}.Hydration()
	require.NoError(t, err)
	return h
}

func heatMixOf(t *testing.T, in inputs) concrete.HeatMix {
	t.Helper()
	m := concrete.HeatMix{
		Hydration: hydrationOf(t, in), Cementitious: in.num(t, "content"),
		Density: in.num(t, "rho"), SpecificHeat: in.num(t, "c"),
		Conductivity: heatOr(t, in, "k", concrete.UsualConductivity),
	}
	return m
}

func refAdiabaticRise(t *testing.T, in inputs) map[string]float64 {
	m := heatMixOf(t, in)
	full, err := m.FullRise()
	require.NoError(t, err)
	out := map[string]float64{"full": full, "ultimate": full * m.Hydration.Ultimate}
	if in.has("te") {
		rise, err := m.AdiabaticRise(in.num(t, "te"))
		require.NoError(t, err)
		out["rise"] = rise
		out["per-100kg"] = rise / m.Cementitious * 100
	}
	return out
}

func refAdiabatic(t *testing.T, in inputs) map[string]float64 {
	hours := in.num(t, "t")
	h, err := heatMixOf(t, in).Adiabatic(concrete.HeatRun{Start: in.num(t, "start"), Hours: hours, Every: 0.5})
	require.NoError(t, err)
	last := h.Points[len(h.Points)-1]
	require.InDelta(t, hours, last.Hour, 1e-9)
	return map[string]float64{"temperature": last.Mean}
}

func refHeatConstants(*testing.T, inputs) map[string]float64 {
	return map[string]float64{
		"density": concrete.UsualDensity, "specific-heat": concrete.UsualSpecificHeat,
		"conductivity": concrete.UsualConductivity, "foam": concrete.ConductivityFoam,
		"plywood": concrete.ConductivityPlywood, "film-winter": concrete.FilmWinter,
		"film-summer": concrete.FilmSummer, "film-still": concrete.FilmStill,
		"film-breeze": concrete.FilmBreeze, "form-foam": concrete.FormFoam64,
		"form-plywood": concrete.FormPlywood19, "warning": concrete.DelayedEttringiteWarning,
		"biot-limit": concrete.LumpedBiotLimit, "gas-constant": concrete.GasConstant,
	}
}

// heatFormOf reads the form of a row.
func heatFormOf(t *testing.T, in inputs) float64 {
	t.Helper()
	r, ok := map[string]float64{
		"foam": concrete.FormFoam64, "plywood": concrete.FormPlywood19, "bare": concrete.FormNone,
	}[in.word("form")]
	require.True(t, ok, "form %q", in.word("form"))
	return r
}

// heatSectionOf is a wall with both faces alike.
func heatSectionOf(t *testing.T, in inputs) concrete.Section {
	t.Helper()
	face := concrete.Face{Form: heatFormOf(t, in), Film: in.num(t, "h")}
	if in.has("air") {
		air, err := concrete.ConstantAir(in.num(t, "air"))
		require.NoError(t, err)
		face.Air = air
	}
	m := concrete.HeatMix{
		Hydration: plainHydration(t), Density: in.num(t, "rho"), SpecificHeat: in.num(t, "c"),
		Conductivity: heatOr(t, in, "k", concrete.UsualConductivity),
	}
	if in.has("content") {
		m = heatMixOf(t, in)
	}
	return concrete.Section{Mix: m, Thickness: in.num(t, "wall"), Inner: face, Outer: face}
}

func plainHydration(t require.TestingT) concrete.Hydration {
	h, err := concrete.Binder{Cement: concrete.ReferenceCement(), WaterBinder: 0.50}.Hydration()
	require.NoError(t, err)
	return h
}

func refSection(t *testing.T, in inputs) map[string]float64 {
	s := heatSectionOf(t, in)
	u, err := s.Outer.U()
	require.NoError(t, err)
	tc, err := s.TimeConstant()
	require.NoError(t, err)
	biot, err := s.Biot()
	require.NoError(t, err)
	out := map[string]float64{"resistance": 1 / u, "u": u, "time-constant": tc, "biot": biot}
	if in.has("q") {
		limit, err := s.SteadyLimit(in.num(t, "ta"), in.num(t, "q"))
		require.NoError(t, err)
		out["limit"] = limit
	}
	return out
}

func refCooling(t *testing.T, in inputs) map[string]float64 {
	s := heatSectionOf(t, in)
	tc, err := s.TimeConstant()
	require.NoError(t, err)
	start, ta := in.num(t, "start"), in.num(t, "ta")
	out := map[string]float64{}
	if in.has("t") {
		out["temperature"], err = concrete.Cooled(start, ta, tc, in.num(t, "t"))
		require.NoError(t, err)
	}
	if in.has("to") {
		out["hours"], err = concrete.CoolingHours(start, ta, tc, in.num(t, "to"))
		require.NoError(t, err)
	}
	return out
}

func refLumped(t *testing.T, in inputs) map[string]float64 {
	every := heatOr(t, in, "every", 0.25)
	run := concrete.HeatRun{Start: in.num(t, "start"), Hours: in.num(t, "t"), Every: every}
	h, err := concrete.LumpedAtAnyBiot(heatSectionOf(t, in), run)
	require.NoError(t, err)
	last := h.Points[len(h.Points)-1]
	require.InDelta(t, run.Hours, last.Hour, 1e-9)
	peak := h.Peak(concrete.HeatMean)
	out := map[string]float64{
		"temperature": last.Mean, "age": last.Age, "peak": peak.Mean, "peak-hour": peak.Hour,
	}
	if in.has("through") {
		level := in.num(t, "through")
		hour, fell := h.FallsThrough(concrete.HeatMean, level)
		require.True(t, fell)
		out["falls"] = hour
		at := h.Points[int(hour/every+0.5)]
		out["age-at-fall"], out["degree-at-fall"] = at.Age, at.Degree
		if hour, rose := h.RisesThrough(concrete.HeatMean, level); rose {
			out["rises"] = hour
		}
	}
	return out
}
