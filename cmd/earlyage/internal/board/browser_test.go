package board_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/scheduler"
)

const (
	shownIDs = `[...document.querySelectorAll("#walls > li:not([hidden])")].map(li => li.id)`
	pages    = "board alerts alerts/kinds braces week"
	// The cells that run out of their column.
	runOver = `[...document.querySelectorAll("#walls dd .c")].filter(c => c.getBoundingClientRect().right > c.closest("dd").getBoundingClientRect().right + 1).map(c => c.textContent).join("; ")`
)

var sizes = []struct {
	name string
	size browser.Size
}{{"phone", browser.Phone}, {"desk", browser.Desk}}

// Every page at both sizes with nothing, a quiet day and twenty walls, and with
// all text twice as large.
func TestPagesAreGood(t *testing.T) {
	in := readRecord(t, "testdata/morning.txt").input(morning)
	b := suite.Browser(t)
	for _, n := range []int{0, 20} {
		at := in
		if n == 0 {
			at = board.Input{At: morning, Level: true}
		}
		if n > 0 {
			at = many(in, n)
		}
		s := serve(t, at, nil)
		for _, size := range sizes {
			tab := b.Tab(fmt.Sprintf("%s-%d", size.name, n), size.size)
			for _, page := range strings.Fields(pages) {
				tab.Open("http://" + s.address + "/" + page)
				tab.Good()
				tab.Shot(strings.ReplaceAll(page, "/", "-"))
			}
		}
	}
}

func TestTextTwiceAsLarge(t *testing.T) {
	in := readRecord(t, "testdata/morning.txt").input(morning)
	s := serve(t, many(in, 12), nil)
	b := suite.Browser(t)
	for _, size := range sizes {
		tab := b.Tab("large-"+size.name, size.size)
		tab.ZoomText(200)
		for _, page := range strings.Fields(pages) {
			tab.Open("http://" + s.address + "/" + page)
			require.Equal(t, "32px", browser.Ask[string](tab, `getComputedStyle(document.documentElement).fontSize`))
			tab.Good()
			tab.Shot(strings.ReplaceAll(page, "/", "-"))
		}
	}
}

// A quiet day of twelve walls stands on one screen of a desk, nothing scrolled: two
// are being placed, others have alerts that wait for an answer. Names and numbers
// stand on one line, and what closes first stands on top and in the first row.
func TestAQuietDayFits(t *testing.T) {
	in := quiet(readRecord(t, "testdata/morning.txt").input(morning))
	in.Demo = true
	s := serve(t, in, nil)
	tab := suite.Browser(t).Tab("quiet", browser.Desk)
	tab.Open("http://" + s.address + "/board")
	tab.SeeText("#count", "12 of 12 walls")
	tab.Good()
	tab.Shot("board")
	require.LessOrEqual(t, browser.Ask[int](tab, `document.documentElement.scrollHeight`), browser.Ask[int](tab, `innerHeight`))
	require.LessOrEqual(t, browser.Ask[int](tab, `Math.ceil(document.querySelector("main").getBoundingClientRect().bottom)`), 900)
	require.Equal(t, "", browser.Ask[string](tab, runOver))
	const lines = `(sel => [...document.querySelectorAll(sel)].filter(e => e.textContent).map(e => Math.round(e.getBoundingClientRect().height / 20)))`
	for _, cell := range []string{"alerts", "braces", "name", "state", "left", "clock", "placed", "load", "truck"} {
		require.Equal(t, "1", browser.Ask[string](tab, `[...new Set(`+lines+`('#walls [data-c="`+cell+`"]'))].join()`), cell)
	}
	require.LessOrEqual(t, browser.Ask[int](tab, `Math.ceil(Math.max(...[...document.querySelectorAll('#walls > li:not([data-state="placing"])')].map(e => e.getBoundingClientRect().height)))`), 52, "two lines")
	require.Equal(t, "/walls/alder-court/west-1 /walls/alder-court/west-1", browser.Ask[string](tab, `document.querySelector("#first a").getAttribute("href") + " " + document.querySelector("#walls h2 a").getAttribute("href")`))

	// The strip follows.
	at := find(t, in, "west-1")
	s.change(func(in *board.Input) { in.Walls[at].Assessment.Joints = nil })
	tab.SeeText("#first", "Shop, north side")
	s.change(func(in *board.Input) {
		for i := range in.Walls {
			in.Walls[i].Assessment.Joints = nil
		}
	})
	tab.SeeText("#first", "No joint is open.")
	tab.Good()
}

