package concrete_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
)

func plainBinder() concrete.Binder {
	return concrete.Binder{Cement: concrete.ReferenceCement(), WaterBinder: 0.50}
}

func plainMix(t require.TestingT, cementitious float64) concrete.HeatMix {
	m, err := concrete.NewHeatMix(plainBinder(), cementitious)
	require.NoError(t, err)
	return m
}

func TestBinderOutsideTheModelIsRefused(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*concrete.Binder)
	}{
		{"water to binder ratio", func(b *concrete.Binder) { b.WaterBinder = 0.319 }},
		{"water to binder ratio", func(b *concrete.Binder) { b.WaterBinder = 0.701 }},
		{"water to binder ratio", func(b *concrete.Binder) { b.WaterBinder = math.NaN() }},
		{"fly ash", func(b *concrete.Binder) { b.Ash = 0.551 }},
		{"fly ash", func(b *concrete.Binder) { b.Ash = -0.01 }},
		{"CaO in fly ash", func(b *concrete.Binder) { b.Ash, b.AshLime = 0.2, 0.41 }},
		{"slag", func(b *concrete.Binder) { b.Slag = 0.501 }},
		{"fly ash and slag", func(b *concrete.Binder) { b.Ash, b.Slag = 0.3, 0.3 }},
		{"C3S", func(b *concrete.Binder) { b.Cement.C3S = 54 }},
		{"C3A", func(b *concrete.Binder) { b.Cement.C3A = 0 }},
		{"C4AF", func(b *concrete.Binder) { b.Cement.C4AF = 0 }},
		{"SO3", func(b *concrete.Binder) { b.Cement.SO3 = 0 }},
		{"Blaine fineness", func(b *concrete.Binder) { b.Cement.Blaine = math.Inf(1) }},
		{"sum of cement compounds", func(b *concrete.Binder) { b.Cement.C3S, b.Cement.C2S = 0.75, 0.30 }},
	} {
		b := plainBinder()
		c.change(&b)
		_, err := b.Hydration()
		var out concrete.RangeError
		require.ErrorAs(t, err, &out, "%s: %+v", c.name, b)
		require.Equal(t, c.name, out.Name)
		_, err = concrete.NewHeatMix(b, 350)
		require.ErrorAs(t, err, &out, c.name)
	}
}

func TestBinderAtItsLimitsIsAllowed(t *testing.T) {
	for _, wb := range []float64{0.32, 0.70} {
		b := plainBinder()
		b.WaterBinder = wb
		_, err := b.Hydration()
		require.NoError(t, err, "w/cm %v", wb)
	}
	b := plainBinder()
	b.Ash = 0.55
	h, err := b.Hydration()
	require.NoError(t, err)
	require.Equal(t, 1.0, h.Ultimate, "0.743 + 0.275 is held at 1")
	b.Ash, b.Slag = 0, 0.50
	_, err = b.Hydration()
	require.NoError(t, err)
}

func TestHydrationRefusesBadInput(t *testing.T) {
	h := plainHydration(t)
	refused := func(name string, err error) {
		var out concrete.RangeError
		require.ErrorAs(t, err, &out)
		require.Equal(t, name, out.Name)
	}
	_, err := h.Degree(-1)
	refused("hydration age", err)
	_, err = h.DegreeRate(math.NaN())
	refused("hydration age", err)
	_, err = h.AgeFactor(-41)
	refused("concrete temperature", err)
	_, err = h.AgeAtDegree(0)
	refused("degree of hydration", err)
	_, err = h.AgeAtDegree(h.Ultimate)
	refused("degree of hydration", err)
	_, err = h.HeatRate(1, 20, -1)
	refused("cementitious content", err)
	_, err = plainMix(t, 350).AdiabaticRise(-1)
	refused("hydration age", err)
	_, err = concrete.NewHeatMix(plainBinder(), 801)
	refused("cementitious content", err)
}

func TestHydrationBeginsAtNothing(t *testing.T) {
	h := plainHydration(t)
	for _, te := range []float64{0, 1e-300, 1e-9} {
		alpha, err := h.Degree(te)
		require.NoError(t, err)
		require.Zero(t, alpha, "te %v", te)
		rate, err := h.DegreeRate(te)
		require.NoError(t, err)
		require.Zero(t, rate, "te %v", te)
	}
}

