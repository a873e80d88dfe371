package concrete_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
)

var strikingRows = []concrete.Striking{
	concrete.VerticalFaces, concrete.SlabSoffit, concrete.BeamSoffit, concrete.BeamProps,
}

func TestBS8110ColderIsNeverSooner(t *testing.T) {
	for _, row := range strikingRows {
		before := math.Inf(1)
		for i := 0; i <= 8000; i++ {
			c := float64(i) / 100
			h, err := concrete.BS8110Hours(row, c)
			require.NoError(t, err)
			require.LessOrEqual(t, h, before, "row %d at %g °C", row, c)
			if c <= 25 {
				formula, err := concrete.BS8110FormulaHours(row, c)
				require.NoError(t, err)
				require.GreaterOrEqual(t, h, formula)
			}
			before = h
		}
	}
}

func TestBS8110Refuses(t *testing.T) {
	for _, c := range []float64{-0.1, 80.1, math.NaN()} {
		_, err := concrete.BS8110Hours(concrete.VerticalFaces, c)
		require.ErrorContains(t, err, "BS 8110 striking time: surface temperature")
	}
	_, err := concrete.BS8110FormulaHours(concrete.VerticalFaces, 25.1)
	require.ErrorContains(t, err, "allowed 0 to 25 °C")
	_, err = concrete.BS8110Hours(0, 20)
	require.ErrorContains(t, err, "row 0 is unknown")
	_, err = concrete.BS8110MaturityCh(9)
	require.ErrorContains(t, err, "row 9 is unknown")
}

// The formula is the time that a Nurse-Saul sum above -10 °C takes.
func TestBS8110IsANurseSaulSum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		row := rapid.SampledFrom(strikingRows).Draw(t, "row")
		c := rapid.Float64Range(0, 25).Draw(t, "c")
		sum, err := concrete.Series{{0, c}, {2000, c}}.TemperatureTime(-10)
		require.NoError(t, err)
		want, err := concrete.BS8110MaturityCh(row)
		require.NoError(t, err)
		h, ok, err := sum.When(want)
		require.NoError(t, err)
		require.True(t, ok)
		formula, err := concrete.BS8110FormulaHours(row, c)
		require.NoError(t, err)
		require.InDelta(t, formula, h, 1e-9*formula)
	})
}

func TestACICreditedHoursIsStrict(t *testing.T) {
	h, err := concrete.ACICreditedHours([]concrete.Span{{5, 10}, {7, math.Nextafter(10, 11)}, {100, -20}})
	require.NoError(t, err)
	require.InDelta(t, 7, h, 0)
	_, err = concrete.ACICreditedHours([]concrete.Span{{1, 20}, {-1, 20}})
	require.ErrorContains(t, err, "ACI 347R hours span=1: length of the span -1 h")
	_, err = concrete.ACICreditedHours([]concrete.Span{{1, math.NaN()}})
	require.ErrorContains(t, err, "span=0: air temperature")
}

func TestHoursAtTemperatureInvertsEquivalentAge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := genMaturity(t)
		c := rapid.Float64Range(11, 70).Draw(t, "c")
		h, err := concrete.HoursAtTemperature(m, 48, c)
		require.NoError(t, err)
		age, err := concrete.Series{{0, c}, {h, c}}.CountedAge(m)
		require.NoError(t, err)
		require.InDelta(t, 48, age.Total(), 1e-9)
		brace, err := concrete.BraceHours(m, c)
		require.NoError(t, err)
		require.GreaterOrEqual(t, brace, concrete.FloorHours)
		require.GreaterOrEqual(t, brace, h)
		colder, err := concrete.BraceHours(m, c-0.5)
		require.NoError(t, err)
		require.GreaterOrEqual(t, colder, brace)
	})
}

func TestHoursAtTemperatureRefuses(t *testing.T) {
	for _, c := range []float64{0, -5, 80.1, math.NaN()} {
		_, err := concrete.HoursAtTemperature(concrete.DefaultMaturity(), 48, c)
		require.ErrorContains(t, err, "concrete temperature")
	}
	_, err := concrete.HoursAtTemperature(concrete.Maturity{Rule: concrete.RuleNurseSaul, DatumC: 10}, 48, 8)
	require.ErrorContains(t, err, "nurse-saul, datum 10 °C counts nothing")
	_, err = concrete.HoursAtTemperature(concrete.Maturity{}, 48, 8)
	require.ErrorContains(t, err, "unknown")
	_, err = concrete.HoursAtTemperature(concrete.DefaultMaturity(), -1, 8)
	require.ErrorContains(t, err, "equivalent age -1 h")
}

