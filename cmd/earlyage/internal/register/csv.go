package register

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"

	"earlyage/cmd/earlyage/internal/face"
)

// CSV writes a line for each brace under a line of heads: RFC 4180, UTF-8 without
// a mark, moments as ISO 8601 with the site's offset, numbers with a point.
//
// A program for sheets takes a text that begins with = + - or @, a tabulator or a
// carriage return for a formula (OWASP, CSV Injection; from memory). Such a text
// is written after an underscore. Numbers are left as they are.
func (r *Register) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	cells := make([]string, len(columns))
	for i, c := range columns {
		cells[i] = c.key
	}
	if err := out.Write(cells); err != nil {
		return fmt.Errorf("write CSV: %w", err)
	}
	for l := range r.lines {
		for i, c := range columns {
			cells[i] = plain(c.value(l), l)
		}
		if err := out.Write(cells); err != nil {
			return fmt.Errorf("write CSV: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("write CSV: %w", err)
	}
	return nil
}

func plain(v any, l line) string {
	switch x := v.(type) {
	case nil:
		return ""
	case string:
		return harmless(x)
	case int:
		return strconv.Itoa(x)
	case uint64:
		return strconv.FormatUint(x, 10)
	case number:
		return x.String()
	case face.Time:
		return in(x, l.zone)
	default:
		panic(fmt.Sprintf("register: a cell of %T", v))
	}
}

// harmless is a text that no program for sheets takes for a formula.
func harmless(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "_" + s
	}
	return s
}
