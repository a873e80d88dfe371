package hub

import (
	"context"
	"errors"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/projector"
)

// web answers what is asked over HTTP. Answers are made when they are asked for,
// so none is older than the request.
type web struct {
	hub     *Hub
	door    *door.Door
	board   *board.Pages
	table   []door.Route
	streams streams
	once    sync.Once
	closed  chan struct{} // ends what streams
}

// openListener opens the listener of answers and pages, so that the hub knows
// where it is reached.
func (h *Hub) openListener(context.Context) (err error) {
	h.address = h.cfg.Address
	if h.cfg.HTTP != "" {
		if h.listener, err = h.listenHTTP(); err != nil {
			return err
		}
		h.http = h.listener.Addr()
		h.steps.started("listener", func(context.Context) error { return ignoreClosed(h.listener.Close()) })
	}
	switch {
	case h.address != "":
	case h.http != nil:
		h.address = h.HTTPURL()
	default:
		h.address = "http://localhost"
	}
	return nil
}

func ignoreClosed(err error) error {
	if errors.Is(err, net.ErrClosed) {
		return nil
	}
	return err
}

// startWeb makes the table of routes and the door before it.
func (h *Hub) startWeb(context.Context) error {
	d, err := door.New(door.Config{
		Roster: h.roster, Cabinet: h.cabinet(), Register: h.projector.Register, Origin: h.address,
		SiteName: h.siteName, Now: h.clock.Now, Log: h.log, TLS: strings.HasPrefix(h.address, "https://"), Limits: h.cfg.Limits.Requests,
		Demo: h.demo,
	})
	if err != nil {
		return err
	}
	w := &web{hub: h, door: d, closed: make(chan struct{})}
	pages, err := w.pages()
	if err != nil {
		return err
	}
	w.table = slices.Concat(w.doorRoutes(), pages, w.routes())
	h.web = w
	h.steps.started("web", func(context.Context) error { return nil })
	return nil
}

// siteName is the name that people know a site by; its token where it has none.
func (h *Hub) siteName(site string) string {
	name := ""
	err := h.projector.Read(func(v projector.View) error {
		if s := v.Site(site); s != nil {
			name = s.Name()
		}
		return nil
	})
	if err != nil || name == "" {
		return site
	}
	return name
}

// startHTTP answers whoever reaches the listener.
func (h *Hub) startHTTP(context.Context) error {
	if h.listener == nil {
		return nil
	}
	server := door.NewServer(h.web.door.Mux(h.web.table...), h.log)
	server.ConnState = h.crowd.state
	h.serve("http", h.listener, server)
	h.log.Info("answering", "http", h.HTTPURL(), "address", h.address)
	return nil
}

// startSocket answers on the hub's own socket, where whoever may open it may do
// everything.
func (h *Hub) startSocket(context.Context) error {
	l, err := listenSocket(h.cfg.Socket)
	if err != nil {
		return err
	}
	server := door.NewServer(h.web.door.Mux(h.web.table...), h.log)
	server.ConnContext = func(ctx context.Context, _ net.Conn) context.Context { return door.Local(ctx) }
	h.serve("socket", l, server)
	return nil
}

// startMetrics shows the metrics where only a watcher looks.
func (h *Hub) startMetrics(context.Context) error {
	if h.cfg.Metrics == "" {
		return nil
	}
	l, err := net.Listen("tcp", hosted(h.cfg.Metrics))
	if err != nil {
		return err
	}
	h.metricsAt = l.Addr()
	mux := http.NewServeMux()
	mux.Handle("GET "+api.PathMetrics, promhttp.HandlerFor(h.metrics(), promhttp.HandlerOpts{}))
	h.serve("metrics", l, door.NewServer(mux, h.log))
	return nil
}

// serve runs a server until it is stopped.
func (h *Hub) serve(name string, l net.Listener, server *http.Server) {
	served := work(name, func(context.Context) error {
		if err := server.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			return err
		}
		return nil
	}, h.ended)
	h.steps.started(name, func(ctx context.Context) error {
		h.web.close()
		return errors.Join(server.Shutdown(ctx), served.stop(ctx))
	})
}

// onClose calls f, once, when what streams is to end; forget takes that back.
func (w *web) onClose(f func()) (forget func()) {
	ctx, cancel := context.WithCancel(context.Background())
	go func() {
		select {
		case <-w.closed:
			f()
		case <-ctx.Done():
		}
	}()
	return cancel
}

// close ends what streams, so that servers can stop. It may be called again.
func (w *web) close() { w.once.Do(func() { close(w.closed) }) }

// answer writes what was found, or why nothing was.
func (w *web) answer(rw http.ResponseWriter, body any, err error) {
	if err != nil {
		w.fail(rw, err)
		return
	}
	w.write(rw, http.StatusOK, body)
}

// fail answers with why nothing was found or done.
func (w *web) fail(rw http.ResponseWriter, err error) {
	p := problemOf(err)
	if p.Status == http.StatusInternalServerError {
		w.hub.log.Error("answer", "error", err)
	}
	if err := api.WriteProblem(rw, p); err != nil {
		w.hub.log.Debug("answer not read to its end", "error", err)
	}
}

// answerTimeout is how long a client may take to read an answer; what streams
// has a time of its own.
const answerTimeout = time.Minute

// within cuts who does not read.
func within(rw http.ResponseWriter) {
	_ = http.NewResponseController(rw).SetWriteDeadline(time.Now().Add(answerTimeout)) // a connection that is gone is found out by the write
}

func (w *web) write(rw http.ResponseWriter, status int, body any) {
	rw.Header().Set("Content-Type", "application/json")
	rw.Header().Set("Cache-Control", "no-store")
	within(rw)
	rw.WriteHeader(status)
	if err := json.MarshalWrite(rw, body, json.Deterministic(true), jsontext.WithIndent("  ")); err != nil {
		w.hub.log.Debug("answer not read to its end", "error", err)
	}
}
