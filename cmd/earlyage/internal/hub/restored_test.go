package hub_test

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/bundle"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
	"earlyage/events/stream"
)

// A restored hub keeps what was told with the record of the same moment: it tells
// no alert of before again, and goes on telling.
func TestARestoredHubTellsOn(t *testing.T) {
	c := openTold(t, nil)
	c.moved()
	told := func(wall string) int { return c.out.had(&c.out.hooked, `"kind":"form-moved"`, `"wall":"`+wall+`"`) }
	c.eventually("the web hook", func() bool { return told("a") == 1 })
	c.eventually("the word on it", func() bool {
		n := 0
		for _, row := range c.listed(nil) {
			if row.State == "accepted" && strings.HasPrefix(row.Channel, "hook") {
				n++
			}
		}
		return n == 1
	})
	settle(t, c.hub)
	dir, folder := filepath.Join(t.TempDir(), "copy"), filepath.Join(t.TempDir(), "made")
	_, err := c.hub.Backup(t.Context(), dir)
	require.NoError(t, err)
	c.stop()
	_, _, err = hub.Restore(t.Context(), dir, folder, logTo(t))
	require.NoError(t, err)
	c.cfg.Dir = folder
	c.start()
	c.hub.LookAtRoutes()
	at, by := 2.0, 40.0
	c.say("wall.laid-out", "b", layout())
	c.say("form.moved", "b", &events.FormMoved{AtM: &at, MM: &by, What: "bulge"})
	c.eventually("what is new", func() bool { return told("b") == 1 })
	require.Equal(t, 1, told("a"), "told again")
}

// A server that is not the hub's own is copied as well, by the hub's key alone;
// what is restored of it is a hub with a server of its own.
func TestBackupOfAnExternalServer(t *testing.T) {
	conf := t.TempDir()
	seedFile, public := hubSeed(t, conf)
	in := stream.ConfInput{Dir: filepath.Join(conf, "store"), Client: free(t), Monitor: free(t), Hub: public}
	srv := configured(t, conf, in)
	c := openCompany(t, func(c *hub.Config) {
		c.NATS, c.NATSSeed, c.Monitor = srv.ClientURL(), seedFile, "http://"+in.Monitor
	})
	foreman := c.one(events.Foreman, "mill")
	body := encodedBody(t, made(foreman, "wall.laid-out", "a", layout()))
	_, err := c.as(foreman).PostEvent(t.Context(), body, foreman.Sign(body))
	require.NoError(t, err)
	settle(t, c.hub)
	dir, folder := filepath.Join(t.TempDir(), "copy"), filepath.Join(t.TempDir(), "made")
	_, err = c.hub.Backup(t.Context(), dir)
	require.NoError(t, err)
	c.stop()
	_, report, err := hub.Restore(t.Context(), dir, folder, logTo(t))
	require.NoError(t, err)
	require.Empty(t, report.RecordsDiffer)
	c.cfg.Dir, c.cfg.NATS, c.cfg.NATSSeed, c.cfg.Monitor = folder, "", "", ""
	c.start()
	require.Equal(t, []string{"mill/a"}, c.walls(c.local))
}

// A copy holds secrets: nobody else reads it, nor what is made of it. It goes over
// nothing that is there, and what failed leaves nothing.
func TestWhereABackupGoes(t *testing.T) {
	h := start(t, nil)
	laid(t, h, "a")
	top := t.TempDir()
	dir, folder := filepath.Join(top, "copy"), filepath.Join(top, "made")
	_, err := h.Backup(t.Context(), dir)
	require.NoError(t, err)
	_, _, err = hub.Restore(t.Context(), dir, folder, logTo(t))
	require.NoError(t, err)
	for _, root := range []string{dir, filepath.Join(folder, "keep.db"), filepath.Join(folder, "view.db")} {
		require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			require.NoError(t, err)
			info, err := d.Info()
			require.NoError(t, err)
			require.Zero(t, info.Mode().Perm()&0o077, path)
			return nil
		}))
	}
	info, err := os.Stat(folder)
	require.NoError(t, err)
	require.Equal(t, fs.FileMode(0o700), info.Mode().Perm())

	require.NoError(t, os.Symlink(filepath.Join(top, "nowhere"), filepath.Join(top, "link")))
	require.NoError(t, os.WriteFile(filepath.Join(top, "file"), nil, 0o600))
	for _, at := range []string{"copy", "link", "file", "none/copy", "file/copy"} {
		_, err := h.Backup(t.Context(), filepath.Join(top, at))
		require.Error(t, err, at)
		_, _, err = hub.Restore(t.Context(), dir, filepath.Join(top, at), logTo(t))
		require.Error(t, err, at)
	}
	left, err := filepath.Glob(filepath.Join(top, "*"))
	require.NoError(t, err)
	require.Len(t, left, 4, "%q", left)
}

// A copy that cannot be finished leaves nothing.
func TestABackupThatIsNotFinished(t *testing.T) {
	h := start(t, nil)
	laid(t, h, "a")
	dir := filepath.Join(t.TempDir(), "copy")
	ctx, stop := context.WithCancel(t.Context())
	stop() // the copy of the record is made, that of the stream is not
	_, err := h.Backup(ctx, dir)
	require.ErrorIs(t, err, context.Canceled)
	left, err := filepath.Glob(dir + "*")
	require.NoError(t, err)
	require.Empty(t, left)
	// A stranger's connection copies nothing: the server says so and does not answer.
	ctx, stop = context.WithCancel(t.Context())
	defer stop()
	nc, err := nats.Connect(h.ClientURL(), nats.Timeout(patience), nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
		if errors.Is(err, nats.ErrPermissionViolation) {
			stop()
		}
	}))
	require.NoError(t, err)
	defer nc.Close()
	_, err = stream.Copy(ctx, nc, io.Discard)
	require.ErrorIs(t, err, context.Canceled)
}

// Messages go on coming in while a bundle is made: what its checkpoint holds of
// the wall, it holds too.
func TestABundleHoldsWhatItsCheckpointHolds(t *testing.T) {
	c := openCompany(t, nil)
	officer, foreman := c.one("officer", "mill"), c.one("foreman", "mill")
	c.record(c.connect(foreman), foreman, made(foreman, "wall.laid-out", "a", layout()))
	top := 0.3
	done := make(chan error, 1)
	go func() {
		var err error
		for i := 0; i < 40 && err == nil; i++ {
			body := encodedBody(t, made(foreman, "lift.placed", "a", &events.LiftPlaced{FromM: new(0.0), ToM: new(6.0), TopM: &top}))
			_, err = c.as(foreman).PostEvent(t.Context(), body, foreman.Sign(body))
		}
		done <- err
	}()
	for range 10 {
		raw, err := c.as(officer).Get(t.Context(), api.WallPath("mill", "a")+"/"+api.WallBundle, nil, nil)
		require.NoError(t, err)
		r, err := bundle.Check(strings.NewReader(string(raw)), bundle.Options{})
		require.NoError(t, err)
		require.True(t, r.Holds(), "%+v", r.Findings)
		// The company has one site and one wall: all that the log holds belongs.
		require.EqualValues(t, r.Last.Size, r.Messages)
	}
	require.NoError(t, <-done)
}
