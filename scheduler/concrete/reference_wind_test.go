package concrete_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

func init() {
	reference("construction-factor", refConstructionFactor)
	reference("velocity-pressure", refVelocityPressure)
	reference("force-coefficient", refForceCoefficient)
	reference("wall-wind", refWallWind)
	reference("plain-concrete", refPlainConcrete)
	reference("minimum-bracing", refMinimumBracing)
	reference("restricted-zone", refRestrictedZone)
	reference("wind-stops", refWindStops)
}

func refConstructionFactor(t *testing.T, in inputs) map[string]float64 {
	factor, err := concrete.ConstructionWindFactor(in.quantity(t, "days", unit.Duration))
	require.NoError(t, err)
	return map[string]float64{"factor": factor}
}

// velocityPressureOf is q in kPa, with the factor of a construction period if
// the row gives one.
func velocityPressureOf(t *testing.T, in inputs) float64 {
	wind := in.quantity(t, "wind", unit.Speed)
	if in.has("weeks") {
		factor, err := concrete.ConstructionWindFactor(in.num(t, "weeks") * 7 * 24)
		require.NoError(t, err)
		wind *= factor
	}
	factors := concrete.WindFactors{Kz: in.num(t, "kz")}
	if in.has("kd") {
		factors.Kd = in.num(t, "kd")
	}
	q, err := concrete.VelocityPressure(editionOf(t, in), wind, factors)
	require.NoError(t, err)
	return q
}

func refVelocityPressure(t *testing.T, in inputs) map[string]float64 {
	q := velocityPressureOf(t, in)
	psf, _ := unit.In(unit.Pressure, q, unit.US)
	return map[string]float64{"pa": q * 1000, "psf": psf}
}

func refForceCoefficient(t *testing.T, in inputs) map[string]float64 {
	cf, err := concrete.WallForceCoefficient(in.num(t, "ratio"))
	require.NoError(t, err)
	return map[string]float64{"cf": cf}
}

func refWallWind(t *testing.T, in inputs) map[string]float64 {
	p, err := concrete.WindPressureOnWall(velocityPressureOf(t, in), concrete.GustFactor, in.num(t, "coefficient"))
	require.NoError(t, err)
	out := map[string]float64{"pressure": p * 1000}
	if !in.has("height") {
		return out
	}
	height := in.quantity(t, "height", unit.Length)
	out["moment"], err = concrete.WallBaseMoment(p, height)
	require.NoError(t, err)
	if in.has("thickness") {
		thickness := in.quantity(t, "thickness", unit.Thickness)
		out["tension"], err = concrete.WallTension(out["moment"], thickness)
		require.NoError(t, err)
		out["strength"], err = concrete.RequiredPlainStrength(out["tension"], 1)
		require.NoError(t, err)
		out["resisting"], err = concrete.ResistingMoment(24, height, thickness)
		require.NoError(t, err)
		out["stands"] = flag(out["resisting"] >= out["moment"])
	}
	if in.has("spacing") {
		f, err := concrete.BraceForceFor(out["moment"], height, concrete.Brace{
			Spacing: in.quantity(t, "spacing", unit.Length), Height: in.quantity(t, "at", unit.Length), AngleDeg: in.num(t, "angle"),
		})
		require.NoError(t, err)
		out["horizontal"], out["along"] = f.HorizontalKN, f.AlongKN
	}
	return out
}

func refPlainConcrete(t *testing.T, in inputs) map[string]float64 {
	edition, strength := editionOf(t, in), in.quantity(t, "strength", unit.Strength)
	rupture, err := concrete.ModulusOfRupture(edition, strength)
	require.NoError(t, err)
	flexural, err := concrete.PlainFlexuralStress(edition, strength)
	require.NoError(t, err)
	rupturePSI, _ := unit.In(unit.Strength, rupture, unit.US)
	flexuralPSI, _ := unit.In(unit.Strength, flexural, unit.US)
	return map[string]float64{"rupture": rupture, "flexural": flexural, "rupture-psi": rupturePSI, "flexural-psi": flexuralPSI}
}

func refMinimumBracing(t *testing.T, in inputs) map[string]float64 {
	m, err := concrete.MinimumBracingFor(in.quantity(t, "height", unit.Length))
	require.NoError(t, err)
	return map[string]float64{"pressure": m.PressureKPa, "top": m.TopKNm, "moment": m.MomentKNm}
}

func refRestrictedZone(t *testing.T, in inputs) map[string]float64 {
	z, err := concrete.RestrictedZone(in.quantity(t, "height", unit.Length), in.quantity(t, "length", unit.Length))
	require.NoError(t, err)
	return map[string]float64{"out": z.Out / unit.Foot, "required": flag(z.Required)}
}

func refWindStops(*testing.T, inputs) map[string]float64 {
	return map[string]float64{
		"initial": concrete.EvacuateInitial / unit.MPH, "intermediate": concrete.EvacuateIntermediate / unit.MPH,
		"design": concrete.BracingDesignWind / unit.MPH, "spacing": concrete.CustomaryBraceSpacing, "offset": concrete.CustomaryBraceOffset,
	}
}
