package checks_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler/checks"
)

func ptr(v float64) *float64 { return &v }

// every runs over all items of all lists.
func every(each func(list string, i checks.Item)) {
	for _, name := range checks.Names() {
		for _, i := range checks.Items(name, nil) {
			each(name, i)
		}
	}
}

func TestEveryItemIsWhole(t *testing.T) {
	require.NotEmpty(t, checks.Version())
	seen := map[string]bool{}
	stops := 0
	every(func(list string, i checks.Item) {
		require.True(t, events.IsToken(i.ID), "%s", i.ID)
		require.NotEqual(t, checks.Rest, i.ID)
		require.False(t, seen[list+i.ID], "%s twice", i.ID)
		seen[list+i.ID] = true
		require.NotEmpty(t, i.Text, i.ID)
		require.NotEmpty(t, i.Reason, i.ID)
		require.Contains(t, []string{"found", "from memory", "common practice, no source"}, i.Status, i.ID)
		require.Equal(t, i.Status == "common practice, no source" && !strings.Contains(i.Source, "from memory"), i.Source == "", "%s: what has a source names it", i.ID)
		figure := i.Least != nil || i.Most != nil || i.Value != nil
		require.Equal(t, figure, i.Unit != "", "%s: a figure has a unit", i.ID)
		require.Equal(t, figure, i.Tolerance() != "", i.ID)
		if i.Stop {
			require.True(t, i.Asks(), "%s: a stop item is answered with a number", i.ID)
			stops++
		}
	})
	require.Equal(t, 8, stops)
	require.GreaterOrEqual(t, len(checks.Items(checks.Before, nil)), 18)
	require.GreaterOrEqual(t, len(checks.Items(checks.During, nil)), 13)
	require.GreaterOrEqual(t, len(checks.Items(checks.After, nil)), 12)
}

// Facts of the trade, each common practice without a source.
func TestFiguresOfTheTrade(t *testing.T) {
	want := map[string]string{
		"before/top-stop": "38 mm", "before/dowels-ready": "1 m", "before/pump-hose": "at most 76 mm", "before/pump-reducer": "at most 102 mm",
		"before/vibrator-head": "19 to 25 mm", "before/brace-spacing": "at most 1.8 m", "before/rate-card": "at most 1.2 m/h",
		"during/lift-height": "at most 1.2 m", "during/drawn-slowly": "at most 100 mm/s", "after/braces-stay": "at least 48 h",
		"before/line-clear": "", "before/set-hollow": "", "before/top-covered": "", "before/pump-bends": "", "during/not-into-corner": "",
		"during/below-openings": "", "after/splash-cleaned": "",
	}
	every(func(list string, i checks.Item) {
		tolerance, known := want[list+"/"+i.ID]
		if !known {
			return
		}
		delete(want, list+"/"+i.ID)
		require.Equal(t, tolerance, i.Tolerance(), i.ID)
		require.Equal(t, "common practice, no source", i.Status, i.ID)
	})
	require.Empty(t, want)
}

// answers are the last answers by item.
type answers map[string]checks.Reply

func (a answers) reply(id string) (checks.Reply, bool) { r, ok := a[id]; return r, ok }

func (a answers) open(items []checks.Item) (out []string) {
	for _, m := range checks.Open(items, a.reply) {
		out = append(out, m.ID+": "+m.Why)
	}
	return out
}

func yes(v float64) checks.Reply {
	return checks.Reply{Answer: checks.Yes, Lo: v, Hi: v, Valued: true, By: "p-1"}
}

func complete() answers {
	return answers{
		"stop-wind": yes(8), "footing-level": yes(6), "form-plumb": yes(3), "line-straight": yes(0), "brace-spacing": yes(1.8), "bar-cover": yes(20),
		"delivery-gap": yes(120), "rate-card": yes(1.2), checks.Rest: {Answer: checks.Yes, By: "p-1"},
	}
}

