package concrete_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
)

func TestSettingTableIsACopy(t *testing.T) {
	table := concrete.SettingTable()
	require.Len(t, table, 8)
	table[0].Minutes = 1
	require.InDelta(t, 1140, concrete.SettingTable()[0].Minutes, 0)
	for _, e := range concrete.SettingTable() {
		c := (e.TempF - 32) / 1.8
		m, err := concrete.InitialSetMinutes(c)
		require.NoError(t, err)
		require.InDelta(t, e.Minutes, m, 1e-9*e.Minutes, "%g °F", e.TempF)
		require.Contains(t, []string{"found", "from memory"}, e.Status)
	}
}

func TestSettingTableEnds(t *testing.T) {
	for c, want := range map[float64]bool{-1.2: false, -1.1: true, 20: true, 37.8: true, 37.9: false} {
		require.Equal(t, want, concrete.SetTableCovers(c), "%g °C", c)
	}
	// Below the table the coldest entry stands.
	m, err := concrete.InitialSetMinutes(-20)
	require.NoError(t, err)
	require.InDelta(t, 1140, m, 0)
	// Above it the last slope goes on: 110 °F is 100 min times 100/160.
	m, err = concrete.InitialSetMinutes((110 - 32) / 1.8)
	require.NoError(t, err)
	require.InDelta(t, 62.5, m, 1e-9)
	for _, c := range []float64{-50.1, 80.1, math.NaN()} {
		_, err := concrete.InitialSetMinutes(c)
		require.ErrorContains(t, err, "concrete temperature")
		_, err = concrete.ScaleInitialSet(300, 20, c)
		require.ErrorContains(t, err, "concrete temperature")
		_, err = concrete.MixInitialSetMinutes([]concrete.SetPoint{{20, 300}}, c)
		require.ErrorContains(t, err, "concrete temperature")
	}
}

// genSetPoints draws measured set times that do not contradict each other.
func genSetPoints(t *rapid.T) []concrete.SetPoint {
	n := rapid.IntRange(0, 4).Draw(t, "points")
	c, m := rapid.Float64Range(0, 8).Draw(t, "first"), rapid.Float64Range(600, 2000).Draw(t, "minutes")
	var out []concrete.SetPoint
	for range n {
		out = append(out, concrete.SetPoint{TempC: c, Minutes: m})
		c += rapid.Float64Range(0.5, 9).Draw(t, "warmer by")
		m = max(20, m*rapid.Float64Range(0.3, 1).Draw(t, "shorter by"))
	}
	return rapid.Permutation(out).Draw(t, "order")
}

func TestHotterNeverSetsLater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := genSetPoints(t)
		a := rapid.Float64Range(-50, 80).Draw(t, "a")
		b := rapid.Float64Range(-50, 80).Draw(t, "b")
		cold, err := concrete.MixInitialSetMinutes(points, min(a, b))
		require.NoError(t, err)
		hot, err := concrete.MixInitialSetMinutes(points, max(a, b))
		require.NoError(t, err)
		require.LessOrEqual(t, hot, cold*(1+1e-12))
		for _, p := range points {
			m, err := concrete.MixInitialSetMinutes(points, p.TempC)
			require.NoError(t, err)
			require.InDelta(t, p.Minutes, m, 0)
		}
	})
}

func TestScalingThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0, 38).Draw(t, "a")
		b := rapid.Float64Range(0, 38).Draw(t, "b")
		m := rapid.Float64Range(200, 400).Draw(t, "minutes")
		there, err := concrete.ScaleInitialSet(m, a, b)
		require.NoError(t, err)
		if there < 20 || there > 2880 {
			return
		}
		back, err := concrete.ScaleInitialSet(there, b, a)
		require.NoError(t, err)
		require.InDelta(t, m, back, 1e-9*m)
	})
	same, err := concrete.ScaleInitialSet(300, 20, 20)
	require.NoError(t, err)
	require.InDelta(t, 300, same, 0)
}

func TestSetPointsThatContradictAreRefused(t *testing.T) {
	bad := map[string][]concrete.SetPoint{
		"contradicts":                  {{20, 300}, {30, 301}},
		"300 min at 20 °C contradicts": {{20, 300}, {20, 300}},
		"measured initial set 19 min":  {{20, 19}},
		"temperature of the setting test 39 °C: allowed 0 to 38 °C": {{20, 300}, {39, 90}},
	}
	for want, points := range bad {
		_, err := concrete.MixInitialSetMinutes(points, 25)
		require.ErrorContains(t, err, want)
	}
	_, err := concrete.ScaleInitialSet(10, 20, 25)
	require.ErrorContains(t, err, "measured initial set")
}

