package hub_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
	"earlyage/events/stream"
)

// atNATS connects a device to the hub's own address.
func (c *company) atNATS(id stream.Identity, opts ...nats.Option) (*nats.Conn, error) {
	return stream.DialAs(strings.Replace(c.hub.HTTPURL(), "http", "ws", 1), id.Source.Device, nil, id,
		append([]nats.Option{nats.ProxyPath("nats"), nats.NoReconnect(), nats.Timeout(patience)}, opts...)...)
}

// knock asks for a websocket and returns the answer's status.
func (c *company) knock(change func(*http.Request)) int {
	c.t.Helper()
	req, err := http.NewRequestWithContext(c.t.Context(), http.MethodGet, c.hub.HTTPURL()+api.PathNATS, nil)
	require.NoError(c.t, err)
	for name, value := range map[string]string{"Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==", "Sec-WebSocket-Version": "13"} {
		req.Header.Set(name, value)
	}
	change(req)
	resp, err := http.DefaultClient.Do(req)
	require.NoError(c.t, err)
	require.NoError(c.t, resp.Body.Close())
	return resp.StatusCode
}

// A phone reaches the stream through the one port of the pages, by its key and
// without a session; revoked, it is out at once. A page of another site is not
// heard.
func TestNATSOverTheHubsOwnPort(t *testing.T) {
	c := openCompany(t, func(cfg *hub.Config) { cfg.Client = "" })
	foreman := c.one(events.Foreman, "mill")
	closed := make(chan struct{})
	nc, err := c.atNATS(foreman, nats.ClosedHandler(func(*nats.Conn) { close(closed) }))
	require.NoError(t, err)
	defer nc.Close()
	c.record(nc, foreman, made(foreman, "wall.laid-out", "a", layout()))
	require.Equal(t, []string{"mill/a"}, c.walls(c.as(foreman)))

	host := strings.TrimPrefix(c.hub.HTTPURL(), "http://")
	port := host[strings.LastIndex(host, ":"):]
	for origin, want := range map[string]int{
		"":                          101,
		c.hub.HTTPURL():             101,
		"https://elsewhere.example": 403, "http://elsewhere.example" + port: 403, "https://" + host: 403, "null": 403, "http://127.0.0.1:1": 403,
		"http://localhost" + port: 403, // it is not the host that was asked
	} {
		require.Equal(t, want, c.knock(func(r *http.Request) {
			if origin != "" {
				r.Header.Set("Origin", origin)
			}
		}), "origin %q", origin)
	}
	require.Equal(t, 101, c.knock(func(r *http.Request) { r.Host = "localhost" + port; r.Header.Set("Origin", "http://localhost"+port) }))
	require.Equal(t, 403, c.knock(func(r *http.Request) {
		r.Host = "elsewhere.example" + port
		r.Header.Set("Origin", "http://elsewhere.example"+port)
	}), "a name that somebody else has led to this machine")
	require.Equal(t, http.StatusUpgradeRequired, c.knock(func(r *http.Request) { r.Header.Del("Upgrade") }))

	stranger, err := stream.NewIdentity(foreman.Source, foreman.Person)
	require.NoError(t, err)
	_, err = c.atNATS(stranger)
	require.Error(t, err)

	require.NoError(t, c.local.Post(t.Context(), api.DevicePath(foreman.Source)+"/revoke", api.Revocation{Reason: "lost"}, nil))
	select {
	case <-closed:
	case <-time.After(patience):
		require.FailNow(t, "the connection goes on")
	}
	_, err = c.atNATS(foreman)
	require.Error(t, err)
}

// The front's limits hold at the hub's own port.
func TestNATSOverTheHubsOwnPortIsCounted(t *testing.T) {
	c := openCompany(t, func(cfg *hub.Config) { cfg.Limits.PerDevice = 2 })
	foreman := c.one(events.Foreman, "mill")
	ended := make(chan struct{}, 3)
	for range 3 {
		nc, err := c.atNATS(foreman, nats.ClosedHandler(func(*nats.Conn) { ended <- struct{}{} }))
		require.NoError(t, err)
		defer nc.Close()
	}
	select {
	case <-ended:
	case <-time.After(patience):
		require.FailNow(t, "a device has three connections of two")
	}
}

// With a server of its own the hub hands websockets on to it, or says that there
// are none.
func TestNATSWithAnExternalServer(t *testing.T) {
	s, err := server.NewServer(&server.Options{
		ServerName: "elsewhere", Host: "127.0.0.1", Port: -1, HTTPHost: "127.0.0.1", HTTPPort: -1, JetStream: true, StoreDir: t.TempDir(),
		SyncAlways: true, NoSigs: true, NoLog: true, Websocket: server.WebsocketOpts{Host: "127.0.0.1", Port: -1, NoTLS: true},
	})
	require.NoError(t, err)
	s.Start()
	require.True(t, s.ReadyForConnections(patience))
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	outside := func(cfg *hub.Config) { cfg.NATS, cfg.Monitor = s.ClientURL(), "http://"+s.MonitorAddr().String() }

	none := openCompany(t, outside)
	require.Equal(t, http.StatusNotFound, none.knock(func(*http.Request) {}))
	none.stop()

	c := openCompany(t, func(cfg *hub.Config) { outside(cfg); cfg.NATSWebsocket = s.WebsocketURL() + "/x" })
	nc, err := nats.Connect(strings.Replace(c.hub.HTTPURL(), "http", "ws", 1), nats.ProxyPath("nats"), nats.NoReconnect(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	require.NoError(t, nc.Flush())
	require.Equal(t, 403, c.knock(func(r *http.Request) { r.Header.Set("Origin", "https://elsewhere.example") }))
	closed := make(chan struct{})
	nc.SetClosedHandler(func(*nats.Conn) { close(closed) })
	c.stop()
	<-closed

	for _, bad := range []string{"http://x", "ws://", "ws://u:p@x", "x"} {
		_, err := hub.Start(t.Context(), hub.Config{Dir: t.TempDir(), NATS: s.ClientURL(), Monitor: "x", NATSWebsocket: bad})
		require.ErrorContains(t, err, "websocket of the NATS server", bad)
	}
	_, err = hub.Start(t.Context(), hub.Config{Dir: t.TempDir(), NATSWebsocket: "ws://x"})
	require.ErrorContains(t, err, "the embedded one needs none")
}
