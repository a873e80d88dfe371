package picture_test

import (
	"encoding/xml"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/picture"
)

func flat(s string) string { return strings.Join(strings.Fields(s), " ") }

func TestPaletteContrast(t *testing.T) {
	require.InDelta(t, 21, picture.Contrast("#000000", "#FFFFFF"), 1e-9)
	require.InDelta(t, 1, picture.Contrast("#777777", "#777777"), 1e-9)
	for _, c := range picture.Shapes {
		require.GreaterOrEqual(t, picture.Contrast(c, picture.Paper), 4.5, "%s as text on paper", c)
		require.GreaterOrEqual(t, picture.Contrast(c, picture.Slab), 4.5, "%s as text on a slab", c)
	}
	require.GreaterOrEqual(t, picture.Contrast(picture.Ink, picture.WatchAmber), 4.5, "ink in the mark of watch")
	for _, tone := range picture.Ages {
		require.GreaterOrEqual(t, picture.Contrast(picture.On(tone), tone), 4.5, "an age in %s", tone)
		best := max(picture.Contrast(picture.Paper, tone), picture.Contrast(picture.Ink, tone))
		require.GreaterOrEqual(t, best, 3.0, "an outline on %s", tone)
	}
}

// The shades of age keep their order in grey, each a step from the next.
func TestAgesCanBeToldApartWithoutColour(t *testing.T) {
	for i := 1; i < len(picture.Ages); i++ {
		a, b := picture.Contrast(picture.Ages[i-1], "#000000"), picture.Contrast(picture.Ages[i], "#000000")
		require.Greater(t, b/a, 1.3, "shades %d and %d", i-1, i)
	}
}

func TestAgesRoundToTheSafeSide(t *testing.T) {
	for _, c := range []struct {
		young, old float64
		want       string
	}{
		{0, 0, "0.0 h"}, {0.05, 0.3, "0.0 to 0.3 h"}, {1.29, 1.31, "1.2 to 1.4 h"}, {2.5, 2.5, "2.5 h"}, {0.3, 0.3 + 1e-9, "0.3 h"},
		{9.96, 10.2, "9.9 to 11 h"}, {47.99, 48, "47 to 48 h"}, {999, 1001, "41 d"}, {48, 48, "48 h"},
	} {
		require.Equal(t, c.want, picture.Ago(c.young, c.old), "%v to %v", c.young, c.old)
	}
	require.Equal(t, "1.9", picture.Hours(1.99, math.Floor))
	require.Equal(t, "2.0", picture.Hours(1.91, math.Ceil))
}

func TestMinutesLeftRoundDown(t *testing.T) {
	for _, c := range []struct {
		state picture.FrontState
		min   float64
		want  string
	}{
		{picture.FrontLive, 132.9, "2 h 12 min left"}, {picture.FrontLive, 59.99, "59 min left"}, {picture.FrontClosing, 0.9, "closing, under 1 min left"},
		{picture.FrontClosing, 12.9, "closing, 12 min left"}, {picture.FrontLive, -0.2, "past limit by 1 min"}, {picture.FrontPastLimit, -7.5, "past limit by 8 min"},
		{picture.FrontPastLimit, 0, "past limit"}, {picture.FrontPastLimit, 3, "past limit"}, {"", 3, "past limit"}, {"", -61, "past limit by 1 h 01 min"},
	} {
		require.Equal(t, c.want, picture.Left(c.state, c.min), "%s %v", c.state, c.min)
	}
}

func TestRoundStep(t *testing.T) {
	for least, want := range map[float64]float64{0.3: 0.5, 1: 1, 1.01: 2, 4.9: 5, 5.1: 10, 70: 100, 0.02: 0.02, 0: 1, -3: 1} {
		require.InEpsilon(t, want, picture.RoundStep(least), 1e-9, "%v", least)
	}
	require.InDelta(t, 1, picture.RoundStep(math.NaN()), 0)
	require.InDelta(t, 1, picture.RoundStep(math.Inf(1)), 0)
}

func TestSpreadKeepsLabelsApart(t *testing.T) {
	at := []float64{10, 11, 12, 90}
	require.True(t, picture.Spread(at, 20, 0, 100))
	require.Equal(t, []float64{10, 30, 50, 90}, at)
	at = []float64{95, 96, 97}
	require.True(t, picture.Spread(at, 20, 0, 100))
	require.Equal(t, []float64{60, 80, 100}, at)
	require.False(t, picture.Spread([]float64{1, 2, 3}, 60, 0, 100))
	require.True(t, picture.Spread(nil, 60, 0, 100))
}

func TestNamesAreMadePlain(t *testing.T) {
	for in, want := range map[string]string{
		"North  wall\n2":       "North wall 2",
		"a\x00b\x1b[31mc":      "ab[31mc",
		"\u202egnorw\u202c ok": "gnorw ok",
		"bad \xff byte":        "bad ? byte",
		"Ærø – 2":              "Ærø – 2",
		" \t ":                 "",
		"\ufffe\uffff":         "",
	} {
		require.Equal(t, want, picture.Plain(in), "%q", in)
	}
}

