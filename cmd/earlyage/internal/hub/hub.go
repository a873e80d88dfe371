// Package hub wires the one process that keeps the record: server or
// connection, stream, projector, scheduler, notifications and HTTP.
//
// Parts are started in the order of the data and stopped in the reverse, each
// step named in the log, under one timeout. What a hub was doing when it was
// stopped or killed it goes on with at the next start: nothing but the folder
// is kept. One hub at a time may have a folder.
package hub

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events/stream"
	"earlyage/notify"
	"earlyage/notify/routes"
	"earlyage/projector"
	"earlyage/scheduler"
)

// Hub is a running hub.
type Hub struct {
	cfg       Config
	log       *slog.Logger
	clock     scheduler.Clock
	demo      bool
	unsigned  bool       // events need no signature, and anybody sees the record
	resumed   *demoClock // of a demo that goes on; nil: none
	steps     steps
	ended     chan error // parts that end by themselves
	server    *stream.Server
	nc        *nats.Conn
	stream    awaited
	waits     atomic.Pointer[string] // why the server has not passed yet; nil: it has
	projector *projector.Projector
	loop      *scheduler.Loop

	certificate certificate // of every listener; nil: plain
	gate        gate        // before the embedded server
	roster      *roster.Roster
	told        *notify.Engine
	routes      *routes.Watcher
	rota        func() *routes.Rota // who is told now; nil: by default
	outlets     *outlets
	checkpoints checkpoints
	registers   registers       // of the weekly sheets
	troubled    map[string]bool // sites where somebody cannot be told; owned by the engine's goroutine
	placed      toldPlaces      // the names of the walls that such people ought to know of
	pokes       atomic.Int64    // how often the scheduler was made to look by telling
	entering    locks           // by id of an entry that may be sent again
	web         *web
	crowd       *crowd       // bounds the connections of listener
	listener    net.Listener // of answers and pages; nil: off
	http        net.Addr     // its address
	address     string       // where people and devices reach the hub
	metricsAt   net.Addr     // nil: off
}

// Run starts a hub and keeps it until ctx ends or a part of it ends by itself.
func Run(ctx context.Context, cfg Config) error {
	h, err := Start(ctx, cfg)
	if err != nil {
		return err
	}
	select {
	case <-ctx.Done():
		h.log.Info("asked to stop")
	case err = <-h.ended:
		h.log.Error("a part ended", "error", err)
	}
	return errors.Join(err, h.Stop())
}

// Start starts every part. After an error those that had started are stopped.
func Start(ctx context.Context, cfg Config) (*Hub, error) {
	cfg, err := cfg.prepared()
	if err != nil {
		return nil, err
	}
	h := &Hub{cfg: cfg, log: cfg.Log, clock: cfg.Clock, demo: cfg.Demo, unsigned: cfg.Unsigned, ended: make(chan error, 8), steps: steps{log: cfg.Log}}
	for _, part := range []struct {
		name  string
		start func(context.Context) error
	}{
		{"folder", h.openFolder}, {"certificate", h.openCertificate}, {"listener", h.openListener}, {"server", h.startServer}, {"stream", h.openStream},
		{"store", h.openStore}, {"projector", h.startProjector}, {"receipts", h.startReceipts}, {"identities", h.startIdentities},
		{"told", h.openTold}, {"scheduler", h.openScheduler}, {"notify", h.startTold}, {"loop", h.startScheduler},
		{"web", h.startWeb}, {"http", h.startHTTP}, {"socket", h.startSocket}, {"metrics", h.startMetrics}, {"beat", h.startBeat}, {"retention", h.startRetention},
	} {
		if err := part.start(ctx); err != nil {
			return nil, errors.Join(fmt.Errorf("start %s: %w", part.name, hinted(err)), h.Stop())
		}
	}
	return h, nil
}

// Stop stops every part.
func (h *Hub) Stop() error { return h.steps.stop(h.cfg.StopWithin) }

// openFolder makes the folder. One that a demo was kept in is served on the
// demo's own clock, from where it was left.
func (h *Hub) openFolder(context.Context) error {
	if err := os.MkdirAll(h.cfg.Dir, 0o700); err != nil {
		return err
	}
	if err := os.Chmod(h.cfg.Dir, 0o700); err != nil {
		return err
	}
	unlock, err := lockFolder(h.cfg.Dir)
	if err != nil {
		return err
	}
	h.steps.started("folder", func(context.Context) error { return unlock() })
	mark, demo, err := ReadMark(h.cfg.Dir)
	if err != nil || !demo || h.cfg.Demo {
		return err
	}
	clock := newDemoClock(mark.At)
	h.demo, h.unsigned, h.cfg.Unsigned, h.clock, h.resumed = true, !mark.Signed, !mark.Signed, clock, clock
	if err := h.cfg.checkListeners(); err != nil {
		return err
	}
	h.cfg.Synchronised = func() bool { return true }
	h.log.Warn("this folder holds a demo: the hub runs on the demo's clock", "at", mark.At)
	h.steps.started("demo clock", func(context.Context) error { return WriteMark(h.cfg.Dir, Mark{At: clock.Now(), Signed: mark.Signed}) })
	return nil
}

