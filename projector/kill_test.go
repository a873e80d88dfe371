package projector_test

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
	"earlyage/projector/wall"
)

var (
	kills    = flag.Int("kills", 50, "how often the hub is killed")
	killSeed = flag.Uint64("kill.seed", 0, "seed of the random moments; 0: drawn")
)

// childDir tells a copy of the test binary to be a hub on a folder.
const childDir = "EARLYAGE_TEST_HUB"

// runChild is a hub: an embedded server and a projector, until it is killed. It
// says where it listens on its standard output.
func runChild(dir string) error {
	srv, err := stream.StartServer(stream.ServerConfig{Dir: filepath.Join(dir, "stream"), Client: "127.0.0.1:-1"}, nil)
	if err != nil {
		return err
	}
	nc, err := srv.Connect()
	if err != nil {
		return err
	}
	s, err := stream.Open(context.Background(), nc, stream.Config{})
	if err != nil {
		return err
	}
	p, err := projector.Open(projector.Config{Unsigned: true, Dir: dir, Stream: s, WallsMax: 2})
	if err != nil {
		return err
	}
	fmt.Println(srv.ClientURL())
	return p.Run(context.Background())
}

// crashing is a hub that is killed again and again, and a phone that publishes
// to it with acknowledgement meanwhile.
type crashing struct {
	t      *testing.T
	dir    string
	random *rand.Rand
	phone  *device
	sent   map[uint64][]byte // acknowledged: sequence and body
	waits  *stream.Post      // not acknowledged yet: published again, as it is
	tries  int               // publications
	events uint64            // that reached the stream
}

// life starts the hub, lets the phone publish and kills the hub at a random
// moment, which may be while it is still starting.
func (c *crashing) life(after time.Duration) {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childDir+"="+c.dir)
	cmd.Stderr = c.t.Output()
	out, err := cmd.StdoutPipe()
	require.NoError(c.t, err)
	require.NoError(c.t, cmd.Start())
	ctx, cancel := context.WithTimeout(c.t.Context(), after)
	defer cancel()
	phone := make(chan struct{})
	go func() {
		defer close(phone)
		url, err := bufio.NewReader(out).ReadString('\n')
		if err == nil {
			c.publish(ctx, strings.TrimSpace(url))
		}
	}()
	<-ctx.Done()
	require.NoError(c.t, cmd.Process.Kill())
	<-phone
	var exit *exec.ExitError
	require.ErrorAs(c.t, cmd.Wait(), &exit)
	require.Equal(c.t, -1, exit.ExitCode(), "the hub ended by itself")
}

func (c *crashing) publish(ctx context.Context, url string) {
	nc, err := nats.Connect(url, nats.NoReconnect(), nats.Timeout(time.Minute))
	if err != nil {
		return // killed already
	}
	defer nc.Close()
	for ctx.Err() == nil {
		if c.waits == nil {
			c.waits = c.next()
		}
		// Another message id each time: the stream takes it twice, the hub must not.
		c.waits.MsgID = stream.NewMsgID()
		c.tries++
		seq, _, err := stream.Publish(ctx, nc, *c.waits)
		if err != nil {
			return
		}
		c.sent[seq], c.waits = c.waits.Body, nil
	}
}

func (c *crashing) next() *stream.Post {
	name := fmt.Sprint("w", c.random.IntN(5))
	var e events.Event
	if c.random.IntN(4) > 0 {
		e = c.phone.reading(name, float64(c.random.IntN(300))/10)
	} else {
		e = c.phone.lift(name, 0, 6, 0.01*float64(1+c.random.IntN(300)))
	}
	return &stream.Post{Subject: e.Subject(), Body: encode(c.t, e)}
}

// TestKilledHubLosesNothing kills the hub at random moments while a phone
// publishes. What was acknowledged is folded, once, and the view is what a fresh
// rebuild makes of the kept bytes and of the stream.
func TestKilledHubLosesNothing(t *testing.T) {
	seed := *killSeed
	if seed == 0 {
		seed = rand.Uint64()
	}
	t.Logf("-kill.seed=%d", seed)
	c := &crashing{
		t: t, dir: t.TempDir(), random: rand.New(rand.NewPCG(seed, 1)), phone: newDevice("alder", "phone-1"), sent: map[uint64][]byte{},
	}
	for range *kills {
		c.life(time.Duration(c.random.IntN(900)) * time.Millisecond)
	}
	require.NotEmpty(t, c.sent)
	c.check()
}

func (c *crashing) check() {
	t := c.t
	srv, err := stream.StartServer(stream.ServerConfig{Dir: filepath.Join(c.dir, "stream")}, nil)
	require.NoError(t, err)
	defer srv.Stop()
	nc, err := srv.Connect()
	require.NoError(t, err)
	defer nc.Close()
	s, err := stream.Open(t.Context(), nc, stream.Config{})
	require.NoError(t, err)
	cfg := newConfig(t, c.dir, s)
	cfg.Key = nil
	p, err := projector.Open(cfg)
	require.NoError(t, err)
	stop := run(t, p)
	_, last, err := s.Head(t.Context())
	require.NoError(t, err)
	reach(t, p, last)
	require.NoError(t, stop())

	want := c.naive(s, last)
	view(t, p, func(v projector.View) {
		for seq, body := range c.sent {
			raw, err := v.Leaf(seq)
			require.NoError(t, err)
			l, err := projector.ParseLeaf(raw)
			require.NoError(t, err)
			require.Equal(t, string(body), string(l.Body), "acknowledged message %d", seq)
		}
		require.Equal(t, verdicts{c.events, last - c.events, 0}, verdictsOf(v))
		for ref, st := range want {
			require.Equal(t, st.Digest(), v.Wall(ref).Digest(), ref)
		}
		require.Len(t, v.Walls(""), len(want))
		require.Equal(t, c.events, v.Devices("alder").UpTo("phone-1"))
		require.Empty(t, v.Hub().Holes)
	})
	t.Logf("%d publications, %d messages, %d acknowledged, %d events", c.tries, last, len(c.sent), c.events)
	require.NoError(t, p.Close())
	for _, from := range []projector.From{projector.Keep, projector.Stream} {
		r, err := projector.Check(t.Context(), cfg, from, nil)
		require.NoError(t, err)
		require.True(t, r.Equal, "%s: %v", from, r.Differences)
	}
	checkFiles(t, c.dir)
}

// naive folds the stream with no projector: a set of events by key for each wall.
func (c *crashing) naive(s *stream.Stream, last uint64) map[projector.Ref]*wall.State {
	states := map[projector.Ref]*wall.State{}
	seen := map[events.Key]bool{}
	enough := errors.New("enough")
	err := s.Read(c.t.Context(), 0, stream.Limits{}, func(batch []stream.Message) error {
		for _, m := range batch {
			e, err := events.Decode(m.Subject, m.Body)
			require.NoError(c.t, err)
			if !seen[e.Key()] {
				seen[e.Key()] = true
				ref := projector.Ref{Site: e.Source.Site, Wall: e.Wall}
				if states[ref] == nil {
					states[ref] = wall.New(ref.Site, ref.Wall)
				}
				states[ref].Add(wall.Fact{Event: e, Seq: m.Seq, Recorded: m.Recorded.Truncate(time.Millisecond)})
			}
		}
		if batch[len(batch)-1].Seq >= last {
			return enough
		}
		return nil
	})
	require.ErrorIs(c.t, err, enough)
	c.events = uint64(len(seen))
	return states
}
