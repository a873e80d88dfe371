package paper

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/register"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/scheduler"
)

// Register prints the bracing register, its totals first.
func Register(w io.Writer, reg register.Register, c *words.Catalogue, size Size) error {
	title := c.T("paper.register.title", "what", registered(reg, c))
	when := madeAt(reg, c)
	p, err := newPress(size, c, stamp{title: title, head: title, when: c.T("wall.as-of", "when", when), at: reg.At.Time, seal: sealOf(reg)})
	if err != nil {
		return err
	}
	p.flat = true
	p.page()
	p.paragraph(title, bold, 18)
	p.paragraph(strings.Join([]string{periodOf(reg, c), c.T("wall.as-of", "when", when)}, "; "), plain, 10)
	if reg.Demo {
		p.paragraph(c.T("board.demo"), bold, textSize)
	}
	for _, s := range reg.Doubts {
		p.paragraph(s, bold, textSize)
	}
	if !reg.Level {
		p.paragraph(c.T("board.not-level"), bold, textSize)
	}
	p.framed(func() { p.paragraph(scheduler.Caution, plain, textSize) })
	p.totals(reg)
	for _, s := range reg.Sites {
		p.siteRows(s, reg)
	}
	p.part(c.T("paper.part.proof"), proofHigh)
	p.evidence([]wallpage.Fact{{Label: c.T("paper.through"), Value: fmt.Sprint(reg.Through)}, {Label: c.T("paper.rules"), Value: reg.Rules}}, c.T("paper.check.register"))
	return p.finish(w)
}

// madeAt is the moment of a register: in the time of the site that it is of, else UTC.
func madeAt(reg register.Register, c *words.Catalogue) string {
	for _, s := range reg.Sites {
		if s.Site.Site == reg.Site {
			return wallpage.TongueOf(c, s.Site, reg.At.Time, nil).Long(reg.At.Time)
		}
	}
	return reg.At.UTC().Format("2006-01-02 15:04 UTC")
}

// registered names what a register is of.
func registered(reg register.Register, c *words.Catalogue) string {
	name := reg.Site
	for _, s := range reg.Sites {
		if s.Site.Site == reg.Site && s.Name != "" {
			name = s.Name
		}
	}
	if reg.Wall != "" {
		name += " / " + reg.Wall
	}
	return cmp.Or(name, c.T("paper.all-sites"))
}

func periodOf(reg register.Register, c *words.Catalogue) string {
	from, to := cmp.Or(reg.From, c.T("paper.from-first")), cmp.Or(reg.To, c.T("paper.to-now"))
	return c.T("paper.period", "from", from, "to", to)
}

// totals prints the sums of all and of each site.
func (p *press) totals(reg register.Register) {
	g := grid{caption: p.t.T("paper.totals"), head: p.heads("site", "braces", "standing", "off", "early", "unpermitted", "with-exceptions", "kept-mean", "kept-least", "margin-least", "days-clear"), right: map[int]bool{}, heavy: map[int]bool{0: true}}
	for i := 1; i < len(g.head); i++ {
		g.right[i] = true
	}
	line := func(name string, t register.Totals, clear string) {
		g.rows = append(g.rows, []string{name, fmt.Sprint(t.Braces), fmt.Sprint(t.Standing), fmt.Sprint(t.Stripped), fmt.Sprint(t.Early), fmt.Sprint(t.Unpermitted), fmt.Sprint(t.Exceptions),
			perhaps(t.KeptMeanS), perhaps(t.KeptLeastS), perhaps(t.MarginLeastS), clear})
	}
	line(p.t.T("paper.all"), reg.Total, "")
	for _, s := range reg.Sites {
		clear := ""
		switch {
		case s.Clear.Days < 0:
			clear = p.t.T("paper.clear.none")
		case s.Clear.Early:
			clear = p.t.T("paper.clear.early", "n", s.Clear.Days, "since", s.Clear.Since)
		default:
			clear = p.t.T("paper.clear.first", "n", s.Clear.Days, "since", s.Clear.Since)
		}
		line(cmp.Or(s.Name, s.Site.Site), s.Total, clear)
	}
	p.table(g)
}

func perhaps(seconds *int64) string {
	if seconds == nil {
		return "–"
	}
	return clock(*seconds)
}

// clock writes whole seconds as hours and minutes, rounded down, as 49:05 h.
func clock(s int64) string {
	sign := ""
	if s < 0 {
		sign, s = "−", -s
	}
	return fmt.Sprintf("%s%d:%02d\u00a0h", sign, s/3600, s/60%60)
}

// siteRows prints the rows of a site, wall by wall.
func (p *press) siteRows(s register.Site, reg register.Register) {
	called := map[string]string{}
	t := wallpage.TongueOf(p.t, s.Site, reg.At.Time, func(id string) string { return called[id] })
	p.part(cmp.Or(s.Name, s.Site.Site), 0)
	if len(s.Walls) == 0 {
		p.paragraph(p.t.T("paper.register.none"), plain, textSize)
	}
	for _, w := range s.Walls {
		state := t.Own("state."+w.State, w.State)
		if w.State == scheduler.StateMayStrip {
			state = p.t.T("wall.window-open")
		}
		p.rows(cmp.Or(w.Name, w.Wall)+" ("+s.Site.Site+"/"+w.Wall+"), "+state, w.Rows, t)
	}
}