// quiet is a day of twelve walls on three sites, of which two are being placed.
func quiet(in board.Input) board.Input {
	in = many(in, 40)
	placing := 0
	walls := in.Walls[:0]
	for _, w := range in.Walls {
		if w.Assessment.State == scheduler.StatePlacing {
			if placing++; placing > 2 {
				continue
			}
		}
		walls = append(walls, w)
	}
	in.Walls = walls[:12]
	long := []string{scheduler.AlertStripEarly, scheduler.AlertFrozen, scheduler.AlertWindowLater, scheduler.AlertBraceOverdue}
	for i, w := range in.Walls[4:8] {
		for k := range 2 {
			kind := long[(i+k)%len(long)]
			in.Alarms = append(in.Alarms, face.Alarm{
				ID: fmt.Sprint("long-", i, k), Site: w.Assessment.Site, Wall: w.Assessment.Wall, Kind: kind, Priority: scheduler.AlertKinds[kind].Priority,
				Since: face.Time{Time: morning.Add(-time.Duration(i+1) * 20 * time.Hour)},
			})
		}
	}
	return in
}

// What five hundred walls show, and that they stand in order.
func TestFiveHundredWalls(t *testing.T) {
	in := many(readRecord(t, "testdata/morning.txt").input(morning), 500)
	s := serve(t, in, nil)
	want := ids(board.Make(in))
	b := suite.Browser(t)
	for _, size := range sizes {
		tab := b.Tab("many-"+size.name, size.size)
		tab.Open("http://" + s.address + "/board")
		require.Equal(t, want, browser.Ask[[]string](tab, shownIDs))
		tab.NoOverflow()
		tab.SeeText("#count", "500 of 500 walls")
	}
}

func ids(b board.Board) []string {
	var out []string
	for _, r := range b.Walls {
		out = append(out, "w."+r.Site+"."+r.Wall)
	}
	return out
}

func TestFilter(t *testing.T) {
	s := serve(t, many(readRecord(t, "testdata/morning.txt").input(morning), 12), nil)
	tab := suite.Browser(t).Tab("filter", browser.Desk)
	tab.Open("http://" + s.address + "/board?site=stone-draw")
	tab.SeeText("#count", "4 of 12 walls")
	tab.Keys("/")
	tab.Until(`document.activeElement.id === "f-site"`)
	tab.Keys(kb.Tab + kb.Tab + "p") // to the state, "placing"
	tab.SeeText("#count", "2 of 12 walls")
	tab.Until(`location.search === "?site=stone-draw&state=placing"`)
	tab.SeeText("#said", "2 of 12 walls")
	require.Equal(t, []string{"w.stone-draw.shop-a", "w.stone-draw.shop-a-1"}, browser.Ask[[]string](tab, shownIDs))
	tab.Reload()
	tab.SeeText("#count", "2 of 12 walls")
	tab.Open("http://" + s.address + "/board?site=alder-court&crew=crew-2")
	tab.SeeText("#none-so", "Choose another")
	tab.Shot("none")

	// What comes later is filtered as well.
	tab.Open("http://" + s.address + "/board?state=planned")
	tab.SeeText("#count", "2 of 12 walls")
	s.change(func(in *board.Input) { in.Walls[0].Assessment.State = "planned" })
	tab.SeeText("#count", "3 of 12 walls")
}

