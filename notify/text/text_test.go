package text_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/notify/text"
	"earlyage/scheduler"
)

func catalogue(t *testing.T, lang string) map[string]string {
	t.Helper()
	raw, err := os.ReadFile(lang + ".json")
	require.NoError(t, err)
	out := map[string]string{}
	require.NoError(t, json.Unmarshal(raw, &out))
	return out
}

var placeholder = regexp.MustCompile(`\{[a-z]+\}`)

func TestBothLanguagesAreWhole(t *testing.T) {
	en, es := catalogue(t, "en"), catalogue(t, "es")
	for key, said := range en {
		require.NotEmpty(t, es[key], key)
		want, have := placeholder.FindAllString(said, -1), placeholder.FindAllString(es[key], -1)
		slices.Sort(want)
		slices.Sort(have)
		require.Equal(t, want, have, key)
	}
	for _, kind := range events.AlertKinds() {
		for _, what := range []string{"name", "cause", "consequence", "action", "do"} {
			require.NotEmpty(t, es["alert."+kind+"."+what], "%s %s", kind, what)
		}
		require.LessOrEqual(t, utf8.RuneCountInString(es["alert."+kind+".do"]), 60, kind)
		require.NotEmpty(t, es["role."+string(events.ActsFirst(kind))], kind)
	}
	for key := range es {
		if kind, ok := strings.CutPrefix(key, "alert."); ok {
			kind, _, _ = strings.Cut(kind, ".")
			require.NotEmpty(t, events.ActsFirst(kind), "%s is of no kind", key)
			continue
		}
		require.Contains(t, en, key)
	}
}

// A text that no message holds is dead. Keys are written whole in the sources, or
// as a prefix to which a value of the record is added.
func TestEveryTextIsUsed(t *testing.T) {
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	var sources strings.Builder
	for _, file := range files {
		raw, err := os.ReadFile(file)
		require.NoError(t, err)
		if !strings.HasSuffix(file, "_test.go") {
			sources.Write(raw)
		}
	}
	for key := range catalogue(t, "en") {
		prefix, rest := key[:strings.LastIndexByte(key, '.')+1], key[strings.IndexByte(key, '.')+1:]
		used := strings.Contains(sources.String(), `"`+key+`"`) || prefix != "" && strings.Contains(sources.String(), `"`+prefix+`"`) ||
			strings.HasPrefix(key, "row.") && (strings.Contains(sources.String(), `"`+rest+`"`) || strings.HasPrefix(rest, "have."))
		require.True(t, used, key)
	}
}

// The quantities in the table's texts are put in US units on the safe side.
// The sizes of foot, inch and pound: international yard and pound, 1959.
func TestQuantitiesOfTheTableInUSUnits(t *testing.T) {
	number := regexp.MustCompile(`\d (mm|m|kPa|MPa|m/s|°C)\b`)
	for _, kind := range events.AlertKinds() {
		for _, lang := range []string{"en", "es"} {
			n := raised(kind)
			n.About, n.Text = nil, ""
			msg := text.Alert(n, facts(t, lang, "us"))
			require.NotRegexp(t, number, msg.Plain, kind)
		}
	}
	plain := func(kind string) string { return text.Alert(raised(kind), facts(t, "en", "us")).Plain }
	require.Contains(t, plain("frozen"), "before it had 508 psi.")
	require.GreaterOrEqual(t, 508*0.45359237*9.80665/(0.0254*0.0254)/1e6, 3.5)
	require.Contains(t, plain("load-slump"), "Over 6.8 in take")
	require.LessOrEqual(t, 6.8*25.4, 175.0)
	require.Contains(t, plain("brace-spacing"), "over 5.9 ft apart")
	require.LessOrEqual(t, 5.9*0.3048, 1.8)
	require.Contains(t, plain("wind-high"), "the wall's height + 4 ft")
	require.GreaterOrEqual(t, 4*0.3048, 1.2)
	require.Contains(t, plain("stop-misplaced"), "at least 2 ft past")
	require.GreaterOrEqual(t, 2*0.3048, 0.6)
}

