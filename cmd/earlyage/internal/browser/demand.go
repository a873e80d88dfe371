package browser

import (
	_ "embed"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

//go:embed testdata/axe/axe.min.js
var axe string

// Good demands of the page as it stands what every page has to hold: no finding
// of axe-core, no sideways scrolling, every control of a phone large enough.
func (t *Tab) Good() {
	t.t.Helper()
	t.NoOverflow()
	t.Axe()
}

// NoOverflow demands that nothing is wider than the window.
func (t *Tab) NoOverflow() {
	t.t.Helper()
	wide := Ask[[]string](t, `(() => {
		const w = document.documentElement.clientWidth;
		if (document.documentElement.scrollWidth <= w) return [];
		return [...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > w + 0.5)
			.slice(0, 8).map(e => e.tagName.toLowerCase() + (e.id ? "#" + e.id : "") + "." + e.className + " to " + Math.round(e.getBoundingClientRect().right));
	})()`)
	require.Empty(t.t, wide, "tab %s is wider than its %d px", t.name, t.size.Width)
}

// Axe demands that axe-core finds nothing.
func (t *Tab) Axe() {
	t.t.Helper()
	found := Ask[[]string](t, `(async () => {
		if (!window.axe) { `+axe+` }
		const r = await window.axe.run(document, {resultTypes: ["violations"]});
		return r.violations.flatMap(v => v.nodes.map(n => v.id + ": " + v.help + ": " + n.target.join(" ") + " " + n.html.slice(0, 160)));
	})()`)
	require.Empty(t.t, found, "tab %s: axe-core", t.name)
}

// ValidHTML demands that documents are valid, by html-validate. The keys are
// names for the messages.
func ValidHTML(t testing.TB, documents map[string]string) {
	t.Helper()
	_, here, _, _ := runtime.Caller(0)
	home := filepath.Join(filepath.Dir(here), "htmlcheck")
	tool := filepath.Join(home, "node_modules", "html-validate", "bin", "html-validate.mjs")
	if _, err := os.Stat(tool); err != nil {
		require.FailNow(t, "html-validate is not there", "npm ci --ignore-scripts in %s, with Node 18 or newer; .ci/test does it", "cmd/earlyage/internal/browser/htmlcheck")
	}
	dir := t.TempDir()
	args := []string{tool, "--config", filepath.Join(home, ".htmlvalidate.json"), "--formatter", "text"}
	for name, html := range documents {
		file := filepath.Join(dir, strings.NewReplacer("/", "_", " ", "_", "?", "_").Replace(name)+".html")
		require.NoError(t, os.WriteFile(file, []byte(html), 0o600))
		args = append(args, file)
	}
	cmd := exec.Command("node", args...) // #nosec G204 -- a tool of the tests, with files of the test
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "html-validate: %s", out)
}

func quote(s string) string { return strconv.Quote(s) }

// Documentf gives a page to check a part in.
func Documentf(format string, args ...any) string {
	return "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>part</title></head><body>" + fmt.Sprintf(format, args...) + "</body></html>"
}
