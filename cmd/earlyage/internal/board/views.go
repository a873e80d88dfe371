package board

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"html"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/scheduler"
)

// readPages reads the templates, once for each language.
func (p *Pages) readPages() error {
	p.pages, p.cells = map[string]*template.Template{}, map[string]cellWriter{}
	for _, lang := range words.Languages() {
		c := words.Of(lang)
		p.cells[lang] = p.cellWriter(c)
		funcs := template.FuncMap{
			"asset": p.asset, "mark": p.mark, "t": c.T, "lang": c.Lang, "cell": p.cells[lang],
			"caution": func() string { return scheduler.Caution },
		}
		t, err := template.New("").Funcs(funcs).ParseFS(pageFiles, "page/*.html")
		if err != nil {
			return fmt.Errorf("board: pages: %w", err)
		}
		p.pages[lang] = t
	}
	return nil
}

func (p *Pages) asset(name string) string {
	if a, ok := p.files.address[name]; ok {
		return a
	}
	return p.config.Asset(name)
}

// own are the marks that the door has not.
var ownMarks = map[string]template.HTML{
	markPlanned: `<svg class="mark" aria-hidden="true" viewBox="0 0 24 24"><path d="M4 5.5h16L12 20z" fill="none" stroke="currentColor" stroke-width="2.5"/></svg>`,
	markOff:     `<svg class="mark" aria-hidden="true" viewBox="0 0 24 24"><path d="M3 7h18v3H3zM3 14h18v3H3z" fill="currentColor"/></svg>`,
}

func (p *Pages) mark(name string) template.HTML {
	if m, ok := ownMarks[name]; ok {
		return m
	}
	return p.config.Mark(name)
}

// marks are the states that a cell can have.
func marks() []string {
	return []string{markPlacing, markCuring, markWatch, markHold, markDone, markNoLink, markPlanned, markOff}
}

type cellWriter func(name string, x Cell, at time.Time) template.HTML

// cellWriter writes the cells of a page as its script does.
func (p *Pages) cellWriter(c *words.Catalogue) cellWriter {
	byState := map[string]string{}
	for _, m := range marks() {
		byState[m] = string(p.mark(m))
	}
	return func(name string, x Cell, at time.Time) template.HTML {
		var b bytes.Buffer
		tag := "span"
		if x.Link != "" || name == slotNames[slotName] || name == slotNames[slotAlerts] || name == glanceNames[glanceWall] {
			tag = "a"
		}
		class := "c"
		if x.State != "" {
			class += " state state-" + x.State
		}
		fmt.Fprintf(&b, `<%s class="%s" data-c="%s"`, tag, class, name)
		if x.Link != "" {
			fmt.Fprintf(&b, ` href="%s"`, html.EscapeString(x.Link))
		}
		text := x.Text
		if x.Way != "" {
			fmt.Fprintf(&b, ` data-u="%d" data-r="%s"`, x.At, x.Way)
			text = count(c, x, at)
		}
		if x.State != "" {
			fmt.Fprintf(&b, ` data-s="%s"`, x.State)
		}
		fmt.Fprintf(&b, `>%s%s</%s>`, byState[x.State], html.EscapeString(text), tag)
		return template.HTML(b.String()) // #nosec G203 -- what comes from the record is escaped above
	}
}

// count writes the minutes from or to a cell's moment, as the page's script does.
func count(c *words.Catalogue, x Cell, at time.Time) string {
	left := time.UnixMilli(x.At).Sub(at)
	switch {
	case x.Way == wayAge:
		return span(c, max(0, ceil(-left)))
	case left < 0:
		return c.T("board.over", "span", span(c, ceil(-left)))
	case x.Way == wayUp:
		return span(c, ceil(left))
	}
	return span(c, int64(left/time.Minute))
}

func ceil(d time.Duration) int64 { return int64((d + time.Minute - 1) / time.Minute) }

// shown is what a page shows.
type shown struct {
	Board
	Title, View, Seen string
	Beat              int64 // ms
	Head              string
	Open              int
	Lines             []line
	Blank             line
	First             func(name string) template.HTML // writes one place of the strip over the board
	FreeCell          Cell
	Marks             []string
	Filter            filter
	List              []alertLine
	Rests             []restLine
	Measured          []string
	Kinds             []kindLine
	Places            []placeSets
	Week              week
	Now               time.Time
	UnixMS            int64
}

// line is a wall on the board.
type line struct {
	Cells
	Hidden bool
	Cell   func(name string) template.HTML // writes one place
}

// filter is what a board is narrowed to, and what it can be.
type filter struct {
	Site, Crew, State string
	Sites             []named
	Crews             []string
	States            []named
}

// Hides reports whether a row is left out.
func (f filter) Hides(c Cells) bool {
	return f.Site != "" && c.Site != f.Site || f.Crew != "" && c.Crew != f.Crew || f.State != "" && c.State != f.State
}

// page answers with one of the pages.
func (p *Pages) page(name string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		sight, err := p.config.Source.Sight(r.Context())
		if err == nil {
			var y *picture
			if y, err = p.picture(r.Context()); err == nil {
				p.write(w, r, name, p.show(y, words.Pick(r), sight, name, r))
				return
			}
		}
		p.refuse(w, err)
	}
}

func (p *Pages) refuse(w http.ResponseWriter, err error) {
	p.config.Log.Error("board", "error", err)
	_ = api.WriteProblem(w, api.NewProblem(http.StatusServiceUnavailable, api.CodeUnavailable, "the record cannot be read now")) // who went away reads no answer
}

