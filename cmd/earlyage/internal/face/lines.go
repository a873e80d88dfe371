package face

import (
	"io"

	"earlyage/scheduler/concrete/unit"
)

// Table writes rows of cells under a head, lined up as every table of this
// package.
func Table(w io.Writer, head []string, rows [][]string) error {
	t := newTable(head...)
	for _, r := range rows {
		t.add(r...)
	}
	return t.write(w)
}

// Wrapped writes running text in lines of the width of a page, indented.
func Wrapped(w io.Writer, text, indent string) error { return wrapped(w, text, indent, width) }

// Length writes a length in metres in the units of a site.
func (p Page) Length(site string, metres float64) string {
	return unit.Format(unit.Length, metres, p.system(site))
}
