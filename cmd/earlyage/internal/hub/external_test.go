package hub_test

import (
	"testing"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events/stream"
)

// external runs a server that is not the hub's.
func external(t *testing.T, syncAlways bool) *server.Server {
	t.Helper()
	s, err := server.NewServer(&server.Options{
		ServerName: "elsewhere", Host: "127.0.0.1", Port: -1, HTTPHost: "127.0.0.1", HTTPPort: -1,
		JetStream: true, StoreDir: t.TempDir(), SyncAlways: syncAlways, NoSigs: true, NoLog: true,
	})
	require.NoError(t, err)
	s.Start()
	require.True(t, s.ReadyForConnections(patience))
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	return s
}

// An existing server serves as well as the embedded one, if an acknowledgement
// of it means that the event is on the disk.
func TestExternalServer(t *testing.T) {
	s := external(t, true)
	h := start(t, func(c *hub.Config) { c.NATS, c.Monitor = s.ClientURL(), "http://"+s.MonitorAddr().String() })
	nc, err := nats.Connect(s.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	publish(t, nc, "pour.mill.a.wall.laid-out", foreign(t, "laid-1", "/site/mill/device/planner", "wall.laid-out", "a", "",
		map[string]any{"length_m": 6, "height_m": 2.4, "core_mm": 150}))
	settle(t, h)
	require.Equal(t, []string{"mill/a"}, places(get[api.Walls](t, h, api.PathWalls).Walls))
}

func TestExternalServerThatDoesNotSync(t *testing.T) {
	s := external(t, false)
	_, err := hub.Start(t.Context(), hub.Config{Dir: t.TempDir(), NATS: s.ClientURL(), Monitor: "http://" + s.MonitorAddr().String()})
	require.ErrorIs(t, err, stream.ErrNotSynced)
}

// The monitoring of another server says nothing of this one.
func TestExternalServerMonitoredElsewhere(t *testing.T) {
	lax, strict := external(t, false), external(t, true)
	_, err := hub.Start(t.Context(), hub.Config{Dir: t.TempDir(), NATS: lax.ClientURL(), Monitor: "http://" + strict.MonitorAddr().String()})
	require.ErrorContains(t, err, "check sync")
}
