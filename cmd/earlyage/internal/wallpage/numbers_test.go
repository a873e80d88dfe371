package wallpage_test

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/projector"
	"earlyage/scheduler"
)

// rows reads a table as the page shows it.
func rows(tab *browser.Tab, id string) [][]string {
	return browser.Ask[[][]string](tab, `[...document.querySelectorAll("#`+id+` tbody tr")].map(r => [...r.cells].map(c => c.textContent.trim()))`)
}

// Every number of the window, the braces and the sheet is what the assessment
// says, written by the rules of faces: a time to strip up, what has been down.
func TestNumbersAreTheAssessments(t *testing.T) {
	store := week(t).fold(noon)
	s := serve(t, store, noon)
	tab := suite.Browser(t).Tab("numbers", browser.Desk)
	oslo, err := store.Zone(t.Context(), wall1.Site)
	require.NoError(t, err)
	up := func(at time.Time) string {
		if at.IsZero() {
			return ""
		}
		return face.Strip(at, oslo)
	}
	for _, name := range []string{"wall-1", "wall-2", "yard", "cellar"} {
		var sheet scheduler.Sheet
		require.NoError(t, store.Wall(t.Context(), scheduler.Ref{Site: wall1.Site, Wall: name}, time.Time{}, func(in wallpage.Input) error { sheet = in.Sheet; return nil }))
		a := sheet.Assessment
		tab.Open(s.address + "/walls/tverrbakken/" + name)
		table := rows(tab, "criteria")
		require.Len(t, table, len(a.Strip.Criteria), name)
		for i, c := range a.Strip.Criteria {
			state := map[bool]string{true: "met", false: "not met"}[c.Met]
			if !c.Met && !c.MetAt.IsZero() {
				state = "will be met"
			}
			require.Equal(t, []string{state, up(c.MetAt)}, table[i][1:3], "%s %s", name, c.Name)
			require.Contains(t, table[i][3], c.Have, "%s %s", name, c.Name)
			require.Contains(t, table[i][4], c.Need, "%s %s", name, c.Name)
			require.Equal(t, c.Note, table[i][5], "%s %s", name, c.Name)
		}
		numbersOfBraces(t, tab, name, a, up, oslo)
		numbersOfHours(t, tab, name, sheet, oslo)
		numbersOfRules(t, tab, name, sheet, up)
		numbersOfExpected(t, tab, name, a, oslo)
	}
}

func numbersOfBraces(t *testing.T, tab *browser.Tab, name string, a scheduler.Assessment, up func(time.Time) string, _ *time.Location) {
	t.Helper()
	table := rows(tab, "register")
	require.Len(t, table, len(a.Braces), name)
	for i, b := range a.Braces {
		require.Equal(t, []string{b.Name, fmt.Sprintf("%.2f m", b.AtM)}, table[i][:2], name)
		require.Equal(t, up(b.ClockZero), table[i][4], "%s %s", name, b.Name)
		switch {
		case !b.Strip.Earliest.IsZero():
			require.Equal(t, up(b.Strip.Earliest), table[i][5], "%s %s", name, b.Name)
		case !b.Strip.CuredAt.IsZero():
			require.Equal(t, "cured "+up(b.Strip.CuredAt), table[i][5], "%s %s", name, b.Name)
		case b.Strip.Expected.Likely.After(a.At):
			require.Equal(t, "expected "+up(b.Strip.Expected.Likely), table[i][5], "%s %s", name, b.Name)
		default:
			require.Empty(t, table[i][5], "%s %s", name, b.Name)
		}
		require.Equal(t, b.Waits, table[i][6], "%s %s", name, b.Name)
	}
}

func numbersOfHours(t *testing.T, tab *browser.Tab, name string, sheet scheduler.Sheet, oslo *time.Location) {
	t.Helper()
	table := rows(tab, "hours")
	require.Len(t, table, len(sheet.Hours)+len(sheet.Resets), name)
	if len(sheet.Resets) > 0 {
		return
	}
	for i, h := range sheet.Hours {
		mean := ""
		if h.Counted > 0 {
			mean = fmt.Sprintf("%.1f °C", float64(h.CentiC)/100)
		}
		source := h.Source
		if h.Frozen {
			source = "frost, " + source
		}
		require.Equal(t, []string{face.Past(h.At, oslo), fmt.Sprintf("%d of %d min", h.Counted/60, h.Seconds/60), mean, source}, table[i][:4], "%s %s", name, h.At)
		for n := range sheet.Weighed {
			down := func(ns, of int64) string { return fmt.Sprintf("%.3f", math.Floor(float64(ns)/float64(of)*1000)/1000) }
			require.Equal(t, []string{down(h.Earned[n], 1e9) + " s", down(h.Sum[n], 3600e9) + " h"}, table[i][4+2*n:6+2*n], "%s %s", name, h.At)
		}
	}
}

