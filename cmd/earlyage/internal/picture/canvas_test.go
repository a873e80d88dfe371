package picture_test

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/picture"
)

// seen is a canvas that remembers what was painted, in order.
type seen struct {
	figures []figure
}

// figure is a path, or a text.
type figure struct {
	lines [][]picture.Point
	style picture.Style
	text  picture.Text
	reach picture.Box // of the path
}

func (s *seen) Path(lines [][]picture.Point, st picture.Style) {
	b := picture.Box{X0: math.Inf(1), Y0: math.Inf(1), X1: math.Inf(-1), Y1: math.Inf(-1)}
	for _, line := range lines {
		for _, p := range line {
			b = picture.Box{X0: min(b.X0, p.X), Y0: min(b.Y0, p.Y), X1: max(b.X1, p.X), Y1: max(b.Y1, p.Y)}
		}
	}
	s.figures = append(s.figures, figure{lines: lines, style: st, reach: b})
}

func (s *seen) Text(t picture.Text) { s.figures = append(s.figures, figure{text: t}) }

func look(d *picture.Drawing) *seen {
	s := &seen{}
	d.Paint(s)
	return s
}

func (s *seen) texts() []picture.Text {
	var out []picture.Text
	for i := range s.figures {
		f := &s.figures[i]
		if f.text.Say != "" {
			out = append(out, f.text)
		}
	}
	return out
}

func (s *seen) words() string {
	var out []string
	for _, t := range s.texts() {
		out = append(out, t.Say)
	}
	return strings.Join(out, "\n")
}

// fills reports whether a figure's fill covers a point, by the even-odd rule.
func (f *figure) fills(p picture.Point) bool {
	if f.style.Fill == "" || p.X < f.reach.X0 || p.X > f.reach.X1 || p.Y < f.reach.Y0 || p.Y > f.reach.Y1 {
		return false
	}
	inside := false
	for _, line := range f.lines {
		for i, a := range line {
			b := line[(i+1)%len(line)]
			if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
				inside = !inside
			}
		}
	}
	return inside
}

// strokes reports whether a figure's line runs through a box.
func (f *figure) strokes(b picture.Box) bool {
	r := f.reach
	if f.style.Stroke == "" || f.style.WidthPX == 0 || r.X0 > b.X1 || r.X1 < b.X0 || r.Y0 > b.Y1 || r.Y1 < b.Y0 {
		return false
	}
	for _, line := range f.lines {
		n := len(line) - 1
		if f.style.Closed {
			n++
		}
		for i := range n {
			if crosses(line[i], line[(i+1)%len(line)], b) {
				return true
			}
		}
	}
	return false
}

// crosses clips a line to a box (Liang and Barsky) and reports whether any is left.
func crosses(p, q picture.Point, b picture.Box) bool {
	from, to := 0.0, 1.0
	for _, e := range [...][2]float64{{p.X - q.X, p.X - b.X0}, {q.X - p.X, b.X1 - p.X}, {p.Y - q.Y, p.Y - b.Y0}, {q.Y - p.Y, b.Y1 - p.Y}} {
		switch along, room := e[0], e[1]; {
		case along == 0 && room < 0:
			return false
		case along < 0:
			from = max(from, room/along)
		case along > 0:
			to = min(to, room/along)
		}
	}
	return from <= to
}

// checkDrawing asserts what holds of every drawing. What is asked of each pair of
// figures is asked without require, which looks for its caller each time.
func checkDrawing(t require.TestingT, d *picture.Drawing) {
	s := look(d)
	checkInside(t, d, s)
	checkApart(t, s)
	checkLegible(t, s)
	checkDocument(t, d)
}

func checkInside(t require.TestingT, d *picture.Drawing, s *seen) {
	for _, x := range s.texts() {
		b := x.Box()
		within := b.X0 >= 0 && b.X1 <= d.WidthPX && b.Y0 >= 0 && b.Y1 <= d.HeightPX
		require.True(t, within, "%q lies at %v, the picture is %v by %v", x.Say, b, d.WidthPX, d.HeightPX)
	}
	for i := range s.figures {
		f := &s.figures[i]
		for _, line := range f.lines {
			for _, p := range line {
				// A NaN is within nothing.
				if within := p.X >= -0.01 && p.X <= d.WidthPX+0.01 && p.Y >= -0.01 && p.Y <= d.HeightPX+0.01; !within {
					require.Fail(t, "outside", "%v of %+v, the picture is %v by %v", p, f.style, d.WidthPX, d.HeightPX)
				}
			}
		}
	}
}

