package phone_test

import (
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector/wall"
)

const patience = time.Minute

// told is a whole hub with its own page, behind a stretch of network that can be
// cut, and all that it has said and heard.
type tellingHub struct {
	t      *testing.T
	hub    *hub.Hub
	local  api.Client
	relay  *browser.Relay
	origin string

	mu     sync.Mutex
	events []events.Event // mu
}

func openTelling(t *testing.T) *tellingHub {
	t.Helper()
	c := &tellingHub{t: t}
	front := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		u, err := url.Parse(c.hub.HTTPURL())
		if err != nil {
			panic(err)
		}
		proxy := &httputil.ReverseProxy{ErrorLog: slog.NewLogLogger(slog.DiscardHandler, slog.LevelError), Rewrite: func(p *httputil.ProxyRequest) {
			p.SetURL(u)
			p.Out.Host = p.In.Host
		}}
		proxy.ServeHTTP(w, r)
	}))
	front.Start()
	t.Cleanup(front.Close)
	c.relay = browser.NewRelay(t, front.Listener.Addr().String())
	c.origin = "http://" + c.relay.Addr()
	var err error
	c.hub, err = hub.Start(t.Context(), hub.Config{
		Dir: t.TempDir(), HTTP: "127.0.0.1:0", Websocket: "127.0.0.1:0", Address: c.origin, StopWithin: time.Minute,
		Limits:       hub.Limits{Requests: door.Limits{Address: 1e6, AddressBurst: 1e6, Account: 1e6, AccountBurst: 1e6, Tries: 1e6, TriesBurst: 1e6}},
		Synchronised: func() bool { return true }, Log: slog.New(slog.DiscardHandler), Tap: c.take,
	})
	require.NoError(t, err)
	c.local, err = api.Dial(api.Where{Socket: c.hub.Socket()})
	require.NoError(t, err)
	t.Cleanup(func() {
		c.relay.Drop()
		c.local.HTTP.CloseIdleConnections()
		http.DefaultTransport.(*http.Transport).CloseIdleConnections()
		require.NoError(t, c.hub.Stop())
	})
	return c
}

func (c *tellingHub) take(m stream.Message) {
	e, err := events.Decode(m.Subject, m.Body)
	if err != nil {
		panic(err)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.events = append(c.events, e)
}

// shown are what a device said that it showed.
func (c *tellingHub) shown(device string) (list []events.AlertShown) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, e := range c.events {
		if d, ok := e.Data.(*events.AlertShown); ok && e.Source.Device == device {
			list = append(list, *d)
		}
	}
	return list
}

// join opens the page as somebody new on the site.
func (c *tellingHub) join(b *browser.Browser, name string, roles ...events.Role) *browser.Tab {
	c.t.Helper()
	var p api.Person
	require.NoError(c.t, c.local.Post(c.t.Context(), api.PathPeople, api.NewPerson{Name: name, Roles: api.Roles{"north": roles}}, &p))
	var ticket api.Ticket
	require.NoError(c.t, c.local.Post(c.t.Context(), api.PathInvitations, api.NewInvitation{Person: p.Person, Site: "north", Sort: "phone"}, &ticket))
	tab := b.Tab(name, browser.Phone)
	for _, noise := range []string{"ERR_", "WebSocket", "Failed to load resource", "net::", "Blocked call to navigator.vibrate"} {
		tab.Expect(noise)
	}
	tab.Open(c.origin + "/phone#join." + ticket.Code)
	tab.SeeText("h1", "Join a site")
	press(tab, "join")
	tab.Until(`window.earlyage?.state.link === "up" && earlyage.sheet`)
	return tab
}

// record lets a phone record and waits until the hub has it.
func record(tab *browser.Tab, wall, kind, data string) {
	browser.Ask[int](tab, fmt.Sprintf(`earlyage.engine.record(%q, %q, %s)`, wall, kind, data))
	tab.Until(`earlyage.state.waiting === 0`)
}

// alert is the last of a kind, as the hub has it.
func (c *tellingHub) alert(kind string) (state, by string) {
	var all api.Alerts
	_, err := c.local.Get(c.t.Context(), api.PathAlerts, url.Values{"all": {"1"}}, &all)
	require.NoError(c.t, err)
	for _, a := range all.Alerts {
		if a.Kind == kind {
			state, by = a.State, a.AcknowledgedBy
		}
	}
	return state, by
}