func TestWhatIsOpen(t *testing.T) {
	items := checks.Items(checks.Before, nil)
	require.Empty(t, complete().open(items))
	require.Len(t, answers{}.open(items), 9)
	for name, c := range map[string]struct {
		change func(answers)
		want   []string
	}{
		"a stop item missing":              {func(a answers) { delete(a, "bar-cover") }, []string{"bar-cover: not answered"}},
		"no number":                        {func(a answers) { a["bar-cover"] = checks.Reply{Answer: checks.Yes, By: "p-1"} }, []string{"bar-cover: no number"}},
		"too little":                       {func(a answers) { a["bar-cover"] = yes(19.9) }, []string{"bar-cover: 19.9, at least 20 mm"}},
		"too much":                         {func(a answers) { a["brace-spacing"] = yes(1.81) }, []string{"brace-spacing: 1.81, at most 1.8 m"}},
		"perhaps too much":                 {func(a answers) { a["form-plumb"] = checks.Reply{Answer: checks.Yes, Lo: 5, Hi: 7, Valued: true} }, []string{"form-plumb: 5 or 7, at most 6 mm"}},
		"answered no":                      {func(a answers) { a["form-plumb"] = checks.Reply{Answer: checks.No, By: "p-1"} }, []string{"form-plumb: answered no"}},
		"a no stands, whoever signs":       {func(a answers) { a["ties-whole"] = checks.Reply{Answer: checks.No} }, []string{"ties-whole: answered no"}},
		"a number of the rest outside":     {func(a answers) { a["pump-hose"] = yes(100) }, []string{"pump-hose: 100, at most 76 mm"}},
		"taken back":                       {func(a answers) { a["form-plumb"] = checks.Reply{By: "p-1"} }, []string{"form-plumb: not answered"}},
		"waived without a word":            {func(a answers) { a["form-plumb"] = checks.Reply{Answer: checks.Waived, By: "p-1"} }, []string{"form-plumb: waived without name and reason"}},
		"waived by nobody":                 {func(a answers) { a["form-plumb"] = checks.Reply{Answer: checks.Waived, Note: "x"} }, []string{"form-plumb: waived without name and reason"}},
		"waived with a word":               {func(a answers) { a["form-plumb"] = checks.Reply{Answer: checks.Waived, By: "p-1", Note: "x"} }, nil},
		"of the rest, waived":              {func(a answers) { a["top-stop"] = checks.Reply{Answer: checks.Waived} }, nil},
		"not signed":                       {func(a answers) { delete(a, checks.Rest) }, []string{"rest: 21 items not signed"}},
		"signed without a name":            {func(a answers) { a[checks.Rest] = checks.Reply{Answer: checks.Yes} }, []string{"rest: 21 items not signed"}},
		"signed with no":                   {func(a answers) { a[checks.Rest] = checks.Reply{Answer: checks.No, By: "p-1"} }, []string{"rest: 21 items not signed"}},
		"two answered, the others not yet": {func(a answers) { delete(a, checks.Rest); a["top-stop"], a["pump-hose"] = yes(38), yes(76) }, []string{"rest: 19 items not signed"}},
	} {
		a := complete()
		c.change(a)
		require.Equal(t, c.want, a.open(items), name)
	}
}

// Answering all the rest one by one needs no signature.
func TestEveryItemAnsweredNeedsNoSignature(t *testing.T) {
	a := complete()
	delete(a, checks.Rest)
	for _, i := range checks.Items(checks.Before, nil) {
		if !i.Stop {
			a[i.ID] = checks.Reply{Answer: checks.Yes}
		}
	}
	require.Empty(t, a.open(checks.Items(checks.Before, nil)))
}

func TestASiteChangesItsLists(t *testing.T) {
	plain := checks.Items(checks.Before, nil)
	change := func(changes ...checks.Change) []checks.Item { return checks.Items(checks.Before, changes) }
	add := checks.Change{List: checks.Before, Item: "crane-away", Text: "Crane has left", Stop: true, By: "p-9", Reason: "lease"}

	with := change(add)
	require.Len(t, with, len(plain)+1)
	require.Equal(t, []string{"crane-away: not answered"}, complete().open(with))
	require.Equal(t, "the site's own", with[len(plain)].Status)

	waived := change(checks.Change{List: checks.Before, Item: "bar-cover", Waive: true, By: "p-9", Reason: "no bars"})
	a := complete()
	delete(a, "bar-cover")
	require.Empty(t, a.open(waived))
	i := waived[indexOf(t, waived, "bar-cover")]
	require.Equal(t, []string{"p-9", "no bars"}, []string{i.WaivedBy, i.WaivedFor})

	again := change(checks.Change{List: checks.Before, Item: "bar-cover", Waive: true, By: "p-9", Reason: "no bars"}, checks.Change{List: checks.Before, Item: "bar-cover", Reason: "bars after all", By: "p-9"})
	require.Equal(t, []string{"bar-cover: not answered"}, a.open(again))

	stricter := change(checks.Change{List: checks.Before, Item: "form-plumb", Most: ptr(3), Unit: "mm", By: "p-9", Reason: "fair-faced"})
	require.Equal(t, "at most 3 mm", stricter[indexOf(t, stricter, "form-plumb")].Tolerance())
	looser := change(checks.Change{List: checks.Before, Item: "form-plumb", Most: ptr(30), Unit: "mm", By: "p-9", Reason: "why not"})
	require.Equal(t, "at most 6 mm", looser[indexOf(t, looser, "form-plumb")].Tolerance(), "an item is never made looser; it can only be waived")

	require.Len(t, change(checks.Change{List: checks.Before, Item: "nothing-known", Waive: true}), len(plain))
	require.Len(t, change(checks.Change{List: checks.After, Item: "crane-away", Text: "x"}), len(plain))
	require.Len(t, change(checks.Change{List: checks.Before, Item: checks.Rest, Waive: true}), len(plain))
	require.Equal(t, []string{"rest: 21 items not signed"}, func() []string {
		a := complete()
		delete(a, checks.Rest)
		return a.open(change(checks.Change{List: checks.Before, Item: checks.Rest, Waive: true, By: "p-9", Reason: "x"}))
	}(), "the signature cannot be waived")
	require.Equal(t, plain, checks.Items(checks.Before, nil), "the lists themselves stay as they are")
	require.Nil(t, checks.Items("meanwhile", nil))
}

func indexOf(t *testing.T, items []checks.Item, id string) int {
	t.Helper()
	for n, i := range items {
		if i.ID == id {
			return n
		}
	}
	require.Fail(t, "no item "+id)
	return -1
}
