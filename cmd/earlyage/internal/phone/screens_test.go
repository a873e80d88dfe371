package phone_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/phone"
	"earlyage/cmd/earlyage/internal/phone/bundle"
	"earlyage/events"
)

// plainFiles serves the door's files without hashes in their names.
type plainFiles struct{}

func (plainFiles) Asset(name string) string { return "/static/" + name }

// The policy of every page of the hub.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; worker-src 'self'; base-uri 'none'"

// screens is the page on an engine that the test holds.
func screens(t *testing.T) string {
	t.Helper()
	p, err := phone.NewPage(plainFiles{})
	require.NoError(t, err)
	script, err := bundle.Script(".", "testdata/fake.js", "")
	require.NoError(t, err)
	mux := http.NewServeMux()
	mux.Handle("/static/", http.StripPrefix("/static/", http.FileServer(http.Dir("../door/static"))))
	mux.HandleFunc(phone.Asset("app.js"), func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/javascript")
		_, _ = w.Write(script)
	})
	mux.Handle("/phone", p)
	mux.Handle("/phone/", p)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", policy)
		mux.ServeHTTP(w, r)
	}))
	t.Cleanup(server.Close)
	return server.URL
}

// view is one screen in one state.
type view struct {
	name  string
	sheet phone.Sheet
	when  string // day and time of the phone's clock
	hash  string
	state map[string]any // over a joined foreman's
	then  string         // an expression that brings the state about
}

func joinedAs(roles ...events.Role) map[string]any {
	return map[string]any{"site": "north", "device": "phone-a", "person": "p-1", "roles": roles, "hubKey": ""}
}

func (v view) show(t *testing.T, tab *browser.Tab, url string) {
	t.Helper()
	s := newScene(t, "Europe/Oslo")
	state := map[string]any{"joined": joinedAs(events.Foreman), "sheetAge": 20_000, "clock": s.at(v.when).UnixMilli(), "sheet": v.sheet}
	for k, x := range v.state {
		state[k] = x
	}
	raw, err := json.Marshal(state)
	require.NoError(t, err)
	tab.Open(url + "/phone#other")
	tab.Until(`window.app`)
	browser.Ask[string](tab, fmt.Sprintf(`sessionStorage.setItem("fake", %q); localStorage.setItem("earlyage-wall", "north-1"); location.hash = %q; ""`, raw, v.hash))
	tab.Reload()
	tab.Until(`window.app && document.querySelector("#screen .thumb")`)
	tab.Until(`"still" in document.body.dataset`)
	if v.then != "" {
		browser.Ask[string](tab, v.then+`; ""`)
	}
	tab.Until(`document.fonts.status === "loaded"`)
	tab.Until(`!app.telling.open || "still" in document.querySelector(".told").dataset`)
}

// out is an entry of the outbox.
func out(number int, kind, data, entered, fate, reason string) map[string]any {
	return map[string]any{"number": number, "id": fmt.Sprint("e", number), "wall": "north-1", "kind": kind, "data": json.RawMessage(data), "at": nil, "entered": entered, "fate": fate, "reason": reason}
}

