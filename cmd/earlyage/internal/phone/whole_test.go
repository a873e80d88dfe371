package phone_test

import (
	"log/slog"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
)

// From the code to a lift in the record, with nothing of the test in between: the
// hub's own page, the engine, the stream, the receipt, the snapshot. Then the hub
// is away, and the page opens and records.
func TestTheWholePhone(t *testing.T) {
	t.Parallel()
	h, err := hub.Start(t.Context(), hub.Config{
		Dir: t.TempDir(), HTTP: "127.0.0.1:0", Websocket: "127.0.0.1:0", StopWithin: time.Minute,
		Limits:       hub.Limits{Requests: door.Limits{Address: 1e6, AddressBurst: 1e6, Account: 1e6, AccountBurst: 1e6, Tries: 1e6, TriesBurst: 1e6}},
		Synchronised: func() bool { return true }, Log: slog.New(slog.DiscardHandler),
	})
	require.NoError(t, err)
	local, err := api.Dial(api.Where{Socket: h.Socket()})
	require.NoError(t, err)
	stop := func() {
		if h != nil {
			local.HTTP.CloseIdleConnections()
			http.DefaultTransport.(*http.Transport).CloseIdleConnections()
			require.NoError(t, h.Stop())
			h = nil
		}
	}
	t.Cleanup(stop)
	var p api.Person
	require.NoError(t, local.Post(t.Context(), api.PathPeople, api.NewPerson{Name: "Ana", Roles: api.Roles{"north": {events.Foreman}}}, &p))
	var ticket api.Ticket
	require.NoError(t, local.Post(t.Context(), api.PathInvitations, api.NewInvitation{Person: p.Person, Site: "north", Sort: "phone"}, &ticket))

	tab := suite.Browser(t).Tab("whole", browser.Phone)
	for _, noise := range []string{"ERR_", "WebSocket", "Failed to load resource", "net::"} {
		tab.Expect(noise) // of the hub that goes away, and of a session that there is not yet
	}
	tab.Open(h.HTTPURL() + "/phone#join." + ticket.Code)
	tab.SeeText("h1", "Join a site")
	// What is told stands over the screens; this person closes it each time.
	closing := func() {
		browser.Ask[int](tab, `setInterval(() => document.querySelector(".told[open][data-still]")?.dispatchEvent(new Event("cancel", {cancelable: true})), 50)`)
	}
	closing()
	press(tab, "join")
	tab.SeeText("#strip", "link")
	tab.Until(`document.querySelector("h1").innerText === "Choose the wall" || document.querySelector("h1").innerText === "Waiting for the hub"`)
	// The foreman lays the wall out on the same phone: its page has no form for it.
	browser.Ask[int](tab, `earlyage.engine.record("w1", "wall.laid-out", {name: "West wall", length_m: 12, height_m: 2.4, core_mm: 200, braces: [{name: "b1", at_m: 1}, {name: "b2", at_m: 6}, {name: "b3", at_m: 11}]})`)
	tab.See(`[data-k="wall-w1"]`)
	press(tab, "wall-w1")
	tab.SeeText("h1", "Make ready")
	press(tab, "brace.set")
	tab.See(`[data-k="do-record"]`)
	press(tab, "do-record")
	tab.SeeText("#screen", "Recorded: Braces set")
	press(tab, "pour.started")
	tab.See(`[data-k="do-record"]`)
	press(tab, "do-record")
	tab.SeeText("h1", "Place")
	press(tab, "lift.placed")
	tab.See(`[data-k="do-vibrated"]`)
	press(tab, "do-vibrated")
	tab.Until(`earlyage.state.outbox.some(e => e.kind === "lift.placed" && e.fate === "folded")`)
	tab.Until(`earlyage.wall("w1").state === "placing" && earlyage.unknown(earlyage.wall("w1")).length === 0`)
	tab.SeeText("#strip", "min left")
	require.Equal(t, "placing", browser.Ask[string](tab, `earlyage.engine.ask("w1").then(s => s.walls.find(w => w.wall === "w1").state)`))
	tab.Until(`earlyage.fresh(earlyage.wall("w1"))`) // the hub's word on the lift may be on its way

	// Kept by the service worker: page, scripts, look, texts, typeface.
	browser.Ask[string](tab, `navigator.serviceWorker.ready.then(() => "")`)
	tab.Reload()
	closing()
	tab.SeeText("h1", "Place")
	stop()
	tab.Reload()
	closing()
	tab.SeeText("h1", "Place")
	tab.SeeText("#strip", "no link")
	tab.SeeText("#strip", "min left")
	require.Contains(t, browser.Ask[string](tab, `getComputedStyle(document.querySelector(".key")).borderTopWidth`), "3px", "the look is kept")
	require.True(t, browser.Ask[bool](tab, `document.fonts.check("700 18px 'Atkinson Hyperlegible Next'")`))
	press(tab, "lift.placed")
	tab.See(`[data-k="do-vibrated"]`)
	press(tab, "do-vibrated")
	tab.SeeText("#screen", "Recorded: Lift placed on this phone")
	require.Equal(t, []string{"waiting"}, browser.Ask[[]string](tab, `earlyage.state.outbox.filter(e => e.kind === "lift.placed").slice(-1).map(e => e.fate)`))
	// That an alert was shown may wait beside it.
	tab.Until(`earlyage.state.waiting > 0 && document.querySelector("#strip").innerText.includes(earlyage.state.waiting + " waiting")`)
}
