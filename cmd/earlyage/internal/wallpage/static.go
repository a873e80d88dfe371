package wallpage

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"html/template"
	"net/http"
)

//go:embed static
var staticFiles embed.FS

//go:embed page
var pageFiles embed.FS

const (
	pathFiles = "/static/wall/"
	styleName = "wall.css"
)

// style is the style sheet, at an address with the hash of its content.
type style struct {
	last    string // part of the address
	content []byte
}

func readStyle() style {
	content, err := staticFiles.ReadFile("static/" + styleName)
	if err != nil {
		panic("wall page: " + err.Error()) // it is built in
	}
	sum := sha256.Sum256(content)
	return style{"wall." + hex.EncodeToString(sum[:8]) + ".css", content}
}

func (p *Pages) file(w http.ResponseWriter, r *http.Request) {
	if r.PathValue("file") != p.style.last {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(p.style.content) // who went away reads no answer
}

func (p *Pages) asset(name string) string {
	if name == styleName {
		return pathFiles + p.style.last
	}
	return p.config.Asset(name)
}

// ownMarks are the marks that the door has not.
var ownMarks = map[string]template.HTML{
	"planned": `<svg class="mark" aria-hidden="true" viewBox="0 0 24 24"><path d="M12 3l6 9-6 9-6-9z" fill="none" stroke="currentColor" stroke-width="2.5"/></svg>`,
	"off":     `<svg class="mark" aria-hidden="true" viewBox="0 0 24 24"><path d="M3 7h18v3H3zM3 14h18v3H3z" fill="currentColor"/></svg>`,
}

func (p *Pages) mark(name string) template.HTML {
	if m, ok := ownMarks[name]; ok {
		return m
	}
	return p.config.Mark(name)
}
