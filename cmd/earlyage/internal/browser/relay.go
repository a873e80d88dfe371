package browser

import (
	"errors"
	"io"
	"net"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// Relay is a stretch of network between a page and the hub that a test can cut,
// and make deaf: connected as before, but nothing arrives.
type Relay struct {
	listener net.Listener
	to       string
	working  sync.WaitGroup

	mu      sync.Mutex
	changed *sync.Cond            // mu
	conns   map[net.Conn]struct{} // mu
	cut     bool                  // mu: nothing connects
	deafUp  bool                  // mu: nothing arrives at the hub
	deafDn  bool                  // mu: nothing arrives at the page
	closed  bool                  // mu
}

// NewRelay relays connections to an address, host:port, until the test ends.
func NewRelay(t testing.TB, to string) *Relay {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	r := &Relay{listener: l, to: to, conns: map[net.Conn]struct{}{}}
	r.changed = sync.NewCond(&r.mu)
	r.working.Go(r.accept)
	t.Cleanup(r.close)
	return r
}

// Addr is where pages connect.
func (r *Relay) Addr() string { return r.listener.Addr().String() }

// Cut ends all connections and takes no more until it is mended.
func (r *Relay) Cut(cut bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.cut = cut
	if cut {
		r.drop()
	}
}

// Deaf holds back what goes to the hub (up) and what goes to the page (down).
// What was held back arrives when it can be heard again.
func (r *Relay) Deaf(up, down bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.deafUp, r.deafDn = up, down
	r.changed.Broadcast()
}

// Drop ends all connections once.
func (r *Relay) Drop() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.drop()
}

func (r *Relay) drop() {
	for c := range r.conns {
		c.Close()
	}
}

func (r *Relay) accept() {
	for {
		c, err := r.listener.Accept()
		if err != nil {
			return
		}
		r.working.Go(func() { r.carry(c) })
	}
}

func (r *Relay) carry(page net.Conn) {
	defer page.Close()
	if !r.hold(page) {
		return
	}
	defer r.forget(page)
	hub, err := net.Dial("tcp", r.to)
	if err != nil {
		return
	}
	defer hub.Close()
	if !r.hold(hub) {
		return
	}
	defer r.forget(hub)
	var both sync.WaitGroup
	both.Go(func() { r.copy(hub, page, func() bool { return r.deafUp }) })
	both.Go(func() { r.copy(page, hub, func() bool { return r.deafDn }) })
	both.Wait()
}

// copy carries bytes one way; at its end the other way ends too.
func (r *Relay) copy(to, from net.Conn, deaf func() bool) {
	defer to.Close()
	defer from.Close()
	buf := make([]byte, 32<<10)
	for {
		n, err := from.Read(buf)
		if n > 0 {
			r.mu.Lock()
			for deaf() && !r.closed && !r.cut {
				r.changed.Wait()
			}
			r.mu.Unlock()
			if _, werr := to.Write(buf[:n]); werr != nil {
				err = errors.Join(err, werr)
			}
		}
		if err != nil && !errors.Is(err, io.ErrNoProgress) {
			return
		}
	}
}

func (r *Relay) hold(c net.Conn) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.cut || r.closed {
		return false
	}
	r.conns[c] = struct{}{}
	return true
}

func (r *Relay) forget(c net.Conn) {
	r.mu.Lock()
	defer r.mu.Unlock()
	delete(r.conns, c)
}

func (r *Relay) close() {
	r.mu.Lock()
	r.closed = true
	r.drop()
	r.changed.Broadcast()
	r.mu.Unlock()
	r.listener.Close()
	r.working.Wait()
}
