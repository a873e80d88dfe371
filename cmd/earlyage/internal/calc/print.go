package calc

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode/utf8"

	"earlyage/scheduler/concrete/unit"
)

const (
	width  = 100 // columns of running text
	margin = 9   // columns of the words "Source" and so on
)

// writeText writes an answer for people.
func (a *answer) writeText(w io.Writer, sys unit.System) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s\n\n", a.title)
	var lines [][]string
	for _, f := range a.figures {
		if f.row {
			continue
		}
		lines = append(lines, []string{spaced(f.name), f.shown(sys), f.note})
	}
	columns(&b, "  ", lines)
	if len(a.table) > 0 {
		if len(lines) > 0 {
			b.WriteString("\n")
		}
		columns(&b, "  ", a.table)
	}
	if len(a.working) > 0 {
		b.WriteString("\nWorking\n")
		for _, line := range a.working {
			fmt.Fprintf(&b, "  %s\n", line)
		}
	}
	b.WriteString("\n")
	paragraph(&b, "Source", a.source)
	paragraph(&b, "Status", a.status)
	paragraph(&b, "Range", a.valid)
	for _, n := range a.notes {
		paragraph(&b, "Note", n)
	}
	paragraph(&b, "Caution", a.caution)
	if _, err := b.WriteTo(w); err != nil {
		return fmt.Errorf("write result: %w", err)
	}
	return nil
}

// columns lines up cells; no line ends in a space.
func columns(b *bytes.Buffer, indent string, rows [][]string) {
	var table bytes.Buffer
	t := tabwriter.NewWriter(&table, 0, 8, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintln(t, strings.Join(r, "\t"))
	}
	_ = t.Flush() // a bytes.Buffer takes everything
	for line := range strings.Lines(table.String()) {
		fmt.Fprintln(b, strings.TrimRight(indent+line, " \n"))
	}
}

// paragraph writes a word and its text, wrapped beside it. No text, no word.
func paragraph(b *bytes.Buffer, word, text string) {
	if text == "" {
		return
	}
	line := fmt.Sprintf("%-*s", margin, word)
	used := margin
	for i, w := range strings.Fields(text) {
		size := utf8.RuneCountInString(w)
		switch {
		case i == 0:
		case used+1+size > width:
			fmt.Fprintln(b, line)
			line, used = strings.Repeat(" ", margin), margin
		default:
			line, used = line+" ", used+1
		}
		line, used = line+w, used+size
	}
	fmt.Fprintln(b, line)
}

// jsonFigure is a number with its unit; a word has no unit.
type jsonFigure struct {
	Value any    `json:"value"`
	Unit  string `json:"unit"`
}

type jsonAnswer struct {
	Result  map[string]jsonFigure `json:"result"`
	Source  string                `json:"source"`
	Status  string                `json:"status"`
	Range   string                `json:"range"`
	Notes   []string              `json:"notes,omitempty"`
	Caution string                `json:"caution,omitempty"`
	Inputs  map[string]any        `json:"inputs"`
}

// writeJSON writes an answer for programs. Numbers are not rounded.
func (a *answer) writeJSON(w io.Writer, sys unit.System, inputs map[string]any) error {
	out := jsonAnswer{
		Result: map[string]jsonFigure{}, Source: a.source, Status: a.status, Range: a.valid,
		Notes: a.notes, Caution: a.caution, Inputs: inputs,
	}
	for _, f := range a.figures {
		if f.word != "" {
			out.Result[f.name] = jsonFigure{Value: f.word}
			continue
		}
		v, symbol := f.of.in(f.base, sys)
		out.Result[f.name] = jsonFigure{Value: v, Unit: symbol}
	}
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(out); err != nil {
		return fmt.Errorf("write result: %w", err)
	}
	return nil
}
