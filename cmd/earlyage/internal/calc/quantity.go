package calc

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"github.com/alecthomas/kong"

	"earlyage/scheduler/concrete/unit"
)

// measure says how one kind of value is read and written: by a dimension of
// package unit, or by units of its own, the first of which is the base unit.
type measure struct {
	name      string
	dimension unit.Dimension
	own       []ownUnit
	us        string // the unit written for US, if not the first
	whole     bool   // only whole numbers
	si, cu    int    // digits after the point in SI and in US customary units
}

type ownUnit struct {
	symbol string
	names  []string // further spellings
	size   float64  // of one in the base unit
}

// parse reads a value with its unit.
func (m measure) parse(text string) (float64, error) {
	if m.dimension != 0 {
		v, err := unit.Parse(m.dimension, text)
		if err != nil {
			return 0, err
		}
		return v, nil
	}
	number := plainNumber.FindString(text)
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil {
		return 0, fmt.Errorf("read %s %q: no number where one is due%s", m.name, clip(text), m.allowed())
	}
	if m.whole && v != math.Trunc(v) {
		return 0, fmt.Errorf("read %s %q: a whole number is due", m.name, clip(text))
	}
	written := strings.TrimSpace(text[len(number):])
	for _, u := range m.own {
		for _, name := range append([]string{u.symbol}, u.names...) {
			if strings.EqualFold(name, written) {
				return v * u.size, nil
			}
		}
	}
	if written == "" {
		return 0, fmt.Errorf("read %s %q: no unit after %s%s", m.name, clip(text), strings.TrimSpace(number), m.allowed())
	}
	return 0, fmt.Errorf("read %s %q: unknown unit %q%s", m.name, clip(text), clip(written), m.allowed())
}

var plainNumber = regexp.MustCompile(`^\s*[-+]?(?:\d+(?:\.\d+)?|\.\d+)`)

func (m measure) allowed() string {
	var symbols []string
	for _, u := range m.own {
		if u.symbol != "" {
			symbols = append(symbols, u.symbol)
		}
	}
	if len(symbols) == 0 {
		return ": a plain number, without a unit"
	}
	return " (allowed units: " + strings.Join(symbols, ", ") + ")"
}

func clip(text string) string {
	const most = 64
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most], "")
}

// in gives a value of the base unit in the unit of a system, and its symbol.
func (m measure) in(base float64, sys unit.System) (float64, string) {
	if m.dimension != 0 {
		return unit.In(m.dimension, base, sys)
	}
	shown := m.own[0]
	for _, u := range m.own {
		if sys == unit.US && u.symbol == m.us {
			shown = u
		}
	}
	return base / shown.size, shown.symbol
}

// format writes a value with its unit and the usual digits.
func (m measure) format(base float64, sys unit.System) string {
	v, symbol := m.in(base, sys)
	digits := m.si
	if sys == unit.US {
		digits = m.cu
	}
	return join(decimals(v, digits), symbol)
}

// bound writes a limit with its unit, with no more digits than it has.
func (m measure) bound(base float64, sys unit.System) string {
	v, symbol := m.in(base, sys)
	return join(number(v), symbol)
}

func join(number, symbol string) string { return strings.TrimSpace(number + " " + symbol) }

// decimals writes a number with so many digits after the point, and no minus
// before nothing.
func decimals(v float64, digits int) string {
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	return text
}

// number writes a number in at most six digits.
func number(v float64) string {
	text := strconv.FormatFloat(v, 'g', 6, 64)
	if short, err := strconv.ParseFloat(text, 64); err == nil {
		text = strconv.FormatFloat(short, 'f', -1, 64)
	}
	return text
}

// kind is a measure as a type, so that a flag's type says what it measures.
type kind interface{ measure() measure }

// q is the value of a flag: in the base unit, and as it was typed. The zero q
// was not given.
type q[K kind] struct {
	base float64
	text string
}

// Decode implements kong.MapperValue. A value below zero may stand as a word of
// its own: "--temp -5C" is as good as "--temp=-5C".
func (v *q[K]) Decode(ctx *kong.DecodeContext) error {
	var of K
	m := of.measure()
	token := ctx.Scan.Peek()
	text, _ := token.Value.(string)
	if !token.IsValue() && !negative.MatchString(text) {
		_, err := ctx.Scan.PopValue(m.name)
		if err == nil {
			err = errors.New("no value")
		}
		return err
	}
	ctx.Scan.Pop()
	base, err := m.parse(text)
	if err != nil {
		return err
	}
	v.base, v.text = base, text
	return nil
}

var negative = regexp.MustCompile(`^[-−]\s*\.?\d`)

func (v q[K]) given() bool { return v.text != "" }

// or is the value, or another where none was given.
func (v q[K]) or(other float64) float64 {
	if v.given() {
		return v.base
	}
	return other
}

// typed and limit make a flag's value legible to refusals and to JSON.
func (v q[K]) typed() string { return v.text }

func (v q[K]) value() float64 { return v.base }

// limit writes a bound that the library gave in a unit. Durations count in h,
// and the library gives some of them in minutes and days.
func (v q[K]) limit(bound float64, symbol string, sys unit.System) string {
	var of K
	m := of.measure()
	if m.dimension == unit.Duration {
		switch symbol {
		case "min":
			bound /= 60
		case "d":
			bound *= 24
		}
	}
	return m.bound(bound, sys)
}
