package stream

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strconv"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nkeys"

	"earlyage/events"
)

// ServerConfig says where an embedded server keeps its data and where it
// listens. An address is host:port. Without a host it is the loopback address;
// every address of the machine is 0.0.0.0. Port 0 or -1 takes any free port, and
// an empty address switches the listener off.
type ServerConfig struct {
	Dir       string // folder of the stream's files; made if it is missing
	Name      string // default "earlyage"
	Client    string // NATS clients; off: only Connect reaches the server
	Websocket string // NATS over websocket, not encrypted: for loopback, or behind a proxy that encrypts
	MQTT      string // MQTT 3.1.1, not encrypted
	Monitor   string // the server's own HTTP monitoring

	// Handed opens, where Websocket is off, a loopback listener for ServeWebsocket
	// alone; only a Front keeps others on this machine from it.
	Handed bool

	// Origins are the web origins, such as https://hub.example, whose pages may open
	// a websocket. Default: only the listener's own, since any page that a browser on
	// this machine shows could reach loopback otherwise. Programs send no origin.
	Origins []string

	// Guard decides who may connect and what each may do. Nil: whoever reaches a
	// listener may take part.
	Guard Guard

	// Front stands before Client, Websocket and MQTT: what it lets through is copied
	// to listeners of the server's own on loopback. Nil: clients reach the server's
	// listeners themselves, without encryption.
	Front *FrontConfig

	MaxPerDevice   int // connections of one device at a time, with a Guard; default 4
	MaxConnections int // of the server; default 4096

	// Ready is how long the server may take to start, since it looks through its
	// store first. Default 2 minutes.
	Ready time.Duration
}

// Server is a NATS server in this process.
//
// With a Guard only whom it admits takes part, and may do what Permissions says
// and nothing else; a device that it does not admit any more is ended by
// Disconnect.
//
// Without one, whoever reaches a listener may publish and read without a name,
// so a listener outside loopback needs a network that is trusted. Such a client
// cannot delete or change the stream and cannot speak for the hub: receipts,
// answers to devices, alert.> and told.> are closed to it.
//
// Only Connect gives the hub's rights.
type Server struct {
	srv    *server.Server
	opts   *server.Options
	hub    nkeys.KeyPair // made for this run
	public string        // of hub
	log    *slog.Logger
	gate   *gate      // nil without a Guard
	front  *front     // nil without a Front
	turns  *nats.Conn // of the front's turns; nil: there are none
	urls   [3]string
}

// StartServer starts a server and returns when it can be used. The folder may
// hold the data of an earlier one.
func StartServer(cfg ServerConfig, log *slog.Logger) (*Server, error) {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	s := &Server{log: log}
	if err := s.start(cfg); err != nil {
		return nil, fmt.Errorf("start server in %s: %w", cfg.Dir, err)
	}
	return s, nil
}

func (s *Server) start(cfg ServerConfig) (err error) {
	if s.opts, err = cfg.options(); err != nil {
		return err
	}
	if err := s.addUsers(cfg); err != nil {
		return err
	}
	if s.srv, err = server.NewServer(s.opts); err != nil {
		return err
	}
	if s.gate != nil {
		s.gate.srv = s.srv
	}
	serverLog := &serverLogger{log: s.log, violations: seldom()}
	s.srv.SetLoggerV2(serverLog, false, false, false)
	s.srv.Start()
	err = s.ready(cfg.Ready, serverLog)
	if err == nil && s.gate != nil {
		err = s.gate.open(cfg.MQTT != "")
	}
	if err == nil && s.gate != nil && s.front != nil {
		err = s.openTurns()
	}
	if err == nil && s.front != nil {
		err = s.openFront(cfg)
	}
	if err != nil {
		s.Stop()
	}
	return err
}

// ready waits until every listener takes connections and JetStream is up. The
// server itself goes on trying after a fatal error; this does not.
func (s *Server) ready(most time.Duration, said *serverLogger) error {
	if most <= 0 {
		most = defaultReady
	}
	for end := time.Now().Add(most); time.Now().Before(end); {
		if s.srv.ReadyForConnections(readyStep) && s.srv.JetStreamEnabled() {
			return nil
		}
		if err := said.fatal(); err != nil {
			return err
		}
	}
	return fmt.Errorf("not ready after %v", most)
}

const (
	defaultReady = 2 * time.Minute
	readyStep    = 200 * time.Millisecond
)

