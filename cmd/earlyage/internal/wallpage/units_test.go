package wallpage_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/projector/wall"
)

// facts are what the timeline says of the messages of a kind, each in a line.
func facts(c wallpage.Chronicle, lang, kind, units string) (out []string) {
	for _, x := range c.Worded(words.Of(lang), func(id string) string { return names[id] }, units, wallpage.Filter{Kind: kind}) {
		var line []string
		for _, f := range x.Line.Facts {
			line = append(line, f.Label+" "+f.Value)
		}
		for _, n := range x.Line.Notes {
			line = append(line, n.Text)
		}
		out = append(out, strings.Join(line, "; "))
	}
	return out
}

// Each answer has the unit that its item had when it was recorded, whatever the item
// has now; one that was entered under another than it was recorded under has none,
// and so has what amends an answer of another unit.
func TestAnswersHaveTheUnitOfTheirMoment(t *testing.T) {
	r := readScript(t, "units")
	s := r.fold(r.moment("2026-11-03@10:00"))
	c := recount(t, s, barn, time.Time{})
	answers := facts(c, "en", "check.answered", "")
	require.Len(t, answers, 6)
	for i, want := range []string{"value 25 mm; Amended by Tuva, Tue 3 Nov 08:20 CET: read again. Instead: value 22 mm", "value 4 mm; Amended by Tuva, Tue 3 Nov 08:30 CET: in inches now. Instead: value 0.15.", "value 5 mm", "value 0.2 in", "answer yes", "value 3"} {
		require.Contains(t, answers[i], want)
	}
	require.True(t, strings.HasSuffix(answers[5], "value 3"), answers[5])
	amended := facts(c, "en", "record.amended", "")
	require.Contains(t, amended[0], "value 22 mm")
	require.Contains(t, amended[1], "value 0.15; reason")

	p := look(t, s, barn, time.Time{})
	unit := map[string]string{}
	for _, x := range p.Checks {
		if len(x.Value) > 0 {
			unit[x.Item] = x.Unit
		}
	}
	require.Equal(t, map[string]string{"bar-cover": "mm", "base-gap": ""}, unit, "of an item that was answered in two units the list says none")
	p = look(t, s, barn, r.moment("2026-11-03@07:45"))
	at := slices.IndexFunc(p.Checks, func(x wallpage.Check) bool { return x.Item == "base-gap" })
	require.Equal(t, "mm", p.Checks[at].Unit)
}

// Beside the record's words an alert is said in the units of the site, or of the
// reader, and in the language. The feet are by NIST SP 811 (from memory: 1 ft =
// 0.3048 m): 6 m is 19.685 ft, 1.31 m 4.298 ft, 3.9 m 12.795 ft.
func TestAlertsOnTheTimeline(t *testing.T) {
	r := readScript(t, "units")
	c := recount(t, r.fold(r.moment("2026-11-03@10:00")), barn, time.Time{})
	us := facts(c, "en", "alert.raised", "")
	require.Len(t, us, 3)
	require.Contains(t, us[0], "says More concrete was placed here within 60 minutes than the site allows. Place: 0.0 to 19.7 ft; Height: 4.3 ft; Limit: 3.9 ft; in the record Rose 1.31 m in 60 min at 0.0 to 6.0 m, limit 1.20 m.")
	require.Contains(t, us[0], "Answer of Ask, Tue 3 Nov 09:40 CET, taken back by Tuva, Tue 3 Nov 09:45 CET: meant another wall")
	require.NotContains(t, us[0], "Acknowledged")
	require.Contains(t, us[1], "Braces: b1; Stay out to: 12.8 ft; in the record Braces b1 stripped.")
	require.Contains(t, us[2], "says 0.0 to 3.0 m of the lift was not vibrated.", "without numbers the record's words stand")
	require.NotContains(t, us[2], "in the record")
	si := facts(c, "en", "alert.raised", "si")
	require.Contains(t, si[0], "says Rose 1.31 m in 60 min")
	require.NotContains(t, si[0], "in the record")
	es := facts(c, "es", "alert.raised", "si")
	require.Contains(t, es[0], "Altura: 1.31 m; Límite: 1.20 m; en el registro Rose 1.31 m")
	require.Contains(t, es[0], "Respuesta de Ask, mar 3 nov 09:40 CET, retirada por Tuva, mar 3 nov 09:45 CET: meant another wall")
	require.Contains(t, facts(c, "en", "alert.acknowledged", "")[0], "Withdrawn by Tuva")
}

// The page says the same, and nothing on it looks answered.
func TestPageInTheSitesUnits(t *testing.T) {
	r := readScript(t, "units")
	at := r.moment("2026-11-03@10:00")
	store := r.fold(at)
	p := look(t, store, barn, time.Time{})
	require.Equal(t, wall.StateUnacknowledged, p.Alarms[0].State)
	require.True(t, p.Alarms[0].Acknowledged.IsZero())
	require.Equal(t, "meant another wall", p.Alarms[0].TakenBack[0].Reason)

	s := serve(t, store, at)
	path := "/walls/tverrbakken/barn"
	documents := map[string]string{}
	for _, lang := range words.Languages() {
		documents[lang], documents[lang+" list"] = s.get(t, path+"?lang="+lang, 200), s.get(t, "/exceptions?lang="+lang, 200)
	}
	browser.ValidHTML(t, documents)
	require.Contains(t, documents["es list"], "Quédate fuera hasta la altura del muro &#43; 4 ft")
	require.Contains(t, documents["es list"], "Quédate fuera hasta: 12.8 ft")
	b := suite.Browser(t)
	for name, size := range map[string]browser.Size{"phone": browser.Phone, "desk": browser.Desk} {
		tab := b.Tab("units-"+name, size)
		tab.Open(s.address + path)
		tab.Until(`document.querySelector("main h1") && document.fonts.status === "loaded"`)
		list := rows(tab, "raised")
		require.Len(t, list, 3)
		require.Equal(t, "unacknowledged, urgent", list[0][1])
		require.Contains(t, list[0][3], "Height: 4.3 ft; Limit: 3.9 ft. In the record: Rose 1.31 m in 60 min")
		require.Equal(t, "nobody answered; Answer of Ask, Tue 3 Nov 09:40 CET, taken back by Tuva, Tue 3 Nov 09:45 CET: meant another wall", list[0][5])
		tab.Good()
		tab.Shot("wall")
		tab.Open(s.address + "/exceptions")
		tab.Until(`document.querySelector("main h1") && document.fonts.status === "loaded"`)
		tab.SeeText(".exceptions", "Stay out to: 12.8 ft")
		tab.SeeText(".exceptions", "In the record: Braces b1 stripped. Stay out to the wall's height + 1.2 m.")
		tab.Good()
		tab.Shot("exceptions")
	}
}
