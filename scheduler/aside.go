package scheduler

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"earlyage/events"
	"earlyage/projector/wall"
)

// What cannot be said through the stream is handed to Config.Unsaid. When the
// stream is back, every moment that was due meanwhile is gone through as if nobody
// had been told. An alert that was handed on and is not asked for then is said all
// the same: people were told of it, and may have answered. It stands in the record
// like any other, and ends like any other.

// freshFor is how old the last message of a record may be that was never level, for
// urgent alerts to be handed on from it. What came after it is not known: an alert
// may be false, but none comes too late.
const freshFor = 2 * time.Hour

// handOn gives the alerts among words that are not known to be in the stream to
// Unsaid, each alert once: said again in other words it is the same alert. When
// the loop is being stopped nothing is handed on; the next one says it.
func (l *Loop) handOn(words []events.Event) {
	elapsed := l.cfg.Clock.Elapsed()
	maps.DeleteFunc(l.handed, func(_ string, at time.Duration) bool { return elapsed-at >= handedFor })
	var out []events.Event
	for _, e := range words {
		d, ok := e.Data.(*events.AlertRaised)
		if !ok {
			continue
		}
		if _, again := l.handed[d.Alert]; !again {
			l.owe(e, d)
			out = append(out, e)
		}
	}
	l.unsaid(out)
}

// unsaid hands words on; none: it does nothing.
func (l *Loop) unsaid(words []events.Event) {
	if len(words) > 0 {
		l.count.Unsaid += uint64(len(words))
		l.cfg.Unsaid(words)
	}
}

// recall takes in what was handed on before the start.
func (l *Loop) recall() {
	for _, e := range l.cfg.Handed() {
		d, ok := e.Data.(*events.AlertRaised)
		switch {
		case !ok:
		case d.Kind == AlertStreamShort:
			l.fallen, l.falls = d, 1
		default:
			l.owe(e, d)
		}
	}
}

// owe notes that an alert was handed on and is not known to be in the stream.
func (l *Loop) owe(e events.Event, d *events.AlertRaised) {
	ref := Ref{e.Source.Site, e.Wall}
	l.handed[d.Alert] = l.cfg.Clock.Elapsed()
	if !slices.ContainsFunc(l.owing[ref], func(o *events.AlertRaised) bool { return o.Alert == d.Alert }) {
		l.owing[ref] = append(l.owing[ref], d)
	}
}

// owed says of a subject the alerts that were handed on and that neither the record
// holds nor the present moment asks for. One whose place in the record another word
// has taken can never be said any more: its end is handed on as it was.
func (l *Loop) owed(in comparison) (words []events.Event) {
	var left []*events.AlertRaised
	last, wanted := in.lastWords(), map[alarmKey]bool{}
	for _, a := range slices.Concat(in.now.Alerts, in.later()) {
		wanted[alarmKey{a.Kind, a.Cause}] = true
	}
	for _, d := range l.owing[in.ref] {
		key := alarmKey{d.Kind, d.Cause}
		again := in.raise(Alert{Kind: d.Kind, Cause: d.Cause, Priority: d.Priority, Since: d.Since, Text: d.Text, About: d.About}, last[key].seq)
		switch {
		case slices.ContainsFunc(in.folded.Alarms, func(a wall.Alarm) bool { return a.ID == d.Alert }):
			continue
		case again.Data.(*events.AlertRaised).Alert != d.Alert:
			l.lapsed = append(l.lapsed, in.clear(wall.Alarm{ID: d.Alert, Kind: d.Kind, Cause: d.Cause}))
			continue
		case !wanted[key]:
			words = append(words, again)
		}
		left = append(left, d)
	}
	if l.owing[in.ref] = left; left == nil {
		delete(l.owing, in.ref)
	}
	return words
}

// tellLapsed hands on the end of alerts that can never be said.
func (l *Loop) tellLapsed() {
	list := l.lapsed
	l.lapsed = nil
	for i := range list {
		list[i] = mustSeal(list[i])
	}
	l.unsaid(list)
}

func mustSeal(e events.Event) events.Event {
	e, err := seal(e)
	if err != nil {
		panic("scheduler: a word to be handed on: " + err.Error())
	}
	return e
}

// lost asks, about once a second, whether the stream answers when the record is
// not level. If it does, the record is coming up to it; if not, nothing can be said
// until it does.
func (l *Loop) lost(ctx context.Context) bool {
	if l.level || l.short || time.Since(l.askedAt) < lookEvery {
		return false
	}
	l.askedAt = time.Now()
	try, cancel := context.WithTimeout(ctx, sayWithin)
	defer cancel()
	if _, _, err := l.cfg.Stream.Head(try); err == nil || ctx.Err() != nil {
		return false
	}
	l.unsure, l.away, l.pause = true, true, retryAfter
	l.notBefore = time.Now().Add(l.pause)
	l.cfg.Log.Warn("the stream does not answer: alerts are handed on beside it")
	return true
}

