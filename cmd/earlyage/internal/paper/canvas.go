package paper

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"earlyage/cmd/earlyage/internal/picture"
	"earlyage/cmd/earlyage/internal/words"
)

// canvas paints a picture on the page, its top left corner at left and top.
type canvas struct {
	press     *press
	left, top float64
	scale     float64 // points to a pixel
}

func (c *canvas) at(p picture.Point) (x, y float64) {
	return c.left + p.X*c.scale, c.top + p.Y*c.scale
}

// Path implements picture.Canvas.
func (c *canvas) Path(lines [][]picture.Point, s picture.Style) {
	pdf := c.press.pdf
	stroked, style := s.Stroke != "" && s.WidthPX > 0, ""
	if s.Fill != "" {
		pdf.SetFillColor(rgb(s.Fill))
		style = "F*"
	}
	if stroked {
		pdf.SetDrawColor(rgb(s.Stroke))
		pdf.SetLineWidth(s.WidthPX * c.scale)
		dash := make([]float64, len(s.DashPX))
		for i, d := range s.DashPX {
			dash[i] = d * c.scale
		}
		pdf.SetDashPattern(dash, 0)
		style = map[string]string{"": "D", "F*": "FD*"}[style]
	}
	if style == "" || len(lines) == 0 {
		return
	}
	for _, line := range lines {
		for i, p := range line {
			if x, y := c.at(p); i == 0 {
				pdf.MoveTo(x, y)
			} else {
				pdf.LineTo(x, y)
			}
		}
		if s.Closed {
			pdf.ClosePath()
		}
	}
	pdf.DrawPath(style)
}

// Text implements picture.Canvas. What would be wider than the room that it was
// given is set narrower.
func (c *canvas) Text(t picture.Text) {
	say := clean(t.Say)
	f := plain
	if t.Bold {
		f = bold
	}
	p := c.press
	size, room := t.SizePX*c.scale, t.WidthPX*c.scale
	w := p.width(say, f, size)
	narrow := w > 0 && room > 0 && (t.Set || w > room*1.01)
	if narrow {
		p.pdf.RawWriteStr(fmt.Sprintf("%.2f Tz\n", 100*room/w))
		w = room
	}
	x, y := c.at(t.At)
	switch t.Anchor {
	case picture.Middle:
		x -= w / 2
	case picture.End:
		x -= w
	}
	p.font(f, size)
	p.pdf.SetTextColor(rgb(t.Color))
	p.pdf.Text(x, y, say)
	if narrow {
		p.pdf.RawWriteStr("100 Tz\n")
	}
}

// rgb reads a colour such as #1F6B3A; any other is black.
func rgb(c picture.Color) (r, g, b int) {
	n, err := strconv.ParseInt(strings.TrimPrefix(string(c), "#"), 16, 32)
	if err != nil {
		return 0, 0, 0
	}
	return int(n >> 16 & 255), int(n >> 8 & 255), int(n & 255)
}

// Drawing prints one picture by itself, across a page.
func Drawing(w io.Writer, d *picture.Drawing, size Size) error {
	p, err := newPress(size, words.Of(words.English), stamp{title: d.Title, head: d.Title})
	if err != nil {
		return err
	}
	p.page()
	c := canvas{press: p, left: p.left(), top: p.top(), scale: p.across() / d.WidthPX}
	d.Paint(&c)
	return p.pdf.Output(w)
}
