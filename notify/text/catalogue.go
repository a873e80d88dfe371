package text

import (
	_ "embed"
	"fmt"
	"strings"

	"github.com/go-json-experiment/json"

	"earlyage/events"
	"earlyage/scheduler"
)

//go:embed en.json
var english []byte

//go:embed es.json
var spanish []byte

// A catalogue holds the texts of one language, their variable parts in braces.
// What is known of the kinds of alert stands in English in the scheduler's table.
type catalogue struct {
	lang  string
	texts map[string]string
}

var catalogues = map[string]catalogue{"en": read("en", english), "es": read("es", spanish)}

// read takes in an embedded file. One that cannot be read is a defect of the
// build, found by the first test.
func read(lang string, raw []byte) catalogue {
	c := catalogue{lang: lang}
	if err := json.Unmarshal(raw, &c.texts); err != nil {
		panic(fmt.Sprintf("text: %s.json: %v", lang, err))
	}
	return c
}

// in returns the catalogue of a language; English where there is none.
func in(lang string) catalogue {
	if c, ok := catalogues[lang]; ok {
		return c
	}
	return catalogues["en"]
}

// say returns a text with its parts filled in, pairs of a name and a value. What
// is filled in is not looked through again.
func (c catalogue) say(key string, pairs ...string) string {
	for i := 0; i < len(pairs); i += 2 {
		pairs[i] = "{" + pairs[i] + "}"
	}
	return strings.NewReplacer(pairs...).Replace(c.texts[key])
}

// words are the texts of one kind of alert.
type words struct{ name, brief, cause, consequence, action, do, who string }

// kind gives the texts of a kind of alert. One that is not in the table, of a
// later hub, is called by its token.
func (c catalogue) kind(kind string) words {
	k, known := scheduler.AlertKinds[kind]
	if !known {
		name := Clean(strings.ReplaceAll(kind, "-", " "))
		return words{name: name, brief: name}
	}
	w := words{name: k.Name, brief: k.Name, cause: k.Cause, consequence: k.Consequence, action: k.Action, do: k.Do, who: k.Who}
	if c.lang == "en" {
		return w
	}
	own := func(what, english string) string {
		if text := c.texts["alert."+kind+"."+what]; text != "" {
			return text
		}
		return english
	}
	w.name = own("name", w.name)
	w.brief = own("brief", w.name)
	w.cause, w.consequence = own("cause", w.cause), own("consequence", w.consequence)
	w.action, w.do = own("action", w.action), own("do", w.do)
	w.who = c.texts["role."+string(events.ActsFirst(kind))]
	return w
}

// Cause says in a language what makes an alert of a kind, and what follows if
// nobody acts; nothing of a kind that is not known.
func Cause(lang, kind string) (cause, consequence string) {
	w := in(lang).kind(kind)
	return w.cause, w.consequence
}

// Caution is what stands wherever a time to strip is shown, in a language.
func Caution(lang string) string { return in(lang).texts["caution"] }

// Criterion is what a criterion of the window is called in a language; one that
// is not known is called by its token.
func Criterion(lang, name string) string { return in(lang).criterion(name) }

func (c catalogue) criterion(name string) string {
	if text := c.texts["criterion."+name]; text != "" {
		return text
	}
	return Clean(name)
}
