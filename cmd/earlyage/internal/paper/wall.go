package paper

import (
	"cmp"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/picture"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/scheduler"
)

// paper is the paper of a wall in the making.
type paper struct {
	*press
	in     Input
	page   wallpage.Page
	report wallpage.Report
	tongue wallpage.Tongue
}

// section is a part of the paper.
type section struct {
	title string
	print func(title string)
}

// Wall prints the paper of a wall.
func Wall(w io.Writer, in Input, size Size) error {
	report := in.Page.Report(in.Words, in.Name)
	p, err := newPress(size, in.Words, stamp{
		title: in.Words.T("paper.title", "wall", report.Title), head: report.SiteName + " / " + report.Name + " (" + report.Site + "/" + report.Wall + ")",
		when: in.Words.T("wall.as-of", "when", report.When), at: in.Page.At.Time, digest: in.Page.Sheet.Digest, seal: sealOf(in.Register),
	})
	if err != nil {
		return err
	}
	x := &paper{press: p, in: in, page: in.Page, report: report, tongue: wallpage.TongueOf(in.Words, in.Page.Site, in.Page.At.Time, in.Name)}
	list := x.sections()
	p.page()
	x.cover(list)
	contents, page := p.y, len(p.pages)
	p.page()
	for _, s := range list {
		s.print(s.title)
	}
	_, last := p.size()
	p.revisit(page, last)
	x.contents(contents)
	p.flat = p.pages[len(p.pages)-1]
	return p.finish(w)
}

// sections lists the parts in order.
func (p *paper) sections() (out []section) {
	of := map[string]wallpage.Part{}
	for _, part := range p.report.Parts {
		of[part.ID] = part
	}
	own := func(key string, print func()) section {
		return section{p.t.T("paper.part." + key), func(title string) { p.part(title, 0); print() }}
	}
	whole := func(id string) section {
		part := of[id]
		return section{part.Title, func(title string) { p.printPart(title, part, part.Tables) }}
	}
	return []section{
		whole("surface"),
		{of["braces"].Title, func(title string) { p.braces(title, of["braces"]) }},
		whole("curves"), whole("window"), whole("sheet"), own("probes", p.probes),
		whole("pour"), whole("checks"), whole("line"),
		own("alerts", p.alerts), own("permits", p.permits), own("changes", p.changes), own("refused", p.refused),
		own("statements", p.statements), own("timeline", p.timeline), own("signatures", p.signatures),
		{p.t.T("paper.part.proof"), func(title string) { p.part(title, proofHigh); p.proof() }},
	}
}

// printPart prints a part as the page has it.
func (p *paper) printPart(title string, part wallpage.Part, tables []wallpage.Table) {
	var d *picture.Drawing
	scale, high := 0.0, 0.0
	if part.Draw != nil {
		d, scale = p.drawn(part.Draw, p.options())
		high = d.HeightPX*scale + 2*textSize*leading*float64(len(part.Lead))
	}
	p.part(title, high)
	for _, s := range part.Lead {
		p.paragraph(s, plain, textSize)
	}
	if d != nil {
		p.drawing(d, scale)
	}
	for _, t := range tables {
		p.pageTable(t)
	}
	for _, s := range part.After {
		p.paragraph(s, plain, textSize)
	}
}

func (p *paper) options() picture.Options {
	return picture.Options{Zone: p.zone(), US: p.page.Site.Units == "us"}
}

func (p *paper) zone() *time.Location { return p.page.Site.Location() }

// pageTable prints a table of the page.
func (p *paper) pageTable(t wallpage.Table) {
	g := grid{caption: t.Caption, head: slices.Clone(t.Head), right: t.Right, heavy: map[int]bool{}}
	for i, r := range t.Rows {
		var cells []string
		for _, c := range r.Cells {
			cells = append(cells, c.Text)
		}
		g.rows = append(g.rows, cells)
		if r.Class != "" {
			g.heavy[i] = true
		}
	}
	p.table(g)
}