// rows prints rows of the register, with what is not as it should be in words.
func (p *press) rows(caption string, list []register.Row, t wallpage.Tongue) {
	g := grid{
		caption: caption, size: 7, right: map[int]bool{1: true, 9: true, 10: true, 11: true},
		head: p.heads("brace", "station", "state", "set", "sound", "concrete", "opened", "permit", "stripped", "kept", "age", "margin", "governs", "exceptions"),
	}
	for _, r := range list {
		station := p.t.T("paper.not-recorded")
		if r.AtMM >= 0 {
			station = t.Length(float64(r.AtMM) / 1000)
		}
		g.rows = append(g.rows, []string{
			r.Brace, station, p.rowState(r, t), p.deed(r.Set, t), p.sound(r, t), strip(r.ClockZero, t), p.openedAt(r, t), p.permit(r, t), p.deed(r.Stripped, t),
			clock(r.KeptS), clock(r.AgeS), p.marginOf(r, t), t.Criterion(r.Governs), p.exceptions(r),
		})
	}
	p.table(g)
	p.paragraph(p.rules(list), plain, smallSize)
}

func strip(at face.Time, t wallpage.Tongue) string {
	if at.IsZero() {
		return ""
	}
	return t.Strip(at)
}

func (p *press) rowState(r register.Row, t wallpage.Tongue) string {
	switch {
	case r.Early:
		return p.t.T("wall.brace.early")
	case r.State == scheduler.BraceStripped:
		return t.Own("state.stripped", r.State)
	case r.State == scheduler.BraceMayStrip:
		return p.t.T("paper.brace.open")
	case r.State == scheduler.BraceDisturbed:
		return p.t.T("wall.brace.disturbed")
	}
	return p.t.T("wall.brace.standing")
}

// deed writes when a thing was done, by whom and on which device, and when it was
// recorded if that was later.
func (p *press) deed(d register.Deed, t wallpage.Tongue) string {
	if d.At.IsZero() {
		return ""
	}
	out := lines(t.Moment(d.At), lines(cmp.Or(d.Name, d.By), d.Device))
	if !d.Recorded.IsZero() && t.Moment(d.Recorded) != t.Moment(d.At) {
		out += "\n" + p.t.T("paper.recorded", "when", t.After(d.Recorded, d.At))
	}
	if d.Seq != 0 {
		out += "\n" + p.t.T("paper.message", "n", d.Seq)
	}
	return out
}

func (p *press) sound(r register.Row, t wallpage.Tongue) string {
	if r.Looks > 1 {
		return p.deed(r.Inspected, t) + "\n" + p.t.T("paper.looks", "n", r.Looks)
	}
	return p.deed(r.Inspected, t)
}

func (p *press) openedAt(r register.Row, t wallpage.Tongue) string {
	switch {
	case !r.Opened.IsZero():
		return t.Strip(r.Opened)
	case !r.Cured.IsZero():
		return p.t.T("paper.shut") + "\n" + p.t.T("wall.cured-at", "when", t.Strip(r.Cured))
	}
	return p.t.T("paper.shut")
}

func (p *press) permit(r register.Row, t wallpage.Tongue) string {
	if r.Permit.Number == "" {
		return p.t.T("paper.no-permit")
	}
	out := []string{r.Permit.Number, cmp.Or(r.Permit.Name, r.Permit.By)}
	if !r.Permit.At.IsZero() {
		out = append(out, t.Moment(r.Permit.At))
	}
	if !r.Permit.Until.IsZero() {
		out = append(out, p.t.T("paper.until", "when", t.Moment(r.Permit.Until)))
	}
	if !r.Permit.Withdrawn.IsZero() {
		out = append(out, p.t.T("paper.withdrawn", "when", t.Moment(r.Permit.Withdrawn)))
	}
	if !r.Permit.Stood {
		out = append(out, p.t.T("paper.not-standing"))
	}
	return lines(out...)
}

func (p *press) marginOf(r register.Row, t wallpage.Tongue) string {
	switch {
	case !r.Margin.Known:
		return "–"
	case r.Margin.AtMost && r.Margin.By != "":
		return p.t.T("wall.at-most", "x", clock(r.Margin.S)) + " (" + t.Criterion(r.Margin.By) + ")"
	case r.Margin.AtMost:
		return p.t.T("wall.at-most", "x", clock(r.Margin.S))
	}
	return clock(r.Margin.S)
}

func (p *press) exceptions(r register.Row) string {
	var out []string
	for _, x := range r.Exceptions {
		say := strings.ToUpper(p.t.T("paper.sort."+x.Sort)) + ": " + x.Text
		if x.Seq != 0 {
			say += " (" + p.t.T("paper.message", "n", x.Seq) + ")"
		}
		out = append(out, say)
	}
	if r.Said.Differs {
		out = append(out, p.t.T("paper.differs", "what", r.Said.Now))
	}
	return strings.Join(out, "\n")
}

// rules says by which rules the equivalent ages were reckoned.
func (p *press) rules(list []register.Row) string {
	var all []string
	for _, r := range list {
		if r.Rule != "" && !slices.Contains(all, r.Rule) {
			all = append(all, r.Rule)
		}
	}
	return p.t.T("paper.reckoned", "rules", cmp.Or(strings.Join(all, "; "), "–"))
}
