package concrete_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
)

// drawSeries is any valid history of 2 to 20 readings.
func drawSeries(t *rapid.T, least, most float64) concrete.Series {
	var s concrete.Series
	hours := 0.0
	for range rapid.IntRange(2, 20).Draw(t, "readings") {
		s = append(s, concrete.Reading{Hours: hours, TempC: rapid.Float64Range(least, most).Draw(t, "temp")})
		hours += rapid.Float64Range(0.1, 30).Draw(t, "step")
	}
	return s
}

func TestAboveIsHoursAbove(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, c := drawSeries(t, -20, 40), rapid.Float64Range(-20, 40).Draw(t, "level")
		curve, err := s.Above(c)
		require.NoError(t, err)
		whole, err := s.HoursAbove(c)
		require.NoError(t, err)
		require.InDelta(t, whole, curve.Total(), 1e-9)
	})
}

// The moment at which 12 h have gone by above 10 °C, by hand: 5 h up to the
// crossing of a rise from 0 to 20 °C in 10 h, then all of the time.
func TestAboveByWhen(t *testing.T) {
	s := concrete.Series{{0, 0}, {10, 20}, {60, 20}}
	curve, err := s.Above(concrete.ACIWallAirC)
	require.NoError(t, err)
	at, met, err := curve.When(concrete.ACIWallHours)
	require.NoError(t, err)
	require.True(t, met)
	require.InDelta(t, 17, at, 1e-9)
	before, err := curve.At(4)
	require.NoError(t, err)
	require.Zero(t, before, "nothing is credited within the interval before it crosses")
	_, err = s.Above(90)
	require.ErrorAs(t, err, &concrete.RangeError{})
	_, err = concrete.Series{}.Above(10)
	require.ErrorContains(t, err, "fewer than two readings")
}

// BS 8110-1:1997 Table 6.2 (from memory): at a constant temperature the moment
// of a history is the hours of the rule.
func TestBS8110MomentAtConstantTemperature(t *testing.T) {
	for _, row := range []concrete.Striking{concrete.VerticalFaces, concrete.SlabSoffit, concrete.BeamSoffit, concrete.BeamProps} {
		for _, c := range []float64{1, 5, 7, 7.1, 10, 15, 16, 20, 25, 40} {
			want, err := concrete.BS8110Hours(row, c)
			require.NoError(t, err)
			at, met, err := concrete.BS8110Moment(row, concrete.Series{{3, c}, {4000, c}})
			require.NoError(t, err)
			require.True(t, met)
			require.InDelta(t, 3+want, at, 1e-6, "row %d at %v °C", row, c)
		}
	}
}

func TestBS8110MomentCountsNoFrost(t *testing.T) {
	// 6 h at 20 °C earn 180 of the 300 °C·h, the frost nothing, 4 h more the rest.
	s := concrete.Series{{0, 20}, {6, 20}, {6.001, -5}, {30, -5}, {30.001, 20}, {60, 20}}
	at, met, err := concrete.BS8110Moment(concrete.VerticalFaces, s)
	require.NoError(t, err)
	require.True(t, met)
	require.InDelta(t, 34, at, 0.01)
	_, met, err = concrete.BS8110Moment(concrete.VerticalFaces, s[:5])
	require.NoError(t, err)
	require.False(t, met, "the history ends too soon")
	_, met, err = concrete.BS8110Moment(concrete.VerticalFaces, concrete.Series{{0, 40}, {11, 40}})
	require.NoError(t, err)
	require.False(t, met, "the entry of 12 h stands however warm")
	_, _, err = concrete.BS8110Moment(0, s)
	require.ErrorContains(t, err, "row 0 is unknown")
	_, _, err = concrete.BS8110Moment(concrete.VerticalFaces, concrete.Series{{0, 20}})
	require.ErrorContains(t, err, "fewer than two readings")
	_, _, err = concrete.BS8110Moment(concrete.VerticalFaces, nil)
	require.ErrorContains(t, err, "fewer than two readings")
}

func TestBS8110MomentIsNeverSoonerWhenColder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, down := drawSeries(t, -10, 40), rapid.Float64Range(0, 10).Draw(t, "colder by")
		colder := make(concrete.Series, len(s))
		for i, r := range s {
			colder[i] = concrete.Reading{Hours: r.Hours, TempC: r.TempC - down}
		}
		warm, met, err := concrete.BS8110Moment(concrete.VerticalFaces, s)
		require.NoError(t, err)
		cold, coldMet, err := concrete.BS8110Moment(concrete.VerticalFaces, colder)
		require.NoError(t, err)
		if coldMet {
			require.True(t, met)
			require.GreaterOrEqual(t, cold, warm-1e-9)
		}
	})
}

// EN 13670 Annex F (from memory): class 2, medium, 15 to 25 °C: 2.5 d.
func TestCuringMoment(t *testing.T) {
	at, met, err := concrete.CuringMoment(concrete.CuringClass2, concrete.CuringMedium, 0, concrete.Series{{0, 20}, {100, 20}})
	require.NoError(t, err)
	require.True(t, met)
	require.InDelta(t, 60, at, 1e-9)
	at, _, err = concrete.CuringMoment(concrete.CuringClass2, concrete.CuringMedium, 8, concrete.Series{{0, 20}, {100, 20}})
	require.NoError(t, err)
	require.InDelta(t, 63, at, 1e-9, "3 h of late setting come on top")
	_, met, err = concrete.CuringMoment(concrete.CuringClass2, concrete.CuringMedium, 0, concrete.Series{{0, 4}, {1000, 4}})
	require.NoError(t, err)
	require.False(t, met, "nothing counts below 5 °C")
	_, _, err = concrete.CuringMoment(concrete.CuringClass2, 0.1, 0, concrete.Series{{0, 20}, {100, 20}})
	require.ErrorAs(t, err, &concrete.RangeError{})
	_, _, err = concrete.CuringMoment(9, 0.3, 0, concrete.Series{{0, 20}, {100, 20}})
	require.ErrorContains(t, err, "class 9 is unknown")
}

func TestCuringMomentIsWhereTheShareReachesOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSeries(t, -5, 40)
		set := rapid.Float64Range(0, 20).Draw(t, "set")
		at, met, err := concrete.CuringMoment(concrete.CuringClass2, concrete.CuringRapid, set, s)
		require.NoError(t, err)
		share, err := concrete.CuringShare(concrete.CuringClass2, concrete.CuringRapid, set, s)
		require.NoError(t, err)
		if !met {
			require.LessOrEqual(t, share, 1.0)
			return
		}
		require.InDelta(t, 1, share, 1e-9)
		require.LessOrEqual(t, at, s[len(s)-1].Hours)
	})
}
