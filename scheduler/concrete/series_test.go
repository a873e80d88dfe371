package concrete_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate"
	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
)

// genSeries draws a history with uneven steps.
func genSeries(t *rapid.T) concrete.Series {
	n := rapid.IntRange(2, 40).Draw(t, "n")
	s := make(concrete.Series, n)
	hours := rapid.Float64Range(-100, 100).Draw(t, "start")
	for i := range s {
		s[i] = concrete.Reading{Hours: hours, TempC: rapid.Float64Range(-30, 70).Draw(t, "temp")}
		hours += rapid.Float64Range(0.01, 12).Draw(t, "step")
	}
	return s
}

// curves are the three sums of a history.
func curves(t require.TestingT, s concrete.Series, m concrete.Maturity) []*concrete.Curve {
	bare, err := s.EquivalentAge(m)
	require.NoError(t, err)
	counted, err := s.CountedAge(m)
	require.NoError(t, err)
	ttf, err := s.TemperatureTime(m.DatumC)
	require.NoError(t, err)
	return []*concrete.Curve{bare, counted, ttf}
}

func TestSeriesRefuses(t *testing.T) {
	bad := map[string]concrete.Series{
		"fewer than two readings":                   {{0, 20}},
		"reading=1: time 0 h does not follow 0 h":   {{0, 20}, {0, 20}},
		"reading=2: time 1 h does not follow 2 h":   {{0, 20}, {2, 20}, {1, 20}},
		"reading=1: temperature 81 °C":              {{0, 20}, {1, 81}},
		"reading=0: temperature NaN °C":             {{0, math.NaN()}, {1, 20}},
		"reading=1: time of reading NaN h: allowed": {{0, 20}, {math.NaN(), 20}},
	}
	for want, s := range bad {
		_, err := s.EquivalentAge(concrete.DefaultMaturity())
		require.ErrorContains(t, err, want)
		_, err = s.CountedAge(concrete.DefaultMaturity())
		require.ErrorContains(t, err, want)
		_, err = s.TemperatureTime(0)
		require.ErrorContains(t, err, want)
		_, err = s.MeanC()
		require.ErrorContains(t, err, want)
		_, err = s.HoursAbove(10)
		require.ErrorContains(t, err, want)
		_, _, err = s.FirstAtOrBelow(0)
		require.ErrorContains(t, err, want)
		_, _, err = s.GreatestDrop(24)
		require.ErrorContains(t, err, want)
	}
	_, err := profiles["A"].TemperatureTime(-21)
	require.ErrorContains(t, err, "datum temperature -21 °C")
	_, err = profiles["A"].EquivalentAge(concrete.Maturity{})
	require.ErrorContains(t, err, "unknown")
}

func TestCurveRefusesMomentsBeyondIt(t *testing.T) {
	c := curves(t, profiles["A"], concrete.DefaultMaturity())[0]
	for _, h := range []float64{-0.1, 48.1, math.NaN()} {
		_, err := c.At(h)
		require.ErrorContains(t, err, "allowed 0 to 48 h")
	}
	_, err := c.Between(10, 9)
	require.ErrorContains(t, err, "end of the interval 9 h: allowed 10 to 48 h")
	_, err = c.Between(-1, 9)
	require.Error(t, err)
	_, err = c.Between(1, 49)
	require.Error(t, err)
	_, _, err = c.When(-1)
	require.ErrorContains(t, err, "sum to reach")
	_, ok, err := c.When(c.Total() + 1)
	require.NoError(t, err)
	require.False(t, ok)
}

// directSum adds up piece by piece from one moment to another, without prefix
// sums, with the value of each whole interval shared out by time.
func directSum(s concrete.Series, from, to float64, rate func(a, b concrete.Reading) float64) float64 {
	sum := 0.0
	for i := 1; i < len(s); i++ {
		a, b := s[i-1], s[i]
		if overlap := min(to, b.Hours) - max(from, a.Hours); overlap > 0 {
			sum += rate(a, b) * overlap
		}
	}
	return sum
}

// warmPart is the time above 0 °C on the line from a to b and the mean there, by
// another way than the package's: cut the interval at the root.
func warmPart(a, b concrete.Reading) (hours, mean float64) {
	if (a.TempC > 0) != (b.TempC > 0) {
		root := a.Hours - a.TempC*(b.Hours-a.Hours)/(b.TempC-a.TempC)
		if a.TempC > 0 {
			return root - a.Hours, a.TempC / 2
		}
		return b.Hours - root, b.TempC / 2
	}
	return b.Hours - a.Hours, (a.TempC + b.TempC) / 2
}

