package wall

import (
	"fmt"
	"slices"

	"earlyage/events"
)

// Permit is a permit as it stands by its own words: whether the window was open
// for it is for an assessment to say.
type Permit struct {
	Key       events.Key
	Number    string
	For       string
	By        string
	At        int64 // from when it counts: its own time, late, and never before it was recorded
	Recorded  int64
	Until     int64 // 0: open
	Withdrawn int64 // early; 0: not
	Braces    []string
	From, To  int  // mm, of the stretch; -1: none
	Asker     bool // the one who asked for it issued it
	Statement string
	Basis     string
	Release   events.Key // that it relies on; empty: none
	Lacks     []string   // of one to strip: what its form lacks
	Seq       uint64

	Said    *events.PermitIssued // by its newest version
	numbers []string             // by every version
}

// Probe is where a probe sits, as declared.
type Probe struct {
	At int64 // late
	events.ProbeDeclared
}

// Covers reports whether the permit is for a brace, at a station in mm or -1.
func (p *Permit) Covers(brace string, at int) bool {
	return (len(p.Braces) == 0 || slices.Contains(p.Braces, brace)) && (p.From < 0 || at >= p.From && at <= p.To)
}

// Partly reports whether the permit is for less than the whole wall.
func (p *Permit) Partly() bool { return len(p.Braces) > 0 || p.From >= 0 }

func (h *Holding) foldPermit(e *Entry) {
	if d, ok := e.Last().(*events.PermitIssued); ok {
		if !e.Maybe {
			h.issue(e, d)
		}
		return
	}
	for _, v := range e.Versions {
		number := v.(*events.PermitWithdrawn).Number
		h.withdrawn[number] = first(h.withdrawn[number], e.Began.Early)
	}
	for _, p := range h.Permits {
		p.withdraw(h.withdrawn)
	}
}

// issue takes a permit by what all its versions allow.
func (h *Holding) issue(e *Entry, d *events.PermitIssued) {
	p := &Permit{Key: e.Key(), Number: d.Number, For: d.For, By: e.By, At: max(e.Began.Late, e.Recorded.UnixMilli()), Recorded: e.Recorded.UnixMilli(),
		Braces: d.Braces, From: -1, To: -1, Statement: d.Statement, Basis: d.Basis, Release: d.Release.Key(), Seq: e.Seq, Said: d}
	for _, v := range e.Versions {
		x := v.(*events.PermitIssued)
		p.ends(x)
		if p.Braces = common(p.Braces, x.Braces); x.For != d.For || len(p.Braces) == 0 && len(d.Braces) > 0 || !p.stretch(x) {
			p.For = "pour" // the versions agree on nothing: no permit to strip
		}
		if x.Basis != d.Basis || x.Release != d.Release {
			p.Release = events.Key{} // nor on what it relies
		}
		p.Asker = p.Asker || x.RequestedBy != "" && x.RequestedBy == e.By
		for _, lack := range events.PermitLacks(x, e.By) {
			if !slices.Contains(p.Lacks, lack) {
				p.Lacks = append(p.Lacks, lack)
			}
		}
		p.numbers = append(p.numbers, x.Number)
	}
	p.withdraw(h.withdrawn)
	h.Permits = append(h.Permits, p)
}

// ends takes the earlier end. One that names its basis holds two weeks at most.
func (p *Permit) ends(x *events.PermitIssued) {
	if !x.Until.IsZero() {
		p.Until = first(p.Until, x.Until.UnixMilli())
	}
	if x.Basis != "" {
		p.Until = first(p.Until, p.At+events.PermitMost.Milliseconds())
	}
}

// stretch narrows the permit to a stretch as well; false: nothing is left of it.
func (p *Permit) stretch(x *events.PermitIssued) bool {
	if x.FromM == nil {
		return true
	}
	from, to := min(mm(x.FromM), mm(x.ToM)), max(mm(x.FromM), mm(x.ToM))
	if p.From >= 0 {
		from, to = max(from, p.From), min(to, p.To)
	}
	p.From, p.To = from, to
	return from <= to
}

// withdraw notes a withdrawal: a number once withdrawn stays so, whichever
// entry gave it.
func (p *Permit) withdraw(withdrawn map[string]int64) {
	for _, n := range p.numbers {
		if at, ok := withdrawn[n]; ok {
			p.Withdrawn = first(p.Withdrawn, at)
		}
	}
}

// common is what two lists of braces both name; an empty one names all.
func common(a, b []string) []string {
	switch {
	case len(a) == 0:
		return b
	case len(b) == 0:
		return a
	}
	var out []string
	for _, n := range a {
		if slices.Contains(b, n) {
			out = append(out, n)
		}
	}
	return out
}

func (p *Permit) appendDigest(b []byte) []byte {
	return fmt.Appendf(b, "%v %q %s %s %d %d %d %q %d %d %v %q %s %v %q %d", p.Key, p.Number, p.For, p.By, p.At, p.Until, p.Withdrawn, p.Braces,
		p.From, p.To, p.Asker, p.Statement, p.Basis, p.Release, p.Lacks, p.Seq)
}