func (h *Hub) openCertificate(context.Context) (err error) {
	h.certificate, err = h.cfg.TLS.certificates(h.log)
	return err
}

// startServer starts the embedded server, or connects to an existing one and
// makes sure that it syncs before it acknowledges. An existing one may be away:
// see awaited.
func (h *Hub) startServer(ctx context.Context) (err error) {
	if h.cfg.NATS != "" {
		return h.dial(ctx)
	}
	if h.server, err = stream.StartServer(h.serverConfig(), h.log); err != nil {
		return err
	}
	h.steps.started("server", func(context.Context) error { h.server.Stop(); return nil })
	h.log.Info("listening", "nats", h.server.ClientURL(), "websocket", h.server.WebsocketURL(), "mqtt", h.server.MQTTAddr())
	if h.nc, err = h.server.Connect(); err != nil {
		return err
	}
	h.steps.started("connection", h.disconnect)
	return nil
}

// dial connects to an existing server. Who may connect to it, and say what, is
// for its own configuration to say; who is believed is for the projector.
func (h *Hub) dial(ctx context.Context) (err error) {
	var opts []nats.Option
	if h.cfg.NATSSeed != "" {
		key, err := nats.NkeyOptionFromSeed(h.cfg.NATSSeed)
		if err != nil {
			return fmt.Errorf("seed of the hub's key %s: %w", h.cfg.NATSSeed, err)
		}
		opts = append(opts, key)
	}
	h.nc, err = stream.Dial(h.cfg.NATS, "earlyage-hub", h.log, opts...)
	if isAway(err) {
		err = h.dialLater(err, opts)
	}
	if err != nil {
		return err
	}
	h.steps.started("connection", h.disconnect)
	if h.waits.Load() != nil {
		return nil
	}
	return stream.CheckSyncOf(ctx, h.nc, h.cfg.Monitor)
}

func (h *Hub) serverConfig() stream.ServerConfig {
	c, l := h.cfg, h.cfg.Limits
	s := stream.ServerConfig{
		Dir: filepath.Join(c.Dir, "stream"), Client: c.Client, Websocket: c.Websocket, MQTT: c.MQTT,
		MaxPerDevice: l.PerDevice, MaxConnections: l.Most, Handed: c.HTTP != "",
	}
	if c.Address != "" {
		s.Origins = []string{c.Address}
	}
	if !h.unsigned {
		s.Guard = &h.gate
	}
	if !h.unsigned || h.certificate != nil {
		s.Front = &stream.FrontConfig{Certificate: h.certificate, Rate: l.Rate, Burst: l.Burst, PerAddress: l.PerAddress, Most: l.Most}
	}
	return s
}

func (h *Hub) disconnect(context.Context) error {
	h.nc.Close()
	return nil
}

func (h *Hub) openStream(ctx context.Context) (err error) {
	h.stream.there = make(chan struct{})
	if h.stream.Stream, err = stream.Later(h.nc, stream.Config{Log: h.log}); err != nil {
		return err
	}
	if h.waits.Load() != nil {
		h.run("waiting", h.await)
		return nil
	}
	if err := h.stream.Make(ctx); err != nil {
		return err
	}
	close(h.stream.there)
	return nil
}

func (h *Hub) openStore(context.Context) (err error) {
	var source projector.Source = h.stream
	if h.demo {
		source = demoSource{source, h.stream.Message}
	}
	if h.cfg.Tap != nil {
		source = tapped{source, h.cfg.Tap}
	}
	h.projector, err = projector.Open(projector.Config{
		Dir: h.cfg.Dir, Log: h.log, Now: h.clock.Now, Stream: source, Demo: h.demo, Unsigned: h.unsigned,
		Receipts: func(list []stream.Receipt) error { return stream.PublishReceipts(context.Background(), h.nc, list) },
	})
	if err != nil {
		return err
	}
	h.steps.started("store", func(context.Context) error { return h.projector.Close() })
	return h.projector.Read(func(v projector.View) error {
		state := v.Hub()
		if state.Unsigned && !h.unsigned {
			return errors.New("this folder was made to take events from anybody: that has to be asked for by name again (--unsigned)")
		}
		if h.resumed != nil {
			h.resumed.notBefore(state.Recorded)
		}
		return nil
	})
}