func views(t *testing.T, units string) []view {
	t.Helper()
	s := newScene(t, "Europe/Oslo")
	ready, place, line := laidOut(t, units).sheet("04 06:40"), placing(t, units).sheet("04 09:01"), filled(t, units).sheet("04 10:45")
	hold, strip := cured(t, units).sheet("05 09:00"), permitted(t, units).sheet("07 09:00")
	lift := func(n int, from, to, top float64, when, fate string) map[string]any {
		at := s.at(when)
		e := out(n, "lift.placed", fmt.Sprintf(`{"from_m":%v,"to_m":%v,"top_m":%v,"ended":%q,"vibrated":true,"load":"t-402"}`, from, to, top, at.Format("2006-01-02T15:04:05Z07:00")), "", fate, "")
		e["entered"], e["at"] = at.UnixMilli(), at.UnixMilli()
		return e
	}
	aside := lift(1, 0, 6, 1.2, "04 08:59", "aside")
	aside["reason"] = "data.top_m 1.2: allowed: 0.01..15 m"
	late := lift(5, 6, 12, 1.2, "04 09:13", "waiting")
	late["entered"] = s.at("04 09:40").UnixMilli()
	box := []any{aside, lift(2, 0, 12, 0.6, "04 08:25", "folded"), lift(3, 0, 6, 1.2, "04 08:58", "sent"), lift(4, 6, 12, 1.2, "04 09:12", "waiting"), late}
	down := map[string]any{"link": "down", "sheetAge": 700_000, "outbox": []any{lift(4, 6, 12, 1.2, "04 09:12", "waiting")}}
	w := "#w/north-1"
	return []view{
		{"join", phone.Sheet{}, "04 06:40", "", map[string]any{"joined": nil, "sheet": nil}, ""},
		{"join-code", phone.Sheet{}, "04 06:40", "#join.abcd-efgh", map[string]any{"joined": nil, "sheet": nil}, ""},
		{"waiting", phone.Sheet{}, "04 06:40", "", map[string]any{"sheet": nil, "link": "down"}, ""},
		{"walls", place, "04 09:02", "#walls", nil, ""},
		{"ready", ready, "04 06:41", w, nil, ""},
		{"place", place, "04 09:02", w, nil, ""},
		{"place-down", place, "04 09:14", w, down, ""},
		{"place-closing", place, "04 10:33", w, map[string]any{"link": "down", "sheetAge": 7e6}, ""},
		{"place-past", place, "04 10:50", w, map[string]any{"canVibrate": false, "troubles": []string{"clock"}}, ""},
		{"straighten", line, "04 10:46", w, nil, ""},
		{"hold", hold, "05 09:01", w, nil, ""},
		{"strip-moment", strip, "07 09:00", w, nil, ""},
		{"strip", strip, "07 09:00", w + "/strip", nil, ""},
		{"strip-stale", strip, "07 09:05", w + "/strip", map[string]any{"link": "down", "sheetAge": 300_000}, ""},
		{"strip-shut", hold, "05 09:00", w + "/strip", nil, ""},
		{"lift", place, "04 09:12", w + "/do/lift.placed", nil, ""},
		{"lift-place", place, "04 09:12", w + "/do/lift.placed", nil, `document.querySelector('[data-k="pick-to_m"]').click()`},
		{"lift-slip", place, "04 09:12", w + "/do/lift.placed", nil, `app.form.values.top_m = 2.4; document.querySelector('[data-k="do-vibrated"]').click()`},
		{"load", place, "04 09:12", w + "/do/load.arrived", nil, ""},
		{"stop", place, "04 09:12", w + "/do/pour.stopped", nil, ""},
		{"temperature", hold, "05 09:01", w + "/do/temperature.read", nil, ""},
		{"line", line, "04 10:46", w + "/do/line.read", nil, ""},
		{"inspect", hold, "05 09:01", w + "/do/brace.inspected", nil, ""},
		{"off", hold, "05 09:01", w + "/do/brace.stripped", nil, ""},
		{"check", ready, "04 06:41", w + "/check/before", nil, ""},
		{"check-item", ready, "04 06:41", w + "/check/before/form-plumb", nil, `document.querySelector("details").open = true`},
		{"more", place, "04 09:12", w + "/more", nil, ""},
		{"alerts", place, "04 09:12", w + "/alerts", nil, ""},
		{"alerts-states", living(t, units).sheet("04 10:20"), "04 10:20", w + "/alerts", nil, ""},
		{"told", place, "04 09:12", w, told(raised), ""},
		{"told-down", place, "04 09:12", w, map[string]any{"link": "down", "told": told(raised, several)["told"]}, ""},
		{"told-other", place, "04 09:12", w, told(early), ""},
		{"told-whole", place, "04 09:12", w, told(raised), `document.querySelector(".told details").open = true`},
		{"told-later", place, "04 09:12", w, told(raised), `later()`},
		{"told-summary", place, "04 09:12", w, told(several), ""},
		{"told-missed", place, "04 09:12", w, told(missed), ""},
		{"about-push", place, "04 09:12", "#about", nil, `fake.pushes = "on"; app.push("state")`},
		{"outbox", place, "04 09:41", "#outbox", map[string]any{"outbox": box, "persisted": false}, ""},
		{"entry", place, "04 09:41", "#entry/4", map[string]any{"outbox": box}, ""},
		{"amend", place, "04 09:41", w + "/do/lift.placed/4", map[string]any{"outbox": box}, ""},
		{"about", place, "04 09:12", "#about", map[string]any{"canVibrate": false, "persisted": false}, ""},
	}
}

