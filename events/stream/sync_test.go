package stream_test

import (
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/events/stream"
)

// startForeign starts a server that is not ours, as an operator might.
func startForeign(t testing.TB, o server.Options) *server.Server {
	t.Helper()
	o.Host, o.Port, o.HTTPHost, o.HTTPPort, o.NoSigs, o.NoLog = "127.0.0.1", -1, "127.0.0.1", -1, true, true
	o.StoreDir = t.TempDir()
	srv, err := server.NewServer(&o)
	require.NoError(t, err)
	srv.Start()
	t.Cleanup(func() {
		srv.Shutdown()
		srv.WaitForShutdown()
	})
	require.True(t, srv.ReadyForConnections(patience))
	return srv
}

func monitorOf(srv *server.Server) string { return "http://" + srv.MonitorAddr().String() }

func TestCheckSyncRefusesTheDefault(t *testing.T) {
	srv := startForeign(t, server.Options{ServerName: "plain", JetStream: true})
	err := stream.CheckSync(testContext(t), monitorOf(srv))
	require.ErrorIs(t, err, stream.ErrNotSynced)
	require.ErrorContains(t, err, "server plain")
	require.ErrorContains(t, err, "it syncs every 2m0s; set jetstream { sync_interval: always }")

	often := startForeign(t, server.Options{ServerName: "often", JetStream: true, SyncInterval: time.Second})
	require.ErrorIs(t, stream.CheckSync(testContext(t), monitorOf(often)), stream.ErrNotSynced)
}

func TestCheckSyncWithoutJetStream(t *testing.T) {
	srv := startForeign(t, server.Options{ServerName: "core", SyncAlways: true})
	require.ErrorContains(t, stream.CheckSync(testContext(t), monitorOf(srv)), "server core: JetStream is off")
}

func TestCheckSyncAcceptsAlways(t *testing.T) {
	always := startForeign(t, server.Options{ServerName: "safe", JetStream: true, SyncAlways: true})
	require.NoError(t, stream.CheckSync(testContext(t), monitorOf(always)))
	require.NoError(t, stream.CheckSync(testContext(t), monitorOf(always)+"/"))

	ours := startServerOn(t, allListeners(t.TempDir()))
	require.NoError(t, stream.CheckSync(testContext(t), ours.MonitorURL()), "our own server does not sync always")
}

// Every server of a list must sync, and one of them must be the one in use.
func TestCheckSyncOfEveryServer(t *testing.T) {
	always := startForeign(t, server.Options{ServerName: "safe", JetStream: true, SyncAlways: true})
	plain := startForeign(t, server.Options{ServerName: "plain", JetStream: true})
	require.ErrorIs(t, stream.CheckSync(testContext(t), monitorOf(always)+", "+monitorOf(plain)), stream.ErrNotSynced)

	nc, err := nats.Connect(always.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	require.NoError(t, stream.CheckSyncOf(testContext(t), nc, monitorOf(always)))
	other, err := nats.Connect(plain.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer other.Close()
	require.ErrorContains(t, stream.CheckSyncOf(testContext(t), other, monitorOf(always)), "belongs to the connected server plain")
	require.ErrorIs(t, stream.CheckSyncOf(testContext(t), other, monitorOf(plain)), stream.ErrNotSynced)
}

// Whatever is not a clear yes is an error.
func TestCheckSyncOfSomethingElse(t *testing.T) {
	for want, answer := range map[string]http.HandlerFunc{
		"status 404":                  http.NotFound,
		"not the monitoring endpoint": func(w http.ResponseWriter, _ *http.Request) { w.Write([]byte(`{"status":"ok"}`)) },
		"invalid character":           func(w http.ResponseWriter, _ *http.Request) { w.Write([]byte(`<html>`)) },
		"server s: JetStream is off":  func(w http.ResponseWriter, _ *http.Request) { w.Write([]byte(`{"server_id":"x","server_name":"s"}`)) },
		"acknowledges before the event is on": func(w http.ResponseWriter, _ *http.Request) {
			w.Write([]byte(`{"server_id":"x","jetstream":{"config":{"store_dir":"d"}}}`))
		},
	} {
		web := httptest.NewServer(answer)
		require.ErrorContains(t, stream.CheckSync(testContext(t), web.URL), want)
		web.Close()
	}
	require.Error(t, stream.CheckSync(testContext(t), "http://127.0.0.1:1"))
	require.Error(t, stream.CheckSync(testContext(t), "::"))
}