// worked is the penetration data of a laboratory report (found,
// scribd.com/document/620034581; mortar at 17 °C).
func worked(t *testing.T) []concrete.Penetration {
	t.Helper()
	in := inputs{
		"minutes": "330 360 390 420 450 480 510 525 540 555 570 585",
		"psi":     "45.21 126.09 168.60 313.65 517.54 951.56 1676.56 2283.75 2673.44 3081.25 3625.00 4531.25",
	}
	return in.penetrations(t)
}

// The line is that of the normal equations.
func TestSettingFitAgainstNormalEquations(t *testing.T) {
	data := worked(t)
	x, y := mat.NewDense(len(data), 2, nil), mat.NewVecDense(len(data), nil)
	for i, r := range data {
		x.Set(i, 0, 1)
		x.Set(i, 1, math.Log10(r.Minutes))
		y.SetVec(i, math.Log10(r.MPa/concrete.MPaPerPSI))
	}
	var qr mat.QR
	qr.Factorize(x)
	var want mat.VecDense
	require.NoError(t, qr.SolveVecTo(&want, false, y))
	fit, err := concrete.FitSetting(data)
	require.NoError(t, err)
	require.InDelta(t, want.AtVec(0), fit.A, 1e-8)
	require.InDelta(t, want.AtVec(1), fit.B, 1e-8)
	require.True(t, fit.Covers(concrete.InitialSetMPa))
	require.True(t, fit.Covers(concrete.FinalSetMPa))
	require.False(t, fit.Covers(40*concrete.MPaPerPSI))
	// The vibration limit lies at 0.817 of initial set: 80 % is the earlier.
	limit, err := fit.Minutes(concrete.VibrationLimitMPa)
	require.NoError(t, err)
	initial, err := fit.Minutes(concrete.InitialSetMPa)
	require.NoError(t, err)
	require.Greater(t, limit, concrete.JointSetShare*initial)
}

func TestSettingLineInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		line := concrete.SettingLine{B: rapid.Float64Range(4, 12).Draw(t, "b")}
		line.A = 2.7 - line.B*math.Log10(rapid.Float64Range(100, 900).Draw(t, "initial"))
		pr := rapid.Float64Range(0.1, 30).Draw(t, "pr")
		m, err := line.Minutes(pr)
		require.NoError(t, err)
		back, err := line.MPa(m)
		require.NoError(t, err)
		require.InDelta(t, pr, back, 1e-9*pr)
		harder, err := line.Minutes(pr * 1.5)
		require.NoError(t, err)
		require.Greater(t, harder, m)
		// Readings on the line give the line, by fit and by interpolation.
		var readings []concrete.Penetration
		for _, p := range []float64{0.1, 0.5, 2, 5, 12, 31} {
			at, err := line.Minutes(p)
			require.NoError(t, err)
			readings = append(readings, concrete.Penetration{Minutes: at, MPa: p})
		}
		fit, err := concrete.FitSetting(readings)
		require.NoError(t, err)
		require.InEpsilon(t, line.B, fit.B, 1e-9)
		between, err := concrete.InterpolateSetting(readings, pr)
		require.NoError(t, err)
		require.InDelta(t, m, between, 1e-7*m)
	})
}

