package phone_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	settings "github.com/chromedp/cdproto/browser"
	cdproto "github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/serviceworker"
	"github.com/chromedp/cdproto/target"
	"github.com/chromedp/chromedp"
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

// permit lets the page of a tab show notifications.
func permit(t *testing.T, tab *browser.Tab, origin string) {
	t.Helper()
	tab.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		info, err := chromedp.Call(ctx, target.GetTargetInfo, target.GetTargetInfoParams{})
		if err != nil {
			return err
		}
		_, err = chromedp.CallBrowser(ctx, settings.SetPermission, settings.SetPermissionParams{
			Permission: &settings.PermissionDescriptor{Name: "notifications"}, Setting: settings.PermissionSettingGranted, Origin: origin, BrowserContextID: info.TargetInfo.BrowserContextID,
		})
		return err
	}))
}

// pusher delivers messages to the service worker of a tab, as a push service does.
type pusher struct {
	t      *testing.T
	tab    *browser.Tab
	origin string
	id     serviceworker.RegistrationID
}

func newPusher(t *testing.T, tab *browser.Tab, origin string) *pusher {
	t.Helper()
	browser.Ask[string](tab, `navigator.serviceWorker.ready.then(() => "")`)
	found := make(chan serviceworker.RegistrationID, 100)
	require.NoError(t, chromedp.Listen(tab.Context(), func(ev any) {
		if e, ok := ev.(*serviceworker.EventWorkerRegistrationUpdated); ok {
			for _, r := range e.Registrations {
				select {
				case found <- r.RegistrationID:
				default:
				}
			}
		}
	}))
	tab.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, serviceworker.Enable, cdproto.Empty{})
		return err
	}))
	select {
	case id := <-found:
		return &pusher{t, tab, origin, id}
	case <-time.After(patience):
		require.FailNow(t, "no service worker")
		return nil
	}
}

func (p *pusher) push(m any) {
	p.t.Helper()
	raw, err := json.Marshal(m)
	require.NoError(p.t, err)
	p.tab.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, serviceworker.DeliverPushMessage, serviceworker.DeliverPushMessageParams{Origin: p.origin, RegistrationID: p.id, Data: string(raw)})
		return err
	}))
}

const notifications = `navigator.serviceWorker.getRegistration("/phone").then(r => r.getNotifications()).then(l => l.map(n => [n.title, n.tag, n.body, n.requireInteraction, n.data.link].join("|")))`

// A message by push: a notification while the page is closed, which is not yet
// shown; the page that is opened shows it, says so once, and takes the notification
// away. By a second channel nothing is shown again.
func TestToldByPush(t *testing.T) {
	t.Parallel()
	c, b := openTelling(t), suite.Browser(t)
	tab := c.join(b, "Ana", events.Foreman)
	device := browser.Ask[string](tab, `earlyage.state.joined.device`)
	permit(t, tab, c.origin)
	p := newPusher(t, tab, c.origin)
	at := time.Now().UTC()
	m := raised
	m.At, m.Link = at, c.origin+"/walls/north/w1"

	tab.Open(c.origin + "/phone/none") // another page: the phone's is closed
	p.notified(func() { p.push(m.Body()) })
	require.Equal(t, []string{m.First + "|alert-1|" + m.Short + "|true|" + m.Link}, browser.Ask[[]string](tab, notifications))
	require.Empty(t, c.shown(device), "a notification is not yet shown")

	tab.Open(c.origin + "/phone")
	tab.SeeText(".told", "12 min left on the joint")
	require.Eventually(t, func() bool { return len(c.shown(device)) == 1 }, patience, 20*time.Millisecond)
	require.Equal(t, []string{"m-1", "alert-1", "joint-closing", "raised"}, []string{c.shown(device)[0].Message, c.shown(device)[0].Alert, c.shown(device)[0].Kind, c.shown(device)[0].State})
	require.Eventually(t, func() bool { return len(browser.Ask[[]string](tab, notifications)) == 0 }, patience, 50*time.Millisecond)
	pressTold(tab, "told-close")

	// Again, and by the other channel, while the page is open: nothing new.
	p.push(m.Body())
	twin := m
	twin.ID = "m-1-phone"
	p.push(twin.Body())
	// The end of it is another thing.
	end := gone
	end.At = time.Now().UTC()
	p.push(end.Body())
	tab.SeeText(".told", "was covered in time")
	require.Eventually(t, func() bool { return len(c.shown(device)) == 2 }, patience, 20*time.Millisecond)
	pressTold(tab, "told-close")
	tab.Until(`!earlyage.telling.open && earlyage.state.told.length === 0`)
	require.Equal(t, []string{"raised", "cleared"}, []string{c.shown(device)[0].State, c.shown(device)[1].State})

	// A touch on it opens the page where none is open.
	opened := inWorker(t, tab, c.origin, `(async () => {
		let opened = "";
		self.clients.openWindow = async url => { opened = url; };
		await self.registration.showNotification("x", {tag: "x", data: {id: "m-1"}});
		const [n] = await self.registration.getNotifications({tag: "x"});
		const e = new NotificationEvent("notificationclick", {notification: n});
		const waits = [];
		e.waitUntil = p => waits.push(p);
		self.clients.matchAll = async () => [];
		self.dispatchEvent(e);
		await Promise.all(waits);
		return opened + " " + (await self.registration.getNotifications({tag: "x"})).length;
	})()`)
	require.Equal(t, "/phone 0", opened)
}