// picture shows what is seen without scrolling; in a picture of the whole page,
// what stays under the thumb would stand in its middle.
func picture(t *testing.T, tab *browser.Tab, name string) {
	t.Helper()
	dir := os.Getenv(browser.ShotsEnv)
	if dir == "" {
		return
	}
	png, err := chromedp.Run(tab.Context(), chromedp.CaptureScreenshot())
	require.NoError(t, err)
	require.NoError(t, os.MkdirAll(dir, 0o750))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "phone-"+name+".png"), png, 0o600))
}

// whole demands what every screen has to hold.
func whole(t *testing.T, tab *browser.Tab, name string) {
	t.Helper()
	tab.Good()
	require.Empty(t, browser.Ask[[]string](tab, `document.body.innerText.match(/\b(phone|state|kind|criterion|alert|role|common)\.[a-z-]+(\.[a-z-]+)*/g)?.filter(w => !/^state\.opened/.test(w)) ?? []`), "%s: keys without a text", name)
	small := browser.Ask[[]string](tab, `[...document.querySelectorAll("button, input, summary")].filter(e => { const r = e.getBoundingClientRect(); return r.width > 0 && (r.height < 63.5 || r.width < 56); }).map(e => (e.dataset.k ?? e.id) + " " + e.getBoundingClientRect().width + "x" + e.getBoundingClientRect().height)`)
	require.Empty(t, small, "%s: too small for a glove", name)
	field := browser.Ask[[]string](tab, `[...document.querySelectorAll(".thumb .key:not(.key-small)")].filter(e => e.getBoundingClientRect().height < 103.5).map(e => e.dataset.k)`)
	require.Empty(t, field, "%s: keys of the field are 104 px at least", name)
}

func TestScreens(t *testing.T) {
	t.Parallel()
	url := screens(t)
	for _, run := range []struct {
		name, units, lang string
		text              int
	}{{"en", "si", "en", 100}, {"es-large", "us", "es", 200}} {
		t.Run(run.name, func(t *testing.T) {
			t.Parallel()
			tab, documents := suite.Browser(t).Tab(run.name, browser.Phone), map[string]string{}
			tab.ZoomText(run.text)
			tab.Open(url + "/phone")
			browser.Ask[string](tab, `document.cookie = "lang=`+run.lang+`; path=/"; ""`)
			for _, v := range views(t, run.units) {
				v.show(t, tab, url)
				require.Equal(t, run.lang, browser.Ask[string](tab, `document.documentElement.lang`))
				picture(t, tab, run.name+"-"+v.name)
				whole(t, tab, run.name+" "+v.name)
				documents[v.name] = "<!DOCTYPE html>\n" + browser.Ask[string](tab, `document.documentElement.outerHTML`)
			}
			browser.ValidHTML(t, documents)
		})
	}
}

// All that a phone has to fetch before it can do without a network.
func TestThePageIsSmall(t *testing.T) {
	p, err := phone.NewPage(plainFiles{})
	require.NoError(t, err)
	total := 0
	add := func(name string, body []byte, packed bool) {
		size := len(body)
		if !packed {
			var z bytes.Buffer
			w, err := gzip.NewWriterLevel(&z, gzip.BestCompression)
			require.NoError(t, err)
			_, err = w.Write(body)
			require.NoError(t, err)
			require.NoError(t, w.Close())
			size = z.Len()
		}
		t.Log(name, size)
		total += size
	}
	for _, path := range append(p.Files(), phone.PathPage, phone.PathWorker) {
		if strings.Contains(path, "words-es") {
			continue // the other language comes after
		}
		if name, own := strings.CutPrefix(path, "/static/"); own {
			body, err := os.ReadFile("../door/static/" + name)
			require.NoError(t, err)
			add(path, body, strings.HasSuffix(name, ".woff2"))
			continue
		}
		w := httptest.NewRecorder()
		p.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
		require.Equal(t, 200, w.Code, path)
		add(path, w.Body.Bytes(), false)
	}
	t.Log("in all", total)
	require.Less(t, total, 120<<10)
}
