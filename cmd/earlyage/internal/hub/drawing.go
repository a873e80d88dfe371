package hub

import (
	"net/http"
	"strconv"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/picture"
	"earlyage/events"
	"earlyage/projector"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// drawings are the pictures of a wall, by the name of their file.
var drawings = map[string]func(*site.State, *wall.State, scheduler.Assessment, picture.Options) picture.SVG{
	api.Unrolled: func(s *site.State, w *wall.State, a scheduler.Assessment, o picture.Options) picture.SVG {
		return picture.Unrolled(picture.FromRecord(s, w, a), o)
	},
	api.Timeline: func(s *site.State, w *wall.State, a scheduler.Assessment, o picture.Options) picture.SVG {
		return picture.Timeline(picture.PourFromRecord(s, w, a), o)
	},
	api.Bracing: func(s *site.State, w *wall.State, a scheduler.Assessment, o picture.Options) picture.SVG {
		return picture.Bracing(picture.RegisterFromRecord(s, w, a), o)
	},
}

// drawing answers with one picture of a wall, as SVG.
func (w *web) drawing(rw http.ResponseWriter, r *http.Request) {
	draw := drawings[r.PathValue("file")]
	width := 0
	if text := r.FormValue("width"); text != "" {
		var err error
		if width, err = strconv.Atoi(text); err != nil || width < 280 || width > 4000 {
			w.fail(rw, &events.Refusal{Field: "width", Value: text, Allowed: "280..4000 px"})
			return
		}
	}
	ref := projector.Ref{Site: r.PathValue("site"), Wall: r.PathValue("wall")}
	var svg picture.SVG
	err := w.hub.look(w.sight(r), func(p pictured) error {
		s := p.Wall(ref)
		if draw == nil || s == nil {
			return errUnseen
		}
		place := p.Site(ref.Site)
		units := r.FormValue("units")
		if units == "" {
			units = place.Units()
		}
		svg = draw(place, s, p.assess(ref), picture.Options{WidthPX: width, Zone: place.Zone(), US: units == "us"})
		return nil
	})
	if err != nil {
		w.fail(rw, err)
		return
	}
	rw.Header().Set("Content-Type", "image/svg+xml")
	rw.Header().Set("Cache-Control", "no-store")
	within(rw)
	if _, err := rw.Write(svg); err != nil {
		w.hub.log.Debug("answer not read to its end", "error", err)
	}
}
