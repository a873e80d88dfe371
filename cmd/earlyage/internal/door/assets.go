package door

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"net/http"
	"path"
	"strings"
)

//go:embed static
var staticFiles embed.FS

//go:embed page
var pageFiles embed.FS

// assets are the static files, each at an address that holds the hash of its
// content: a browser may keep it for ever, and a new one has a new address.
type assets struct {
	byName map[string]string // name to address
	byPath map[string]asset
}

type asset struct {
	content []byte
	kind    string
}

// kinds are the sorts of files that are served: what is not among them is not.
func kinds(ext string) string {
	switch ext {
	case ".css":
		return "text/css; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	case ".woff2":
		return "font/woff2"
	case ".txt":
		return "text/plain; charset=utf-8"
	}
	return ""
}

// newAssets reads the folder static. Style sheets come last: the addresses in
// them are those of the other files.
func newAssets(files fs.FS) (*assets, error) {
	a := &assets{byName: map[string]string{}, byPath: map[string]asset{}}
	for _, sheets := range []bool{false, true} {
		err := fs.WalkDir(files, "static", func(name string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() || (path.Ext(name) == ".css") != sheets || kinds(path.Ext(name)) == "" {
				return err
			}
			content, err := fs.ReadFile(files, name)
			if err == nil {
				a.add(strings.TrimPrefix(name, "static/"), content)
			}
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return a, nil
}

func (a *assets) add(name string, content []byte) {
	ext := path.Ext(name)
	if ext == ".css" {
		for other, address := range a.byName {
			content = []byte(strings.ReplaceAll(string(content), `url("`+other+`")`, `url("`+address+`")`))
		}
	}
	sum := sha256.Sum256(content)
	address := "/static/" + strings.TrimSuffix(name, ext) + "." + hex.EncodeToString(sum[:8]) + ext
	a.byName[name] = address
	a.byPath[address] = asset{content, kinds(ext)}
}

// path gives the address of a file. A name that is none is a mistake of ours.
func (a *assets) path(name string) string {
	address, ok := a.byName[name]
	if !ok {
		panic("no static file " + name)
	}
	return address
}

// static serves a file by its address; there is no other way to any file.
func (d *Door) static(w http.ResponseWriter, r *http.Request) {
	file, ok := d.assets.byPath[r.URL.Path]
	if !ok {
		d.refuse(w, r, notFound())
		return
	}
	w.Header().Set("Content-Type", file.kind)
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(file.content) // who went away reads no answer
}
