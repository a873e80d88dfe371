package hub_test

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/bundle"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
	"earlyage/events/stream"
)

// restored starts a hub on a folder that a backup was restored to.
func restored(t *testing.T, dir string) *hub.Hub {
	return start(t, func(c *hub.Config) { c.Dir = dir })
}

// A copy that was made while walls were laid out without a pause is one moment's:
// the hub made of it holds every message up to there, goes on, and its record is
// the one that the checkpoint in the copy speaks of.
func TestBackupWhileTheHubGoesOn(t *testing.T) {
	h := start(t, nil)
	laid(t, h, "a", "b")
	ctx, cancel := context.WithCancel(t.Context())
	var publishing sync.WaitGroup
	nc, err := nats.Connect(h.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	publishing.Go(func() {
		for i := 0; ctx.Err() == nil; i++ {
			wall := fmt.Sprintf("c%d", i)
			body := foreign(t, "laid-"+wall, "/site/mill/device/planner", "wall.laid-out", wall, "", map[string]any{"length_m": 6, "height_m": 2.4, "core_mm": 150})
			if _, _, err := stream.Publish(ctx, nc, stream.Post{Subject: "pour.mill." + wall + ".wall.laid-out", Body: body}); err != nil {
				return
			}
		}
	})
	dir := filepath.Join(t.TempDir(), "copy")
	b, err := h.Backup(t.Context(), dir)
	cancel()
	publishing.Wait()
	require.NoError(t, err)
	require.GreaterOrEqual(t, b.Through, uint64(2))
	require.GreaterOrEqual(t, b.StreamEnds, b.Through)
	_, err = h.Backup(t.Context(), dir)
	require.ErrorContains(t, err, "already")

	folder := filepath.Join(t.TempDir(), "made")
	again, report, err := hub.Restore(t.Context(), dir, folder, logTo(t))
	require.NoError(t, err)
	require.Equal(t, b.Key, again.Key)
	require.Empty(t, report.LogDiffers)
	require.Empty(t, report.RecordsDiffer)
	other := restored(t, folder)
	settle(t, other)
	walls := get[api.Walls](t, other, api.PathWalls)
	require.GreaterOrEqual(t, len(walls.Walls), 2)
	require.GreaterOrEqual(t, walls.Through, b.StreamEnds)
	laid(t, other, "z")
	require.Len(t, get[api.Walls](t, other, api.PathWalls).Walls, len(walls.Walls)+1)
	_, _, err = hub.Restore(t.Context(), dir, folder, logTo(t))
	require.ErrorContains(t, err, "already")
}

// A device sends again what it recorded after the copy was made, since the
// restored hub's receipt falls.
func TestDevicesFillUpARestoredHub(t *testing.T) {
	h := start(t, nil)
	laid(t, h, "a")
	id, err := stream.NewIdentity(events.Source{Site: "mill", Device: "phone-1"}, "p-1")
	require.NoError(t, err)
	box, err := stream.OutboxConfig{Dir: t.TempDir(), Source: id.Source}.Open()
	require.NoError(t, err)
	defer func() { require.NoError(t, box.Close()) }()
	lift := func(h *hub.Hub, top float64) {
		t.Helper()
		nc, err := nats.Connect(h.ClientURL(), nats.Timeout(patience))
		require.NoError(t, err)
		defer nc.Close()
		_, err = box.Add(events.Event{Source: id.Source, By: id.Person, Kind: "lift.placed", Wall: "a", Data: &events.LiftPlaced{FromM: new(0.0), ToM: new(6.0), TopM: &top}})
		require.NoError(t, err)
		require.NoError(t, box.Drain(t.Context(), nc))
		settle(t, h)
		require.NoError(t, box.Drain(t.Context(), nc)) // by the receipt that came of it
		settle(t, h)
	}
	lift(h, 0.3)
	dir := filepath.Join(t.TempDir(), "copy")
	b, err := h.Backup(t.Context(), dir)
	require.NoError(t, err)
	lift(h, 0.6) // after the copy
	folder := filepath.Join(t.TempDir(), "made")
	_, _, err = hub.Restore(t.Context(), dir, folder, logTo(t))
	require.NoError(t, err)
	other := restored(t, folder)
	settle(t, other)
	require.GreaterOrEqual(t, b.StreamEnds, uint64(2))
	lift(other, 0.9)
	placed := map[string]bool{}
	require.NoError(t, other.Stored(func(m stream.Message) {
		for _, top := range []string{"0.3", "0.6", "0.9"} {
			if strings.Contains(string(m.Body), `"top_m":`+top) {
				placed[top] = true
			}
		}
	}))
	require.Len(t, placed, 3, "the lift of after the copy was sent again")
}

// Whatever was changed in a copy is found before anything is put in place.
func TestADamagedBackupIsRefused(t *testing.T) {
	h := start(t, nil)
	laid(t, h, "a")
	for name, change := range map[string]func(t *testing.T, dir string){
		"a bit of the store":  func(t *testing.T, dir string) { flipByte(t, filepath.Join(dir, "keep.db"), 5000) },
		"a bit of the stream": func(t *testing.T, dir string) { flipByte(t, filepath.Join(dir, "stream.copy"), 100) },
		"a checkpoint": func(t *testing.T, dir string) {
			raw, err := os.ReadFile(filepath.Join(dir, "backup.json"))
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(filepath.Join(dir, "backup.json"), []byte(strings.Replace(string(raw), "through ", "through 1", 1)), 0o600))
		},
		"no list":                  func(t *testing.T, dir string) { require.NoError(t, os.Remove(filepath.Join(dir, "backup.json"))) },
		"a file that is not there": func(t *testing.T, dir string) { require.NoError(t, os.Remove(filepath.Join(dir, "stream.copy"))) },
	} {
		t.Run(name, func(t *testing.T) {
			dir, folder := filepath.Join(t.TempDir(), "copy"), filepath.Join(t.TempDir(), "made")
			_, err := h.Backup(t.Context(), dir)
			require.NoError(t, err)
			change(t, dir)
			_, _, err = hub.Restore(t.Context(), dir, folder, logTo(t))
			require.ErrorIs(t, err, hub.ErrBackup)
			require.NoDirExists(t, folder)
			left, err := filepath.Glob(folder + "*")
			require.NoError(t, err)
			require.Empty(t, left)
		})
	}
}

