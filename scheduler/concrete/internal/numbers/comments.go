package numbers

import (
	"fmt"
	"go/ast"
	"go/doc"
	"go/doc/comment"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strings"
)

// comments holds the comments of a package's functions, methods and types.
type comments struct {
	pkg   *doc.Package
	texts map[string]string
}

// readComments parses the Go files of a folder, tests left out.
func readComments(folder string) (*comments, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("read comments: %w", err)
	}
	set := token.NewFileSet()
	var files []*ast.File
	for _, e := range entries {
		if e.IsDir() || !strings.HasSuffix(e.Name(), ".go") || strings.HasSuffix(e.Name(), "_test.go") {
			continue
		}
		f, err := parser.ParseFile(set, filepath.Join(folder, e.Name()), nil, parser.ParseComments)
		if err != nil {
			return nil, fmt.Errorf("read comments: %w", err)
		}
		files = append(files, f)
	}
	pkg, err := doc.NewFromFiles(set, files, "earlyage/scheduler/concrete")
	if err != nil {
		return nil, fmt.Errorf("read comments: %w", err)
	}
	c := &comments{pkg: pkg, texts: map[string]string{}}
	c.collect(pkg.Funcs, "")
	for _, t := range pkg.Types {
		c.texts[t.Name] = t.Doc
		c.collect(t.Funcs, "")
		c.collect(t.Methods, t.Name+".")
	}
	return c, nil
}

func (c *comments) collect(funcs []*doc.Func, prefix string) {
	for _, f := range funcs {
		c.texts[prefix+f.Name] = f.Doc
	}
}

// bracketed are links to other symbols, which a page of numbers does not have.
var bracketed = regexp.MustCompile(`\[([A-Z]\w*(?:\.\w+)*)\]`)

// markdown is the beginning of a symbol's comment: its first paragraph, with the
// formulas that it leads to.
func (c *comments) markdown(symbol string) (string, error) {
	text, ok := c.texts[symbol]
	if !ok || text == "" {
		return "", fmt.Errorf("comment of %s: none", symbol)
	}
	parsed := c.pkg.Parser().Parse(bracketed.ReplaceAllString(text, "$1"))
	var out []string
	for _, block := range parsed.Content {
		if formula, ok := block.(*comment.Code); ok {
			for line := range strings.Lines(formula.Text) {
				if line = strings.TrimSpace(line); line != "" {
					out = append(out, "`"+line+"`;")
				}
			}
			continue
		}
		if len(out) > 0 && !strings.HasSuffix(out[len(out)-1], ":") && !leadsOn(block) {
			break
		}
		out = append(out, c.paragraph(block))
	}
	return strings.TrimSuffix(strings.Join(out, " "), ";"), nil
}

// leadsOn says whether a paragraph ends in a colon, before a formula.
func leadsOn(block comment.Block) bool {
	p, ok := block.(*comment.Paragraph)
	if !ok || len(p.Text) == 0 {
		return false
	}
	last, ok := p.Text[len(p.Text)-1].(comment.Plain)
	return ok && strings.HasSuffix(strings.TrimSpace(string(last)), ":")
}

func (c *comments) paragraph(block comment.Block) string {
	md := c.pkg.Printer().Markdown(&comment.Doc{Content: []comment.Block{block}})
	return strings.Join(strings.Fields(string(md)), " ")
}