// The exact sizes are those of the test above; the side to which a number is
// rounded is the one that costs time, or keeps people further off.
func TestNumbersAreRoundedToTheSafeSide(t *testing.T) {
	for _, c := range []struct {
		about events.About
		want  string
	}{
		{events.About{FromM: m(20), ToM: m(31.96)}, "65.6 to 104.9 ft"},                         // 65.617, 104.856: outwards
		{events.About{FromM: m(31.96), ToM: m(20)}, "104.8 to 65.7 ft"},                         // over the beginning of a wall that closes
		{events.About{FromM: m(6.096), ToM: m(12.192)}, "20.0 to 40.0 ft"},                      // exact
		{events.About{FromM: m(3.1)}, "at 10.1 ft"},                                             // 10.17
		{events.About{Measure: "height", Have: m(1.21), Limit: m(1.2)}, "4.0 ft, limit 3.9 ft"}, // 3.970, 3.937
		{events.About{Measure: "line", Have: m(9), Limit: m(6)}, "0.36 in, limit 0.23 in"},      // 0.354, 0.236
		{events.About{Measure: "temperature", Have: m(4.97), Limit: m(5)}, "40.9 °F, limit 41.0 °F"},
		{events.About{Measure: "temperature", Have: m(35.2), Limit: m(35)}, "95.4 °F, limit 95.0 °F"},
		{events.About{Measure: "wind", Have: m(15.1), Limit: m(15)}, "33.8 mph, limit 33.5 mph"},    // 33.778, 33.554
		{events.About{Measure: "pressure", Have: m(40.01), Limit: m(40)}, "836 psf, limit 835 psf"}, // 835.6, 835.4
		{events.About{Measure: "age", Have: m(90.2), Limit: m(90)}, "91 min, limit 90 min"},
		{events.About{Measure: "slump", Have: m(176), Limit: m(175)}, "7.0 in, limit 6.8 in"}, // 6.929, 6.890
		{events.About{Measure: "height", Limit: m(1.2)}, "limit 3.9 ft"},
		{events.About{Measure: "wind", Have: m(15.1)}, "33.8 mph"},
	} {
		n := raised("load-old")
		n.About = &c.about
		require.Contains(t, text.Alert(n, facts(t, "en", "us")).First, ", "+c.want+", since")
	}
}

func TestTheReadersUnitsGoBeforeTheSites(t *testing.T) {
	f := facts(t, "en", "")
	f.Site.Units = "us"
	require.Contains(t, text.Alert(raised("joint-closing"), f).First, "65.6 to 104.9 ft")
	f.Reader.Units = "si"
	require.Contains(t, text.Alert(raised("joint-closing"), f).First, "20.0 to 32.0 m")
	f.Reader.Units, f.Site.Units = "", ""
	require.Contains(t, text.Alert(raised("joint-closing"), f).First, "20.0 to 32.0 m")
}

