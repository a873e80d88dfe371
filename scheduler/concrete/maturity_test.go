package concrete_test

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"
	"math/big"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
)

// maturities are the published ones and some with other constants.
func maturities() []concrete.Maturity {
	return append(concrete.PublishedMaturities(),
		concrete.Maturity{Rule: concrete.RuleArrhenius, QK: 4029, ReferenceC: 23},
		concrete.Maturity{Rule: concrete.RuleArrhenius, QK: 1000, ReferenceC: 40},
		concrete.Maturity{Rule: concrete.RuleArrhenius, QK: 10000, ReferenceC: 0},
		concrete.Maturity{Rule: concrete.RuleNurseSaul, DatumC: 10},
		concrete.Maturity{Rule: concrete.RuleNurseSaul, DatumC: -20},
	)
}

func TestRuleNames(t *testing.T) {
	for _, r := range concrete.Rules() {
		parsed, err := concrete.ParseRule(r.String())
		require.NoError(t, err)
		require.Equal(t, r, parsed)
		text, err := r.MarshalText()
		require.NoError(t, err)
		var back concrete.Rule
		require.NoError(t, back.UnmarshalText(text))
		require.Equal(t, r, back)
		require.Contains(t, r.Source(), "from memory")
		m, err := concrete.NewMaturity(r)
		require.NoError(t, err)
		require.Contains(t, m.Name(), r.String())
	}
	for _, name := range []string{"", "Arrhenius", "unknown", "arrhenius "} {
		_, err := concrete.ParseRule(name)
		require.ErrorContains(t, err, "parse maturity rule", name)
	}
	_, err := concrete.Rule(0).MarshalText()
	require.Error(t, err)
	var r concrete.Rule
	require.Error(t, r.UnmarshalText([]byte("none")))
	_, err = concrete.NewMaturity(99)
	require.ErrorContains(t, err, "99")
}

func TestDefaultMaturity(t *testing.T) {
	m := concrete.DefaultMaturity()
	require.Equal(t, concrete.Maturity{Rule: concrete.RuleArrhenius, QK: 5000, ReferenceC: 20}, m)
	require.Equal(t, "arrhenius, Q 5000 K, reference 20 °C", m.Name())
	require.Equal(t, "nurse-saul, datum -10 °C", concrete.Maturity{Rule: concrete.RuleNurseSaul, DatumC: -10}.Name())
}

func TestMaturityRefusesWhatIsOutOfRange(t *testing.T) {
	bad := []struct {
		m    concrete.Maturity
		c    float64
		want string
	}{
		{concrete.DefaultMaturity(), 80.01, "concrete temperature 80.01 °C: allowed -50 to 80 °C"},
		{concrete.DefaultMaturity(), -50.01, "concrete temperature -50.01 °C: allowed -50 to 80 °C"},
		{concrete.DefaultMaturity(), math.NaN(), "concrete temperature NaN °C"},
		{concrete.DefaultMaturity(), math.Inf(1), "concrete temperature +Inf °C"},
		{concrete.Maturity{Rule: concrete.RuleArrhenius, QK: 999, ReferenceC: 20}, 20, "activation temperature Q 999 K: allowed 1000 to 10000 K"},
		{concrete.Maturity{Rule: concrete.RuleArrhenius, QK: 5000, ReferenceC: 41}, 20, "reference temperature 41 °C: allowed 0 to 40 °C"},
		{concrete.Maturity{Rule: concrete.RuleNurseSaul, DatumC: 20}, 20, "datum temperature 20 °C: allowed -20 to 10 °C"},
		{concrete.Maturity{}, 20, "maturity rule 0: unknown"},
	}
	for _, b := range bad {
		_, err := b.m.Factor(b.c)
		require.ErrorContains(t, err, b.want)
		_, err = b.m.CountedFactor(b.c)
		require.ErrorContains(t, err, b.want)
	}
	_, err := concrete.DefaultMaturity().Factor(81)
	var ranged concrete.RangeError
	require.ErrorAs(t, err, &ranged)
	require.Equal(t, concrete.RangeError{Name: "concrete temperature", Value: 81, Min: -50, Max: 80, Unit: "°C"}, ranged)
}

