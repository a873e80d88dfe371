package concrete_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/scheduler/concrete"
)

func (in inputs) penetrations(t *testing.T) []concrete.Penetration {
	t.Helper()
	minutes, psi := in.list(t, "minutes"), in.list(t, "psi")
	require.Len(t, psi, len(minutes))
	out := make([]concrete.Penetration, len(minutes))
	for i := range minutes {
		out[i] = concrete.Penetration{Minutes: minutes[i], MPa: psi[i] * concrete.MPaPerPSI}
	}
	return out
}

// tempC reads a temperature in °C or °F.
func (in inputs) tempC(t *testing.T, key string) float64 {
	t.Helper()
	if in.has(key + "-f") {
		return (in.num(t, key+"-f") - 32) / 1.8
	}
	return in.num(t, key)
}

// tablePoints are the entries of the approximate-setting table from 40 to 100
// °F, which the reference fit uses.
func tablePoints() []concrete.SetPoint {
	var out []concrete.SetPoint
	for _, e := range concrete.SettingTable() {
		if e.TempF >= 40 {
			out = append(out, concrete.SetPoint{TempC: (e.TempF - 32) / 1.8, Minutes: e.Minutes})
		}
	}
	return out
}

func settingTimes(t *testing.T, at func(float64) (float64, error)) map[string]float64 {
	t.Helper()
	out := map[string]float64{}
	for name, mpa := range map[string]float64{
		"initial": concrete.InitialSetMPa, "final": concrete.FinalSetMPa, "vibration": concrete.VibrationLimitMPa,
	} {
		v, err := at(mpa)
		require.NoError(t, err)
		out[name] = v
	}
	out["final-to-initial"] = out["final"] / out["initial"]
	out["vibration-to-initial"] = out["vibration"] / out["initial"]
	out["initial-less-vibration"] = out["initial"] - out["vibration"]
	return out
}

func init() {
	penetrationReference()
	settingTableReference()
	jointReference()
}

func penetrationReference() {
	reference("setting-fit", func(t *testing.T, in inputs) map[string]float64 {
		fit, err := concrete.FitSetting(in.penetrations(t))
		require.NoError(t, err)
		out := settingTimes(t, fit.Minutes)
		out["a"], out["b"], out["r2"] = fit.A, fit.B, fit.R2
		return out
	})
	reference("setting-interpolation", func(t *testing.T, in inputs) map[string]float64 {
		readings := in.penetrations(t)
		fit, err := concrete.FitSetting(readings)
		require.NoError(t, err)
		out := settingTimes(t, func(mpa float64) (float64, error) { return concrete.InterpolateSetting(readings, mpa) })
		out["initial-less-fit"] = out["initial"] - settingTimes(t, fit.Minutes)["initial"]
		return out
	})
	reference("setting-line", func(t *testing.T, in inputs) map[string]float64 {
		return settingTimes(t, concrete.SettingLine{A: in.num(t, "a"), B: in.num(t, "b")}.Minutes)
	})
	reference("setting-limits", func(_ *testing.T, _ inputs) map[string]float64 {
		return map[string]float64{
			"initial": concrete.InitialSetMPa, "final": concrete.FinalSetMPa, "vibration": concrete.VibrationLimitMPa,
		}
	})
}

func settingTableReference() {
	reference("setting-table", func(t *testing.T, in inputs) map[string]float64 {
		c := in.tempC(t, "temp")
		m, err := concrete.InitialSetMinutes(c)
		require.NoError(t, err)
		warmer, err := concrete.InitialSetMinutes(c + 10/1.8)
		require.NoError(t, err)
		return map[string]float64{"hours": m / 60, "step-percent": 100 * (warmer/m - 1)}
	})
	reference("setting-arrhenius", func(t *testing.T, in inputs) map[string]float64 {
		fit, err := concrete.FitSettingArrhenius(tablePoints())
		require.NoError(t, err)
		m, err := fit.Minutes(in.tempC(t, "temp"))
		require.NoError(t, err)
		return map[string]float64{"hours": m / 60, "ea": fit.EaJPerMol / 1000}
	})
	reference("setting-equivalent", func(t *testing.T, in inputs) map[string]float64 {
		at, c, measured := in.tempC(t, "at"), in.tempC(t, "temp"), 60*in.num(t, "hours")
		m, late, err := concrete.EquivalentSet(measured, at, c, concrete.DefaultMaturity())
		require.NoError(t, err)
		scaled, err := concrete.ScaleInitialSet(measured, at, c)
		require.NoError(t, err)
		require.Equal(t, m > scaled, late)
		return map[string]float64{"hours": m / 60, "late-percent": 100 * (m/scaled - 1)}
	})
	reference("apparent-energy", func(t *testing.T, in inputs) map[string]float64 {
		ends := make([]concrete.SetPoint, 2)
		for i, key := range []string{"from", "to"} {
			c := in.tempC(t, key)
			m, err := concrete.InitialSetMinutes(c)
			require.NoError(t, err)
			ends[i] = concrete.SetPoint{TempC: c, Minutes: m}
		}
		ea, err := concrete.ApparentEnergy(ends[0], ends[1])
		require.NoError(t, err)
		return map[string]float64{"ea": ea / 1000}
	})
	reference("hydration-set", func(t *testing.T, in inputs) map[string]float64 {
		i, f, err := concrete.HydrationSetHours(concrete.Binder{
			Cement: concrete.ReferenceCement(), WaterBinder: in.num(t, "w")})
		require.NoError(t, err)
		return map[string]float64{"initial": i, "final": f}
	})
}

func jointReference() {
	reference("joint-air", func(t *testing.T, in inputs) map[string]float64 {
		rule, err := concrete.ParseJointRule(in.word("rule"))
		require.NoError(t, err)
		layer, err := concrete.AirJointMinutes(rule, in.num(t, "air"))
		require.NoError(t, err)
		placing, err := concrete.PlacingLimitMinutes(rule, in.num(t, "air"))
		require.NoError(t, err)
		out := map[string]float64{"layer": layer, "placing": placing}
		if in.has("elapsed") {
			out["margin"] = layer - in.num(t, "elapsed")
		}
		return out
	})
	reference("joint-limit", func(t *testing.T, in inputs) map[string]float64 {
		rule, err := concrete.ParseJointRule(in.word("rule"))
		require.NoError(t, err)
		given := concrete.JointInputs{AirRule: rule, AirC: in.num(t, "air"), ConcreteC: in.num(t, "concrete")}
		if in.has("site") {
			given.SiteMinutes = in.num(t, "site")
		}
		if in.has("age") {
			given.AgeKnown, given.AgeMin = true, in.num(t, "age")
		}
		limit, err := concrete.EffectiveJointLimit(given)
		require.NoError(t, err)
		return map[string]float64{"minutes": limit.Minutes, "set": limit.SetMinutes, "set-limit": limit.SetLimit}
	})
	reference("joint-constants", func(_ *testing.T, _ inputs) map[string]float64 {
		return map[string]float64{
			"contract-minutes": concrete.ContractJointMinutes, "share-of-set": concrete.JointSetShare,
			"share-by-slope": math.Pow(5, -1/7.98),
			"pr-no-effort":   concrete.JointNoEffortMPa, "pr-vibrated": concrete.JointVibratedMPa, "pr-cold": concrete.JointColdMPa,
		}
	})
}