func TestPrefixSumsEqualTheDirectSum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, m := genSeries(t), genMaturity(t)
		all := curves(t, s, m)
		x := rapid.Float64Range(all[0].Start(), all[0].End()).Draw(t, "x")
		y := rapid.Float64Range(all[0].Start(), all[0].End()).Draw(t, "y")
		from, to := min(x, y), max(x, y)
		rates := []func(a, b concrete.Reading) float64{
			func(a, b concrete.Reading) float64 {
				f, err := m.Factor((a.TempC + b.TempC) / 2)
				require.NoError(t, err)
				return f
			},
			func(a, b concrete.Reading) float64 {
				hours, mean := warmPart(a, b)
				f, err := m.CountedFactor(mean)
				require.NoError(t, err)
				return f * hours / (b.Hours - a.Hours)
			},
			func(a, b concrete.Reading) float64 { return max(0, (a.TempC+b.TempC)/2-m.DatumC) },
		}
		for i, c := range all {
			got, err := c.Between(from, to)
			require.NoError(t, err)
			want := directSum(s, from, to, rates[i])
			require.InDelta(t, want, got, 1e-9*(1+c.Total()))
		}
	})
}

func TestWhenInvertsAt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		for _, c := range curves(t, genSeries(t), genMaturity(t)) {
			want := rapid.Float64Range(0, c.Total()).Draw(t, "want")
			h, ok, err := c.When(want)
			require.NoError(t, err)
			require.True(t, ok)
			at, err := c.At(h)
			require.NoError(t, err)
			require.InDelta(t, want, at, 1e-9*(1+c.Total()))
			// It is the first such moment.
			if before := h - 1e-3; before > c.Start() && want > 1e-6 {
				at, err := c.At(before)
				require.NoError(t, err)
				require.Less(t, at, want+1e-9)
			}
		}
	})
}

func TestCurveNeverFalls(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := genSeries(t)
		for _, c := range curves(t, s, genMaturity(t)) {
			before := 0.0
			for i := range 200 {
				h := c.Start() + (c.End()-c.Start())*float64(i)/200
				at, err := c.At(h)
				require.NoError(t, err)
				require.GreaterOrEqual(t, at, before-1e-12*(1+c.Total()))
				before = at
			}
		}
	})
}

func TestColderIsNeverSooner(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, m := genSeries(t), genMaturity(t)
		colder := slices.Clone(s)
		for i := range colder {
			colder[i].TempC -= rapid.Float64Range(0, 20).Draw(t, "colder by")
		}
		warm, cold := curves(t, s, m), curves(t, colder, m)
		for i := range warm {
			require.LessOrEqual(t, cold[i].Total(), warm[i].Total()*(1+1e-12))
			want := rapid.Float64Range(0, warm[i].Total()).Draw(t, "want")
			sooner, ok, err := warm[i].When(want)
			require.NoError(t, err)
			require.True(t, ok)
			later, ok, err := cold[i].When(want)
			require.NoError(t, err)
			if ok {
				require.GreaterOrEqual(t, later, sooner-1e-9)
			}
		}
	})
}

// A reading that says nothing new changes nothing.
func TestReadingOnAFlatStretchChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, m := genSeries(t), genMaturity(t)
		last := s[len(s)-1]
		s = append(s, concrete.Reading{Hours: last.Hours + 10, TempC: last.TempC})
		more := slices.Insert(slices.Clone(s), len(s)-1, concrete.Reading{
			Hours: last.Hours + rapid.Float64Range(0.01, 9.99).Draw(t, "at"), TempC: last.TempC})
		a, b := curves(t, s, m), curves(t, more, m)
		for i := range a {
			require.InDelta(t, a[i].Total(), b[i].Total(), 1e-9*(1+a[i].Total()))
		}
	})
}

// Shifting the zero of time changes no sum.
func TestZeroOfTimeDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, m := genSeries(t), genMaturity(t)
		moved := slices.Clone(s)
		for i := range moved {
			moved[i].Hours += 1024
		}
		a, b := curves(t, s, m), curves(t, moved, m)
		for i := range a {
			require.InDelta(t, a[i].Total(), b[i].Total(), 1e-8*(1+a[i].Total()))
		}
	})
}

