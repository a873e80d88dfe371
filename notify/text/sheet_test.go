package text_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/notify/text"
	"earlyage/scheduler"
)

func issued(sheet string) notice.Notice {
	dawn := time.Date(2026, 11, 3, 13, 0, 0, 0, time.UTC) // 06:00 in the site's zone
	return notice.Notice{
		State: notice.Sheet, Site: "stone-draw", At: dawn, Recorded: dawn,
		Issued: &events.SheetIssued{Sheet: sheet, Date: "2026-11-03", At: dawn, Rules: scheduler.Rules, Walls: []events.SheetWall{
			{Wall: "shop-a", What: "overdue", At: dawn.Add(-50 * time.Hour), Braces: 12},
			{Wall: "shop-b", What: "may-strip", At: dawn.Add(-90 * time.Second), Braces: 1},
			{Wall: "shop-c", What: "expected", At: dawn.Add(9*time.Hour + 20*time.Second), Braces: 8},
			{Wall: "shop-d", What: "waiting", Text: "cured, waits for hold", Braces: 6},
			{Wall: "shop-e", What: "waiting", At: dawn.Add(60 * time.Hour), Frost: "from Wed 4 Nov 03:00 MST, -3.0 °C"},
		}},
	}
}

func TestSheets(t *testing.T) {
	for _, v := range []struct{ name, lang, units string }{{"si-en", "en", "si"}, {"us-es", "es", "us"}} {
		t.Run(v.name, func(t *testing.T) {
			var b strings.Builder
			for _, sheet := range []string{"", events.EveningSheet, events.WeeklySheet, events.DailyBeat} {
				msg := text.Sheet(issued(sheet), called(facts(t, v.lang, v.units)))
				require.Equal(t, "sheet", msg.What)
				require.Empty(t, msg.Attach)
				fmt.Fprintf(&b, "== %q\nfirst: %s\nshort: %s\n\n%s\n", sheet, msg.First, msg.Short, msg.Plain)
			}
			golden(t, "sheets-"+v.name+".txt", b.String())
		})
	}
}

func TestASheetShowsTheCautionAndABeatOnlyThatTheHubIsAlive(t *testing.T) {
	msg := text.Sheet(issued(events.MorningSheet), facts(t, "en", "si"))
	require.Contains(t, msg.Plain, scheduler.Caution)
	require.Contains(t, msg.HTML, "Do not strip a wall that a competent person has not examined.")
	beat := text.Sheet(issued(events.DailyBeat), facts(t, "en", "si"))
	require.Equal(t, "Alive: stone-draw, Tue 3 Nov 06:00 MST\n", beat.Plain)
	require.NotContains(t, beat.HTML, "<a ")
}

// What the scheduler puts into a line (scheduler/sheet.go), in Spanish.
func TestALineOfASheetInSpanish(t *testing.T) {
	for said, want := range map[string]string{
		"cured, waits for hold":                                           "curado, falta: sin retención",
		"still being placed; cured, waits for wind; who knows":            "aún se está vertiendo; curado, falta: viento; who knows",
		"braced since Sun 1 Nov 04:00 MST; curing, waits for temperature": "apuntalado desde dom 1 nov 04:00 MST; curando, falta: temperatura",
		"braced; window open":                                             "apuntalado; plazo abierto",
		"braced; handed over":                                             "apuntalado; entregado",
		"3 more walls are not on this sheet; placing, waits for complete": "3 muros más no están en este parte; vertiendo, falta: completo",
		"curing, waits for something-new":                                 "curando, falta: something-new",
		"braced since Sun 1 Nov 04:00 MST and more; Curing":               "braced since Sun 1 Nov 04:00 MST and more; Curing",
	} {
		n := issued("")
		n.Issued.Walls = []events.SheetWall{{Wall: "shop-a", What: "waiting", Text: said}}
		require.Contains(t, text.Sheet(n, facts(t, "es", "si")).Plain, "- shop-a ("+want+")\n")
		require.Contains(t, text.Sheet(n, facts(t, "en", "si")).Plain, "- shop-a ("+said+")\n")
	}
}

func TestASheetWithoutWallsSaysSo(t *testing.T) {
	n := issued("")
	n.Issued.Walls = nil
	msg := text.Sheet(n, facts(t, "en", "si"))
	require.Equal(t, "Morning sheet: stone-draw, Tue 3 Nov 2026: no wall stands in its bracing", msg.First)
}

func flood(t *testing.T) []notice.Notice {
	t.Helper()
	var list []notice.Notice
	add := func(kind, site, wall string) {
		n := raised(kind)
		n.Site, n.Wall, n.Alert = site, wall, fmt.Sprintf("alert-%d", len(list))
		list = append(list, n)
	}
	for i := range 6 {
		add("probe-silent", "stone-draw", fmt.Sprintf("shop-%c", 'a'+i))
	}
	add("load-old", "stone-draw", "shop-a")
	add("joint-closing", "mill-yard", "pit-2")
	add("joint-closing", "mill-yard", "pit-2")
	list[len(list)-1].About = &events.About{Until: now.Add(2 * time.Minute)}
	add("strip-early", "stone-draw", "shop-b")
	add("record-gap", "stone-draw", "")
	over := raised("joint-closing")
	over.State, over.At, over.Alert = notice.Cleared, now, "alert-over"
	return append(list, over)
}

func TestASummaryPutsTheMostUrgentFirst(t *testing.T) {
	f := facts(t, "en", "us")
	f.Sites = map[string]notice.Site{"mill-yard": {Token: "mill-yard", Name: "Mill Yard"}}
	msg := text.Summary(flood(t), f)
	require.Equal(t, "12 alerts, first: Joint closing: Mill Yard, pit-2, until 13:15 MST (1 min)", msg.First)
	require.Equal(t, "Joint closing: Mill Yard, pit-2, until 13:15 MST (1 min). Place on this stretch now, or stop at a planned place +11 more", msg.Short)
	require.Equal(t, "summary", msg.What)
	require.Equal(t, "_", msg.Site)
	require.True(t, msg.Urgent)
	require.Len(t, msg.Alerts, 12)
	require.Empty(t, msg.Kind)
	require.Contains(t, msg.Plain, strings.Join([]string{
		"- 2 × Joint closing, Mill Yard: pit-2, until 13:15 MST (1 min)",
		"- 1 × Brace stripped early, stone-draw: shop-b, since 13:01 MST (12 min)",
		"- 1 × Load too old, stone-draw: shop-a, since 13:01 MST (12 min)",
		"- 1 × Record gap, stone-draw, since 13:01 MST (12 min)",
		"- 6 × Probe silent, stone-draw: shop-a, shop-b, shop-c and 3 more, since 13:01 MST (12 min)",
		"- 1 × Cleared: Joint closing, stone-draw: shop-a, at 13:13 MST",
	}, "\n"))
	require.Contains(t, msg.Plain, "Open: https://hub.example/")
}

// A summary of one alert says what the alert itself does; one of none says so.
func TestASummaryOfOneAndOfNone(t *testing.T) {
	f := facts(t, "en", "us")
	one := []notice.Notice{raised("line-due")}
	require.Equal(t, text.Alert(one[0], f).First, text.Summary(one, f).First)
	require.Equal(t, text.Alert(one[0], f).Short, text.Summary(one, f).Short)
	require.Equal(t, "No alert", text.Summary(nil, f).First)
}
