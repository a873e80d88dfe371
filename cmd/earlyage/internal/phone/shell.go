// Package phone is the crew's page: it works for days without a signal.
//
// The page is a shell without data that a service worker keeps on the phone, and
// an engine (src/engine.js, see src/engine.d.ts) whose queue in IndexedDB keeps
// the same promises as the outbox of events/stream: an entry has its number and
// is on the phone's disk before the person sees that it was recorded; it is sent
// in order, under a message id that is on the disk before; and only the hub's
// receipt ends the waiting. The scripts in static are made by go generate from
// src and the libraries in lib.
package phone

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"slices"
	"strings"
	"time"
)

//go:generate go run ./gen

//go:embed static
var static embed.FS

// Paths of the page.
const (
	PathPage   = "/phone"
	PathWorker = "/phone/sw.js"
	pathAssets = "/phone/a/"
)

const workerFile = "worker.js"

// Asset gives the address of a file of static, with the hash of its content in
// it. It panics on a name that there is not.
func Asset(name string) string {
	body, err := static.ReadFile("static/" + name)
	if err != nil {
		panic("phone: no file " + name)
	}
	sum, ext := sha256.Sum256(body), path.Ext(name)
	return pathAssets + strings.TrimSuffix(name, ext) + "." + hex.EncodeToString(sum[:8]) + ext
}

// Shell serves the page.
type Shell struct {
	Page  []byte   // the document at PathPage: the same for everybody, without data
	Files []string // paths of the other files that it is made of, each with a hash in its name, beside those of static

	worker []byte
	assets map[string]asset
}

type asset struct {
	sort string
	body []byte
}

// NewShell makes the worker's list of what to keep: the page, all of static, and
// more files that the hub serves elsewhere, such as the typeface.
func NewShell(page []byte, more ...string) (*Shell, error) {
	s := &Shell{Page: page, Files: slices.Clone(more), assets: map[string]asset{}}
	names, err := fs.Glob(static, "static/*")
	if err != nil {
		return nil, fmt.Errorf("files of the phone's page: %w", err)
	}
	for _, full := range names {
		name := strings.TrimPrefix(full, "static/")
		body, err := static.ReadFile(full)
		if err != nil {
			return nil, fmt.Errorf("file of the phone's page: %w", err)
		}
		if name == workerFile {
			s.worker = body
			continue
		}
		s.assets[Asset(name)] = asset{mime.TypeByExtension(path.Ext(name)), body}
		s.Files = append(s.Files, Asset(name))
	}
	slices.Sort(s.Files)
	sum := sha256.Sum256(page)
	list := struct {
		Version string   `json:"version"`
		Page    string   `json:"page"`
		Files   []string `json:"files"`
	}{Page: hex.EncodeToString(sum[:]), Files: s.Files}
	all := sha256.Sum256(fmt.Append(nil, list.Page, s.Files, string(s.worker)))
	list.Version = hex.EncodeToString(all[:8])
	text, err := json.Marshal(list)
	if err != nil {
		return nil, fmt.Errorf("list of the phone's page: %w", err)
	}
	s.worker = slices.Concat([]byte("const shell = "), text, []byte(";\n"), s.worker)
	return s, nil
}

// ServeHTTP serves PathPage and everything under it.
func (s *Shell) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	switch a, ok := s.assets[r.URL.Path]; {
	case ok:
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		serve(w, r, a.sort, a.body)
	case r.URL.Path == PathPage:
		w.Header().Set("Cache-Control", "no-cache")
		serve(w, r, "text/html; charset=utf-8", s.Page)
	case r.URL.Path == PathWorker:
		w.Header().Set("Cache-Control", "no-cache")
		w.Header().Set("Service-Worker-Allowed", PathPage)
		serve(w, r, "text/javascript; charset=utf-8", s.worker)
	default:
		http.NotFound(w, r)
	}
}

func serve(w http.ResponseWriter, r *http.Request, sort string, body []byte) {
	w.Header().Set("Content-Type", sort)
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(body))
}
