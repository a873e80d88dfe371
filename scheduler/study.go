package scheduler

import (
	"maps"
	"slices"
	"time"

	"earlyage/events"
)

// deliver marks what the record says has changed.
func (l *Loop) deliver(p Page, in mail) {
	l.heard = max(l.heard, in.through)
	if in.lost || in.overdue > l.heard {
		l.subscribed = true
		l.markAll(p)
	}
	for s := range in.pokes {
		l.marks[Ref{Site: s}] = true
		delete(l.peeked, Ref{Site: s})
	}
	if in.through <= l.whole {
		return // it was on its way while everything was marked
	}
	for w := range in.walls {
		l.mark(w)
		l.mark(Ref{Site: w.Site}) // its devices have moved on
	}
	for s := range in.sites {
		if s == Company {
			l.markAll(p)
			return
		}
		l.markSite(p, s)
	}
}

func (l *Loop) mark(r Ref) {
	delete(l.peeked, r)
	if _, marked := l.marks[r]; !marked {
		l.marks[r] = false
	}
}

func (l *Loop) markSite(p Page, site string) {
	l.mark(Ref{Site: site})
	for _, r := range p.Refs(site) {
		l.mark(r)
	}
}

// markAll marks everything for the present moment: what has changed is not a
// matter of the record's last message.
func (l *Loop) markAll(p Page) {
	l.whole, l.heard = l.through, max(l.heard, l.through)
	clear(l.peeked)
	l.marks[Ref{Site: Company}] = true
	for _, r := range p.Refs("") {
		l.marks[r] = true
	}
}

// job is one subject to be looked at.
type job struct {
	ref     Ref
	due     time.Time // zero: it is not time that asks for it
	present bool
}

// take takes the next subjects out of the queue and the marks, in order.
func (l *Loop) take(now time.Time) []job {
	var jobs []job
	for len(jobs) < chunk {
		it, ok := l.queue.pop(now)
		if !ok {
			break
		}
		jobs = append(jobs, job{it.ref, it.at, l.marks[it.ref]})
		delete(l.marks, it.ref)
	}
	if len(l.marks) == 0 {
		return jobs
	}
	for _, r := range slices.SortedFunc(maps.Keys(l.marks), Ref.compare) {
		if len(jobs) >= chunk {
			break
		}
		jobs = append(jobs, job{ref: r, present: l.marks[r]})
		delete(l.marks, r)
	}
	return jobs
}

// moment is what a subject is assessed for: the latest of what is due, the
// record's last message and the moment looked at before, but not the future.
func (l *Loop) moment(st Status, j job, now time.Time) time.Time {
	at := st.Recorded
	for _, t := range []time.Time{j.due, l.last[j.ref]} {
		if t.After(at) {
			at = t
		}
	}
	if j.present || st.Recorded.IsZero() || at.After(now) {
		at = now
	}
	return stamp(at)
}

// study looks at one subject, from the moment that asked for it through every
// moment that has come due since, until there is something to say.
func (l *Loop) study(p Page, st Status, j job, now time.Time) []events.Event {
	folded := p.Look(j.ref)
	at := l.moment(st, j, now)
	for step := 0; ; step++ {
		words, next := l.weigh(p, st, j.ref, folded, at)
		l.last[j.ref] = at
		if !next.IsZero() && !next.After(at) {
			next = at.Add(time.Second) // a moment that does not move on must not hold the loop
		}
		if len(words) > 0 || next.IsZero() || next.After(now) {
			l.queue.set(j.ref, next)
			if len(words) == 0 && len(l.owing[j.ref]) > 0 {
				words = l.owed(l.compare(st, j.ref, folded, at))
			}
			return words
		}
		if at = stamp(next); step >= mostSteps {
			at = stamp(now)
		}
	}
}

// compare assesses one subject at one moment, beside what was said of it.
func (l *Loop) compare(st Status, ref Ref, f Folded, at time.Time) comparison {
	l.count.Assessed++
	in := comparison{ref: ref, folded: f, hub: l.Hub(), at: at, through: st.Through, gone: l.gone[ref]}
	if f.Assess != nil {
		in.now = f.Assess(in.hub, at)
	}
	if ref.Wall == "" {
		in.now.Alerts = slices.Concat(in.now.Alerts, l.cfg.Beside(ref.Site))
	}
	if ref == (Ref{Site: Company}) {
		in.now.Alerts = append(in.now.Alerts, l.hubAlerts(st)...)
	}
	return in
}

// weigh assesses one subject at one moment and compares that with what was said.
func (l *Loop) weigh(p Page, st Status, ref Ref, f Folded, at time.Time) (words []events.Event, next time.Time) {
	in := l.compare(st, ref, f, at)
	v := diff(in)
	if l.gone[ref] = v.gone; v.gone == nil {
		delete(l.gone, ref)
	}
	words, next = v.words, earlier(in.now.Next, v.wake)
	if ref.Wall == "" && ref.Site != Company {
		if f.Gaps != l.gaps[ref.Site] {
			l.gaps[ref.Site] = f.Gaps
			l.markSite(p, ref.Site)
			delete(l.marks, ref)
		}
		sheets, due, err := sheets(p, ref, f, in.hub, at)
		if err != nil {
			l.cfg.Log.Error("no sheets", "site", ref.Site, "err", err)
		}
		words, next = append(words, sheets...), earlier(next, due)
	}
	return words, next
}