// A maturity that nobody set must never open a window.
func TestInvalidMaturityCountsNothing(t *testing.T) {
	for _, m := range []concrete.Maturity{{}, {Rule: 99}, {Rule: concrete.RuleArrhenius}, {Rule: concrete.RuleNurseSaul, DatumC: math.NaN()}} {
		require.Error(t, m.Validate())
		require.Zero(t, m.HourFactor(30000))
		require.Zero(t, concrete.NewTable(m).Hour(3000))
	}
}

func TestHourFactorAtItsEdges(t *testing.T) {
	for _, m := range maturities() {
		for _, c := range []int32{0, -1, -5000, -50000, -50001, math.MinInt32} {
			require.Zero(t, m.HourFactor(c), "%s at %d", m.Name(), c)
		}
		top := m.HourFactor(80000)
		for _, c := range []int32{80001, 100000, math.MaxInt32} {
			require.Equal(t, top, m.HourFactor(c), "%s at %d", m.Name(), c)
		}
		f, err := m.Factor(80)
		require.NoError(t, err)
		require.InDelta(t, f*1e9, float64(top), 0.51, m.Name())
		// A hundred years at the warmest still fits the sum.
		require.Less(t, top, int64(math.MaxInt64/876600), m.Name())
	}
	for _, m := range concrete.PublishedMaturities() {
		want := int64(1e9)
		if m.Rule == concrete.RuleEN {
			want = 998124628 // exp(13.65 - 4000/293)
		}
		require.Equal(t, want, m.HourFactor(20000), m.Name())
	}
}

func TestHourFactorNeverFalls(t *testing.T) {
	for _, m := range maturities() {
		before := int64(0)
		for c := int32(-100); c <= 80100; c++ {
			f := m.HourFactor(c)
			require.GreaterOrEqual(t, f, before, "%s at %d", m.Name(), c)
			before = f
		}
	}
}

func TestTableHasTheDigitsOfHourFactor(t *testing.T) {
	for _, m := range maturities() {
		table := concrete.NewTable(m)
		require.Equal(t, m, table.Maturity())
		for c := int32(-6000); c <= 12000; c++ {
			require.Equal(t, m.HourFactor(c*10), table.Hour(c), "%s at %d", m.Name(), c)
		}
		require.Zero(t, table.Hour(math.MinInt32))
		require.Equal(t, table.Hour(8000), table.Hour(math.MaxInt32))
	}
}

// bigExp is e^x to about 200 bits, for |x| under 30.
func bigExp(x *big.Float) *big.Float {
	const prec, halvings = 256, 12
	small := new(big.Float).SetPrec(prec).SetMantExp(x, -halvings)
	sum := big.NewFloat(1).SetPrec(prec)
	term := big.NewFloat(1).SetPrec(prec)
	for i := int64(1); i < 40; i++ {
		term.Mul(term, small)
		term.Quo(term, new(big.Float).SetPrec(prec).SetInt64(i))
		sum.Add(sum, term)
	}
	for range halvings {
		sum.Mul(sum, sum)
	}
	return sum
}

// exactFactor is the rule in exact arithmetic at a temperature in hundredths.
func exactFactor(m concrete.Maturity, centi int64) *big.Float {
	rat := func(a, b int64) *big.Rat { return big.NewRat(a, b) }
	float := func(r *big.Rat) *big.Float { return new(big.Float).SetPrec(256).SetRat(r) }
	temp := rat(centi, 100)
	kelvin := new(big.Rat).Add(temp, rat(273, 1))
	arrhenius := func(q *big.Rat) *big.Float {
		inverse := new(big.Rat).Sub(rat(1, 293), new(big.Rat).Inv(kelvin))
		return bigExp(float(inverse.Mul(inverse, q)))
	}
	switch m.Rule {
	case concrete.RuleArrhenius:
		return arrhenius(rat(int64(m.QK), 1))
	case concrete.RuleFHP:
		ea := rat(33500, 1)
		if centi < 2000 {
			ea.Add(ea, new(big.Rat).Mul(rat(1470, 1), rat(2000-centi, 100)))
		}
		return arrhenius(ea.Mul(ea, rat(1000, 8314)))
	case concrete.RuleEN:
		x := new(big.Rat).Quo(rat(4000, 1), kelvin)
		return bigExp(float(x.Sub(rat(1365, 100), x)))
	case concrete.RuleSadgrove:
		x := new(big.Rat).Add(temp, rat(16, 1))
		x.Quo(x, rat(36, 1))
		return float(x.Mul(x, x))
	default:
		datum := rat(int64(m.DatumC), 1)
		above := new(big.Rat).Sub(temp, datum)
		return float(above.Quo(above, datum.Sub(rat(20, 1), datum)))
	}
}