// Every change is on the board, in the order in which it came, and what has the
// focus keeps it while rows come, move and go.
func TestChangesArrive(t *testing.T) {
	in := many(readRecord(t, "testdata/morning.txt").input(morning), 6)
	s := serve(t, in, nil)
	at := find(t, in, "west-1")
	tab := suite.Browser(t).Tab("live", browser.Desk)
	tab.Open("http://" + s.address + "/board")
	tab.See(`body[data-link="up"]`)
	cell := `#w\\.alder-court\\.west-1 [data-c="pump"]`
	tab.Until(`window.seen = [], new MutationObserver(() => window.seen.push(document.querySelector('` + cell + `').textContent))
		.observe(document.querySelector('` + cell + `'), {childList: true, characterData: true, subtree: true}), true`)
	tab.Keys("jj")
	focused := browser.Ask[string](tab, `document.activeElement.closest("li").id`)
	for i := 1; i <= 5; i++ {
		s.change(func(in *board.Input) { in.Walls[at].Assessment.Rate.PumpM3H = float64(10 * i) })
		tab.Until(fmt.Sprintf(`new Set(window.seen).size === %d`, i))
	}
	require.Equal(t, []string{"pump 13.1 yd³/h", "pump 26.2 yd³/h", "pump 39.2 yd³/h", "pump 52.3 yd³/h", "pump 65.4 yd³/h"}, browser.Ask[[]string](tab, `[...new Set(window.seen)]`))

	var now board.Board
	s.change(func(in *board.Input) { *in = many(*in, 20); now = board.Make(*in) })
	tab.Until(fmt.Sprintf(`JSON.stringify(%s) === '["%s"]'`, shownIDs, strings.Join(ids(now), `","`)))
	require.Equal(t, focused, browser.Ask[string](tab, `document.activeElement.closest("li").id`))
	fresh := browser.Ask[string](tab, `document.querySelector("#walls").innerText`)
	tab.Reload()
	require.Equal(t, browser.Ask[string](tab, `document.querySelector("#walls").innerText`), fresh, "what the script made is what the hub writes")
	s.change(func(in *board.Input) { in.Walls = in.Walls[:1]; now = board.Make(*in) })
	tab.Until(fmt.Sprintf(`JSON.stringify(%s) === '["%s"]'`, shownIDs, strings.Join(ids(now), `","`)))
	s.change(func(in *board.Input) { in.Doubts = []string{"a hole in the stream"} })
	tab.SeeText("#wrong", "a hole in the stream")
	tab.Shot("wrong")
}

// What is told live is told in the page's language.
func TestChangesInThePagesLanguage(t *testing.T) {
	in := quiet(readRecord(t, "testdata/morning.txt").input(morning))
	s := serve(t, in, nil)
	b := suite.Browser(t)
	for i, size := range sizes {
		tab := b.Tab("es-"+size.name, size.size)
		tab.Open("http://" + s.address + "/board?lang=es")
		tab.See(`body[data-link="up"]`)
		at := find(t, in, "west-1")
		s.change(func(in *board.Input) { in.Walls[at].Assessment.Rate.PumpM3H = 30 + float64(i) })
		tab.SeeText(`#w\.alder-court\.west-1 [data-c="pump"]`, []string{"bomba 39.2", "bomba 40.5"}[i])
		require.NotContains(t, tab.Text("#walls"), "may strip")
		tab.SeeText("#first", "Se cierra primero:")
		tab.Good()
		tab.Shot("board")
		require.Equal(t, "", browser.Ask[string](tab, runOver))
		if size.size == browser.Desk {
			require.LessOrEqual(t, browser.Ask[int](tab, `document.documentElement.scrollHeight`), 900)
		}
	}
}

func find(t *testing.T, in board.Input, wall string) int {
	for i, w := range in.Walls {
		if w.Assessment.Wall == wall {
			return i
		}
	}
	require.FailNow(t, "no wall "+wall)
	return 0
}

