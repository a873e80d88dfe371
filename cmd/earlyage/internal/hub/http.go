package hub

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/projector"
	"earlyage/scheduler"
)

// web serves the hub's answers. They are made when they are asked for, so none
// is older than the request.
type web struct {
	hub    *Hub
	server *http.Server
	closed chan struct{} // ends what streams
}

const (
	headerTimeout = 10 * time.Second
	idleTimeout   = 2 * time.Minute
)

func (h *Hub) newWeb() *web {
	w := &web{hub: h, closed: make(chan struct{})}
	mux := http.NewServeMux()
	mux.HandleFunc("GET "+api.PathHealth, w.health)
	mux.Handle("GET "+api.PathMetrics, promhttp.HandlerFor(h.metrics(), promhttp.HandlerOpts{}))
	mux.HandleFunc("GET "+api.PathWalls, w.walls)
	mux.HandleFunc("GET "+api.PathWalls+"/{site}/{wall}", w.wall)
	mux.HandleFunc("GET "+api.PathWalls+"/{site}/{wall}/{file}", w.drawing)
	mux.HandleFunc("GET "+api.PathAlerts, w.alerts)
	mux.HandleFunc("GET "+api.PathRefused, w.refused)
	mux.HandleFunc("GET "+api.PathWatch, w.watch)
	w.server = &http.Server{
		Handler: mux, ReadHeaderTimeout: headerTimeout, IdleTimeout: idleTimeout,
		ErrorLog: slog.NewLogLogger(h.log.Handler(), slog.LevelWarn),
	}
	return w
}

func (w *web) serve(l net.Listener) func(context.Context) error {
	return func(context.Context) error {
		if err := w.server.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			return err
		}
		return nil
	}
}

// stop lets requests end, and ends those that never do.
func (w *web) stop(ctx context.Context) error {
	close(w.closed)
	return w.server.Shutdown(ctx)
}

func (w *web) walls(rw http.ResponseWriter, r *http.Request) {
	out, err := w.hub.Walls(r.FormValue("site"))
	w.answer(rw, out, err)
}

func (w *web) wall(rw http.ResponseWriter, r *http.Request) {
	ref := projector.Ref{Site: r.PathValue("site"), Wall: r.PathValue("wall")}
	var out api.Wall
	err := w.hub.look(func(p pictured) error {
		s := p.Wall(ref)
		if s == nil || !s.Known() {
			return errUnseen
		}
		out.Head = p.head(w.hub.demo)
		if r.FormValue("sheet") != "1" {
			out.Wall = face.ByPlace(p.assess(ref))
			return nil
		}
		sheet := scheduler.SheetOf(p.Site(ref.Site), p.Devices(ref.Site), s, p.hub, p.now)
		out.Wall, out.Sheet = face.ByPlace(sheet.Assessment), &sheet
		return nil
	})
	w.answer(rw, out, err)
}

func (w *web) alerts(rw http.ResponseWriter, r *http.Request) {
	out, err := w.hub.Alerts(r.FormValue("site"), r.FormValue("all") == "1")
	w.answer(rw, out, err)
}

func (w *web) refused(rw http.ResponseWriter, _ *http.Request) {
	var out api.Alerts
	err := w.hub.look(func(p pictured) error {
		out = api.Alerts{Head: p.head(w.hub.demo), Alerts: []face.Alarm{}, Refused: p.refused()}
		return nil
	})
	w.answer(rw, out, err)
}

func (w *web) health(rw http.ResponseWriter, _ *http.Request) {
	var h api.Health
	if err := w.hub.look(func(p pictured) error { h = p.health(w.hub.demo); return nil }); err != nil {
		w.fail(rw, err)
		return
	}
	status := http.StatusOK
	if !h.OK {
		status = http.StatusServiceUnavailable
	}
	w.write(rw, status, h)
}

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

func (w *web) write(rw http.ResponseWriter, status int, body any) {
	rw.Header().Set("Content-Type", "application/json")
	rw.Header().Set("Cache-Control", "no-store")
	rw.WriteHeader(status)
	if err := json.MarshalWrite(rw, body, json.Deterministic(true), jsontext.WithIndent("  ")); err != nil {
		w.hub.log.Debug("answer not read to its end", "error", err)
	}
}
