package wallpage

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"net/url"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/scheduler"
)

// Paths of the pages.
const (
	PathWall       = "/walls/{site}/{wall}"
	PathExceptions = "/exceptions"
)

// Path is the address of a wall's page.
func Path(site, wall string) string {
	return "/walls/" + url.PathEscape(site) + "/" + url.PathEscape(wall)
}

// Config is what the pages need.
type Config struct {
	Reader Reader
	// Asset and Mark are those of the door.
	Asset func(name string) string
	Mark  func(name string) template.HTML
	// Name gives a person's name; default the id.
	Name func(person string) string
	Now  func() time.Time // default time.Now
	Log  *slog.Logger     // default discards
}

// Pages serves the wall page and the officer's list. It is safe for concurrent
// use.
type Pages struct {
	config Config
	style  style
	pages  map[string]*template.Template // by language
}

// New makes the pages.
func New(c Config) (*Pages, error) {
	if c.Reader == nil || c.Asset == nil || c.Mark == nil {
		return nil, errors.New("wall page: reader, asset and mark are needed")
	}
	if c.Name == nil {
		c.Name = func(person string) string { return person }
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	p := &Pages{config: c, style: readStyle(), pages: map[string]*template.Template{}}
	for _, lang := range words.Languages() {
		w := words.Of(lang)
		t, err := template.New("").Funcs(template.FuncMap{
			"asset": p.asset, "mark": p.mark, "t": w.T, "lang": w.Lang, "caution": func() string { return scheduler.Caution },
			"has": func(m map[int]bool, i int) bool { return m[i] }, "stamp": func() string { return lang },
		}).ParseFS(pageFiles, "page/*.html")
		if err != nil {
			return nil, fmt.Errorf("wall page: pages: %w", err)
		}
		p.pages[lang] = t
	}
	return p, nil
}

// Routes are the pages' own. Whoever has a role on a site may see its walls; the
// list of exceptions is for those who judge them.
func (p *Pages) Routes() []door.Route {
	may := door.Roles(events.Crew, events.Foreman, events.Dispatcher, events.Engineer, events.Officer, events.Keeper)
	judges := door.Roles(events.Dispatcher, events.Engineer, events.Officer, events.Keeper)
	return []door.Route{
		{Method: http.MethodGet, Pattern: PathWall, Who: may, Handler: http.HandlerFunc(p.wall)},
		{Method: http.MethodGet, Pattern: PathExceptions, Who: judges, Handler: http.HandlerFunc(p.exceptions)},
		{Method: http.MethodGet, Pattern: pathFiles + "{file}", Who: door.Public, Handler: http.HandlerFunc(p.file)},
	}
}

var errMoment = errors.New("not a moment, such as 2026-11-05T14:30")

// asOf reads the moment that is asked for: RFC 3339, or local to the site. Zero:
// now, which is meant by any moment that is still to come as well.
func asOf(text string, zone *time.Location, now time.Time) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	at, err := ParseMoment(text, zone)
	if err != nil || !at.Before(now) {
		return time.Time{}, err
	}
	return at.UTC(), nil
}

// ParseMoment reads a moment: RFC 3339, or local to a zone.
func ParseMoment(text string, zone *time.Location) (time.Time, error) {
	at, err := time.Parse(time.RFC3339, text)
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05", "2006-01-02 15:04"} {
		if err != nil {
			at, err = time.ParseInLocation(layout, text, zone)
		}
	}
	if err != nil {
		return time.Time{}, fmt.Errorf("%q: %w", text, errMoment)
	}
	return at, nil
}

func (p *Pages) wall(w http.ResponseWriter, r *http.Request) {
	ref, q := scheduler.Ref{Site: r.PathValue("site"), Wall: r.PathValue("wall")}, r.URL.Query()
	sight, err := p.config.Reader.Sight(r.Context())
	if err == nil && !sight.Sees(ref.Site) {
		err = ErrNoWall
	}
	var at time.Time
	if err == nil {
		var zone *time.Location
		if zone, err = p.config.Reader.Zone(r.Context(), ref.Site); err == nil {
			at, err = asOf(q.Get("as-of"), zone, p.config.Now())
		}
	}
	var page Page
	if err == nil {
		err = p.config.Reader.Wall(r.Context(), ref, at, func(in Input) error { page = Make(in); return nil })
	}
	if err != nil {
		p.refuse(w, r, err)
		return
	}
	t := tongueOf(words.Pick(r), page.Site, page.At.Time, p.config.Name)
	p.write(w, r, "wall.html", viewOf(t, page, filter{Query: q.Get("q"), Kind: q.Get("kind")}))
}

func (p *Pages) exceptions(w http.ResponseWriter, r *http.Request) {
	var list List
	sight, err := p.config.Reader.Sight(r.Context())
	if err == nil {
		err = p.config.Reader.Look(r.Context(), func(in board.Input) error { list = Exceptions(in); return nil })
	}
	if err != nil {
		p.refuse(w, r, err)
		return
	}
	p.write(w, r, "exceptions.html", listView(words.Pick(r), list.Narrow(sight.Sees), p.config.Name))
}

func (p *Pages) write(w http.ResponseWriter, r *http.Request, name string, data any) {
	var b bytes.Buffer
	if err := p.pages[words.Pick(r).Lang()].ExecuteTemplate(&b, name, data); err != nil {
		p.refuse(w, r, fmt.Errorf("page %s: %w", name, err))
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write(b.Bytes()) // who went away reads no answer
}

// refuse answers with a page that says what is wrong.
func (p *Pages) refuse(w http.ResponseWriter, r *http.Request, err error) {
	c := words.Pick(r)
	var known *api.Problem
	say, status := c.T("wall.wrong.record"), http.StatusServiceUnavailable
	switch {
	case errors.Is(err, ErrNoWall):
		say, status = c.T("wall.wrong.no-wall"), http.StatusNotFound
	case errors.Is(err, errMoment):
		say, status = c.T("wall.wrong.moment"), http.StatusBadRequest
	case errors.As(err, &known):
		_ = api.WriteProblem(w, *known) // who went away reads no answer
		return
	default:
		p.config.Log.Error("wall page", "path", r.URL.Path, "error", err)
	}
	var b bytes.Buffer
	if err := p.pages[c.Lang()].ExecuteTemplate(&b, "wrong.html", struct{ Title, Say string }{c.T("wall.wrong.title"), say}); err != nil {
		_ = api.WriteProblem(w, api.NewProblem(status, api.CodeUnavailable, say))
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // who went away reads no answer
}
