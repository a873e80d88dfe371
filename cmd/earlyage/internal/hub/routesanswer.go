package hub

import (
	"errors"
	"maps"
	"net/http"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/notify/routes"
	"earlyage/projector/people"
	"earlyage/scheduler"
)

func sorted(set map[string]bool) []string { return slices.Sorted(maps.Keys(set)) }

// showRoutes says who would be told of each kind of alert, or of one, on a site.
func (w *web) showRoutes(rw http.ResponseWriter, r *http.Request) {
	out, err := w.toldOn(r)
	w.answer(rw, out, err)
}

func (w *web) toldOn(r *http.Request) (out api.Routes, err error) {
	site, d := r.FormValue("site"), readers{w.hub}
	if site != people.Company && !slices.Contains(d.sites(), site) || !w.sight(r).sees(site) {
		return out, errUnseen
	}
	out = api.Routes{Site: site, At: w.hub.clock.Now().UTC(), Told: []routes.Told{}}
	if text := r.FormValue("at"); text != "" {
		if out.At, err = time.Parse(time.RFC3339, text); err != nil {
			return out, &events.Refusal{Field: "at", Value: text, Allowed: "a moment such as 2026-03-07T22:30:00-05:00"}
		}
	}
	kinds := events.AlertKinds()
	if kind := r.FormValue("kind"); kind != "" {
		if !slices.Contains(kinds, kind) {
			return out, &events.Refusal{Field: "kind", Value: kind, Allowed: "a kind of alert"}
		}
		kinds = []string{kind}
	}
	rota := w.hub.rotaNow()
	out.File = rota.File().Name
	for _, kind := range kinds {
		n := notice.Notice{State: notice.Raised, Kind: kind, Site: site, Priority: scheduler.AlertKinds[kind].Priority}
		out.Told = append(out.Told, routes.Explain(rota, n, out.At))
	}
	return out, nil
}

// checkRoutes reads a route file as this hub would, and puts nothing in force.
func (w *web) checkRoutes(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, http.StatusOK, func(_ door.Caller, in api.RoutesCheck) (any, error) {
		d := readers{w.hub}
		_, err := routes.Parse(in.Name, []byte(in.Text), d, d.sites())
		out := api.RoutesChecked{Mistakes: []api.RoutesMistake{}}
		for _, e := range routes.Errors(err) {
			out.Mistakes = append(out.Mistakes, api.RoutesMistake{Line: e.Line, Field: e.Field, Reason: e.Reason})
		}
		if err != nil && len(out.Mistakes) == 0 {
			return nil, errors.Join(errors.New("check routes"), err)
		}
		return out, nil
	})
}
