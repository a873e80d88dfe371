package wall

import (
	"cmp"
	"slices"
)

// Span is a run of stations, mm, From before To.
type Span struct{ From, To int }

// Said is what was said of the vibration of some of a lift.
type Said struct {
	Span
	Not bool
	At  int64 // late
}

const (
	// vibratedWithin is how long after its end a lift can still have been
	// vibrated: later the vibrator breaks what has begun to set.
	vibratedWithin = hour
	// creditBack is how far back the concrete is looked for that a crew vibrated.
	creditBack = 5 * hour
)

// consolidate puts what was said of vibration to the concrete that lay on top
// when it was said. One entry is credited once, and to no lift that comes after
// it in canonical order, so that it makes no difference in how many batches the
// entries came.
func (p *Pour) consolidate() {
	for ; p.credited < len(p.Consolidated); p.credited++ {
		p.credit(&p.Consolidated[p.credited])
	}
}

func (p *Pour) credit(c *Vibrated) {
	rest := p.spans(c)
	for i := c.after - 1; i >= 0 && len(rest) > 0; i-- {
		l := &p.Lifts[i]
		if l.Began.Early < c.At-creditBack {
			return
		}
		for _, q := range l.pieces {
			var left []Span
			for _, r := range rest {
				on := Span{max(r.From, q.low), min(r.To, q.high)}
				if on.From >= on.To {
					left = append(left, r)
					continue
				}
				if c.At <= l.Ended.Late+vibratedWithin || c.Not {
					l.Said = append(l.Said, Said{on, c.Not, c.At})
					c.OnConcrete = c.OnConcrete || l.over
				}
				left = appendSpan(appendSpan(left, r.From, on.From), on.To, r.To)
			}
			rest = left
		}
	}
}

func appendSpan(list []Span, from, to int) []Span {
	if from < to {
		list = append(list, Span{from, to})
	}
	return list
}

// spans are the stations of an entry; on a closed wall by the shorter way, as
// those of a lift are.
func (p *Pour) spans(c *Vibrated) []Span {
	long := p.geometry.Length
	if p.geometry.Closed && 2*(c.To-c.From) > long && (c.From > 0 || c.To < long) {
		return appendSpan(appendSpan(nil, 0, c.From), min(c.To, long), long)
	}
	return []Span{{c.From, c.To}}
}

// Vibration is what is known of the vibration of some of a lift.
type Vibration struct {
	Span
	Known bool
	Not   bool  // declared not vibrated
	At    int64 // late: when that was said; 0: with the lift
}

// Vibration says by stations what was said of the lift's vibration, the last
// word last. Neighbours of which the same was said are one.
func (l *Lift) Vibration() []Vibration {
	var out []Vibration
	for _, q := range l.pieces {
		edges := []int{q.low, q.high}
		for _, s := range l.Said {
			edges = append(edges, max(q.low, min(q.high, s.From)), max(q.low, min(q.high, s.To)))
		}
		slices.Sort(edges)
		edges = slices.Compact(edges)
		for i := 1; i < len(edges); i++ {
			v := Vibration{Span: Span{edges[i-1], edges[i]}, Known: l.Vibrated != nil, Not: l.Vibrated != nil && !*l.Vibrated}
			for _, s := range l.Said {
				if s.From <= v.From && v.To <= s.To {
					v.Known, v.Not, v.At = true, s.Not, s.At
				}
			}
			if n := len(out); n > 0 && out[n-1].To == v.From && out[n-1].Known == v.Known && out[n-1].Not == v.Not {
				out[n-1].To, out[n-1].At = v.To, max(out[n-1].At, v.At)
				continue
			}
			out = append(out, v)
		}
	}
	slices.SortFunc(out, func(a, b Vibration) int { return cmp.Compare(a.From, b.From) })
	return out
}

// Unvibrated reports whether some of the lift was ever declared not vibrated.
func (l *Lift) Unvibrated() bool {
	return l.Vibrated != nil && !*l.Vibrated || slices.ContainsFunc(l.Said, func(s Said) bool { return s.Not })
}

// Unsaid reports whether nobody said of some of the lift whether it was
// vibrated. A top-up is worked in with what lies below it.
func (l *Lift) Unsaid() bool {
	if l.Vibrated != nil || l.TopUp {
		return false
	}
	said := 0
	for _, s := range l.Said {
		said += s.To - s.From
	}
	return said < l.Run || slices.ContainsFunc(l.Vibration(), func(v Vibration) bool { return !v.Known })
}