func TestTextIsShortenedAndWrappedToItsRoom(t *testing.T) {
	require.Equal(t, "short", picture.Fit("short", 16, false, 100))
	got := picture.Fit("a name that goes on and on", 16, false, 100)
	require.True(t, strings.HasSuffix(got, "…"))
	require.LessOrEqual(t, picture.Wide(got, 16, false), 100.0)
	require.Empty(t, picture.Fit("wide", 16, false, 3))
	for _, line := range picture.Wrap("some words and one incomprehensibilitiesandmore of them", 16, true, 90) {
		require.LessOrEqual(t, picture.Wide(line, 16, true), 90.0, line)
	}
}

// Names may hold anything: the document stays one, and says them as they are.
func TestNamesAreEscaped(t *testing.T) {
	name := `<b onload="x">&'wall'` + "\x07\u202e"
	w := cured()
	w.Name, w.Openings[0].Name, w.Braces[0].Name, w.Corners[0].Name = name, "<W>", "B&1", `"C"`
	d := picture.DrawUnrolled(w, picture.Options{WidthPX: 1200})
	checkDrawing(t, d)
	require.NotContains(t, d.SVG().String(), "<b ")
	var doc struct {
		Title string   `xml:"title"`
		Texts []string `xml:"text"`
	}
	require.NoError(t, xml.Unmarshal(d.SVG(), &doc))
	require.Equal(t, `<b onload="x">&'wall', Harbour Road, unrolled`, doc.Title)
	for _, want := range []string{`<b onload="x">&'wall', Harbour Road`, "<W>", "B&1", `"C"`} {
		require.Contains(t, doc.Texts, want)
	}
}

// A name whose characters have no known width is set to the width that it got.
func TestUnknownCharactersAreSetToTheirRoom(t *testing.T) {
	w := planned()
	w.Corners[0].Name = "角"
	d := picture.DrawUnrolled(w, picture.Options{})
	require.Contains(t, d.SVG().String(), `textLength="16.8" lengthAdjust="spacingAndGlyphs">角</text>`)
}

func TestIDsAreTheCallers(t *testing.T) {
	require.Contains(t, picture.Unrolled(planned(), picture.Options{ID: "north-1"}).String(), `aria-labelledby="north-1-title north-1-desc"`)
	require.Contains(t, picture.Unrolled(planned(), picture.Options{ID: `"><script>`}).String(), `aria-labelledby="unrolled-title unrolled-desc"`)
}

// Across both changes of the clocks the axis runs on, and names each hour once
// or, where there are two of them, both.
func TestTimeAxisAcrossChangesOfTheClocks(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	require.NoError(t, err)
	for _, day := range []time.Time{time.Date(2026, 3, 8, 5, 0, 0, 0, time.UTC), time.Date(2026, 11, 1, 4, 0, 0, 0, time.UTC)} {
		p := picture.Pour{Name: "W", At: day.Add(6 * time.Hour), TopM: 2, Stretches: []picture.Stretch{
			{FromM: 0, ToM: 5, Steps: []picture.Step{{At: day, TopM: 1}, {At: day.Add(5 * time.Hour), TopM: 2}}}}}
		d := picture.DrawTimeline(p, picture.Options{Zone: zone})
		checkDrawing(t, d)
		x := map[string]float64{}
		for _, s := range look(d).texts() {
			x[s.Say] = s.At.X
		}
		require.Contains(t, x, "00:00", day)
		require.Contains(t, x, "04:00", day)
		hours := 4.0
		if day.Month() == time.March {
			hours = 3
		} else {
			hours = 5
		}
		perHour := (x["04:00"] - x["00:00"]) / hours
		require.InDelta(t, perHour, x["05:00"]-x["04:00"], 0.6, day)
	}
}

// The shades change at the ages that are asked for.
func TestAgeBorders(t *testing.T) {
	w := planned()
	w.Layers = []picture.Layer{layer(0, 7.3, 0, 0.6, ago(180), ago(180))}
	require.Contains(t, picture.Unrolled(w, picture.Options{}).String(), string(picture.Ages[2]))
	w.Layers[0].Began, w.Layers[0].Ended = ago(150), ago(150)
	shade := func(o picture.Options) picture.Color {
		for _, f := range look(picture.DrawUnrolled(w, o)).figures {
			for i, tone := range picture.Ages {
				if f.style.Fill == tone {
					return picture.Ages[i]
				}
			}
		}
		return ""
	}
	require.Equal(t, picture.Ages[2], shade(picture.Options{}), "at 2.5 h it is past that border")
	require.Equal(t, picture.Ages[0], shade(picture.Options{AgeBordersH: [4]float64{3, 6, 12, 48}}))
	require.Equal(t, picture.Ages[2], shade(picture.Options{AgeBordersH: [4]float64{3, 2, 12, 48}}), "borders that do not rise are the usual ones")
}
