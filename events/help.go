package events

import (
	"fmt"
	"strings"
	"text/tabwriter"
)

// Help describes a kind for people: a table of its members with what is allowed
// and what they mean, in the names that FromArgs reads.
func Help(kind Kind) string {
	def, ok := vocabulary[kind]
	if !ok {
		return fmt.Sprintf("%s: not %s\n", clip(string(kind)), knownKind(string(kind)))
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s\n%s\n", kind, def.doc, def.scopeDoc())
	if len(def.plan.rules) == 0 {
		return b.String()
	}
	b.WriteByte('\n')
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	needed := def.plan.rows(w, "")
	_ = w.Flush() // a strings.Builder does not fail
	b.WriteByte('\n')
	if needed {
		b.WriteString("* must be given.\n")
	}
	if more := beyondOne[kind]; more != "" {
		b.WriteString("Together: " + more + ".\n")
	}
	return b.String()
}

func (def *definition) scopeDoc() string {
	about := map[scope]string{onWall: "About one wall", onSite: "About a whole site", onEither: "About one wall or a whole site"}[def.scope]
	switch {
	case def.scheduler:
		return about + ", by the hub alone."
	case def.person:
		return about + ", by a named person."
	default:
		return about + "."
	}
}

// rows writes a row for each member, and reports whether one must be given.
func (p *plan) rows(w *tabwriter.Writer, prefix string) (needed bool) {
	for i := range p.rules {
		r := &p.rules[i]
		mark := " "
		if r.need {
			mark, needed = "*", true
		}
		_, _ = fmt.Fprintf(w, "%s %s%s\t%s\t%s\n", mark, prefix, r.name, r.short(), r.doc)
		switch {
		case r.shape == group:
			needed = r.elem.rows(w, prefix+r.name+".") || needed
		case r.shape == list && r.item.shape == group:
			needed = r.item.elem.rows(w, prefix+r.name+".N.") || needed
		}
	}
	return needed
}

// short says what is allowed in few words.
func (r *rule) short() string {
	switch {
	case r.shape == moment:
		return "time"
	case r.shape == group:
		return "its members:"
	case r.shape == object:
		return "object"
	case r.shape == list && r.item.shape == group:
		return fmt.Sprintf("list, %d to %d of %s", r.minLen, r.maxLen, strings.Join(r.item.elem.names(), ":"))
	case r.shape == list:
		return fmt.Sprintf("list, %d to %d of %s", r.minLen, r.maxLen, r.item.short())
	case r.form == "token":
		return "name"
	case r.shape == text && r.words == nil && r.form == "":
		return fmt.Sprintf("text, %d to %d", r.minLen, r.maxLen)
	default:
		return r.allowed()
	}
}