func TestCountedAgeLeavesOutFrost(t *testing.T) {
	m := concrete.DefaultMaturity()
	frost := concrete.Series{{0, 0}, {10, -5}, {20, 0}}
	c, err := frost.CountedAge(m)
	require.NoError(t, err)
	require.Zero(t, c.Total())

	// From +6 to -3 °C in 9 h: 6 h count, at 3 °C.
	crossing := concrete.Series{{0, 6}, {9, -3}}
	c, err = crossing.CountedAge(m)
	require.NoError(t, err)
	at3, err := m.Factor(3)
	require.NoError(t, err)
	require.InDelta(t, 6*at3, c.Total(), 1e-12)

	warm := profiles["A"]
	counted, err := warm.CountedAge(m)
	require.NoError(t, err)
	bare, err := warm.EquivalentAge(m)
	require.NoError(t, err)
	require.InDelta(t, bare.Total(), counted.Total(), 1e-12)
}

// The sums are those of gonum's quadrature.
func TestSumsAgainstQuadrature(t *testing.T) {
	x, y := []float64{}, []float64{}
	for _, r := range profiles["A"] {
		x, y = append(x, r.Hours), append(y, r.TempC)
	}
	ttf, err := profiles["A"].TemperatureTime(0)
	require.NoError(t, err)
	require.InDelta(t, integrate.Trapezoidal(x, y), ttf.Total(), 1e-9)

	day := func(h float64) float64 { return 12 + 9*math.Sin(2*math.Pi*h/24) }
	for _, m := range concrete.PublishedMaturities() {
		var s concrete.Series
		for i := 0; i <= 48*60; i++ {
			h := float64(i) / 60
			s = append(s, concrete.Reading{Hours: h, TempC: day(h)})
		}
		want := quad.Fixed(func(h float64) float64 {
			f, err := m.Factor(day(h))
			require.NoError(t, err)
			return f
		}, 0, 48, 200, quad.Legendre{}, 0)
		for _, sum := range []func(concrete.Maturity) (*concrete.Curve, error){s.EquivalentAge, s.CountedAge} {
			c, err := sum(m)
			require.NoError(t, err)
			require.InDelta(t, want, c.Total(), 2e-5*want, m.Name())
		}
	}
}

func TestHoursAboveAndFirstBelow(t *testing.T) {
	s := concrete.Series{{0, 12}, {2, 8}, {4, 10}, {6, 10}, {8, 14}}
	h, err := s.HoursAbove(10)
	require.NoError(t, err)
	require.InDelta(t, 1+2, h, 1e-12, "10 °C itself is not above 10 °C")
	at, ok, err := s.FirstAtOrBelow(10)
	require.NoError(t, err)
	require.True(t, ok)
	require.InDelta(t, 1, at, 1e-12)
	_, ok, err = s.FirstAtOrBelow(7.9)
	require.NoError(t, err)
	require.False(t, ok)
	at, ok, err = s.FirstAtOrBelow(12)
	require.NoError(t, err)
	require.True(t, ok)
	require.Zero(t, at)
	mean, err := s.MeanC()
	require.NoError(t, err)
	require.InDelta(t, (20+18+20+24)/8.0, mean, 1e-12)
}

// yearOfReadings is a year of readings every five minutes.
func yearOfReadings() concrete.Series {
	s := make(concrete.Series, 365*24*12)
	for i := range s {
		h := float64(i) / 12
		s[i] = concrete.Reading{Hours: h, TempC: 11 - 9*math.Cos(2*math.Pi*h/8760) + 5*math.Sin(2*math.Pi*h/24)}
	}
	return s
}

func BenchmarkEquivalentAgeOfAYear(b *testing.B) {
	s, m := yearOfReadings(), concrete.DefaultMaturity()
	for b.Loop() {
		_, err := s.EquivalentAge(m)
		require.NoError(b, err)
	}
}

func BenchmarkTableOverAYear(b *testing.B) {
	table := concrete.NewTable(concrete.DefaultMaturity())
	centi := []int32{}
	for _, r := range yearOfReadings() {
		centi = append(centi, int32(math.Floor(r.TempC*100)))
	}
	var sum int64
	for b.Loop() {
		for _, c := range centi {
			sum += table.Hour(c) / 12
		}
	}
	require.NotZero(b, sum)
}

func BenchmarkCurveWhen(b *testing.B) {
	c, err := yearOfReadings().EquivalentAge(concrete.DefaultMaturity())
	require.NoError(b, err)
	for i := 0; b.Loop(); i++ {
		_, ok, _ := c.When(float64(i % 4000))
		require.True(b, ok)
	}
}
