package notify_test

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/scheduler"
)

var (
	long     = flag.Bool("long", false, "fail every write; kill 100 times, with 1,000 alerts")
	killSeed = flag.Uint64("kill.seed", 0, "seed of the random moments; 0: drawn")
)

// childDir tells a copy of the test binary to be an engine on a folder, and
// childPhone where its channel delivers.
const (
	childDir   = "EARLYAGE_TEST_TELLING"
	childPhone = "EARLYAGE_TEST_PHONE"
)

// dialled is a channel that delivers each message to the parent, over a
// connection of its own: its id, what and alert on a line, answered by a line.
type dialled struct{ address string }

func (dialled) Name() string               { return "line" }
func (dialled) Reaches(notice.Reader) bool { return true }

func (d dialled) Send(ctx context.Context, m notice.Message) error {
	conn, err := new(net.Dialer).DialContext(ctx, "tcp", d.address)
	if err != nil {
		return err
	}
	defer conn.Close()
	defer context.AfterFunc(ctx, func() { _ = conn.Close() })()
	if _, err := fmt.Fprintf(conn, "%s %s %s\n", m.ID, m.What, m.Alerts[0]); err != nil {
		return err
	}
	_, err = bufio.NewReader(conn).ReadString('\n')
	return err
}

// spoken publishes as the hub does.
type spoken struct{ nc *nats.Conn }

func (s spoken) Say(ctx context.Context, e events.Event) error {
	m := sealed(hubKey, e)
	_, _, err := stream.PublishOne(ctx, s.nc, m.Subject, m.Body, m.Signature)
	return err
}

// runChild is a hub without a record: an embedded server and an engine, until it
// is killed. It says where it listens on its standard output.
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
	db, err := bbolt.Open(filepath.Join(dir, "keep.db"), 0o600, &bbolt.Options{Timeout: 10 * time.Second})
	if err != nil {
		return err
	}
	if err := db.Update(func(tx *bbolt.Tx) error {
		_, err := tx.CreateBucketIfNotExists(drawer)
		return err
	}); err != nil {
		return err
	}
	e, err := notify.Open(context.Background(), notify.Config{
		Stream: s, Ledger: &shelf{db: db}, Key: hub, Clock: scheduler.NewReal(nil), Directory: directory{}, Compose: plain{}, Voice: spoken{nc},
		Rota: func() desk.Rota { return each{} }, Channels: []notice.Channel{dialled{os.Getenv(childPhone)}},
	})
	if err != nil {
		return err
	}
	fmt.Println(srv.ClientURL())
	return e.Run(context.Background())
}

// each tells each alert to a person of its own, so that nobody has a flood.
type each struct{ rota }

func (each) Ladder(n notice.Notice, _ time.Time) []desk.Rung {
	return []desk.Rung{{Choices: []desk.Choice{{Person: "p-" + n.Alert, Channels: []string{"line"}}}, Why: "whose it is"}}
}

// receiver shows each id once, as a phone does. It may answer late or not at all.
type receiver struct {
	listener net.Listener
	serving  sync.WaitGroup

	mu     sync.Mutex
	random *rand.Rand          // mu
	shown  map[string]string   // what and alert, by id; mu
	ids    map[string][]string // by what and alert; mu
	tries  int                 // mu
}

func newReceiver(t *testing.T, random *rand.Rand) *receiver {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	r := &receiver{listener: l, random: random, shown: map[string]string{}, ids: map[string][]string{}}
	r.serving.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			r.serving.Go(func() { r.serve(conn) })
		}
	})
	t.Cleanup(func() {
		require.NoError(t, l.Close())
		r.serving.Wait()
	})
	return r
}

func (r *receiver) serve(conn net.Conn) {
	defer conn.Close()
	line, err := bufio.NewReader(conn).ReadString('\n')
	if err != nil {
		return
	}
	id, what, _ := strings.Cut(strings.TrimSpace(line), " ")
	r.mu.Lock()
	r.tries++
	does := r.random.IntN(10)
	if does > 0 {
		if _, again := r.shown[id]; !again {
			r.ids[what] = append(r.ids[what], id)
		}
		r.shown[id] = what
	}
	r.mu.Unlock()
	if does > 1 { // else: 0 loses it, 1 shows it and does not answer
		_, _ = fmt.Fprintln(conn, "shown")
	}
}

func (r *receiver) count() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.shown)
}

// killed is an engine that is killed again and again while the hub raises alerts.
type killed struct {
	t      *testing.T
	dir    string
	random *rand.Rand
	phone  *receiver
	next   int // alerts that were published
	alerts int
	list   []stream.Message
}

