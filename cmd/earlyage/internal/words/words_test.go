package words_test

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/words"
)

var placeholder = regexp.MustCompile(`\{[a-z]+\}`)

func read(t *testing.T, lang string) map[string]string {
	out := map[string]string{}
	list, err := filepath.Glob(filepath.Join(lang, "*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, list)
	for _, file := range list {
		raw, err := os.ReadFile(file)
		require.NoError(t, err)
		part := map[string]string{}
		require.NoError(t, json.Unmarshal(raw, &part), file)
		for k, v := range part {
			out[k] = v
		}
	}
	return out
}

func TestEveryLanguageIsWhole(t *testing.T) {
	english := read(t, words.English)
	for _, lang := range words.Languages()[1:] {
		other := read(t, lang)
		for key, text := range english {
			got, ok := other[key]
			require.True(t, ok, "%s lacks %s", lang, key)
			require.NotEmpty(t, strings.TrimSpace(got), "%s %s", lang, key)
			want, have := placeholder.FindAllString(text, -1), placeholder.FindAllString(got, -1)
			slices.Sort(want)
			slices.Sort(have)
			require.Equal(t, want, have, "%s %s", lang, key)
		}
		for key := range other {
			require.Contains(t, english, key, "%s has a key that English lacks", lang)
		}
	}
}

// A text that no page shows is dead; one that a page wants and nobody wrote is a
// hole. Keys are written whole in the sources, or as a prefix to which a value of
// the record is added ("state." + wall.state).
func TestEveryTextIsUsed(t *testing.T) {
	sources := &strings.Builder{}
	err := fs.WalkDir(os.DirFS(".."), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			if d != nil && (d.Name() == "words" || d.Name() == "static" || d.Name() == "node_modules" || d.Name() == "lib") {
				return fs.SkipDir
			}
			return err
		}
		if ext := filepath.Ext(path); (ext == ".go" && !strings.HasSuffix(path, "_test.go")) || ext == ".js" || ext == ".html" {
			raw, err := os.ReadFile(filepath.Join("..", path))
			if err != nil {
				return err
			}
			sources.Write(raw)
		}
		return nil
	})
	require.NoError(t, err)
	written := map[string]bool{}
	for _, m := range quoted.FindAllStringSubmatch(sources.String(), -1) {
		written[m[1]] = true
	}
	for key := range read(t, words.English) {
		prefix := key[:strings.LastIndexByte(key, '.')+1]
		first := key[:strings.IndexByte(key, '.')+1]
		require.True(t, written[key] || written[prefix] || written[first], "no page shows %s", key)
	}
}

// quoted finds what may be a key, or its beginning, in a source: quoted whole, or
// up to where a value is put in.
var quoted = regexp.MustCompile("[\"'`]([a-z][a-zA-Z0-9.-]*)[\"'`$]")

func TestPick(t *testing.T) {
	for _, c := range []struct{ query, cookie, header, want string }{
		{"", "", "", "en"},
		{"", "", "es-MX,es;q=0.9,en;q=0.5", "es"},
		{"", "", "nb-NO,nb", "en"},
		{"", "en", "es", "en"},
		{"es", "en", "nb", "es"},
		{"xx", "", "es", "es"},
		{"../en", "..", "not a language;;;", "en"},
	} {
		r := httptest.NewRequest("GET", "/?lang="+c.query, nil)
		if c.cookie != "" {
			r.Header.Set("Cookie", words.Cookie+"="+c.cookie)
		}
		r.Header.Set("Accept-Language", c.header)
		require.Equal(t, c.want, words.Pick(r).Lang(), fmt.Sprint(c))
	}
}

func TestText(t *testing.T) {
	c := words.Of("es")
	require.Equal(t, "es", c.Lang())
	require.Equal(t, "no.such.key", c.T("no.such.key"))
	require.Equal(t, "en", words.Of("nb").Lang())
	require.NotEqual(t, words.Of("en").T("state.curing"), c.T("state.curing"))
	require.Equal(t, c.T("state.curing"), c.Under("state.")["state.curing"])
	require.Contains(t, words.Of("en").T("common.minutes", "n", 12), "12")
}
