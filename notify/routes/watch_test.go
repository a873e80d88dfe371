package routes_test

import (
	"bytes"
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify/routes"
)

func write(t *testing.T, path, text string) {
	t.Helper()
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
}

func TestWatch(t *testing.T) {
	path := filepath.Join(t.TempDir(), "r.yaml")
	dir := crowd{"mill": {"p-cy": {events.Crew}}, "_": {"p-dee": {events.Dispatcher}}}
	var said bytes.Buffer
	var seen []routes.Status
	w := routes.Open(routes.Config{
		Path: path, Dir: dir, Sites: func() []string { return sites }, Log: slog.New(slog.NewTextHandler(&said, nil)),
		Changed: func(s routes.Status) { seen = append(seen, s) },
	})
	names := func() string {
		var list []string
		for _, r := range w.Status().File.Routes {
			list = append(list, r.Name)
		}
		return strings.Join(list, " ")
	}
	route := func(name, person string) string {
		return "routes: [{name: " + name + ", ladder: [{people: [" + person + "]}, {after: 1m, roles: [dispatcher]}]}]\n"
	}
	require.ErrorIs(t, w.Status().Refused, os.ErrNotExist)
	require.Equal(t, routes.Default(), w.Status().File)
	require.Len(t, seen, 1)

	write(t, path, route("a", "p-cy"))
	w.Look()
	require.Equal(t, "a", names())
	require.NoError(t, w.Status().Refused)
	require.Len(t, seen, 2)
	w.Look()
	require.Len(t, seen, 2, "nothing new")

	// Of the same size, within the same tick of the file system's clock.
	write(t, path, route("b", "p-cy"))
	w.Look()
	require.Equal(t, "b", names())

	said.Reset()
	write(t, path, route("c", "p-al"))
	for range 3 {
		w.Look()
	}
	require.Equal(t, "b", names(), "the one in force stays")
	require.Len(t, routes.Errors(w.Status().Refused), 1)
	require.Contains(t, said.String(), `line=1 field=routes[0].ladder[0].people[0] reason="nobody is \"p-al\"`)
	require.Equal(t, 1, strings.Count(said.String(), "not in force"), "said once")
	require.Len(t, seen, 4)

	// Whom it names is added: the same file is good now.
	dir["mill"]["p-al"] = []events.Role{events.Foreman}
	w.Look()
	require.Equal(t, "c", names())
	require.NoError(t, w.Status().Refused)

	require.NoError(t, os.Remove(path))
	w.Look()
	require.Equal(t, "c", names())
	require.ErrorIs(t, w.Status().Refused, os.ErrNotExist)
	write(t, path, route("c", "p-al"))
	w.Look()
	require.NoError(t, w.Status().Refused)
	require.Len(t, seen, 7)
	write(t, path, "")
	w.Look()
	require.Equal(t, "c", names(), "a file that is being written is empty for a moment")
}

func TestWatchRuns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "r.yaml")
		w := routes.Open(routes.Config{Path: path, Dir: builder, Sites: func() []string { return sites }})
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- w.Run(ctx) }()
		write(t, path, "sheets: [{sheet: beat, roles: [keeper]}]")
		time.Sleep(2*time.Second - time.Nanosecond)
		synctest.Wait()
		require.Empty(t, w.Status().File.Sheets)
		time.Sleep(time.Nanosecond)
		synctest.Wait()
		require.Len(t, w.Status().File.Sheets, 1)
		cancel()
		require.NoError(t, <-ended)
	})
}

func TestNoFileIsWatched(t *testing.T) {
	w := routes.Open(routes.Config{})
	w.Look()
	require.Equal(t, routes.Status{File: routes.Default()}, w.Status())
}
