package door

import (
	"context"
	"log/slog"
	"strings"

	"earlyage/events"
)

// Caller is who asks. The zero Caller is nobody.
type Caller struct {
	// Person is the random id of the person; empty for nobody, for a station
	// and for the hub's own socket.
	Person string
	// Device is the device that logged in with its key; zero for a session
	// that a page began with a passkey.
	Device events.Source
	// Local says that the request came over the hub's own socket, which only
	// the account that runs the hub may open.
	Local bool
}

// Known says that it is somebody: a person, a device, or the hub's own socket.
func (c Caller) Known() bool { return c.Local || c.Person != "" || c.Device != events.Source{} }

// String names who asks in the log.
func (c Caller) String() string {
	switch {
	case c.Local:
		return "the hub's own socket"
	case c.Device != events.Source{}:
		return strings.TrimSpace(c.Person + " " + c.Device.String())
	case c.Person != "":
		return c.Person
	}
	return "nobody"
}

// LogValue implements slog.LogValuer.
func (c Caller) LogValue() slog.Value { return slog.StringValue(c.String()) }

type callerKey struct{}

// CallerOf gives who asks in a request that came through [Door.Wrap]; nobody
// where none is known.
func CallerOf(ctx context.Context) Caller {
	c, _ := ctx.Value(callerKey{}).(Caller)
	return c
}

func withCaller(ctx context.Context, c Caller) context.Context {
	return context.WithValue(ctx, callerKey{}, c)
}

type localKey struct{}

// Local marks the requests of a listener as the hub's own: for the ConnContext
// or BaseContext of the server that listens on the socket, and nothing else.
func Local(ctx context.Context) context.Context { return context.WithValue(ctx, localKey{}, true) }

func isLocal(ctx context.Context) bool {
	local, _ := ctx.Value(localKey{}).(bool)
	return local
}