func numbersOfRules(t *testing.T, tab *browser.Tab, name string, sheet scheduler.Sheet, up func(time.Time) string) {
	t.Helper()
	table := rows(tab, "others")
	require.Len(t, table, len(sheet.Others), name)
	for i, r := range sheet.Others {
		require.Contains(t, table[i][0], r.Name, name)
		require.Equal(t, []string{strings.TrimSpace(r.Have + " " + unitOf(r.Have, r.Unit)), strings.TrimSpace(r.Need + " " + unitOf(r.Need, r.Unit))}, table[i][1:3], "%s %s", name, r.Name)
		if !r.MetAt.IsZero() {
			require.Equal(t, up(r.MetAt), table[i][3], "%s %s", name, r.Name)
		}
		require.Equal(t, []string{r.Source, r.Note}, table[i][4:6], "%s %s", name, r.Name)
	}
}

// unitOf is the unit beside a number; words have none.
func unitOf(value, unit string) string {
	var x float64
	if _, err := fmt.Sscanf(value, "%g", &x); err != nil || strings.ContainsAny(value, " ") {
		return ""
	}
	return unit
}

func numbersOfExpected(t *testing.T, tab *browser.Tab, name string, a scheduler.Assessment, oslo *time.Location) {
	t.Helper()
	shown := browser.Ask[[]string](tab, `[...document.querySelectorAll("#three dd")].map(e => e.textContent.trim())`)
	if !a.Strip.CuredAt.IsZero() || a.Strip.Expected.Likely.IsZero() {
		require.Empty(t, shown, name)
		return
	}
	var want []string
	for _, at := range []time.Time{a.Strip.Expected.Early, a.Strip.Expected.Likely, a.Strip.Expected.Late} {
		say := "not known"
		if !at.IsZero() {
			say = face.Strip(at, oslo)
		}
		want = append(want, say)
	}
	require.Equal(t, want, shown, name)
	require.Contains(t, tab.Text("#caution"), scheduler.Caution)
}

// Before and after an amendment the page shows what was known at either time.
func TestAsOfShowsWhatWasKnown(t *testing.T) {
	s := week(t).fold(noon)
	before, after, signed := noon.Add(-91*time.Hour), noon.Add(-89*time.Hour), noon.Add(-74*time.Hour)
	zero := func(at time.Time) time.Time { return look(t, s, wall1, at).Sheet.Zero.At }
	typed := time.Date(2026, 11, 3, 9, 18, 0, 0, time.UTC)
	require.Equal(t, typed, zero(before))
	// The later end counts at once, and still after the second person.
	require.Equal(t, typed.Add(time.Hour+15*time.Minute), zero(after), "remembered: a quarter of an hour to the safe side")
	require.False(t, zero(signed).Before(typed.Add(time.Hour)))

	of := func(at time.Time) wallpage.Entry {
		for _, e := range look(t, s, wall1, at).Timeline {
			if e.Kind == "lift.placed" && strings.Contains(e.Data, `"top_m":2.4`) {
				return e
			}
		}
		require.FailNow(t, "no lift to 2.4 m", "%s", at)
		return wallpage.Entry{}
	}
	require.Empty(t, of(before).Changes)
	require.True(t, of(after).Amended())
	for _, e := range look(t, s, wall1, before).Timeline {
		require.False(t, e.Recorded.After(before), "message %d", e.Seq)
	}
	_, err := wallpage.AsOf(nil, wall1, noon)
	require.ErrorIs(t, err, wallpage.ErrNoWall)
}