// A board that hears nothing says so; what may be stripped it says no longer; and
// when it hears again it has the whole.
func TestALinkThatIsDeaf(t *testing.T) {
	in := many(readRecord(t, "testdata/morning.txt").input(morning), 12)
	s := serve(t, in, nil)
	relay := browser.NewRelay(t, s.address)
	tab := suite.Browser(t).Tab("deaf", browser.Desk)
	tab.Open("http://" + relay.Addr() + "/board")
	tab.See(`body[data-link="up"]`)
	before := browser.Ask[int](tab, `document.querySelectorAll("#walls .state-done").length`)
	require.Positive(t, before)
	relay.Deaf(false, true)
	tab.See("#link-stale")
	tab.SeeText("#said", "No word from the hub")
	tab.Good()
	tab.Shot("stale")
	require.Equal(t, before, browser.Ask[int](tab, `document.querySelectorAll("#walls .state-done").length`))
	tab.Until(`(() => { const real = Date.now.bind(Date); Date.now = () => real() + 61000; return true; })()`)
	tab.Until(`document.querySelectorAll("#walls .state-done").length === 0`)
	tab.Until(`[...document.querySelectorAll("#walls .state-nolink")].every(e => e.textContent === "ask the hub")`)
	tab.Shot("ask")

	var now board.Board
	s.change(func(in *board.Input) { in.Walls = in.Walls[3:]; now = board.Make(*in) })
	relay.Deaf(false, false)
	tab.Until(`!document.querySelector("#link-up").hidden`)
	tab.Until(fmt.Sprintf(`JSON.stringify(%s) === '["%s"]'`, shownIDs, strings.Join(ids(now), `","`)))
	tab.Until(`document.querySelectorAll("#walls .state-done").length > 0 && !document.querySelector("#walls [data-ask]")`)
	tab.SeeText("#said", "heard again")

	// A connection that is cut is no other.
	tab.Expect("net::")
	relay.Cut(true)
	tab.See("#link-stale")
	s.change(func(in *board.Input) { in.Walls = in.Walls[2:]; now = board.Make(*in) })
	relay.Cut(false)
	tab.Until(fmt.Sprintf(`JSON.stringify(%s) === '["%s"]'`, shownIDs, strings.Join(ids(now), `","`)))
	tab.Until(`!document.querySelector("#link-up").hidden`)
}

// Nor do the braces and the week say what may be stripped by a word that is old.
func TestNothingOldMayBeStripped(t *testing.T) {
	in := many(readRecord(t, "testdata/morning.txt").input(morning), 6)
	s := serve(t, in, nil)
	relay := browser.NewRelay(t, s.address)
	b := suite.Browser(t)
	const said = `/may strip|free at this site now/.test(document.querySelector("#live .slab").innerText)`
	for _, page := range []string{"braces", "week"} {
		tab := b.Tab("old-"+page, browser.Desk)
		tab.Open("http://" + relay.Addr() + "/" + page)
		tab.See(`body[data-link="up"]`)
		require.True(t, browser.Ask[bool](tab, said))
		relay.Deaf(false, true)
		tab.Until(`(() => { const real = Date.now.bind(Date); Date.now = () => real() + 61000; return true; })()`)
		tab.Until("!" + said)
		require.Zero(t, browser.Ask[int](tab, `document.querySelectorAll("svg .may:not([display=none])").length`))
		tab.Good()
		tab.Shot("ask")
		relay.Deaf(false, false)
		tab.Until(said)
	}
}

// Alerts are answered by keys alone.
func TestAnswersByKeys(t *testing.T) {
	s := serve(t, many(readRecord(t, "testdata/morning.txt").input(morning), 6), nil)
	tab := suite.Browser(t).Tab("keys", browser.Desk)
	tab.Open("http://" + s.address + "/board")
	tab.Keys("?")
	tab.See("#keys")
	tab.Good()
	tab.Shot("help")
	tab.Keys(kb.Escape)
	tab.Keys("ja")
	tab.Until(`location.pathname + location.search === "/alerts?site=alder-court&wall=west-1"`)
	tab.See(`body[data-link="up"]`) // its script takes keys
	shown := browser.Ask[int](tab, `document.querySelectorAll("#walls > li:not([hidden])").length`)
	require.Equal(t, 3, shown)
	tab.Keys("j")
	id := browser.Ask[string](tab, `document.activeElement.dataset.id`)
	require.Equal(t, "joint-closing", browser.Ask[string](tab, `document.activeElement.dataset.kind`))
	tab.Keys("a")
	tab.SeeText("#said", "Acknowledged")
	tab.Until(`document.querySelector('[data-id="` + id + `"]').dataset.answered === "acknowledged"`)
	tab.SeeText(`[data-id="`+id+`"]`, "by Noor")
	tab.Until(`document.querySelector("#open").textContent === "4"`)

	tab.Keys("k")
	second := browser.Ask[string](tab, `document.activeElement.dataset.id`)
	tab.Keys("s")
	tab.See("#shelve")
	tab.Until(`document.activeElement.id === "shelve-reason"`)
	tab.Good()
	tab.Shot("shelve")
	tab.Keys(kb.Backspace) // this driver types a letter even where the page took the key
	tab.Keys("covered at noon" + kb.Enter)
	tab.SeeText("#said", "Shelved")
	tab.Until(`document.querySelector('[data-id="` + second + `"]').dataset.answered === "shelved"`)
	tab.Good()
	tab.Shot("answered")
	require.Len(t, s.entered, 2)
	require.Equal(t, entry{"alder-court", "west-1", "alert.acknowledged", map[string]string{"alert": id, "kind": "joint-closing"}}, s.entered[0])
	shelved := s.entered[1]
	require.Equal(t, []string{"alert.shelved", second, "covered at noon"}, []string{shelved.Kind, shelved.Data["alert"], shelved.Data["reason"]})
	from, err := time.Parse(time.RFC3339, shelved.Data["at"])
	require.NoError(t, err)
	until, err := time.Parse(time.RFC3339, shelved.Data["until"])
	require.NoError(t, err)
	require.Equal(t, time.Hour, until.Sub(from))

	s.mu.Lock()
	s.why = "dispatcher, who may answer it"
	s.mu.Unlock()
	tab.Open("http://" + s.address + "/alerts")
	tab.Keys("ja")
	tab.SeeText("#said", "Not recorded: dispatcher, who may answer it")
	tab.Keys("4")
	tab.Until(`location.pathname === "/week"`)
}

