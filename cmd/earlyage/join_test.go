package main

import (
	"bytes"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/events/stream"
)

const invitation = "abcde-fghjk-mnpqr-stvwx-yz2345"

// join runs earlyage join with a link on its standard input.
func join(t *testing.T, box, hub string) (status int, out, err string) {
	t.Helper()
	t.Setenv("EARLYAGE_OUTBOX", box)
	t.Setenv("EARLYAGE_NATS", "")
	var stdout, stderr bytes.Buffer
	status = command(t.Context(), []string{"join", "-", "--device", "phone-1"},
		console{In: strings.NewReader(hub + "/join#" + invitation + "\n"), Out: &stdout, Err: &stderr})
	return status, stdout.String(), stderr.String()
}

// keys lists the files below a folder that hold a seed.
func keys(t *testing.T, box string) (files []string) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(box, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		if strings.Contains(string(text), `"seed"`) {
			files = append(files, path)
		}
		return err
	}))
	return files
}

// The key is on the disk, for its owner alone, before its public half leaves the
// machine; when the answer is lost the same command goes on with the same key.
func TestTheKeyIsKeptBeforeItIsTold(t *testing.T) {
	box := t.TempDir()
	var mu sync.Mutex
	var asked []roster.JoinRequest // mu
	told := func() []roster.JoinRequest {
		mu.Lock()
		defer mu.Unlock()
		return slices.Clone(asked)
	}
	hub := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil || r.URL.Path != api.PathJoin {
			rw.WriteHeader(http.StatusNotFound)
			return
		}
		var q roster.JoinRequest
		if json.Unmarshal(body, &q) != nil {
			rw.WriteHeader(http.StatusBadRequest)
			return
		}
		mu.Lock()
		asked = append(asked, q)
		first := len(asked) == 1
		mu.Unlock()
		if first {
			panic(http.ErrAbortHandler) // the answer is lost
		}
		_ = json.MarshalWrite(rw, roster.Joined{Site: "mill", Device: "phone-1", Person: "p-1", Roles: []events.Role{events.Foreman}})
	}))
	defer hub.Close()

	status, _, said := join(t, box, hub.URL)
	require.Equal(t, exitFailure, status, "%s", said)
	require.Contains(t, said, "the same command goes on with it")
	require.Len(t, told(), 1)
	files := keys(t, box)
	require.Len(t, files, 1)
	info, err := os.Stat(files[0])
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	before, err := stream.LoadIdentity(files[0])
	require.NoError(t, err)
	requireKey(t, before, told()[0].Key)
	require.NotContains(t, files[0], invitation, "the code is in no file name")

	status, out, said := join(t, box, hub.URL)
	require.Equal(t, exitDone, status, "%s", said)
	require.Len(t, told(), 2)
	require.Equal(t, told()[0].Key, told()[1].Key)
	require.Equal(t, []string{filepath.Join(box, "mill", "phone-1", identityFile)}, keys(t, box))
	after, err := stream.LoadIdentity(filepath.Join(box, "mill", "phone-1", identityFile))
	require.NoError(t, err)
	require.Equal(t, stream.Identity{Source: events.Source{Site: "mill", Device: "phone-1"}, Person: "p-1", Seed: before.Seed}, after)
	for _, text := range []string{out, said} {
		require.NotContains(t, text, invitation)
		require.NotContains(t, text, before.Seed)
	}
}

func requireKey(t *testing.T, id stream.Identity, public string) {
	t.Helper()
	own, err := id.Public()
	require.NoError(t, err)
	require.Equal(t, own, public)
}

// A hub that gives a name that leaves the folder is refused.
func TestAJoinedNameStaysInTheFolder(t *testing.T) {
	for _, site := range []string{"../mill", "", "mill/x", ".."} {
		box := t.TempDir()
		hub := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, _ *http.Request) {
			_ = json.MarshalWrite(rw, roster.Joined{Site: site, Device: "phone-1", Roles: []events.Role{}})
		}))
		status, _, said := join(t, box, hub.URL)
		hub.Close()
		require.Equal(t, exitFailure, status, "%q: %s", site, said)
		require.Contains(t, said, "no name that can be used")
		list, err := os.ReadDir(box)
		require.NoError(t, err)
		require.Len(t, list, 1, "%q", site)
		require.Equal(t, joiningDir, list[0].Name())
	}
}

// A code for cameras is as wide as it is high, has its margin, and on paper
// nothing of a terminal.
func TestWriteQR(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, writeQR(&out, "https://hub.example/join#"+invitation))
	rows := strings.Split(strings.TrimSuffix(out.String(), "\n"), "\n")
	width := len([]rune(rows[0]))
	require.Equal(t, (width+1)/2, len(rows))
	for i, row := range rows {
		require.Len(t, []rune(row), width)
		require.True(t, strings.HasPrefix(row, "    ") && strings.HasSuffix(row, "    "), "row %d has no margin", i)
	}
	require.Empty(t, strings.TrimSpace(rows[0]+rows[1]))
	require.Empty(t, strings.TrimSpace(rows[len(rows)-1]))
	// The mark at the upper left: seven dark modules, then six round an empty one.
	require.Equal(t, "█▀▀▀▀▀█", string([]rune(rows[2])[4:11]))
}
