package paper

import (
	"io"
	"iter"
	"strings"
	"unicode/utf8"

	"codeberg.org/go-pdf/fpdf"

	"earlyage/cmd/earlyage/internal/picture"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/scheduler"
)

// Measures of a page, in points.
const (
	margin    = 42
	headHigh  = 30 // from the top margin to what is printed
	leading   = 1.28
	textSize  = 9
	cellSize  = 7.6
	smallSize = 6.4
	gapWide   = 8
)

// press is a document in the making: where the next thing goes. Its pages get their
// heads and feet when it is finished, since only then their number is known.
type press struct {
	pdf        *fpdf.Fpdf
	t          *words.Catalogue
	stamp      stamp
	wide, high float64 // of the paper, upright
	flat       bool    // the page lies on its side
	foot       []string
	y          float64
	shift      float64 // of what is written on a page of another height than the last
	pages      []bool  // which lie on their side
	marks      []mark
}

// mark is where a part of the document begins.
type mark struct {
	title string
	page  int
}

func newPress(size Size, c *words.Catalogue, s stamp) (*press, error) {
	wide, high, err := size.points()
	if err != nil {
		return nil, err
	}
	pdf := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "pt", Size: fpdf.SizeType{Wd: wide, Ht: high}})
	p := &press{pdf: pdf, t: c, stamp: s, wide: wide, high: high}
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(s.at.UTC())
	pdf.SetModificationDate(s.at.UTC())
	pdf.SetProducer("earlyage", false)
	pdf.SetCreator("earlyage, rules "+scheduler.Rules, false)
	pdf.SetTitle(clean(s.title), true)
	pdf.SetAuthor("earlyage", false) // no person: whoever recorded what stands in it
	pdf.SetSubject(clean(s.head+", "+s.when), true)
	pdf.SetLang(c.Lang())
	pdf.SetMargins(0, 0, 0)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetCellMargin(0)
	pdf.SetLineJoinStyle("round")
	for _, f := range []cut{plain, bold, mono} {
		pdf.AddUTF8FontFromBytes(f.family, f.style, fontFiles[f])
	}
	return p, nil
}

// size gives the page as it lies.
func (p *press) size() (wide, high float64) {
	if p.flat {
		return p.high, p.wide
	}
	return p.wide, p.high
}

func (p *press) left() float64 { return margin }

// across is how wide a line may be.
func (p *press) across() float64 {
	wide, _ := p.size()
	return wide - 2*margin
}

// bottom is how far down a page may be printed.
func (p *press) bottom() float64 {
	_, high := p.size()
	return high - margin - p.footHigh()
}

// top is where a page begins.
func (p *press) top() float64 { return margin + headHigh }

// page begins a page.
func (p *press) page() {
	wide, high := p.size()
	p.pdf.AddPageFormat("P", fpdf.SizeType{Wd: wide, Ht: high})
	p.pages = append(p.pages, p.flat)
	p.y = p.top()
}

// turn begins a page that lies on its side, or stands.
func (p *press) turn(flat bool) {
	if p.flat != flat || len(p.pages) == 0 {
		p.flat, p.foot = flat, nil
		p.page()
	}
}

// need begins a page where less than a height is left.
func (p *press) need(high float64) {
	if p.y+high > p.bottom() && p.y > p.top() {
		p.page()
	}
}

// font sets what the next text is written in.
func (p *press) font(f cut, size float64) {
	p.pdf.SetFont(f.family, f.style, size)
}

// say writes one line at a baseline.
func (p *press) say(x, y float64, s string, f cut, size float64) {
	if s == "" {
		return
	}
	p.font(f, size)
	p.pdf.SetTextColor(0, 0, 0)
	p.pdf.Text(x, y+p.shift, s)
}

// width measures a line.
func (p *press) width(s string, f cut, size float64) float64 {
	p.font(f, size)
	return p.pdf.GetStringWidth(s)
}

// wrap breaks a text into lines of at most a width, between words where it can.
func (p *press) wrap(s string, f cut, size, room float64) []string {
	p.font(f, size)
	var out []string
	for line := range strings.SplitSeq(s, "\n") {
		out = append(out, p.wrapLine(line, room)...)
	}
	return out
}

