package picture

import (
	"encoding/xml"
	"math"
	"strconv"
	"strings"
)

// SVG is a whole SVG document, which can stand in a page as it is.
type SVG []byte

// String returns the document.
func (s SVG) String() string { return string(s) }

const fonts = `&quot;Atkinson Hyperlegible Next&quot;, &quot;DejaVu Sans&quot;, Arial, sans-serif`

// SVG paints the drawing as a document with a role, a title and a description.
func (d *Drawing) SVG() SVG {
	var c svgCanvas
	w, h := number(d.WidthPX), number(d.HeightPX)
	id := escape(d.ID)
	c.put(`<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="`, id, `-title `, id, `-desc" width="`, w, `" height="`, h,
		`" viewBox="0 0 `, w, ` `, h, `" font-family="`, fonts, `" stroke-linejoin="round">`, "\n")
	c.put(`<title id="`, id, `-title">`, escape(d.Title), "</title>\n")
	c.put(`<desc id="`, id, `-desc">`, escape(d.Desc), "</desc>\n")
	d.Paint(&c)
	c.put("</svg>\n")
	return SVG(c.b.String())
}

// svgCanvas writes presentation attributes only, so that a page's content
// security policy need not allow inline styles.
type svgCanvas struct{ b strings.Builder }

func (c *svgCanvas) put(parts ...string) {
	for _, p := range parts {
		c.b.WriteString(p)
	}
}

// Path implements Canvas.
func (c *svgCanvas) Path(lines [][]Point, s Style) {
	c.put(`<path d="`)
	for i, line := range lines {
		if i > 0 {
			c.put(" ")
		}
		for j, p := range line {
			switch j {
			case 0:
				c.put("M")
			case 1:
				c.put("L")
			default:
				c.put(" ")
			}
			c.put(number(p.X), " ", number(p.Y))
		}
		if s.Closed {
			c.put("Z")
		}
	}
	c.put(`" fill="`, paint(s.Fill), `"`)
	if s.Fill != "" && len(lines) > 1 {
		c.put(` fill-rule="evenodd"`)
	}
	if s.Stroke != "" && s.WidthPX > 0 {
		c.put(` stroke="`, string(s.Stroke), `" stroke-width="`, number(s.WidthPX), `"`)
		if len(s.DashPX) > 0 {
			c.put(` stroke-dasharray="`)
			for i, d := range s.DashPX {
				if i > 0 {
					c.put(" ")
				}
				c.put(number(d))
			}
			c.put(`"`)
		}
	}
	c.put("/>\n")
}

// Text implements Canvas.
func (c *svgCanvas) Text(t Text) {
	c.put(`<text x="`, number(t.At.X), `" y="`, number(t.At.Y), `" font-size="`, number(t.SizePX), `" fill="`, paint(t.Color), `"`)
	if t.Bold {
		c.put(` font-weight="700"`)
	}
	switch t.Anchor {
	case Middle:
		c.put(` text-anchor="middle"`)
	case End:
		c.put(` text-anchor="end"`)
	}
	if t.Set {
		c.put(` textLength="`, number(t.WidthPX), `" lengthAdjust="spacingAndGlyphs"`)
	}
	c.put(">", escape(t.Say), "</text>\n")
}

func paint(c Color) string {
	if c == "" {
		return "none"
	}
	return string(c)
}

// number writes a coordinate to a tenth of a pixel.
func number(x float64) string {
	r := math.Round(x*10) / 10
	if r == 0 {
		return "0" // and no "-0"
	}
	return strconv.FormatFloat(r, 'f', -1, 64)
}

func escape(s string) string {
	var b strings.Builder
	if err := xml.EscapeText(&b, []byte(s)); err != nil {
		panic("picture: a strings.Builder refused to be written to: " + err.Error())
	}
	return b.String()
}
