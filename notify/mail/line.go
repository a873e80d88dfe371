package mail

import (
	"context"
	"crypto/tls"
	"net"
	"sync"
)

// line is the connection of one message. The library leaves one open whose login
// failed.
type line struct {
	mu    sync.Mutex
	conn  net.Conn
	ended bool
}

// dial connects, and encrypts from the first byte if implicit is given.
func (l *line) dial(ctx context.Context, network, addr string, implicit *tls.Config) (net.Conn, error) {
	var d net.Dialer
	conn, err := d.DialContext(ctx, network, addr)
	if err != nil {
		return nil, err
	}
	if !l.hold(conn) {
		return nil, net.ErrClosed
	}
	if implicit == nil {
		return conn, nil
	}
	secure := tls.Client(conn, implicit)
	if err := secure.HandshakeContext(ctx); err != nil {
		return nil, err
	}
	return secure, nil
}

// hold takes a connection over; it closes one that comes after the end.
func (l *line) hold(conn net.Conn) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.ended {
		_ = conn.Close()
		return false
	}
	l.conn = conn
	return true
}

// end closes the connection, in the middle of a word if need be.
func (l *line) end() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.ended = true
	if l.conn != nil {
		_ = l.conn.Close()
	}
}