// At 5 °C the published rules differ two to one; none gives under 48 h.
func TestPublishedRulesDisagreeInTheCold(t *testing.T) {
	least, most := math.Inf(1), 0.0
	for _, m := range concrete.PublishedMaturities() {
		require.NoError(t, m.Validate())
		h, err := concrete.BraceHours(m, 5)
		require.NoError(t, err)
		least, most = min(least, h), max(most, h)
		hot, err := concrete.BraceHours(m, 40)
		require.NoError(t, err)
		require.InDelta(t, 48, hot, 0, m.Name())
	}
	require.InDelta(t, 2, most/least, 0.01)
}

func TestSiteSpecimenDay(t *testing.T) {
	_, ok, err := concrete.SiteSpecimenDay(make([]float64, 59))
	require.NoError(t, err)
	require.False(t, ok)
	day, ok, err := concrete.SiteSpecimenDay(make([]float64, 60))
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, 60, day)
	_, _, err = concrete.SiteSpecimenDay([]float64{20, math.NaN()})
	require.ErrorContains(t, err, "day=2")
}

func TestCuringRefuses(t *testing.T) {
	_, err := concrete.CuringHours(concrete.CuringClass2, 0.3, 4.9, 5)
	require.ErrorContains(t, err, "curing period: surface temperature 4.9 °C: allowed 5 to 80 °C")
	_, err = concrete.CuringHours(concrete.CuringClass2, 0.14, 20, 5)
	require.ErrorContains(t, err, "strength development r 0.14: allowed 0.15 to 1")
	_, err = concrete.CuringHours(concrete.CuringClass2, 0.3, 20, -1)
	require.ErrorContains(t, err, "setting time -1 h")
	_, err = concrete.CuringHours(0, 0.3, 20, 5)
	require.ErrorContains(t, err, "class 0 is unknown")
	s := profiles["A"]
	_, err = concrete.CuringShare(0, 0.3, 5, s)
	require.ErrorContains(t, err, "class 0 is unknown")
	_, err = concrete.CuringShare(concrete.CuringClass2, 0.3, 99, s)
	require.ErrorContains(t, err, "setting time 99 h")
	_, err = concrete.CuringShare(concrete.CuringClass2, 0.3, 5, s[:1])
	require.ErrorContains(t, err, "fewer than two readings")
}

func TestCuringColderOrSlowerIsNeverShorter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		class := rapid.SampledFrom([]concrete.CuringClass{
			concrete.CuringClass1, concrete.CuringClass2, concrete.CuringClass3, concrete.CuringClass4}).Draw(t, "class")
		r := rapid.Float64Range(0.15, 1).Draw(t, "r")
		c := rapid.Float64Range(5, 40).Draw(t, "c")
		set := rapid.Float64Range(0, 24).Draw(t, "set")
		h, err := concrete.CuringHours(class, r, c, set)
		require.NoError(t, err)
		worse, err := concrete.CuringHours(class, rapid.Float64Range(0.15, r).Draw(t, "slower"),
			rapid.Float64Range(5, c).Draw(t, "colder"), set+rapid.Float64Range(0, 12).Draw(t, "later set"))
		require.NoError(t, err)
		require.GreaterOrEqual(t, worse, h-1e-9)
		// At a constant temperature the share is done at that hour and not before.
		share, err := concrete.CuringShare(class, r, set, concrete.Series{{0, c}, {h, c}})
		require.NoError(t, err)
		require.InDelta(t, 1, share, 1e-9)
		share, err = concrete.CuringShare(class, r, set, concrete.Series{{0, c}, {0.9 * h, c}})
		require.NoError(t, err)
		require.Less(t, share, 1.0)
		// Time below 5 °C adds nothing.
		cold, err := concrete.CuringShare(class, r, set, concrete.Series{{0, c}, {0.9 * h, c}, {0.9*h + 1e-9, 4}, {9 * h, 4}})
		require.NoError(t, err)
		require.InDelta(t, share, cold, 1e-6)
	})
}
