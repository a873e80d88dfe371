package calc

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"html"
	"image/color"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// picture is a plot with a few curves. Each curve is told apart by its colour,
// by its dashes and by its name beside its end, so that a black-and-white print
// loses nothing.
type picture struct {
	title, desc string // the second says in words what is seen
	x, y        string // what the axes show, with units
	curves      []line
	levels      []level
	marks       plotter.XYs // single results, as rings
	marksName   string
}

type line struct {
	name   string
	points plotter.XYs
}

// level is a line across the plot at a height.
type level struct {
	name string
	at   float64
}

var (
	ink   = color.RGBA{0x11, 0x14, 0x17, 0xff}
	faint = color.RGBA{0x5c, 0x64, 0x6b, 0xff}
)

// strokes tell curves apart without colour too. Each colour has a contrast of
// 6 or more on white.
var strokes = []draw.LineStyle{
	{Color: ink, Width: 2.5},
	{Color: color.RGBA{0x0b, 0x5c, 0xad, 0xff}, Width: 2.5, Dashes: []vg.Length{9, 4}},
	{Color: color.RGBA{0xa5, 0x12, 0x1f, 0xff}, Width: 2.5, Dashes: []vg.Length{2, 3}},
	{Color: color.RGBA{0x1f, 0x6b, 0x3a, 0xff}, Width: 2.5, Dashes: []vg.Length{12, 3, 2, 3}},
	{Color: color.RGBA{0x6b, 0x2c, 0x91, 0xff}, Width: 2.5, Dashes: []vg.Length{16, 5}},
	{Color: faint, Width: 2.5, Dashes: []vg.Length{5, 2, 2, 2, 2, 2}},
}

const (
	plotWide, plotHigh = 780, 420 // points
	nameWide           = 220      // for the names on the right
	lineGap            = 15
	sampleWide         = 26
)

// svg draws the picture. The bytes are the same for the same picture.
func (p *picture) svg() ([]byte, error) {
	g, err := p.plot()
	if err != nil {
		return nil, fmt.Errorf("draw %s: %w", p.title, err)
	}
	canvas := vgsvg.New(plotWide, plotHigh)
	whole := draw.New(canvas)
	whole.SetColor(color.White)
	whole.Fill(whole.Rectangle.Path())
	area := draw.Crop(whole, 8, -nameWide, 8, -8)
	g.Draw(area)
	p.names(whole, g.DataCanvas(area), g)
	var b bytes.Buffer
	if _, err := canvas.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("draw %s: %w", p.title, err)
	}
	return p.legible(b.Bytes()), nil
}

// legible gives the picture a role, a title and a description for those who
// cannot see it, and a typeface of any machine.
func (p *picture) legible(svg []byte) []byte {
	const head = `<svg role="img" aria-labelledby="title desc"`
	told := fmt.Sprintf(">\n<title id=\"title\">%s</title>\n<desc id=\"desc\">%s</desc>\n",
		html.EscapeString(p.title), html.EscapeString(p.desc))
	s := strings.Replace(string(svg), "<svg", head, 1)
	at := strings.Index(s, "xlink\">\n") + len("xlink\"")
	s = s[:at] + told + s[at+len(">\n"):]
	return []byte(strings.ReplaceAll(s, "font-family:Liberation Sans;", "font-family:'Liberation Sans',Arial,sans-serif;"))
}

func (p *picture) plot() (*plot.Plot, error) {
	g := plot.New()
	g.Title.Text, g.X.Label.Text, g.Y.Label.Text = p.title, p.x, p.y
	g.Title.Padding = 8
	for _, s := range []*text.Style{
		&g.Title.TextStyle, &g.X.Label.TextStyle, &g.Y.Label.TextStyle, &g.X.Tick.Label, &g.Y.Tick.Label,
	} {
		s.Font, s.Color = sans(12), ink
	}
	g.Title.TextStyle.Font.Size = 14
	for _, axis := range []*plot.Axis{&g.X, &g.Y} {
		axis.Color, axis.Tick.Color, axis.Width, axis.Tick.Width = ink, ink, 1.5, 1
		axis.Tick.Marker = plot.TickerFunc(ticks)
	}
	grid := plotter.NewGrid()
	for _, l := range []*draw.LineStyle{&grid.Horizontal, &grid.Vertical} {
		l.Color, l.Width = faint, 0.25
	}
	g.Add(grid)
	lines := 0
	for i, c := range p.curves {
		if len(c.points) < 2 {
			continue
		}
		drawn, err := plotter.NewLine(c.points)
		if err != nil {
			return nil, err
		}
		drawn.LineStyle = stroke(i)
		g.Add(drawn)
		lines++
	}
	if lines == 0 {
		return nil, errors.New("no curve has two points")
	}
	return g, p.rest(g)
}