func TestDeadlines(t *testing.T) {
	at := func(s string) time.Time {
		out, err := time.ParseInLocation("2006-01-02 15:04:05", s, denver(t))
		require.NoError(t, err)
		return out
	}
	for _, c := range []struct{ now, until, en, es string }{
		{"2026-11-03 13:13:05", "2026-11-03 13:17:59", "until 13:17 MST (3 min)", "hasta 13:17 MST (3 min)"},
		{"2026-11-03 13:13:00", "2026-11-03 13:17:00", "until 13:17 MST (4 min)", "hasta 13:17 MST (4 min)"},
		{"2026-11-03 13:17:20", "2026-11-03 13:17:59", "until 13:17 MST (0 min)", "hasta 13:17 MST (0 min)"},
		{"2026-11-03 13:17:59", "2026-11-03 13:17:59", "time up since 13:17 MST (0 min)", "vencido desde 13:17 MST (0 min)"},
		{"2026-11-03 13:20:10", "2026-11-03 13:17:10", "time up since 13:17 MST (3 min)", "vencido desde 13:17 MST (3 min)"},
		{"2026-11-03 23:58:00", "2026-11-04 00:12:00", "until Wed 4 Nov 00:12 MST (14 min)", "hasta mié 4 nov 00:12 MST (14 min)"},
		{"2026-12-31 23:58:00", "2027-01-01 00:12:00", "until Fri 1 Jan 2027 00:12 MST (14 min)", "hasta vie 1 ene 2027 00:12 MST (14 min)"},
		{"2026-11-03 08:00:00", "2026-11-03 09:59:00", "until 09:59 MST (119 min)", "hasta 09:59 MST (119 min)"},
		{"2026-11-03 08:00:00", "2026-11-03 10:59:00", "until 10:59 MST (2 h)", "hasta 10:59 MST (2 h)"},
		{"2026-11-03 08:00:00", "2026-11-06 07:59:00", "until Fri 6 Nov 07:59 MST (2 d)", "hasta vie 6 nov 07:59 MST (2 d)"},
	} {
		n := raised("joint-closing")
		n.About = &events.About{Until: at(c.until)}
		f := facts(t, "en", "si")
		f.Now = at(c.now)
		require.Contains(t, text.Alert(n, f).First, c.en)
		f.Reader.Lang = "es"
		require.Contains(t, text.Alert(n, f).First, c.es)
	}
}

// On the night of 1 November 2026 the clocks go back from 02:00 MDT to 01:00 MST
// (tz database): one hour has two names.
func TestTheHourThatComesTwiceIsToldApart(t *testing.T) {
	n := raised("joint-closing")
	f := facts(t, "en", "si")
	f.Now = time.Date(2026, 11, 1, 7, 20, 0, 0, time.UTC)
	n.About = &events.About{Until: f.Now.Add(10 * time.Minute)}
	require.Contains(t, text.Alert(n, f).First, "until 01:30 MDT (10 min)")
	n.About = &events.About{Until: f.Now.Add(70 * time.Minute)}
	require.Contains(t, text.Alert(n, f).First, "until 01:30 MST (70 min)")
}

func TestWhatCameOfAnAlert(t *testing.T) {
	n := raised("joint-closing")
	n.State, n.At, n.Text = notice.Cleared, now, ""
	msg := text.Alert(n, facts(t, "en", "us"))
	require.Equal(t, "Cleared: Joint closing: stone-draw, shop-a, 65.6 to 104.9 ft, at 13:13 MST", msg.First)
	require.Equal(t, msg.First, msg.Short, "there is nothing to do")
	require.Equal(t, "cleared", msg.What)
	require.Contains(t, msg.Plain, "What raised it is gone.")
	require.NotContains(t, msg.Plain, "What to do")
	require.Contains(t, msg.Plain, scheduler.Caution)
	require.Equal(t, "raised", text.Alert(raised("joint-closing"), facts(t, "en", "us")).What)

	shelved := notice.Notice{State: notice.Shelved, Kind: "probe-silent", Site: "stone-draw", Wall: "shop-a", At: now, Until: now.Add(time.Hour), By: "ines", Text: "changing its battery"}
	msg = text.Alert(shelved, facts(t, "es", "si"))
	require.Equal(t, "Aplazado: Sonda callada: stone-draw, shop-a, hasta 14:13 MST", msg.First)
	require.Contains(t, msg.Plain, "Por: ines\n")
	require.Contains(t, msg.Plain, "changing its battery")
}

func TestAKindOfALaterHubIsToldByItsToken(t *testing.T) {
	n := raised("strip-early")
	n.Kind, n.About, n.Wall = "crane-near", nil, ""
	msg := text.Alert(n, facts(t, "es", "si"))
	require.Equal(t, "crane near: stone-draw, desde 13:01 MST (12 min)", msg.First)
	require.Contains(t, msg.Plain, n.Text)
}

