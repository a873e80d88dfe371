package phone

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"

	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
)

// PathSheet is where the snapshot of a site is asked for.
const PathSheet = "/api/v1/phone/"

//go:embed page.html
var pageHTML string

var page = template.Must(template.New("page").Parse(pageHTML))

// texts are the keys of the catalogue that the page takes along.
var texts = []string{"common.", "state.", "phone.", "criterion.", "alarm.", "alert.", "kind.", "role."}

// Doors gives addresses of the files that every page shares; *door.Door does.
type Doors interface{ Asset(name string) string }

// shared are the files of the door that the page is made of.
var shared = []string{
	"earlyage.css", "marks.svg", "mark.svg", "tick.svg",
	"font/atkinson-hyperlegible-next-400.woff2", "font/atkinson-hyperlegible-next-700.woff2",
}

// Page is the page with all that it is made of.
type Page struct {
	shell *Shell
	words map[string][]byte // by path
}

// NewPage makes the page: one document for every language, which takes its
// texts from the files that it names.
func NewPage(d Doors) (*Page, error) {
	p := &Page{words: map[string][]byte{}}
	type tongue struct{ Lang, Path string }
	var tongues []tongue
	for _, lang := range words.Languages() {
		body, err := json.Marshal(words.Of(lang).Under(texts...))
		if err != nil {
			return nil, fmt.Errorf("texts of the phone's page in %s: %w", lang, err)
		}
		sum := sha256.Sum256(body)
		path := pathAssets + "words-" + lang + "." + hex.EncodeToString(sum[:8]) + ".json"
		p.words[path] = body
		tongues = append(tongues, tongue{lang, path})
	}
	more := make([]string, 0, len(shared)+len(tongues))
	for _, name := range shared {
		more = append(more, d.Asset(name))
	}
	for _, t := range tongues {
		more = append(more, t.Path)
	}
	var doc bytes.Buffer
	err := page.Execute(&doc, map[string]any{
		"Shared": d.Asset, "Asset": Asset, "Words": tongues, "Regular": d.Asset(shared[4]), "Bold": d.Asset(shared[5]),
	})
	if err != nil {
		return nil, fmt.Errorf("phone's page: %w", err)
	}
	if p.shell, err = NewShell(doc.Bytes(), more...); err != nil {
		return nil, err
	}
	return p, nil
}

// Files are the paths of all that the page is made of, beside itself and its worker.
func (p *Page) Files() []string { return p.shell.Files }

// ServeHTTP serves PathPage and everything under it.
func (p *Page) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if body, ok := p.words[r.URL.Path]; ok {
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		serve(w, r, "application/json", body)
		return
	}
	p.shell.ServeHTTP(w, r)
}

// Routes are the phone's lines of the hub's table. sheet answers with what Make
// gives for the site that the path names, as {site}, and for the device that asks.
func Routes(d *door.Door, sheet http.Handler) ([]door.Route, error) {
	p, err := NewPage(d)
	if err != nil {
		return nil, err
	}
	return []door.Route{
		{Method: http.MethodGet, Pattern: PathPage, Who: door.Public, Handler: p},
		{Method: http.MethodGet, Pattern: PathPage + "/", Who: door.Public, Handler: p},
		{Method: http.MethodGet, Pattern: PathSheet + "{site}", Who: door.Roles(events.Roles()...), Handler: sheet},
	}, nil
}
