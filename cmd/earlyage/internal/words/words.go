// Package words holds every text that the pages show, in one catalogue for each
// language: a file for each page, of keys and texts. Another language is another
// folder of such files.
//
// A text holds its variable parts in braces: "{n} min left". Times, quantities
// and names of walls come from the record as they are; what the hub itself has
// said, the text of an alert, a note on a criterion, stands as the hub said it.
// A key that a language lacks is shown in English; a test sees to it that none
// does.
package words

import (
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"net/http"
	"path"
	"slices"
	"strings"

	"golang.org/x/text/language"
)

//go:embed */*.json
var files embed.FS

// Catalogue is the texts of one language.
type Catalogue struct {
	lang  string
	texts map[string]string
}

// English comes first: what another language lacks is shown in it.
const English = "en"

var (
	all     = load()
	matcher = newMatcher(all)
)

// load reads the embedded files. A file that cannot be read is a defect of the
// build, found by the first test.
func load() map[string]*Catalogue {
	out := map[string]*Catalogue{}
	names, err := fs.Glob(files, "*/*.json")
	if err != nil {
		panic(fmt.Sprintf("words: %v", err))
	}
	for _, name := range names {
		raw, err := files.ReadFile(name)
		if err != nil {
			panic(fmt.Sprintf("words: %v", err))
		}
		part := map[string]string{}
		if err := json.Unmarshal(raw, &part); err != nil {
			panic(fmt.Sprintf("words: %s: %v", name, err))
		}
		lang := path.Dir(name)
		if out[lang] == nil {
			out[lang] = &Catalogue{lang, map[string]string{}}
		}
		for key, text := range part {
			if out[lang].texts[key] != "" {
				panic(fmt.Sprintf("words: %s: the key %s stands in another file too", name, key))
			}
			out[lang].texts[key] = text
		}
	}
	return out
}

// Languages lists what there is, English first.
func Languages() []string {
	rest := slices.DeleteFunc(slices.Sorted(maps.Keys(all)), func(l string) bool { return l == English })
	return append([]string{English}, rest...)
}

// Of returns the catalogue of a language; English where there is none.
func Of(lang string) *Catalogue {
	if c := all[lang]; c != nil {
		return c
	}
	return all[English]
}

func newMatcher(map[string]*Catalogue) language.Matcher {
	var tags []language.Tag
	for _, l := range Languages() {
		tags = append(tags, language.MustParse(l))
	}
	return language.NewMatcher(tags)
}

// Cookie is where a browser keeps the language that its person chose.
const Cookie = "lang"

// Pick returns the catalogue for a request: the language asked for by ?lang=,
// the one kept in the cookie, or the one that the browser prefers.
func Pick(r *http.Request) *Catalogue {
	if lang := r.URL.Query().Get("lang"); all[lang] != nil {
		return all[lang]
	}
	if c, err := r.Cookie(Cookie); err == nil && all[c.Value] != nil {
		return all[c.Value]
	}
	wanted, _, err := language.ParseAcceptLanguage(r.Header.Get("Accept-Language"))
	if err != nil || len(wanted) == 0 {
		return all[English]
	}
	_, i, sure := matcher.Match(wanted...)
	if sure == language.No {
		return all[English]
	}
	return all[Languages()[i]]
}

// Lang is the language, as in the lang attribute of a page.
func (c *Catalogue) Lang() string { return c.lang }

// T returns the text of a key, its variable parts filled in: pairs of a name and
// a value. A key that no language has is returned itself, so that a page shows
// what it lacks.
func (c *Catalogue) T(key string, pairs ...any) string {
	text, ok := c.texts[key]
	if !ok {
		if text, ok = all[English].texts[key]; !ok {
			return key
		}
	}
	for i := 0; i+1 < len(pairs); i += 2 {
		text = strings.ReplaceAll(text, "{"+fmt.Sprint(pairs[i])+"}", fmt.Sprint(pairs[i+1]))
	}
	return text
}

// Has reports whether the language itself has a text for a key.
func (c *Catalogue) Has(key string) bool { _, ok := c.texts[key]; return ok }

// Under returns all texts whose keys begin with one of the prefixes: what a page
// that runs without a network takes along.
func (c *Catalogue) Under(prefixes ...string) map[string]string {
	out := map[string]string{}
	for key := range all[English].texts {
		for _, p := range prefixes {
			if strings.HasPrefix(key, p) {
				out[key] = c.T(key)
			}
		}
	}
	return out
}
