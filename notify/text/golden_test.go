package text_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/notify/text"
	"earlyage/scheduler"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// now is 13:13:05 on a working day of the demo's climate.
var now = time.Date(2026, 11, 3, 20, 13, 5, 0, time.UTC)

func denver(t testing.TB) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("America/Denver")
	require.NoError(t, err)
	return zone
}

func facts(t testing.TB, lang, units string) text.Facts {
	return text.Facts{
		Now: now, Link: "https://hub.example/wall/stone-draw/shop-a",
		Site:   notice.Site{Token: "stone-draw", Name: "stone-draw", Zone: denver(t), Units: "si"},
		Reader: notice.Reader{Person: "dara", Name: "Dara", Lang: lang, Units: units},
		Told:   []string{"Ines"}, Next: "Marek", NextAt: now.Add(2 * time.Minute),
	}
}

// called gives facts the names that people use of the site and some walls.
func called(f text.Facts) text.Facts {
	f.Site.Name = "Alder Court"
	f.Walls = map[notice.Place]string{}
	for wall, name := range map[string]string{"shop-a": "North 2", "shop-b": "Stair wall", "shop-c": "Lift pit", "shop-d": "South 1", "shop-e": "Plinth"} {
		f.Walls[notice.Place{Site: f.Site.Token, Wall: wall}] = name
	}
	return f
}

func m(x float64) *float64 { return &x }

// about is what the alerts of each kind are about, as one day might bring it.
var about = map[string]*events.About{
	"joint-closing":     {FromM: m(20), ToM: m(31.96), Until: now.Add(4*time.Minute + 10*time.Second)},
	"joint-at-risk":     {FromM: m(20), ToM: m(31.96), Until: now.Add(14 * time.Minute)},
	"joint-cold":        {FromM: m(3), ToM: m(4.5), Measure: "age", Have: m(94.2), Limit: m(90)},
	"rise-fast":         {FromM: m(8), ToM: m(12), Measure: "height", Have: m(1.31), Limit: m(1.2)},
	"pressure-high":     {FromM: m(8), ToM: m(12), Measure: "pressure", Have: m(43.13), Limit: m(40)},
	"opening-uneven":    {FromM: m(8), ToM: m(12), Measure: "height", Have: m(0.42), Limit: m(0.3)},
	"line-out":          {FromM: m(6), ToM: m(9), Measure: "line", Have: m(9), Limit: m(6), Until: now.Add(38 * time.Minute)},
	"line-due":          {Until: now.Add(-3 * time.Minute)},
	"load-old":          {Load: "14", Measure: "age", Have: m(96), Limit: m(90)},
	"load-temperature":  {Load: "14", Measure: "temperature", Have: m(8.2), Limit: m(10)},
	"load-slump":        {Load: "14", Measure: "slump", Have: m(190), Limit: m(175)},
	"brace-spacing":     {FromM: m(12), ToM: m(14.4)},
	"brace-disturbed":   {Braces: []string{"b4"}, ClearM: m(3.9)},
	"strip-early":       {Braces: []string{"b1", "b2", "b3"}, ClearM: m(3.9)},
	"strip-unpermitted": {Braces: []string{"b1", "b2", "b3", "b4", "b5", "b6", "b7", "b8", "b9"}, ClearM: m(3.9)},
	"permit-early":      {Braces: []string{"b1", "b2"}},
	"permit-shaken":     {Braces: []string{"b1", "b2", "b3"}, Until: now.Add(5 * time.Hour)},
	"face-early":        {ClearM: m(3.9)},
	"frost-ahead":       {Measure: "temperature", Have: m(-3), Limit: m(0), Until: now.Add(13 * time.Hour)},
	"wind-high":         {Measure: "wind", Have: m(18.4), Limit: m(15), ClearM: m(3.9)},
	"record-gap":        {Device: "phone-7"},
	"brace-overdue":     {Braces: []string{"b1", "b2"}},
}

func raised(kind string) notice.Notice {
	return notice.Notice{
		State: notice.Raised, Alert: "alert-" + kind, Kind: kind, Cause: "cause", Site: "stone-draw", Wall: "shop-a",
		Priority: scheduler.AlertKinds[kind].Priority, Since: now.Add(-12 * time.Minute), About: about[kind],
		Text: "What the hub wrote, in SI units.", Seq: 9, Recorded: now,
	}
}

func TestEveryKindInEveryTongue(t *testing.T) {
	for _, v := range []struct{ name, lang, units string }{{"si-en", "en", "si"}, {"us-en", "en", "us"}, {"si-es", "es", "si"}} {
		t.Run(v.name, func(t *testing.T) {
			var b strings.Builder
			for _, kind := range events.AlertKinds() {
				msg := text.Alert(raised(kind), called(facts(t, v.lang, v.units)))
				fmt.Fprintf(&b, "== %s\nfirst: %s\nshort: %s\n\n%s\n", kind, msg.First, msg.Short, msg.Plain)
			}
			golden(t, v.name+".txt", b.String())
		})
	}
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o750))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o600))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got, "rewrite with -update")
}
