package phone_test

import (
	"fmt"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/cmd/earlyage/internal/phone"
	"earlyage/cmd/earlyage/internal/phone/bundle"
	"earlyage/events"
	"earlyage/events/stream"
)

const yard = "north"

// company is a hub that knows who is who, and a stretch of network to it that a
// test can cut.
type company struct {
	t      *testing.T
	hub    *hub.Hub
	cfg    hub.Config
	local  api.Client // over the hub's own socket
	relay  *browser.Relay
	origin string
	behind atomic.Pointer[hub.Hub] // that the front serves; nil: none
	losing atomic.Bool             // answers to a phone that joins are lost

	mu     sync.Mutex
	stored map[uint64]stream.Message // mu: what the hub has seen of the stream
}

const pageHTML = `<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>engine</title><link rel="icon" href="data:,"></head>` +
	`<body><p>engine</p><script src="/phone/test.js"></script></body></html>`

// script is the engine and what drives it, built once.
var script = sync.OnceValues(func() ([]byte, error) {
	engine, err := bundle.Script(".", "src/engine.js", "earlyage")
	if err != nil {
		return nil, err
	}
	driver, err := os.ReadFile("testdata/page.js")
	return slices.Concat(engine, driver), err
})

func openCompany(t *testing.T) *company {
	t.Helper()
	c := &company{t: t, stored: map[uint64]stream.Message{}}
	front := httptest.NewServer(c.front())
	t.Cleanup(front.Close)
	c.relay = browser.NewRelay(t, front.Listener.Addr().String())
	c.origin = "http://" + c.relay.Addr()
	c.cfg = hub.Config{
		Dir: t.TempDir(), HTTP: "127.0.0.1:0", Websocket: "127.0.0.1:0", Address: c.origin, StopWithin: time.Minute,
		Limits:       hub.Limits{Requests: door.Limits{Address: 1e6, AddressBurst: 1e6, Account: 1e6, AccountBurst: 1e6, Tries: 1e6, TriesBurst: 1e6}},
		Synchronised: func() bool { return true }, Log: slog.New(slog.DiscardHandler), Tap: c.take,
	}
	c.start()
	t.Cleanup(c.stop)
	return c
}

func (c *company) start() {
	c.t.Helper()
	var err error
	c.hub, err = hub.Start(c.t.Context(), c.cfg)
	require.NoError(c.t, err)
	c.local, err = api.Dial(api.Where{Socket: c.hub.Socket()})
	require.NoError(c.t, err)
	c.behind.Store(c.hub)
}

func (c *company) stop() {
	if c.hub != nil {
		c.behind.Store(nil)
		c.relay.Drop()
		c.local.HTTP.CloseIdleConnections()
		http.DefaultClient.CloseIdleConnections()
		http.DefaultTransport.(*http.Transport).CloseIdleConnections()
		require.NoError(c.t, c.hub.Stop())
		c.hub = nil
	}
}

// front is the one origin of the page: the shell, the websocket, and the hub.
func (c *company) front() http.Handler {
	shell, err := phone.NewShell([]byte(pageHTML), "/phone/test.js")
	require.NoError(c.t, err)
	text, err := script()
	require.NoError(c.t, err)
	to := func(address func(*hub.Hub) string) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) {
			h := c.behind.Load()
			if h == nil {
				w.WriteHeader(http.StatusBadGateway)
				return
			}
			u, err := url.Parse(strings.Replace(address(h), "ws", "http", 1))
			if err != nil {
				w.WriteHeader(http.StatusBadGateway)
				return
			}
			proxy := &httputil.ReverseProxy{ErrorLog: slog.NewLogLogger(slog.DiscardHandler, slog.LevelError), Rewrite: func(p *httputil.ProxyRequest) {
				p.SetURL(u)
				p.Out.Host = p.In.Host
			}}
			proxy.ServeHTTP(w, r)
		}
	}
	mux := http.NewServeMux()
	mux.Handle("/phone", shell)
	mux.Handle("/phone/", shell)
	mux.HandleFunc("/phone/test.js", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/javascript")
		_, _ = w.Write(text)
	})
	mux.Handle("/nats", to(func(h *hub.Hub) string { return h.WebsocketURL() }))
	mux.Handle("/api/v1/phone/", c.snapshot(to((*hub.Hub).HTTPURL)))
	mux.Handle(api.PathJoin, c.forgetful(to((*hub.Hub).HTTPURL)))
	mux.Handle("/", to((*hub.Hub).HTTPURL))
	return mux
}

// snapshot answers whoever is signed in with what an engine only keeps.
func (c *company) snapshot(hub http.Handler) http.Handler {
	var asked atomic.Int64
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		who := r.Clone(r.Context())
		who.URL.Path = api.PathMe
		seen := httptest.NewRecorder()
		hub.ServeHTTP(seen, who)
		if seen.Code != http.StatusOK {
			w.WriteHeader(seen.Code)
			return
		}
		fmt.Fprintf(w, `{"asked":%d,"walls":[{"wall":"w1"}]}`, asked.Add(1))
	})
}

// forgetful loses an answer when it is told to.
func (c *company) forgetful(hub http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if c.losing.Load() {
			hub.ServeHTTP(httptest.NewRecorder(), r)
			panic(http.ErrAbortHandler)
		}
		hub.ServeHTTP(w, r)
	})
}

func (c *company) take(m stream.Message) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.stored[m.Seq] = m
}

