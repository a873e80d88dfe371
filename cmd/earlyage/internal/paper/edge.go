package paper

import (
	"strconv"

	"earlyage/scheduler"
)

// feet are the lines under a page: the caution, the digest, the checkpoint.
func (p *press) feet() []string {
	if p.foot != nil {
		return p.foot
	}
	s := p.stamp
	lines := p.wrap(scheduler.Caution, plain, smallSize, p.across())
	if s.digest != "" {
		lines = append(lines, p.wrap(p.t.T("paper.foot.digest", "digest", s.digest), plain, smallSize, p.across())...)
	}
	say := p.t.T("paper.foot.none")
	if s.seal.Note != "" {
		say = p.t.T("paper.foot.checkpoint", "size", s.seal.Size, "root", s.seal.Root, "when", s.seal.At.UTC().Format("2006-01-02 15:04:05 UTC"))
	}
	p.foot = append(lines, p.wrap(say, plain, smallSize, p.across()-pageRoom)...)
	return p.foot
}

// pageRoom is kept for the page's number.
const pageRoom = 74

func (p *press) footHigh() float64 {
	return float64(len(p.feet()))*smallSize*leading + 8
}

// edge writes the head and the foot of a page.
func (p *press) edge(n, all int) {
	wide, high := p.size()
	y := float64(margin)
	when := clean(p.stamp.when)
	right := p.width(when, plain, cellSize)
	p.say(wide-margin-right, y, when, plain, cellSize)
	p.say(p.left(), y, p.clip(clean(p.stamp.head), bold, textSize, p.across()-right-gapWide), bold, textSize)
	p.rule(y+6, 0.6, 0)
	lines := p.feet()
	y = high - margin - float64(len(lines)-1)*smallSize*leading
	p.rule(y-smallSize-4, 0.6, 0)
	for _, line := range lines {
		p.say(p.left(), y, line, plain, smallSize)
		y += smallSize * leading
	}
	number := p.t.T("paper.page", "n", strconv.Itoa(n), "all", strconv.Itoa(all))
	p.say(wide-margin-p.width(number, bold, cellSize), high-margin, number, bold, cellSize)
}

// clip leaves off what has no room in one line, and says so.
func (p *press) clip(s string, f cut, size, room float64) string {
	if p.width(s, f, size) <= room {
		return s
	}
	p.font(f, size)
	return s[:p.fits(s, room-p.width(" ...", f, size))] + " ..."
}