func checkApart(t require.TestingT, s *seen) {
	texts := s.texts()
	boxes := make([]picture.Box, len(texts))
	for i, a := range texts {
		boxes[i] = a.Box()
		for k, b := range boxes[:i] {
			if b.Meets(boxes[i]) {
				require.Fail(t, "one text on another", "%q at %v lies on %q at %v", texts[k].Say, b, a.Say, boxes[i])
			}
		}
	}
}

// checkLegible: what lies under a text contrasts with it by 4.5, and no line
// runs through it, under it or over it.
func checkLegible(t require.TestingT, s *seen) {
	for i := range s.figures {
		f := &s.figures[i]
		if f.text.Say == "" {
			continue
		}
		b := f.text.Box()
		// The widths are the widest of three fonts; the heights reach from the
		// highest accent to the lowest tail.
		core := picture.Box{X0: b.X0 + 2, Y0: b.Y0 + (b.Y1-b.Y0)*0.15, X1: b.X1 - 2, Y1: b.Y1 - (b.Y1-b.Y0)*0.2}
		ground := 0
		for k := range i {
			if covers(&s.figures[k], core) {
				ground = k
			}
		}
		for k := ground + 1; k < len(s.figures); k++ {
			g := &s.figures[k]
			if k != i && g.text.Say == "" && g.style.Stroke != picture.GridLine && g.strokes(core) {
				require.Fail(t, "a line through a text", "a line %+v runs through %q at %v", g.style, f.text.Say, core)
			}
		}
		for _, p := range points(core) {
			surface := picture.Color("#FFFFFF")
			for k := range s.figures {
				if g := &s.figures[k]; g.fills(p) {
					require.Less(t, k, i, "%+v is painted over %q", g.style, f.text.Say)
					surface = g.style.Fill
				}
			}
			require.GreaterOrEqual(t, picture.Contrast(f.text.Color, surface), 4.5, "%q is written in %s on %s", f.text.Say, f.text.Color, surface)
		}
	}
}

func points(b picture.Box) []picture.Point {
	return []picture.Point{{X: b.X0, Y: b.Y0}, {X: b.X1, Y: b.Y0}, {X: b.X1, Y: b.Y1}, {X: b.X0, Y: b.Y1}, {X: (b.X0 + b.X1) / 2, Y: (b.Y0 + b.Y1) / 2}}
}

func covers(f *figure, b picture.Box) bool {
	for _, p := range points(b) {
		if !f.fills(p) {
			return false
		}
	}
	return true
}

// checkDocument: the SVG is well formed, named and described, and every number
// in it is one.
func checkDocument(t require.TestingT, d *picture.Drawing) {
	svg := d.SVG().String()
	root, elements := parse(t, svg)
	attr := map[string]string{}
	for _, a := range root.Attr {
		attr[a.Name.Local] = a.Value
	}
	require.Equal(t, "svg", root.Name.Local)
	require.Equal(t, "img", attr["role"])
	require.Equal(t, fmt.Sprintf("0 0 %v %v", d.WidthPX, d.HeightPX), attr["viewBox"])
	names := strings.Fields(attr["aria-labelledby"])
	require.Len(t, names, 2)
	require.Equal(t, "title", elements[names[0]])
	require.Equal(t, "desc", elements[names[1]])
	require.NotEmpty(t, d.Title)
	require.NotEmpty(t, d.Desc)
}

// parse reads a document and returns its root and its elements by id.
func parse(t require.TestingT, svg string) (root xml.StartElement, elements map[string]string) {
	dec := xml.NewDecoder(strings.NewReader(svg))
	dec.Strict = true
	elements = map[string]string{}
	for depth := 0; ; {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return root, elements
		}
		require.NoError(t, err, svg)
		switch e := tok.(type) {
		case xml.StartElement:
			if depth == 0 {
				root = e.Copy()
			}
			depth++
			for _, a := range e.Attr {
				if a.Name.Local == "id" {
					require.NotContains(t, elements, a.Value)
					elements[a.Value] = e.Name.Local
				}
				if a.Name.Local != "aria-labelledby" && a.Name.Local != "font-family" {
					require.NotContains(t, a.Value, "NaN")
					require.NotContains(t, a.Value, "Inf")
				}
			}
		case xml.EndElement:
			depth--
		}
	}
}
