package picture

import (
	"regexp"
	"time"
)

// Point is a place on the drawing in CSS pixels, from its top left corner,
// y downwards.
type Point struct{ X, Y float64 }

// Style says how a figure is drawn. An empty colour is not drawn.
type Style struct {
	Fill    Color // even-odd where figures cross themselves
	Stroke  Color
	WidthPX float64   // of the stroke
	DashPX  []float64 // strokes and gaps in turn; nil: one line
	Closed  bool      // the last point is joined to the first
}

// Anchor is which end of a text stands at its place.
type Anchor int

// Anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// Text is one line of text, its baseline at At.
type Text struct {
	At     Point
	Say    string // any characters that XML allows
	SizePX float64
	Bold   bool
	Color  Color
	Anchor Anchor
	// WidthPX is the room that the text was given. Set is true where the text
	// has characters whose width is not known: it must then be set to WidthPX.
	WidthPX float64
	Set     bool
}

// Canvas is what a back end has to be able to do. A drawing calls it in the
// order of painting, from one goroutine; errors are the back end's to keep.
type Canvas interface {
	// Path draws lines of points as one figure with straight sides.
	Path(lines [][]Point, s Style)
	// Text writes one line of text.
	Text(t Text)
}

// Drawing is a laid-out picture, to be painted on any canvas.
type Drawing struct {
	WidthPX, HeightPX float64
	ID                string // of the elements that name it, unique on a page
	Title             string
	Desc              string // what is seen, in plain words
	ops               []op
}

// op is a path or, where Say is not empty, a text.
type op struct {
	lines [][]Point
	style Style
	text  Text
}

// Paint paints the drawing from back to front.
func (d *Drawing) Paint(c Canvas) {
	for _, o := range d.ops {
		if o.text.Say != "" {
			c.Text(o.text)
		} else {
			c.Path(o.lines, o.style)
		}
	}
}

// Options are what a picture needs to know beside its model.
type Options struct {
	WidthPX int            // of the picture; under 280 counts as 280, over 4000 as 4000; 0: 1200
	Zone    *time.Location // of the times written; nil: UTC
	US      bool           // lengths in feet, temperatures in °F
	OnPage  bool           // the page around the picture carries the caution
	ID      string         // prefix of element ids, letters, digits and hyphens; default by kind of picture
	// AgeBordersH are the ages at which the shade of concrete changes, in hours,
	// rising. Zero: 1, 2.5, 24 and 48.
	AgeBordersH [4]float64
}

const (
	leastWide, mostWide, usualWide = 280, 4000, 1200
	narrowUnder                    = 600 // px: the layout of a phone
)

func (o Options) width() float64 {
	switch {
	case o.WidthPX == 0:
		return usualWide
	default:
		return float64(min(max(o.WidthPX, leastWide), mostWide))
	}
}

var plainID = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9-]*$`)

func (o Options) id(usual string) string {
	if plainID.MatchString(o.ID) {
		return o.ID
	}
	return usual
}

func (o Options) ageBorders() [4]float64 {
	b := o.AgeBordersH
	if !(0 < b[0] && b[0] < b[1] && b[1] < b[2] && b[2] < b[3] && b[3] <= 1e5) {
		return [4]float64{1, 2.5, 24, 48}
	}
	return b
}
