package concrete_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/scheduler/concrete"
)

func cementClass(t *testing.T, letter string) concrete.CementClass {
	t.Helper()
	for _, c := range []concrete.CementClass{concrete.ClassR, concrete.ClassN, concrete.ClassS} {
		if c.String() == letter {
			return c
		}
	}
	require.Fail(t, "cement class", letter)
	return 0
}

var aci209 = map[string]func(float64) concrete.ACI209{
	"I-moist": concrete.ACI209TypeIMoist, "III-moist": concrete.ACI209TypeIIIMoist,
	"I-steam": concrete.ACI209TypeISteam, "III-steam": concrete.ACI209TypeIIISteam,
}

func (in inputs) specimens(t *testing.T) []concrete.Specimen {
	t.Helper()
	ages, mpa := in.list(t, "ages"), in.list(t, "mpa")
	require.Len(t, mpa, len(ages))
	out := make([]concrete.Specimen, len(ages))
	for i := range ages {
		out[i] = concrete.Specimen{AgeDays: ages[i], MPa: mpa[i]}
	}
	return out
}

// strengthRow gives the strength at "days", or the age at "mpa".
func strengthRow(t *testing.T, c concrete.StrengthCurve, in inputs) map[string]float64 {
	t.Helper()
	if in.has("mpa") {
		days, err := c.AgeDays(in.num(t, "mpa"))
		require.NoError(t, err)
		return map[string]float64{"days": days}
	}
	mpa, err := c.MPa(in.num(t, "days"))
	require.NoError(t, err)
	return map[string]float64{"mpa": mpa}
}

func init() {
	reference("en1992-ratio", func(t *testing.T, in inputs) map[string]float64 {
		r, err := concrete.EN1992Ratio(cementClass(t, in.word("class")), in.num(t, "days"))
		require.NoError(t, err)
		return map[string]float64{"ratio": r}
	})
	reference("en1992-strength", func(t *testing.T, in inputs) map[string]float64 {
		return strengthRow(t, concrete.EN1992{FckMPa: in.num(t, "fck"), Class: cementClass(t, in.word("class"))}, in)
	})
	reference("aci209-ratio", func(t *testing.T, in inputs) map[string]float64 {
		pair, ok := aci209[in.word("cement")]
		require.True(t, ok, "cement %q", in.word("cement"))
		f, err := pair(100).MPa(in.num(t, "days"))
		require.NoError(t, err)
		return map[string]float64{"ratio": f / 100}
	})
	reference("hyperbolic", func(t *testing.T, in inputs) map[string]float64 {
		return strengthRow(t, concrete.Hyperbolic{SuMPa: in.num(t, "su"), KPerDay: in.num(t, "k"), T0Days: in.num(t, "t0")}, in)
	})
	reference("exponential", func(t *testing.T, in inputs) map[string]float64 {
		return strengthRow(t, concrete.Exponential{SuMPa: in.num(t, "su"), TauDays: in.num(t, "tau"), Alpha: in.num(t, "a")}, in)
	})
	reference("hyperbolic-fit", func(t *testing.T, in inputs) map[string]float64 {
		c, fit, err := concrete.FitHyperbolic(in.specimens(t))
		require.NoError(t, err)
		return map[string]float64{"su": c.SuMPa, "k": c.KPerDay, "t0": c.T0Days, "residual": fit.ResidualMPa}
	})
	reference("exponential-fit", func(t *testing.T, in inputs) map[string]float64 {
		c, fit, err := concrete.FitExponential(in.specimens(t))
		require.NoError(t, err)
		return map[string]float64{"su": c.SuMPa, "tau": c.TauDays, "a": c.Alpha, "residual": fit.ResidualMPa}
	})
	reference("plowman", func(t *testing.T, in inputs) map[string]float64 {
		p, err := concrete.NewPlowman(in.num(t, "s28"))
		require.NoError(t, err)
		percent, err := p.Percent(in.num(t, "m"))
		require.NoError(t, err)
		return map[string]float64{"percent": percent, "a": p.A, "b": p.B}
	})
}
