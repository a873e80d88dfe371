// Package deploy_test reads every file of this folder as the program that it is
// for would, and runs the servers.
package deploy_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/bcrypt"

	"earlyage/events"
	"earlyage/events/stream"
)

const patience = 30 * time.Second

func testContext(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 2*patience)
	t.Cleanup(cancel)
	return ctx
}

// environment sets what the files take from it, and returns the authority of its
// certificate.
func environment(t *testing.T) *x509.CertPool {
	t.Helper()
	dir := t.TempDir()
	cert, key, pool := certificate(t, dir)
	for name, value := range map[string]string{
		"EARLYAGE_STORE": filepath.Join(dir, "store"), "EARLYAGE_TLS_CERT": cert, "EARLYAGE_TLS_KEY": key, "EARLYAGE_TLS_CA": cert,
		"EARLYAGE_ORIGIN": `"https://hub.example"`, "EARLYAGE_NODE": "node-1", "EARLYAGE_MONITOR": `"127.0.0.1:8222"`,
		"EARLYAGE_ROUTES": "[tls://a.example:6222, tls://b.example:6222, tls://c.example:6222]",
	} {
		t.Setenv(name, value)
	}
	return pool
}

func hash(t *testing.T, password string) string {
	t.Helper()
	b, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.MinCost)
	require.NoError(t, err)
	return string(b)
}

func certificate(t *testing.T, dir string) (certFile, keyFile string, pool *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test"}, IsCA: true, BasicConstraintsValid: true,
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		KeyUsage:    x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, DNSNames: []string{"localhost"},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	require.NoError(t, err)
	raw, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	certFile, keyFile = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	certPEM := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	require.NoError(t, os.WriteFile(certFile, certPEM, 0o600))
	require.NoError(t, os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: raw}), 0o600))
	pool = x509.NewCertPool()
	require.True(t, pool.AppendCertsFromPEM(certPEM))
	return certFile, keyFile, pool
}

// people are those who may connect in these tests.
type people struct {
	hub, device stream.Identity
	probe       stream.ConfDevice
}

func somePeople(t *testing.T) people {
	t.Helper()
	return people{identity(t, "_", "hub"), identity(t, "mill", "phone-1"), loggerDevice(t, "probe-7", "north")}
}

// folder copies the configurations beside the accounts that the hub writes.
func folder(t *testing.T, p people) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.CopyFS(dir, os.DirFS("nats")))
	text, err := stream.ServerConf(stream.ConfInput{
		AccountsOnly: true, Hub: public(t, p.hub), Devices: []stream.ConfDevice{phone(t, p.device, events.Foreman), p.probe},
	})
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "accounts.conf"), text, 0o600))
	return dir
}

// load reads a configuration by the server's own loader.
func load(t *testing.T, dir, name string) *server.Options {
	t.Helper()
	o, err := server.ProcessConfigFile(filepath.Join(dir, name))
	require.NoError(t, err)
	return o
}

func TestConfigurations(t *testing.T) {
	environment(t)
	dir := folder(t, somePeople(t))
	for _, name := range []string{"single.conf", "cluster.conf"} {
		o := load(t, dir, name)
		require.True(t, o.JetStream, name)
		require.True(t, o.SyncAlways, name)
		require.Equal(t, os.Getenv("EARLYAGE_STORE"), o.StoreDir)
		require.Greater(t, int(o.MaxPayload), events.MaxBody)
		require.NotNil(t, o.TLSConfig)
		require.Equal(t, 4222, o.Port)
		require.NotNil(t, o.Websocket.TLSConfig)
		require.Equal(t, []string{"https://hub.example"}, o.Websocket.AllowedOrigins)
		require.NotNil(t, o.MQTT.TLSConfig)
		require.Equal(t, "127.0.0.1", o.HTTPHost)
		require.Len(t, o.Nkeys, 2)
		require.Len(t, o.Users, 1)
		require.True(t, o.TLSHandshakeFirst)
		require.Empty(t, o.NoAuthUser, "somebody comes in without a name")
	}
	o := load(t, dir, "cluster.conf")
	require.Equal(t, "node-1", o.ServerName)
	require.Equal(t, "earlyage", o.Cluster.Name)
	require.Len(t, o.Routes, 3)
	require.Equal(t, tls.RequireAndVerifyClientCert, o.Cluster.TLSConfig.ClientAuth)
	for _, secret := range []string{"EARLYAGE_ORIGIN", "EARLYAGE_TLS_CERT", "EARLYAGE_STORE"} {
		t.Run("without "+secret, func(t *testing.T) {
			t.Setenv(secret, "")
			require.NoError(t, os.Unsetenv(secret))
			_, err := server.ProcessConfigFile(filepath.Join(dir, "single.conf"))
			require.Error(t, err, "the file loads without %s", secret)
		})
	}
}

