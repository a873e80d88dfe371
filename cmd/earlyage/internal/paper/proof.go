package paper

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/wallpage"
)

// signatures prints who recorded what on which device, and lines to sign on.
func (p *paper) signatures() {
	type hand struct{ by, device string }
	type work struct {
		n, signed   int
		first, last face.Time
	}
	all := map[hand]*work{}
	for _, e := range p.page.Timeline {
		h := hand{e.By, e.Device}
		w := all[h]
		if w == nil {
			w = &work{first: e.Recorded}
			all[h] = w
		}
		w.n++
		if e.Signed {
			w.signed++
		}
		w.last = e.Recorded
	}
	g := grid{head: p.heads("by", "device", "entries", "signed", "first", "last"), right: map[int]bool{2: true, 3: true}}
	for h, w := range all {
		g.rows = append(g.rows, []string{cmp.Or(p.tongue.Person(h.by), p.t.T("paper.no-person")), h.device, strconv.Itoa(w.n), strconv.Itoa(w.signed), p.when(w.first), p.when(w.last)})
	}
	slices.SortFunc(g.rows, slices.Compare[[]string])
	p.paragraph(p.t.T("paper.signatures.lead"), plain, textSize)
	p.table(g)
	p.ink()
}

// ink prints the lines on which people sign.
func (p *paper) ink() {
	const high = 40
	p.need(4*high + 40)
	p.paragraph(p.t.T("paper.ink"), bold, textSize)
	for _, who := range []string{"requester", "reviewer", "issuer", "officer"} {
		p.y += high
		x := p.left()
		for _, part := range []struct {
			key   string
			width float64
		}{{"ink." + who, 0.38}, {"ink.signature", 0.38}, {"ink.date", 0.24}} {
			w := p.across() * part.width
			p.pdf.SetDrawColor(0, 0, 0)
			p.pdf.SetLineWidth(0.6)
			p.pdf.Line(x, p.y-9, x+w-12, p.y-9)
			p.say(x, p.y, p.t.T("paper."+part.key), plain, smallSize)
			x += w
		}
	}
	p.y += gapWide
}

// proofHigh is about how high that is, in points: it stands on one page, so that what
// has to be typed lies together.
const proofHigh = 300

// proof prints what proves the record, and how to check it.
func (p *paper) proof() {
	p.evidence([]wallpage.Fact{
		{Label: p.t.T("paper.digest"), Value: p.page.Sheet.Digest}, {Label: p.t.T("paper.through"), Value: strconv.FormatUint(p.page.Through, 10)},
		{Label: p.t.T("paper.rules"), Value: p.page.Sheet.Rules},
	}, p.t.T("paper.check.wall", "site", p.report.Site, "wall", p.report.Wall))
}

// evidence prints the checkpoint whole, the key, and how to check them.
func (p *press) evidence(facts []wallpage.Fact, how string) {
	s := p.stamp.seal
	if s.Note == "" {
		p.facts(facts)
		p.paragraph(p.t.T("paper.foot.none"), bold, textSize)
		return
	}
	origin, _, _ := strings.Cut(s.Note, "\n")
	p.facts(append(facts,
		wallpage.Fact{Label: p.t.T("paper.origin"), Value: origin}, wallpage.Fact{Label: p.t.T("paper.size"), Value: strconv.FormatInt(s.Size, 10)},
		wallpage.Fact{Label: p.t.T("paper.root"), Value: s.Root}, wallpage.Fact{Label: p.t.T("paper.made"), Value: s.At.UTC().Format(time.RFC3339)},
	))
	p.caption(p.t.T("paper.checkpoint"))
	p.typed(strings.TrimRight(s.Note, "\n"))
	p.caption(p.t.T("paper.key"))
	p.typed(s.Key)
	p.caption(p.t.T("paper.how"))
	p.paragraph(p.t.T("paper.how.digest"), plain, textSize)
	p.paragraph(how, plain, textSize)
	p.paragraph(p.t.T("paper.how.note"), plain, textSize)
}

// typed prints a text as it is, letter for letter.
func (p *press) typed(s string) {
	for line := range strings.SplitSeq(clean(s), "\n") {
		for first := true; first || line != ""; first = false {
			p.font(mono, smallSize)
			n := p.fits(line, p.across())
			p.need(smallSize * leading)
			p.y += smallSize * leading
			p.say(p.left(), p.y, line[:n], mono, smallSize)
			line = line[n:]
		}
	}
	p.y += gapWide
}
