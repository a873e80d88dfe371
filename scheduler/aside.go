package scheduler

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"earlyage/events"
)

// What cannot be said through the stream is handed to Config.Unsaid. Nothing here
// changes what the loop says later: when the stream is back, every moment that
// was due meanwhile is gone through as if nobody had been told.

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
			l.handed[d.Alert] = elapsed
			out = append(out, e)
		}
	}
	if len(out) > 0 {
		l.count.Unsaid += uint64(len(out))
		l.cfg.Unsaid(out)
	}
}

// lost asks, about once a second, whether the stream still answers when a record
// that was level is not level any more. If it does, the record is coming up to
// it; if not, nothing can be said until it does.
func (l *Loop) lost(ctx context.Context) bool {
	if l.level || !l.wasLevel || l.short || time.Since(l.askedAt) < lookEvery {
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
			if l.away && l.wasLevel && !l.short {
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
			if e, err := seal(w); err == nil { // what cannot be said is logged when it is to be said
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
// end of that. Neither is ever published. The alert's id hangs on where the
// record stands, so that a hub that is started again meanwhile raises the same.
func (l *Loop) tellShort() {
	if l.short == (l.fallen != nil) {
		return
	}
	now := stamp(l.cfg.Clock.Now())
	in := comparison{ref: Ref{Site: Company}, at: now}
	var e events.Event
	if l.short {
		cause := fmt.Sprintf("through %d", l.through)
		if l.falls++; l.falls > 1 {
			cause += fmt.Sprintf(", time %d", l.falls)
		}
		e = in.raise(Alert{
			Kind: AlertStreamShort, Cause: cause, Since: now,
			Text: fmt.Sprintf("The stream ends before entry %d, which was already read from it. All windows are shut, and nothing is stated until the stream is restored. Strip nothing by this record.", l.through),
		}, 0)
		l.fallen = e.Data.(*events.AlertRaised)
	} else {
		e = word(in.ref, "alert.cleared", now, &events.AlertCleared{Alert: l.fallen.Alert, Kind: AlertStreamShort, Cause: l.fallen.Cause, At: now, Rules: Rules})
		l.fallen = nil
	}
	e, err := seal(e)
	if err != nil {
		panic("scheduler: a word on a short stream: " + err.Error())
	}
	l.count.Unsaid++
	l.cfg.Unsaid([]events.Event{e})
}
