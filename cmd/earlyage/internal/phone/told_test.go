package phone_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/phone"
	"earlyage/cmd/earlyage/internal/phone/bundle"
	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/projector/wall"
)

// Messages as the hub sends them, all made at one moment.
var (
	raised = notice.Message{
		ID: "m-1", What: "raised", Alerts: []string{"alert-1"}, Kind: "joint-closing", Site: "north", Wall: "north-1", Priority: "urgent", Urgent: true,
		First: "North wall: 12 min left on the joint at 0.0 to 6.0 m", Short: "North wall: joint 0.0 m, 12 min. Place now.",
		Plain: "North wall: 12 min left on the joint at 0.0 to 6.0 m.\n\nPlace the next lift by 09:24 CEST.\n\nA guide for planning and records.",
	}
	early = notice.Message{
		ID: "m-2", What: "raised", Alerts: []string{"alert-2"}, Kind: "strip-early", Site: "north", Wall: "north-1", Priority: "urgent", Urgent: true,
		First: "North wall: brace b3 came off before the window was open", Plain: "Stay out to the wall's height + 1.2 m, on both sides.",
	}
	several = notice.Message{ID: "m-3", What: "summary", Alerts: []string{"alert-3", "alert-4"}, Site: "north", Priority: "high", First: "North yard: 11 alerts in 10 min", Plain: "Load too old: 6, North wall\nString line not read: 5, North wall"}
	gone    = notice.Message{ID: "m-4", What: "cleared", Alerts: []string{"alert-1"}, Kind: "joint-closing", Site: "north", Wall: "north-1", Priority: "urgent", First: "North wall: the joint at 0.0 to 6.0 m was covered in time"}
	missed  = map[string]any{"id": "m-5", "what": "raised", "alerts": []string{"alert-5"}, "kind": "line-due", "wall": "north-1", "priority": "high", "at": "2026-05-04T07:00:00Z", "first": "", "text": "The string line was not read since the last lift at 08:58.", "missed": true}
)

// told is a state in which messages wait to be shown.
func told(list ...any) map[string]any {
	at := time.Date(2026, 5, 4, 7, 10, 0, 0, time.UTC)
	out := []any{}
	for _, x := range list {
		if m, ok := x.(notice.Message); ok {
			m.At = at
			x = m.Body()
		}
		out = append(out, x)
	}
	return map[string]any{"told": out}
}

// living is a wall with alerts in every state that a person can bring about.
func living(t *testing.T, units string) *scene {
	t.Helper()
	s := placing(t, units)
	for i, kind := range []string{"joint-closing", "line-due", "rise-fast", "load-old", "brace-spacing"} {
		s.hub("04 09:00", "north-1", &events.AlertRaised{Alert: fmt.Sprint("a-", i), Kind: kind, Cause: fmt.Sprint("c-", i), Priority: "high", Text: "What the hub says of it.", Rules: "1", Since: s.at("04 09:00")})
	}
	s.say("04 09:05 phone-b p-crew alert.acknowledged north-1 alert=a-1 kind=line-due")
	s.say("04 09:06 phone-b p-crew alert.shelved north-1 alert=a-2 kind=rise-fast at=@09:06 until=@11:06 reason=hose~moved~on")
	s.hub("04 09:10", "north-1", &events.AlertCleared{Alert: "a-3", Kind: "load-old", Cause: "c-3", At: s.at("04 09:10"), Rules: "1"})
	s.hub("04 09:11", "north-1", &events.AlertTold{Message: "m-1", Alerts: []string{"a-0"}, What: "raised", Person: "p-1", Channel: "phone", Outcome: "accepted", Text: "t", At: s.at("04 09:11")})
	s.hub("04 09:12", "north-1", &events.AlertTold{Message: "m-2", Alerts: []string{"a-4"}, What: "raised", Person: "p-1", Channel: "phone", Outcome: "withheld", Text: "t", At: s.at("04 09:12")})
	return s
}

