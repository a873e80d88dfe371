package board

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"net/http"
	"path"
	"strings"
)

//go:embed static
var staticFiles embed.FS

//go:embed page
var pageFiles embed.FS

const pathFiles = "/static/board/"

// files are the script and the style sheet, each at an address with the hash of
// its content.
type files struct {
	address map[string]string // by name
	content map[string][]byte // by the last part of the address
}

func readFiles() files {
	f := files{map[string]string{}, map[string][]byte{}}
	for _, name := range []string{"board.js", "board.css"} {
		content, err := staticFiles.ReadFile("static/" + name)
		if err != nil {
			panic("board: " + err.Error()) // they are built in
		}
		sum := sha256.Sum256(content)
		ext := path.Ext(name)
		last := strings.TrimSuffix(name, ext) + "." + hex.EncodeToString(sum[:8]) + ext
		f.address[name], f.content[last] = pathFiles+last, content
	}
	return f
}

func (p *Pages) file(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("file")
	content, ok := p.files.content[name]
	if !ok {
		http.NotFound(w, r)
		return
	}
	kind := "text/javascript; charset=utf-8"
	if path.Ext(name) == ".css" {
		kind = "text/css; charset=utf-8"
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(content) // who went away reads no answer
}
