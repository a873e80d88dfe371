package unit_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete/unit"
)

func TestParse(t *testing.T) {
	// Expected values are exact by the definitions of the units (international
	// foot and pound, standard gravity), in the base unit of the dimension.
	for _, c := range []struct {
		dim  unit.Dimension
		text string
		want float64
	}{
		{unit.RiseRate, "4 ft/h", 1.2192},
		{unit.RiseRate, "1.2 m/h", 1.2},
		{unit.RiseRate, "7 ft/hr", 2.1336},
		{unit.Pressure, "150 psf", 7.18203884736},
		{unit.Pressure, "600 PSF", 28.728155389},
		{unit.Pressure, "30 kPa", 30},
		{unit.Pressure, "398.6 Pa", 0.3986},
		{unit.Temperature, "70 F", 190.0 / 9},
		{unit.Temperature, "21 C", 21},
		{unit.Temperature, "-40°F", -40},
		{unit.Temperature, "−5 °C", -5},
		{unit.Temperature, "21c", 21},
		{unit.Thickness, "5 in", 0.127},
		{unit.Thickness, "175 mm", 0.175},
		{unit.Thickness, "7 in", 0.1778},
		{unit.Thickness, "5-1/2 in", 0.1397},
		{unit.Thickness, "5 1/2 in", 0.1397},
		{unit.Thickness, `3/8"`, 0.009525},
		{unit.Thickness, "-6 mm", -0.006},
		{unit.Length, "5 ft 6 in", 1.6764},
		{unit.Length, "5ft6in", 1.6764},
		{unit.Length, `5'6"`, 1.6764},
		{unit.Length, "5′ 6 1/2″", 1.6891},
		{unit.Length, "-5 ft 6 in", -1.6764},
		{unit.Length, "2.7m", 2.7},
		{unit.Length, ".5 m", 0.5},
		{unit.Volume, "12 yd3", 9.174658295808},
		{unit.Volume, "7.5 m3", 7.5},
		{unit.Volume, "7.5m³", 7.5},
		{unit.Volume, "7.5 m^3", 7.5},
		{unit.Volume, "27 cu ft", 0.764554857984},
		{unit.Liquid, "20 L", 0.02},
		{unit.Liquid, "10 gal", 0.03785411784},
		{unit.Duration, "90 min", 1.5},
		{unit.Duration, "1.5 h", 1.5},
		{unit.Duration, "48h", 48},
		{unit.Duration, "2 d", 48},
		{unit.Duration, "1 h 30 min", 1.5},
		{unit.Duration, "1h30min", 1.5},
		{unit.Duration, "2 d 6 h", 54},
		{unit.Duration, "1 d 30 min", 24.5},
		{unit.Speed, "20 km/h", 20 / 3.6},
		{unit.Speed, "9 m/s", 9},
		{unit.Speed, "20 mph", 8.9408},
		{unit.Strength, "3000 psi", 20.684271879504},
		{unit.Strength, "3.5 MPa", 3.5},
		{unit.Strength, "4 ksi", 27.579029172672},
		{unit.UnitWeight, "24 kN/m3", 24},
		{unit.UnitWeight, "150 pcf", 23.5631195769},
		{unit.UnitWeight, "2400 kg/m³", 23.53596},
		{unit.Density, "350 kg/m3", 350},
		{unit.Density, "564 lb/yd3", 334.6079015894},
		{unit.Difference, "18 F-diff", 10},
		{unit.Difference, "10 K", 10},
		{unit.Difference, "-9 °F-diff", -5},
		{unit.Delivery, "30 yd3/h", 22.93664573952},
		{unit.Mass, "75 lb", 34.01942775},
		{unit.Mass, "1.2 t", 1200},
		{unit.Force, "400 lb", 1.7792886461},
		{unit.LineLoad, "100 lb/ft", 1.4593902937},
		{unit.WithdrawalRate, "3 in/s", 0.0762},
		{unit.Area, "5000 ft2", 464.5152},
		{unit.Evaporation, "0.2 lb/ft2/h", 0.976485528},
		{unit.Temperature, "-0 C", 0},
	} {
		got, err := unit.Parse(c.dim, c.text)
		require.NoError(t, err, "%s %q", c.dim, c.text)
		require.InDelta(t, c.want, got, 1e-9*math.Max(1, math.Abs(c.want)), "%s %q", c.dim, c.text)
		require.False(t, got == 0 && math.Signbit(got), "%s %q gives minus nothing", c.dim, c.text)
	}
}