// hub records a word of the hub's.
func (s *scene) hub(when, on string, d events.Data) {
	s.t.Helper()
	kinds := map[string]events.Kind{"*events.AlertRaised": "alert.raised", "*events.AlertCleared": "alert.cleared", "*events.AlertTold": "alert.told"}
	s.numbers["scheduler"]++
	e := events.Event{
		ID: fmt.Sprintf("e%04d", s.seq+1), Source: events.Source{Site: "north", Device: "scheduler"}, Kind: kinds[fmt.Sprintf("%T", d)], Time: s.at(when), HasOffset: true,
		Wall: on, Sequence: s.numbers["scheduler"], Data: d,
	}
	s.seq++
	s.wall(on).Add(wall.Fact{Event: e, Seq: s.seq, Recorded: s.at(when).UTC(), Trusted: true})
}

// The snapshot says how each alert stands, and which message told the person who
// asks. What is withheld was not told.
func TestAlertsOfASheet(t *testing.T) {
	s := living(t, "si")
	got := map[string]phone.Alert{}
	for _, a := range s.sheet("04 10:20").Walls[0].Alerts {
		if a.ID != "" {
			got[a.ID] = a
		}
	}
	require.Len(t, got, 5)
	for id, state := range map[string]string{
		"a-0": wall.StateUnacknowledged, "a-1": wall.StateAcknowledged, "a-2": wall.StateShelved, "a-3": wall.StateReturned, "a-4": wall.StateUnacknowledged,
	} {
		require.Equal(t, state, got[id].State, id)
	}
	require.Equal(t, "hose moved on", got["a-2"].Reason)
	require.WithinDuration(t, s.at("04 11:06"), got["a-2"].Until.Time, 0)
	require.Equal(t, []any{true, "m-1"}, []any{got["a-0"].Told, got["a-0"].Message})
	require.Equal(t, []any{false, ""}, []any{got["a-4"].Told, got["a-4"].Message})
	// It is listed for a day after it returned.
	ids := func(when string) (list []string) {
		for _, a := range s.sheet(when).Walls[0].Alerts {
			list = append(list, a.ID)
		}
		return list
	}
	require.Contains(t, ids("05 09:09"), "a-3")
	require.NotContains(t, ids("05 09:11"), "a-3")
}

func shownIDs(tab *browser.Tab) []string {
	return browser.Ask[[]string](tab, `fake.shownHere.map(m => m.id)`)
}

func tell(t *testing.T, tab *browser.Tab, list ...any) {
	t.Helper()
	raw, err := json.Marshal(told(list...))
	require.NoError(t, err)
	browser.Ask[string](tab, `fake.set(`+string(raw)+`); ""`)
}

// pressTold presses a key of what stands over the screen.
func pressTold(tab *browser.Tab, key string) {
	tab.Until(`"still" in document.querySelector(".told").dataset`)
	tab.Press(`[data-k="` + key + `"]`)
}

// What is told stands over whatever screen there is, once, large, with what to do,
// and is heard; it counts as shown when it was painted on a page that is looked at.
func TestToldStandsOverEveryScreen(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 09:12", hash: wallHash + "/do/lift.placed"})
	set(tab, "f-top_m", "1,1")
	tell(t, tab, raised)
	tab.SeeText(".told", "12 min left on the joint")
	tab.SeeText(".told", "Place on this stretch now.")
	tab.Until(`fake.shownHere.length === 1`)
	require.Len(t, browser.Ask[[]any](tab, `buzzed.filter(Array.isArray)`), 1)
	require.True(t, browser.Ask[bool](tab, `(e => e.getBoundingClientRect().width >= innerWidth && e.getBoundingClientRect().height >= innerHeight)(document.querySelector(".told"))`))
	require.GreaterOrEqual(t, browser.Ask[float64](tab, `parseFloat(getComputedStyle(document.querySelector("#told-first")).fontSize)`), 32.0)
	pressTold(tab, "told-close")
	tab.Until(`!app.telling.open`)
	require.Equal(t, "1.10", browser.Ask[string](tab, `Number(document.querySelector('[data-k="f-top_m"]').value.replace(",", ".")).toFixed(2)`), "what was typed is there")

	// The same again is not shown; what is urgent goes before what stands there.
	tell(t, tab, raised)
	tell(t, tab, raised, several)
	tab.SeeText(".told", "11 alerts in 10 min")
	tab.Until(`fake.shownHere.length === 2`)
	tell(t, tab, early)
	tab.SeeText(".told", "came off before the window was open")
	tab.SeeText(".told", "It is answered by: safety officer, engineer.")
	require.Zero(t, browser.Ask[int](tab, `document.querySelectorAll('[data-k="told-act"]').length`), "a foreman does not answer it")
	pressTold(tab, "told-close")
	tab.SeeText(".told", "11 alerts in 10 min")
	pressTold(tab, "told-close")
	tab.Until(`!app.telling.open`)
	require.Equal(t, []string{"m-1", "m-3", "m-2"}, shownIDs(tab))
}

