package stream

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"earlyage/events"
)

// FrontConfig says what the listeners that the world reaches let through.
// Zero values mean the defaults.
type FrontConfig struct {
	// Certificate gives the certificate of a new connection. Nil: not encrypted.
	// With it NATS is encrypted from its first byte (tls:// and
	// nats.TLSHandshakeFirst), websockets are wss:// and MQTT is ssl://.
	Certificate func(*tls.ClientHelloInfo) (*tls.Certificate, error)

	Rate         int           // bytes a second from one connection; default 256 KiB
	Burst        int           // bytes at once; default 2 MiB
	Messages     int           // messages a second from one device, over all its connections; default 250; needs a Guard
	MessageBurst int           // messages at once; default 2,000: two full batches of an outbox
	Handshake    time.Duration // until a connection has said who it is, TLS included; default 10 s
	PerAddress   int           // connections from one IPv4 address or IPv6 /64 at a time; default 256
	Most         int           // connections at a time; default the server's MaxConnections; who is not admitted yet has three quarters at most

	// What a device may send in a day, over all its connections; needs a Guard. One
	// that has used it up is not heard in silence: its connection ends, its outbox
	// keeps what it has. The measure is of this run of the server, and fills again
	// evenly.
	DayBytes      int // default 64 MiB
	DayMessages   int // default 100,000
	ProbeDayBytes int // of a device that cannot sign; default 2 MiB

	// InFlight is how many messages of devices lie before the stream at a time, those
	// of devices that have none there besides; default 32; needs a Guard.
	InFlight int
}

func (cfg FrontConfig) withDefaults(most int) FrontConfig {
	for value, normal := range map[*int]int{
		&cfg.Rate: 256 << 10, &cfg.Burst: 2 << 20, &cfg.Messages: 250, &cfg.MessageBurst: 2000, &cfg.PerAddress: 256, &cfg.Most: most,
		&cfg.DayBytes: 64 << 20, &cfg.DayMessages: 100_000, &cfg.ProbeDayBytes: 2 << 20, &cfg.InFlight: 32,
	} {
		if *value <= 0 {
			*value = normal
		}
	}
	cfg.Burst = max(cfg.Burst, frontChunk)
	if cfg.Handshake <= 0 {
		cfg.Handshake = defaultHandshake
	}
	return cfg
}

const (
	defaultHandshake = 10 * time.Second

	// frontChunk is how much of a connection is measured and passed on at once: of
	// the shortest messages there are, about 120.
	frontChunk = 4 << 10

	// beforeKnown is how many messages a connection may send at once before it has
	// said who it is, its greeting among them.
	beforeKnown = 10

	switching = "HTTP/1.1 101" // how the answer to a request for a websocket begins

	frontWrite = 20 * time.Second // a client that does not read is ended after this
)

// front holds the listeners that the world reaches. It encrypts, counts and
// slows down, and copies what is left to the server's own loopback listeners.
type front struct {
	cfg     FrontConfig
	log     *slog.Logger
	guarded bool // somebody calls admitted

	refusals rate.Sometimes // what a stranger can make the log say
	places   *places
	turns    *turns // nil: whoever comes passes

	ctx  context.Context
	stop context.CancelFunc
	work sync.WaitGroup

	mu        sync.Mutex
	listeners []net.Listener
	visitors  map[string]*visitor // by the address of their side of the loopback connection
	meters    map[events.Source]*meter
}

// visitor is one connection through the front.
type visitor struct {
	conn   net.Conn // from the world; TLS where it is encrypted
	remote string
	bytes  *rate.Limiter
	ctx    context.Context
	end    context.CancelFunc
	late   *time.Timer // ends a visitor that has not said who it is
	place  *place

	protocol protocol
	count    counter

	mu     sync.Mutex
	meter  *meter        // of its device; nil: not known yet
	before *rate.Limiter // until it is known
}

// protocol is what is spoken at a listener.
type protocol int

const (
	speaksNATS protocol = iota
	speaksWebsocket
	speaksMQTT
)

func (p protocol) String() string { return [...]string{"Client", "Websocket", "MQTT"}[p] }

func (p protocol) counter() counter {
	switch p {
	case speaksWebsocket:
		return new(websocketCounter)
	case speaksMQTT:
		return new(mqttCounter)
	}
	return new(natsCounter)
}

