package phone_test

import (
	"io"
	"net"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// leaky is a stretch of network whose connections break after a number of bytes,
// each after another, so that they break at every step of what is said.
type leaky struct {
	listener net.Listener
	to       string
	working  sync.WaitGroup

	mu    sync.Mutex
	whole bool              // mu: the faults are over
	conns map[net.Conn]bool // mu
	ended bool              // mu
}

// fault is how a connection breaks: what goes up (or down) is cut, or not heard any
// more, after so many bytes.
type fault struct {
	bytes int
	up    bool
	deaf  bool
}

// faults go through the steps of a session: the handshake of the websocket (about
// 600 bytes up, 200 down), that of NATS (about 500 and 700), question and receipt,
// then entries of about 800 bytes up and acknowledgements of 100 down.
func faults() (list []fault) {
	for i, up := range []int{0, 100, 700, 900, 1100, 1300, 1500, 1700, 2000, 2300, 2600, 3500, 5000, 7000, 12000} {
		list = append(list, fault{up, true, i%3 == 2}, fault{up / 4, false, i%3 == 1}, fault{150 + up/3, false, false})
	}
	return list
}

func newLeaky(t *testing.T, to string) *leaky {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	k := &leaky{listener: l, to: to, conns: map[net.Conn]bool{}}
	k.working.Go(k.accept)
	t.Cleanup(k.close)
	return k
}

func (k *leaky) accept() {
	for list := faults(); ; {
		page, err := k.listener.Accept()
		if err != nil {
			return
		}
		hub, err := net.Dial("tcp", k.to)
		if err != nil {
			page.Close()
			continue
		}
		f := fault{bytes: -1}
		if len(list) > 0 {
			f, list = list[0], list[1:]
		} else {
			k.mend()
		}
		if !k.hold(page, hub) {
			return
		}
		up, down := -1, -1
		if f.up {
			up = f.bytes
		} else {
			down = f.bytes
		}
		k.working.Go(func() { k.copy(hub, page, up, f.deaf) })
		k.working.Go(func() { k.copy(page, hub, down, f.deaf) })
	}
}

func (k *leaky) mend() {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.whole = true
}

func (k *leaky) hold(conns ...net.Conn) bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, c := range conns {
		if k.ended {
			c.Close()
		}
		k.conns[c] = true
	}
	return !k.ended
}

// copy carries so many bytes, or all where most is negative.
func (k *leaky) copy(to, from net.Conn, most int, deaf bool) {
	defer to.Close()
	defer from.Close()
	if most < 0 {
		_, _ = io.Copy(to, from) // its end is what breaks
		return
	}
	_, err := io.CopyN(to, from, int64(most))
	if err == nil && deaf {
		_, _ = io.Copy(io.Discard, from)
	}
}

func (k *leaky) close() {
	k.mu.Lock()
	k.ended = true
	for c := range k.conns {
		c.Close()
	}
	k.mu.Unlock()
	k.listener.Close()
	k.working.Wait()
}

// breaks tells whether connections break yet.
func (k *leaky) breaks() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return !k.whole
}