// A page that nobody looks at has shown nothing, however it is told.
func TestAHiddenPageShowsNothing(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 09:12", hash: wallHash})
	// The browser of the tests shows every page; it is told to say otherwise.
	look := func(how string) {
		browser.Ask[string](tab, `window.looked = "`+how+`"; Object.defineProperty(document, "visibilityState", {configurable: true, get: () => window.looked}); document.dispatchEvent(new Event("visibilitychange")); ""`)
	}
	frames := `new Promise(ok => { let n = 0; const f = () => ++n > 10 ? ok("") : requestAnimationFrame(f); f(); })`
	look("hidden")
	tell(t, tab, raised)
	tab.SeeText(".told", "12 min left on the joint")
	browser.Ask[string](tab, frames)
	require.Empty(t, shownIDs(tab))
	require.Len(t, browser.Ask[[]any](tab, `buzzed.filter(Array.isArray)`), 1, "it is heard all the same")
	look("visible")
	tab.Until(`fake.shownHere.length === 1`)
	look("hidden")
	look("visible")
	browser.Ask[string](tab, frames)
	require.Equal(t, []string{"m-1"}, shownIDs(tab))
}

func TestTheAnswerIsRecorded(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 09:12", hash: wallHash})
	tell(t, tab, raised)
	tab.See(".told[open]")
	pressTold(tab, "told-act")
	tab.Until(`!app.telling.open`)
	list := taken(t, tab)
	require.Len(t, list, 1)
	require.Equal(t, []string{"north-1", "alert.acknowledged"}, []string{list[0].Wall, list[0].Kind})
	require.JSONEq(t, `{"alert":"alert-1","kind":"joint-closing"}`, string(list[0].Data))

	other := raised
	other.ID, other.Alerts = "m-9", []string{"alert-9"}
	tell(t, tab, other)
	tab.See(".told[open]")
	pressTold(tab, "told-later")
	tab.SeeText(".told", "For how long?")
	pressTold(tab, "later-h-480")
	tab.SeeText(".told", "Say why it is put off.")
	require.Len(t, taken(t, tab), 1, "not without a reason")
	pressTold(tab, "later-watched")
	pressTold(tab, "later-h-480")
	tab.Until(`!app.telling.open`)
	list = taken(t, tab)
	require.Len(t, list, 2)
	d, err := events.DecodeData("alert.shelved", list[1].Data)
	require.NoError(t, err)
	shelved := d.(*events.AlertShelved)
	require.Equal(t, []string{"alert-9", "joint-closing", "Known, and somebody watches it"}, []string{shelved.Alert, shelved.Kind, shelved.Reason})
	require.Equal(t, 8*time.Hour, shelved.Until.Sub(shelved.At), "the longest that there is")

	// From the list, in its own words, and back.
	s := living(t, "si")
	v := view{sheet: s.sheet("04 10:20"), when: "04 10:20", hash: wallHash + "/alerts"}
	v.show(t, tab, url)
	tab.SeeText("#screen", "returned unacknowledged")
	press(tab, "later-a-0")
	set(tab, "later-own", "hose on its way")
	pressTold(tab, "later-h-30")
	tab.SeeText("#screen", "recorded on this phone, on its way")
	press(tab, "unshelve-a-2")
	tab.Until(`fake.recorded.length === 2`)
	list = taken(t, tab)
	d, err = events.DecodeData("alert.shelved", list[0].Data)
	require.NoError(t, err)
	require.Equal(t, []any{"a-0", "hose on its way", 30 * time.Minute}, []any{d.(*events.AlertShelved).Alert, d.(*events.AlertShelved).Reason, d.(*events.AlertShelved).Until.Sub(d.(*events.AlertShelved).At)})
	require.JSONEq(t, `{"alert":"a-2","kind":"rise-fast"}`, string(list[1].Data))
}

