package concrete_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
)

func TestJointRuleNames(t *testing.T) {
	for _, r := range concrete.JointRules() {
		parsed, err := concrete.ParseJointRule(r.String())
		require.NoError(t, err)
		require.Equal(t, r, parsed)
		require.NotEmpty(t, r.Source())
	}
	_, err := concrete.ParseJointRule("unknown")
	require.ErrorContains(t, err, "parse joint rule")
	require.Equal(t, "unknown", concrete.JointRule(0).String())
}

// The two societies draw the line at 25 °C on different sides.
func TestJointBoundaryAt25(t *testing.T) {
	want := map[concrete.JointRule][3]float64{ // just below, at, just above
		concrete.JointJSCE:  {150, 150, 120},
		concrete.JointJASS5: {150, 120, 120},
	}
	for rule, w := range want {
		for i, c := range []float64{math.Nextafter(25, 0), 25, math.Nextafter(25, 30)} {
			m, err := concrete.AirJointMinutes(rule, c)
			require.NoError(t, err)
			require.InDelta(t, w[i], m, 0, "%s at %g °C", rule, c)
		}
	}
}

func TestJointRefuses(t *testing.T) {
	good := concrete.JointInputs{AirRule: concrete.JointJSCE, AirC: 20, ConcreteC: 20, AgeKnown: true, AgeMin: 30}
	limit, err := concrete.EffectiveJointLimit(good)
	require.NoError(t, err)
	require.InDelta(t, 150, limit.Minutes, 0)
	bad := map[string]func(*concrete.JointInputs){
		"air temperature 61 °C: allowed -60 to 60 °C":         func(in *concrete.JointInputs) { in.AirC = 61 },
		"air temperature NaN °C":                              func(in *concrete.JointInputs) { in.AirC = math.NaN() },
		"concrete temperature 81 °C":                          func(in *concrete.JointInputs) { in.ConcreteC = 81 },
		"concrete temperature NaN °C":                         func(in *concrete.JointInputs) { in.ConcreteC = math.NaN() },
		"site's joint minutes 4 min: allowed 5 to 150 min":    func(in *concrete.JointInputs) { in.SiteMinutes = 4 },
		"site's joint minutes 151 min":                        func(in *concrete.JointInputs) { in.SiteMinutes = 151 },
		"age of the load at placing -1 min":                   func(in *concrete.JointInputs) { in.AgeMin = -1 },
		"joint rule site: has no limit by air temperature":    func(in *concrete.JointInputs) { in.AirRule = concrete.JointSite },
		"joint rule unknown: has no limit by air temperature": func(in *concrete.JointInputs) { in.AirRule = 0 },
		"measured initial set 1 min":                          func(in *concrete.JointInputs) { in.MixSet = []concrete.SetPoint{{20, 1}} },
	}
	for want, spoil := range bad {
		in := good
		spoil(&in)
		_, err := concrete.EffectiveJointLimit(in)
		require.ErrorContains(t, err, want)
	}
	_, err = concrete.PlacingLimitMinutes(concrete.JointSetMix, 20)
	require.ErrorContains(t, err, "setting-mix")
}

func TestWhichJointRuleGoverns(t *testing.T) {
	base := concrete.JointInputs{AirRule: concrete.JointJSCE, AirC: 20, ConcreteC: 20, AgeKnown: true, AgeMin: 30}
	cases := []struct {
		change  func(*concrete.JointInputs)
		rule    concrete.JointRule
		minutes float64
	}{
		{func(*concrete.JointInputs) {}, concrete.JointJSCE, 150},
		{func(in *concrete.JointInputs) { in.AirRule = concrete.JointJASS5 }, concrete.JointJASS5, 150},
		{func(in *concrete.JointInputs) { in.SiteMinutes = 30 }, concrete.JointSite, 30},
		{func(in *concrete.JointInputs) { in.SiteMinutes = 150; in.AirC = 30 }, concrete.JointJSCE, 120},
		{func(in *concrete.JointInputs) { in.ConcreteC = (100 - 32) / 1.8 }, concrete.JointSetTable, 0.8*100 - 30},
		{func(in *concrete.JointInputs) { in.MixSet = []concrete.SetPoint{{20, 200}} }, concrete.JointSetMix, 0.8*200 - 30},
		{func(in *concrete.JointInputs) { in.MixSet = []concrete.SetPoint{{20, 200}}; in.AgeKnown = false }, concrete.JointSetMix, 0.8*200 - 90},
		{func(in *concrete.JointInputs) { in.ConcreteC = 60 }, concrete.JointSetTable, 0},
	}
	for i, c := range cases {
		in := base
		c.change(&in)
		limit, err := concrete.EffectiveJointLimit(in)
		require.NoError(t, err, "case %d", i)
		require.Equal(t, c.rule, limit.Rule, "case %d", i)
		require.InDelta(t, c.minutes, limit.Minutes, 1e-9, "case %d", i)
		require.Equal(t, in.ConcreteC > 37.8, limit.OutsideTable, "case %d", i)
	}
}

func TestJointLimitNeverLengthens(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := concrete.JointInputs{
			AirRule:   rapid.SampledFrom([]concrete.JointRule{concrete.JointJSCE, concrete.JointJASS5}).Draw(t, "rule"),
			AirC:      rapid.Float64Range(-30, 45).Draw(t, "air"),
			ConcreteC: rapid.Float64Range(-20, 60).Draw(t, "concrete"),
			MixSet:    genSetPoints(t),
			AgeKnown:  rapid.Bool().Draw(t, "known"),
			AgeMin:    rapid.Float64Range(0, 90).Draw(t, "age"),
		}
		limit, err := concrete.EffectiveJointLimit(in)
		require.NoError(t, err)
		require.GreaterOrEqual(t, limit.Minutes, 0.0)
		worse := in
		worse.AirC += rapid.Float64Range(0, 15).Draw(t, "air hotter by")
		worse.ConcreteC += rapid.Float64Range(0, 20).Draw(t, "concrete hotter by")
		worse.AgeMin += rapid.Float64Range(0, 60).Draw(t, "older by")
		worse.SiteMinutes = rapid.Float64Range(5, 150).Draw(t, "site")
		shorter, err := concrete.EffectiveJointLimit(worse)
		require.NoError(t, err)
		require.LessOrEqual(t, shorter.Minutes, limit.Minutes+1e-9)
		// Not knowing the age is never better than any age that is allowed.
		unknown := in
		unknown.AgeKnown = false
		doubt, err := concrete.EffectiveJointLimit(unknown)
		require.NoError(t, err)
		require.LessOrEqual(t, doubt.Minutes, limit.Minutes+1e-9)
	})
}
