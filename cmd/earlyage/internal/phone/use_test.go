package phone_test

import (
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/phone"
	"earlyage/events"
)

// entry is what the page gave the engine to record.
type entry struct {
	Wall, Kind string
	Data       json.RawMessage
}

// taken are the entries so far; each is one that the vocabulary accepts.
func taken(t *testing.T, tab *browser.Tab) []entry {
	t.Helper()
	list := browser.Ask[[]entry](tab, `fake.recorded`)
	for _, e := range list {
		_, err := events.DecodeData(events.Kind(e.Kind), e.Data)
		require.NoError(t, err, "%s %s", e.Kind, e.Data)
	}
	return list
}

func press(tab *browser.Tab, key string) {
	tab.Until(`"still" in document.body.dataset`)
	tab.Press(`[data-k="` + key + `"]`)
}

func set(tab *browser.Tab, key, text string) {
	browser.Ask[string](tab, fmt.Sprintf(`(() => { const e = document.querySelector('[data-k="%s"]'); e.value = %q; e.dispatchEvent(new Event("input", {bubbles: true})); return ""; })()`, key, text))
}

// on opens the page on one screen.
func on(t *testing.T, b *browser.Browser, url string, v view) *browser.Tab {
	t.Helper()
	tab := b.Tab("use", browser.Phone)
	v.show(t, tab, url)
	return tab
}

const wallHash = "#w/north-1"

func TestTheUsualLiftTakesTwoTouches(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 09:12", hash: wallHash})
	// Both touches are in reach of the thumb: in the lower half of what is seen.
	low := func(key string) {
		require.Greater(t, browser.Ask[float64](tab, `document.querySelector('[data-k="`+key+`"]').getBoundingClientRect().top`), 422.0)
		require.LessOrEqual(t, browser.Ask[float64](tab, `document.querySelector('[data-k="`+key+`"]').getBoundingClientRect().bottom`), 844.0)
	}
	low("lift.placed")
	press(tab, "lift.placed")
	tab.See(`[data-k="do-vibrated"]`)
	low("do-vibrated")
	low("do-placed")
	press(tab, "do-vibrated")
	tab.SeeText("#screen", "Recorded: Lift placed")
	list := taken(t, tab)
	require.Len(t, list, 1)
	require.Equal(t, "lift.placed", list[0].Kind)
	d, err := events.DecodeData("lift.placed", list[0].Data)
	require.NoError(t, err)
	lift := d.(*events.LiftPlaced)
	require.InDelta(t, 6, *lift.FromM, 1e-9)
	require.InDelta(t, 12, *lift.ToM, 1e-9)
	require.InDelta(t, 1.2, *lift.TopM, 1e-9, "as high as the last one")
	require.True(t, *lift.Vibrated)
	require.Equal(t, "t-401", lift.Load)
	s := newScene(t, "Europe/Oslo")
	require.WithinDuration(t, s.at("04 08:58"), lift.Began, 0, "where the last one ended")
	require.WithinDuration(t, s.at("04 09:12"), lift.Ended, 0)

	// What was laid on shows at once, without the hub: 150 minutes from 08:58 is
	// later than what is open beside it from 08:45.
	require.Contains(t, tab.Text("#strip"), "1 waiting")
	require.Contains(t, tab.Text("#strip"), "123 min left")

	// The next one goes round again, a lift higher.
	press(tab, "lift.placed")
	press(tab, "do-placed")
	tab.SeeText("#screen", "Recorded")
	d, err = events.DecodeData("lift.placed", taken(t, tab)[1].Data)
	require.NoError(t, err)
	lift = d.(*events.LiftPlaced)
	require.InDelta(t, 0, *lift.FromM, 1e-9)
	require.InDelta(t, 1.8, *lift.TopM, 1e-9)
	require.Nil(t, lift.Vibrated, "not said")
}

func TestASlipIsCaught(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 09:12", hash: wallHash + "/do/lift.placed"})
	for typed, want := range map[string]string{"24": "between", "x": "no number", "": "needed", "2,5": "The form ends at 2.40 m"} {
		set(tab, "f-top_m", typed)
		press(tab, "do-vibrated")
		if want == "between" {
			want = "The form ends"
		}
		tab.SeeText(".main-keys", want)
		require.Empty(t, taken(t, tab), "%q", typed)
	}
	set(tab, "f-top_m", "2,3")
	press(tab, "do-vibrated")
	tab.SeeText(".main-keys", "That is 1.70 m in one lift.")
	require.Empty(t, taken(t, tab))
	press(tab, "do-vibrated")
	tab.SeeText("#screen", "Recorded")
	require.Contains(t, string(taken(t, tab)[0].Data), `"top_m":2.3`)
}