// start runs a server on free loopback ports with nothing else changed.
func start(t *testing.T, o *server.Options) running {
	t.Helper()
	for _, host := range []*string{&o.Host, &o.Websocket.Host, &o.MQTT.Host, &o.HTTPHost} {
		*host = "127.0.0.1"
	}
	for _, port := range []*int{&o.Port, &o.Websocket.Port, &o.MQTT.Port, &o.HTTPPort} {
		*port = -1
	}
	o.NoSigs, o.NoLog = true, true
	srv, err := server.NewServer(o)
	require.NoError(t, err)
	srv.Start()
	t.Cleanup(func() {
		srv.Shutdown()
		srv.WaitForShutdown()
	})
	require.True(t, srv.ReadyForConnections(patience))
	return running{srv, o}
}

func connect(t *testing.T, urls []string, pool *x509.CertPool, id stream.Identity, opts ...nats.Option) *nats.Conn {
	t.Helper()
	nc, err := stream.DialAs(strings.Join(urls, ","), id.Source.Device, nil, id, append(opts, nats.Timeout(patience), nats.Secure(&tls.Config{RootCAs: pool}))...)
	require.NoError(t, err)
	t.Cleanup(nc.Close)
	return nc
}

// running is a server with its options, which hold the ports that it found.
type running struct {
	*server.Server
	opts *server.Options
}

// exercise lets hub, device and probe do their work, and tries what they may not.
func exercise(t *testing.T, servers []running, pool *x509.CertPool, p people) {
	t.Helper()
	var clients, monitors []string
	for _, s := range servers {
		clients, monitors = append(clients, s.ClientURL()), append(monitors, "http://"+s.MonitorAddr().String())
	}
	hub := connect(t, clients, pool, p.hub)
	require.NoError(t, stream.CheckSyncOf(testContext(t), hub, strings.Join(monitors, ",")))
	st := open(t, hub)
	stop, err := stream.AnswerReceipts(hub, func(events.Source) (stream.Receipt, bool, error) {
		return stream.Receipt{At: time.Now()}, false, nil
	})
	require.NoError(t, err)
	defer stop()

	denied := make(chan error, 10)
	// In a cluster the device is not where the hub is: what it asks goes from server
	// to server.
	last := clients[len(clients)-1:]
	device := connect(t, last, pool, p.device, nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { denied <- err }))
	box, err := stream.OutboxConfig{Dir: t.TempDir(), Source: p.device.Source, Sign: p.device.Sign}.Open()
	require.NoError(t, err)
	defer func() { require.NoError(t, box.Close()) }()
	_, err = box.AddAll([]events.Event{
		{Kind: "pour.started", Wall: "north", Data: &events.Moment{}},
		{Kind: "pour.finished", Wall: "north", Data: &events.Moment{}},
	})
	require.NoError(t, err)
	require.NoError(t, box.Drain(testContext(t), device), "a device cannot empty its outbox")
	for _, subject := range []string{"$JS.API.STREAM.DELETE.POURS", "$JS.API.STREAM.UPDATE.POURS", "receipt.mill.phone-1", "alert.mill.north"} {
		require.NoError(t, device.Publish(subject, nil))
		require.ErrorContains(t, <-denied, "Permissions Violation for Publish")
	}

	alerts, err := device.SubscribeSync("alert.mill.>")
	require.NoError(t, err)
	require.NoError(t, device.Flush())
	require.NoError(t, device.PublishRequest("pour.mill.north.pour.started", "pour.other.north.pour.started", []byte("x")))
	require.NoError(t, device.PublishRequest(stream.AskSubject(p.device.Source), "pour.mill.north.permit.issued", []byte("x")))
	hear(t, hub, alerts)

	probe(t, servers[0], pool, p)
	var subjects []string
	err = st.Read(testContext(t), 0, stream.Limits{}, func(batch []stream.Message) error {
		for _, m := range batch {
			subjects = append(subjects, m.Subject)
		}
		if len(subjects) >= 5 {
			return context.Canceled
		}
		return nil
	})
	require.ErrorIs(t, err, context.Canceled)
	require.Equal(t, []string{"pour.mill.north.pour.started", "pour.mill.north.pour.finished", "pour.mill._.device.reported", "pour.mill.north.pour.started", "probe.mill.probe-7.north.temperature.read"}, subjects)
}