// messages are what stands in the stream, in its order.
func (c *company) messages() []stream.Message {
	c.mu.Lock()
	defer c.mu.Unlock()
	list := make([]stream.Message, 0, len(c.stored))
	for _, seq := range slices.Sorted(maps.Keys(c.stored)) {
		list = append(list, c.stored[seq])
	}
	return list
}

// of are the events of one device in the order of the stream; each is one that
// Decode accepts and that the device's key has signed.
func (c *company) of(device string) []events.Event {
	c.t.Helper()
	key, err := stream.PublicKeyOf(c.device(device).Key)
	require.NoError(c.t, err)
	var list []events.Event
	for _, m := range c.messages() {
		e, err := events.Decode(m.Subject, m.Body)
		require.NoError(c.t, err, "%s", m.Body)
		if e.Source.Device != device {
			continue
		}
		require.True(c.t, stream.Verify(key, m.Signature, m.Body), "signature of %s: %q", m.Body, m.Signature)
		list = append(list, e)
	}
	return list
}

func (c *company) device(name string) api.Device {
	c.t.Helper()
	var all api.Devices
	_, err := c.local.Get(c.t.Context(), api.PathDevices, nil, &all)
	require.NoError(c.t, err)
	i := slices.IndexFunc(all.Devices, func(d api.Device) bool { return d.Device == name })
	require.GreaterOrEqual(c.t, i, 0, "device %s of %v", name, all.Devices)
	return all.Devices[i]
}

// invite adds a person and gives the code of an invitation for a phone.
func (c *company) invite(roles ...events.Role) (code, person string) {
	c.t.Helper()
	var p api.Person
	require.NoError(c.t, c.local.Post(c.t.Context(), api.PathPeople, api.NewPerson{Name: "Ana", Roles: api.Roles{yard: roles}}, &p))
	return c.again(p.Person), p.Person
}

func (c *company) again(person string) string {
	c.t.Helper()
	var ticket api.Ticket
	require.NoError(c.t, c.local.Post(c.t.Context(), api.PathInvitations, api.NewInvitation{Person: person, Site: yard, Sort: "phone"}, &ticket))
	return ticket.Code
}

// tab opens an empty tab that may complain of the network.
func (c *company) tab(b *browser.Browser) *browser.Tab {
	c.t.Helper()
	tab := b.Tab("phone", browser.Phone)
	allow(tab)
	return tab
}

// allow allows what the network of the test does.
func allow(tab *browser.Tab) {
	for _, noise := range []string{"ERR_", "WebSocket", "Failed to load resource"} {
		tab.Expect(noise)
	}
}

// load opens the page with quick tries. An answer is waited for longer than the
// browser may hold a websocket back after many that failed: observed, up to 5 s.
func (c *company) load(tab *browser.Tab) {
	c.t.Helper()
	tab.Open(c.origin + "/phone/test.js") // the options stand before the page is there: it keeps no shell
	browser.Ask[string](tab, `localStorage.setItem("options", JSON.stringify({wait: 6000, pause: [30, 200], shell: false})); ""`)
	tab.Open(c.origin + "/phone")
	tab.Until(`window.engine`)
}

func (c *company) open(b *browser.Browser) *browser.Tab {
	c.t.Helper()
	tab := c.tab(b)
	c.load(tab)
	return tab
}

// joined opens the page and joins as somebody with roles.
func (c *company) joined(b *browser.Browser, roles ...events.Role) (tab *browser.Tab, device string) {
	c.t.Helper()
	tab = c.open(b)
	return tab, c.enter(tab, roles...)
}

// enter joins as somebody with roles.
func (c *company) enter(tab *browser.Tab, roles ...events.Role) (device string) {
	c.t.Helper()
	code, _ := c.invite(roles...)
	device = browser.Ask[string](tab, fmt.Sprintf(`engine.join(%q, "phone-a").then(j => j.device)`, code))
	tab.Until(`engine.state.link === "up"`)
	return device
}

// pour records n readings, and returns when all are on the phone.
func pour(tab *browser.Tab, wall string, n, from int) {
	browser.Ask[int](tab, fmt.Sprintf(`pour(%q, %d, %d)`, wall, n, from))
}

const emptied = `engine.state.waiting === 0 && engine.state.outbox.every(e => e.fate === "folded" || e.fate === "aside") && engine.state.outbox.at(-1).kind === "device.reported"`

// whole demands that a device's events stand in the stream each once, in order,
// with the numbers 1, 2, 3, …, and that the readings are these.
func (c *company) whole(device string, readings ...string) {
	c.t.Helper()
	var numbers []uint64
	var got, ids []string
	walls := map[string]uint64{}
	for _, e := range c.of(device) {
		numbers, ids = append(numbers, e.Sequence), append(ids, e.ID)
		require.Equal(c.t, walls[e.Wall], e.WallSequence, "number %d", e.Sequence)
		if e.Wall != "" {
			walls[e.Wall] = e.Sequence
		}
		if r, ok := e.Data.(*events.TemperatureRead); ok {
			got = append(got, r.Probe)
		}
	}
	for i, n := range numbers {
		require.EqualValues(c.t, i+1, n, "numbers in the stream: %v, ids from there: %v", numbers, ids[max(0, i-1):])
	}
	require.Equal(c.t, readings, got)
}

func named(n, from int) (list []string) {
	for i := range n {
		list = append(list, fmt.Sprintf("r-%d", from+i))
	}
	return list
}