func TestALateEntryIsMarkedAsRemembered(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 09:30", hash: wallHash + "/do/lift.placed"})
	require.NotContains(t, tab.Text("#screen"), "remembered")
	for range 4 {
		press(tab, "t-ended-less")
	}
	tab.SeeText("#screen", "marked as remembered")
	press(tab, "do-vibrated")
	tab.SeeText("#screen", "Recorded")
	d, err := events.DecodeData("lift.placed", taken(t, tab)[0].Data)
	require.NoError(t, err)
	s := newScene(t, "Europe/Oslo")
	require.True(t, d.(*events.LiftPlaced).Ended.Before(s.at("04 09:20")))
	press(tab, "outbox")
	tab.SeeText("#screen", "remembered")
}

// May strip is shown on one screen, from an answer under a minute old at the head of
// the stream that knows all of this phone, and the caution stands beside it.
func TestMayStripIsSaidForAMinuteAndNoLonger(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	sheet := permitted(t, "si").sheet("07 09:00")
	at := func(state map[string]any, hash string, sheet phone.Sheet) *browser.Tab {
		return on(t, b, url, view{sheet: sheet, when: "07 09:00", hash: hash, state: state})
	}
	tab := at(map[string]any{"sheetAge": 59_000}, wallHash+"/strip", sheet)
	require.Contains(t, tab.Text("#screen"), "may strip")
	require.Contains(t, tab.Text("#screen"), "Do not strip a wall that a competent person has not examined.")
	browser.Ask[string](tab, `fake.base.sheetAge = 60_000; ""`)
	tab.Until(`!document.querySelector("#screen").innerText.includes("may strip")`)
	require.Contains(t, tab.Text("#screen"), "ask the hub")

	// Asking gives a new minute; without a link it gives none.
	browser.Ask[string](tab, `fake.next = "no-link"; ""`)
	press(tab, "ask")
	tab.SeeText("#screen", "nothing is to be stripped")
	require.NotContains(t, tab.Text("#screen"), "may strip")
	press(tab, "ask")
	tab.SeeText("#screen", "may strip")
	press(tab, "brace.stripped")
	tab.See(`[data-k="pick-braces"]`)
	press(tab, "do-record")
	tab.SeeText(".main-keys", "Braces is needed")
	press(tab, "pick-braces")
	press(tab, "brace-b1")
	press(tab, "picked")
	require.NotContains(t, tab.Text("#screen"), "They come off early")
	press(tab, "do-record")
	tab.SeeText("#screen", "Recorded")
	require.JSONEq(t, `{"braces":["b1"],"permit":"s-11"}`, string(taken(t, tab)[0].Data))
	// Now the answer does not know all of this phone.
	browser.Ask[string](tab, `app.go("#w/north-1/strip"); ""`)
	tab.SeeText("#screen", "does not know yet what you recorded")
	require.NotContains(t, tab.Text("#screen"), "may strip")

	behind := sheet
	behind.Level = false
	for hash, s := range map[string]phone.Sheet{wallHash + "/strip": behind, wallHash: sheet, "#walls": sheet, wallHash + "/more": sheet} {
		tab := at(nil, hash, s)
		require.NotContains(t, tab.Text("body"), "may strip", hash)
	}
}

// A brace that is off is recorded whatever the hub says, and the page says what it means.
func TestAnEarlyStripCanBeRecorded(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: cured(t, "si").sheet("05 09:00"), when: "05 09:01", hash: wallHash})
	require.Contains(t, tab.Text("#screen"), "Not before Wed 6 May 10:40 · in 26 h")
	require.Contains(t, tab.Text("#screen"), "Do not strip a wall that a competent person has not examined.", "beside every time to strip")
	browser.Ask[string](tab, `app.go("#w/north-1/do/brace.stripped"); ""`)
	tab.SeeText("h1", "Braces off")
	require.Contains(t, tab.Text("#screen"), "They come off early")
	press(tab, "pick-braces")
	press(tab, "all")
	press(tab, "picked")
	require.Contains(t, tab.Text("#screen"), "They come off early")
	press(tab, "do-record")
	tab.SeeText("#screen", "Recorded")
	require.Len(t, taken(t, tab), 1)
}

