package stream_test

import (
	"net"
	"net/url"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// relay is a TCP relay in front of a server that can be cut, and made deaf: then
// what the client says still reaches the server, and no answer comes back.
type relay struct {
	listener net.Listener
	wg       sync.WaitGroup

	mu     sync.Mutex
	target string
	deaf   bool
	closed bool
	open   map[net.Conn]bool
}

func newRelay(t testing.TB, targetURL string) *relay {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	r := &relay{listener: l, open: map[net.Conn]bool{}}
	r.aim(t, targetURL)
	r.wg.Go(r.accept)
	t.Cleanup(func() {
		require.NoError(t, l.Close())
		r.mu.Lock()
		r.closed = true
		r.mu.Unlock()
		r.cut()
		r.wg.Wait()
	})
	return r
}

func (r *relay) url() string { return "nats://" + r.listener.Addr().String() }

// aim sends new connections to another server.
func (r *relay) aim(t testing.TB, targetURL string) {
	t.Helper()
	u, err := url.Parse(targetURL)
	require.NoError(t, err)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.target = u.Host
}

// cut ends every connection; new ones are taken.
func (r *relay) cut() {
	r.mu.Lock()
	defer r.mu.Unlock()
	for c := range r.open {
		c.Close()
	}
	clear(r.open)
}

func (r *relay) setDeaf(deaf bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.deaf = deaf
}

func (r *relay) accept() {
	for {
		c, err := r.listener.Accept()
		if err != nil {
			return
		}
		r.mu.Lock()
		target := r.target
		r.mu.Unlock()
		up, err := net.Dial("tcp", target)
		if err != nil {
			c.Close()
			continue
		}
		if !r.keep(c, up) {
			return
		}
		r.wg.Go(func() { r.copy(up, c, false) })
		r.wg.Go(func() { r.copy(c, up, true) })
	}
}

func (r *relay) keep(conns ...net.Conn) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, c := range conns {
		if r.closed {
			c.Close()
		} else {
			r.open[c] = true
		}
	}
	return !r.closed
}

func (r *relay) copy(to, from net.Conn, answers bool) {
	defer to.Close()
	defer from.Close()
	buf := make([]byte, 64<<10)
	for {
		n, err := from.Read(buf)
		r.mu.Lock()
		drop := answers && r.deaf
		r.mu.Unlock()
		if n > 0 && !drop {
			if _, werr := to.Write(buf[:n]); werr != nil {
				return
			}
		}
		if err != nil {
			return
		}
	}
}
