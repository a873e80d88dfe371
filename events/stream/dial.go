package stream

import (
	"fmt"
	"log/slog"
	"time"

	"github.com/nats-io/nats.go"
)

// DialOptions are the options of every connection of ours. It connects again
// for ever. What is published while it is cut fails at once instead of being
// sent some time later, so that whoever published it knows and decides.
func DialOptions(name string, log *slog.Logger) []nats.Option {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	return []nats.Option{
		nats.Name(name),
		nats.MaxReconnects(-1),
		nats.ReconnectWait(250 * time.Millisecond),
		nats.ReconnectBufSize(-1),
		nats.PingInterval(20 * time.Second),
		nats.MaxPingsOutstanding(2),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil {
				log.Warn("nats connection lost", "name", name, "cause", err.Error())
			}
		}),
		nats.ReconnectHandler(func(nc *nats.Conn) {
			log.Info("nats connection is back", "name", name, "url", nc.ConnectedUrlRedacted())
		}),
		nats.ErrorHandler(func(_ *nats.Conn, sub *nats.Subscription, err error) {
			subject := ""
			if sub != nil {
				subject = sub.Subject
			}
			log.Warn("nats connection", "name", name, "subject", subject, "cause", err.Error())
		}),
	}
}

// Dial connects to an existing server. url may hold several, with commas; opts
// are added to DialOptions (credentials, TLS).
func Dial(url, name string, log *slog.Logger, opts ...nats.Option) (*nats.Conn, error) {
	nc, err := nats.Connect(url, append(DialOptions(name, log), opts...)...)
	if err != nil {
		return nil, fmt.Errorf("connect: %w", err)
	}
	return nc, nil
}
