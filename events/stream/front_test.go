package stream_test

import (
	"bufio"
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

// authority is a certificate in two files that can be replaced.
type authority struct {
	cert, key string
	pool      *x509.CertPool // of every certificate that was written
	count     int64
}

func newAuthority(t testing.TB) *authority {
	t.Helper()
	dir := t.TempDir()
	a := &authority{cert: filepath.Join(dir, "cert.pem"), key: filepath.Join(dir, "key.pem"), pool: x509.NewCertPool()}
	a.write(t)
	return a
}

// write replaces the files by a new certificate and returns its number.
func (a *authority) write(t testing.TB) int64 {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	a.count++
	template := &x509.Certificate{
		SerialNumber: big.NewInt(a.count), Subject: pkix.Name{CommonName: fmt.Sprint("test ", a.count)}, IsCA: true, BasicConstraintsValid: true,
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	require.NoError(t, err)
	raw, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	certPEM := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	for path, text := range map[string][]byte{a.cert: certPEM, a.key: pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: raw})} {
		require.NoError(t, os.WriteFile(path+".new", text, 0o600))
		// Two files that are written within one tick of the file system's clock are
		// told apart all the same.
		at := time.Now().Add(time.Duration(a.count) * time.Second)
		require.NoError(t, os.Chtimes(path+".new", at, at))
		require.NoError(t, os.Rename(path+".new", path))
	}
	require.True(t, a.pool.AppendCertsFromPEM(certPEM))
	return a.count
}

func (a *authority) client() *tls.Config { return &tls.Config{RootCAs: a.pool} }

// fronted is a guarded server behind a front with TLS, all listeners on.
func fronted(t testing.TB, set func(*stream.ServerConfig)) (guarded, *authority) {
	t.Helper()
	a := newAuthority(t)
	certificate, err := stream.ReloadingCertificate(a.cert, a.key)
	require.NoError(t, err)
	return guard(t, func(c *stream.ServerConfig) {
		c.Websocket, c.MQTT, c.Front = "127.0.0.1:0", "127.0.0.1:0", &stream.FrontConfig{Certificate: certificate}
		if set != nil {
			set(c)
		}
	}), a
}

func hostOf(t testing.TB, at string) string {
	t.Helper()
	if !strings.Contains(at, "://") {
		return at
	}
	u, err := url.Parse(at)
	require.NoError(t, err)
	return u.Host
}

// Everything works through the front with TLS, and the guard hears where the
// world's connections come from.
func TestFrontTLS(t *testing.T) {
	g, a := fronted(t, nil)
	id := g.reg.device(t, "a", "phone-1", events.Crew)
	require.Regexp(t, "^tls://127.0.0.1:", g.srv.ClientURL())
	require.Regexp(t, "^wss://127.0.0.1:", g.srv.WebsocketURL())
	var want []string
	for _, at := range []string{g.srv.ClientURL(), g.srv.WebsocketURL()} {
		nc, _ := dialAs(t, at, id, nats.Secure(a.client()))
		_, _, err := stream.PublishOne(testContext(t), nc, "pour.a.w1.pour.started", []byte("x"), "")
		require.NoError(t, err)
		want = append(want, "pour.a.w1.pour.started")
		if local := nc.LocalAddr(); local != "" {
			require.Equal(t, local, g.reg.asks()[len(g.reg.asks())-1].Remote)
		}
		strange := []nats.Option{nats.Secure(a.client())}
		if strings.HasPrefix(at, "tls://") {
			strange = append(strange, nats.TLSHandshakeFirst())
		}
		_, err = nats.Connect(at, strange...) // it may be ended before it has read why
		require.Error(t, err)
	}
	p := g.reg.probe("a", "probe-7", "w1", "temperature.read")
	c := probeClient(g.srv, p, "secret-of-probe-7", func(o *mqtt.ClientOptions) {
		o.Servers = nil
		o.AddBroker("ssl://" + g.srv.MQTTAddr()).SetTLSConfig(a.client())
	})
	wait(t, c.Connect())
	defer c.Disconnect(0)
	wait(t, c.Publish("probe/a/probe-7/w1/temperature/read", 1, false, "reading"))
	require.Equal(t, append(want, "probe.a.probe-7.w1.temperature.read"), subjectsOf(t, g.st))
}