// rest adds the levels and the marks.
func (p *picture) rest(g *plot.Plot) error {
	for _, l := range p.levels {
		if l.at > g.Y.Max {
			g.Y.Max = l.at
		}
		drawn, err := plotter.NewLine(plotter.XYs{{X: g.X.Min, Y: l.at}, {X: g.X.Max, Y: l.at}})
		if err != nil {
			return err
		}
		drawn.LineStyle = draw.LineStyle{Color: ink, Width: 1, Dashes: []vg.Length{1, 3}}
		g.Add(drawn)
	}
	if len(p.marks) == 0 {
		return nil
	}
	rings, err := plotter.NewScatter(p.marks)
	if err != nil {
		return err
	}
	rings.GlyphStyle = draw.GlyphStyle{Color: ink, Radius: 4, Shape: draw.RingGlyph{}}
	g.Add(rings)
	return nil
}

// ticks are the usual ticks, labelled with no more digits than they have.
func ticks(least, most float64) []plot.Tick {
	all := plot.DefaultTicks{}.Ticks(least, most)
	for i, t := range all {
		if t.Label != "" {
			all[i].Label = number(t.Value)
		}
	}
	return all
}

// tag is a name on the right, with a sample of the line it stands for.
type tag struct {
	name  string
	at    vg.Length
	style draw.LineStyle
}

// names writes the name of each curve and level at the height of its end, moved
// apart where they would run into each other.
func (p *picture) names(whole, data draw.Canvas, g *plot.Plot) {
	_, height := g.Transforms(&data)
	var tags []tag
	for i, c := range p.curves {
		if len(c.points) > 1 {
			tags = append(tags, tag{c.name, height(c.points[len(c.points)-1].Y), stroke(i)})
		}
	}
	for _, l := range p.levels {
		tags = append(tags, tag{l.name, height(l.at), draw.LineStyle{Color: ink, Width: 1, Dashes: []vg.Length{1, 3}}})
	}
	if len(p.marks) > 0 {
		tags = append(tags, tag{"o  " + p.marksName, data.Min.Y, draw.LineStyle{}})
	}
	slices.SortStableFunc(tags, func(a, b tag) int { return cmp.Compare(a.at, b.at) })
	spread(tags, data.Min.Y, data.Max.Y)
	style := text.Style{Color: ink, Font: sans(12), YAlign: draw.YCenter, Handler: plot.DefaultTextHandler}
	left := data.Max.X + 6
	for _, t := range tags {
		if t.style.Width > 0 {
			whole.StrokeLine2(t.style, left, t.at, left+sampleWide, t.at)
		}
		whole.FillText(style, vg.Point{X: left + sampleWide + 5, Y: t.at}, t.name)
	}
}

// spread moves sorted tags apart, up first and then down from the top.
func spread(tags []tag, least, most vg.Length) {
	for i := range tags {
		floor := least
		if i > 0 {
			floor = tags[i-1].at + lineGap
		}
		tags[i].at = max(tags[i].at, floor)
	}
	for i := len(tags) - 1; i >= 0; i-- {
		ceiling := most
		if i < len(tags)-1 {
			ceiling = tags[i+1].at - lineGap
		}
		tags[i].at = min(tags[i].at, ceiling)
	}
}

func stroke(i int) draw.LineStyle { return strokes[i%len(strokes)] }

func sans(size vg.Length) font.Font {
	return font.Font{Typeface: "Liberation", Variant: "Sans", Size: size}
}

// sample draws a function at even steps from a to b; where it has no value, the
// curve has none.
func sample(a, b float64, f func(float64) (float64, error)) plotter.XYs {
	const steps = 120
	var out plotter.XYs
	for i := range steps + 1 {
		x := a + (b-a)*float64(i)/steps
		if y, err := f(x); err == nil && !math.IsNaN(y) && !math.IsInf(y, 0) {
			out = append(out, plotter.XY{X: x, Y: y})
		}
	}
	return out
}

func xy(x, y float64) plotter.XY { return plotter.XY{X: x, Y: y} }
