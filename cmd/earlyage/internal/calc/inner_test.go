package calc_test

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/plotter"
	"pgregory.net/rapid"

	"earlyage/cmd/earlyage/internal/calc"
)

func grammar(t *testing.T) *kong.Kong {
	t.Helper()
	var g struct {
		Calc calc.Command `cmd:""`
	}
	k, err := kong.New(&g)
	require.NoError(t, err)
	return k
}

// Every flag with a unit says what the library calls its value, or else a
// refusal could not name the flag. Each has a help text.
func TestEveryQuantityCanBeRefusedByName(t *testing.T) {
	commands := 0
	var visit func(n *kong.Node)
	visit = func(n *kong.Node) {
		for _, f := range n.Flags {
			if !calc.HasUnit(f.Target) || f.Name == "elapsed" { // any time may have gone by
				continue
			}
			require.NotEmpty(t, f.Tag.Get("names"), "%s --%s", n.FullPath(), f.Name)
			require.NotEmpty(t, f.Help, "%s --%s", n.FullPath(), f.Name)
		}
		if n.Leaf() {
			commands++
		}
		for _, c := range n.Children {
			visit(c)
		}
	}
	visit(grammar(t).Model.Node)
	require.Equal(t, 15, commands)
}

// A value below zero is a value, not a flag, before and after the equals sign.
func TestBelowZeroIsAValue(t *testing.T) {
	for _, args := range [][]string{
		{"calc", "maturity", "--temp", "-5C", "--for", "1h"}, {"calc", "maturity", "--temp=-5C", "--for", "1h"},
		{"calc", "maturity", "--for", "1h", "--temp", "−5 °C"}, {"calc", "maturity", "--for", "1h", "--temp", "-.5C"},
	} {
		var out, complain strings.Builder
		require.Zero(t, command(args, &out, &complain), "%v: %s", args, &complain)
	}
	require.Equal(t, 2, command([]string{"calc", "maturity", "--temp", "-x"}, io.Discard, io.Discard))
	require.Equal(t, 2, command([]string{"calc", "maturity", "--temp"}, io.Discard, io.Discard))
}

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errors.New("no room") }

func TestAResultThatCannotBeWrittenIsNoBadInput(t *testing.T) {
	var complain strings.Builder
	require.Equal(t, 1, command([]string{"calc", "set", "--temp", "20C"}, broken{}, &complain))
	require.Contains(t, complain.String(), "write result: no room")
}

func TestOwnUnits(t *testing.T) {
	v, shown, err := calc.Own("1.76 m2K/W")
	require.NoError(t, err)
	require.InDelta(t, 1.76, v, 1e-12)
	require.Equal(t, "1.760 m²K/W", shown)
	v, _, err = calc.Own("10 ft2hF/Btu") // R-10 is 1.761 m²K/W, by the sizes of the units
	require.NoError(t, err)
	require.InDelta(t, 10*0.3048*0.3048*3600/1055.05585262/1.8, v, 1e-6)
	for _, bad := range []string{"", "1.76", "1.76 W", "m2K/W", "1e3 m2K/W", "1,76 m2K/W"} {
		_, _, err := calc.Own(bad)
		require.ErrorContains(t, err, "read thermal resistance", "%q", bad)
	}
}

func FuzzTemps(f *testing.F) {
	f.Add("0,20\n1,21\n")
	f.Add("time,temp (F)\n2026-01-31T08:00:00Z,68\n2026-01-31T09:00:00+01:30,70\n")
	f.Add("\ufeffhours;temperature\n0;1\n")
	f.Add("0,20 C,x\n\"1\",-5\n#\n2,NaN\n")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := calc.ReadTemps(strings.NewReader(text))
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		require.NoError(t, s.Validate())
		require.Zero(t, s[0].Hours, "hours count from the first reading")
	})
}

func TestALongFileIsRefused(t *testing.T) {
	_, err := calc.ReadTemps(io.MultiReader(strings.NewReader("0,20\n"), &endless{}))
	require.ErrorContains(t, err, "longer than 16 MiB")
}

// endless is a file of readings that never ends.
type endless struct {
	line int
	rest string
}

func (e *endless) Read(p []byte) (int, error) {
	if e.rest == "" {
		e.line++
		e.rest = fmt.Sprintf("%d,20.000000000000000000000000000000000000000000000000000000000000\n", e.line)
	}
	n := copy(p, e.rest)
	e.rest = e.rest[n:]
	return n, nil
}

// text is what an SVG says in words.
func text(t *testing.T, svg []byte) []string {
	t.Helper()
	var words []string
	d := xml.NewDecoder(strings.NewReader(string(svg)))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return words
		}
		require.NoError(t, err)
		if c, ok := token.(xml.CharData); ok && strings.TrimSpace(string(c)) != "" {
			words = append(words, strings.TrimSpace(string(c)))
		}
	}
}

func TestPicture(t *testing.T) {
	svg, err := calc.Draw("e & f", plotter.XYs{{X: 0, Y: 0}, {X: 10, Y: 30}})
	require.NoError(t, err)
	words := text(t, svg)
	for _, want := range []string{"a <b>", "c & d", "e & f", "x", "y", "0", "30"} {
		require.Contains(t, words, want)
	}
	require.NotContains(t, string(svg), "NaN")
	_, err = calc.Draw("alone", plotter.XYs{{X: 1, Y: 1}})
	require.ErrorContains(t, err, "no curve has two points")
	_, err = calc.Draw("broken", plotter.XYs{{X: 1, Y: 1}, {X: 2, Y: math.Inf(1)}})
	require.Error(t, err)
}

// Names beside a plot never run into each other while there is room, and keep
// their order.
func TestNamesStandApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		heights := rapid.SliceOfN(rapid.Float64Range(0, 400), 1, 10).Draw(t, "heights")
		slices.Sort(heights)
		got := calc.Spread(heights, 0, 400)
		for i := 1; i < len(got); i++ {
			require.GreaterOrEqual(t, got[i]-got[i-1], calc.LineGap-1e-9)
		}
		require.GreaterOrEqual(t, got[0], -1e-9)
		require.LessOrEqual(t, got[len(got)-1], 400+1e-9)
	})
}

// Curves are told apart in colour, with a contrast of 4.5 and more on white
// (WCAG 2.2, 1.4.3), and without it, by their dashes.
func TestStrokesAreToldApart(t *testing.T) {
	dashes := map[string]bool{}
	for _, s := range calc.Strokes() {
		r, g, b, _ := s.Color.RGBA()
		luminance := 0.2126*linear(r) + 0.7152*linear(g) + 0.0722*linear(b)
		require.GreaterOrEqual(t, 1.05/(luminance+0.05), 4.5, "%v", s.Color)
		require.False(t, dashes[fmt.Sprint(s.Dashes)], "dashes %v are taken", s.Dashes)
		dashes[fmt.Sprint(s.Dashes)] = true
	}
}

func linear(c uint32) float64 {
	v := float64(c) / 0xffff
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}
