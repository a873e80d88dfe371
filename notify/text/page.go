package text

import (
	_ "embed"
	"fmt"
	"html/template"
	"strconv"
	"strings"
)

// A page is a whole message before it is plain text or HTML.
type page struct {
	Lang    string
	Title   string // the first line
	Lead    string
	Parts   []part
	Link    string
	Open    string // what the link is called
	Caution string
}

// A part has rows, or lines that may be numbered.
type part struct {
	Head    string
	Rows    []row
	Lines   []string
	Ordered bool
}

type row struct{ Label, Text string }

// plain writes the page as text, one line for each thing.
func (p page) plain(open string) string {
	var b strings.Builder
	fmt.Fprintln(&b, p.Title)
	if p.Lead != "" {
		fmt.Fprintf(&b, "\n%s\n", p.Lead)
	}
	for _, part := range p.Parts {
		fmt.Fprintln(&b)
		if part.Head != "" {
			fmt.Fprintf(&b, "%s:\n", part.Head)
		}
		for _, r := range part.Rows {
			fmt.Fprintf(&b, "%s: %s\n", r.Label, r.Text)
		}
		for i, line := range part.Lines {
			mark := "-"
			if part.Ordered {
				mark = strconv.Itoa(i+1) + "."
			}
			fmt.Fprintf(&b, "%s %s\n", mark, line)
		}
	}
	if p.Link != "" {
		fmt.Fprintf(&b, "\n%s\n", open)
	}
	if p.Caution != "" {
		fmt.Fprintf(&b, "\n%s\n", p.Caution)
	}
	return b.String()
}

//go:embed page.html
var pageHTML string

var pages = template.Must(template.New("page").Parse(pageHTML))

// html writes the page. The template has no part that can fail on a page.
func (p page) html() string {
	var b strings.Builder
	if err := pages.Execute(&b, p); err != nil {
		panic(fmt.Sprintf("text: %v", err))
	}
	return b.String()
}

// Short is the title of the document: the first line, cut.
func (p page) Short() string { return clip(p.Title, 70) }
