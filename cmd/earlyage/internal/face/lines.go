package face

import (
	"io"
	"math"
	"strconv"

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

// Lowest writes the lowest of temperatures in °C in the units of a site, rounded
// down, and Highest the highest, rounded up: what lies between is never told too
// narrow.
func (p Page) Lowest(site string, celsius float64) string {
	v, symbol := unit.In(unit.Temperature, celsius, p.system(site))
	return tenths(math.Floor(float64(v*10)+1e-6), symbol)
}

// Highest is as Lowest says.
func (p Page) Highest(site string, celsius float64) string {
	v, symbol := unit.In(unit.Temperature, celsius, p.system(site))
	return tenths(math.Ceil(float64(v*10)-1e-6), symbol)
}

func tenths(n float64, symbol string) string {
	return strconv.FormatFloat((n+0)/10, 'f', 1, 64) + " " + symbol
}