func newFront(cfg FrontConfig, log *slog.Logger) *front {
	f := &front{cfg: cfg, log: log, places: newPlaces(cfg.Most, cfg.PerAddress), visitors: map[string]*visitor{}, meters: map[events.Source]*meter{}, refusals: seldom()}
	f.ctx, f.stop = context.WithCancel(context.Background())
	return f
}

// listen opens one listener whose connections go to another.
func (f *front) listen(p protocol, address, to string) (net.Addr, error) {
	host, port, err := listenAddress(p.String(), address)
	if err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", net.JoinHostPort(host, fmt.Sprint(max(0, port))))
	if err != nil {
		return nil, fmt.Errorf("front of %s: %w", p, err)
	}
	f.mu.Lock()
	f.listeners = append(f.listeners, l)
	f.mu.Unlock()
	f.work.Go(func() { f.accept(l, p, to) })
	return l.Addr(), nil
}

func (f *front) accept(l net.Listener, p protocol, to string) {
	for pause := time.Duration(0); ; {
		conn, err := l.Accept()
		switch {
		case err == nil:
			pause = 0
			f.work.Go(func() { f.serve(conn, p, to) })
			continue
		case f.ctx.Err() != nil || errors.Is(err, net.ErrClosed):
			return
		}
		// Out of files, most likely; others are closed meanwhile.
		pause = min(max(2*pause, 5*time.Millisecond), time.Second)
		f.log.Error("front cannot take a connection", "cause", err.Error())
		select {
		case <-f.ctx.Done():
			return
		case <-time.After(pause):
		}
	}
}

// close ends every listener and every connection.
func (f *front) close() error {
	f.stop()
	f.mu.Lock()
	var errs []error
	for _, l := range f.listeners {
		errs = append(errs, l.Close())
	}
	f.listeners = nil
	f.mu.Unlock()
	f.work.Wait()
	return errors.Join(errs...)
}

// serve sees one connection to its end.
func (f *front) serve(conn net.Conn, p protocol, to string) {
	remote := conn.RemoteAddr().String()
	v := &visitor{
		conn: conn, remote: remote, protocol: p, count: p.counter(),
		bytes: rate.NewLimiter(rate.Limit(f.cfg.Rate), f.cfg.Burst), before: rate.NewLimiter(rate.Limit(f.cfg.Messages), beforeKnown),
	}
	v.ctx, v.end = context.WithCancel(f.ctx)
	defer v.end()
	place, ended, err := f.places.take(networkOf(remote), v.end)
	if err != nil || ended > 0 {
		f.refusals.Do(func() {
			f.log.Warn("front has too many connections", "remote", remote, "refused", err != nil, "ended", ended)
		})
	}
	if err != nil {
		_ = conn.Close() // there is nobody to tell
		return
	}
	v.place = place
	defer f.places.leave(place)
	closed := context.AfterFunc(v.ctx, func() { _ = conn.Close() })
	defer closed()
	defer func() { _ = conn.Close() }()
	v.late = time.AfterFunc(f.cfg.Handshake, v.end)
	defer v.late.Stop()
	if err := f.pass(v, to); err != nil && f.ctx.Err() == nil {
		f.log.Debug("front ends a connection", "remote", remote, "cause", err.Error())
	}
}

// pass shakes hands and copies both ways until one side ends.
func (f *front) pass(v *visitor, to string) error {
	if _, opened := v.conn.(handed); f.cfg.Certificate != nil && !opened {
		secure := tls.Server(v.conn, &tls.Config{GetCertificate: f.cfg.Certificate, MinVersion: tls.VersionTLS12})
		if err := secure.HandshakeContext(v.ctx); err != nil {
			return fmt.Errorf("handshake: %w", err)
		}
		v.conn = secure
	}
	var d net.Dialer
	inner, err := d.DialContext(v.ctx, "tcp", to)
	if err != nil {
		return fmt.Errorf("reach the server: %w", err)
	}
	defer func() { _ = inner.Close() }()
	stop := context.AfterFunc(v.ctx, func() { _ = inner.Close() })
	defer stop()
	f.come(inner.LocalAddr().String(), v)
	defer f.leave(inner.LocalAddr().String(), v)
	if !f.guarded { // the server's own time limit for a CONNECT is what is left
		v.late.Stop()
		f.places.admitted(v.place)
	}
	done := make(chan error, 1)
	go func() {
		done <- v.copyOut(inner)
		v.end()
	}()
	err = f.copyIn(v, inner)
	v.end()
	return errors.Join(err, <-done)
}