// inWorker evaluates an expression in the service worker of an origin.
func inWorker(t *testing.T, tab *browser.Tab, origin, expression string) string {
	t.Helper()
	ctx, done := worker(t, tab, origin)
	defer done()
	return evaluate(ctx, t, expression)
}

// worker holds on to the service worker of an origin: until done is called it runs.
func worker(t *testing.T, tab *browser.Tab, origin string) (ctx context.Context, done context.CancelFunc) {
	t.Helper()
	all, err := chromedp.Targets(tab.Context())
	require.NoError(t, err)
	i := slices.IndexFunc(all, func(x *target.Info) bool { return x.Type == "service_worker" && strings.HasPrefix(x.URL, origin+"/") })
	require.GreaterOrEqual(t, i, 0, "a service worker runs")
	ctx, done = chromedp.NewContext(tab.Context(), chromedp.WithTargetID(all[i].TargetID))
	require.NoError(t, chromedp.Do(ctx), "attached for longer than one evaluation")
	return ctx, done
}

func evaluate(ctx context.Context, t *testing.T, expression string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[string](expression, chromedp.EvalAwaitPromise))
	require.NoError(t, err, expression)
	return got
}

// notified returns when the worker has shown a notification that f brings about.
// Nobody asks meanwhile which there are: the browser takes out of its list what is
// written there and not yet on the screen when it is asked.
func (p *pusher) notified(f func()) {
	p.t.Helper()
	ctx, done := worker(p.t, p.tab, p.origin)
	defer done()
	evaluate(ctx, p.t, `(() => {
		const r = self.registration, show = r.showNotification.bind(r);
		self.noted = new Promise((ok, no) => { r.showNotification = (...a) => show(...a).then(() => ok("shown"), no); });
		return "";
	})()`)
	f()
	require.Equal(p.t, "shown", evaluate(ctx, p.t, `self.noted`))
}

// The page asks the browser on a press, gives the hub what it got, gives it again
// when the browser has exchanged it, and takes it back. The push service is the
// test's: a browser without a network has none.
func TestTheHubIsGivenTheSubscription(t *testing.T) {
	t.Parallel()
	c, b := openTelling(t), suite.Browser(t)
	tab := c.join(b, "Ana", events.Foreman)
	permit(t, tab, c.origin)
	browser.Ask[string](tab, `(async () => {
		const url64 = b => btoa(String.fromCharCode(...new Uint8Array(b))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
		const pair = await crypto.subtle.generateKey({name: "ECDH", namedCurve: "P-256"}, true, ["deriveBits"]);
		const keys = {p256dh: url64(await crypto.subtle.exportKey("raw", pair.publicKey)), auth: url64(crypto.getRandomValues(new Uint8Array(16)))};
		window.now = null; window.wanted = []; window.sent = []; window.n = 0;
		const make = key => ({endpoint: "https://push.example/" + ++window.n, options: {applicationServerKey: Uint8Array.from(atob(key.replace(/-/g, "+").replace(/_/g, "/")), c => c.charCodeAt(0)).buffer}, toJSON() { return {endpoint: this.endpoint, keys}; }, unsubscribe: async () => { window.now = null; return true; }});
		PushManager.prototype.subscribe = async function (o) { window.wanted.push(o); return (window.now = make(o.applicationServerKey)); };
		PushManager.prototype.getSubscription = async () => window.now;
		window.exchange = () => { window.now = make(window.wanted[0].applicationServerKey); };
		Notification.requestPermission = async () => Notification.permission;
		const real = window.fetch;
		window.fetch = async (url, o) => { const r = await real(url, o); if (String(url).startsWith("/api/v1/push") && r.status !== 401) window.sent.push([o.method, r.status, o.body ? JSON.parse(o.body).endpoint : ""].join(" ")); return r; };
		return "";
	})()`)
	browser.Ask[string](tab, `location.hash = "#about"; ""`)
	press(tab, "push")
	tab.SeeText("#screen", "they come")
	require.Equal(t, []string{"GET 200 ", "POST 204 https://push.example/1"}, browser.Ask[[]string](tab, `sent`))
	require.Equal(t, "true 87", browser.Ask[string](tab, `wanted[0].userVisibleOnly + " " + wanted[0].applicationServerKey.length`), "65 bytes in base64url (RFC 8292)")
	browser.Ask[string](tab, `exchange(); navigator.serviceWorker.dispatchEvent(new MessageEvent("message", {data: {subscription: true}})); ""`)
	tab.Until(`sent.at(-1) === "POST 204 https://push.example/2"`)
	press(tab, "push")
	tab.SeeText("#screen", "they do not come")
	tab.Until(`sent.at(-1) === "DELETE 204 https://push.example/2"`)
	require.True(t, browser.Ask[bool](tab, `window.now === null`))
}