// cover prints what the wall is and how it stood, and leaves room for the contents.
func (p *paper) cover(list []section) {
	r := p.report
	p.paragraph(p.t.T("paper.kind"), plain, 11)
	p.paragraph(r.Name, bold, 22)
	p.paragraph(r.SiteName+", "+r.When, plain, 11)
	if p.page.Demo {
		p.paragraph(p.t.T("board.demo"), bold, textSize)
	}
	p.verdict()
	p.caption(p.t.T("wall.part.identity"))
	facts := append(slices.Clone(r.Identity), p.designs()...)
	p.facts(append(facts, wallpage.Fact{Label: p.t.T("paper.rules"), Value: p.page.Sheet.Rules}))
	if len(r.Due) > 0 {
		p.caption(p.t.T("wall.part.due"))
		p.facts(r.Due)
	}
	if len(r.Open) > 0 {
		p.caption(p.t.T("wall.part.open"))
		for _, s := range r.Open {
			p.paragraph("– "+s, plain, textSize)
		}
	}
	p.people()
	p.need(float64(len(list)/2+4) * textSize * leading)
	p.caption(p.t.T("paper.contents"))
}

// verdict says in one sentence how the wall stood, and what governs.
func (p *paper) verdict() {
	r := p.report
	p.y += 6
	say := p.t.T("paper.verdict", "when", r.When, "state", r.State, "verdict", strings.TrimSuffix(r.Verdict, "."))
	p.framed(func() {
		p.paragraph(say, bold, 12)
		for _, s := range append([]string{r.Governs}, r.Wrong...) {
			if s != "" {
				p.paragraph(s, plain, 10)
			}
		}
		p.bracing()
		if len(r.Expected) > 0 {
			p.facts(r.Expected)
			p.paragraph(p.t.T("wall.three"), plain, cellSize)
		}
		p.paragraph(scheduler.Caution, plain, textSize)
	})
}

// bracing says how the wall's braces came off, in the words of the register's sums.
func (p *paper) bracing() {
	sum := p.in.Register.Total
	if sum.Braces == 0 {
		return
	}
	heads := p.heads("braces", "standing", "off", "early", "unpermitted", "kept-least")
	var say []string
	for i, n := range []int{sum.Braces, sum.Standing, sum.Stripped, sum.Early, sum.Unpermitted} {
		say = append(say, heads[i]+": "+strconv.Itoa(n))
	}
	if sum.KeptLeastS != nil {
		say = append(say, heads[5]+": "+clock(*sum.KeptLeastS))
	}
	f := plain
	if sum.Early+sum.Unpermitted > 0 {
		f = bold
	}
	p.paragraph(strings.Join(say, "; "), f, 10)
}

// framed prints something between two heavy lines.
func (p *press) framed(print func()) {
	p.rule(p.y, 1.6, 0)
	p.y += 4
	print()
	p.y += 2
	p.rule(p.y, 1.6, 0)
	p.y += gapWide
}

// facts prints words and what they are, in two columns.
func (p *press) facts(list []wallpage.Fact) {
	const label = 118
	for _, f := range list {
		left := p.wrap(clean(f.Label), plain, textSize, label-cellGap)
		right := p.wrap(clean(f.Value), bold, textSize, p.across()-label)
		for i := range max(len(left), len(right)) {
			p.need(textSize * leading)
			p.y += textSize * leading
			if i < len(left) {
				p.say(p.left(), p.y, left[i], plain, textSize)
			}
			if i < len(right) {
				p.say(p.left()+label, p.y, right[i], bold, textSize)
			}
		}
		p.y += 1.5
	}
	p.y += 4
}

// contents prints where the parts begin, in two columns.
func (p *paper) contents(y float64) {
	half := (len(p.marks) + 1) / 2
	for i, m := range p.marks {
		x, down := p.left(), i
		if i >= half {
			x, down = p.left()+p.across()/2, i-half
		}
		at := y + float64(down+1)*textSize*leading
		title := p.clip(clean(m.title), plain, textSize, p.across()/2-70)
		p.say(x, at, title, plain, textSize)
		p.say(x+p.across()/2-60, at, p.t.T("paper.page-n", "n", m.page), plain, textSize)
	}
}

// people lists whoever is named, with the id that the record has of them.
func (p *paper) people() {
	var all []string
	for _, who := range p.report.People {
		all = append(all, cmp.Or(who.Name, p.t.T("paper.no-name"))+" ("+who.ID+")")
	}
	if len(all) > 0 {
		p.caption(p.t.T("paper.people"))
		p.paragraph(strings.Join(all, ", "), plain, textSize)
	}
}