// copyIn passes on what a client sends, no faster than it may.
func (f *front) copyIn(v *visitor, inner net.Conn) error {
	buf := make([]byte, frontChunk)
	for {
		n, err := v.conn.Read(buf)
		if n > 0 {
			if err := v.bytes.WaitN(v.ctx, n); err != nil {
				return err
			}
			if err := f.passOn(v, inner, buf[:n]); err != nil {
				return err
			}
		}
		if err != nil {
			return err
		}
	}
}

// passOn hands a piece of what a client sends to the server, when its turn comes.
func (f *front) passOn(v *visitor, inner net.Conn, piece []byte) error {
	messages := v.count.count(piece)
	v.mu.Lock()
	m := v.meter
	v.mu.Unlock()
	if err := f.measure(v, m, len(piece), messages); err != nil {
		return err
	}
	if m != nil && messages > 0 && f.turns != nil {
		passed, err := f.turns.take(v.ctx, m, messages)
		if err != nil {
			return err
		}
		defer passed()
	}
	_, err := inner.Write(piece)
	return err
}

// measure waits until the device may publish so many messages, and ends it when
// it has had its day's measure. Without a guard there are no devices, and bytes
// alone are measured.
func (f *front) measure(v *visitor, m *meter, bytes, messages int) error {
	if !f.guarded {
		return nil
	}
	limit := v.before
	if m != nil {
		limit = m.limit
		ok, began := m.take(time.Now(), bytes, messages)
		if began {
			f.log.Warn("device has sent all that it may in a day, its connections end", "device", m.source.String(), "remote", v.remote)
		}
		if !ok {
			return fmt.Errorf("%s has sent all that it may in a day", m.source)
		}
	}
	for messages > 0 {
		n := min(messages, limit.Burst())
		if err := limit.WaitN(v.ctx, n); err != nil {
			return err
		}
		messages -= n
	}
	return nil
}

// copyOut passes on what the server sends; a client that does not read is ended,
// and so is one whose request for a websocket was refused: what it sends is
// counted as frames from here on.
func (v *visitor) copyOut(inner net.Conn) error {
	buf := make([]byte, 16<<10)
	for first := true; ; first = false {
		n, err := inner.Read(buf)
		if n > 0 {
			if err := v.conn.SetWriteDeadline(time.Now().Add(frontWrite)); err != nil {
				return err
			}
			if _, err := v.conn.Write(buf[:n]); err != nil {
				return err
			}
			if first && v.protocol == speaksWebsocket && !bytes.HasPrefix(buf[:n], []byte(switching)) {
				return errors.New("no websocket")
			}
		}
		if err != nil {
			return err
		}
	}
}

func (f *front) come(inner string, v *visitor) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.visitors[inner] = v
}

func (f *front) leave(inner string, v *visitor) {
	f.mu.Lock()
	defer f.mu.Unlock()
	delete(f.visitors, inner)
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.meter != nil {
		v.meter.users--
	}
}

// remoteOf returns where the connection comes from whose loopback side has an
// address.
func (f *front) remoteOf(inner string) string {
	f.mu.Lock()
	defer f.mu.Unlock()
	if v, ok := f.visitors[inner]; ok {
		return v.remote
	}
	return inner
}

// admitted says who a connection is.
func (f *front) admitted(inner string, src events.Source, probe bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	v, ok := f.visitors[inner]
	if !ok {
		return
	}
	m := f.meters[src]
	if m == nil {
		bytes := f.cfg.DayBytes
		if probe {
			bytes = f.cfg.ProbeDayBytes
		}
		m = &meter{source: src, limit: rate.NewLimiter(rate.Limit(f.cfg.Messages), f.cfg.MessageBurst), day: newAllowance(bytes, f.cfg.DayMessages)}
		f.forgetMeters()
		f.meters[src] = m
	}
	m.users++
	v.late.Stop()
	f.places.admitted(v.place)
	v.mu.Lock()
	defer v.mu.Unlock()
	v.meter = m
}

// forgetMeters drops those that are full and that nobody uses. Called under mu.
func (f *front) forgetMeters() {
	now := time.Now()
	for src, m := range f.meters {
		if m.users == 0 && m.full(now) {
			delete(f.meters, src)
		}
	}
}
