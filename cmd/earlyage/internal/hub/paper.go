package hub

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"net/http"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/paper"
	"earlyage/cmd/earlyage/internal/register"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// paperRoutes print. Whoever sees a wall may take its paper.
func (w *web) paperRoutes() []door.Route {
	return []door.Route{
		{Method: http.MethodGet, Pattern: api.PathWalls + "/{site}/{wall}/" + api.WallPaper, Who: w.look(), Handler: http.HandlerFunc(w.paper)},
	}
}

var paperOperations = []operation{
	{
		method: "GET", path: api.PathWalls + "/{site}/{wall}/" + api.WallPaper, summary: "The paper of a wall, with a checkpoint made for it.",
		query:  []parameter{{"size", "Of the paper; not given: a4.", "^(a4|letter)$"}, {"as-of", "A moment: what was known then. RFC 3339, or the site's own time.", ""}, {"lang", "The language.", "^[a-z]{2}$"}},
		answer: "", media: pdfMedia,
	},
}

const pdfMedia = "application/pdf"

// paper answers with the paper of a wall.
func (w *web) paper(rw http.ResponseWriter, r *http.Request) {
	ref := scheduler.Ref{Site: r.PathValue("site"), Wall: r.PathValue("wall")}
	size, err := sizeOf(r)
	var at time.Time
	if err == nil {
		at, err = w.asOf(r, ref.Site)
	}
	var raw []byte
	if err == nil {
		raw, err = w.hub.paperOf(r.Context(), ref, at, words.Pick(r), size)
	}
	if err != nil {
		w.fail(rw, err)
		return
	}
	w.sendPDF(rw, ref.Site+"-"+ref.Wall, raw)
}

func (w *web) sendPDF(rw http.ResponseWriter, name string, raw []byte) {
	rw.Header().Set("Content-Type", pdfMedia)
	rw.Header().Set("Content-Disposition", fmt.Sprintf("inline; filename=%q", name+".pdf"))
	w.send(rw, raw)
}

// sizeOf reads which paper is asked for.
func sizeOf(r *http.Request) (paper.Size, error) {
	switch s := paper.Size(r.FormValue("size")); s {
	case "", paper.A4, paper.Letter:
		return cmp.Or(s, paper.A4), nil
	default:
		return "", &events.Refusal{Field: "size", Value: string(s)[:min(len(s), 20)], Allowed: "a4 or letter"}
	}
}

// asOf reads which moment is asked for; zero is now.
func (w *web) asOf(r *http.Request, site string) (time.Time, error) {
	zone, err := picturesOf{w.hub}.Zone(r.Context(), site)
	if err != nil {
		return time.Time{}, err
	}
	text := r.FormValue("as-of")
	at, err := wallpage.MomentOf(text, zone, w.hub.clock.Now())
	if err != nil {
		return at, &events.Refusal{Field: "as-of", Value: text[:min(len(text), 40)], Allowed: "a moment, such as 2026-11-05T14:30"}
	}
	return at, nil
}

// paperOf prints a wall as it stands, or as it was known at a moment. The checkpoint
// is made after the wall was read: it covers all that the paper shows.
func (h *Hub) paperOf(ctx context.Context, ref scheduler.Ref, at time.Time, c *words.Catalogue, size paper.Size) ([]byte, error) {
	in := paper.Input{Words: c, Name: h.personName}
	err := picturesOf{h}.Wall(ctx, ref, at, func(x wallpage.Input) error {
		in.Page = wallpage.Make(x)
		one := register.Input{Site: in.Page.Site, State: x.Site, Devices: x.Devices, Hub: x.Hub, Name: h.personName, Walls: only(x.Wall)}
		q := register.Query{At: x.At, Wall: ref.Wall}
		in.Register = register.Join(register.Register{Through: x.Through, Level: x.Level, Doubts: x.Doubts, Demo: x.Demo, Site: ref.Site}, q, []register.Site{register.Make(q, one)})
		return nil
	})
	if err != nil {
		return nil, err
	}
	if in.Register.Checkpoint, err = h.registerCheckpoint(); err != nil {
		return nil, err
	}
	var out bytes.Buffer
	if err := paper.Wall(&out, in, size); err != nil {
		return nil, fmt.Errorf("paper of %s/%s: %w", ref.Site, ref.Wall, err)
	}
	return out.Bytes(), nil
}

// only is the one wall that the paper is of.
func only(w *wall.State) iter.Seq[*wall.State] { return slices.Values([]*wall.State{w}) }

// registerPDF prints a register in a language.
func (h *Hub) registerPDF(w io.Writer, r *register.Register, c *words.Catalogue, size string) error {
	if err := paper.Register(w, *r, c, paper.Size(size)); err != nil {
		if errors.Is(err, paper.ErrSize) {
			return &events.Refusal{Field: "size", Value: size[:min(len(size), 20)], Allowed: "a4 or letter"}
		}
		return fmt.Errorf("print the register: %w", err)
	}
	return nil
}
