package door_test

import (
	"bytes"
	"math"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestStaticFilesAreKeptByTheirContent(t *testing.T) {
	h := newHouse(t)
	v := h.visitor()
	sheet := h.door.Asset("earlyage.css")
	require.Regexp(t, `^/static/earlyage\.[0-9a-f]{16}\.css$`, sheet)
	w := v.ask("GET", sheet, nil)
	require.Equal(t, http.StatusOK, w.Code)
	require.Equal(t, "text/css; charset=utf-8", w.Header().Get("Content-Type"))
	require.Equal(t, "public, max-age=31536000, immutable", w.Header().Get("Cache-Control"))

	fonts := regexp.MustCompile(`url\("([^"]+)"\)`).FindAllStringSubmatch(w.Body.String(), -1)
	fonts = slices.DeleteFunc(fonts, func(m []string) bool { return !strings.HasSuffix(m[1], ".woff2") })
	require.Len(t, fonts, 4)
	for _, font := range fonts {
		w := v.ask("GET", font[1], nil)
		require.Equal(t, http.StatusOK, w.Code, font[1])
		require.Equal(t, "font/woff2", w.Header().Get("Content-Type"))
		require.True(t, bytes.HasPrefix(w.Body.Bytes(), []byte("wOF2")))
		require.Less(t, w.Body.Len(), 16<<10)
	}
	require.Contains(t, w.Body.String(), h.door.Asset("tick.svg"))
	for _, name := range regexp.MustCompile(`symbol id="([a-z]+)"`).FindAllStringSubmatch(v.ask("GET", h.door.Asset("marks.svg"), nil).Body.String(), -1) {
		require.Contains(t, string(h.door.Mark(name[1])), h.door.Asset("marks.svg")+"#"+name[1]+`"`)
	}
	license := v.ask("GET", h.door.Asset("font/OFL.txt"), nil)
	require.Contains(t, license.Body.String(), "SIL OPEN FONT LICENSE Version 1.1")

	for _, page := range []string{"/login", "/join"} {
		for _, link := range regexp.MustCompile(`(?:href|src)="(/static/[^"#]+)["#]`).FindAllStringSubmatch(v.ask("GET", page, nil).Body.String(), -1) {
			require.Equal(t, http.StatusOK, v.ask("GET", link[1], nil).Code, link[1])
		}
	}
	require.Panics(t, func() { h.door.Asset("none.css") })
}

func TestNothingElseIsServed(t *testing.T) {
	h := newHouse(t)
	v := h.visitor()
	sheet := h.door.Asset("earlyage.css")
	for _, path := range []string{
		"/static/", "/static/earlyage.css", "/static/door.js", "/static/font/", "/static/font/OFL.txt",
		strings.Replace(sheet, ".css", ".CSS", 1), sheet + "/", sheet + "/..", sheet + "%00", "/static/%2e%2e/door.go", "/static/..%2fdoor.go",
		"/static/..%5c..%5cdoor.go", "/static/page/own.html", "/static/static/earlyage.css", "/static/./earlyage.css", "//static/earlyage.css",
	} {
		w := v.ask("GET", path, nil)
		if w.Code == http.StatusTemporaryRedirect { // to the path without its dots, here as well
			require.Regexp(t, "^/[^/]", w.Header().Get("Location"))
			w = v.ask("GET", w.Header().Get("Location"), nil)
		}
		require.Equal(t, http.StatusNotFound, w.Code, path)
	}
	require.Equal(t, http.StatusMethodNotAllowed, v.ask("POST", sheet, nil).Code)
}

// The figures of the sheet are those of WCAG 2.2, 1.4.3 and 1.4.11: text 4.5 to 1
// on every surface that it stands on, marks and edges 3 to 1.
func TestThePaletteIsLegible(t *testing.T) {
	sheet, err := os.ReadFile("static/earlyage.css")
	require.NoError(t, err)
	color := map[string]float64{}
	for _, m := range regexp.MustCompile(`--([a-z0-9-]+): #([0-9A-F]{6});`).FindAllSubmatch(sheet, -1) {
		if _, known := color[string(m[1])]; !known { // the later one is for more contrast
			color[string(m[1])] = luminance(t, string(m[2]))
		}
	}
	for _, ground := range []string{"paper", "slab"} {
		for _, text := range []string{"ink", "line", "placing", "curing", "hold", "done", "nolink"} {
			require.GreaterOrEqual(t, contrast(color[text], color[ground]), 4.5, "%s on %s", text, ground)
		}
	}
	require.GreaterOrEqual(t, contrast(color["ink"], color["watch"]), 4.5)
	require.GreaterOrEqual(t, contrast(color["paper"], color["line"]), 4.5, "the main key under a pointer")
	require.GreaterOrEqual(t, contrast(color["watch"], color["ink"]), 3.0, "the focus beside its edge")
	for _, age := range []string{"age-1", "age-2"} {
		require.GreaterOrEqual(t, contrast(color["paper"], color[age]), 4.5, "the hours on %s", age)
	}
	for _, age := range []string{"age-3", "age-4", "age-5"} {
		require.GreaterOrEqual(t, contrast(color["ink"], color[age]), 4.5, "the hours on %s", age)
	}
}

func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	sum := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		n, err := strconv.ParseUint(hex[2*i:2*i+2], 16, 8)
		require.NoError(t, err)
		c := float64(n) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += weight * c
	}
	return sum
}

func contrast(a, b float64) float64 { return (max(a, b) + 0.05) / (min(a, b) + 0.05) }
