package hub_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/google/uuid"
	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
	"earlyage/events/stream"
)

// writeCertificate makes a certificate for this machine and returns what trusts
// it.
func writeCertificate(t *testing.T, certFile, keyFile string) *x509.CertPool {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	serial, err := rand.Int(rand.Reader, big.NewInt(1<<62))
	require.NoError(t, err)
	template := &x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "hub"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		DNSNames: []string{"localhost"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, BasicConstraintsValid: true, IsCA: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	require.NoError(t, err)
	raw, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	for file, block := range map[string]*pem.Block{certFile: {Type: "CERTIFICATE", Bytes: der}, keyFile: {Type: "PRIVATE KEY", Bytes: raw}} {
		require.NoError(t, os.WriteFile(file, pem.EncodeToMemory(block), 0o600))
	}
	pool := x509.NewCertPool()
	leaf, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	pool.AddCert(leaf)
	return pool
}

// trusting is a client of HTTP that trusts a pool.
func trusting(t *testing.T, pool *x509.CertPool) *http.Client {
	transport := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}, ForceAttemptHTTP2: true}
	t.Cleanup(transport.CloseIdleConnections)
	return &http.Client{Transport: transport}
}

// One certificate serves every listener, and a new one is taken up while the hub
// runs. Nothing is answered without encryption.
func TestEveryListenerIsEncrypted(t *testing.T) {
	dir := t.TempDir()
	certFile, keyFile := filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	pool := writeCertificate(t, certFile, keyFile)
	c := openCompany(t, func(c *hub.Config) {
		c.Websocket, c.MQTT = "127.0.0.1:0", "127.0.0.1:0"
		c.TLS = hub.TLS{CertFile: certFile, KeyFile: keyFile}
	})
	c.client = trusting(t, pool)
	foreman := c.one(events.Foreman, "mill")
	secure := nats.Secure(&tls.Config{RootCAs: pool})
	nc := c.connect(foreman, secure, nats.TLSHandshakeFirst())
	c.record(nc, foreman, made(foreman, "wall.laid-out", "a", layout()))
	require.Equal(t, []string{"mill/a"}, c.walls(c.as(foreman)))

	require.True(t, strings.HasPrefix(c.hub.WebsocketURL(), "wss://"), c.hub.WebsocketURL())
	web, err := stream.DialAs(c.hub.WebsocketURL(), "page", nil, foreman, secure, nats.Timeout(patience))
	require.NoError(t, err)
	defer web.Close()
	c.record(web, foreman, made(foreman, "hold.placed", "a", &events.HoldPlaced{Hold: "h", Reason: "x"}))
	c.probeReads(pool)
	require.Empty(t, c.refused())

	for name, addr := range map[string]string{"http": address(t, c.hub.HTTPURL()), "nats": address(t, c.hub.ClientURL()), "websocket": address(t, c.hub.WebsocketURL()), "mqtt": c.hub.MQTTAddr()} {
		require.True(t, unanswered(t, addr), "%s answers who does not encrypt", name)
	}

	other := writeCertificate(t, certFile, keyFile)
	for name, addr := range map[string]string{"http": address(t, c.hub.HTTPURL()), "nats": address(t, c.hub.ClientURL()), "websocket": address(t, c.hub.WebsocketURL()), "mqtt": c.hub.MQTTAddr()} {
		conn, err := tls.Dial("tcp", addr, &tls.Config{RootCAs: other, ServerName: "localhost"})
		require.NoError(t, err, name)
		require.NoError(t, conn.Close())
	}
}

// probeReads lets a probe say a temperature over MQTT.
func (c *company) probeReads(pool *x509.CertPool) {
	c.t.Helper()
	var secret api.ProbeSecret
	require.NoError(c.t, c.local.Post(c.t.Context(), api.PathProbes, api.NewProbe{Site: "mill", Device: "core-1", Wall: "a"}, &secret))
	options := mqtt.NewClientOptions().AddBroker("ssl://" + c.hub.MQTTAddr()).SetTLSConfig(&tls.Config{RootCAs: pool}).
		SetClientID(stream.MQTTClientID(events.Source{Site: "mill", Device: "core-1"})).SetUsername(secret.User).SetPassword(secret.Password).SetConnectTimeout(patience).SetAutoReconnect(false)
	client := mqtt.NewClient(options)
	token := client.Connect()
	require.True(c.t, token.WaitTimeout(patience))
	require.NoError(c.t, token.Error())
	defer client.Disconnect(0)
	celsius := 18.5
	e := events.Event{ID: uuid.NewString(), Source: events.Source{Site: "mill", Device: "core-1"}, Kind: "temperature.read", Wall: "a", Time: time.Now(),
		Data: &events.TemperatureRead{Place: "top", Celsius: &celsius}}
	mqttPublish(c.t, client, strings.ReplaceAll(events.ProbeSubject(e), ".", "/"), encodedBody(c.t, e))
	eventually(c.t, func() bool { return c.stored(e.ID) == 1 })
	settle(c.t, c.hub)
}