// Every form gives data that the vocabulary accepts.
func TestWhatIsRecordedIsInTheVocabulary(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	place, ready := must(t, placing(t, "si").sheet("04 09:01")), must(t, laidOut(t, "si").sheet("04 06:40"))
	tab := on(t, b, url, view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 09:12", hash: wallHash + "/more"})
	names := browser.Ask[[]string](tab, `[...document.querySelectorAll("#screen .keys .key")].map(e => e.dataset.k)`)
	require.Greater(t, len(names), 22)
	browser.Ask[string](tab, fillIn+`; ""`)
	for _, name := range names {
		sheet := place
		if name == "brace.set" {
			sheet = ready
		}
		keys := browser.Ask[int](tab, fmt.Sprintf(`form(%q, %s)`, name, sheet))
		require.Positive(t, keys, name)
		for i := range keys {
			browser.Ask[string](tab, fmt.Sprintf(`fillIn(%q, %d, %s)`, name, i, sheet))
			require.NotEmpty(t, taken(t, tab), "%s: %s", name, tab.Text("#screen"))
		}
	}
}

// fillIn opens a form and gives the number of its keys that record; fills it in and
// presses one of them, twice where it asks back.
const fillIn = `
	window.form = async (name, sheet) => {
		app.go("#other");
		while (!document.querySelector("#screen.screen-moment")) await new Promise(requestAnimationFrame);
		fake.set({sheet, outbox: []});
		fake.recorded = [];
		app.form = null;
		app.go("#w/north-1/do/" + name);
		while (!app.form?.route.includes(name) || !("still" in document.body.dataset)) await new Promise(requestAnimationFrame);
		return document.querySelectorAll('.main-keys [data-k^="do-"]').length;
	};
	window.fillIn = async (name, nth, sheet) => {
		await form(name, sheet);
		const v = app.form.values;
		const fill = {reason: "concrete", note: "seen", place: "top", celsius: 18, min_c: 4, max_c: 12, from: Date.now() - 3600000, cause: "wind", what: "cover", finding: "crack", support: "floor", gust_mps: 6, points: {"1.2": 2, "6.6": -1.5}, at_m: 3, load: "t-402", specimen: "c-1", cured: "wall", slump_mm: 150, water_l: 10, lean_mm: 3, moved_mm: 12, ticket: "40118"};
		if (name === "load.rejected") fill.reason = "old";
		if (name === "form.moved") fill.what = "bulge";
		for (const [k, x] of Object.entries(fill)) v[k] ??= x;
		if (v.points && Object.keys(v.points).length === 0) v.points = fill.points;
		if (v.from === null) v.from = fill.from;
		if ("braces" in v && v.braces.length === 0) v.braces = ["b1", "b2"];
		if (name === "load.arrived") v.batched = Date.now() - 1800000;
		if (name === "stretch.left-low") Object.assign(v, {from_m: 0, to_m: 3, top_m: 2});
		app.draw();
		const press = async () => {
			const asked = app.form.asked.length;
			document.querySelectorAll('.main-keys [data-k^="do-"]')[nth].click();
			// Either it is recorded, or the form asks back or says what it lacks.
			while (app.form?.asked.length === asked && !app.problem) await new Promise(requestAnimationFrame);
		};
		await press();
		if (app.form?.asked.length) await press();
		return "";
	}`

func must(t *testing.T, v any) string {
	t.Helper()
	raw, err := json.Marshal(v)
	require.NoError(t, err)
	return string(raw)
}

func TestTheCheckListIsAnsweredItemByItem(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: laidOut(t, "si").sheet("04 06:40"), when: "04 06:41", hash: wallHash})
	press(tab, "check")
	tab.SeeText("#screen", "Checks open: 9")
	press(tab, "next")
	tab.SeeText("h1", "The gust at which work stops")
	require.NotContains(t, tab.Text("#screen"), "at most 8.9 m/s", "one touch away")
	press(tab, "why")
	tab.SeeText("#screen", "at most 8.9 m/s")
	press(tab, "yes")
	tab.SeeText(".main-keys", "number is needed")
	set(tab, "value", "9,5")
	press(tab, "yes")
	tab.SeeText(".main-keys", "outside the tolerance")
	set(tab, "value", "8,5")
	press(tab, "yes")
	tab.SeeText("h1", "Footing")
	press(tab, "no")
	tab.SeeText(".main-keys", "Note is needed")
	set(tab, "note", "12 mm at b3")
	press(tab, "no")
	tab.SeeText("h1", "Form, greatest lean")
	list := taken(t, tab)
	require.Len(t, list, 2)
	require.JSONEq(t, `{"list":"before","item":"stop-wind","answer":"yes","value":8.5}`, string(list[0].Data))
	require.JSONEq(t, `{"list":"before","item":"footing-level","answer":"no","note":"12 mm at b3"}`, string(list[1].Data))
	browser.Ask[string](tab, `app.go("#w/north-1/check/before"); ""`)
	tab.SeeText("#screen", "Checks open: 8")
	press(tab, "sign")
	tab.SeeText("#screen", "Recorded")
	require.JSONEq(t, `{"list":"before","item":"rest","answer":"yes"}`, string(taken(t, tab)[2].Data))
}