func (cfg ServerConfig) options() (*server.Options, error) {
	if cfg.Dir == "" {
		return nil, errors.New("server config: Dir is empty")
	}
	o := &server.Options{
		ServerName: cfg.Name,
		StoreDir:   cfg.Dir,
		JetStream:  true,
		// An acknowledgement must mean that the event is on the disk. JetStream
		// otherwise acknowledges what is in the page cache and syncs every two
		// minutes: a power failure then takes acknowledged events with it, and the
		// devices that could still heal the record believe that it is whole. It
		// costs: one by one about 1,300 events/s instead of 13,000. Outboxes get it
		// back by sending in atomic batches, which are synced as one.
		SyncAlways: true,
		// The program that embeds the server handles signals; the server must not
		// stop under it, out of its order.
		NoSigs:                 true,
		NoLog:                  true,
		DisableJetStreamBanner: true,
		MaxPayload:             maxPayload,
	}
	if o.ServerName == "" {
		o.ServerName = "earlyage"
	}
	cfg.limit(o)
	if cfg.Handed && cfg.Websocket == "" {
		cfg.Websocket = "127.0.0.1:0"
	}
	if cfg.Front != nil { // the world reaches the front, and the front these
		for _, addr := range []*string{&cfg.Client, &cfg.Websocket, &cfg.MQTT} {
			if *addr != "" {
				*addr = "127.0.0.1:0"
			}
		}
	}
	var errs [4]error
	o.Host, o.Port, errs[0] = listenAddress("Client", cfg.Client)
	o.DontListen = cfg.Client == ""
	o.Websocket.Host, o.Websocket.Port, errs[1] = listenAddress("Websocket", cfg.Websocket)
	o.Websocket.NoTLS, o.Websocket.AllowedOrigins, o.Websocket.SameOrigin = true, cfg.Origins, len(cfg.Origins) == 0
	o.MQTT.Host, o.MQTT.Port, errs[2] = listenAddress("MQTT", cfg.MQTT)
	o.HTTPHost, o.HTTPPort, errs[3] = listenAddress("Monitor", cfg.Monitor)
	return o, errors.Join(errs[:]...)
}

// limit sets what a connection may cost.
func (cfg ServerConfig) limit(o *server.Options) {
	if cfg.Guard == nil && cfg.Front == nil {
		return
	}
	// The hub's own connections find room when the world has taken all of its own,
	// and those that the front has just ended are still there.
	o.MaxConn = cfg.maxConnections() + hubConnections
	if cfg.Front != nil {
		o.MaxConn += cfg.maxConnections() / 4
	}
	o.MaxSubs = maxSubscriptions
	handshake := defaultHandshake
	if cfg.Front != nil && cfg.Front.Handshake > 0 {
		handshake = cfg.Front.Handshake
	}
	o.AuthTimeout, o.Websocket.HandshakeTimeout = handshake.Seconds(), handshake
	if cfg.Front != nil && cfg.Front.Certificate != nil {
		// The front has taken the encryption off. Clients must read in the server's
		// greeting that it is there, or they think that they were not encrypted.
		o.TLSConfig, o.AllowNonTLS = &tls.Config{GetCertificate: cfg.Front.Certificate, MinVersion: tls.VersionTLS12}, true
		o.TLSTimeout = handshake.Seconds()
	}
}

func (cfg ServerConfig) maxConnections() int {
	if cfg.MaxConnections > 0 {
		return cfg.MaxConnections
	}
	return 4096
}

const (
	// maxPayload has room for the greatest event and its headers: the signature, the
	// message id, and what the batch and the client add. What is greater ends its
	// connection.
	maxPayload = events.MaxBody + 16<<10

	hubConnections   = 64
	maxSubscriptions = 256 // of one connection
	maxPerDevice     = 4
)

// listenAddress gives the port as the server wants it: -1 for any, 0 for off.
func listenAddress(field, addr string) (host string, port int, err error) {
	if addr == "" {
		return "", 0, nil
	}
	host, digits, err := net.SplitHostPort(addr)
	if err != nil {
		return "", 0, fmt.Errorf("server config: %s %q: %w", field, addr, err)
	}
	port, err = strconv.Atoi(digits)
	if err != nil || port < -1 || port > 65535 {
		return "", 0, fmt.Errorf("server config: %s %q: the port must be 0 to 65535, or -1 for any", field, addr)
	}
	if host == "" {
		host = "127.0.0.1"
	}
	if port == 0 {
		port = -1
	}
	return host, port, nil
}

// openTurns has devices take turns into the stream.
func (s *Server) openTurns() (err error) {
	if s.turns, err = s.Connect(); err != nil {
		return err
	}
	f := s.front
	f.turns = newTurns(f.cfg.InFlight, func() { throughStream(f.ctx, s.turns) }, f.work.Go)
	return nil
}