// Who does not encrypt hears nothing on a port that is.
func TestFrontPlaintextGetsNothing(t *testing.T) {
	g, _ := fronted(t, nil)
	for at, hello := range map[string]string{
		g.srv.ClientURL():    "CONNECT {}\r\nPING\r\n",
		g.srv.WebsocketURL(): "GET / HTTP/1.1\r\nHost: x\r\nUpgrade: websocket\r\n\r\n",
		g.srv.MQTTAddr():     "\x10\x0c\x00\x04MQTT\x04\x02\x00\x00\x00\x00",
	} {
		conn, err := net.Dial("tcp", hostOf(t, at))
		require.NoError(t, err)
		_, err = io.WriteString(conn, hello)
		require.NoError(t, err)
		got := untilClosed(t, bufio.NewReader(conn))
		require.NotContains(t, got, "INFO", at)
		require.NotContains(t, got, "HTTP", at)
		require.LessOrEqual(t, len(got), 7, "more than a TLS alert: %q", got)
		require.NoError(t, conn.Close())
	}
	require.Empty(t, g.reg.asks())
}

// A certificate that is replaced is the next connection's; one that cannot be
// read is not, and the good one stays.
func TestFrontReloadsItsCertificate(t *testing.T) {
	g, a := fronted(t, nil)
	serial := func() int64 {
		conn, err := tls.Dial("tcp", hostOf(t, g.srv.ClientURL()), a.client())
		require.NoError(t, err)
		defer conn.Close()
		return conn.ConnectionState().PeerCertificates[0].SerialNumber.Int64()
	}
	require.EqualValues(t, 1, serial())
	old, _ := dialAs(t, g.srv.ClientURL(), g.reg.device(t, "a", "phone-1", events.Crew), nats.Secure(a.client()))
	require.EqualValues(t, 2, a.write(t))
	require.EqualValues(t, 2, serial())
	require.NoError(t, old.Flush(), "the connection before it goes on")
	require.NoError(t, os.WriteFile(a.cert, []byte("half a cert"), 0o600))
	require.EqualValues(t, 2, serial())
	require.NoError(t, os.Remove(a.key))
	require.EqualValues(t, 2, serial())
	require.EqualValues(t, 3, a.write(t))
	require.EqualValues(t, 3, serial())
	said := &countingHandler{}
	certificate, err := stream.CertificateFiles{Cert: a.cert, Key: a.key, Log: slog.New(said)}.Reloading()
	require.NoError(t, err)
	for range 3 {
		require.NoError(t, os.Remove(a.key))
		for range 5 {
			c, err := certificate(nil)
			require.NoError(t, err)
			require.EqualValues(t, a.count, c.Leaf.SerialNumber.Int64())
		}
		a.write(t)
		_, err = certificate(nil)
		require.NoError(t, err)
	}
	require.Equal(t, map[slog.Level]int{slog.LevelError: 3, slog.LevelInfo: 3}, said.count, "it is said once each time")
	_, err = stream.ReloadingCertificate(a.cert, filepath.Join(t.TempDir(), "none.pem"))
	require.ErrorContains(t, err, "none.pem")
}

// countingHandler counts what is logged by level.
type countingHandler struct {
	mu    sync.Mutex
	count map[slog.Level]int
}

func (h *countingHandler) of(l slog.Level) int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.count[l]
}

func (h *countingHandler) Enabled(context.Context, slog.Level) bool { return true }
func (h *countingHandler) WithAttrs([]slog.Attr) slog.Handler       { return h }
func (h *countingHandler) WithGroup(string) slog.Handler            { return h }
func (h *countingHandler) Handle(_ context.Context, r slog.Record) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.count == nil {
		h.count = map[slog.Level]int{}
	}
	h.count[r.Level]++
	return nil
}

// untilClosed reads until the other side ends the connection.
func untilClosed(t testing.TB, r *bufio.Reader) string {
	t.Helper()
	got := make(chan string, 1)
	go func() {
		all, _ := io.ReadAll(r) // an error is an end too
		got <- string(all)
	}()
	select {
	case all := <-got:
		return all
	case <-time.After(patience):
		t.Fatal("the connection was not ended")
		return ""
	}
}

