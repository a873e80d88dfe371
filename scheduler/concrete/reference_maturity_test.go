package concrete_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/scheduler/concrete"
)

// profiles are the two temperature histories that the computed rows refer to.
var profiles = map[string]concrete.Series{
	"A": {{0, 20}, {2, 22}, {4, 24}, {6, 28}, {8, 33}, {10, 37}, {12, 39}, {18, 36}, {24, 30}, {36, 22}, {48, 18}},
	"B": {{0, 10}, {6, 8}, {12, 4}, {18, -2}, {24, -6}, {30, -2}, {36, 3}, {42, 6}, {48, 5}},
}

// series reads either a profile or a constant temperature over some hours.
func (in inputs) series(t *testing.T) concrete.Series {
	t.Helper()
	if in.has("profile") {
		s, ok := profiles[in.word("profile")]
		require.True(t, ok, "profile %q", in.word("profile"))
		return s
	}
	c := in.num(t, "temp")
	return concrete.Series{{Hours: 0, TempC: c}, {Hours: in.num(t, "hours"), TempC: c}}
}

// maturity reads a rule with the constants it uses.
func (in inputs) maturity(t *testing.T) concrete.Maturity {
	t.Helper()
	rule, err := concrete.ParseRule(in.word("rule"))
	require.NoError(t, err)
	m := concrete.Maturity{Rule: rule}
	switch rule {
	case concrete.RuleArrhenius:
		m.QK, m.ReferenceC = in.num(t, "q"), in.num(t, "ref")
	case concrete.RuleNurseSaul:
		m.DatumC = in.num(t, "datum")
	}
	return m
}

func init() {
	temperatureTimeReference()
	equivalentAgeReference()
}

func temperatureTimeReference() {
	reference("temperature-time", func(t *testing.T, in inputs) map[string]float64 {
		s := in.series(t)
		sum, err := s.TemperatureTime(in.num(t, "datum"))
		require.NoError(t, err)
		return map[string]float64{"sum": sum.Total(), "days": sum.Total() / 24}
	})
	reference("mean-temperature", func(t *testing.T, in inputs) map[string]float64 {
		s := in.series(t)
		c, err := s.MeanC()
		require.NoError(t, err)
		return map[string]float64{"mean": c, "mean-times-hours": c * (s[len(s)-1].Hours - s[0].Hours)}
	})
	reference("site-specimen-day", func(t *testing.T, in inputs) map[string]float64 {
		var days []float64
		for _, part := range strings.Fields(in.word("days")) {
			piece := inputs{}
			piece["n"], piece["c"], _ = strings.Cut(part, "x")
			for range int(piece.num(t, "n")) {
				days = append(days, piece.num(t, "c"))
			}
		}
		day, ok, err := concrete.SiteSpecimenDay(days)
		require.NoError(t, err)
		require.True(t, ok, "not reached in %d days", len(days))
		return map[string]float64{"day": float64(day)}
	})
}

func equivalentAgeReference() {
	reference("maturity-factor", func(t *testing.T, in inputs) map[string]float64 {
		f, err := in.maturity(t).Factor(in.num(t, "temp"))
		require.NoError(t, err)
		return map[string]float64{"factor": f}
	})
	reference("equivalent-age", func(t *testing.T, in inputs) map[string]float64 {
		age, err := in.series(t).EquivalentAge(in.maturity(t))
		require.NoError(t, err)
		return map[string]float64{"hours": age.Total()}
	})
	reference("activation-temperature", func(t *testing.T, in inputs) map[string]float64 {
		q, err := concrete.QFromEa(in.num(t, "ea"))
		require.NoError(t, err)
		f, err := concrete.Maturity{Rule: concrete.RuleArrhenius, QK: q, ReferenceC: 20}.Factor(40)
		require.NoError(t, err)
		return map[string]float64{"q": q, "rate-40-to-20": f}
	})
	reference("hours-at-temperature", func(t *testing.T, in inputs) map[string]float64 {
		m, c := in.maturity(t), in.num(t, "temp")
		h, err := concrete.HoursAtTemperature(m, in.num(t, "age"), c)
		require.NoError(t, err)
		brace, err := concrete.BraceHours(m, c)
		require.NoError(t, err)
		return map[string]float64{"hours": h, "brace-hours": brace}
	})
}