// throughStream returns when the stream has dealt with what lay before it when it
// was called. The stream answers in the order of its queue, also a message that it
// refuses: this one, which expects another stream, and is therefore never stored.
// Without an answer nobody waits longer than that.
func throughStream(ctx context.Context, nc *nats.Conn) {
	ctx, cancel := context.WithTimeout(ctx, publishTry)
	defer cancel()
	m := nats.NewMsg("pour._._.turn")
	m.Header.Set(jetstream.ExpectedStreamHeader, "none")
	_, _ = nc.RequestMsgWithContext(ctx, m)
}

// openFront opens the listeners that the world reaches, each before one of the
// server's own.
func (s *Server) openFront(cfg ServerConfig) error {
	scheme := [3]string{"nats://", "ws://", ""}
	if cfg.Front.Certificate != nil {
		scheme = [3]string{"tls://", "wss://", ""}
	}
	inner := func(host string, port int) string { return net.JoinHostPort(host, strconv.Itoa(port)) }
	for p, l := range []struct{ address, to string }{
		speaksNATS:      {cfg.Client, inner(s.opts.Host, s.opts.Port)},
		speaksWebsocket: {cfg.Websocket, inner(s.opts.Websocket.Host, s.opts.Websocket.Port)},
		speaksMQTT:      {cfg.MQTT, inner(s.opts.MQTT.Host, s.opts.MQTT.Port)},
	} {
		if l.address == "" {
			continue
		}
		at, err := s.front.listen(protocol(p), l.address, l.to)
		if err != nil {
			return err
		}
		s.urls[p] = scheme[p] + at.String()
	}
	return nil
}

// Connect returns a connection with the hub's rights, over loopback if the
// server listens there (for bulk reading that is faster than in process: 325 to
// 388 thousand messages a second against 190 to 276), else in process. It
// connects again for ever. The caller closes it.
func (s *Server) Connect() (*nats.Conn, error) {
	// The server is in this process: a machine that is busy is waited for.
	opts := append(DialOptions("hub", s.log), nats.Nkey(s.public, s.hub.Sign), nats.Timeout(defaultHandshake))
	url := ""
	if ip := net.ParseIP(s.opts.Host); !s.opts.DontListen && ip != nil && (ip.IsLoopback() || ip.IsUnspecified()) {
		if ip.IsUnspecified() {
			ip = net.IPv4(127, 0, 0, 1)
		}
		url = "nats://" + net.JoinHostPort(ip.String(), strconv.Itoa(s.opts.Port))
	} else {
		opts = append(opts, nats.InProcessServer(s.srv))
	}
	nc, err := nats.Connect(url, opts...)
	if err != nil {
		return nil, fmt.Errorf("connect to the embedded server: %w", err)
	}
	return nc, nil
}

// ClientURL is where NATS clients connect; empty when that listener is off.
func (s *Server) ClientURL() string {
	if s.front != nil {
		return s.urls[speaksNATS]
	}
	if s.opts.DontListen {
		return ""
	}
	return s.srv.ClientURL()
}

// WebsocketURL is where websocket clients connect; empty when it is off.
func (s *Server) WebsocketURL() string {
	if s.front != nil {
		return s.urls[speaksWebsocket]
	}
	if s.opts.Websocket.Port == 0 {
		return ""
	}
	return s.srv.WebsocketURL()
}

// MQTTAddr is host:port of the MQTT listener; empty when it is off.
func (s *Server) MQTTAddr() string {
	if s.front != nil {
		return s.urls[speaksMQTT]
	}
	if s.opts.MQTT.Port == 0 {
		return ""
	}
	return net.JoinHostPort(s.opts.MQTT.Host, strconv.Itoa(s.opts.MQTT.Port))
}

// MonitorURL is the address of the monitoring endpoint; empty when it is off.
func (s *Server) MonitorURL() string {
	addr := s.srv.MonitorAddr()
	if addr == nil {
		return ""
	}
	return "http://" + addr.String()
}

// Stop stops the server and returns when it has stopped. What it acknowledged
// is on the disk. Stopping it again does nothing.
func (s *Server) Stop() {
	if s.front != nil {
		// Closing a listener that is closed already is all that can go wrong.
		_ = s.front.close()
	}
	if s.turns != nil {
		s.turns.Close()
	}
	s.srv.Shutdown()
	s.srv.WaitForShutdown()
}

// Disconnect ends every connection of the devices that match, at once, and
// returns how many there were.
//
// It is for a device that the guard does not admit any more, and for one that may
// say something else now: what a connection may do is settled when it comes.
// Every connection that the guard was asked about before is ended; every later
// one is judged by what the guard knows when this is called.
func (s *Server) Disconnect(match func(events.Source) bool) int {
	if s.gate == nil {
		return 0
	}
	return s.gate.disconnect(match)
}