// Every entry is the exact value, rounded, and none lies so near the middle
// between two that another machine's exponential, a few units in its last place
// apart, could round it the other way.
func TestTableIsCorrectlyRounded(t *testing.T) {
	nano := big.NewFloat(1e9).SetPrec(256)
	half := big.NewFloat(0.5).SetPrec(256)
	for _, m := range concrete.PublishedMaturities() {
		table := concrete.NewTable(m)
		for c := int64(1); c <= 8000; c++ {
			exact := exactFactor(m, c)
			want, _ := exact.Add(exact.Mul(exact, nano), half).Int64()
			part, _ := exact.Sub(exact, new(big.Float).SetInt64(want)).Float64()
			doubt := 4 * 0x1p-52 * float64(want)
			if m.Rule != concrete.RuleNurseSaul && m.Rule != concrete.RuleSadgrove {
				require.True(t, part > doubt && part < 1-doubt, "%s at %d hundredths: %g from the middle", m.Name(), c, part)
			}
			require.Equal(t, want, table.Hour(int32(c)), "%s at %d hundredths", m.Name(), c)
		}
	}
}

// The digits that windows rest on. A change here is a change of the rules and
// needs a new rule-set version.
func TestTableDigest(t *testing.T) {
	want := map[string]string{
		"en-1992":                              "97aca4d74e762e83",
		"arrhenius, Q 5000 K, reference 20 °C": "75cd4d6ae4e363fd",
		"fhp":                                  "476b735714a508d5",
		"sadgrove":                             "878b1bb5df1f1744",
		"nurse-saul, datum 0 °C":               "7ea2331fba232df3",
		"nurse-saul, datum -10 °C":             "2aabfab58173ee8a",
	}
	for _, m := range concrete.PublishedMaturities() {
		table, sum := concrete.NewTable(m), sha256.New()
		for c := int32(0); c <= 8000; c++ {
			require.NoError(t, binary.Write(sum, binary.BigEndian, table.Hour(c)))
		}
		require.Equal(t, want[m.Name()], hex.EncodeToString(sum.Sum(nil))[:16], m.Name())
	}
}

func TestFactorsBelowFreezing(t *testing.T) {
	for _, m := range maturities() {
		for _, c := range []float64{0, -0.001, -5, -50} {
			f, err := m.CountedFactor(c)
			require.NoError(t, err)
			require.Zero(t, f, "%s at %g", m.Name(), c)
			f, err = m.Factor(c)
			require.NoError(t, err)
			require.GreaterOrEqual(t, f, 0.0, "%s at %g", m.Name(), c)
		}
	}
}

// genMaturity draws a valid maturity.
func genMaturity(t *rapid.T) concrete.Maturity {
	return concrete.Maturity{
		Rule:       rapid.SampledFrom(concrete.Rules()).Draw(t, "rule"),
		QK:         rapid.Float64Range(1000, 10000).Draw(t, "q"),
		ReferenceC: rapid.Float64Range(0, 40).Draw(t, "reference"),
		DatumC:     rapid.Float64Range(-20, 10).Draw(t, "datum"),
	}
}

func TestFactorNeverFallsWithTemperature(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := genMaturity(t)
		a := rapid.Float64Range(-50, 80).Draw(t, "a")
		b := rapid.Float64Range(-50, 80).Draw(t, "b")
		low, err := m.Factor(min(a, b))
		require.NoError(t, err)
		high, err := m.Factor(max(a, b))
		require.NoError(t, err)
		require.LessOrEqual(t, low, high)
		counted, err := m.CountedFactor(max(a, b))
		require.NoError(t, err)
		require.LessOrEqual(t, counted, high)
	})
}

func TestQFromEaRefuses(t *testing.T) {
	for _, ea := range []float64{0, 4999, 100001, math.NaN()} {
		_, err := concrete.QFromEa(ea)
		require.ErrorContains(t, err, "activation energy")
	}
}

func BenchmarkTableHour(b *testing.B) {
	table := concrete.NewTable(concrete.DefaultMaturity())
	var sum int64
	for i := 0; b.Loop(); i++ {
		sum += table.Hour(int32(i & 8191))
	}
	require.NotZero(b, sum)
}

func BenchmarkNewTable(b *testing.B) {
	for b.Loop() {
		concrete.NewTable(concrete.DefaultMaturity())
	}
}
