package concrete_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
)

// genCurve draws a strength curve of any kind.
func genCurve(t *rapid.T) concrete.StrengthCurve {
	f28 := rapid.Float64Range(15, 80).Draw(t, "f28")
	curves := []concrete.StrengthCurve{
		concrete.EN1992{FckMPa: f28, Class: rapid.SampledFrom([]concrete.CementClass{
			concrete.ClassR, concrete.ClassN, concrete.ClassS}).Draw(t, "class")},
		concrete.ACI209TypeIMoist(f28), concrete.ACI209TypeIIIMoist(f28),
		concrete.ACI209TypeISteam(f28), concrete.ACI209TypeIIISteam(f28),
		concrete.Hyperbolic{SuMPa: f28, KPerDay: rapid.Float64Range(0.05, 5).Draw(t, "k"), T0Days: rapid.Float64Range(0, 1).Draw(t, "t0")},
		concrete.Exponential{SuMPa: f28, TauDays: rapid.Float64Range(0.2, 10).Draw(t, "tau"), Alpha: rapid.Float64Range(0.4, 2).Draw(t, "a")},
	}
	return rapid.SampledFrom(curves).Draw(t, "curve")
}

func TestStrengthInverseInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := genCurve(t)
		age := rapid.Float64Range(0.5, 365).Draw(t, "age")
		mpa, err := c.MPa(age)
		require.NoError(t, err)
		if mpa < 0.1 {
			return
		}
		back, err := c.AgeDays(mpa)
		require.NoError(t, err)
		again, err := c.MPa(back)
		require.NoError(t, err)
		require.InDelta(t, mpa, again, 1e-9*mpa)
		require.InDelta(t, age, back, 1e-6*age)
	})
}

func TestStrengthNeverFallsWithAge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := genCurve(t)
		a := rapid.Float64Range(0.01, 3650).Draw(t, "a")
		b := rapid.Float64Range(0.01, 3650).Draw(t, "b")
		young, err := c.MPa(min(a, b))
		require.NoError(t, err)
		old, err := c.MPa(max(a, b))
		require.NoError(t, err)
		require.LessOrEqual(t, young, old)
		require.GreaterOrEqual(t, young, 0.0)
	})
}

func TestStrengthRefuses(t *testing.T) {
	bad := []struct {
		c    concrete.StrengthCurve
		want string
	}{
		{concrete.EN1992{FckMPa: 7, Class: concrete.ClassN}, "characteristic strength fck 7 MPa: allowed 8 to 100 MPa"},
		{concrete.EN1992{FckMPa: 30}, "cement class 0: unknown"},
		{concrete.ACI209{F28MPa: 0, A: 4, B: 0.85}, "strength at 28 d 0 MPa"},
		{concrete.ACI209{F28MPa: 30, A: 0, B: 0.85}, "ACI 209 constant a"},
		{concrete.ACI209{F28MPa: 30, A: 4, B: 2}, "ACI 209 constant b"},
		{concrete.Hyperbolic{SuMPa: 300, KPerDay: 1}, "limiting strength Su 300 MPa"},
		{concrete.Hyperbolic{SuMPa: 30}, "rate k 0 1/d"},
		{concrete.Hyperbolic{SuMPa: 30, KPerDay: 1, T0Days: -1}, "age t0 -1 d"},
		{concrete.Exponential{SuMPa: math.NaN(), TauDays: 1, Alpha: 1}, "limiting strength Su NaN MPa"},
		{concrete.Exponential{SuMPa: 30, TauDays: 0, Alpha: 1}, "time constant tau"},
		{concrete.Exponential{SuMPa: 30, TauDays: 1, Alpha: 9}, "exponent a"},
	}
	for _, b := range bad {
		_, err := b.c.MPa(2)
		require.ErrorContains(t, err, b.want)
		_, err = b.c.AgeDays(10)
		require.ErrorContains(t, err, b.want)
	}
	good := []concrete.StrengthCurve{
		concrete.EN1992{FckMPa: 25, Class: concrete.ClassN}, concrete.ACI209TypeIMoist(30),
		concrete.Hyperbolic{SuMPa: 40, KPerDay: 0.35, T0Days: 0.2}, concrete.Exponential{SuMPa: 40, TauDays: 1.5, Alpha: 0.8},
	}
	for _, c := range good {
		_, err := c.MPa(0)
		require.ErrorContains(t, err, "age 0 d: allowed 0.01 to 36525 d")
		for _, mpa := range []float64{0, -1, 60, 199, math.NaN()} {
			_, err = c.AgeDays(mpa)
			require.ErrorContains(t, err, "strength", "%T at %g MPa", c, mpa)
		}
	}
}

