package hub

import (
	"context"
	"crypto/tls"
	"errors"
	"net"
	"net/http"
	"time"

	"earlyage/events"
	"earlyage/events/stream"
)

// Stored shows every message of the stream, as the hub itself may read it.
func (h *Hub) Stored(see func(stream.Message)) error {
	_, last, err := h.stream.Head(context.Background())
	if err != nil {
		return err
	}
	for seq := uint64(1); seq <= last; seq++ {
		m, err := h.stream.Message(context.Background(), seq)
		if errors.Is(err, stream.ErrNoMessage) {
			continue
		}
		if err != nil {
			return err
		}
		see(m)
	}
	return nil
}

// Certificate is what a handshake gets.
func (h *Hub) Certificate(hello *tls.ClientHelloInfo) (*tls.Certificate, error) {
	return h.certificate(hello)
}

// NetworkOf is what connections are counted by.
func NetworkOf(remote string) string { return networkOf(remote) }

// Crowd is a listener that counts.
type Crowd struct{ *crowd }

// NewCrowd bounds the connections of a listener.
func NewCrowd(l net.Listener, most, perNetwork int, refused func(string)) Crowd {
	return Crowd{newCrowd(l, most, perNetwork, refused)}
}

// State notes what a connection does.
func (c Crowd) State(conn net.Conn, s http.ConnState) { c.state(conn, s) }

// Manners counts what is refused.
type Manners struct{ manners }

// Add counts one.
func (m *Manners) Add(src events.Source, now time.Time) bool { return m.add(src, now) }

// Shuns asks whether a device is kept out.
func (m *Manners) Shuns(src events.Source, now time.Time) bool { return m.shuns(src, now) }

// Forget drops what is over.
func (m *Manners) Forget(now time.Time) { m.forget(now) }