func (h *Hub) startProjector(context.Context) error {
	h.run("projector", h.projector.Run)
	return nil
}

// run starts a part that works until it is stopped.
func (h *Hub) run(name string, run func(context.Context) error) {
	h.steps.started(name, work(name, run, h.ended).stop)
}

func (h *Hub) startReceipts(context.Context) error {
	if h.waits.Load() != nil {
		h.run("receipts", h.answerLater)
		return nil
	}
	stop, err := stream.AnswerReceipts(h.nc, h.projector.Receipt)
	if err != nil {
		return err
	}
	h.steps.started("receipts", func(context.Context) error { stop(); return nil })
	return nil
}

func (h *Hub) openScheduler(context.Context) (err error) {
	h.loop, err = scheduler.NewLoop(scheduler.Config{
		Record: record{h.projector}, Stream: h.stream, Clock: h.clock, Log: h.log, Synchronised: h.cfg.Synchronised,
		Voice:  scheduler.NewSpeaker(h.projector.HubKey(), stream.Sign, h.publish),
		Beside: h.untold, Unsaid: h.told.Direct, Handed: h.handed,
	})
	return err
}

func (h *Hub) startScheduler(context.Context) error {
	h.run("scheduler", h.loop.Run)
	return nil
}

// publish sends what the hub says. The scheduler's words bear ids that are
// hashes of themselves, so a retry under another message id does no harm.
func (h *Hub) publish(ctx context.Context, subject string, body []byte, signature string) (uint64, error) {
	return h.post(ctx, stream.Post{Subject: subject, Body: body, Signature: signature})
}

// post publishes a message; in a demo at the moment that its clock shows.
func (h *Hub) post(ctx context.Context, post stream.Post) (uint64, error) {
	if h.demo {
		post.DemoRecorded = h.clock.Now().Format(time.RFC3339Nano)
	}
	if !h.stream.passed() {
		return 0, errAwaited
	}
	seq, _, err := stream.Publish(ctx, h.nc, post)
	return seq, err
}

// fits refuses to publish on a stream that does not fit the record.
func (h *Hub) fits() error {
	return h.projector.Read(func(v projector.View) error {
		if v.Hub().Short {
			return errShort
		}
		return nil
	})
}

// through is the sequence of the stream through which the record is folded.
func (h *Hub) through() (seq uint64) {
	_ = h.projector.Read(func(v projector.View) error { seq = v.Through(); return nil }) // closed: 0
	return seq
}

// Settle returns when all that was published before is folded, all that is to be
// said of it at the present clock is said and folded, and everybody has been told
// who is to be told by now.
func (h *Hub) Settle(ctx context.Context) error {
	for {
		pokes := h.pokes.Load()
		_, before, err := h.stream.Head(ctx)
		if err != nil {
			return fmt.Errorf("settle: %w", err)
		}
		if err := h.loop.Settle(ctx); err != nil {
			return err
		}
		if err := h.told.Settle(ctx); err != nil {
			return err
		}
		_, after, err := h.stream.Head(ctx)
		if err != nil {
			return fmt.Errorf("settle: %w", err)
		}
		if before == after && pokes == h.pokes.Load() {
			return nil
		}
	}
}

// ClientURL is where NATS clients connect.
func (h *Hub) ClientURL() string {
	if h.server == nil {
		return h.cfg.NATS
	}
	return h.server.ClientURL()
}

// MQTTAddr is host:port of the embedded server's MQTT listener.
func (h *Hub) MQTTAddr() string { return h.server.MQTTAddr() }

// WebsocketURL is where NATS clients connect to the embedded server over websocket.
func (h *Hub) WebsocketURL() string { return h.server.WebsocketURL() }

// HTTPURL is where the hub answers, by the address that it listens on.
func (h *Hub) HTTPURL() string {
	if h.certificate != nil {
		return "https://" + h.http.String()
	}
	return "http://" + h.http.String()
}

// MetricsURL is where the hub shows its metrics.
func (h *Hub) MetricsURL() string { return "http://" + h.metricsAt.String() + api.PathMetrics }

// Socket is the path of the hub's own socket.
func (h *Hub) Socket() string { return h.cfg.Socket }

// NextDue is when time alone next gives something to say or to tell; zero: never.
func (h *Hub) NextDue() time.Time {
	say, tell := h.loop.Stats().NextDue, h.told.NextDue()
	if say.IsZero() || !tell.IsZero() && tell.Before(say) {
		return tell
	}
	return say
}
