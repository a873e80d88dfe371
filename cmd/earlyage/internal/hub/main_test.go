package hub_test

import (
	"flag"
	"log/slog"
	"os"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
)

var long = flag.Bool("long", false, "ask for each part of long lists, and for every moment of the past")

func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m, goleak.Cleanup(func(status int) {
		_ = os.RemoveAll(grown.dir)
		os.Exit(status)
	}))
}

// logTo sends a log to the test's own.
func logTo(t *testing.T) *slog.Logger {
	return slog.New(slog.NewTextHandler(testWriter{t}, &slog.HandlerOptions{Level: slog.LevelWarn}))
}

type testWriter struct{ t *testing.T }

func (w testWriter) Write(b []byte) (int, error) {
	w.t.Log(strings.TrimSpace(string(b)))
	return len(b), nil
}

const (
	patience = time.Minute // for what must come
	poll     = 10 * time.Millisecond
)
