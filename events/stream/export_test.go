package stream

import (
	"time"

	"github.com/nats-io/nats.go"
)

// ConnectInProcess is Connect without the loopback.
func (s *Server) ConnectInProcess() (*nats.Conn, error) {
	o := *s.opts
	o.DontListen = true
	return (&Server{srv: s.srv, opts: &o, hub: s.hub, log: s.log}).Connect()
}

// LookEvery sets how often the head of a silent stream is looked at.
func (s *Stream) LookEvery(d time.Duration) { s.headEvery = d }

// EncodePAE is the encoding that is signed.
var EncodePAE = encodePAE