// life starts the engine, raises some alerts and kills it at a random moment,
// which may be while it is still starting. With no moment it is killed once done
// says so.
func (k *killed) life(publish int, after time.Duration, done func(nc *nats.Conn) bool) {
	t := k.t
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childDir+"="+k.dir, childPhone+"="+k.phone.listener.Addr().String())
	cmd.Stderr = t.Output()
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	ctx, cancel := context.WithTimeout(t.Context(), after)
	defer cancel()
	var raising sync.WaitGroup
	raise := func() {
		if url, err := bufio.NewReader(out).ReadString('\n'); err == nil {
			k.raise(ctx, strings.TrimSpace(url), publish, done)
		}
	}
	if done == nil {
		raising.Go(raise)
		<-ctx.Done()
	} else {
		raise()
	}
	require.NoError(t, cmd.Process.Kill())
	raising.Wait()
	var exit *exec.ExitError
	require.ErrorAs(t, cmd.Wait(), &exit)
	require.Equal(t, -1, exit.ExitCode(), "the engine ended by itself")
}

// raise publishes the next alerts, each with acknowledgement: one whose
// acknowledgement is lost is published again.
func (k *killed) raise(ctx context.Context, url string, most int, done func(nc *nats.Conn) bool) {
	nc, err := nats.Connect(url, nats.NoReconnect(), nats.Timeout(time.Minute))
	if err != nil {
		return // killed already
	}
	defer nc.Close()
	for ; most > 0 && k.next < k.alerts && ctx.Err() == nil; most-- {
		m := k.list[k.next]
		if _, _, err := stream.PublishOne(ctx, nc, m.Subject, m.Body, m.Signature); err != nil {
			return
		}
		k.next++
	}
	if done != nil {
		require.Eventually(k.t, func() bool { return done(nc) }, 5*time.Minute, 50*time.Millisecond)
	}
}

// TestAKilledEngineLosesNothingAndShowsNothingTwice kills the engine at random
// moments while alerts are raised and a receiver loses messages and answers. Each
// alert is shown, under one id, and said once in the stream.
func TestAKilledEngineLosesNothingAndShowsNothingTwice(t *testing.T) {
	seed := *killSeed
	if seed == 0 {
		seed = rand.Uint64()
	}
	t.Logf("-kill.seed=%d", seed)
	kills, alerts := 10, 300
	if *long {
		kills, alerts = 100, 1000
	}
	random := rand.New(rand.NewPCG(seed, 1))
	k := &killed{t: t, dir: t.TempDir(), random: random, phone: newReceiver(t, rand.New(rand.NewPCG(seed, 2))), alerts: alerts}
	for i := range alerts {
		k.list = append(k.list, sealed(hubKey, raisedEvent(t, fmt.Sprint(i), "high")))
	}
	k.switchOn()
	for range kills {
		k.life(1+2*alerts/kills, time.Duration(random.IntN(900))*time.Millisecond, nil)
	}
	k.life(alerts, 10*time.Minute, k.finished)
	k.check()
}

// switchOn lets the engine begin on the empty stream, so that every alert is told.
func (k *killed) switchOn() {
	k.life(0, 10*time.Minute, func(*nats.Conn) bool { return true })
}

// finished reports whether everything is shown and said in the stream.
func (k *killed) finished(nc *nats.Conn) bool {
	return k.phone.count() >= k.alerts && len(k.said(nc)) >= k.alerts
}

func (k *killed) said(nc *nats.Conn) map[string]int {
	s, err := stream.Open(k.t.Context(), nc, stream.Config{})
	require.NoError(k.t, err)
	_, last, err := s.Head(k.t.Context())
	require.NoError(k.t, err)
	enough, bodies, said := fmt.Errorf("enough"), map[string]string{}, map[string]int{}
	err = s.Read(k.t.Context(), 0, stream.Limits{}, func(batch []stream.Message) error {
		for _, m := range batch {
			e, err := events.Decode(m.Subject, m.Body)
			require.NoError(k.t, err)
			w, ok := e.Data.(*events.AlertTold)
			if !ok {
				continue
			}
			if body, again := bodies[e.ID]; again {
				require.Equal(k.t, body, string(m.Body), "one id, two bodies")
				continue
			}
			bodies[e.ID] = string(m.Body)
			said[w.Outcome+" "+w.Alerts[0]]++
		}
		if batch[len(batch)-1].Seq >= last {
			return enough
		}
		return nil
	})
	require.ErrorIs(k.t, err, enough)
	return said
}

func (k *killed) check() {
	t := k.t
	require.Equal(t, k.alerts, k.next)
	k.phone.mu.Lock()
	for i := range k.alerts {
		require.Len(t, k.phone.ids[fmt.Sprint("raised ", i)], 1, "alert %d", i)
	}
	require.Len(t, k.phone.shown, k.alerts)
	tries := k.phone.tries
	k.phone.mu.Unlock()
	k.life(0, 10*time.Minute, func(nc *nats.Conn) bool {
		said := k.said(nc)
		require.Len(t, said, k.alerts)
		for what, n := range said {
			require.Equal(t, 1, n, what)
		}
		return true
	})
	t.Logf("%d alerts, %d tries to send", k.alerts, tries)
}
