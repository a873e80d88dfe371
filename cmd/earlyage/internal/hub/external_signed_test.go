package hub_test

import (
	"crypto/ed25519"
	"os"
	"path/filepath"
	"testing"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/testdata/loopback"
)

// Who may connect to an existing server is that server's to say. Whom the record
// believes is not: there too an event counts by its signature.
func TestExternalServerIsNotBelieved(t *testing.T) {
	s := external(t, true)
	c := openCompany(t, func(c *hub.Config) { c.NATS, c.Monitor = s.ClientURL(), "http://"+s.MonitorAddr().String() })
	foreman := c.one(events.Foreman, "mill")
	nc, err := nats.Connect(s.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	c.record(nc, foreman, made(foreman, "wall.laid-out", "a", layout()))
	require.Empty(t, c.refused())

	forged := made(foreman, "wall.laid-out", "b", layout())
	publish(t, nc, forged.Subject(), encodedBody(t, forged))
	settle(t, c.hub)
	require.Len(t, c.refused(), 1)
	require.Contains(t, c.refused()[0], forged.ID+" signature")

	require.NoError(t, c.local.Post(t.Context(), api.DevicePath(foreman.Source)+"/revoke", api.Revocation{Reason: "lost"}, nil))
	late := made(foreman, "wall.laid-out", "c", layout())
	c.record(nc, foreman, late)
	require.Len(t, c.refused(), 2)
	require.Contains(t, c.refused()[0], late.ID)
	require.Equal(t, []string{"mill/a"}, c.walls(c.local))
}

// A server with the configuration that is written for it lets in the hub by its
// key, and the devices that the record knows; a device that was revoked is out
// with the next configuration.
func TestExternalServerConfigured(t *testing.T) {
	dir := t.TempDir()
	seedFile, public := hubSeed(t, dir)
	in := stream.ConfInput{Dir: filepath.Join(dir, "store"), Client: free(t), Monitor: free(t), Hub: public}
	srv := configured(t, dir, in)
	_, err := nats.Connect(srv.ClientURL())
	require.Error(t, err)
	c := openCompany(t, func(c *hub.Config) {
		c.NATS, c.NATSSeed, c.Monitor = srv.ClientURL(), seedFile, "http://"+in.Monitor
	})
	foreman := c.one(events.Foreman, "mill")
	key, err := foreman.Public()
	require.NoError(t, err)
	in.Devices = []stream.ConfDevice{{Admission: stream.Admission{Source: foreman.Source, Kinds: events.KindsOf(events.Foreman)}, Key: key}}
	reload(t, dir, srv, in)
	nc := c.connect(foreman, nats.NoReconnect())
	c.record(nc, foreman, made(foreman, "wall.laid-out", "a", layout()))
	require.Equal(t, []string{"mill/a"}, c.walls(c.as(foreman)))
	require.Empty(t, c.refused())

	require.NoError(t, c.local.Post(t.Context(), api.DevicePath(foreman.Source)+"/revoke", api.Revocation{Reason: "lost"}, nil))
	in.Devices = nil
	reload(t, dir, srv, in)
	_, err = stream.DialAs(srv.ClientURL(), "again", nil, foreman, nats.NoReconnect())
	require.Error(t, err)
}

func hubSeed(t *testing.T, dir string) (file, public string) {
	t.Helper()
	_, key, err := ed25519.GenerateKey(nil)
	require.NoError(t, err)
	seed, err := nkeys.EncodeSeed(nkeys.PrefixByteUser, key.Seed())
	require.NoError(t, err)
	pair, err := nkeys.FromSeed(seed)
	require.NoError(t, err)
	public, err = pair.PublicKey()
	require.NoError(t, err)
	file = filepath.Join(dir, "hub.nk")
	require.NoError(t, os.WriteFile(file, seed, 0o600))
	return file, public
}

// free is an address that nobody listens on.
func free(t *testing.T) string {
	t.Helper()
	at, err := loopback.Free()
	require.NoError(t, err)
	return at
}

func writeConf(t *testing.T, dir string, in stream.ConfInput) string {
	t.Helper()
	text, err := stream.ServerConf(in)
	require.NoError(t, err)
	file := filepath.Join(dir, "server.conf")
	require.NoError(t, os.WriteFile(file, text, 0o600))
	return file
}

// configured runs a server by a written configuration.
func configured(t *testing.T, dir string, in stream.ConfInput) *server.Server {
	t.Helper()
	opts, err := server.ProcessConfigFile(writeConf(t, dir, in))
	require.NoError(t, err)
	opts.NoSigs, opts.NoLog = true, true
	s, err := server.NewServer(opts)
	require.NoError(t, err)
	s.Start()
	require.True(t, s.ReadyForConnections(patience))
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	return s
}

// reload has a server read another configuration: twice, since the imports of a
// new account begin with the second reading.
func reload(t *testing.T, dir string, s *server.Server, in stream.ConfInput) {
	t.Helper()
	file := writeConf(t, dir, in)
	for range 2 {
		opts, err := server.ProcessConfigFile(file)
		require.NoError(t, err)
		opts.NoSigs, opts.NoLog = true, true
		require.NoError(t, s.ReloadOptions(opts))
	}
}
