package unit

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

const (
	maxText   = 64  // bytes; nobody writes a longer quantity
	maxNumber = 1e9 // a larger one is a slip of the hand in every dimension
)

// Error says why a text is no value of a dimension.
type Error struct {
	Dimension Dimension
	Text      string   // as given, cut to 64 bytes
	Reason    string   // as in "no unit after 7"
	Units     []string // what would have been accepted
}

// Error names the dimension, the text, the reason and the units allowed.
func (e *Error) Error() string {
	return fmt.Sprintf("read %s %q: %s (allowed units: %s)", e.Dimension, e.Text, e.Reason, strings.Join(e.Units, ", "))
}

// Parse reads a quantity of the dimension and returns it in the base unit,
// which is documented beside each [Dimension].
//
// Numbers are written with digits and a point, whole fractions ("1/2", "5 1/2",
// "5-1/2") and one sign in front. A larger unit may be followed by a smaller
// one where that is the custom: "5 ft 6 in", "1 h 30 min", "2 d 6 h". Upper and
// lower case are the same.
//
// The error is an [*Error], for: no unit, a unit of another dimension, a comma,
// an exponent, a value below zero in a dimension that has none, a temperature
// below -100 °C, a number over 1e9, and anything else.
func Parse(d Dimension, text string) (float64, error) {
	t, ok := d.table()
	if !ok {
		return 0, fmt.Errorf("read quantity %q: %s is unknown", clip(text), d)
	}
	v, reason := parse(t, text)
	if reason != "" {
		return 0, &Error{Dimension: d, Text: clip(text), Reason: reason, Units: d.Units()}
	}
	return v, nil
}

func clip(text string) string {
	if len(text) <= maxText {
		return text
	}
	return strings.ToValidUTF8(text[:maxText], "")
}

// spellings maps what keyboards and typesetters make of the plain characters. A
// raised digit is a power only behind a unit: "5²" must not become 52.
var spellings = strings.NewReplacer(
	"m³", "m3", "m²", "m2", "t³", "t3", "t²", "t2", "d³", "d3", "n²", "n2",
	"m^3", "m3", "m^2", "m2", "t^3", "t3", "t^2", "t2", "d^3", "d3", "n^2", "n2",
	"\t", " ", "−", "-", "–", "-", "⁄", "/", "º", "°",
	"’", "'", "′", "'", "”", `"`, "″", `"`,
	"\u00a0", " ", "\u2009", " ", "\u202f", " ",
)

// parse returns the value, or the reason why there is none.
func parse(t dimension, text string) (float64, string) {
	if len(text) > maxText {
		return 0, fmt.Sprintf("longer than %d bytes", maxText)
	}
	rest := strings.TrimSpace(spellings.Replace(text))
	sign := 1.0
	if body, ok := strings.CutPrefix(rest, "-"); ok {
		rest, sign = strings.TrimSpace(body), -1
	} else if body, ok := strings.CutPrefix(rest, "+"); ok {
		rest = strings.TrimSpace(body)
	}
	size, reason := parts(t, sign, rest)
	if reason != "" {
		return 0, reason
	}
	if size == 0 {
		size = 0 // of minus nothing make nothing
	}
	if size < t.min {
		if t.min == 0 {
			return 0, "below zero"
		}
		return 0, "below " + strconv.FormatFloat(t.min, 'f', -1, 64) + " " + t.si.symbol
	}
	return size, ""
}

// parts adds up "5 ft 6 in": every part but the last is a whole number, and
// every part but the first is less than one of the unit before it.
func parts(t dimension, sign float64, rest string) (float64, string) {
	total, last, whole := 0.0, -1, true
	for first := true; first || rest != ""; first = false {
		number, written, after, reason := readNumber(rest)
		if reason != "" {
			return 0, reason
		}
		next, tail, reason := readUnit(t, written, after)
		if reason != "" {
			return 0, reason
		}
		s := t.scales[next]
		value := (float64(sign*number) - s.zero) * s.mul / s.div
		if !first {
			reason = follows(t, last, next, whole, math.Abs(value))
		}
		if reason != "" {
			return 0, reason
		}
		total, last, whole, rest = total+value, next, number == math.Trunc(number), tail
	}
	return total, ""
}