func flipByte(t *testing.T, path string, at int) {
	t.Helper()
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	raw[at%len(raw)] ^= 1
	require.NoError(t, os.WriteFile(path, raw, 0o600))
}

// Only whoever runs the hub may copy it, and only who audits a site takes its
// record away; both are signed and prove themselves.
func TestBundleAndBackupByRole(t *testing.T) {
	c := openCompany(t, nil)
	officer, crew := c.one("officer", "mill"), c.one("crew", "mill")
	foreman := c.one("foreman", "mill")
	c.record(c.connect(foreman), foreman, made(foreman, "wall.laid-out", "a", layout()))
	path := api.WallPath("mill", "a") + "/" + api.WallBundle
	raw, err := c.as(officer).Get(t.Context(), path, nil, nil)
	require.NoError(t, err)
	r, err := bundle.Verify(t.Context(), strings.NewReader(string(raw)), bundle.Options{Dir: t.TempDir()})
	require.NoError(t, err)
	require.True(t, r.Holds(), "%+v", r.Findings)
	require.Equal(t, http.StatusForbidden, c.status(http.MethodGet, path, &crew))
	note, err := c.as(crew).Get(t.Context(), api.PathCheckpoint, nil, nil)
	require.NoError(t, err)
	var list api.Checkpoints
	_, err = c.as(crew).Get(t.Context(), api.PathCheckpoints, nil, &list)
	require.NoError(t, err)
	require.Equal(t, string(note), list.Checkpoints[len(list.Checkpoints)-1].Note)
	dir := filepath.Join(t.TempDir(), "copy")
	require.Equal(t, http.StatusForbidden, c.status(http.MethodPost, api.PathBackup, &officer))
	require.Error(t, c.local.Post(t.Context(), api.PathBackup, api.BackupInto{Dir: "here"}, nil))
	var done api.BackedUp
	require.NoError(t, c.local.PostLong(t.Context(), api.PathBackup, api.BackupInto{Dir: dir}, &done))
	require.Positive(t, done.Bytes)
}
