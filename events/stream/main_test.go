package stream_test

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"earlyage/events"
	"earlyage/events/stream"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		os.Exit(childMain(dir))
	}
	if dir := os.Getenv(outboxChild); dir != "" {
		os.Exit(outboxChildMain(dir))
	}
	goleak.VerifyTestMain(m)
}

// patience is how long a test waits for something that must come.
const patience = 30 * time.Second

func testContext(t testing.TB) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 2*patience)
	t.Cleanup(cancel)
	return ctx
}

// testLog writes to the test's log until the test is over.
func testLog(t testing.TB) *slog.Logger {
	w := &logWriter{t: t}
	t.Cleanup(func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.t = nil
	})
	return slog.New(slog.NewTextHandler(w, &slog.HandlerOptions{Level: slog.LevelWarn}))
}

type logWriter struct {
	mu sync.Mutex
	t  testing.TB
}

func (w *logWriter) Write(b []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.t != nil {
		w.t.Log(strings.TrimRight(string(b), "\n"))
	}
	return len(b), nil
}

// startServer starts a server on free loopback ports that stops with the test.
func startServer(t testing.TB, dir string) *stream.Server {
	t.Helper()
	return startServerOn(t, stream.ServerConfig{Dir: dir, Client: "127.0.0.1:0"})
}

func startServerOn(t testing.TB, cfg stream.ServerConfig) *stream.Server {
	t.Helper()
	srv, err := stream.StartServer(cfg, testLog(t))
	require.NoError(t, err)
	t.Cleanup(srv.Stop)
	return srv
}

// connectHub connects with the hub's rights.
func connectHub(t testing.TB, srv *stream.Server) *nats.Conn {
	t.Helper()
	nc, err := srv.Connect()
	require.NoError(t, err)
	t.Cleanup(nc.Close)
	return nc
}

// dial connects as anyone may.
func dial(t testing.TB, url string) *nats.Conn {
	t.Helper()
	nc, err := stream.Dial(url, "test", testLog(t), nats.Timeout(patience))
	require.NoError(t, err)
	t.Cleanup(nc.Close)
	return nc
}

func openStream(t testing.TB, nc *nats.Conn) *stream.Stream {
	t.Helper()
	st, err := stream.Open(testContext(t), nc, stream.Config{Log: testLog(t)})
	require.NoError(t, err)
	return st
}

// running is a server with its stream.
type running struct {
	srv *stream.Server
	hub *nats.Conn
	st  *stream.Stream
}

func run(t testing.TB) running {
	t.Helper()
	srv := startServer(t, t.TempDir())
	hub := connectHub(t, srv)
	return running{srv, hub, openStream(t, hub)}
}

// publish stores n messages in atomic batches.
func publish(t testing.TB, nc *nats.Conn, n int) {
	t.Helper()
	for n > 0 {
		posts := make([]stream.Post, min(n, stream.MaxBatch))
		for i := range posts {
			posts[i] = stream.Post{
				Subject: fmt.Sprintf("pour.a.w%d.temperature.read", i%50), MsgID: stream.NewMsgID(),
				Body: []byte(`{"n":` + fmt.Sprint(i) + `,"pad":"` + strings.Repeat("x", 360) + `"}`),
			}
		}
		_, err := stream.PublishBatch(testContext(t), nc, posts)
		require.NoError(t, err)
		n -= len(posts)
	}
}

// readAll returns what the stream holds now.
func readAll(t testing.TB, st stream.Reader) []stream.Message {
	t.Helper()
	_, last, err := st.Head(testContext(t))
	require.NoError(t, err)
	var all []stream.Message
	if last == 0 {
		return nil
	}
	err = st.Read(testContext(t), 0, stream.Limits{}, func(batch []stream.Message) error {
		all = append(all, batch...)
		if all[len(all)-1].Seq >= last {
			return errEnough
		}
		return nil
	})
	require.ErrorIs(t, err, errEnough)
	return all
}

var errEnough = fmt.Errorf("enough")

// numbersOf counts the messages of one device by number.
func numbersOf(t testing.TB, all []stream.Message, src events.Source) map[uint64]int {
	t.Helper()
	count := map[uint64]int{}
	for _, m := range all {
		e, err := events.Decode(m.Subject, m.Body)
		require.NoError(t, err, "message %d", m.Seq)
		if e.Source == src {
			count[e.Sequence]++
		}
	}
	return count
}