func (p *Pages) write(w http.ResponseWriter, r *http.Request, name string, data shown) {
	var b bytes.Buffer
	if err := p.pages[words.Pick(r).Lang()].ExecuteTemplate(&b, name, data); err != nil {
		p.refuse(w, fmt.Errorf("page %s: %w", name, err))
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(b.Bytes()) // who went away reads no answer
}

// show gathers what a page shows.
func (p *Pages) show(y *picture, c *words.Catalogue, sight Sight, name string, r *http.Request) shown {
	d := y.draw(c, sight)
	view := name[:len(name)-len(".html")]
	now := time.UnixMilli(y.now()).UTC()
	out := shown{
		Board: y.board.Narrow(sight.Sees), View: view, Beat: p.config.Beat.Milliseconds(), Head: d.head, Open: d.open, Marks: marks(),
		Title: c.T("board.title." + view), Now: now, UnixMS: now.UnixMilli(),
	}
	if view != "board" {
		out.Seen = y.print(view, sight)
	}
	out.Filter = filterOf(c, d, r)
	switch view {
	case "board":
		write := p.cells[c.Lang()]
		out.First = func(name string) template.HTML { return write(name, d.first[slices.Index(glanceNames[:], name)], now) }
		out.Blank.Cell = func(name string) template.HTML { return write(name, blank(name), now) }
		for i := range d.rows {
			x := &d.rows[i]
			out.Lines = append(out.Lines, line{*x, out.Filter.Hides(*x), func(name string) template.HTML {
				return write(name, x.Slots[slices.Index(slotNames[:], name)], now)
			}})
		}
	case "alerts":
		out.List, out.Rests = p.alertLines(c, out.Board, sight, r), p.restLines(c, out.Board, sight)
		out.Measured = p.measured(c, sight, r)
	case "kinds":
		out.Kinds = kindLines(c)
	case "braces":
		out.FreeCell = Cell{Text: c.T("state." + scheduler.StateMayStrip), State: markDone}
		out.Places = placeSetsOf(c, out.Board)
	case "week":
		out.Week = weekOf(c, out.Board)
	}
	return out
}

// measured words how fast and how much is told, for who judges or sends. A measure
// that cannot be had is left out.
func (p *Pages) measured(c *words.Catalogue, sight Sight, r *http.Request) []string {
	if p.config.Measured == nil || !sight.Oversees() {
		return nil
	}
	m, err := p.config.Measured(r.Context())
	if err != nil {
		p.config.Log.Error("board: measure of telling", "error", err)
		return nil
	}
	return measured(c, m)
}

// filterOf reads what the board is to be narrowed to, and lists what it can be.
func filterOf(c *words.Catalogue, d *drawn, r *http.Request) filter {
	q := r.URL.Query()
	f := filter{Site: q.Get("site"), Crew: q.Get("crew"), State: q.Get("state"), Sites: d.sites}
	crews := map[string]bool{}
	for _, row := range d.rows {
		if row.Crew != "" && !crews[row.Crew] {
			crews[row.Crew] = true
			f.Crews = append(f.Crews, row.Crew)
		}
	}
	slices.Sort(f.Crews)
	for _, s := range []string{scheduler.StatePlacing, scheduler.StateCuring, scheduler.StateMayStrip, scheduler.StatePlanned, scheduler.StateStripped} {
		f.States = append(f.States, named{s, c.T("state." + s)})
	}
	return f
}

// print is the same as long as a page shows the same.
func (y *picture) print(view string, s Sight) string {
	key := fmt.Sprint(view, " ", s.key(), s.Roles)
	y.mu.Lock()
	defer y.mu.Unlock()
	if have, ok := y.prints[key]; ok {
		return have
	}
	b := y.board.Narrow(s.Sees)
	part := any([]any{b.Alerts, b.Rests, siteWords(b.Sites)})
	switch view {
	case "kinds":
		part = nil
	case "braces":
		part = []any{b.Sets, y.board.At.Truncate(15 * time.Minute)}
	case "week":
		part = []any{b.Walls, b.Sites, y.board.At.Truncate(15 * time.Minute)}
	}
	body, err := json.Marshal([]any{key, part}, json.Deterministic(true))
	if err != nil {
		body = []byte(err.Error())
	}
	sum := sha256.Sum256(body)
	y.prints[key] = hex.EncodeToString(sum[:8])
	return y.prints[key]
}

// siteWords are the sites as texts are written for them: zone, units and name.
func siteWords(places []Place) (out []face.Site) {
	for _, p := range places {
		out = append(out, p.Site)
	}
	return out
}

// placeSets are the braces of one site.
type placeSets struct {
	Name  string
	Total int
	Free  int
	Lines []setLine
}

type setLine struct {
	Set
	Link, Early, Likely, Late, Wait string
	Which                           string // the braces, by name
}

func placeSetsOf(c *words.Catalogue, b Board) (out []placeSets) {
	all, last := tongues(c, b), ""
	for _, s := range b.Sets {
		t := all[s.Site]
		if s.Site != last || len(out) == 0 {
			last = s.Site
			out = append(out, placeSets{Name: t.name})
		}
		place := &out[len(out)-1]
		line := setLine{Set: s, Link: "/walls/" + s.Site + "/" + s.Wall, Which: strings.Join(s.Braces, " ")}
		place.Total += s.N
		switch {
		case s.Free:
			place.Free += s.N
		case s.Waits == scheduler.Complete:
			line.Wait = c.T("board.braces.placing")
		case s.Waits != "":
			line.Wait = c.T("board.braces.waits", "what", t.criterion(s.Waits))
		default:
			line.Early, line.Likely, line.Late = t.orNone(s.Early), t.orNone(s.Likely), t.orNone(s.Late)
		}
		place.Lines = append(place.Lines, line)
	}
	return out
}

// blank is a place of a row that the page's script will fill; a heading is never
// empty.
func blank(name string) Cell {
	if name == slotNames[slotName] {
		return Cell{Text: "…"}
	}
	return Cell{}
}
