package concrete_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/optimize"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
)

var testAges = []float64{0.5, 1, 1, 2, 3, 3, 7, 7, 14, 28, 28}

func specimensOf(t require.TestingT, c concrete.StrengthCurve, ages []float64, scatter func() float64) []concrete.Specimen {
	var out []concrete.Specimen
	for _, a := range ages {
		mpa, err := c.MPa(a)
		require.NoError(t, err)
		out = append(out, concrete.Specimen{AgeDays: a, MPa: max(0.1, mpa+scatter())})
	}
	return out
}

func none() float64 { return 0 }

func TestFitReturnsTheCurveItCameFrom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := concrete.Hyperbolic{
			SuMPa: rapid.Float64Range(20, 80).Draw(t, "su"), KPerDay: rapid.Float64Range(0.1, 1.5).Draw(t, "k"),
			T0Days: rapid.Float64Range(0.05, 0.4).Draw(t, "t0"),
		}
		got, fit, err := concrete.FitHyperbolic(specimensOf(t, h, testAges, none))
		require.NoError(t, err)
		require.InEpsilon(t, h.SuMPa, got.SuMPa, 1e-3)
		require.InEpsilon(t, h.KPerDay, got.KPerDay, 1e-3)
		require.InDelta(t, h.T0Days, got.T0Days, 1e-3)
		require.InDelta(t, 0, fit.ResidualMPa, 1e-3)

		e := concrete.Exponential{
			SuMPa: h.SuMPa, TauDays: rapid.Float64Range(0.7, 4).Draw(t, "tau"),
			Alpha: rapid.Float64Range(0.6, 1.2).Draw(t, "a"),
		}
		back, _, err := concrete.FitExponential(specimensOf(t, e, testAges, none))
		require.NoError(t, err)
		require.InEpsilon(t, e.SuMPa, back.SuMPa, 1e-3)
		require.InEpsilon(t, e.TauDays, back.TauDays, 1e-3)
		require.InEpsilon(t, e.Alpha, back.Alpha, 1e-3)
	})
}

// squares is the sum that a fit has made least.
func squares(t *testing.T, c concrete.StrengthCurve, data []concrete.Specimen) float64 {
	t.Helper()
	sum := 0.0
	for _, s := range data {
		mpa, err := c.MPa(s.AgeDays)
		require.NoError(t, err)
		sum += (mpa - s.MPa) * (mpa - s.MPa)
	}
	return sum
}

// A derivative-free search from elsewhere finds nothing better.
func TestFitIsTheLeastSumOfSquares(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 11))
	truth := concrete.Hyperbolic{SuMPa: 42, KPerDay: 0.4, T0Days: 0.25}
	for range 20 {
		data := specimensOf(t, truth, testAges, func() float64 { return random.NormFloat64() })
		h, _, err := concrete.FitHyperbolic(data)
		require.NoError(t, err)
		least := squares(t, h, data)
		result, err := optimize.Minimize(optimize.Problem{Func: func(x []float64) float64 {
			c := concrete.Hyperbolic{SuMPa: x[0], KPerDay: x[1], T0Days: x[2]}
			if x[2] < 0 || x[2] > 0.5 || x[1] < 0.01 || x[0] < 1 || x[0] > 200 {
				return math.Inf(1)
			}
			return squares(t, c, data)
		}}, []float64{30, 0.5, 0.1}, nil, &optimize.NelderMead{})
		require.NoError(t, err)
		require.LessOrEqual(t, least, result.F+1e-6)

		e, _, err := concrete.FitExponential(data)
		require.NoError(t, err)
		least = squares(t, e, data)
		result, err = optimize.Minimize(optimize.Problem{Func: func(x []float64) float64 {
			if x[0] < 1 || x[0] > 200 || x[1] < 0.05 || x[2] < 0.1 || x[2] > 5 {
				return math.Inf(1)
			}
			return squares(t, concrete.Exponential{SuMPa: x[0], TauDays: x[1], Alpha: x[2]}, data)
		}}, []float64{30, 2, 1}, nil, &optimize.NelderMead{})
		require.NoError(t, err)
		require.LessOrEqual(t, least, result.F+1e-6)
	}
}