func TestPenetrationsRefused(t *testing.T) {
	good := worked(t)
	_, err := concrete.FitSetting(good[:5])
	require.ErrorContains(t, err, "5 readings: at least 6 are needed")
	for want, spoil := range map[string]concrete.Penetration{
		"penetration=3: time 390 min does not follow 390 min":                  {Minutes: 390, MPa: 2},
		"penetration=3: penetration resistance 0 MPa: allowed 0.01 to 100 MPa": {Minutes: 420, MPa: 0},
		"penetration=3: time of penetration NaN min":                           {Minutes: math.NaN(), MPa: 2},
	} {
		data := worked(t)
		data[3] = spoil
		_, err := concrete.FitSetting(data)
		require.ErrorContains(t, err, "fit setting line: "+want)
		_, err = concrete.InterpolateSetting(data, 3)
		require.ErrorContains(t, err, "interpolate setting time: "+want)
	}
	falling := []concrete.Penetration{{100, 6}, {200, 5}, {300, 4}, {400, 3}, {500, 2}, {600, 1}}
	_, err = concrete.FitSetting(falling)
	require.ErrorContains(t, err, "setting line b")
	_, err = concrete.InterpolateSetting(falling, 3.5)
	require.ErrorContains(t, err, "penetration resistance 3.5 MPa: allowed 1 to 6 MPa")
	_, err = concrete.InterpolateSetting(good, 40)
	require.ErrorContains(t, err, "penetration resistance 40 MPa")
	_, err = concrete.InterpolateSetting(good[:1], good[0].MPa)
	require.ErrorContains(t, err, "fewer than two readings")
	// A plateau is reached at its beginning.
	m, err := concrete.InterpolateSetting([]concrete.Penetration{{100, 1}, {200, 1}, {300, 2}}, 1)
	require.NoError(t, err)
	require.InDelta(t, 100, m, 0)
	for _, line := range []concrete.SettingLine{{}, {A: 1000, B: 8}} {
		_, err = line.Minutes(3.5)
		require.ErrorContains(t, err, "setting line")
		_, err = line.MPa(300)
		require.ErrorContains(t, err, "setting line")
	}
	_, err = concrete.SettingLine{A: -21, B: 9}.MPa(0)
	require.ErrorContains(t, err, "time of penetration")
	_, err = concrete.SettingLine{A: -21, B: 9}.Minutes(0)
	require.ErrorContains(t, err, "penetration resistance")
}

func TestEquivalentSetWarns(t *testing.T) {
	m := concrete.DefaultMaturity()
	for _, c := range []float64{26.7, 32.2, 37.8, 5, 40} {
		_, late, err := concrete.EquivalentSet(360, 21.1, c, m)
		require.NoError(t, err)
		require.True(t, late, "%g °C", c)
	}
	same, late, err := concrete.EquivalentSet(360, 21.1, 21.1, m)
	require.NoError(t, err)
	require.InDelta(t, 360, same, 0)
	require.False(t, late)
	_, _, err = concrete.EquivalentSet(360, 50, 20, m)
	require.ErrorContains(t, err, "temperature of the setting test")
	_, _, err = concrete.EquivalentSet(360, 20, 30, concrete.Maturity{})
	require.ErrorContains(t, err, "unknown")
	_, _, err = concrete.EquivalentSet(360, 20, -5, concrete.Maturity{Rule: concrete.RuleNurseSaul})
	require.ErrorContains(t, err, "nothing hardens")
}

func TestSettingArrheniusAgainstApparentEnergy(t *testing.T) {
	a, b := concrete.SetPoint{TempC: 10, Minutes: 660}, concrete.SetPoint{TempC: 21, Minutes: 360}
	fit, err := concrete.FitSettingArrhenius([]concrete.SetPoint{a, b})
	require.NoError(t, err)
	ea, err := concrete.ApparentEnergy(a, b)
	require.NoError(t, err)
	require.InEpsilon(t, ea, fit.EaJPerMol, 1e-9)
	m, err := fit.Minutes(10)
	require.NoError(t, err)
	require.InEpsilon(t, 660, m, 1e-9)
	_, err = concrete.ApparentEnergy(a, a)
	require.ErrorContains(t, err, "both set times are at 10 °C")
	_, err = concrete.ApparentEnergy(a, concrete.SetPoint{TempC: 99, Minutes: 100})
	require.ErrorContains(t, err, "apparent activation energy")
	_, err = concrete.FitSettingArrhenius([]concrete.SetPoint{a})
	require.ErrorContains(t, err, "fewer than two")
	_, err = concrete.FitSettingArrhenius([]concrete.SetPoint{a, a})
	require.ErrorContains(t, err, "contradicts")
	_, err = fit.Minutes(99)
	require.ErrorContains(t, err, "concrete temperature 99 °C")
}

func TestHydrationSetFinalFollowsInitial(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := concrete.Binder{Cement: concrete.ReferenceCement(), WaterBinder: rapid.Float64Range(0.32, 0.7).Draw(t, "w")}
		b.Slag = rapid.Float64Range(0, 0.5).Draw(t, "slag")
		initial, final, err := concrete.HydrationSetHours(b)
		require.NoError(t, err)
		require.Greater(t, initial, 0.0)
		require.Greater(t, final, initial)
	})
	_, _, err := concrete.HydrationSetHours(concrete.Binder{Cement: concrete.ReferenceCement(), WaterBinder: 0.9})
	require.ErrorContains(t, err, "set by degree of hydration")
}