// A limit is often met exactly: the value read must be the one written in code.
func TestParseIsExactAtLimits(t *testing.T) {
	for text, want := range map[string]float64{"175 mm": 0.175, "2100 mm": 2.1, "150 mm": 0.15, "38 mm": 0.038, "4.2 m": 4.2} {
		got, err := unit.Parse(unit.Length, text)
		require.NoError(t, err)
		require.Equal(t, want, got, text)
	}
	got, err := unit.Parse(unit.Duration, "150 min")
	require.NoError(t, err)
	require.Equal(t, 2.5, got)
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct {
		dim          unit.Dimension
		text, reason string
	}{
		{unit.RiseRate, "4", "no unit after 4"},
		{unit.Length, "", "no number"},
		{unit.Length, "m", "no number"},
		{unit.Length, "7 m3", "unknown unit"},
		{unit.Length, "5 ft 6", "no unit after 6"},
		{unit.Length, "5 ft 12 in", "1 ft or more"},
		{unit.Length, "5.5 ft 6 in", "whole number of ft"},
		{unit.Length, "6 in 5 ft", "may not follow"},
		{unit.Length, "1 m 6 in", "may not follow"},
		{unit.Length, "5 ft -6 in", "no number"},
		{unit.Length, "5² m", "unknown unit"},
		{unit.Length, "5^2 m", "unknown unit"},
		{unit.Length, "4 - 1/2 in", "unknown unit"},
		{unit.Length, "4-5 m", "unknown unit"},
		{unit.Length, "1/0 m", "no fraction"},
		{unit.Length, "1 3/2 m", "no fraction"},
		{unit.Length, "1e3 m", "unknown unit"},
		{unit.Length, "0x10 m", "unknown unit"},
		{unit.Length, "NaN m", "no number"},
		{unit.Length, "Inf m", "no number"},
		{unit.Length, "99999999999 m", "over 1e9"},
		{unit.Length, strings.Repeat("9", 80) + " m", "longer than 64"},
		{unit.Strength, "3,000 psi", "comma"},
		{unit.RiseRate, "1,2 m/h", "comma"},
		{unit.Volume, "-7.5 m3", "below zero"},
		{unit.Duration, "-1 h", "below zero"},
		{unit.Duration, "1h30m", "unknown unit"},
		{unit.Duration, "1 h 60 min", "1 h or more"},
		{unit.Duration, "10 m", "unknown unit"},
		{unit.Temperature, "293 K", "unknown unit"},
		{unit.Temperature, "-101 C", "below -100 °C"},
		{unit.Difference, "10 C", "unknown unit"},
		{unit.Difference, "18 F", "unknown unit"},
		{unit.Mass, "1 ton", "unknown unit"},
		{unit.Pressure, "3 MPa", "unknown unit"},
		{unit.Speed, "20 kmph", "unknown unit"},
	} {
		_, err := unit.Parse(c.dim, c.text)
		var bad *unit.Error
		require.ErrorAs(t, err, &bad, "%s %q", c.dim, c.text)
		require.Contains(t, bad.Reason, c.reason, "%s %q", c.dim, c.text)
		require.Equal(t, c.dim.Units(), bad.Units)
		for _, u := range bad.Units {
			require.Contains(t, err.Error(), u, "%s %q", c.dim, c.text)
		}
	}
	_, err := unit.Parse(unit.Pressure, "40")
	require.EqualError(t, err, `read pressure "40": no unit after 40 (allowed units: kPa, Pa, psf)`)
	_, err = unit.Parse(unit.Dimension(0), "40 kPa")
	require.ErrorContains(t, err, "dimension 0 is unknown")
	_, err = unit.Parse(unit.Dimension(99), "40 kPa")
	require.ErrorContains(t, err, "dimension 99 is unknown")
}

func TestFormat(t *testing.T) {
	for _, c := range []struct {
		dim  unit.Dimension
		base float64
		sys  unit.System
		want string
	}{
		{unit.RiseRate, 1.2192, unit.SI, "1.22 m/h"},
		{unit.RiseRate, 1.2192, unit.US, "4.00 ft/h"},
		{unit.Temperature, -0.01, unit.SI, "0.0 °C"},
		{unit.Temperature, 20, unit.US, "68.0 °F"},
		{unit.Difference, 10, unit.US, "18.0 °F-diff"},
		{unit.Difference, 10, unit.SI, "10.0 K"},
		{unit.Thickness, 0.2032, unit.SI, "203 mm"},
		{unit.Thickness, 0.2032, unit.US, "8.00 in"},
		{unit.Volume, 15.8895, unit.SI, "15.89 m³"},
		{unit.Pressure, math.NaN(), unit.SI, "NaN kPa"},
		{unit.Pressure, math.Inf(1), unit.US, "+Inf psf"},
		{unit.Dimension(0), 1.5, unit.SI, "1.5 ?"},
	} {
		require.Equal(t, c.want, unit.Format(c.dim, c.base, c.sys))
	}
}