// rawConnect connects as a device without a client library.
func rawConnect(t testing.TB, at string, id stream.Identity) (net.Conn, *bufio.Reader) {
	t.Helper()
	conn, err := net.Dial("tcp", hostOf(t, at))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	r := bufio.NewReader(conn)
	line, err := r.ReadString('\n')
	require.NoError(t, err)
	var info struct{ Nonce string }
	require.NoError(t, json.Unmarshal([]byte(strings.TrimPrefix(line, "INFO ")), &info))
	pair, err := nkeys.FromSeed([]byte(id.Seed))
	require.NoError(t, err)
	sig, err := pair.Sign([]byte(info.Nonce))
	require.NoError(t, err)
	public, err := id.Public()
	require.NoError(t, err)
	_, err = fmt.Fprintf(conn, "CONNECT {\"verbose\":false,\"nkey\":%q,\"sig\":%q}\r\nPING\r\n", public, base64.RawURLEncoding.EncodeToString(sig))
	require.NoError(t, err)
	line, err = r.ReadString('\n')
	require.NoError(t, err)
	require.Equal(t, "PONG\r\n", line)
	return conn, r
}

// Whoever does not say in time who it is, is ended: before TLS, within it, and
// with half a greeting in any protocol.
func TestFrontHandshakeHasAnEnd(t *testing.T) {
	short := func(c *stream.ServerConfig) { c.Front.Handshake = 200 * time.Millisecond }
	g, a := fronted(t, short)
	nc, _ := dialAs(t, g.srv.ClientURL(), g.reg.device(t, "a", "phone-1", events.Crew), nats.Secure(a.client()), nats.NoReconnect())
	for _, at := range []string{g.srv.ClientURL(), g.srv.WebsocketURL(), g.srv.MQTTAddr()} {
		host := hostOf(t, at)
		for _, hello := range []string{"", "\x16\x03\x01\x02\x00\x01"} { // nothing; the start of a handshake
			conn, err := net.Dial("tcp", host)
			require.NoError(t, err)
			_, err = io.WriteString(conn, hello)
			require.NoError(t, err)
			untilClosed(t, bufio.NewReader(conn))
			require.NoError(t, conn.Close())
		}
		for _, hello := range []string{"", "CONNECT {\"verbose\":", "GET / HTTP/1.1\r\nHost: x\r\n", "\x10\x2c\x00\x04MQ"} {
			conn, err := tls.Dial("tcp", host, a.client())
			require.NoError(t, err)
			_, err = io.WriteString(conn, hello)
			require.NoError(t, err)
			untilClosed(t, bufio.NewReader(conn))
			_ = conn.Close() // it is closed on the other side
		}
	}
	require.Len(t, g.reg.asks(), 1)
	require.NoError(t, nc.Flush(), "who has said who it is stays")
}

// More connections than one address, or all together, may have are ended at once.
func TestFrontConnections(t *testing.T) {
	for name, cfg := range map[string]stream.FrontConfig{"address": {PerAddress: 3}, "all": {Most: 3}} {
		t.Run(name, func(t *testing.T) {
			g := guard(t, func(c *stream.ServerConfig) { c.Front = &cfg })
			ids := []stream.Identity{g.reg.device(t, "a", "phone-1", events.Crew), g.reg.device(t, "a", "phone-2", events.Crew)}
			var open []*nats.Conn
			for i := range 3 {
				nc, _ := g.as(t, ids[i%2], nats.NoReconnect())
				open = append(open, nc)
			}
			conn, err := net.Dial("tcp", hostOf(t, g.srv.ClientURL()))
			require.NoError(t, err)
			require.Empty(t, untilClosed(t, bufio.NewReader(conn)))
			require.NoError(t, conn.Close())
			for _, nc := range open {
				require.NoError(t, nc.Flush())
			}
			hub, err := g.srv.Connect()
			require.NoError(t, err, "the hub is kept out of its own server")
			hub.Close()
			open[0].Close()
			require.Eventually(t, func() bool { // the front notices that one has left
				nc, err := stream.DialAs(g.srv.ClientURL(), "test", nil, ids[0], nats.NoReconnect(), nats.Timeout(patience))
				if err == nil {
					nc.Close()
				}
				return err == nil
			}, patience, 10*time.Millisecond)
		})
	}
}

// shortest is many of the shortest messages.
func shortest() []byte { return bytes.Repeat([]byte("PUB pour.a.w.pour.started 0\r\n\r\n"), 4000) }

// flood sends the same as fast as the connection takes it, until it is closed,
// and says when it has gone out once.
func flood(conn net.Conn, burst []byte) (under, ended chan struct{}) {
	under, ended = make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		for i := 0; ; i++ {
			if _, err := conn.Write(burst); err != nil {
				return
			}
			if i == 0 {
				close(under)
			}
		}
	}()
	return under, ended
}

