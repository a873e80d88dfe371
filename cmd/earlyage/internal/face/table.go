package face

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// table lines up rows of cells under a head, two spaces apart. A line never
// ends in a space.
type table struct{ rows [][]string }

func newTable(head ...string) *table {
	t := &table{}
	if len(head) > 0 {
		t.add(head...)
	}
	return t
}

func (t *table) add(cells ...string) { t.rows = append(t.rows, cells) }

func (t *table) write(w io.Writer) error {
	var buf bytes.Buffer
	tw := tabwriter.NewWriter(&buf, 0, 8, 2, ' ', 0)
	for _, row := range t.rows {
		for i, cell := range row {
			row[i] = oneLine(cell)
		}
		if _, err := fmt.Fprintln(tw, strings.Join(row, "\t")); err != nil {
			return fmt.Errorf("write table: %w", err)
		}
	}
	if err := tw.Flush(); err != nil {
		return fmt.Errorf("write table: %w", err)
	}
	for line := range strings.Lines(buf.String()) {
		if _, err := fmt.Fprintln(w, strings.TrimRight(line, " \n")); err != nil {
			return fmt.Errorf("write table: %w", err)
		}
	}
	return nil
}

// oneLine makes a cell of any text: what could break the table, or command a
// terminal, becomes a space.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r >= 0x7f && r < 0xa0 {
			return ' '
		}
		return r
	}, s)
}

// wrapped writes text in lines of at most width bytes, indented.
func wrapped(w io.Writer, text, indent string, width int) error {
	line := ""
	flush := func() error {
		if line == "" {
			return nil
		}
		_, err := fmt.Fprintln(w, indent+line)
		line = ""
		return err
	}
	for word := range strings.FieldsSeq(oneLine(text)) {
		if line != "" && len(indent)+len(line)+1+len(word) > width {
			if err := flush(); err != nil {
				return err
			}
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return flush()
}
