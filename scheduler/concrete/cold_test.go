package concrete_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
)

// A difference of 10 °C is one of 18 °F, not 50 °F.
func TestDifferenceIsNotATemperature(t *testing.T) {
	require.InDelta(t, 18, concrete.Difference(10).Fahrenheit(), 1e-12)
	require.InDelta(t, 10, concrete.FahrenheitDifference(18).Kelvin(), 1e-12)
	require.Zero(t, concrete.Difference(0).Fahrenheit())
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.Float64Range(-100, 100).Draw(t, "k")
		require.InDelta(t, k, concrete.FahrenheitDifference(concrete.Difference(k).Fahrenheit()).Kelvin(), 1e-12)
		// It is the difference of the two temperatures converted.
		c := rapid.Float64Range(-50, 80).Draw(t, "c")
		f := func(c float64) float64 { return c*1.8 + 32 }
		require.InDelta(t, f(c+k)-f(c), concrete.Difference(k).Fahrenheit(), 1e-9)
	})
}

func TestSectionBoundaries(t *testing.T) {
	for m, want := range map[float64]float64{
		0.05: 13, 0.2999: 13, 0.3: 10, 0.9: 10, 0.9001: 7, 1.8: 7, 1.8001: 5, 10: 5,
	} {
		l, err := concrete.LimitsForSection(m)
		require.NoError(t, err)
		require.InDelta(t, want, l.PlacedC, 0, "%g m", m)
	}
	for _, m := range []float64{0.049, 10.1, math.NaN()} {
		_, err := concrete.LimitsForSection(m)
		require.ErrorContains(t, err, "least dimension of the section")
	}
}

func TestThickerOrMilderNeverWantsWarmerConcrete(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0.05, 5).Draw(t, "a")
		b := rapid.Float64Range(0.05, 5).Draw(t, "b")
		thin, err := concrete.LimitsForSection(min(a, b))
		require.NoError(t, err)
		thick, err := concrete.LimitsForSection(max(a, b))
		require.NoError(t, err)
		require.GreaterOrEqual(t, thin.PlacedC, thick.PlacedC)
		require.GreaterOrEqual(t, thin.MaxDrop24h, thick.MaxDrop24h)
		x := rapid.Float64Range(-40, 10).Draw(t, "x")
		y := rapid.Float64Range(-40, 10).Draw(t, "y")
		frost, err := thin.AsMixedC(min(x, y))
		require.NoError(t, err)
		mild, err := thin.AsMixedC(max(x, y))
		require.NoError(t, err)
		require.GreaterOrEqual(t, frost, mild)
		require.Greater(t, mild, thin.PlacedC)
	})
}

func TestAsMixedBoundaries(t *testing.T) {
	l, err := concrete.LimitsForSection(0.2)
	require.NoError(t, err)
	for air, want := range map[float64]float64{-0.9: 16, -1: 18, -18: 18, -18.1: 21} {
		c, err := l.AsMixedC(air)
		require.NoError(t, err)
		require.InDelta(t, want, c, 0, "air %g °C", air)
	}
	_, err = l.AsMixedC(math.Inf(-1))
	require.ErrorContains(t, err, "least temperature as mixed: air temperature")
}

func TestJudgePlaced(t *testing.T) {
	l, err := concrete.LimitsForSection(0.2)
	require.NoError(t, err)
	for c, want := range map[float64]concrete.PlacedVerdict{
		12.9: concrete.PlacedTooCold, 13: concrete.PlacedOK, 24: concrete.PlacedOK, 24.1: concrete.PlacedTooWarm,
	} {
		v, err := l.JudgePlaced(c)
		require.NoError(t, err)
		require.Equal(t, want, v, "%g °C", c)
	}
	_, err = l.JudgePlaced(99)
	require.ErrorContains(t, err, "placed temperature: concrete temperature 99 °C")
}

func TestDropOnUncovering(t *testing.T) {
	l, err := concrete.LimitsForSection(0.2)
	require.NoError(t, err)
	drop, tooMuch, err := l.DropOnUncovering(23, -5)
	require.NoError(t, err)
	require.InDelta(t, 28, drop.Kelvin(), 0)
	require.False(t, tooMuch, "28 K itself is allowed")
	drop, tooMuch, err = l.DropOnUncovering(5, 20)
	require.NoError(t, err)
	require.Zero(t, drop)
	require.False(t, tooMuch)
	_, _, err = l.DropOnUncovering(99, 0)
	require.ErrorContains(t, err, "drop on uncovering: concrete temperature")
	_, _, err = l.DropOnUncovering(20, -61)
	require.ErrorContains(t, err, "drop on uncovering: air temperature")
}

func TestProtectionRefuses(t *testing.T) {
	_, ok, err := concrete.ProtectionHours(concrete.FullyLoaded, false)
	require.NoError(t, err)
	require.False(t, ok, "fully loaded: strength decides")
	_, _, err = concrete.ProtectionHours(0, false)
	require.ErrorContains(t, err, "service 0 is unknown")
	_, _, err = concrete.OlderProtectionHours(9.9)
	require.ErrorContains(t, err, "older protection rule")
	_, err = concrete.ColdWeather(math.NaN())
	require.ErrorContains(t, err, "cold weather: air temperature")
	for _, d := range []concrete.DailyAir{{MeanC: 99}, {HoursAbove10: 25}} {
		_, err = concrete.ColdWeather1988([]concrete.DailyAir{d})
		require.ErrorContains(t, err, "cold weather of 1988 day=0")
	}
}

