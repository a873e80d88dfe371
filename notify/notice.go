package notify

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/nats-io/nats.go"

	"earlyage/events"
	"earlyage/events/stream"
)

// What became of an alert.
const (
	Raised  = "raised"
	Cleared = "cleared"
)

// hubDevice is the device name under which the hub speaks.
const hubDevice = "hub"

// Notice is what is told of one alert. Its alert and state together are its
// identity: a reader that has had them may pass it over.
type Notice struct {
	State    string    `json:"state"` // raised or cleared
	Alert    string    `json:"alert"` // the alert's id
	Kind     string    `json:"kind"`
	Cause    string    `json:"cause"`
	Site     string    `json:"site"`
	Wall     string    `json:"wall,omitzero"` // empty: the whole site
	Priority string    `json:"priority,omitzero"`
	Since    time.Time `json:"since,omitzero"` // raised: since when the condition holds
	At       time.Time `json:"at,omitzero"`    // cleared: when
	Text     string    `json:"text,omitzero"`
	Seq      uint64    `json:"seq"`      // in the stream
	Recorded time.Time `json:"recorded"` // by the stream's clock
}

// Subject is where the notice is published.
func (n Notice) Subject() string {
	wall := n.Wall
	if wall == "" {
		wall = "_"
	}
	return "alert." + n.Site + "." + wall
}

// readNotice reads a message of the stream; ok is false if it is not an alert
// that the hub itself raised or cleared.
func readNotice(m stream.Message, key ed25519.PublicKey) (n Notice, ok bool) {
	subject, err := events.ParseSubject(m.Subject)
	if err != nil || subject.Kind != "alert.raised" && subject.Kind != "alert.cleared" {
		return Notice{}, false
	}
	if !stream.Verify(key, m.Signature, m.Body) {
		return Notice{}, false
	}
	e, err := events.Decode(m.Subject, m.Body)
	if err != nil || e.Source.Device != hubDevice {
		return Notice{}, false
	}
	n = Notice{Site: e.Source.Site, Wall: e.Wall, Seq: m.Seq, Recorded: m.Recorded}
	switch d := e.Data.(type) {
	case *events.AlertRaised:
		n.State, n.Alert, n.Kind, n.Cause = Raised, d.Alert, d.Kind, d.Cause
		n.Priority, n.Since, n.Text = d.Priority, d.Since, d.Text
	case *events.AlertCleared:
		n.State, n.Alert, n.Kind, n.Cause, n.At = Cleared, d.Alert, d.Kind, d.Cause, d.At
	}
	return n, true
}

// NATS tells by publishing to core NATS. Who is not listening then does not hear it.
type NATS struct{ Conn *nats.Conn }

// Tell implements Teller: the notice has reached the server when it returns.
func (t NATS) Tell(ctx context.Context, n Notice) error {
	body, err := json.Marshal(n)
	if err != nil {
		return fmt.Errorf("tell alert=%s: %w", n.Alert, err)
	}
	if err := t.Conn.Publish(n.Subject(), body); err != nil {
		return fmt.Errorf("tell alert=%s: %w", n.Alert, err)
	}
	if err := t.Conn.FlushWithContext(ctx); err != nil {
		return fmt.Errorf("tell alert=%s: %w", n.Alert, err)
	}
	return nil
}