// aside looks at what is due or changed while the stream does not answer, and
// hands on the alerts that it would raise. All of it stays due.
func (l *Loop) aside(ctx context.Context) error {
	for ctx.Err() == nil {
		var words []events.Event
		looked := 0
		err := l.read(func(p Page, st Status, now time.Time) {
			l.maySpeak(st)
			if l.away && !l.short && (l.wasLevel || l.freshEnough(st, now)) {
				words, looked = l.peek(p, st, now)
			}
		})
		if err != nil {
			return err
		}
		l.tellShort()
		l.handOn(words)
		if looked < chunk {
			return nil
		}
	}
	return nil
}

// freshEnough reports whether a record that was not level since the start is one to
// hand urgent alerts on from.
func (l *Loop) freshEnough(st Status, now time.Time) bool {
	return l.subscribed && !st.Recorded.IsZero() && now.Sub(st.Recorded) <= freshFor
}

// aheadOf reports whether a word is of an urgent alert that time alone brought after
// the record's last message.
func aheadOf(st Status, e events.Event) bool {
	d, ok := e.Data.(*events.AlertRaised)
	return ok && d.Priority == Urgent && d.Since.After(st.Recorded)
}

// peek returns the alerts that ought to be raised now, and how many subjects it
// looked at.
func (l *Loop) peek(p Page, st Status, now time.Time) (words []events.Event, looked int) {
	for _, ref := range l.waiting(now) {
		if again, known := l.peeked[ref]; known && (again.IsZero() || again.After(now)) {
			continue
		}
		if looked++; looked > chunk {
			return words, chunk
		}
		in := l.compare(st, ref, p.Look(ref), stamp(now))
		v := diff(in)
		next := earlier(in.now.Next, v.wake)
		if !next.IsZero() && !next.After(now) {
			next = now.Add(time.Second)
		}
		l.peeked[ref] = next
		for _, w := range v.words {
			if e, err := seal(w); err == nil && (l.wasLevel || aheadOf(st, e)) { // what cannot be said is logged when it is to be said
				words = append(words, e)
			}
		}
	}
	return words, looked
}

// waiting lists what is due or changed and has not been gone through, in order.
func (l *Loop) waiting(now time.Time) []Ref {
	refs := slices.Collect(maps.Keys(l.marks))
	for _, it := range l.queue.items {
		if _, marked := l.marks[it.ref]; !marked && !it.at.After(now) {
			refs = append(refs, it.ref)
		}
	}
	slices.SortFunc(refs, Ref.compare)
	return refs
}

// tellShort hands on that the stream has become shorter than the record, and the
// end of that, after its delay. Neither is ever published. The alert's id hangs on
// where the record stands, so that a hub that is started again meanwhile raises the
// same.
func (l *Loop) tellShort() {
	now := stamp(l.cfg.Clock.Now())
	in := comparison{ref: Ref{Site: Company}, at: now}
	switch {
	case l.short && l.fallen != nil, !l.level && !l.short:
		l.mending = false
	case l.short:
		e := mustSeal(in.raise(l.shortAlert(now), 0))
		l.fallen = e.Data.(*events.AlertRaised)
		l.unsaid([]events.Event{e})
	case l.fallen != nil && l.mended():
		d := l.fallen
		l.fallen, l.mending = nil, false
		l.unsaid([]events.Event{mustSeal(in.clear(wall.Alarm{ID: d.Alert, Kind: d.Kind, Cause: d.Cause}))})
	}
}

// mended reports whether the stream has been whole again for as long as it takes.
func (l *Loop) mended() bool {
	elapsed := l.cfg.Clock.Elapsed()
	if !l.mending {
		l.mending, l.mendedAt = true, elapsed
	}
	return elapsed-l.mendedAt >= AlertKinds[AlertStreamShort].OffDelay
}

func (l *Loop) shortAlert(now time.Time) Alert {
	cause := fmt.Sprintf("through %d", l.through)
	if l.falls++; l.falls > 1 {
		cause += fmt.Sprintf(", time %d", l.falls)
	}
	return Alert{
		Kind: AlertStreamShort, Cause: cause, Since: now,
		Text: fmt.Sprintf("The stream ends before entry %d, which was already read from it. All windows are shut, and nothing is stated until the stream is restored. Strip nothing by this record.", l.through),
	}
}