// Who may not answer sees no key for it, and the key does nothing.
func TestWhoMayNotAnswer(t *testing.T) {
	s := serve(t, many(readRecord(t, "testdata/morning.txt").input(morning), 6), nil)
	s.sight = board.Sight{Sites: []string{"tverrbakken"}}
	tab := suite.Browser(t).Tab("looks-on", browser.Phone)
	tab.Open("http://" + s.address + "/alerts")
	require.Equal(t, "tverrbakken", browser.Ask[string](tab, `[...new Set([...document.querySelectorAll("#walls > li")].map(li => li.dataset.site))].join()`))
	require.Zero(t, browser.Ask[int](tab, `document.querySelectorAll("[data-do]").length`))
	tab.Keys("ja")
	tab.SeeText("#said", "Others answer")
	require.Empty(t, s.entered)
	tab.Good()
}

// Another page is fetched again when what it shows has changed, and the focus
// stays where it was.
func TestOtherPagesFollow(t *testing.T) {
	s := serve(t, many(readRecord(t, "testdata/morning.txt").input(morning), 6), nil)
	tab := suite.Browser(t).Tab("follow", browser.Desk)
	tab.Open("http://" + s.address + "/alerts")
	tab.Keys("jjj")
	focused := browser.Ask[string](tab, `document.activeElement.id`)
	s.change(func(in *board.Input) { in.Alarms[0].Text = "said anew" })
	tab.SeeText("#live", "said anew")
	require.Equal(t, focused, browser.Ask[string](tab, `document.activeElement.id`))
	tab.Open("http://" + s.address + "/week?lang=es")
	tab.SeeText("nav", "Semana")
	s.change(func(in *board.Input) { in.Sites = in.Sites[:0] })
	tab.SeeText("#live", "Ningún muro")
}

// Every document is valid, in both languages.
func TestDocumentsAreValid(t *testing.T) {
	in := readRecord(t, "testdata/morning.txt").input(morning)
	documents := map[string]string{}
	for n, at := range map[int]board.Input{0: {At: morning, Level: true}, 12: many(in, 12)} {
		s := serve(t, at, nil)
		for _, page := range strings.Fields(pages) {
			for _, lang := range []string{"en", "es"} {
				w := s.get(t, "/"+page+"?lang="+lang)
				require.Contains(t, w.Header().Get("Content-Security-Policy"), "default-src 'none'")
				documents[fmt.Sprintf("%s %d %s", page, n, lang)] = w.Body.String()
				require.Contains(t, w.Body.String(), "Do not strip a wall that a competent person has not examined", page)
				require.NotRegexp(t, `>[^<]*\bboard\.[a-z]`, w.Body.String(), "a text that is missing: %s", page)
			}
		}
	}
	browser.ValidHTML(t, documents)
	require.Equal(t, http.StatusOK, serve(t, in, nil).get(t, "/board").Code)
}