func TestTheWholeCompany(t *testing.T) {
	n := raised("stream-short")
	n.Site, n.Wall = "_", ""
	f := facts(t, "en", "si")
	f.Site = notice.Site{Token: "_"}
	msg := text.Alert(n, f)
	require.Equal(t, "Stream shorter than the record: all sites, since 20:01 UTC (12 min)", msg.First)
	require.True(t, msg.Urgent)
}

// GSM 03.38, the default alphabet and its extension (3GPP TS 23.038, 6.2.1).
const gsm = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà^{}\\[~]|€"

// The longest names, and a list of braces that no message holds.
func TestAShortMessageStaysShort(t *testing.T) {
	var braces []string
	for i := range 60 {
		braces = append(braces, fmt.Sprintf("north-brace-%02d", i))
	}
	seen := regexp.MustCompile(`(until|time up since|hasta|vencido desde) (\S+ \d+ \S+ )?\d\d:\d\d \S+ \(\d+ (min|h|d)\)`)
	for _, kind := range events.AlertKinds() {
		for _, lang := range []string{"en", "es"} {
			for _, units := range []string{"si", "us"} {
				for _, until := range []time.Duration{4 * time.Minute, 20 * time.Hour, -30 * time.Hour} {
					n := raised(kind)
					n.Wall = strings.Repeat("w", 40)
					n.About = &events.About{
						FromM: m(1912.3), ToM: m(1987.6), Braces: braces, Load: strings.Repeat("9", 80), Device: strings.Repeat("d", 80),
						Measure: "temperature", Have: m(-18.77), Limit: m(-10.5), ClearM: m(13.27), Until: now.Add(until),
					}
					f := facts(t, lang, units)
					f.Site.Name = strings.Repeat("S", 40)
					msg := text.Alert(n, f)
					require.Less(t, utf8.RuneCountInString(msg.Short), 160, msg.Short)
					deadline := seen.FindString(msg.First)
					require.NotEmpty(t, deadline, msg.First)
					require.Contains(t, msg.Short, deadline)
					require.Contains(t, msg.Short, "www", "the wall is named: %s", msg.Short)
					require.Contains(t, msg.Short, lastWords(t, kind, lang), msg.Short)
					if lang == "en" {
						for _, r := range msg.Short {
							require.Contains(t, gsm, string(r), msg.Short)
						}
					}
				}
			}
		}
	}
}

// lastWords is the end of what a kind asks for in short: numbers may stand before it.
func lastWords(t *testing.T, kind, lang string) string {
	t.Helper()
	do := scheduler.AlertKinds[kind].Do
	if lang == "es" {
		do = catalogue(t, "es")["alert."+kind+".do"]
	}
	words := strings.Fields(strings.TrimSuffix(do, "."))
	return strings.Join(words[max(0, len(words)-3):], " ")
}

// number finds what looks like one.
var number = regexp.MustCompile(`\d+(\.\d+)?`)