func (c *tellingHub) board() string {
	resp, err := c.local.HTTP.Get("http://hub/alerts")
	require.NoError(c.t, err)
	defer func() { require.NoError(c.t, resp.Body.Close()) }()
	body, err := io.ReadAll(resp.Body)
	require.NoError(c.t, err)
	return string(body)
}

// From a condition to a person: the hub raises, tells by NATS, the phone shows it
// once and says so, also after a reload and after it was away; the answer from the
// phone stands on the board.
func TestToldByNATS(t *testing.T) {
	t.Parallel()
	c, b := openTelling(t), suite.Browser(t)
	tab, other := c.join(b, "Ana", events.Foreman), c.join(b, "Ben", events.Foreman)
	device := browser.Ask[string](tab, `earlyage.state.joined.device`)
	record(other, "w1", "wall.laid-out", `{name: "West wall", length_m: 12, height_m: 2.4, core_mm: 200, braces: [{name: "b1", at_m: 1}, {name: "b2", at_m: 6}, {name: "b3", at_m: 11}]}`)
	record(other, "w1", "brace.set", `{braces: [{name: "b1", at_m: 1}, {name: "b2", at_m: 6}, {name: "b3", at_m: 11}]}`)
	record(other, "w1", "brace.disturbed", `{braces: ["b2"], cause: "knocked"}`)
	tab.See(".told[open]")
	tab.SeeText(".told", "brace b2")
	tab.SeeText(".told", "Keep people out")
	told := func(n int) []events.AlertShown {
		t.Helper()
		require.Eventually(t, func() bool { return len(c.shown(device)) >= n }, patience, 20*time.Millisecond)
		return c.shown(device)
	}
	first := told(1)[0]
	require.Equal(t, []string{"brace-disturbed", "raised"}, []string{first.Kind, first.State})
	require.NotEmpty(t, first.Message)

	// A reload shows nothing again, and says nothing again.
	tab.Reload()
	tab.Until(`window.earlyage?.state.link === "up" && earlyage.sheet && earlyage.state.outbox.some(e => e.kind === "alert.shown" && e.fate === "folded")`)
	require.False(t, browser.Ask[bool](tab, `earlyage.telling.open`))

	// What is told while the phone hears nothing is shown when it is back.
	tab.Open(c.origin + "/phone/none")
	record(other, "w1", "form.moved", `{at_m: 3, what: "bulge"}`)
	require.Eventually(t, func() bool { state, _ := c.alert("form-moved"); return state == wall.StateUnacknowledged }, patience, 50*time.Millisecond)
	require.Len(t, c.shown(device), 1)
	tab.Open(c.origin + "/phone")
	tab.SeeText(".told", "Form moved")
	list := told(2)
	require.Equal(t, "form-moved", list[1].Kind)
	pressTold(tab, "told-close")
	tab.Until(`!earlyage.telling.open && earlyage.state.told.length === 0`)

	// The link is lost and comes again: nothing is shown or said again.
	c.relay.Cut(true)
	tab.Until(`earlyage.state.link === "down"`)
	c.relay.Cut(false)
	tab.Until(`earlyage.state.link === "up" && earlyage.state.waiting === 0`)
	browser.Ask[string](tab, `earlyage.engine.refresh().then(() => "")`)
	require.False(t, browser.Ask[bool](tab, `earlyage.telling.open`))
	browser.Ask[string](tab, `location.hash = "#w/w1/alerts"; ""`)

	// The answer stops it.
	id := browser.Ask[string](tab, `earlyage.wall("w1").alerts.find(a => a.kind === "form-moved").id`)
	press(tab, "seen-"+id)
	me := browser.Ask[string](tab, `earlyage.state.joined.person`)
	require.Eventually(t, func() bool {
		state, by := c.alert("form-moved")
		return state == wall.StateAcknowledged && by == me
	}, patience, 50*time.Millisecond)
	require.Regexp(t, `data-kind="form-moved"[^>]*data-answered="acknowledged"`, c.board())
	require.Len(t, c.shown(device), 2, "each once")
}