func address(t *testing.T, link string) string {
	t.Helper()
	u, err := url.Parse(link)
	require.NoError(t, err)
	return u.Host
}

// unanswered asks in the clear and reports whether no answer but an end, or a
// refusal in the words of HTTP, came.
func unanswered(t *testing.T, addr string) bool {
	t.Helper()
	conn, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	defer conn.Close()
	require.NoError(t, conn.SetDeadline(time.Now().Add(15*time.Second)))
	_, err = conn.Write([]byte("GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n"))
	require.NoError(t, err)
	b := make([]byte, 256)
	n, _ := conn.Read(b)
	text := string(b[:n])
	return !strings.Contains(text, "200 OK") && !strings.Contains(text, "INFO")
}

// What could be read or changed on its way is not listened for, unless that is
// asked for by name.
func TestPlainListenersOutsideLoopback(t *testing.T) {
	dir := t.TempDir()
	certFile, keyFile := filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	writeCertificate(t, certFile, keyFile)
	encrypted := hub.TLS{CertFile: certFile, KeyFile: keyFile}
	for name, try := range map[string]struct {
		cfg  hub.Config
		says string // empty: it runs
	}{
		"loopback":              {hub.Config{HTTP: "127.0.0.1:0", Client: "localhost:0", Websocket: "127.0.0.1:0", MQTT: ":0", Metrics: "[::1]:0"}, ""},
		"http":                  {hub.Config{HTTP: "0.0.0.0:0"}, "HTTP"},
		"nats":                  {hub.Config{Client: "0.0.0.0:0"}, "NATS"},
		"websocket":             {hub.Config{Websocket: "[::]:0"}, "websocket"},
		"mqtt":                  {hub.Config{MQTT: "192.0.2.1:0"}, "MQTT"},
		"a name":                {hub.Config{HTTP: "hub.example:0"}, "HTTP"},
		"no port":               {hub.Config{HTTP: "127.0.0.1"}, "missing port"},
		"metrics":               {hub.Config{Metrics: "0.0.0.0:0", TLS: encrypted}, "metrics"},
		"encrypted":             {hub.Config{HTTP: "0.0.0.0:0", Client: "0.0.0.0:0", Websocket: "0.0.0.0:0", MQTT: "0.0.0.0:0", TLS: encrypted}, ""},
		"asked for":             {hub.Config{HTTP: "0.0.0.0:0", Client: "0.0.0.0:0", PlainOnNetwork: true}, ""},
		"unsigned":              {hub.Config{HTTP: "0.0.0.0:0", TLS: encrypted, Unsigned: true}, "anybody"},
		"half a certificate":    {hub.Config{HTTP: "127.0.0.1:0", TLS: hub.TLS{CertFile: certFile}}, "go together"},
		"two certificates":      {hub.Config{HTTP: "127.0.0.1:0", TLS: hub.TLS{CertFile: certFile, KeyFile: keyFile, Domains: []string{"a.example"}}}, "not from both"},
		"no such certificate":   {hub.Config{HTTP: "127.0.0.1:0", TLS: hub.TLS{CertFile: certFile + "x", KeyFile: keyFile}}, "no such file"},
		"nowhere for authority": {hub.Config{TLS: hub.TLS{Domains: []string{"a.example"}}}, "ACME needs"},
		"address with a path":   {hub.Config{HTTP: "127.0.0.1:0", Address: "https://a.example/x"}, "address"},
	} {
		t.Run(name, func(t *testing.T) {
			try.cfg.Dir, try.cfg.Log = t.TempDir(), logTo(t)
			h, err := hub.Start(t.Context(), try.cfg)
			if try.says == "" {
				require.NoError(t, err)
				require.NoError(t, h.Stop())
				return
			}
			require.ErrorContains(t, err, try.says)
			_, err = os.Stat(filepath.Join(try.cfg.Dir, hub.SocketName))
			require.ErrorIs(t, err, os.ErrNotExist)
		})
	}
}

// With ACME the hub asks for certificates of its own names only, and a handshake
// for another is refused before the authority is asked.
func TestACMENames(t *testing.T) {
	c := openCompany(t, func(c *hub.Config) {
		c.TLS = hub.TLS{Domains: []string{"hub.example"}, Directory: "http://127.0.0.1:1/directory"}
	})
	for name, says := range map[string]string{"other.example": "not configured in HostWhitelist", "hub.example": "connection refused"} {
		_, err := c.hub.Certificate(&tls.ClientHelloInfo{ServerName: name, SupportedVersions: []uint16{tls.VersionTLS13}, Conn: nil})
		require.ErrorContains(t, err, says)
	}
}