// drawBinder draws a binder inside the model's range.
func drawBinder(t *rapid.T) concrete.Binder {
	b := plainBinder()
	b.WaterBinder = rapid.Float64Range(0.32, 0.70).Draw(t, "w/cm")
	b.Ash = rapid.Float64Range(0, 0.30).Draw(t, "ash")
	b.AshLime = rapid.Float64Range(0, 0.30).Draw(t, "lime")
	b.Slag = rapid.Float64Range(0, 0.25).Draw(t, "slag")
	return b
}

func TestDegreeOfHydration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h, err := drawBinder(t).Hydration()
		require.NoError(t, err)
		te := rapid.Float64Range(1, 2000).Draw(t, "te")
		alpha, err := h.Degree(te)
		require.NoError(t, err)
		later, err := h.Degree(te * 1.01)
		require.NoError(t, err)
		require.Greater(t, later, alpha, "never falls")
		require.Less(t, later, h.Ultimate, "never reaches the ultimate degree")

		back, err := h.AgeAtDegree(alpha)
		require.NoError(t, err)
		require.InEpsilon(t, te, back, 1e-9, "AgeAtDegree is the inverse")

		rate, err := h.DegreeRate(te)
		require.NoError(t, err)
		slope := fd.Derivative(func(x float64) float64 {
			a, err := h.Degree(x)
			require.NoError(t, err)
			return a
		}, te, &fd.Settings{Formula: fd.Central, Step: te * 1e-5})
		require.InEpsilon(t, slope, rate, 1e-6, "DegreeRate is the derivative")
	})
}

func TestWarmerConcreteAgesFaster(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h, err := drawBinder(t).Hydration()
		require.NoError(t, err)
		at := rapid.Float64Range(-40, 109).Draw(t, "t")
		cool, err := h.AgeFactor(at)
		require.NoError(t, err)
		warm, err := h.AgeFactor(at + 1)
		require.NoError(t, err)
		require.Greater(t, warm, cool)
		require.Equal(t, at > concrete.HydrationReference, cool > 1, "factor %v at %v °C", cool, at)
	})
}

// The heat set free is all accounted for: q over the clock, at any constant
// temperature, comes to Cc Hu alpha.
func TestHeatRateIntegratesToTheHeat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h, err := drawBinder(t).Hydration()
		require.NoError(t, err)
		at := rapid.Float64Range(0, 60).Draw(t, "t")
		hours := rapid.Float64Range(2, 200).Draw(t, "hours")
		content := rapid.Float64Range(150, 500).Draw(t, "content")
		factor, err := h.AgeFactor(at)
		require.NoError(t, err)
		heat := quad.Fixed(func(hour float64) float64 {
			q, err := h.HeatRate(hour*factor, at, content)
			require.NoError(t, err)
			return q * 3600
		}, 0, hours, 400, nil, 0)
		alpha, err := h.Degree(hours * factor)
		require.NoError(t, err)
		require.InEpsilon(t, content*h.Heat*1000*alpha, heat, 1e-4)
	})
}

// The adiabatic curve against an independent way to it: since T is known at
// each age, the clock is the integral of d te/factor, with no equation to solve.
func TestAdiabaticAgainstQuadrature(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, err := concrete.NewHeatMix(drawBinder(t), rapid.Float64Range(200, 450).Draw(t, "content"))
		require.NoError(t, err)
		run := concrete.HeatRun{Start: rapid.Float64Range(5, 30).Draw(t, "start"), Hours: 96, Every: 24}
		h, err := m.Adiabatic(run)
		require.NoError(t, err)
		for _, p := range h.Points[1:] {
			hours := quad.Fixed(func(te float64) float64 {
				rise, err := m.AdiabaticRise(te)
				require.NoError(t, err)
				factor, err := m.Hydration.AgeFactor(run.Start + rise)
				require.NoError(t, err)
				return 1 / factor
			}, 0, p.Age, 500, nil, 0)
			require.InDelta(t, p.Hour, hours, 0.01, "hours to age %v h", p.Age)
		}
	})
}

func TestNoBinderNoRise(t *testing.T) {
	m := plainMix(t, 0)
	rise, err := m.AdiabaticRise(1000)
	require.NoError(t, err)
	require.Zero(t, rise)
	h, err := m.Adiabatic(concrete.HeatRun{Start: 12, Hours: 100, Every: 10})
	require.NoError(t, err)
	for _, p := range h.Points {
		require.Equal(t, 12.0, p.Mean)
	}
}
