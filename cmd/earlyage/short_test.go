package main

import (
	"errors"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
)

// earlyage runs a command to its end and returns its exit status and all that it
// wrote.
func earlyage(t *testing.T, args ...string) (int, string) {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), "earlyage", args...).CombinedOutput()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return exit.ExitCode(), string(out)
	}
	require.NoError(t, err)
	return 0, string(out)
}

// A stream that is shorter than the store is shouted outside NATS: in the log, in
// the metrics and by the exit status of earlyage health; and nothing is published.
func TestAShortStreamIsShoutedOutsideNATS(t *testing.T) {
	dir, web, client, metricsAt := t.TempDir(), freePort(t), freePort(t), freePort(t)
	args := []string{"--data", dir, "--http", web, "--client", client, "--metrics", metricsAt, "--unsigned"}
	p := serve(t, args...)
	nc, js := connect(t, client)
	require.NoError(t, publishNumbered(t.Context(), js, 1))
	receiptOf(t, nc, 1)
	require.Equal(t, 0, p.stop(syscall.SIGTERM))
	require.NoError(t, os.RemoveAll(filepath.Join(dir, "stream")))

	p = serve(t, args...)
	deadline := time.Now().Add(time.Minute)
	for status, text := 0, ""; !strings.Contains(text, "stream"); status, text = earlyage(t, "health", "--hub", "http://"+web) {
		require.True(t, time.Now().Before(deadline), "%d %s", status, text)
	}
	status, text := earlyage(t, "health", "--hub", "http://"+web)
	require.Equal(t, exitFailure, status, "%s", text)
	resp, err := http.Get("http://" + metricsAt + api.PathMetrics)
	require.NoError(t, err)
	defer resp.Body.Close()
	metrics, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	require.Contains(t, string(metrics), "\nearlyage_stream_short 1\n")
	require.Contains(t, string(metrics), "\nearlyage_hub_ok 0\n")
	_, walls := earlyage(t, "walls", "--hub", "http://"+web)
	require.Contains(t, walls, "Every window is shut")
	info, err := js.Stream(t.Context(), "POURS")
	require.NoError(t, err)
	require.Zero(t, info.CachedInfo().State.Msgs, "nothing is published")
	require.Equal(t, 0, p.stop(syscall.SIGTERM))
	require.Contains(t, strings.Join(p.log, "\n"), "level=ERROR msg=\"stream is shorter than the store: nothing is published, everything is stale\"")
}
