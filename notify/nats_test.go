package notify_test

import (
	"context"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/events/stream"
	"earlyage/notify"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/scheduler"
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
	listening, err := nc.SubscribeSync("alert.mill.>")
	require.NoError(t, err)
	mail := newCarrier("mail")

	old := raised(t, "old")
	_, _, err = stream.PublishOne(ctx, nc, old.Subject, old.Body, old.Signature)
	require.NoError(t, err)
	e, err := notify.Open(ctx, notify.Config{
		Stream: pours, Ledger: newShelf(t, t.TempDir()+"/keep.db"), Key: hub, Clock: scheduler.NewReal(nil), Directory: directory{},
		Rota: func() desk.Rota { return rota{[]string{"mail"}} }, Channels: []notice.Channel{mail}, Teller: notify.NATS{Conn: nc}, Voice: spoken{nc},
	})
	require.NoError(t, err)
	running, stop := context.WithCancel(ctx)
	ended := make(chan error, 1)
	go func() { ended <- e.Run(running) }()
	m := raised(t, "new")
	seq, _, err := stream.PublishOne(ctx, nc, m.Subject, m.Body, m.Signature)
	require.NoError(t, err)
	msg, err := listening.NextMsgWithContext(ctx)
	require.NoError(t, err)
	require.Equal(t, "alert.mill.north", msg.Subject)
	var n notice.Notice
	require.NoError(t, json.Unmarshal(msg.Data, &n))
	require.Equal(t, "new", n.Alert)
	require.Equal(t, seq, n.Seq)
	require.NoError(t, e.Settle(ctx))
	require.Len(t, mail.shown(), 1, "in the words of package text")
	_, head, err := pours.Head(ctx)
	require.NoError(t, err)
	require.Equal(t, seq+1, head, "what came of it is in the stream")
	stop()
	require.NoError(t, <-ended)
	require.NoError(t, e.Close())
}
