package hub_test

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/scheduler"
)

func laid(t *testing.T, h *hub.Hub, walls ...string) {
	t.Helper()
	nc, err := nats.Connect(h.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	for _, w := range walls {
		publish(t, nc, "pour.mill."+w+".wall.laid-out", foreign(t, "laid-"+w, "/site/mill/device/planner", "wall.laid-out", w, "",
			map[string]any{"length_m": 6, "height_m": 2.4, "core_mm": 150}))
	}
	settle(t, h)
}

func metric(t *testing.T, h *hub.Hub, name string) string {
	t.Helper()
	resp, err := http.Get(h.MetricsURL())
	require.NoError(t, err)
	defer resp.Body.Close()
	for lines := bufio.NewScanner(resp.Body); lines.Scan(); {
		if value, ok := strings.CutPrefix(lines.Text(), name+" "); ok {
			return value
		}
	}
	require.FailNow(t, "no metric "+name)
	return ""
}

func health(t *testing.T, h *hub.Hub) (int, api.Health) {
	t.Helper()
	resp, err := http.Get(h.HTTPURL() + api.PathHealth)
	require.NoError(t, err)
	defer resp.Body.Close()
	return resp.StatusCode, get[api.Health](t, h, api.PathHealth)
}

func TestHealthy(t *testing.T) {
	h := start(t, nil)
	laid(t, h, "a")
	status, said := health(t, h)
	require.Equal(t, http.StatusOK, status)
	require.True(t, said.OK && said.Level && !said.Short)
	require.Empty(t, said.Problems)
	require.Equal(t, "1", metric(t, h, "earlyage_hub_ok"))
	require.Equal(t, "1", metric(t, h, "earlyage_walls"))
	require.Equal(t, "0", metric(t, h, `earlyage_alerts{priority="urgent"}`))
}

// A stream that is shorter than the store: nothing is published, every window is
// shut, and it is said outside NATS.
func TestShortStream(t *testing.T) {
	dir := t.TempDir()
	first, err := hub.Start(t.Context(), hub.Config{Dir: dir, Client: "127.0.0.1:0", HTTP: "127.0.0.1:0", Unsigned: true, Synchronised: func() bool { return true }})
	require.NoError(t, err)
	laid(t, first, "a", "b")
	require.NoError(t, first.Stop())
	require.NoError(t, os.RemoveAll(filepath.Join(dir, "stream")))

	h := start(t, func(c *hub.Config) { c.Dir = dir })
	eventually(t, func() bool { _, said := health(t, h); return said.Short })
	status, said := health(t, h)
	require.Equal(t, http.StatusServiceUnavailable, status)
	require.NotEmpty(t, said.Problems)
	require.Equal(t, "1", metric(t, h, "earlyage_stream_short"))
	require.Equal(t, "0", metric(t, h, "earlyage_hub_ok"))
	walls := get[api.Walls](t, h, api.PathWalls)
	require.False(t, walls.Level)
	require.NotEmpty(t, walls.Doubts)
	require.Equal(t, []string{"mill/a", "mill/b"}, places(walls.Walls), "what is known is shown")

	nc, err := nats.Connect(h.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	said2, err := nc.SubscribeSync("pour.>")
	require.NoError(t, err)
	require.NoError(t, nc.Flush())
	publish(t, nc, "pour.mill.c.hold.placed", foreign(t, "h", "/site/mill/device/planner", "hold.placed", "c", "p-1", map[string]any{"hold": "h", "reason": "x"}))
	msg, err := said2.NextMsg(patience)
	require.NoError(t, err)
	require.Equal(t, "pour.mill.c.hold.placed", msg.Subject)
	pending, _, err := said2.Pending()
	require.NoError(t, err)
	require.Zero(t, pending, "the hub says nothing on the stream")
}

// eventually asks the hub again and again, as a watchdog would, for at most a
// minute; each question is an HTTP request, so that nothing is slept through.
func eventually(t *testing.T, ok func() bool) {
	t.Helper()
	for deadline := time.Now().Add(patience); !ok(); {
		require.True(t, time.Now().Before(deadline), "not within %s", patience)
	}
}

// A clock that nothing confirms shuts every window, and it is said.
func TestUnconfirmedClock(t *testing.T) {
	h := start(t, func(c *hub.Config) { c.Synchronised = func() bool { return false } })
	laid(t, h, "a")
	status, said := health(t, h)
	require.Equal(t, http.StatusServiceUnavailable, status)
	require.Len(t, said.Problems, 1)
	require.Contains(t, said.Problems[0], "clock")
	require.Equal(t, "1", metric(t, h, "earlyage_doubts"))
	w := get[api.Wall](t, h, api.WallPath("mill", "a"))
	require.Contains(t, criterion(t, w.Wall, scheduler.Complete).Note, "clock")
}

func TestNoSuchWall(t *testing.T) {
	h := start(t, nil)
	laid(t, h, "a")
	var out api.Wall
	_, err := api.Client{Hub: h.HTTPURL(), HTTP: &http.Client{}}.Get(t.Context(), api.WallPath("mill", "x"), nil, &out)
	require.ErrorIs(t, err, api.ErrNotFound)
	resp, err := http.Post(h.HTTPURL()+api.PathWalls, "application/json", strings.NewReader("{}"))
	require.NoError(t, err)
	defer resp.Body.Close()
	require.Equal(t, http.StatusMethodNotAllowed, resp.StatusCode, "the hub is changed by events alone")
	_, err = io.Copy(io.Discard, resp.Body)
	require.NoError(t, err)
}

// A viewer gets the whole picture first, then what became different, and
// nothing when nothing did.
func TestWatch(t *testing.T) {
	h := start(t, nil)
	laid(t, h, "a")
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	var seen []api.Changed
	err := api.Client{Hub: h.HTTPURL(), HTTP: &http.Client{}}.Watch(ctx, func(ch api.Changed, _ []byte) error {
		seen = append(seen, ch)
		switch len(seen) {
		case 1:
			laid(t, h, "b")
		case 2:
			nc, err := nats.Connect(h.ClientURL(), nats.Timeout(patience))
			require.NoError(t, err)
			defer nc.Close()
			publish(t, nc, "pour.mill.a.joint.felt", foreign(t, "note", "/site/mill/device/planner", "check.answered", "a", "", map[string]any{"list": "before"}))
		case 3:
			cancel()
		}
		return nil
	})
	require.NoError(t, err)
	require.Len(t, seen, 3)
	require.Equal(t, []string{"mill/a"}, places(seen[0].Walls))
	require.Equal(t, []string{"mill/b"}, places(seen[1].Walls), "the wall that is as it was is not told again")
	require.Empty(t, seen[2].Walls, "nothing that a person would see of the walls has changed")
	require.Len(t, seen[2].Raised, 1)
	require.Equal(t, scheduler.AlertEventRefused, seen[2].Raised[0].Kind)
	require.Equal(t, "a", seen[2].Raised[0].Wall)
}