// Of further specimens, as many lie within the band as it says.
func TestBandHoldsItsShare(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	truth := concrete.Hyperbolic{SuMPa: 42, KPerDay: 0.4, T0Days: 0.25}
	scatter := func() float64 { return 1.2 * random.NormFloat64() }
	const trials = 600
	within, belowLow := 0, 0
	for range trials {
		_, fit, err := concrete.FitHyperbolic(specimensOf(t, truth, testAges, scatter))
		require.NoError(t, err)
		low, _, high, err := fit.Band(2, 0.90)
		require.NoError(t, err)
		mpa, err := truth.MPa(2)
		require.NoError(t, err)
		mpa += scatter()
		if mpa < low {
			belowLow++
		}
		if mpa >= low && mpa <= high {
			within++
		}
	}
	require.InDelta(t, 0.90, float64(within)/trials, 0.04)
	require.InDelta(t, 0.05, float64(belowLow)/trials, 0.03)
}

func TestBandAndItsInverse(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	truth := concrete.Exponential{SuMPa: 45, TauDays: 1.5, Alpha: 0.8}
	curve, fit, err := concrete.FitExponential(specimensOf(t, truth, testAges, random.NormFloat64))
	require.NoError(t, err)
	require.Equal(t, len(testAges), fit.Specimens)
	low, mid, high, err := fit.Band(2, 0.9)
	require.NoError(t, err)
	want, err := curve.MPa(2)
	require.NoError(t, err)
	require.InDelta(t, want, mid, 1e-9)
	require.Less(t, low, mid)
	require.InDelta(t, mid-low, high-mid, 1e-9)
	wideLow, _, _, err := fit.Band(2, 0.99)
	require.NoError(t, err)
	require.Less(t, wideLow, low)

	onCurve, err := curve.AgeDays(20)
	require.NoError(t, err)
	onBand, ok, err := fit.LowAgeDays(20, 0.9)
	require.NoError(t, err)
	require.True(t, ok)
	require.Greater(t, onBand, onCurve, "the band is later than the curve")
	low, _, _, err = fit.Band(onBand, 0.9)
	require.NoError(t, err)
	require.GreaterOrEqual(t, low, 20.0)
	_, ok, err = fit.LowAgeDays(60, 0.9)
	require.NoError(t, err)
	require.False(t, ok)
	at, ok, err := fit.LowAgeDays(0.1, 0.5)
	require.NoError(t, err)
	require.True(t, ok)
	require.InDelta(t, fit.FirstDays, at, 0)
}

func TestFitRefuses(t *testing.T) {
	bad := map[string][]concrete.Specimen{
		"3 specimens: at least 4":                 {{1, 5}, {2, 9}, {3, 12}},
		"2 different ages: at least 3":            {{1, 5}, {1, 6}, {3, 12}, {3, 13}},
		"specimen=1: age of the specimen 0 d":     {{1, 5}, {0, 9}, {3, 12}, {7, 20}},
		"specimen=3: strength of the specimen -1": {{1, 5}, {2, 9}, {3, 12}, {7, -1}},
	}
	for want, data := range bad {
		_, _, err := concrete.FitHyperbolic(data)
		require.ErrorContains(t, err, "fit hyperbolic curve: "+want)
		_, _, err = concrete.FitExponential(data)
		require.ErrorContains(t, err, "fit exponential curve: "+want)
	}
	falling := []concrete.Specimen{{1, 40}, {3, 30}, {7, 20}, {28, 5}}
	_, _, err := concrete.FitExponential(falling)
	require.Error(t, err, "strengths that fall with age are no strength curve")
	_, _, err = concrete.FitHyperbolic(falling)
	require.Error(t, err, "strengths that fall with age are no strength curve")
	rising := []concrete.Specimen{{1, 5}, {3, 10}, {7, 30}, {28, 120}}
	_, _, err = concrete.FitHyperbolic(rising)
	require.Error(t, err, "strengths that grow without end have no limiting strength")
	_, fit, err := concrete.FitHyperbolic([]concrete.Specimen{{1, 8.7}, {2, 15.5}, {3, 19.8}, {7, 28.1}, {28, 36.3}})
	require.NoError(t, err)
	for _, age := range []float64{0.9, 28.1} {
		_, _, _, err = fit.Band(age, 0.9)
		require.ErrorContains(t, err, "allowed 1 to 28 d")
	}
	_, _, _, err = fit.Band(2, 1)
	require.ErrorContains(t, err, "confidence 1")
	_, _, err = fit.LowAgeDays(0, 0.9)
	require.Error(t, err)
	_, _, err = fit.LowAgeDays(10, 0.2)
	require.Error(t, err)
}

func TestNoFitHasNoBand(t *testing.T) {
	_, _, _, err := concrete.StrengthFit{}.Band(0, 0.9)
	require.ErrorContains(t, err, "no fit")
	_, _, err = concrete.StrengthFit{}.LowAgeDays(5, 0.9)
	require.ErrorContains(t, err, "no fit")
}