func (p *press) wrapLine(s string, room float64) (out []string) {
	space := p.pdf.GetStringWidth(" ")
	line, used := "", 0.0
	for word := range fields(s) {
		w := p.pdf.GetStringWidth(word)
		if line != "" && used+space+w <= room {
			line, used = line+" "+word, used+space+w
			continue
		}
		if line != "" {
			out = append(out, line)
		}
		for w > room {
			n := p.fits(word, room)
			out = append(out, word[:n])
			word = word[n:]
			w = p.pdf.GetStringWidth(word)
		}
		line, used = word, w
	}
	if line != "" || len(out) == 0 {
		out = append(out, line)
	}
	return out
}

// fields splits at spaces and line breaks; what a no-break space joins stays whole.
func fields(s string) iter.Seq[string] {
	return strings.FieldsFuncSeq(s, func(r rune) bool { return r == ' ' || r == '\n' })
}

// fits is how many bytes of a word fit into a width, at least one character.
func (p *press) fits(word string, room float64) int {
	used, n := 0.0, 0
	for i, r := range word {
		w := p.pdf.GetStringWidth(string(r))
		if i > 0 && used+w > room {
			break
		}
		used, n = used+w, i+utf8.RuneLen(r)
	}
	return n
}

// rule draws a line across.
func (p *press) rule(y, thick float64, shade int) {
	p.pdf.SetDrawColor(shade, shade, shade)
	p.pdf.SetLineWidth(thick)
	p.pdf.SetDashPattern(nil, 0)
	p.pdf.Line(p.left(), y+p.shift, p.left()+p.across(), y+p.shift)
}

// paragraph writes a text, wrapped.
func (p *press) paragraph(s string, f cut, size float64) {
	for _, line := range p.wrap(clean(s), f, size, p.across()) {
		p.need(size * leading)
		p.y += size * leading
		p.say(p.left(), p.y, line, f, size)
	}
	p.y += size * 0.45
}

// part begins a part of the document, with a place in the outline, on a page that has
// room for what follows its title.
func (p *press) part(title string, follows float64) {
	p.need(min(50+max(follows, 60), p.bottom()-p.top()))
	if p.y > p.top() {
		p.y += 14
		p.rule(p.y, 1.2, 0)
		p.y += 3
	}
	p.pdf.SetFont(bold.family, bold.style, 14)
	p.pdf.Bookmark(clean(title), 0, p.y)
	p.marks = append(p.marks, mark{title, len(p.pages)})
	p.paragraph(title, bold, 14)
	p.y += 2
}

// caption names a table.
func (p *press) caption(s string) {
	p.need(48)
	p.y += 4
	p.paragraph(s, bold, textSize)
}

// drawn lays a picture out across the page; it gives its scale in points to a pixel.
func (p *press) drawn(draw func(picture.Options) *picture.Drawing, o picture.Options) (d *picture.Drawing, scale float64) {
	o.WidthPX, o.OnPage = int(p.across()*drawnPX), true
	d = draw(o)
	scale = p.across() / d.WidthPX
	if room := p.bottom() - p.top() - 60; d.HeightPX*scale > room { // and its part's title
		scale = room / d.HeightPX
	}
	return d, scale
}

// drawing prints a picture across the page.
func (p *press) drawing(d *picture.Drawing, scale float64) {
	p.need(d.HeightPX * scale)
	c := canvas{press: p, left: p.left(), top: p.y, scale: scale}
	d.Paint(&c)
	p.y += d.HeightPX*scale + gapWide
}

// drawnPX is how many pixels of a picture stand on a point of paper: text of 16 px
// is then of 9.4 points.
const drawnPX = 1.7

// revisit goes back to a page, of a document whose last one has a height. What is
// set at the end of the page is not known: it is all set anew.
func (p *press) revisit(page int, last float64) {
	p.flat, p.foot = p.pages[page-1], nil
	_, high := p.size()
	p.shift = last - high
	p.pdf.SetPage(page)
	p.pdf.SetFont(mono.family, mono.style, 1)
	p.pdf.SetFontSize(1.5)
	p.pdf.SetFillColor(255, 255, 255)
}

// finish writes heads and feet and gives the document away.
func (p *press) finish(w io.Writer) error {
	_, last := p.size()
	for i := range p.pages {
		p.revisit(i+1, last)
		p.edge(i+1, len(p.pages))
	}
	return p.pdf.Output(w)
}
