package notify_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/events/stream"
	"earlyage/notify"
)

// An alert published to a real stream comes out on alert.<site>.<wall>.
func TestAnAlertReachesWhoeverListensOnNATS(t *testing.T) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	srv, err := stream.StartServer(stream.ServerConfig{Dir: t.TempDir()}, nil)
	require.NoError(t, err)
	defer srv.Stop()
	nc, err := srv.Connect()
	require.NoError(t, err)
	defer nc.Close()
	pours, err := stream.Open(ctx, nc, stream.Config{})
	require.NoError(t, err)
	heard, err := nc.SubscribeSync("alert.mill.>")
	require.NoError(t, err)

	old := raised(t, "old")
	_, _, err = stream.PublishOne(ctx, nc, old.Subject, old.Body, old.Signature)
	require.NoError(t, err)
	n, err := notify.Open(context.Background(), notify.Config{Path: filepath.Join(t.TempDir(), "told.db"), Stream: pours, Key: hub, Teller: notify.NATS{Conn: nc}})
	require.NoError(t, err)
	running, stop := context.WithCancel(ctx)
	ended := make(chan error, 1)
	go func() { ended <- n.Run(running) }()
	m := raised(t, "new")
	seq, _, err := stream.PublishOne(ctx, nc, m.Subject, m.Body, m.Signature)
	require.NoError(t, err)
	msg, err := heard.NextMsgWithContext(ctx)
	require.NoError(t, err)
	require.Equal(t, "alert.mill.north", msg.Subject)
	var notice notify.Notice
	require.NoError(t, json.Unmarshal(msg.Data, &notice))
	require.Equal(t, "new", notice.Alert)
	require.Equal(t, seq, notice.Seq)
	stop()
	require.NoError(t, <-ended)
	require.NoError(t, n.Close())
}