// A device that publishes as fast as it can is slowed down to its own measure,
// over all its connections together, websockets too: another device's event is
// stored before the flood is.
func TestFrontFloodLetsOthersPass(t *testing.T) {
	for _, over := range []string{"tcp", "websocket"} {
		t.Run(over, func(t *testing.T) {
			g := guard(t, func(c *stream.ServerConfig) {
				c.Websocket, c.Front = "127.0.0.1:0", &stream.FrontConfig{Messages: 50, MessageBurst: 500}
			})
			wild, calm := g.reg.device(t, "a", "wild", events.Crew), g.reg.device(t, "a", "calm", events.Crew)
			nc, _ := g.as(t, calm)
			var ends []chan struct{}
			var conns []net.Conn
			for range 3 {
				var conn net.Conn
				burst := shortest()
				if over == "tcp" {
					conn, _ = rawConnect(t, g.srv.ClientURL(), wild)
				} else {
					conn, burst = websocketConn(t, g.srv.WebsocketURL(), wild), binaryFrame(burst)
				}
				under, ended := flood(conn, burst)
				<-under
				conns, ends = append(conns, conn), append(ends, ended)
			}
			for range 20 {
				_, _, err := stream.PublishOne(testContext(t), nc, "pour.a.w1.pour.finished", []byte("calm"), "")
				require.NoError(t, err)
			}
			_, last, err := g.st.Head(testContext(t))
			require.NoError(t, err)
			for i, conn := range conns {
				require.NoError(t, conn.Close())
				<-ends[i]
			}
			// Each flooding connection had 4,000 messages on the way at least.
			require.Less(t, last, uint64(6000), "the flood went through")
			require.Greater(t, last, uint64(20), "nothing of the flood went through: it was none")
		})
	}
}

// keptConn remembers the connection that a client library opened.
type keptConn struct{ net.Conn }

func (k *keptConn) Dial(network, address string) (conn net.Conn, err error) {
	k.Conn, err = net.Dial(network, address)
	return k.Conn, err
}

// websocketConn is what lies under a device's websocket once it is admitted.
func websocketConn(t testing.TB, at string, id stream.Identity) net.Conn {
	t.Helper()
	var under keptConn
	dialAs(t, at, id, nats.NoReconnect(), nats.SetCustomDialer(&under))
	return under
}

// binaryFrame is a frame as a client sends it, with a mask that changes nothing.
func binaryFrame(body []byte) []byte {
	head := binary.BigEndian.AppendUint64([]byte{0x82, 0x80 | 127}, uint64(len(body)))
	return append(append(head, 0, 0, 0, 0), body...)
}

// A body counts as the one message that it is, over a websocket too: a series of
// readings costs a phone no more of its measure than a short event.
func TestFrontCountsABodyOnce(t *testing.T) {
	g := guard(t, func(c *stream.ServerConfig) {
		// One event is a PUB or two and the subscription for its answer; a second's
		// worth of measure is less than any count too many.
		c.Websocket, c.Front = "127.0.0.1:0", &stream.FrontConfig{Messages: 1, MessageBurst: 40}
	})
	nc, _ := dialAs(t, g.srv.WebsocketURL(), g.reg.device(t, "a", "phone-1", events.Crew), nats.NoReconnect())
	series := []byte(strings.Repeat("{\"at\":\"2026-05-04T08:00:00Z\",\"c\":21.5},\n", 1300))
	require.Greater(t, len(series), 50_000)
	for i := range 10 {
		_, _, err := stream.PublishOne(testContext(t), nc, "pour.a.w1.pour.started", series, "")
		require.NoError(t, err, "event %d", i)
	}
	require.Len(t, readAll(t, g.st), 10)
}

// What the server hears on a websocket, the request's path alone says: the front
// counts by that.
func TestServerHearsByThePath(t *testing.T) {
	g := guard(t, func(c *stream.ServerConfig) { c.Websocket, c.MQTT = "127.0.0.1:0", "127.0.0.1:0" })
	hears := func(target string) string {
		conn, err := net.Dial("tcp", hostOf(t, g.srv.WebsocketURL()))
		require.NoError(t, err)
		defer conn.Close()
		_, err = fmt.Fprintf(conn, "GET %s HTTP/1.1\r\nHost: a\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\nSec-WebSocket-Version: 13\r\n\r\n", target)
		require.NoError(t, err)
		r := bufio.NewReader(conn)
		answer, err := http.ReadResponse(r, nil)
		require.NoError(t, err)
		require.Equal(t, http.StatusSwitchingProtocols, answer.StatusCode, target)
		// Neither takes this for a greeting: it ends the connection.
		_, err = conn.Write(binaryFrame([]byte("\xc0\x00no greeting\r\n")))
		require.NoError(t, err)
		return untilClosed(t, r)
	}
	for _, target := range natsTargets {
		require.Contains(t, hears(target), "INFO {", target)
	}
	for _, target := range mqttTargets {
		require.NotContains(t, hears(target), "INFO {", target)
	}
}

