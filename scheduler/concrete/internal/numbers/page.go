package numbers

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strings"
)

const opening = `# The numbers, and what they are checked against

Made by ` + "`go generate ./scheduler/concrete`" + ` from the reference rows of testdata/reference, each of which
a test runs, and from the comments of the functions. Do not edit it: a test fails when it is stale.

How far a row was checked:

- **found**: the words or figures were read in the source named. Many sources are secondary.
- **from memory**: recalled from the document named, clause and numbers included. Very likely right; never shown to
  a reader as a limit of a code without these words.
- **computed**: arithmetic from the stated formula. A regression value, not an independent published one.
- **common practice, no source**: what the trade does.

A tolerance is for this library against the value as printed, not for the physics. All temperatures are in °C unless
an input says otherwise. A source is named by its number, S1 and so on, in the [list of sources](#sources).
`

// statuses in the order in which they are counted.
var statuses = []string{"found", "from memory", "computed", "common practice, no source"}

// page is the page as it grows.
type page struct {
	bytes.Buffer
	numbers map[string]int // of each source
	names   []string
	count   map[string]int // rows by source
	status  map[string]int // rows by status
	total   int
}

// Page makes the page from the folder of the package and the folder of the
// reference rows.
func Page(packageFolder, rowsFolder string) ([]byte, error) {
	rows, err := readRows(rowsFolder)
	if err != nil {
		return nil, err
	}
	c, err := readComments(packageFolder)
	if err != nil {
		return nil, err
	}
	p := &page{numbers: map[string]int{}, count: map[string]int{}, status: map[string]int{}}
	for _, t := range topics {
		for _, r := range rows[t.file] {
			if err := p.tally(r); err != nil {
				return nil, fmt.Errorf("%s item %s: %w", t.file, r.item, err)
			}
		}
	}
	_, _ = p.WriteString(opening)
	p.counts()
	for _, t := range topics {
		if err := p.topic(t, rows[t.file], c); err != nil {
			return nil, err
		}
	}
	if err := p.disagreements(rows); err != nil {
		return nil, err
	}
	p.sources()
	return p.Bytes(), nil
}

// tally counts a row, and numbers its source when it is first met.
func (p *page) tally(r row) error {
	if !slices.Contains(statuses, r.status) {
		return fmt.Errorf("status %q is none", r.status)
	}
	if _, known := p.numbers[r.source]; !known {
		p.names = append(p.names, r.source)
		p.numbers[r.source] = len(p.names)
	}
	p.count[r.source]++
	p.status[r.status]++
	p.total++
	return nil
}

func (p *page) counts() {
	_, _ = p.WriteString("\n## Rows\n\n| Status | Rows |\n|---|---:|\n")
	for _, s := range statuses {
		fmt.Fprintf(p, "| %s | %d |\n", s, p.status[s])
	}
	fmt.Fprintf(p, "| all | %d |\n", p.total)
	fmt.Fprintf(p, "\nThe rows name %d sources; one publication may stand there with several remarks.\n", len(p.names))
}

// topic writes one section: what its functions are, and its rows.
func (p *page) topic(t topic, rows []row, c *comments) error {
	if t.title == "" {
		return nil
	}
	fmt.Fprintf(p, "\n## %s\n\n", t.title)
	for _, s := range t.symbols {
		text, err := c.markdown(s)
		if err != nil {
			return fmt.Errorf("topic %q: %w", t.title, err)
		}
		fmt.Fprintf(p, "- `%s`: %s\n", s, text)
	}
	p.table(rows)
	return nil
}

func (p *page) table(rows []row) {
	_, _ = p.WriteString("\n| Item | What | Inputs | Expected | Tolerance | Source | Status |\n|---|---|---|---:|---:|---|---|\n")
	for _, r := range rows {
		expected := r.expected
		if r.unit != "" && r.unit != "1" {
			expected += " " + r.unit
		}
		n := p.numbers[r.source]
		fmt.Fprintf(p, "| %s | %s: %s | %s | %s | %s | [S%d](#s%d) | %s |\n", cell(r.item), cell(r.function), cell(r.output),
			cell(strings.ReplaceAll(r.inputs, ";", "; ")), cell(expected), cell(r.tolerance), n, n, cell(r.status))
	}
}

// cell makes text fit for a cell of a table.
func cell(s string) string {
	return strings.NewReplacer("|", `\|`, "\n", " ", "<", "&lt;", "*", `\*`).Replace(s)
}

// disagreements lists where sources disagree, with the rows that assert it.
func (p *page) disagreements(rows map[string][]row) error {
	_, _ = p.WriteString("\n## 16. Where sources disagree\n")
	for _, d := range disagreements {
		mine := d.rows(rows)
		if (len(mine) == 0) != (d.uncheckable != "") {
			return fmt.Errorf("disagreement 16.%d: %d rows, and said to be uncheckable: %q", d.number, len(mine), d.uncheckable)
		}
		fmt.Fprintf(p, "\n### 16.%d\n\n%s **Here:** %s\n", d.number, d.what, d.done)
		if d.uncheckable != "" {
			fmt.Fprintf(p, "\nNot asserted: %s.\n", d.uncheckable)
			continue
		}
		p.table(mine)
	}
	return nil
}

// rows are the rows of a disagreement, of whatever file.
func (d disagreement) rows(all map[string][]row) []row {
	var out []row
	for _, file := range slices.Sorted(maps.Keys(all)) {
		for _, r := range all[file] {
			if r.item == fmt.Sprintf("16.%d", d.number) {
				out = append(out, r)
			}
		}
	}
	return out
}

// sources lists every source with its rows, by number.
func (p *page) sources() {
	_, _ = p.WriteString("\n## Sources\n\n| | Source | Rows |\n|---|---|---:|\n")
	for i, name := range p.names {
		fmt.Fprintf(p, "| <a id=\"s%d\"></a>S%d | %s | %d |\n", i+1, i+1, cell(name), p.count[name])
	}
}
