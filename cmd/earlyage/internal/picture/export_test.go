package picture

// For tests of what the pictures rest on.
var (
	Ages      = ages
	On        = on
	Hours     = hours
	Ago       = span
	Left      = left
	RoundStep = roundStep
	Plain     = plain
	Fit       = fit
	Wrap      = wrap
	Wide      = wide
	Spread    = spread
	GridLine  = gridLine
)

// Shapes are the colours that carry a meaning as a shape on paper.
var Shapes = []Color{ink, grey, placingBlue, curingPurple, holdRed, stripGreen, noLinkGrey}

const (
	Ink         = ink
	Paper       = paper
	Slab        = slab
	WatchAmber  = watchAmber
	PlacingBlue = placingBlue
)

// Box is where a text lies.
func (t Text) Box() Box { return t.box() }

// Meets reports whether two boxes share more than an edge.
func (b Box) Meets(o Box) bool { return b.meets(o) }

// Rows are the ends of the rows into which a wall is divided.
func (w Wall) Rows(plotWide float64) []float64 {
	c := w.clean()
	var out []float64
	for _, r := range c.split(plotWide) {
		out = append(out, r.toM)
	}
	return out
}
