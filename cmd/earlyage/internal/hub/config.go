package hub

import (
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"net/url"
	"path/filepath"
	"time"

	"earlyage/cmd/earlyage/internal/door"
	"earlyage/events/stream"
	"earlyage/scheduler"
)

// Config says how a hub runs. The addresses are host:port; port 0 takes any, and
// without a host it is the loopback address.
type Config struct {
	Dir string // the data: stream, kept bytes, view; made with mode 0700

	Client    string // NATS clients; empty: in this process only
	Websocket string // NATS over websocket; empty: off
	MQTT      string // MQTT; empty: off
	HTTP      string // answers and pages; empty: off
	Metrics   string // metrics, never encrypted; empty: off
	Socket    string // answers to whoever may open it; default Dir/hub.sock

	// Address is where people and devices reach the hub: scheme, host and port, as
	// https://hub.example. It stands in invitations, and passkeys belong to it.
	// Default: what HTTP listens on.
	Address string

	TLS            TLS
	PlainOnNetwork bool // listeners without TLS outside loopback are allowed

	// NATS is the URL of an existing server in place of the embedded one. It may be
	// away when the hub starts, but not at its very first start: the hub then says so,
	// shows what it has as not level, records nothing, and tries again after 250 ms to
	// 5 s until the server is there.
	NATS     string
	NATSSeed string // file with the seed of the hub's nkey there; empty: the URL says who the hub is
	Monitor  string // of that server: URL of its HTTP monitoring, to check that it syncs

	// NATSWebsocket is the URL (ws:// or wss://) of that server's websockets, to which
	// those that come to the hub's own /nats are handed on. Empty: there are none.
	NATSWebsocket string

	// Unsigned takes events from anybody, without a name and a signature, and shows
	// the record to anybody. It is fixed when the folder is made. For trials, and for
	// tests of other things.
	Unsigned bool

	Limits Limits

	Routes string // route file: who is told of what, by which channels; empty: by default
	Beat   Beat   // to a lookout outside the hub

	// Roots vouch for the mail server, for web hooks, push services and the lookout;
	// nil: the machine's.
	Roots       *x509.CertPool
	PushPrivate bool // push services in the hub's own network are allowed

	// ForgetAfter is how long after a person retired from everywhere their card, name
	// and addresses, is erased. Default 0: never.
	ForgetAfter time.Duration

	Clock        scheduler.Clock // default: the machine's
	Synchronised func() bool     // default: what the machine says of its clock
	Demo         bool            // invented recorded times count; fixed when the folder is made
	Log          *slog.Logger    // default: none
	StopWithin   time.Duration   // of all steps together; default 30 s

	Tap func(stream.Message) // sees every message before it is folded; default: none
}

// Beat says where the hub's heartbeat goes, every minute.
type Beat struct {
	URL        string // of the lookout; empty: nowhere
	SecretFile string // of what signs it, the same as the lookout's
}

// TLS says where the certificate of every listener comes from: from two files,
// which are read again when they change, or from an ACME authority for names of
// one's own, whose terms are taken as accepted. Neither: listeners are plain.
type TLS struct {
	CertFile, KeyFile string // PEM

	Domains   []string // public names of this hub, each with an A or AAAA record; HTTP must be reached on port 443
	Directory string   // of the authority; default that of autocert
	Cache     string   // folder of keys and certificates; default Dir/acme
}

// Limits bound what one connection, device or address can ask of the hub. Zero
// values mean the defaults of stream.FrontConfig, stream.ServerConfig and door.Limits.
type Limits struct {
	Rate, Burst int // bytes a second, and at once, from one connection
	PerAddress  int // connections from one address at a time, of each kind: NATS, HTTP
	PerDevice   int // connections of one device at a time
	Most        int // connections at a time, of each kind

	Requests door.Limits // over HTTP
}

func (t TLS) on() bool { return t.CertFile != "" || t.KeyFile != "" || len(t.Domains) > 0 }

