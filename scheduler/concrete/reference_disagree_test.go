package concrete_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

// Where sources disagree, by how much.
func init() {
	reference("uno-rounding", refUnoRounding)
	reference("aci-jump", refACIJump)
}

// refUnoRounding is by how much the rounded SI form reads lower.
func refUnoRounding(t *testing.T, in inputs) map[string]float64 {
	surface, air := in.quantity(t, "surface", unit.Temperature), in.quantity(t, "air", unit.Temperature)
	humidity, wind := in.num(t, "humidity"), in.quantity(t, "wind", unit.Speed)
	exact, err := concrete.Evaporation(concrete.UnoExact, surface, air, humidity, wind)
	require.NoError(t, err)
	rounded, err := concrete.Evaporation(concrete.UnoSI, surface, air, humidity, wind)
	require.NoError(t, err)
	return map[string]float64{"low-percent": 100 * (1 - rounded/exact)}
}

// refACIJump is by how much the pressure jumps where the second formula takes
// over from the first.
func refACIJump(t *testing.T, in inputs) map[string]float64 {
	edition := editionOf(t, in)
	boundary := map[concrete.Constants]float64{concrete.SIConstants: 2.1, concrete.USConstants: 7 * unit.Foot}[edition]
	p := concrete.Placing{
		UnitWeight: 22.8, Height: 4, TempC: in.quantity(t, "temp", unit.Temperature), Slump: 0.125,
		Binder: concrete.BinderPortland, Retarder: concrete.WithoutRetarder, Rate: boundary,
	}
	at, err := concrete.ACIWallPressure(edition, p)
	require.NoError(t, err)
	require.Equal(t, concrete.FormulaACISecond, at.Formula)
	p.Rate = boundary * (1 - 1e-7)
	below, err := concrete.ACIWallPressure(edition, p)
	require.NoError(t, err)
	require.Equal(t, concrete.FormulaACIFirst, below.Formula)
	return map[string]float64{"jump": at.KPa - below.KPa, "jump-percent": 100 * (at.KPa/below.KPa - 1)}
}
