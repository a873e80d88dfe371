package notify

import (
	"context"
	"fmt"

	"github.com/go-json-experiment/json"
	"github.com/nats-io/nats.go"

	"earlyage/notify/notice"
)

// NATS tells by publishing to core NATS, on alert.<site>.<wall> ("_" for a whole
// site). Who is not listening then does not hear it.
type NATS struct{ Conn *nats.Conn }

// Tell implements Teller: the notice has reached the server when it returns.
func (t NATS) Tell(ctx context.Context, n notice.Notice) error {
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