// What one connection may send in bytes is measured as well.
func TestFrontRate(t *testing.T) {
	g := guard(t, func(c *stream.ServerConfig) {
		c.Front = &stream.FrontConfig{Rate: 1, Burst: 64 << 10}
	})
	conn, _ := rawConnect(t, g.srv.ClientURL(), g.reg.device(t, "a", "wild", events.Crew))
	body := strings.Repeat("x", 10_000)
	go func() {
		for {
			if _, err := fmt.Fprintf(conn, "PUB pour.a.w.pour.started %d\r\n%s\r\n", len(body), body); err != nil {
				return
			}
		}
	}()
	require.Len(t, waitFor(t, g.st, 6), 6)
	nc, _ := g.as(t, g.reg.device(t, "a", "calm", events.Crew))
	_, _, err := stream.PublishOne(testContext(t), nc, "pour.a.w1.pour.finished", []byte("calm"), "")
	require.NoError(t, err)
	require.Len(t, readAll(t, g.st), 7, "more than the burst went through")
}

// Stop ends every connection through the front.
func TestFrontStops(t *testing.T) {
	g, a := fronted(t, nil)
	closed := make(chan struct{})
	dialAs(t, g.srv.ClientURL(), g.reg.device(t, "a", "phone-1", events.Crew), nats.Secure(a.client()), nats.NoReconnect(),
		nats.ClosedHandler(func(*nats.Conn) { close(closed) }))
	idle, err := net.Dial("tcp", hostOf(t, g.srv.MQTTAddr()))
	require.NoError(t, err)
	g.srv.Stop()
	<-closed
	require.Empty(t, untilClosed(t, bufio.NewReader(idle)))
	require.NoError(t, idle.Close())
	_, err = net.Dial("tcp", hostOf(t, g.srv.ClientURL()))
	require.Error(t, err)
}

// A front without a guard encrypts and counts; who comes may be anyone.
func TestFrontWithoutAGuard(t *testing.T) {
	a := newAuthority(t)
	certificate, err := stream.ReloadingCertificate(a.cert, a.key)
	require.NoError(t, err)
	srv := startServerOn(t, stream.ServerConfig{Dir: t.TempDir(), Client: "127.0.0.1:0", Front: &stream.FrontConfig{Certificate: certificate}})
	st := openStream(t, connectHub(t, srv))
	nc, err := nats.Connect(srv.ClientURL(), nats.Timeout(patience), nats.Secure(a.client()), nats.TLSHandshakeFirst())
	require.NoError(t, err)
	defer nc.Close()
	publish(t, nc, 3)
	require.Len(t, readAll(t, st), 3)
	require.Zero(t, srv.Disconnect(func(events.Source) bool { return true }))
}

func TestFrontAddressTaken(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	_, err = stream.StartServer(stream.ServerConfig{Dir: t.TempDir(), Client: l.Addr().String(), Front: &stream.FrontConfig{}}, nil)
	require.ErrorContains(t, err, "address already in use")
}

// BenchmarkPublishBesideAFlood measures an acknowledged publish of one device
// alone, and while another floods: the ratio is what the front is for.
func BenchmarkPublishBesideAFlood(b *testing.B) {
	for _, name := range []string{"alone", "beside a flood"} {
		b.Run(name, func(b *testing.B) {
			g := guard(b, func(c *stream.ServerConfig) { c.Front = &stream.FrontConfig{} })
			nc, _ := g.as(b, g.reg.device(b, "a", "calm", events.Crew))
			if name != "alone" {
				conn, _ := rawConnect(b, g.srv.ClientURL(), g.reg.device(b, "a", "wild", events.Crew))
				under, ended := flood(conn, shortest())
				<-under
				defer func() { _ = conn.Close(); <-ended }()
			}
			for b.Loop() {
				_, _, err := stream.PublishOne(testContext(b), nc, "pour.a.w1.pour.finished", []byte("calm"), "")
				require.NoError(b, err)
			}
		})
	}
}
