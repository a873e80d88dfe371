package hub

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"strings"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/register"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/projector"
	"earlyage/projector/wall"
)

// registrars may look at the bracing register.
var registrars = []events.Role{events.Dispatcher, events.Engineer, events.Officer, events.Keeper}

// registerRoutes show the bracing register.
func (w *web) registerRoutes() []door.Route {
	return []door.Route{{Method: http.MethodGet, Pattern: api.PathRegister, Who: door.Roles(registrars...), Handler: http.HandlerFunc(w.register)}}
}

const aDate = `^\d{4}-\d{2}-\d{2}$`

var registerOperations = []operation{
	{
		method: "GET", path: api.PathRegister, answer: api.Register{}, tagged: true,
		summary: "The bracing register of a site, or of all in sight. With format it comes as CSV, XLSX or PDF.",
		query: []parameter{
			ofSite, {"wall", "Only of this wall; with site.", ""},
			{"from", "The first local date; default: since the record began.", aDate}, {"to", "The last local date; default: today.", aDate},
			{"format", "Default json.", "^(json|csv|xlsx|pdf)$"}, {"size", "Of the paper; default a4.", "^(a4|letter)$"}, {"lang", "The language of the PDF.", "^[a-z]{2}$"},
		},
	},
}

// registerMedia are the formats that are files.
var registerMedia = map[string]string{
	api.RegisterCSV:  "text/csv; charset=utf-8; header=present", // RFC 4180
	api.RegisterXLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
	api.RegisterPDF:  "application/pdf",
}

func (w *web) register(rw http.ResponseWriter, r *http.Request) {
	ask := api.AskRegister{
		Site: r.FormValue("site"), Wall: r.FormValue("wall"), From: r.FormValue("from"), To: r.FormValue("to"), Format: r.FormValue("format"), Size: r.FormValue("size"),
	}
	out, err := w.hub.registerOf(w.sight(r), ask)
	if ask.Format == "" || ask.Format == api.RegisterJSON {
		w.tagged(rw, r, &out, &out.At, err)
		return
	}
	var raw bytes.Buffer
	if err == nil {
		err = w.hub.writeRegister(&raw, &out, ask, words.Pick(r))
	}
	if err != nil {
		w.fail(rw, err)
		return
	}
	rw.Header().Set("Content-Type", registerMedia[ask.Format])
	rw.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", registerName(ask)))
	w.send(rw, raw.Bytes())
}

// registerName is the file's name: of what is asked for, which is only ever
// tokens and dates.
func registerName(ask api.AskRegister) string {
	parts := []string{"bracing-register"}
	for _, p := range []string{ask.Site, ask.Wall, ask.From, ask.To} {
		if p != "" {
			parts = append(parts, p)
		}
	}
	return strings.Join(parts, "-") + "." + ask.Format
}

func (h *Hub) writeRegister(w io.Writer, r *register.Register, ask api.AskRegister, c *words.Catalogue) error {
	switch ask.Format {
	case api.RegisterCSV:
		return r.CSV(w)
	case api.RegisterXLSX:
		return r.XLSX(w)
	default:
		return h.registerPDF(w, r, c, ask.Size)
	}
}

// registerOf makes the register with a checkpoint made for it. Each site is looked
// at by itself, and of its walls one after the other: the record waits for no more
// than one site.
func (h *Hub) registerOf(seen sight, ask api.AskRegister) (out register.Register, err error) {
	q := register.Query{At: h.clock.Now(), Wall: ask.Wall, From: ask.From, To: ask.To}
	if err := checkRegister(ask, q); err != nil {
		return out, err
	}
	if out.Checkpoint, err = h.registerCheckpoint(); err != nil {
		return out, err
	}
	sites, err := h.registerSites(seen, ask)
	if err != nil {
		return out, err
	}
	cards, err := h.projector.Cabinet().Cards()
	if err != nil {
		return out, err
	}
	out.Site, out.Demo, out.Level = ask.Site, h.demo, true
	var list []register.Site
	for _, name := range sites {
		err := h.look(seen, func(p pictured) error {
			out.Through, out.Level, out.Doubts = p.Through(), out.Level && p.Level(), p.hub.Doubts
			q.At = p.now
			list = append(list, register.Make(q, p.registerInput(name, func(person string) string { return cards[person].Name })))
			return nil
		})
		if err != nil {
			return out, err
		}
	}
	if out.Doubts == nil {
		out.Doubts = []string{}
	}
	return register.Join(out, q, list), nil
}

func checkRegister(ask api.AskRegister, q register.Query) error {
	switch ask.Format {
	case "", api.RegisterJSON, api.RegisterCSV, api.RegisterXLSX, api.RegisterPDF:
	default:
		return &events.Refusal{Field: "format", Value: ask.Format[:min(len(ask.Format), 40)], Allowed: "json, csv, xlsx or pdf"}
	}
	if ask.Wall != "" && ask.Site == "" {
		return &events.Refusal{Field: "wall", Value: ask.Wall[:min(len(ask.Wall), 40)], Allowed: "only with its site"}
	}
	return q.Check()
}

func (h *Hub) registerCheckpoint() (*register.Checkpoint, error) {
	c, err := h.projector.Checkpoint()
	if err != nil {
		return nil, err
	}
	return &register.Checkpoint{
		Key: h.projector.VerifierKey(), At: face.Time{Time: c.At}, Size: c.Size, Through: c.Through, Root: c.Root.String(), Note: string(c.Note),
	}, nil
}

// registerSites lists the sites that are asked for. A wall that is not in sight is
// none.
func (h *Hub) registerSites(seen sight, ask api.AskRegister) (sites []string, err error) {
	err = h.look(seen, func(p pictured) error {
		site, err := p.asked(ask.Site)
		if err != nil {
			return err
		}
		if ask.Wall != "" && p.Wall(projector.Ref{Site: site, Wall: ask.Wall}) == nil {
			return errUnseen
		}
		if sites = p.Sites(); site != "" {
			sites = []string{site}
		}
		return nil
	})
	return sites, err
}

// registerInput is one site for the register. A wall that cannot be read ends the
// list; the look then says so.
func (p pictured) registerInput(name string, person func(string) string) register.Input {
	s := p.Site(name)
	in := register.Input{Site: face.Site{Site: name}, State: s, Devices: p.Devices(name), Hub: p.hub, Name: person, Walls: func(yield func(*wall.State) bool) {
		for _, ref := range p.Walls(name) {
			if w := p.Wall(ref); w != nil && !yield(w) {
				return
			}
		}
	}}
	for _, known := range p.head(false).Sites {
		if known.Site == name {
			in.Site = known
		}
	}
	return in
}
