package hub

import (
	"net/http"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/projector"
	"earlyage/scheduler"
)

func (w *web) walls(rw http.ResponseWriter, r *http.Request) {
	var out api.Walls
	err := w.hub.look(w.sight(r), func(p pictured) error {
		site, err := p.asked(r.FormValue("site"))
		if err == nil {
			out = api.Walls{Head: p.head(w.hub.demo), Walls: p.walls(site)}
		}
		return err
	})
	w.answer(rw, out, err)
}

func (w *web) wall(rw http.ResponseWriter, r *http.Request) {
	ref := projector.Ref{Site: r.PathValue("site"), Wall: r.PathValue("wall")}
	var out api.Wall
	err := w.hub.look(w.sight(r), func(p pictured) error {
		s := p.Wall(ref)
		if s == nil {
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
	var out api.Alerts
	err := w.hub.look(w.sight(r), func(p pictured) error {
		site, err := p.asked(r.FormValue("site"))
		if err == nil {
			out = api.Alerts{Head: p.head(w.hub.demo), Alerts: p.alarms(site, r.FormValue("all") == "1"), Refused: p.refused(0, refusedShown)}
		}
		return err
	})
	w.answer(rw, out, err)
}

func (w *web) refused(rw http.ResponseWriter, r *http.Request) {
	var out api.Alerts
	err := w.hub.look(w.sight(r), func(p pictured) error {
		out = api.Alerts{Head: p.head(w.hub.demo), Alerts: []face.Alarm{}, Refused: p.refused(0, refusedShown)}
		return nil
	})
	w.answer(rw, out, err)
}

// fine is what a stranger is told of the hub's health.
type fine struct {
	OK bool `json:"ok"`
}

// health tells everybody whether the hub is well, and whoever it knows why not.
func (w *web) health(rw http.ResponseWriter, r *http.Request) {
	var h api.Health
	if err := w.hub.look(everything, func(p pictured) error { h = p.health(w.hub.demo); return nil }); err != nil {
		w.fail(rw, err)
		return
	}
	status := http.StatusOK
	if !h.OK {
		status = http.StatusServiceUnavailable
	}
	if !w.hub.unsigned && !door.CallerOf(r.Context()).Known() {
		w.write(rw, status, fine{h.OK})
		return
	}
	w.write(rw, status, h)
}
