package hub

import (
	"cmp"
	"fmt"
	"net/http"
	"strconv"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/projector"
	"earlyage/scheduler"
)

func (w *web) walls(rw http.ResponseWriter, r *http.Request) {
	page, err := pagingOf(r)
	var out api.Walls
	if err == nil {
		err = w.hub.look(w.sight(r), func(p pictured) error {
			site, err := p.asked(r.FormValue("site"))
			if err != nil {
				return err
			}
			refs, next := part(p.Walls(site), page, func(ref projector.Ref) string { return ref.Site + "\t" + ref.Wall })
			linkNext(rw, r, next)
			out = api.Walls{Head: p.head(w.hub.demo), Walls: p.assessed(refs)}
			return nil
		})
	}
	w.tagged(rw, r, &out, &out.At, err)
}

func (w *web) wall(rw http.ResponseWriter, r *http.Request) {
	if text := r.FormValue("as-of"); text != "" {
		w.wallThen(rw, r, text)
		return
	}
	ref := projector.Ref{Site: r.PathValue("site"), Wall: r.PathValue("wall")}
	var out api.Wall
	err := w.hub.look(w.sight(r), func(p pictured) error {
		s := p.Wall(ref)
		if s == nil {
			return errUnseen
		}
		out.Head, out.Alarms = p.head(w.hub.demo), openOn(p.Site(ref.Site), s, p.now)
		if r.FormValue("sheet") != "1" {
			out.Wall = face.ByPlace(p.assess(ref))
			return nil
		}
		sheet := scheduler.SheetOf(p.Site(ref.Site), p.Devices(ref.Site), s, p.hub, p.now)
		out.Wall, out.Sheet = face.ByPlace(sheet.Assessment), &sheet
		return nil
	})
	w.tagged(rw, r, &out, &out.At, err)
}

func (w *web) alerts(rw http.ResponseWriter, r *http.Request) {
	page, err := pagingOf(r)
	var out api.Alerts
	if err == nil {
		err = w.hub.look(w.sight(r), func(p pictured) error {
			site, err := p.asked(r.FormValue("site"))
			if err != nil {
				return err
			}
			list, next := part(p.listed(site, r.FormValue("all") == "1"), page, alarmKey)
			linkNext(rw, r, next)
			out = api.Alerts{Head: p.head(w.hub.demo), Alerts: list, Refused: []face.RefusedRow{}}
			if page.after == "" {
				out.Refused = p.refused(0, refusedShown)
			}
			return nil
		})
	}
	w.tagged(rw, r, &out, &out.At, err)
}

// alarmKey is in the order of alarms. A tabulator comes before all that
// stands in a name.
func alarmKey(a face.Alarm) string {
	return fmt.Sprintf("%d\t%02d\t%015d\t%s\t%s\t%s", over(a), rank(a.Priority)+1, a.Since.UnixMilli(), a.Place(), a.Kind, a.ID)
}

func (w *web) refused(rw http.ResponseWriter, r *http.Request) {
	page, err := pagingOf(r)
	var before uint64
	if err == nil {
		before, err = page.number()
	}
	limit := cmp.Or(page.limit, refusedShown)
	var out api.Alerts
	if err == nil {
		err = w.hub.look(w.sight(r), func(p pictured) error {
			out = api.Alerts{Head: p.head(w.hub.demo), Alerts: []face.Alarm{}, Refused: p.refused(before, limit)}
			return nil
		})
	}
	if err == nil && len(out.Refused) == limit {
		linkNext(rw, r, strconv.FormatUint(out.Refused[limit-1].Seq, 10))
	}
	w.tagged(rw, r, &out, &out.At, err)
}

// Braces answers api.PathBraces: those that stand, by site, the free ones first.
type Braces struct {
	api.Head
	Sets []board.Set `json:"sets"`
}

func (w *web) braces(rw http.ResponseWriter, r *http.Request) {
	var out Braces
	err := w.hub.look(w.sight(r), func(p pictured) error {
		site, err := p.asked(r.FormValue("site"))
		if err == nil {
			out = Braces{p.head(w.hub.demo), board.Make(p.board(site, w.hub.demo)).Sets}
		}
		return err
	})
	w.tagged(rw, r, &out, &out.At, err)
}

// Week answers api.PathWeek: the walls in order of what is due next, each with its
// window, and the nights of frost that are forecast.
type Week struct {
	api.Head
	Places []board.Place `json:"places"`
	Walls  []board.Row   `json:"walls"`
}

func (w *web) week(rw http.ResponseWriter, r *http.Request) {
	var out Week
	err := w.hub.look(w.sight(r), func(p pictured) error {
		site, err := p.asked(r.FormValue("site"))
		if err == nil {
			b := board.Make(p.board(site, w.hub.demo))
			out = Week{p.head(w.hub.demo), b.Sites, b.Walls}
		}
		return err
	})
	w.tagged(rw, r, &out, &out.At, err)
}

// fine is what a stranger is told of the hub's health.
type fine struct {
	OK bool `json:"ok"`
}

// health tells everybody whether the hub is well, and whoever it knows why not.
func (w *web) health(rw http.ResponseWriter, r *http.Request) {
	var h api.Health
	if err := w.hub.look(everything, func(p pictured) error { h = w.hub.healthIn(p); return nil }); err != nil {
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
