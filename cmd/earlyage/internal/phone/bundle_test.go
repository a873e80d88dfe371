package phone_test

import (
	"bytes"
	"compress/gzip"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/phone"
	"earlyage/cmd/earlyage/internal/phone/bundle"
)

// mostEngine is how many bytes the engine may cost a phone on a bad link.
const mostEngine = 80 << 10

func TestStaticIsWhatTheSourcesGive(t *testing.T) {
	for name, table := range map[string]func() ([]byte, error){bundle.KindsFile: bundle.Kinds, bundle.AnswersFile: bundle.Answers} {
		text, err := table()
		require.NoError(t, err)
		stands, err := os.ReadFile(name)
		require.NoError(t, err)
		require.Equal(t, string(text), string(stands), "go generate ./cmd/earlyage/internal/phone")
	}
	files, err := bundle.Build(".")
	require.NoError(t, err)
	for name, text := range files {
		stands, err := os.ReadFile(filepath.Join("static", name))
		require.NoError(t, err)
		require.True(t, bytes.Equal(text, stands), "static/%s: go generate ./cmd/earlyage/internal/phone", name)
	}
}

func TestEngineIsSmall(t *testing.T) {
	text, err := bundle.Script(".", "src/engine.js", "earlyage")
	require.NoError(t, err)
	var packed bytes.Buffer
	w, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	require.NoError(t, err)
	_, err = w.Write(text)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	t.Logf("engine: %d bytes, %d with gzip", len(text), packed.Len())
	require.Less(t, packed.Len(), mostEngine)
}

func TestShell(t *testing.T) {
	s, err := phone.NewShell([]byte("<!DOCTYPE html>"), "/static/earlyage.0123456789abcdef.css")
	require.NoError(t, err)
	require.Contains(t, s.Files, phone.Asset("app.js"))
	get := func(path string) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		s.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
		return w
	}
	require.Equal(t, "<!DOCTYPE html>", get("/phone").Body.String())
	require.Contains(t, get(phone.Asset("app.js")).Header().Get("Cache-Control"), "immutable")
	worker := get("/phone/sw.js")
	require.Equal(t, "/phone", worker.Header().Get("Service-Worker-Allowed"))
	require.Contains(t, worker.Body.String(), phone.Asset("app.js"))
	require.Contains(t, worker.Body.String(), "/static/earlyage.0123456789abcdef.css")
	require.NotContains(t, worker.Body.String(), phone.Asset("worker.js"))
	require.Equal(t, 404, get("/phone/other").Code)
	require.Equal(t, 404, get("/phone/static/app.js").Code)

	again, err := phone.NewShell([]byte("<!DOCTYPE html><p>"), "/static/earlyage.0123456789abcdef.css")
	require.NoError(t, err)
	w := httptest.NewRecorder()
	again.ServeHTTP(w, httptest.NewRequest("GET", "/phone/sw.js", nil))
	require.NotEqual(t, worker.Body.String(), w.Body.String(), "another page is another version")
	require.Panics(t, func() { phone.Asset("none.js") })
}
