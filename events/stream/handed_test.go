package stream_test

import (
	"net"
	"net/http"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

// passing listens as another server of the process would, and hands each
// connection on with its first bytes unread.
func passing(t *testing.T, srv *stream.Server) (url string, ended chan error) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ended = make(chan error, 16)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go func() { ended <- srv.ServeWebsocket(conn) }()
		}
	}()
	t.Cleanup(func() { _ = l.Close(); <-done })
	return "ws://" + l.Addr().String(), ended
}

// A websocket that another listener hands over is one of the front's: admitted by
// its key, counted, and ended with its device. With TLS on the front it is not
// encrypted once more.
func TestServeWebsocket(t *testing.T) {
	for name, secure := range map[string]bool{"plain": false, "front encrypts": true} {
		t.Run(name, func(t *testing.T) {
			var g guarded
			set := func(c *stream.ServerConfig) { c.Websocket, c.Handed = "", true; c.Front.PerAddress = 2 }
			if secure {
				g, _ = fronted(t, set)
			} else {
				g = guard(t, func(c *stream.ServerConfig) { c.Front = &stream.FrontConfig{}; set(c) })
			}
			require.Empty(t, g.srv.WebsocketURL(), "nobody outside is listened to")
			url, ended := passing(t, g.srv)
			id := g.reg.device(t, "a", "phone-1", events.Crew)
			closed := make(chan struct{})
			nc, err := stream.DialAs(url, "test", testLog(t), id, nats.NoReconnect(), nats.Timeout(patience), nats.ClosedHandler(func(*nats.Conn) { close(closed) }))
			require.NoError(t, err)
			_, _, err = stream.PublishOne(testContext(t), nc, "pour.a.w1.pour.started", []byte("x"), "")
			require.NoError(t, err)
			require.Equal(t, nc.LocalAddr(), g.reg.asks()[0].Remote, "the guard hears where it comes from")
			second, err := stream.DialAs(url, "test", testLog(t), id, nats.NoReconnect(), nats.Timeout(patience))
			require.NoError(t, err)
			_, err = stream.DialAs(url, "test", testLog(t), id, nats.NoReconnect(), nats.Timeout(patience))
			require.Error(t, err, "a third from one address")
			require.NoError(t, <-ended)
			second.Close()
			require.NoError(t, <-ended)
			require.Positive(t, g.srv.Disconnect(func(src events.Source) bool { return src == id.Source }))
			<-closed
			require.NoError(t, <-ended)
			stranger, err := stream.NewIdentity(id.Source, id.Person)
			require.NoError(t, err)
			_, err = stream.DialAs(url, "test", testLog(t), stranger, nats.NoReconnect(), nats.Timeout(patience))
			require.Error(t, err)
			require.NoError(t, <-ended)
			g.srv.Stop()
			conn, other := net.Pipe()
			require.Error(t, g.srv.ServeWebsocket(conn), "the server has stopped")
			require.NoError(t, other.Close())
		})
	}
}

// Without a front it is the server's own loopback listener; without websockets
// there is none.
func TestServeWebsocketWithoutAFront(t *testing.T) {
	srv := startServerOn(t, stream.ServerConfig{Dir: t.TempDir(), Client: "127.0.0.1:0", Handed: true})
	st := openStream(t, connectHub(t, srv))
	url, ended := passing(t, srv)
	nc, err := nats.Connect(url, nats.NoReconnect(), nats.Timeout(patience))
	require.NoError(t, err)
	publish(t, nc, 2)
	require.Len(t, readAll(t, st), 2)
	nc.Close()
	require.NoError(t, <-ended)

	none := startServer(t, t.TempDir())
	url, ended = passing(t, none)
	_, err = http.Get("http" + url[2:])
	require.Error(t, err)
	require.ErrorIs(t, <-ended, stream.ErrNoWebsocket)
}
