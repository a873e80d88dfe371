package stream_test

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"slices"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

// floods has several devices publish as fast as they can, and returns when all
// have begun. stop ends them.
func (g guarded) floods(t testing.TB, devices int) (stop func()) {
	t.Helper()
	burst := bytes.Repeat([]byte("PUB pour.a.w.pour.started 100\r\n"+string(bytes.Repeat([]byte("x"), 100))+"\r\n"), 1000)
	var conns []net.Conn
	ended := make(chan struct{})
	for i := range devices {
		conn, _ := rawConnect(t, g.srv.ClientURL(), g.reg.device(t, "a", fmt.Sprint("wild-", i), events.Crew))
		conns = append(conns, conn)
		go func() {
			for {
				if _, err := conn.Write(burst); err != nil {
					ended <- struct{}{}
					return
				}
			}
		}()
	}
	waitFor(t, g.st, 20*devices)
	return func() {
		for _, conn := range conns {
			_ = conn.Close()
			<-ended
		}
	}
}

// behind is how many messages are stored between the moment when a device
// publishes and its own.
func (g guarded) behind(t testing.TB, nc *nats.Conn) int {
	t.Helper()
	_, before, err := g.st.Head(testContext(t))
	require.NoError(t, err)
	seq, _, err := stream.PublishOne(testContext(t), nc, "pour.a.w1.pour.finished", []byte("calm"), "")
	require.NoError(t, err)
	return int(seq-before) - 1
}

// What a quiet device says is not behind the backlog of those that flood.
func TestFrontTakesTurns(t *testing.T) {
	const most = 32
	g := guard(t, func(c *stream.ServerConfig) { c.Front = &stream.FrontConfig{InFlight: most} })
	nc, _ := g.as(t, g.reg.device(t, "a", "calm", events.Crew))
	stop := g.floods(t, 4)
	var behind []int
	for range 20 {
		behind = append(behind, g.behind(t, nc))
	}
	stop()
	slices.Sort(behind)
	// What is under way, and what is stored until the message has come to the front.
	// Each of the four may have 2,000 at once: without turns they stand before it.
	require.LessOrEqual(t, behind[len(behind)/2], 16*most, "%v", behind)
	for _, m := range readAll(t, g.st) {
		require.NotEqual(t, "pour._._.turn", m.Subject, "what asks how far the stream is must not be stored")
	}
}

// Without a stream nobody waits for one.
func TestFrontTurnsWithoutAStream(t *testing.T) {
	reg := newRegister()
	srv := startServerOn(t, stream.ServerConfig{Dir: t.TempDir(), Client: "127.0.0.1:0", Guard: reg, Front: &stream.FrontConfig{InFlight: 2}})
	nc, _ := dialAs(t, srv.ClientURL(), reg.device(t, "a", "phone-1", events.Crew))
	for range 500 {
		require.NoError(t, nc.Publish("pour.a.w1.pour.started", []byte("x")))
	}
	require.NoError(t, nc.FlushTimeout(patience))
}

// BenchmarkPublishBesideFloods measures an acknowledged publish of a quiet device
// beside eight that flood, in one run as ratios to its publish alone: with turns
// and, for comparison, without, where what takes over 5 s counts as 5 s.
func BenchmarkPublishBesideFloods(b *testing.B) {
	const devices, publishes, most = 8, 9, 5 * time.Second
	measure := func(inFlight, devices int) time.Duration {
		g := guard(b, func(c *stream.ServerConfig) { c.Front = &stream.FrontConfig{InFlight: inFlight} })
		nc, _ := g.as(b, g.reg.device(b, "a", "calm", events.Crew))
		defer g.srv.Stop()
		if devices > 0 {
			defer g.floods(b, devices)()
		}
		took := make([]time.Duration, publishes)
		for i := range took {
			began := time.Now()
			ctx, cancel := context.WithTimeout(testContext(b), most)
			_, _, err := stream.PublishOne(ctx, nc, "pour.a.w1.pour.finished", []byte("calm"), "")
			cancel()
			if inFlight == 0 {
				require.NoError(b, err)
			}
			took[i] = time.Since(began)
		}
		slices.Sort(took)
		return took[len(took)/2]
	}
	var alone, turns, none time.Duration
	for b.Loop() {
		alone += measure(0, 0)
		turns += measure(0, devices)
		none += measure(1<<30, devices)
	}
	b.ReportMetric(float64(turns)/float64(alone), "turns/alone")
	b.ReportMetric(float64(none)/float64(alone), "none/alone")
}