func TestEN1992Covers(t *testing.T) {
	for age, want := range map[float64]bool{2.9: false, 3: true, 28: true, 28.1: false} {
		require.Equal(t, want, concrete.EN1992Covers(age), age)
	}
}

func TestHyperbolicGivesNothingBeforeT0(t *testing.T) {
	mpa, err := concrete.Hyperbolic{SuMPa: 40, KPerDay: 0.35, T0Days: 0.2}.MPa(0.2)
	require.NoError(t, err)
	require.Zero(t, mpa)
}

func TestPlowman(t *testing.T) {
	for s28, a := range map[float64]float64{16.9: 10, 17: 21, 34.9: 21, 35: 32, 52: 42, 69: 42} {
		p, err := concrete.NewPlowman(s28)
		require.NoError(t, err)
		require.InDelta(t, a, p.A, 0, "class of %g MPa", s28)
	}
	for _, s28 := range []float64{4, 70, math.NaN()} {
		_, err := concrete.NewPlowman(s28)
		require.ErrorContains(t, err, "28-day cube strength")
	}
	p, err := concrete.NewPlowman(40)
	require.NoError(t, err)
	early, err := p.MPa(100)
	require.NoError(t, err)
	require.Zero(t, early, "the logarithm goes negative at the start")
	_, err = p.MPa(20001)
	require.ErrorContains(t, err, "maturity 20001 °C·h")
	_, err = p.MaturityCh(60)
	require.ErrorContains(t, err, "strength 60 MPa")
	rapid.Check(t, func(t *rapid.T) {
		mpa := rapid.Float64Range(0.5, 39).Draw(t, "mpa")
		m, err := p.MaturityCh(mpa)
		require.NoError(t, err)
		back, err := p.MPa(m)
		require.NoError(t, err)
		require.InDelta(t, mpa, back, 1e-9)
	})
}

func TestWhenReachedIsNeverSoonerWhenColder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, m, curve := genSeries(t), genMaturity(t), genCurve(t)
		colder := slices.Clone(s)
		by := rapid.Float64Range(0, 25).Draw(t, "colder by")
		for i := range colder {
			colder[i].TempC = max(-50, colder[i].TempC-by)
		}
		warm, err := s.CountedAge(m)
		require.NoError(t, err)
		cold, err := colder.CountedAge(m)
		require.NoError(t, err)
		mpa := rapid.Float64Range(0.5, 10).Draw(t, "mpa")
		sooner, ok, err := concrete.WhenReached(curve, warm, mpa)
		require.NoError(t, err)
		later, okCold, err := concrete.WhenReached(curve, cold, mpa)
		require.NoError(t, err)
		if okCold {
			require.True(t, ok)
			require.GreaterOrEqual(t, later, sooner-1e-9)
		}
	})
}

func TestWhenReachedAtConstantTemperature(t *testing.T) {
	// At a constant 10 °C every hour counts 0.5472 h, so that the age at which
	// the curve gives the strength is stretched by as much.
	m := concrete.DefaultMaturity()
	age, err := concrete.Series{{0, 10}, {2000, 10}}.CountedAge(m)
	require.NoError(t, err)
	curve := concrete.EN1992{FckMPa: 25, Class: concrete.ClassN}
	h, ok, err := concrete.WhenReached(curve, age, 16.6)
	require.NoError(t, err)
	require.True(t, ok)
	days, err := curve.AgeDays(16.6)
	require.NoError(t, err)
	f, err := m.Factor(10)
	require.NoError(t, err)
	require.InDelta(t, 24*days/f, h, 1e-9)
	require.InDelta(t, 87.7, h, 0.3)
	_, _, err = concrete.WhenReached(curve, age, 100)
	require.ErrorContains(t, err, "moment of 100 MPa: strength 100 MPa")
	_, ok, err = concrete.WhenReached(curve, age, 37)
	require.NoError(t, err)
	require.False(t, ok)
}
