package phone_test

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	settings "github.com/chromedp/cdproto/browser"
	cdproto "github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/serviceworker"
	"github.com/chromedp/cdproto/target"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/events"
	"earlyage/notify/notice"
)

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
}

// What stands on the phone while its page is closed. Real: the push event in the
// worker, its handler, the browser's permission and its list of notifications. Not
// real: the push service, which the browser's debugging protocol stands for; the
// browser has no screen, so nobody sees what is listed.
func TestOneNotificationForAnAlert(t *testing.T) {
	t.Parallel()
	c := openTelling(t)
	tab := c.join(suite.Browser(t), "Ana", events.Foreman)
	permit(t, tab, c.origin)
	p := newPusher(t, tab, c.origin)
	tab.Open(c.origin + "/phone/none")
	line := func(m notice.Message) string {
		return fmt.Sprintf("%s|%s|%s|%v|%s", m.First, m.Alerts[0], m.Short, m.Urgent, m.Link)
	}
	tell := func(m notice.Message) string {
		t.Helper()
		m.At = time.Now().UTC()
		p.notified(func() { p.push(m.Body()) })
		return line(m)
	}
	due := raised
	due.ID, due.Kind, due.Priority, due.Urgent = "m-10", "line-due", "high", false
	due.First, due.Short, due.Link = "North wall: the string line is due", "North wall: string line due.", c.origin+"/walls/north/north-1"
	first := tell(due)
	require.Equal(t, []string{first}, browser.Ask[[]string](tab, notifications))
	again := due
	again.ID = "m-10-again"
	tell(again)
	require.Equal(t, []string{first}, browser.Ask[[]string](tab, notifications), "one alert, one notification")
	worse := again
	worse.ID, worse.Priority, worse.Urgent, worse.First, worse.Short = "m-11", "urgent", true, "North wall: the concrete sets and the string line was not read", "North wall: read the line now."
	urgent := tell(worse)
	require.Equal(t, []string{urgent}, browser.Ask[[]string](tab, notifications), "what is urgent stands in its place, until it is touched")
	other := early
	other.Short = "Stay out."
	second := tell(other)
	require.ElementsMatch(t, []string{urgent, second}, browser.Ask[[]string](tab, notifications), "another alert is another notification")
	require.Equal(t, []string{"m-10", "m-10-again", "m-11", "m-2"}, browser.Ask[[]string](tab, `caches.open("told").then(b => b.keys()).then(l => l.map(r => r.url.split("/").pop()).sort())`), "each waits for the page")
}

// A touch on a notification. Real: the notification, that the worker shows by a push,
// the handler, which pages are open, what is posted to them. Not real: the finger. The
// event is made here, so the browser knows of no touch and refuses a window and the
// focus, as it must; that a window was asked for is what can be seen.
func TestATouchOnANotification(t *testing.T) {
	t.Parallel()
	c := openTelling(t)
	tab := c.join(suite.Browser(t), "Ana", events.Foreman)
	permit(t, tab, c.origin)
	p := newPusher(t, tab, c.origin)
	touch := func() string {
		return inWorker(t, tab, c.origin, `(async () => {
			const asked = [], clients = self.clients, open = clients.openWindow;
			clients.openWindow = url => { asked.push(url); return open.call(clients, url); };
			const [n] = await self.registration.getNotifications();
			const e = new NotificationEvent("notificationclick", {notification: n}), waits = [];
			e.waitUntil = p => waits.push(p);
			self.dispatchEvent(e);
			const ends = await Promise.allSettled(waits);
			clients.openWindow = open;
			return JSON.stringify([n.title, asked, ends.map(x => x.reason?.name ?? x.status), (await self.registration.getNotifications()).length]);
		})()`)
	}
	m := raised
	m.At = time.Now().UTC()
	tab.Open(c.origin + "/phone/none") // the phone's page is closed
	p.notified(func() { p.push(m.Body()) })
	title, err := json.Marshal(m.First)
	require.NoError(t, err)
	require.JSONEq(t, `[`+string(title)+`,["/phone"],["InvalidAccessError"],0]`, touch(), "it asks for the page, and is gone")

	// The page that is open is given what is told; no second one is asked for. The page
	// takes notifications away as it shows them, so this one is kept back for the touch.
	tab.Open(c.origin + "/phone")
	tab.SeeText(".told", "12 min left on the joint")
	pressTold(tab, "told-close")
	tab.Until(`!earlyage.telling.open && earlyage.state.told.length === 0`)
	browser.Ask[string](tab, `window.posted = []; navigator.serviceWorker.addEventListener("message", e => posted.push(e.data.told)); ""`)
	inWorker(t, tab, c.origin, `self.registration.showNotification("Kept", {tag: "kept", data: {id: "m-1"}}).then(() => "")`)
	require.JSONEq(t, `["Kept",[],["fulfilled"],0]`, touch())
	tab.Until(`posted.join() === "m-1"`)
}

// inWorker evaluates an expression in the service worker of an origin.
func inWorker(t *testing.T, tab *browser.Tab, origin, expression string) string {
	t.Helper()
	ctx, done := worker(t, tab, origin)
	defer done()
	return evaluate(ctx, t, expression)
}

// worker holds on to the service worker of an origin: until done is called it runs.
// The browser stops one that has nothing to do; then it is started.
func worker(t *testing.T, tab *browser.Tab, origin string) (ctx context.Context, done context.CancelFunc) {
	t.Helper()
	tab.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, serviceworker.StartWorker, serviceworker.StartWorkerParams{ScopeURL: origin + "/phone"})
		return err
	}))
	var id target.ID
	require.Eventually(t, func() bool {
		all, err := chromedp.Targets(tab.Context())
		i := slices.IndexFunc(all, func(x *target.Info) bool { return x.Type == "service_worker" && strings.HasPrefix(x.URL, origin+"/") })
		if err != nil || i < 0 {
			return false
		}
		id = all[i].TargetID
		return true
	}, patience, 20*time.Millisecond, "a service worker runs")
	ctx, done = chromedp.NewContext(tab.Context(), chromedp.WithTargetID(id))
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
// when the browser has exchanged it, and takes it back. The subscription is the
// test's: a browser without a network reaches no push service, and gets none.
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
