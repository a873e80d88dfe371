package phone_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/scheduler/concrete/unit"
)

// What the page shows of a quantity is what the rest of the program shows.
func TestQuantitiesAreTheProgramsOwn(t *testing.T) {
	t.Parallel()
	tab := scriptPage(t, "src/format.js", "format")
	for dim, d := range map[string]struct {
		unit.Dimension
		inside float64
	}{"length": {unit.Length, 1}, "thickness": {unit.Thickness, 1000}, "temperature": {unit.Temperature, 1}, "speed": {unit.Speed, 1}} {
		for _, sys := range []unit.System{unit.SI, unit.US} {
			for _, v := range []float64{0, 0.6, 1.2345, 2.4, 38.1, -3.3} {
				want := unit.Format(d.Dimension, v/d.inside, sys)
				require.Equal(t, want, browser.Ask[string](tab, fmt.Sprintf(`format.quantity(%q, %v, %q)`, dim, v, sys)), "%s %v", dim, v)
			}
		}
	}
}

func TestNumbersAreTypedWithPointOrComma(t *testing.T) {
	t.Parallel()
	tab := scriptPage(t, "src/format.js", "format")
	ask := func(expr string) float64 { return browser.Ask[float64](tab, expr) }
	require.InDelta(t, 1.25, ask(`format.parse("length", " 1,25 ", "si")`), 1e-9)
	require.InDelta(t, 1.25, ask(`format.parse("length", "1.25", "si")`), 1e-9)
	require.InDelta(t, 1.2192, ask(`format.parse("length", "4", "us")`), 1e-6)
	require.InDelta(t, 20, ask(`format.parse("temperature", "68", "us")`), 1e-6)
	require.InDelta(t, -4, ask(`format.parse("thickness", "−4", "si")`), 1e-9)
	for _, bad := range []string{"", "1.2.3", "1,2,3", "1e3", "four", "-", ".", "1 2"} {
		require.True(t, browser.Ask[bool](tab, fmt.Sprintf(`Number.isNaN(format.parse("length", %q, "si"))`, bad)), "%q", bad)
	}
	// Steps lie on the grid that people read.
	require.InDelta(t, 1.25, ask(`format.stepped("length", 1.2, 1, "si")`), 1e-9)
	require.InDelta(t, 1.2, ask(`format.stepped("length", 1.23, -1, "si")`), 1e-9)
	require.InDelta(t, 4.25*0.3048, ask(`format.stepped("length", 1.2192, 1, "us")`), 1e-6)
}

// A deadline of concrete goes down to the minute, a time to strip up.
func TestTimesInTheSitesZone(t *testing.T) {
	t.Parallel()
	tab := scriptPage(t, "src/format.js", "format")
	clock := func(at, more string) string {
		return browser.Ask[string](tab, fmt.Sprintf(`format.clock(Date.parse(%q), {zone: "Europe/Oslo", lang: "en", now: Date.parse("2026-05-04T08:00:00Z"), %s})`, at, more))
	}
	require.Equal(t, "10:30", clock("2026-05-04T08:30:59Z", ""))
	require.Equal(t, "10:31", clock("2026-05-04T08:30:01Z", "up: true"))
	require.Equal(t, "Wed 6 May 00:05", clock("2026-05-05T22:05:00Z", ""))
}