// follows says why a part in unit next may not follow a part in unit last.
func follows(t dimension, last, next int, whole bool, value float64) string {
	if next <= last || !partOf(t, last, next) {
		return fmt.Sprintf("%s may not follow %s", t.scales[next].names[0], t.scales[last].names[0])
	}
	if !whole {
		return fmt.Sprintf("only a whole number of %s may be followed by %s", t.scales[last].names[0], t.scales[next].names[0])
	}
	if value >= t.scales[last].mul/t.scales[last].div {
		return fmt.Sprintf("as much as 1 %s or more written in %s after it", t.scales[last].names[0], t.scales[next].names[0])
	}
	return ""
}

// partOf says whether every unit after last, up to next, is a part of the one
// listed before it.
func partOf(t dimension, last, next int) bool {
	for _, s := range t.scales[last+1 : next+1] {
		if !s.part {
			return false
		}
	}
	return true
}

var (
	fractionForm = regexp.MustCompile(`^(?:(\d+)(?: +|-))?(\d+) */ *(\d+)`)
	decimalForm  = regexp.MustCompile(`^(?:\d+(?:\.\d+)?|\.\d+)`)
)

// readNumber reads the number in front of s. It returns the number, how it was
// written, what follows it, and a reason if there is none.
func readNumber(s string) (number float64, written, rest, reason string) {
	if m := fractionForm.FindStringSubmatch(s); m != nil {
		whole, num, den := digits(m[1]), digits(m[2]), digits(m[3])
		if den == 0 || (m[1] != "" && num >= den) {
			return 0, "", "", fmt.Sprintf("%q is no fraction", m[0])
		}
		number, written = whole+num/den, m[0]
	} else {
		written = decimalForm.FindString(s)
		if written == "" {
			return 0, "", "", "no number where one is due"
		}
		number = digits(written)
	}
	rest = s[len(written):]
	if strings.HasPrefix(rest, ",") {
		return 0, "", "", "a comma in the number: write a point for decimals and no mark for thousands"
	}
	if number > maxNumber {
		return 0, "", "", "a number over 1e9"
	}
	return number, written, strings.TrimLeft(rest, " "), ""
}

// digits reads what the forms above have matched; empty is 0. At 64 bytes no
// such number is out of a float's range.
func digits(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0
	}
	return v
}

// readUnit finds the longest name of a unit in front of s: first as spelt, then
// whatever the case. It returns the unit's place in the list and what follows.
func readUnit(t dimension, number, s string) (next int, rest, reason string) {
	if s == "" || unicode.IsDigit(rune(s[0])) {
		return 0, "", "no unit after " + number
	}
	for _, same := range []func(a, b string) bool{func(a, b string) bool { return a == b }, strings.EqualFold} {
		found, length := -1, 0
		for i, sc := range t.scales {
			for _, name := range sc.names {
				if len(name) > length && len(s) >= len(name) && same(s[:len(name)], name) && ends(t, i, s[len(name):]) {
					found, length = i, len(name)
				}
			}
		}
		if found >= 0 {
			return found, strings.TrimLeft(s[length:], " "), ""
		}
	}
	return 0, "", fmt.Sprintf("unknown unit %q", s)
}

// ends says whether a unit's name may end where after begins. A digit may come
// at once only where a smaller unit may follow: "5ft6in", but never "m3".
func ends(t dimension, scale int, after string) bool {
	if after == "" {
		return true
	}
	r, _ := utf8.DecodeRuneInString(after)
	if unicode.IsDigit(r) {
		return scale+1 < len(t.scales) && t.scales[scale+1].part
	}
	return r == ' '
}
