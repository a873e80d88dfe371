package calc

import (
	"io"
	"reflect"

	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"earlyage/scheduler/concrete"
)

// ReadTemps reads a temperature history as --temps does.
func ReadTemps(from io.Reader) (concrete.Series, error) {
	s, err := parseCSV(from)
	if err != nil {
		return nil, err
	}
	out, err := s.story(s.column(0, timeWords...), s.column(1, temperatureWords...), "C")
	return out.Series, err
}

// HasUnit says whether a flag's value is a quantity.
func HasUnit(v reflect.Value) bool {
	_, ok := v.Interface().(quantity)
	return ok
}

// Own parses a quantity that is no dimension of package unit, and writes it.
func Own(text string) (float64, string, error) {
	v, err := inResistance.parse(text)
	return v, inResistance.format(v, 0), err
}

// Draw draws one curve.
func Draw(name string, points plotter.XYs) ([]byte, error) {
	p := &picture{title: "a <b>", desc: "c & d", x: "x", y: "y", curves: []line{{name, points}}}
	return p.svg()
}

// Spread moves heights apart as the names of curves are.
func Spread(heights []float64, least, most float64) []float64 {
	tags := make([]tag, len(heights))
	for i, h := range heights {
		tags[i].at = vg.Length(h)
	}
	spread(tags, vg.Length(least), vg.Length(most))
	out := make([]float64, len(tags))
	for i, t := range tags {
		out[i] = float64(t.at)
	}
	return out
}

// Strokes are the colours and dashes of curves.
func Strokes() []draw.LineStyle { return strokes }

// LineGap is how far names stand apart.
const LineGap = lineGap
