package calc

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"unicode"
)

// mostBytes is the size of the largest file read: years of readings.
const mostBytes = 16 << 20

// row is a line of a file with its cells.
type row struct {
	line  int
	cells []string
}

// sheet is a CSV file: a head, if it has one, and rows.
type sheet struct {
	head []string
	rows []row
}

// readCSV reads a file of at least two columns. Lines that are empty or begin
// with # are passed over. The first row is a head if its first cell holds no
// digit.
func readCSV(flag, file string) (sheet, error) {
	f, err := os.Open(file)
	if err != nil {
		return sheet{}, &InputError{Flag: flag, Value: file, Reason: "cannot be read: " + plainCause(err), cause: err}
	}
	defer f.Close()
	s, err := parseCSV(f)
	if err != nil {
		return sheet{}, &InputError{Flag: flag, Value: file, Reason: err.Error(), cause: err}
	}
	return s, nil
}

// plainCause is the reason without the file's name, which stands beside it.
func plainCause(err error) string {
	var at *os.PathError
	if errors.As(err, &at) {
		return at.Err.Error()
	}
	return err.Error()
}

func parseCSV(from io.Reader) (sheet, error) {
	limited := &io.LimitedReader{R: from, N: mostBytes + 1}
	r := csv.NewReader(limited)
	r.FieldsPerRecord, r.TrimLeadingSpace, r.Comment = -1, true, '#'
	var s sheet
	for first := true; ; first = false {
		cells, err := r.Read()
		if limited.N == 0 {
			return sheet{}, fmt.Errorf("longer than %d MiB", mostBytes>>20)
		}
		if errors.Is(err, io.EOF) {
			return s, nil
		}
		if err != nil {
			return sheet{}, err
		}
		line, _ := r.FieldPos(0)
		for i := range cells {
			cells[i] = strings.TrimSpace(strings.TrimPrefix(cells[i], "\ufeff"))
		}
		if len(cells) < 2 {
			return sheet{}, fmt.Errorf("line %d: %d column, wanted two", line, len(cells))
		}
		if first && !strings.ContainsFunc(cells[0], unicode.IsDigit) {
			s.head = cells
			continue
		}
		s.rows = append(s.rows, row{line, cells})
	}
}

// column finds the place of a column by the words of its head; without a head,
// or without such a word, it is the place given.
func (s sheet) column(place int, words ...string) int {
	for i, cell := range s.head {
		for _, part := range parts(cell) {
			for _, w := range words {
				if strings.EqualFold(part, w) {
					return i
				}
			}
		}
	}
	return place
}

// headUnit is the unit that the head of a column names, if it does.
func (s sheet) headUnit(place int, of measure) string {
	if place >= len(s.head) {
		return ""
	}
	for _, part := range parts(s.head[place]) {
		if _, err := of.parse("1 " + part); err == nil {
			return part
		}
	}
	return ""
}

// parts are the words of a head: "temperature_C" and "temp (°C)" are two each.
func parts(cell string) []string {
	return strings.FieldsFunc(cell, func(r rune) bool { return unicode.IsSpace(r) || strings.ContainsRune("_()[]:", r) })
}

// cell reads a cell in a measure: with its unit, or as a bare number in the
// unit given.
func (r row) cell(place int, of measure, bare string) (float64, error) {
	if place >= len(r.cells) {
		return 0, fmt.Errorf("line %d: no %s", r.line, of.name)
	}
	text := r.cells[place]
	if _, err := strconv.ParseFloat(text, 64); err == nil {
		text += " " + bare
	}
	v, err := of.parse(text)
	if err != nil {
		return 0, fmt.Errorf("line %d: %w", r.line, err)
	}
	return v, nil
}

// pairs reads a file of two columns, each a measure with the unit of its bare
// numbers; a head may name another unit.
func pairs(flag, file string, of [2]measure, bare [2]string) ([][2]float64, []int, error) {
	s, err := readCSV(flag, file)
	if err != nil {
		return nil, nil, err
	}
	for i := range of {
		if named := s.headUnit(i, of[i]); named != "" {
			bare[i] = named
		}
	}
	var out [][2]float64
	var lines []int
	for _, r := range s.rows {
		var pair [2]float64
		for i := range pair {
			if pair[i], err = r.cell(i, of[i], bare[i]); err != nil {
				return nil, nil, &InputError{Flag: flag, Value: file, Reason: err.Error(), cause: err}
			}
		}
		out, lines = append(out, pair), append(lines, r.line)
	}
	return out, lines, nil
}