// Every number of a first line is one of the notice's, or of the clock.
func TestNoFirstLineHoldsAFalseNumber(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		metres := rapid.Float64Range(0, 2000)
		a := &events.About{FromM: m(metres.Draw(r, "from")), ToM: m(metres.Draw(r, "to"))}
		a.Measure = rapid.SampledFrom([]string{"height", "line", "temperature", "wind", "pressure", "age", "slump"}).Draw(r, "measure")
		a.Have, a.Limit = m(rapid.Float64Range(-40, 500).Draw(r, "have")), m(rapid.Float64Range(-40, 500).Draw(r, "limit"))
		a.Until = now.Add(time.Duration(rapid.Int64Range(-5e12, 5e12).Draw(r, "until")))
		n := raised("load-old")
		n.About = a
		us := rapid.Bool().Draw(r, "us")
		f := facts(t, "en", map[bool]string{true: "us", false: "si"}[us])
		first := text.Alert(n, f).First
		low, high := scaled("station", *a.FromM, us), scaled("station", *a.ToM, us)
		have, limit := scaled(a.Measure, *a.Have, us), scaled(a.Measure, *a.Limit, us)
		until := a.Until.In(denver(t))
		var nums []float64
		for _, found := range regexp.MustCompile(`-?\d+(\.\d+)?`).FindAllString(strings.Replace(first, "stone-draw, shop-a", "", 1), -1) {
			var x float64
			_, err := fmt.Sscan(found, &x)
			require.NoError(r, err)
			nums = append(nums, x)
		}
		if *a.FromM == *a.ToM {
			return
		}
		require.GreaterOrEqual(r, len(nums), 7, first)
		step := func(i int, want, most float64) {
			require.InDelta(r, want, nums[i], most, first)
		}
		step(0, low, 0.1)
		step(1, high, 0.1)
		require.LessOrEqual(r, nums[0], low+1e-6)
		require.GreaterOrEqual(r, nums[1], high-1e-6)
		step(2, have, 1)
		step(3, limit, 1)
		if *a.Have >= *a.Limit {
			require.GreaterOrEqual(r, nums[2]-nums[3], have-limit-1e-5, "never a smaller step over the limit")
		} else {
			require.LessOrEqual(r, nums[2]-nums[3], have-limit+1e-5)
		}
		require.Contains(r, first, until.Format("15:04 MST"))
		if left := a.Until.Sub(now); left > 0 && left < 2*time.Hour {
			require.LessOrEqual(r, nums[len(nums)-1], left.Minutes())
			require.Greater(r, nums[len(nums)-1], left.Minutes()-2)
		}
	})
}

// scaled is the value in the reader's unit, by the sizes of 1959.
func scaled(measure string, x float64, us bool) float64 {
	if !us {
		return x
	}
	switch measure {
	case "station", "height":
		return x / 0.3048
	case "line", "slump":
		return x / 25.4
	case "temperature":
		return x*9/5 + 32
	case "wind":
		return x / 0.44704
	case "pressure":
		return x / 0.04788025898
	}
	return x
}

func TestOnlyAWebLinkIsLinked(t *testing.T) {
	for link, kept := range map[string]bool{
		"https://hub.example/": true, "http://10.0.0.1:8080/a?b=c": true, "javascript:alert(1)": false, "": false, "/wall": false,
		"https://hub.example/\r\nX: y": false, "https://hub.example/a b": false, "ftp://hub.example/": false, "https:": false,
	} {
		f := facts(t, "en", "si")
		f.Link = link
		msg := text.Alert(raised("line-due"), f)
		require.Equal(t, kept, msg.Link == link && link != "", link)
		require.Equal(t, kept, strings.Contains(msg.HTML, "<a "), link)
		require.Equal(t, kept, strings.Contains(msg.Plain, "Open: "), link)
	}
}

func TestAMessageSaysWhatItIsOf(t *testing.T) {
	n := raised("joint-closing")
	msg := text.Alert(n, facts(t, "en", "si"))
	require.Equal(t, []string{n.Alert}, msg.Alerts)
	require.Equal(t, "joint-closing", msg.Kind)
	require.Equal(t, "stone-draw", msg.Site)
	require.Equal(t, "shop-a", msg.Wall)
	require.Equal(t, scheduler.Urgent, msg.Priority)
	require.True(t, msg.Urgent)
	require.Equal(t, now, msg.At)
	require.Equal(t, "dara", msg.To.Person)
	require.Regexp(t, number, msg.First)
	tried := text.Test(facts(t, "es", "si"))
	require.Equal(t, "test", tried.What)
	require.Equal(t, "Prueba: así se te avisa, stone-draw, 13:13 MST", tried.First)
	require.False(t, tried.Urgent)
}