// What waits to be shown, from whatever was heard: told twice, by two channels, over
// again, away, full, or not a message at all.
func TestWhatWaitsToBeShown(t *testing.T) {
	t.Parallel()
	script, err := bundle.Script(".", "src/told.js", "told")
	require.NoError(t, err)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/told.js" {
			w.Header().Set("Content-Type", "text/javascript")
			_, _ = w.Write(script)
			return
		}
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprint(w, `<!DOCTYPE html><html lang="en"><title>told</title><link rel="icon" href="data:,"><script src="/told.js"></script>`)
	}))
	t.Cleanup(server.Close)
	tab := suite.Browser(t).Tab("told", browser.Phone)
	tab.Open(server.URL)
	tab.Until(`window.told`)
	for name, c := range map[string]struct{ do, want string }{
		"once":                     {`hear(msg("1")); hear(msg("1")); left()`, `1`},
		"shown once":               {`hear(msg("1")); show(msg("1")); hear(msg("1")); left() + "|" + show(msg("1"))`, `|false`},
		"by a second channel":      {`hear(msg("1")); show(msg("1")); hear(msg("2")); left()`, ``},
		"by both, shown together":  {`hear(msg("1")); hear(msg("2")); show(msg("1")); left()`, ``},
		"told anew":                {`hear(msg("1")); show(msg("1")); hear(msg("2", {at: at(5)})); left()`, `2`},
		"the most urgent first":    {`hear(msg("1", {priority: "low", urgent: false, alerts: ["b"]})); hear(msg("2")); left()`, `2 1`},
		"over before it was shown": {`hear(msg("1")); hear(msg("2", {what: "cleared"})); left()`, `2`},
		"after 30 days":            {`hear(msg("1")); show(msg("1")); now += 31 * 86400e3; hear(msg("3", {alerts: ["b"], at: at(0)})); "message 1" in kept.had`, `false`},
		"no message":               {`for (const m of [null, 1, {}, {id: 1, first: "x"}, {id: "1"}, {id: "1", first: "x", alerts: [1]}]) hear(m); left()`, ``},
		"not more than 200":        {`for (let i = 0; i < 300; i++) hear(msg("l" + i, {alerts: ["l" + i], urgent: false, priority: "low"})); hear(msg("u")); kept.list.length + " " + kept.list[0].id`, `200 u`},
		"missed":                   {`left(sheet({message: "7", told: true}))`, `7`},
		"missed and shown":         {`hear(msg("7")); show(msg("7")); left(sheet({message: "7", told: true}))`, ``},
		"missed and acknowledged":  {`left(sheet({message: "7", told: true, state: "acknowledged"}))`, ``},
		"not told":                 {`left(sheet({priority: "high"}))`, ``},
		"urgent, for who answers":  {`left(sheet({}))`, `-a`},
		"urgent, for others":       {`left(sheet({kind: "strip-early"}))`, ``},
		"waits, and acknowledged":  {`hear(msg("1")); left(sheet({state: "acknowledged"}))`, ``},
		"waits, and heard after":   {`hear(msg("1", {at: at(60)})); left(sheet({state: "acknowledged"}))`, `1`},
		"entry":                    {`JSON.stringify(told.entriesOf(msg("1"), null, "north"))`, `[{"wall":"w","kind":"alert.shown","data":{"alert":"a","kind":"joint-closing","state":"raised","message":"1"}}]`},
		"entry of a summary":       {`JSON.stringify(told.entriesOf(msg("1", {what: "summary", kind: "", alerts: ["a", "z"]}), sheet({}), "north").map(e => e.data.alert + " " + e.data.kind))`, `["a joint-closing"]`},
		"entry of another site":    {`told.entriesOf(msg("1", {site: "_"}), sheet({}), "north").length`, `0`},
	} {
		got := browser.Ask[string](tab, `(() => {
			let kept = told.nothing, now = Date.parse("2026-05-04T07:00:30Z");
			const at = s => new Date(now + s * 1000).toISOString();
			const msg = (id, more) => ({id, what: "raised", alerts: ["a"], kind: "joint-closing", wall: "w", site: "north", priority: "urgent", urgent: true, at: "2026-05-04T07:00:00Z", first: "x", ...more});
			const hear = m => (kept = told.hear(kept, m, now)), show = m => { const was = kept; kept = told.show(kept, m, now); return kept !== was; };
			const sheet = a => ({at: "2026-05-04T07:01:00Z", walls: [{wall: "w", alerts: [{id: "a", kind: "joint-closing", priority: "urgent", since: "2026-05-04T06:59:00Z", state: "unacknowledged", text: "t", told: false, ...a}]}], alerts: []});
			const left = s => told.toShow(kept, s ?? null, ["foreman"]).map(m => m.id || "-" + m.alerts[0]).join(" ");
			return String((() => { const out = eval(`+"`"+c.do+"`"+`); return out; })());
		})()`)
		require.Equal(t, c.want, got, name)
	}
}