func TestColdWeather1988NeedsSuccessiveDays(t *testing.T) {
	cold, mild := concrete.DailyAir{MeanC: 2}, concrete.DailyAir{MeanC: 6}
	yes, err := concrete.ColdWeather1988([]concrete.DailyAir{cold, cold, cold, mild, cold, cold, cold})
	require.NoError(t, err)
	require.False(t, yes)
	yes, err = concrete.ColdWeather1988([]concrete.DailyAir{mild, cold, cold, cold, cold})
	require.NoError(t, err)
	require.True(t, yes)
}

func TestFirstFreeze(t *testing.T) {
	m, curve := concrete.DefaultMaturity(), concrete.Hyperbolic{SuMPa: 40, KPerDay: 0.35, T0Days: 0.2}
	early := concrete.Series{{0, 12}, {6, 0}, {12, -4}, {100, 20}}
	f, err := concrete.FirstFreeze(early, m, curve, concrete.FirstFreezeStrengthMPa)
	require.NoError(t, err)
	require.True(t, f.Frozen)
	require.True(t, f.Harmful)
	require.InDelta(t, 6, f.AtHours, 1e-12)
	require.Zero(t, f.MPa)

	late := concrete.Series{{0, 20}, {72, 20}, {84, -4}}
	f, err = concrete.FirstFreeze(late, m, curve, concrete.FirstFreezeStrengthMPa)
	require.NoError(t, err)
	require.True(t, f.Frozen)
	require.False(t, f.Harmful)
	require.InDelta(t, 82, f.AtHours, 1e-9)
	require.Greater(t, f.MPa, 19.0)

	atOnce := concrete.Series{{0, -1}, {5, 10}}
	f, err = concrete.FirstFreeze(atOnce, m, curve, concrete.FirstFreezeStrengthMPa)
	require.NoError(t, err)
	require.True(t, f.Harmful)
	require.Zero(t, f.AtHours)

	never, err := concrete.FirstFreeze(profiles["A"], m, curve, concrete.FirstFreezeStrengthMPa)
	require.NoError(t, err)
	require.Equal(t, concrete.Freeze{}, never)

	_, err = concrete.FirstFreeze(early, m, curve, 0)
	require.ErrorContains(t, err, "strength needed before frost")
	_, err = concrete.FirstFreeze(early, concrete.Maturity{}, curve, 3.5)
	require.ErrorContains(t, err, "first freeze")
	_, err = concrete.FirstFreeze(late, m, concrete.Hyperbolic{}, 3.5)
	require.ErrorContains(t, err, "first freeze")
}

// A colder start never makes a frost harmless.
func TestColderIsNeverSaferFromFrost(t *testing.T) {
	curve := concrete.Hyperbolic{SuMPa: 40, KPerDay: 0.35, T0Days: 0.2}
	rapid.Check(t, func(t *rapid.T) {
		s, m := genSeries(t), genMaturity(t)
		a, err := concrete.FirstFreeze(s, m, curve, 3.5)
		require.NoError(t, err)
		for i := range s {
			s[i].TempC -= rapid.Float64Range(0, 15).Draw(t, "colder by")
		}
		b, err := concrete.FirstFreeze(s, m, curve, 3.5)
		require.NoError(t, err)
		require.True(t, b.Frozen || !a.Frozen)
		require.True(t, b.Harmful || !a.Harmful)
	})
}

// bruteDrop is the largest fall over a fine grid of pairs.
func bruteDrop(s concrete.Series, window float64) float64 {
	at := func(h float64) float64 {
		for i := 1; i < len(s); i++ {
			if h <= s[i].Hours {
				share := (h - s[i-1].Hours) / (s[i].Hours - s[i-1].Hours)
				return s[i-1].TempC + share*(s[i].TempC-s[i-1].TempC)
			}
		}
		return s[len(s)-1].TempC
	}
	start, end := s[0].Hours, s[len(s)-1].Hours
	worst := 0.0
	for i := range 300 {
		from := start + (end-start)*float64(i)/300
		for j := range 60 {
			to := min(end, from+window*float64(j)/59)
			worst = max(worst, at(from)-at(to))
		}
	}
	return worst
}

func TestGreatestDropAgainstAllPairs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := genSeries(t)
		window := rapid.Float64Range(0.5, 48).Draw(t, "window")
		drop, at, err := s.GreatestDrop(window)
		require.NoError(t, err)
		require.GreaterOrEqual(t, drop.Kelvin(), bruteDrop(s, window)-1e-9)
		warmest, coldest := s[0].TempC, s[0].TempC
		for _, r := range s {
			warmest, coldest = max(warmest, r.TempC), min(coldest, r.TempC)
		}
		require.LessOrEqual(t, drop.Kelvin(), warmest-coldest+1e-9)
		require.GreaterOrEqual(t, at, s[0].Hours)
		wider, _, err := s.GreatestDrop(window * 1.5)
		require.NoError(t, err)
		require.GreaterOrEqual(t, wider.Kelvin(), drop.Kelvin()-1e-9)
	})
}

func TestGreatestDrop(t *testing.T) {
	s := concrete.Series{{0.1, 30}, {24.1, 18}, {30, 24}, {31, 19}}
	drop, at, err := s.GreatestDrop(24)
	require.NoError(t, err)
	require.InDelta(t, 12, drop.Kelvin(), 1e-9)
	require.InDelta(t, 24.1, at, 1e-9)
	drop, at, err = s.GreatestDrop(1)
	require.NoError(t, err)
	require.InDelta(t, 5, drop.Kelvin(), 1e-9)
	require.InDelta(t, 31, at, 1e-9)
	rising := concrete.Series{{0, 1}, {1, 2}}
	drop, _, err = rising.GreatestDrop(24)
	require.NoError(t, err)
	require.Zero(t, drop)
	_, _, err = s.GreatestDrop(0)
	require.ErrorContains(t, err, "greatest drop: window")
}