// prepared fills in the defaults and refuses what must not run.
func (c Config) prepared() (Config, error) {
	if c.Clock == nil {
		c.Clock = scheduler.NewReal(nil)
	}
	if c.Synchronised == nil {
		c.Synchronised = scheduler.MachineSynchronised
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.StopWithin == 0 {
		c.StopWithin = 30 * time.Second
	}
	if c.Socket == "" {
		c.Socket = filepath.Join(c.Dir, SocketName)
	}
	if c.TLS.Cache == "" {
		c.TLS.Cache = filepath.Join(c.Dir, "acme")
	}
	if c.ForgetAfter < 0 {
		return c, fmt.Errorf("forget after %s: less than nothing", c.ForgetAfter)
	}
	return c, errors.Join(c.checkTLS(), c.checkAddress(), c.checkWebsocket(), c.checkListeners())
}

func (c Config) checkTLS() error {
	t := c.TLS
	switch {
	case (t.CertFile == "") != (t.KeyFile == ""):
		return errors.New("certificate and key go together: both files or none")
	case t.CertFile != "" && len(t.Domains) > 0:
		return errors.New("the certificate comes from files or by ACME, not from both")
	case len(t.Domains) > 0 && c.HTTP == "":
		return errors.New("ACME needs the HTTP listener: the authority looks there")
	}
	return nil
}

func (c Config) checkAddress() error {
	if c.Address == "" {
		return nil
	}
	u, err := url.Parse(c.Address)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" || u.User != nil || u.Path != "" || u.RawQuery != "" || u.Fragment != "" {
		return fmt.Errorf("address %q: allowed: scheme, host and port, as https://hub.example", c.Address)
	}
	return nil
}

func (c Config) checkWebsocket() error {
	switch {
	case c.NATSWebsocket == "":
		return nil
	case c.NATS == "":
		return errors.New("the websocket of a NATS server is named, but no server: the embedded one needs none")
	case c.natsWebsocket() == nil:
		return fmt.Errorf("websocket of the NATS server %q: allowed: ws:// or wss://, host and port", c.NATSWebsocket)
	}
	return nil
}

// natsWebsocket is the URL of another server's websockets; nil: none that is one.
func (c Config) natsWebsocket() *url.URL {
	u, err := url.Parse(c.NATSWebsocket)
	if err != nil || u.Host == "" || u.User != nil || u.Scheme != "ws" && u.Scheme != "wss" {
		return nil
	}
	return u
}

// checkListeners refuses a listener without TLS that others than this machine
// can reach: what goes over it, passwords of probes too, could be read and
// changed on its way. A hub that takes events from anybody stays on this machine
// as well.
func (c Config) checkListeners() error {
	var refused []error
	for _, l := range []struct {
		name, address string
		encrypts      bool
	}{
		{"HTTP", c.HTTP, true}, {"NATS clients", c.Client, true}, {"websocket", c.Websocket, true}, {"MQTT", c.MQTT, true}, {"metrics", c.Metrics, false},
	} {
		if l.address == "" || c.PlainOnNetwork || l.encrypts && c.TLS.on() && !c.Unsigned {
			continue
		}
		here, err := loopback(l.address)
		switch {
		case err != nil:
			refused = append(refused, fmt.Errorf("%s %q: %w", l.name, l.address, err))
		case here:
		case !l.encrypts:
			refused = append(refused, fmt.Errorf("%s %q: never encrypted, and reachable from the network; listen on loopback, or say --plain-on-network", l.name, l.address))
		case c.Unsigned:
			refused = append(refused, fmt.Errorf("%s %q: reachable from the network, and this hub takes events from anybody; listen on loopback, or say --plain-on-network", l.name, l.address))
		default:
			refused = append(refused, fmt.Errorf("%s %q: reachable from the network without encryption; give a certificate (--tls-cert and --tls-key, or --acme-domain), listen on loopback, or say --plain-on-network where a proxy encrypts", l.name, l.address))
		}
	}
	return errors.Join(refused...)
}

// loopback reports whether only this machine can reach an address.
func loopback(address string) (bool, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false, err
	}
	if host == "" || host == "localhost" {
		return true, nil // without a host it is the loopback address: see hosted
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.Unmap().IsLoopback(), nil
}

// hosted gives an address without a host the loopback address.
func hosted(address string) string {
	if host, port, err := net.SplitHostPort(address); err == nil && host == "" {
		return net.JoinHostPort("127.0.0.1", port)
	}
	return address
}