// A word that something was shown, which the hub does not take, is listed, and
// worries nobody: there is nothing to be done about it.
func TestARefusedWordOfShowingWorriesNobody(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	entry := func(kind, fate string) map[string]any {
		e := out(5, kind, `{"alert":"a-1","kind":"line-due","state":"raised"}`, "", fate, "alert a-1 is not known")
		e["entered"] = time.Date(2026, 5, 4, 7, 10, 0, 0, time.UTC).UnixMilli()
		return e
	}
	v := view{sheet: living(t, "si").sheet("04 09:10"), when: "04 09:11", hash: "#outbox", state: map[string]any{"outbox": []any{entry("alert.shown", "aside")}}}
	tab := on(t, b, url, v)
	tab.SeeText("#screen", "alert a-1 is not known")
	require.NotContains(t, tab.Text("#strip"), "set aside")
	raw, err := json.Marshal(map[string]any{"outbox": []any{entry("alert.acknowledged", "aside")}})
	require.NoError(t, err)
	browser.Ask[string](tab, `fake.set(`+string(raw)+`); ""`)
	tab.SeeText("#strip", "1 set aside")
}

// What came by push waits in the worker's box until there is room to keep it. The
// browser's refusal is the test's: where it comes in a full storage nobody can say.
func TestAMessageThatFindsNoRoomIsNotLost(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	tab, _ := c.joined(suite.Browser(t), events.Crew)
	look := func() {
		browser.Ask[string](tab, `navigator.serviceWorker.dispatchEvent(new MessageEvent("message", {data: {told: "m-1"}})); ""`)
	}
	browser.Ask[string](tab, `(async () => {
		const put = IDBObjectStore.prototype.put;
		window.full = 0;
		window.emptied = () => { IDBObjectStore.prototype.put = put; };
		IDBObjectStore.prototype.put = function (v, k) {
			if (k !== "told") return k === undefined ? put.call(this, v) : put.call(this, v, k);
			window.full++;
			throw new DOMException("no room", "QuotaExceededError");
		};
		const m = {id: "m-1", what: "raised", alerts: ["a-1"], kind: "line-due", wall: "w1", site: "north", priority: "high", at: new Date().toISOString(), first: "The string line is due"};
		await (await caches.open("told")).put("/phone/told/m-1", new Response(JSON.stringify(m)));
		return "";
	})()`)
	look()
	tab.Until(`full === 2 && engine.state.troubles.includes("full")`)
	require.Empty(t, browser.Ask[[]string](tab, `engine.state.told.map(m => m.id)`))
	browser.Ask[string](tab, `emptied(); ""`)
	look()
	tab.Until(`engine.state.told.map(m => m.id).join() === "m-1"`)
	tab.Until(`(caches.open("told").then(c => c.keys()).then(l => window.left = l.length), window.left === 0)`)
	pour(tab, "w1", 1, 0)
	tab.Until(emptied)
}