func TestMoments(t *testing.T) {
	s := serve(t, week(t).fold(noon), noon)
	for moment, want := range map[string]string{
		"2026-11-04T15:00":       "as of Wed 4 Nov 2026 15:00 CET",
		"2026-11-04T15:00:00Z":   "as of Wed 4 Nov 2026 16:00 CET",
		"2026-11-04T15:00-05:00": "as of Wed 4 Nov 2026 21:00 CET",
		"2027-01-01T00:00":       "as of Sun 8 Nov 2026 10:45 CET", // to come: the present
		"":                       "as of Sun 8 Nov 2026 10:45 CET",
	} {
		path := "/walls/tverrbakken/wall-1?as-of=" + strings.ReplaceAll(moment, "+", "%2B")
		if strings.HasSuffix(moment, "-05:00") {
			path = strings.Replace(path, "15:00-05:00", "15:00:00-05:00", 1)
		}
		require.Contains(t, s.get(t, path, http.StatusOK), want, moment)
	}
	s.get(t, "/walls/tverrbakken/wall-1?as-of=yesterday", http.StatusBadRequest)
	s.get(t, "/walls/tverrbakken/wall-1?as-of=2026-11-01T12:00", http.StatusNotFound)
	s.get(t, "/walls/tverrbakken/nothing", http.StatusNotFound)
	s.get(t, "/walls/elsewhere/wall-1", http.StatusNotFound)
}

func TestFilters(t *testing.T) {
	s := serve(t, week(t).fold(noon), noon)
	count := func(query string) int {
		return strings.Count(s.get(t, "/walls/tverrbakken/wall-1?"+query, http.StatusOK), `<div class="e-when">`)
	}
	all := count("")
	require.Equal(t, 4, count("kind=lift.placed"))
	require.Equal(t, 4, count("kind=lift"))
	require.Equal(t, 1, count("q=HAIRLINE"))
	require.Equal(t, 0, count("kind=lift&q=hairline"))
	require.Equal(t, 3, count("kind=!"))
	require.Greater(t, count("kind=temperature.read"), 100, "each reading by itself")
	require.Greater(t, all, 40)
	require.Less(t, all, 100, "readings stand together")
	require.Contains(t, s.get(t, "/walls/tverrbakken/wall-1?q=%3Cscript%3E", http.StatusOK), `value="&lt;script&gt;"`)
}

// Nothing is lost: every message that names the wall stands on its timeline.
func TestNoMessageIsLeftOut(t *testing.T) {
	s := week(t).fold(noon)
	page := look(t, s, wall1, time.Time{})
	var want []uint64
	require.NoError(t, s.p.Read(func(v projector.View) error {
		return v.Leaves(projector.Ref(wall1), func(l projector.Leaf) error { want = append(want, l.Seq); return nil })
	}))
	var got []uint64
	for _, e := range page.Timeline {
		got = append(got, e.Seq)
	}
	require.Equal(t, want, got)
}

// Whoever does not see a site is told nothing of it.
func TestSight(t *testing.T) {
	store := week(t).fold(noon)
	store.sight = board.Sight{Sites: []string{"elsewhere"}}
	s := serve(t, store, noon)
	s.get(t, "/walls/tverrbakken/wall-1", http.StatusNotFound)
	page := s.get(t, "/exceptions", http.StatusOK)
	require.NotContains(t, page, "Stable")
	require.Contains(t, page, "No wall has an exception now.")
}

// A record that is not level says nothing may be stripped.
func TestNotLevel(t *testing.T) {
	store := week(t).fold(noon)
	yard := scheduler.Ref{Site: wall1.Site, Wall: "yard"}
	require.NoError(t, store.Wall(t.Context(), yard, time.Time{}, func(in wallpage.Input) error {
		require.True(t, wallpage.Make(in).MayStrip)
		in.Level = false
		require.False(t, wallpage.Make(in).MayStrip)
		in.Level, in.Doubts = true, []string{"the clock jumped"}
		require.False(t, wallpage.Make(in).MayStrip)
		in.Doubts, in.AsOf = nil, true
		require.False(t, wallpage.Make(in).MayStrip)
		return nil
	}))
	page := notLevel{store}
	s := serve(t, page, noon)
	require.NotContains(t, s.get(t, "/walls/tverrbakken/yard", http.StatusOK), "may strip")
	require.NotContains(t, s.get(t, "/exceptions", http.StatusOK), "may strip")
	require.NotContains(t, s.get(t, "/exceptions", http.StatusOK), "window open<")
}

// notLevel is a store that is not level with its stream.
type notLevel struct{ *store }

func (s notLevel) Wall(ctx context.Context, ref scheduler.Ref, at time.Time, see func(wallpage.Input) error) error {
	return s.store.Wall(ctx, ref, at, func(in wallpage.Input) error { in.Level = false; return see(in) })
}

func (s notLevel) Look(ctx context.Context, see func(board.Input) error) error {
	return s.store.Look(ctx, func(in board.Input) error { in.Level = false; return see(in) })
}
