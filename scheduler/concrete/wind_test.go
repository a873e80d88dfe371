package concrete_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

func TestVelocityPressureGrowsWithTheSquare(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, wind := drawEdition(t), rapid.Float64Range(1, 50).Draw(t, "wind")
		f := concrete.WindFactors{Kz: rapid.Float64Range(0.57, 1.5).Draw(t, "kz"), Kzt: rapid.Float64Range(1, 2).Draw(t, "kzt")}
		q, err := concrete.VelocityPressure(c, wind, f)
		require.NoError(t, err)
		twice, err := concrete.VelocityPressure(c, 2*wind, f)
		require.NoError(t, err)
		require.InEpsilon(t, 4*q, twice, 1e-12)
		other, err := concrete.VelocityPressure(concrete.USConstants, wind, f)
		require.NoError(t, err)
		require.InEpsilon(t, q, other, 0.001, "the editions differ by the rounding of a constant")
	})
}

func TestForceCoefficientFallsWithoutJumps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ratio := rapid.Float64Range(1, 30).Draw(t, "ratio")
		cf, err := concrete.WallForceCoefficient(ratio)
		require.NoError(t, err)
		next, err := concrete.WallForceCoefficient(ratio + 0.001)
		require.NoError(t, err)
		require.LessOrEqual(t, next, cf)
		require.InDelta(t, cf, next, 0.0001)
	})
}

func TestConstructionFactorNeverFalls(t *testing.T) {
	last := 0.0
	for hours := 0.0; hours <= 5*365*24; hours += 12 {
		factor, err := concrete.ConstructionWindFactor(hours)
		require.NoError(t, err)
		require.GreaterOrEqual(t, factor, last)
		last = factor
	}
	require.Equal(t, 0.90, last)
}

// The strength asked for is the one at which the stress allowed is the tension.
func TestRequiredPlainStrengthIsTheInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tension, load := rapid.Float64Range(0, 1.5).Draw(t, "tension"), rapid.Float64Range(1, 1.6).Draw(t, "load")
		strength, err := concrete.RequiredPlainStrength(tension, load)
		require.NoError(t, err)
		if strength > 100 {
			return
		}
		stress, err := concrete.PlainFlexuralStress(concrete.SIConstants, strength)
		require.NoError(t, err)
		require.InDelta(t, load*tension, concrete.PlainConcretePhi*stress, 1e-9)
		us, err := concrete.PlainFlexuralStress(concrete.USConstants, strength)
		require.NoError(t, err)
		require.InDelta(t, stress, us, 0.02*stress+1e-12, "5 sqrt psi is 0.415 sqrt MPa")
	})
}

// The brace's moment about the foot is that of the wind, and its two parts make
// up the force along it.
func TestBraceForceBalances(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		height := rapid.Float64Range(1, 8).Draw(t, "height")
		b := concrete.Brace{
			Spacing: rapid.Float64Range(0.5, 3).Draw(t, "spacing"), Height: rapid.Float64Range(0.5, height).Draw(t, "at"),
			AngleDeg: rapid.Float64Range(0, 75).Draw(t, "angle"),
		}
		moment := rapid.Float64Range(0, 50).Draw(t, "moment")
		f, err := concrete.BraceForceFor(moment, height, b)
		require.NoError(t, err)
		require.InDelta(t, moment*b.Spacing, f.HorizontalKN*b.Height, 1e-9)
		require.InDelta(t, f.AlongKN, math.Hypot(f.HorizontalKN, f.VerticalKN), 1e-9)
		require.GreaterOrEqual(t, f.AlongKN, f.HorizontalKN)
	})
}

func TestMinimumBracing(t *testing.T) {
	last := 0.0
	for height := 0.2; height < 12; height += 0.05 {
		m, err := concrete.MinimumBracingFor(height)
		require.NoError(t, err)
		require.GreaterOrEqual(t, m.MomentKNm, last)
		require.GreaterOrEqual(t, m.MomentKNm, m.PressureKPa*height*height/2)
		require.GreaterOrEqual(t, m.MomentKNm, m.TopKNm*height)
		last = m.MomentKNm
	}
}

func TestRestrictedZone(t *testing.T) {
	z, err := concrete.RestrictedZone(3, 12)
	require.NoError(t, err)
	require.True(t, z.Required)
	require.InDelta(t, 3+1.2192, z.Out, 1e-9)
	require.InDelta(t, 12+2*1.2192, z.Length, 1e-9)
	low, err := concrete.RestrictedZone(2.4, 12)
	require.NoError(t, err)
	require.False(t, low.Required)
}

func TestWindRanges(t *testing.T) {
	_, err := concrete.ConstructionWindFactor(6 * 365 * 24)
	requireRange(t, "construction period", err)
	_, err = concrete.VelocityPressure(concrete.SIConstants, 200, concrete.WindFactors{Kz: 0.85})
	requireRange(t, "wind speed", err)
	_, err = concrete.VelocityPressure(concrete.SIConstants, 20, concrete.WindFactors{})
	requireRange(t, "Kz", err)
	_, err = concrete.VelocityPressure(concrete.SIConstants, 20, concrete.WindFactors{Kz: 0.85, Kzt: 0.5})
	requireRange(t, "Kzt", err)
	_, err = concrete.VelocityPressure("", 20, concrete.WindFactors{Kz: 0.85})
	require.ErrorContains(t, err, "constants")
	_, err = concrete.WallForceCoefficient(0.5)
	requireRange(t, "length over height of wall", err)
	_, err = concrete.WindPressureOnWall(0.4, 0.5, 1.3)
	requireRange(t, "gust factor", err)
	_, err = concrete.WallBaseMoment(0.44, 300)
	requireRange(t, "height of wall", err)
	_, err = concrete.WallTension(2, 150)
	requireRange(t, "wall thickness", err)
	_, err = concrete.ModulusOfRupture(concrete.SIConstants, 3000)
	requireRange(t, "strength", err)
	_, err = concrete.ModulusOfRupture("", 30)
	require.ErrorContains(t, err, "constants")
	_, err = concrete.PlainFlexuralStress(concrete.SIConstants, -1)
	requireRange(t, "strength", err)
	_, err = concrete.RequiredPlainStrength(1, 0.9)
	requireRange(t, "load factor", err)
	_, err = concrete.ResistingMoment(150, 3, 0.15)
	requireRange(t, "unit weight", err)
	_, err = concrete.BraceForceFor(2, 3, concrete.Brace{Spacing: 1.8, Height: 3.5, AngleDeg: 45})
	requireRange(t, "height of brace", err)
	_, err = concrete.BraceForceFor(2, 3, concrete.Brace{Spacing: 1.8, Height: 2, AngleDeg: 90})
	requireRange(t, "angle of brace", err)
	_, err = concrete.MinimumBracingFor(math.NaN())
	requireRange(t, "height of form", err)
	_, err = concrete.RestrictedZone(3, 0)
	requireRange(t, "length of wall", err)
	require.Greater(t, concrete.EvacuateIntermediate, concrete.EvacuateInitial)
	require.InDelta(t, 8.94, 20*unit.MPH, 0.005)
}