// The slip that this dimension exists for: a limit of 10 °C per 24 h printed as
// "10 C (50 F)", which is the conversion of a temperature (found, UFGS 03300N).
func TestDifferenceIsNoTemperature(t *testing.T) {
	d, symbol := unit.In(unit.Difference, 10, unit.US)
	require.InDelta(t, 18, d, 1e-9)
	require.Equal(t, "°F-diff", symbol)
	temp, symbol := unit.In(unit.Temperature, 10, unit.US)
	require.InDelta(t, 50, temp, 1e-9)
	require.Equal(t, "°F", symbol)
}

func TestSystemText(t *testing.T) {
	for _, s := range []unit.System{unit.SI, unit.US} {
		text, err := s.MarshalText()
		require.NoError(t, err)
		var back unit.System
		require.NoError(t, back.UnmarshalText(text))
		require.Equal(t, s, back)
	}
	_, err := unit.System(7).MarshalText()
	require.ErrorContains(t, err, "system 7")
	var s unit.System
	require.ErrorContains(t, s.UnmarshalText([]byte("imperial")), "imperial")
}

func systems() *rapid.Generator[unit.System] {
	return rapid.SampledFrom([]unit.System{unit.SI, unit.US})
}

// What is written can be read, to half a unit in the last digit written.
func TestFormatThenParse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dim := rapid.SampledFrom(unit.Dimensions()).Draw(t, "dim")
		sys := systems().Draw(t, "sys")
		base := rapid.Float64Range(0, 1e5).Draw(t, "base")
		if dim == unit.Length || dim == unit.Temperature || dim == unit.Difference {
			base = rapid.Float64Range(-100, 1e5).Draw(t, "signed")
		}
		text := unit.Format(dim, base, sys)
		back, err := unit.Parse(dim, text)
		require.NoError(t, err, text)
		was, _ := unit.In(dim, base, sys)
		is, _ := unit.In(dim, back, sys)
		require.InDelta(t, was, is, 0.5000001*lastDigit(text)+1e-9*math.Abs(was), text)
	})
}

// lastDigit is what one in the last digit of a written number is worth.
func lastDigit(text string) float64 {
	number, _, _ := strings.Cut(text, " ")
	_, decimals, _ := strings.Cut(number, ".")
	return math.Pow10(-len(decimals))
}

// A larger number in the same unit never reads as a smaller quantity.
func TestParseIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dim := rapid.SampledFrom(unit.Dimensions()).Draw(t, "dim")
		u := rapid.SampledFrom(dim.Units()).Draw(t, "unit")
		a := rapid.Uint32Range(0, 1e8).Draw(t, "a")
		b := rapid.Uint32Range(a+1, 2e8).Draw(t, "b")
		low, err := unit.Parse(dim, strconv.Itoa(int(a))+" "+u)
		require.NoError(t, err)
		high, err := unit.Parse(dim, strconv.Itoa(int(b))+u)
		require.NoError(t, err)
		require.Less(t, low, high, "%d and %d %s", a, b, u)
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"4 ft/h", "1.2 m/h", "150 psf", "70 F", "21 °C", "5 ft 6 in", `5'6 1/2"`, "12 yd3",
		"7.5 m³", "90 min", "1 h 30 min", "48h", "20 km/h", "3000 psi", "150 pcf", "18 F-diff", "10 K", "3,000 psi", "5² m", "\xff°C"} {
		for d := range unit.Dimensions() {
			f.Add(d+1, s)
		}
	}
	f.Fuzz(func(t *testing.T, d int, text string) {
		dim := unit.Dimension(d)
		v, err := unit.Parse(dim, text)
		if err != nil {
			require.Zero(t, v, "a value beside an error")
			return
		}
		require.False(t, math.IsNaN(v) || math.IsInf(v, 0), "%q", text)
		require.Regexp(t, `[^0-9 .,+-]`, text, "read without a unit")
		if math.Abs(v) > 1e6 {
			return
		}
		for _, sys := range []unit.System{unit.SI, unit.US} {
			written := unit.Format(dim, v, sys)
			back, err := unit.Parse(dim, written)
			require.NoError(t, err, "%q written as %q", text, written)
			require.Equal(t, written, unit.Format(dim, back, sys), "%q", text)
		}
	})
}