// hear publishes an alert until it is heard: servers tell each other a little
// later who listens.
func hear(t *testing.T, hub *nats.Conn, alerts *nats.Subscription) {
	t.Helper()
	require.Eventually(t, func() bool {
		if hub.Publish("alert.mill.north", []byte("an alert")) != nil {
			return false
		}
		_, err := alerts.NextMsg(100 * time.Millisecond)
		return err == nil
	}, patience, 10*time.Millisecond)
}

// open waits for a cluster to have a leader.
func open(t *testing.T, nc *nats.Conn) *stream.Stream {
	t.Helper()
	var st *stream.Stream
	require.EventuallyWithT(t, func(c *assert.CollectT) {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		var err error
		st, err = stream.Open(ctx, nc, stream.Config{})
		require.NoError(c, err)
	}, patience, 50*time.Millisecond)
	return st
}

// probe publishes two topics over MQTT, of which it may only use one.
func probe(t *testing.T, srv running, pool *x509.CertPool, p people) {
	t.Helper()
	o := mqtt.NewClientOptions().AddBroker(fmt.Sprintf("ssl://127.0.0.1:%d", srv.opts.MQTT.Port)).SetClientID(stream.MQTTClientID(p.probe.Source)).
		SetAutoReconnect(false).SetUsername(p.probe.User).SetPassword("secret-of-probe-7").SetTLSConfig(&tls.Config{RootCAs: pool})
	c := mqtt.NewClient(o)
	for _, token := range []func() mqtt.Token{
		c.Connect,
		func() mqtt.Token { return c.Publish("pour/mill/north/pour/finished", 1, false, "forbidden") },
		func() mqtt.Token { return c.Publish("probe/mill/probe-7/north/temperature/read", 1, false, "reading") },
	} {
		wait(t, token())
	}
	c.Disconnect(100)
}

func TestSingleServer(t *testing.T) {
	pool := environment(t)
	p := somePeople(t)
	exercise(t, []running{start(t, load(t, folder(t, p), "single.conf"))}, pool, p)
}

func TestCluster(t *testing.T) {
	pool := environment(t)
	ports := make([]int, 3)
	var routes []string
	for i := range ports {
		at, err := netip.ParseAddrPort(freeAddress(t))
		require.NoError(t, err)
		ports[i] = int(at.Port())
		routes = append(routes, "tls://"+at.String())
	}
	t.Setenv("EARLYAGE_ROUTES", "["+strings.Join(routes, ", ")+"]")
	p := somePeople(t)
	dir := folder(t, p)
	var servers []running
	for i, port := range ports {
		t.Setenv("EARLYAGE_NODE", fmt.Sprint("node-", i+1))
		t.Setenv("EARLYAGE_STORE", t.TempDir())
		o := load(t, dir, "cluster.conf")
		o.Cluster.Host, o.Cluster.Port = "127.0.0.1", port
		servers = append(servers, start(t, o))
	}
	exercise(t, servers, pool, p)

	urls := []string{servers[0].ClientURL(), servers[1].ClientURL(), servers[2].ClientURL()}
	hub := connect(t, urls, pool, p.hub)
	js, err := jetstream.New(hub)
	require.NoError(t, err)
	st, err := js.Stream(testContext(t), stream.Name)
	require.NoError(t, err)
	require.Equal(t, 3, st.CachedInfo().Config.Replicas, "three servers, and not three copies")

	// The server that leads the stream goes; the other two go on.
	for _, s := range servers {
		if s.Name() == st.CachedInfo().Cluster.Leader {
			s.Shutdown()
		}
	}
	_, _, err = stream.PublishOne(testContext(t), hub, "pour.mill.north.pour.resumed", []byte("x"), "")
	require.NoError(t, err)
}
