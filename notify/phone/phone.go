// Package phone tells the phones of a site: a message goes as JSON to the NATS
// subject told.<site>.<device> of every device that its reader has there, which
// that device alone may hear.
//
// NATS keeps nothing for who is away. Accepted means that the server has the
// message; that somebody saw it, the page says (events.AlertShown). A Phone is
// safe for concurrent use and has no goroutine.
package phone

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/nats-io/nats.go"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify/notice"
)

const (
	flushWithin = 10 * time.Second
	bodyMost    = events.MaxBody // bytes
)

// Conn is the connection to NATS. *nats.Conn is one.
type Conn interface {
	Publish(subject string, data []byte) error
	// FlushWithContext returns nil once the server has all that was published. ctx
	// must have a deadline.
	FlushWithContext(ctx context.Context) error
}

var _ Conn = (*nats.Conn)(nil)

// Config makes a Phone.
type Config struct {
	Conn   Conn          // with the hub's rights
	Within time.Duration // until the server must have it; default 10 s
}

// Phone is the channel.
type Phone struct{ cfg Config }

// New checks the configuration.
func New(c Config) (*Phone, error) {
	if c.Conn == nil {
		return nil, errors.New("phone config: Conn is missing")
	}
	if c.Within <= 0 {
		c.Within = flushWithin
	}
	return &Phone{c}, nil
}

// Name implements notice.Channel.
func (p *Phone) Name() string { return "phone" }

// Reaches implements notice.Channel. A reader's devices are those of the site
// that is spoken of; a device elsewhere is found out by Send.
func (p *Phone) Reaches(r notice.Reader) bool { return len(r.Devices) > 0 }

// Send implements notice.Channel.
func (p *Phone) Send(ctx context.Context, m notice.Message) error {
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("message %s: %w", m.ID, err)
	}
	body, err := encode(m)
	if err != nil {
		return fmt.Errorf("message %s: %w: %w", m.ID, err, notice.ErrRefused)
	}
	devices := of(m)
	if len(devices) == 0 {
		return fmt.Errorf("message %s: no device on the site %s: %w", m.ID, m.Site, notice.ErrRefused)
	}
	for _, d := range devices {
		if err := p.cfg.Conn.Publish(stream.ToldSubject(d), body); err != nil {
			return fmt.Errorf("message %s to %s: %w", m.ID, d, err)
		}
	}
	ctx, cancel := context.WithTimeout(ctx, p.cfg.Within)
	defer cancel()
	if err := p.cfg.Conn.FlushWithContext(ctx); err != nil {
		return fmt.Errorf("message %s: %w", m.ID, err)
	}
	return nil
}

// of returns the reader's devices on the message's site; all of them, if it
// speaks of the company.
func of(m notice.Message) []events.Source {
	var list []events.Source
	for _, d := range m.To.Devices {
		if _, err := events.ParseSource(d.String()); err == nil && (d.Site == m.Site || m.Site == "_" || m.Site == "") {
			list = append(list, d)
		}
	}
	return list
}

// encode writes a message; one that is too long loses its long text, and keeps
// what there is to do.
func encode(m notice.Message) ([]byte, error) {
	b := m.Body()
	body, err := json.Marshal(b, json.Deterministic(true))
	if err != nil || len(body) <= bodyMost {
		return body, err
	}
	b.Plain = ""
	return json.Marshal(b, json.Deterministic(true))
}
