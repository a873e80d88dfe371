package stream_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events/stream"
)

// The acknowledgement of a batch is lost on the way back. Whether the hub has
// folded the events meanwhile or not, they are in the stream once.
func TestLostAcknowledgement(t *testing.T) {
	for _, asleep := range []bool{false, true} {
		for _, n := range []int{1, 40} {
			t.Run(fmt.Sprintf("%d events, hub asleep %v", n, asleep), func(t *testing.T) {
				hub := runHub(t)
				hub.sleep(asleep)
				relay := newRelay(t, hub.srv.ClientURL())
				d := configDevice(t, stream.OutboxConfig{Dir: t.TempDir(), Wait: patience})
				nc := dial(t, relay.url())
				d.fill(n)
				ctx, cancel := context.WithCancel(testContext(t))
				defer cancel()
				planned, ended := make(chan struct{}), make(chan error, 1)
				var once sync.Once
				d.OnStep(func(step string) error {
					if step == "planned" {
						once.Do(func() { relay.setDeaf(true); close(planned) })
					}
					return nil
				})
				go func() { ended <- d.Drain(ctx, nc) }()
				select {
				case <-planned:
				case err := <-ended:
					require.FailNow(t, "it ended before it published", "%v", err)
				}
				if n == 1 {
					waitFor(t, hub.st, 1)
				} else { // an atomic batch stops at the first answer that is missing, which it has sent by now
					<-time.After(500 * time.Millisecond)
				}
				cancel()
				require.Error(t, <-ended)
				require.Equal(t, n, d.status().Waiting)
				relay.setDeaf(false)
				require.NoError(t, d.Drain(testContext(t), nc))
				hub.requireOnce(phone, uint64(n+1))
				hub.requireAll(phone, uint64(n+1))
			})
		}
	}
}

// faulty is a link that fails two ways: the call is not carried out, or it is
// and failure is reported.
type faulty struct {
	stream.Link
	at      int // which call fails, from 1
	applied bool
	calls   []string
}

var errFault = errors.New("fault")

func (f *faulty) fails(call string) bool {
	f.calls = append(f.calls, call)
	return len(f.calls) == f.at
}

func (f *faulty) Ask(ctx context.Context) (stream.Receipt, error) {
	if f.fails("ask") {
		return stream.Receipt{}, errFault
	}
	return f.Link.Ask(ctx)
}

func (f *faulty) Batch(ctx context.Context, posts []stream.Post) (uint64, error) {
	fails := f.fails(fmt.Sprint("batch ", len(posts)))
	if fails && !f.applied {
		return 0, errFault
	}
	last, err := f.Link.Batch(ctx, posts)
	if fails {
		return 0, errFault
	}
	return last, err
}

func (f *faulty) One(ctx context.Context, p stream.Post) (uint64, error) {
	fails := f.fails("one")
	if fails && !f.applied {
		return 0, errFault
	}
	seq, err := f.Link.One(ctx, p)
	if fails {
		return 0, errFault
	}
	return seq, err
}

// Every call to the server fails once, both ways, with a hub that has folded
// everything and with one that has folded nothing. The calls of a Drain that
// meets an earlier failure are failed too.
func TestEveryCallFailsBothWays(t *testing.T) {
	for _, asleep := range []bool{false, true} {
		for _, applied := range []bool{false, true} {
			for first := 1; first <= 3; first++ {
				for second := 0; second <= 14; second++ {
					name := fmt.Sprintf("asleep %v, applied %v, call %d then %d", asleep, applied, first, second)
					hub, d := runHub(t), newDevice(t)
					hub.sleep(asleep)
					d.fill(10)
					link := stream.NewLink(hub.hub, phone, patience)
					require.ErrorIs(t, d.DrainOver(testContext(t), &faulty{Link: link, at: first, applied: applied}), errFault, name)
					again := &faulty{Link: link, at: second, applied: applied}
					err := d.DrainOver(testContext(t), again)
					if second > 0 && second <= len(again.calls) {
						require.ErrorIs(t, err, errFault, name)
					} else {
						require.NoError(t, err, name)
					}
					require.NoError(t, d.DrainOver(testContext(t), link), name)
					hub.requireOnce(phone, 11)
					hub.requireAll(phone, 11)
					hub.hub.Close()
					hub.srv.Stop()
					if second > len(again.calls) {
						break
					}
				}
			}
		}
	}
}

// A batch whose acknowledgement was lost holds what the stream has already: it
// is refused whole and sent one by one under the same ids.
func TestBatchWithADuplicateFallsBack(t *testing.T) {
	hub, d := runHub(t), newDevice(t)
	hub.sleep(true)
	d.fill(10)
	link := stream.NewLink(hub.hub, phone, patience)
	require.ErrorIs(t, d.DrainOver(testContext(t), &faulty{Link: link, at: 2, applied: true}), errFault)
	require.Len(t, readAll(t, hub.st), 10)
	again := &faulty{Link: link}
	require.NoError(t, d.DrainOver(testContext(t), again))
	require.Equal(t, "ask batch 10"+strings.Repeat(" one", 11), strings.Join(again.calls, " "))
	hub.requireOnce(phone, 11)
}

var errCrash = errors.New("crash")

// steps counts the steps of a Drain that goes through.
func steps(t *testing.T, prepare func(*testHub, *device), asleep bool) (names []string) {
	t.Helper()
	hub, d := runHub(t), newDevice(t)
	prepare(hub, d)
	hub.sleep(asleep)
	d.OnStep(func(step string) error {
		names = append(names, step)
		return nil
	})
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	return names
}

// The process dies at each step of Drain: what its folder holds at that moment
// is copied, and a new process drains the copy. Nothing is lost and nothing is
// doubled, whether the hub has folded what was sent or not.
func TestCrashAtEveryStep(t *testing.T) {
	fresh := func(_ *testHub, d *device) { d.fill(5) }
	retry := func(h *testHub, d *device) { // the batch is stored and not acknowledged
		h.sleep(true)
		d.fill(5)
		require.ErrorIs(t, d.DrainOver(testContext(t), &faulty{Link: stream.NewLink(h.hub, phone, patience), at: 2, applied: true}), errFault)
	}
	seen := map[string]bool{}
	for name, prepare := range map[string]func(*testHub, *device){"fresh": fresh, "retry": retry} {
		for _, asleep := range []bool{false, true} {
			for at, step := range steps(t, prepare, asleep) {
				seen[step] = true
				t.Run(fmt.Sprintf("%s, step %d %s, hub asleep %v", name, at, step, asleep), func(t *testing.T) {
					crashAt(t, prepare, asleep, at)
				})
			}
		}
	}
	require.Equal(t, map[string]bool{"asked": true, "settled": true, "planned": true, "published": true, "published one": true, "acked": true}, seen)
}

func crashAt(t *testing.T, prepare func(*testHub, *device), asleep bool, at int) {
	t.Helper()
	hub, d := runHub(t), newDevice(t)
	prepare(hub, d)
	hub.sleep(asleep)
	n := 0
	d.OnStep(func(string) error {
		n++
		if n == at+1 {
			return errCrash
		}
		return nil
	})
	require.ErrorIs(t, d.Drain(testContext(t), hub.hub), errCrash)
	after := openDevice(t, copyFolder(t, d.dir))
	require.NoError(t, after.Drain(testContext(t), hub.hub))
	hub.requireOnce(phone, 6)
	hub.requireAll(phone, 6)
}
