package hub

import (
	"context"
	"crypto/tls"
	"errors"

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
