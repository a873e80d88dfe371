package routes

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// maxFile is the greatest size of a route file in bytes.
const maxFile = 256 << 10

// reader collects what is wrong while a file is read.
type reader struct {
	file string
	bad  []*Error
}

func (r *reader) refuse(line int, field, format string, args ...any) {
	r.bad = append(r.bad, &Error{File: r.file, Line: max(line, 1), Field: field, Reason: fmt.Sprintf(format, args...)})
}

// err is all that was refused, in the order of the lines.
func (r *reader) err() error {
	slices.SortStableFunc(r.bad, func(a, b *Error) int { return a.Line - b.Line })
	list := make([]error, len(r.bad))
	for i, e := range r.bad {
		list[i] = e
	}
	return errors.Join(list...)
}

var lineInText = regexp.MustCompile(`line (\d+): `)

// root reads the one document of a file; nil: it was refused.
func (r *reader) root(data []byte) *yaml.Node {
	if len(data) > maxFile {
		r.refuse(1, "", "%d bytes; allowed at most %d", len(data), maxFile)
		return nil
	}
	d := yaml.NewDecoder(strings.NewReader(string(data)))
	var doc, more yaml.Node
	err := d.Decode(&doc)
	switch {
	case err != nil && err.Error() == "EOF" || err == nil && len(doc.Content) != 1:
		r.refuse(1, "", "there is nothing in it")
		return nil
	case err != nil:
		r.refuse(lineOf(err), "", "not YAML: %s", strings.TrimPrefix(lineInText.ReplaceAllString(err.Error(), ""), "yaml: "))
		return nil
	}
	if err := d.Decode(&more); err == nil || err.Error() != "EOF" {
		r.refuse(max(more.Line, lineOf(err)), "", "a second document; allowed is one")
		return nil
	}
	return doc.Content[0]
}

// lineOf is the line that the YAML library's error names.
func lineOf(err error) int {
	if err == nil {
		return 1
	}
	m := lineInText.FindStringSubmatch(err.Error())
	if m == nil {
		return 1
	}
	n, _ := strconv.Atoi(m[1]) // digits; too many of them: 0
	return max(n, 1)
}

// table is a mapping whose members are known.
type table struct {
	*reader
	line    int
	field   string
	members map[string]*yaml.Node
}

// table reads a mapping; what else it holds is refused.
func (r *reader) table(n *yaml.Node, field string, allowed ...string) table {
	t := table{reader: r, line: n.Line, field: field, members: map[string]*yaml.Node{}}
	if n.Kind != yaml.MappingNode {
		r.refuse(n.Line, field, "%s; allowed: members, of %s", sort(n), strings.Join(allowed, ", "))
		t.members = nil // nothing is missing beside it
		return t
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		at := t.at(clip(key.Value))
		switch {
		case key.Kind != yaml.ScalarNode:
			r.refuse(key.Line, field, "%s for the name of a member; allowed: %s", sort(key), strings.Join(allowed, ", "))
		case slices.Contains([]string{"password", "secret"}, key.Value):
			r.refuse(key.Line, at, "a secret never stands in this file; %s_file names the file that holds it", key.Value)
		case !slices.Contains(allowed, key.Value):
			r.refuse(key.Line, at, "no such member; allowed: %s", strings.Join(allowed, ", "))
		case t.members[key.Value] != nil:
			r.refuse(key.Line, at, "given twice, first in line %d", t.members[key.Value].Line)
		default:
			t.members[key.Value] = value
		}
	}
	return t
}

func (t table) at(member string) string {
	if t.field == "" {
		return member
	}
	return t.field + "." + member
}

// lineOf is the line of a member, or of the table where it is missing.
func (t table) lineOf(member string) int {
	if n := t.members[member]; n != nil {
		return n.Line
	}
	return t.line
}

// sort says what a node is, for people.
func sort(n *yaml.Node) string {
	switch n.Kind {
	case yaml.SequenceNode:
		return "a list"
	case yaml.MappingNode:
		return "members"
	case yaml.AliasNode:
		return "a reference to another place"
	}
	switch n.ShortTag() {
	case "!!null":
		return "nothing"
	case "!!str":
		return fmt.Sprintf("the text %q", clip(n.Value))
	case "!!int", "!!float":
		return "the number " + clip(n.Value)
	case "!!bool":
		return "the yes or no " + clip(n.Value)
	}
	return fmt.Sprintf("%q", clip(n.Value))
}

func clip(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "..."
	}
	return s
}

// word is a text in the file, and where it stands.
type word struct {
	text  string
	line  int
	field string
}

// text reads a node that must be a text of 1 to most letters on one line.
func (r *reader) text(n *yaml.Node, field string, most int) (word, bool) {
	w := word{n.Value, n.Line, field}
	tag := n.ShortTag()
	switch {
	case n.Kind != yaml.ScalarNode || tag != "!!str" && tag != "!!timestamp":
		r.refuse(n.Line, field, "%s; allowed: a text, in quotes if it looks like a number", sort(n))
	case strings.TrimSpace(n.Value) == "" || len([]rune(n.Value)) > most || strings.ContainsFunc(n.Value, func(c rune) bool { return c < ' ' || c == 0x7f }):
		r.refuse(n.Line, field, "%q; allowed: 1 to %d letters on one line", clip(n.Value), most)
	default:
		return w, true
	}
	return w, false
}

// word reads a member that is a text; a need that is missing is refused.
func (t table) word(member string, need bool, most int) (word, bool) {
	n := t.members[member]
	if n == nil {
		if need && t.members != nil {
			t.refuse(t.line, t.at(member), "missing")
		}
		return word{}, false
	}
	return t.text(n, t.at(member), most)
}

// rows are the nodes of a member that is a list.
func (t table) rows(member string) []*yaml.Node {
	n := t.members[member]
	switch {
	case n == nil:
		return nil
	case n.Kind != yaml.SequenceNode:
		t.refuse(n.Line, t.at(member), "%s; allowed: a list", sort(n))
		return nil
	case len(n.Content) == 0:
		t.refuse(n.Line, t.at(member), "an empty list; leave it out or say something")
	}
	return n.Content
}

// words reads a member that is a list of texts, each once.
func (t table) words(member string) (list []word) {
	for i, n := range t.rows(member) {
		w, ok := t.text(n, fmt.Sprintf("%s[%d]", t.at(member), i), 100)
		if !ok {
			continue
		}
		if slices.ContainsFunc(list, func(other word) bool { return other.text == w.text }) {
			t.refuse(w.line, w.field, "%q stands here twice", clip(w.text))
			continue
		}
		list = append(list, w)
	}
	return list
}

// known keeps of a list what is one of the allowed; the others are refused.
func (t table) known(member, what string, allowed []string) (list []string) {
	for _, w := range t.words(member) {
		if !slices.Contains(allowed, w.text) {
			t.refuse(w.line, w.field, "%q is no %s; allowed: %s", clip(w.text), what, someOf(allowed))
			continue
		}
		list = append(list, w.text)
	}
	return list
}

func someOf(allowed []string) string {
	if len(allowed) == 0 {
		return "none, there is none"
	}
	return strings.Join(allowed, ", ")
}