// A person without a pointer does the whole lift.
func TestByKeyboardAlone(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 09:12", hash: wallHash})
	reach := func(key string) {
		t.Helper()
		for range 60 {
			tab.Keys("\t")
			if browser.Ask[bool](tab, `document.activeElement?.dataset?.k === "`+key+`"`) {
				// What has the focus is to be seen.
				require.True(t, browser.Ask[bool](tab, `(() => { const r = document.activeElement.getBoundingClientRect(), e = document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2); return document.activeElement.contains(e); })()`), key)
				return
			}
		}
		require.Fail(t, "no way to "+key)
	}
	reach("lift.placed")
	tab.Until(`"still" in document.body.dataset`)
	tab.Keys("\r")
	tab.See(`[data-k="do-vibrated"]`)
	reach("f-top_m-more")
	tab.Until(`"still" in document.body.dataset`)
	tab.Keys(" ")
	tab.Until(`app.form.values.top_m === 1.25`)
	require.Equal(t, "f-top_m-more", browser.Ask[string](tab, `document.activeElement.dataset.k`), "the focus stays")
	reach("do-vibrated")
	tab.Keys("\r")
	tab.SeeText("#screen", "Recorded")
	require.Len(t, taken(t, tab), 1)
}

func TestJoining(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{when: "04 06:40", hash: "#join.abcd-efgh-1234", state: map[string]any{"joined": nil, "sheet": nil}})
	require.Equal(t, "/phone", browser.Ask[string](tab, `location.pathname + location.hash`), "the code does not stay in the address")
	browser.Ask[string](tab, `fake.next = "code"; ""`)
	press(tab, "join")
	tab.SeeText("#screen", "older than 15 minutes")
	press(tab, "join")
	tab.SeeText("h1", "Waiting for the hub")
	require.Equal(t, "abcd-efgh-1234", browser.Ask[string](tab, `fake.joinedBy`))
	browser.Ask[string](tab, fmt.Sprintf(`(fake.set({sheet: %s, sheetAge: 5}), "")`, must(t, laidOut(t, "si").sheet("04 06:40"))))
	tab.SeeText("h1", "Choose the wall")
	press(tab, "wall-north-2")
	tab.SeeText("#strip", "North wall, second leg")
	// The choice stays, and the address leads back.
	tab.Reload()
	tab.Until(`window.app`)
	require.Equal(t, "north-2", browser.Ask[string](tab, `localStorage.getItem("earlyage-wall")`))
}

// Recorded is said only of what is on the phone's disk.
func TestWhatCannotBeKeptIsNotSaidToBeRecorded(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: cured(t, "si").sheet("05 09:00"), when: "05 09:01", hash: wallHash + "/do/temperature.read"})
	set(tab, "f-celsius", "11,5")
	for code, want := range map[string]string{"full": "no room left", "damaged": "cannot be written", "not-allowed": "may not record", "strange": "Nothing was recorded"} {
		browser.Ask[string](tab, `fake.next = "`+code+`"; ""`)
		press(tab, "do-record")
		tab.SeeText(".main-keys", want)
		require.NotContains(t, tab.Text("body"), "Recorded:")
		require.Empty(t, taken(t, tab))
	}
	press(tab, "do-record")
	tab.SeeText("#screen", "Recorded: Temperature read")
	require.JSONEq(t, `{"place":"top","celsius":11.5,"instrument":"thermometer"}`, string(taken(t, tab)[0].Data))
}

