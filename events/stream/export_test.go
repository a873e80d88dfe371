package stream

import (
	"context"
	"time"

	"github.com/nats-io/nats.go"

	"earlyage/events"
)

// ConnectInProcess is Connect without the loopback.
func (s *Server) ConnectInProcess() (*nats.Conn, error) {
	o := *s.opts
	o.DontListen = true
	return (&Server{srv: s.srv, opts: &o, hub: s.hub, public: s.public, log: s.log}).Connect()
}

// LookEvery sets how often the head of a silent stream is looked at.
func (s *Stream) LookEvery(d time.Duration) { s.headEvery = d }

// EncodePAE is the encoding that is signed.
var EncodePAE = encodePAE

// Link is what an outbox needs of a hub.
type Link = link

// NewLink is the link that Drain uses.
func NewLink(nc *nats.Conn, src events.Source, wait time.Duration) Link {
	return natsLink{nc, src, wait}
}

// DrainOver is Drain over any link.
func (o *Outbox) DrainOver(ctx context.Context, l Link) error { return o.drain(ctx, l) }

// OnStep has f called between the steps of Drain; its error ends the Drain there
// and then, as a crash would.
func (o *Outbox) OnStep(f func(string) error) { o.step = f }

// LogLine is a line of an outbox's log.
func LogLine(text string) []byte { return appendLine(nil, text) }

// Counters of messages as the front has them for each protocol.
func NATSCounter() func([]byte) int      { return new(natsCounter).count }
func WebsocketCounter() func([]byte) int { return new(websocketCounter).count }
func MQTTCounter() func([]byte) int      { return new(mqttCounter).count }

// NetworkOf is what the front counts connections by.
var NetworkOf = networkOf

// NewAllowance is a device's measure of a day.
func NewAllowance(bytes, messages int) func(now time.Time, bytes, messages int) bool {
	a := newAllowance(bytes, messages)
	return func(now time.Time, bytes, messages int) bool {
		ok, _ := a.take(now, bytes, messages)
		return ok
	}
}
