package stream_test

import (
	"bufio"
	"fmt"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/events/stream"
)

// Whatever a device sends and when, no 24 hours hold more than twice its measure.
func TestAllowanceHasAnEnd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const most, messages = 80_000, 1000
		take := stream.NewAllowance(most, messages)
		type sent struct {
			at              time.Time
			bytes, messages int
		}
		now := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
		var all []sent
		for range rapid.IntRange(1, 300).Draw(t, "pieces") {
			now = now.Add(time.Duration(rapid.Int64Range(0, int64(2*time.Hour)).Draw(t, "pause")))
			n, k := rapid.IntRange(0, 4096).Draw(t, "bytes"), rapid.IntRange(0, 120).Draw(t, "messages")
			if take(now, n, k) {
				all = append(all, sent{now, n, k})
			}
			bytes, count := 0, 0
			for _, s := range all {
				if now.Sub(s.at) < 24*time.Hour {
					bytes, count = bytes+s.bytes, count+s.messages
				}
			}
			require.LessOrEqual(t, bytes, 2*most)
			require.LessOrEqual(t, count, 2*messages)
		}
	})
}

// Who has used it up rests for some hours, and may say small things.
func TestAllowanceRests(t *testing.T) {
	take := stream.NewAllowance(80_000, 1000)
	now := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	require.True(t, take(now, 70_000, 10))
	require.False(t, take(now, 4096, 1))
	now = now.Add(2 * time.Hour)
	require.False(t, take(now, 4096, 1), "there is room for it, but it rests")
	require.True(t, take(now, 100, 1))
	now = now.Add(2 * time.Hour)
	require.True(t, take(now, 4096, 1))
}

// A device that sends more than its measure of a day is ended, and ended again;
// what it could not send stays in its outbox, and another device goes on.
func TestFrontDaysMeasure(t *testing.T) {
	for name, cfg := range map[string]stream.FrontConfig{"bytes": {DayBytes: 100 << 10}, "messages": {DayMessages: 100}} {
		t.Run(name, func(t *testing.T) {
			g := guard(t, func(c *stream.ServerConfig) { c.Front = &cfg })
			g.answered(t)
			wild := g.reg.device(t, "a", "wild", events.Crew)
			line := []byte("PUB pour.a.w.pour.started 1000\r\n" + strings.Repeat("x", 1000) + "\r\n")
			for range 3 {
				conn, r := rawConnect(t, g.srv.ClientURL(), wild)
				go func() {
					for {
						if _, err := conn.Write(line); err != nil {
							return
						}
					}
				}()
				untilClosed(t, bufio.NewReader(r))
			}
			waitFor(t, g.st, 60)

			box, err := stream.OutboxConfig{Dir: t.TempDir(), Source: wild.Source, Sign: wild.Sign, Wait: 2 * time.Second}.Open()
			require.NoError(t, err)
			defer func() { require.NoError(t, box.Close()) }()
			_, err = box.AddAll(moments(200))
			require.NoError(t, err)
			nc, _ := g.as(t, wild, nats.NoReconnect())
			require.Error(t, box.Drain(testContext(t), nc))
			s, err := box.Status()
			require.NoError(t, err)
			require.Equal(t, 200, s.Waiting)

			calm, _ := g.as(t, g.reg.device(t, "a", "calm", events.Crew))
			_, _, err = stream.PublishOne(testContext(t), calm, "pour.a.w1.pour.finished", []byte("calm"), "")
			require.NoError(t, err)
			require.LessOrEqual(t, len(readAll(t, g.st)), 102)
		})
	}
}

// A device that cannot sign has a smaller measure.
func TestFrontDaysMeasureOfAProbe(t *testing.T) {
	g := guard(t, func(c *stream.ServerConfig) {
		c.MQTT, c.Front = "127.0.0.1:0", &stream.FrontConfig{ProbeDayBytes: 20 << 10}
	})
	lost := make(chan error, 1)
	c := probeClient(g.srv, g.reg.probe("a", "probe-7", "", "temperature.read"), "secret-of-probe-7", func(o *mqtt.ClientOptions) {
		o.SetConnectionLostHandler(func(_ mqtt.Client, err error) { lost <- err })
	})
	wait(t, c.Connect())
	for i := range 40 {
		c.Publish("probe/a/probe-7/w1/temperature/read", 0, false, fmt.Sprint(i, strings.Repeat("x", 1000)))
	}
	require.Error(t, <-lost)
	require.LessOrEqual(t, len(readAll(t, g.st)), 20)
}

// The greatest event there is goes through with all its headers, what is greater
// ends its connection, over MQTT too.
func TestGuardGreatestEvent(t *testing.T) {
	g := guard(t, func(c *stream.ServerConfig) { c.MQTT, c.Front = "127.0.0.1:0", &stream.FrontConfig{} })
	id := g.reg.device(t, "a", "phone-1", events.Crew)
	nc, _ := g.as(t, id)
	body := []byte(strings.Repeat("x", events.MaxBody))
	post := stream.Post{Subject: "pour.a.w1.pour.started", Body: body, Signature: id.Sign(body), MsgID: stream.NewMsgID()}
	_, err := stream.PublishBatch(testContext(t), nc, []stream.Post{post, {Subject: post.Subject, Body: body, Signature: post.Signature}})
	require.NoError(t, err)
	require.Less(t, nc.MaxPayload(), int64(2*events.MaxBody))
	_, _, err = stream.PublishOne(testContext(t), nc, post.Subject, []byte(strings.Repeat("x", int(nc.MaxPayload())+1)), "")
	require.ErrorIs(t, err, nats.ErrMaxPayload)
	conn, r := rawConnect(t, g.srv.ClientURL(), id)
	_, err = fmt.Fprintf(conn, "PUB pour.a.w1.pour.started %d\r\n", nc.MaxPayload()+1)
	require.NoError(t, err)
	require.Contains(t, untilClosed(t, r), "Maximum Payload Violation")

	lost := make(chan error, 1)
	c := probeClient(g.srv, g.reg.probe("a", "probe-7", "", "temperature.read"), "secret-of-probe-7", func(o *mqtt.ClientOptions) {
		o.SetConnectionLostHandler(func(_ mqtt.Client, err error) { lost <- err })
	})
	wait(t, c.Connect())
	c.Publish("probe/a/probe-7/w1/temperature/read", 0, false, strings.Repeat("x", 700_000))
	require.Error(t, <-lost)
	require.Len(t, readAll(t, g.st), 2)
}