func TestAnEntryIsAmendedOrWithdrawnWithAReason(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 09:12", hash: wallHash + "/do/lift.placed"})
	press(tab, "do-vibrated")
	tab.SeeText("#screen", "Recorded")
	press(tab, "mend")
	tab.SeeText("#screen", "on this phone")
	press(tab, "amend")
	tab.See(`[data-k="do-vibrated"]`)
	set(tab, "f-top_m", "1,1")
	press(tab, "do-vibrated")
	tab.SeeText(".main-keys", "Reason of the change is needed")
	set(tab, "why", "read the wrong mark")
	press(tab, "do-vibrated")
	tab.SeeText("h1", "Recorded here")
	list := taken(t, tab)
	require.Equal(t, "record.amended", list[1].Kind)
	d, err := events.DecodeData("record.amended", list[1].Data)
	require.NoError(t, err)
	was, err := events.DecodeData("lift.placed", list[0].Data)
	require.NoError(t, err)
	now := d.(*events.RecordAmended).Replacement().(*events.LiftPlaced)
	require.InDelta(t, 1.1, *now.TopM, 1e-9)
	require.Equal(t, was.(*events.LiftPlaced).Ended, now.Ended, "when it happened stays")
	require.Equal(t, was.(*events.LiftPlaced).Began, now.Began)

	browser.Ask[string](tab, `app.go("#entry/1"); ""`)
	tab.SeeText("#screen", "Withdraw")
	press(tab, "withdraw")
	tab.SeeText("#screen", "Reason of the change is needed")
	set(tab, "why", "another wall")
	press(tab, "withdraw")
	tab.SeeText("h1", "Recorded here")
	require.Equal(t, "record.voided", taken(t, tab)[2].Kind)
}

// What is urgent is felt once, and again when it becomes more so.
func TestWhatIsUrgentIsFelt(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 10:00", hash: wallHash})
	s := newScene(t, "Europe/Oslo")
	alarms := func(when string) int {
		return browser.Ask[int](tab, fmt.Sprintf(`(fake.clock(%d), app.tick(), app.tick(), buzzed.filter(Array.isArray).length)`, s.at(when).UnixMilli()))
	}
	require.Equal(t, 0, alarms("04 10:05"))
	require.Equal(t, 1, alarms("04 10:30"))
	require.Contains(t, tab.Text("#said"), "minutes left")
	require.Equal(t, 2, alarms("04 10:39"))
	require.Equal(t, 3, alarms("04 10:44"))
	require.Contains(t, tab.Text("#said"), "joint past limit")
	raise := func(kind, priority, wall string) int {
		return browser.Ask[int](tab, fmt.Sprintf(`(fake.alerts.forEach(f => f({type: "earlyage.alert.raised.v1", subject: %q, data: {kind: %q, priority: %q}})), buzzed.filter(Array.isArray).length)`, wall, kind, priority))
	}
	require.Equal(t, 3, raise("line-due", "high", "north-1"))
	require.Equal(t, 3, raise("rise-fast", "urgent", "north-2"), "another wall's")
	require.Equal(t, 4, raise("rise-fast", "urgent", "north-1"))
	require.Contains(t, tab.Text("#said"), "Rising too fast")
	browser.Ask[string](tab, `(fake.set({canVibrate: false}), app.draw(), "")`)
	require.Contains(t, tab.Text("#screen"), "cannot warn you by sound or vibration")
}

func TestTheLanguageIsChosenOnThePhone(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 09:02", hash: "#about"})
	press(tab, "lang-es")
	tab.SeeText("h1", "Este teléfono")
	tab.Reload()
	tab.Until(`window.app && document.documentElement.lang === "es"`)
}

// News of the hub that comes while a thumb is down does not take the key away.
func TestAKeyStaysUnderTheThumb(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	tab := on(t, b, url, view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 09:12", hash: wallHash})
	tab.Until(`"still" in document.body.dataset`)
	require.True(t, browser.Ask[bool](tab, `(() => {
		window.lift = document.querySelector('[data-k="lift.placed"]');
		lift.dispatchEvent(new PointerEvent("pointerdown", {bubbles: true}));
		fake.set({link: "down"});
		return lift.isConnected;
	})()`))
	browser.Ask[string](tab, `lift.dispatchEvent(new PointerEvent("pointerup", {bubbles: true})), lift.click(), ""`)
	tab.See(`[data-k="do-vibrated"]`)
	tab.SeeText("#strip", "no link")
}
