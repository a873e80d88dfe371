package scheduler

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"time"

	"earlyage/events"
)

// maySpeak reports whether the record is one to speak from.
func (l *Loop) maySpeak(st Status) bool {
	l.level, l.wasLevel = st.Level, l.wasLevel || st.Level && l.subscribed
	if st.Short != l.short {
		l.short = st.Short
		if st.Short {
			l.cfg.Log.Error("the stream is shorter than the record: nothing is said until it is restored", "through", st.Through)
		}
	}
	return l.subscribed && st.Level && !st.Short && st.Through >= l.echo
}

// say publishes, and remembers how far the record must come before more is said.
func (l *Loop) say(ctx context.Context, words []events.Event) {
	sealed := l.sealAll(words)
	if len(sealed) == 0 {
		return
	}
	// A publication that takes longer speaks of a record that has moved on: it is
	// given up, and what is to be said is found anew.
	try, cancel := context.WithTimeout(ctx, sayWithin)
	seq, err := l.cfg.Voice.Say(try, sealed)
	cancel()
	l.echo = max(l.echo, seq)
	if err != nil {
		// Some of the words may be in the stream. They are looked for before
		// anything is said again: the record has to come up to the stream's head.
		l.count.Failed++
		l.unsure, l.pause = true, min(max(retryAfter, 2*l.pause), longestPause)
		l.notBefore = time.Now().Add(l.pause)
		for _, e := range sealed {
			l.mark(Ref{e.Source.Site, e.Wall})
		}
		if ctx.Err() == nil {
			l.cfg.Log.Warn("could not publish, will try again", "words", len(sealed), "err", err)
			l.handOn(sealed)
		}
		return
	}
	l.pause = 0
	elapsed := l.cfg.Clock.Elapsed()
	for _, e := range sealed {
		l.count.Said++
		l.recent[heldBy(e)] = elapsed
		l.logWord(e)
	}
}

// sealAll gives the words their ids and leaves out what cannot be said, and what
// was just said and did not come back: repeating it at once would help nobody.
func (l *Loop) sealAll(words []events.Event) []events.Event {
	elapsed := l.cfg.Clock.Elapsed()
	maps.DeleteFunc(l.recent, func(_ string, at time.Duration) bool { return elapsed-at >= sayAgainAfter })
	var out []events.Event
	for _, w := range words {
		e, err := seal(w)
		if _, again := l.recent[heldBy(w)]; again && err == nil {
			err = errors.New("it was stored and the record does not hold it")
		}
		if err != nil {
			ref := Ref{w.Source.Site, w.Wall}
			l.cfg.Log.Error("cannot say", "kind", w.Kind, "on", ref.String(), "err", err)
			l.queue.set(ref, l.cfg.Clock.Now().Add(sayAgainAfter))
			continue
		}
		out = append(out, e)
	}
	return out
}

// heldBy names what the record holds once it has folded a word, and with that
// never asks for again: the successor of a statement, an alert, its end, a
// sheet of a date. It is no id: the same word said again differs in how far the record was.
func heldBy(e events.Event) string {
	on := Ref{e.Source.Site, e.Wall}.String()
	switch d := e.Data.(type) {
	case *events.WindowStated:
		return fmt.Sprintf("%s after %d", on, d.Preceding)
	case *events.AlertRaised:
		return "raised " + d.Alert
	case *events.AlertCleared:
		return "cleared " + d.Alert
	case *events.SheetIssued:
		return on + " " + d.Name() + " " + d.Date
	}
	panic("scheduler: the hub does not say " + string(e.Kind))
}

// findHead finds out, when it is time to, how far the stream is after a failed
// publication.
func (l *Loop) findHead(ctx context.Context) bool {
	l.blocked = true
	if time.Now().Before(l.notBefore) {
		return false
	}
	_, head, err := l.cfg.Stream.Head(ctx)
	if err != nil {
		l.pause = min(2*l.pause, longestPause)
		l.notBefore = time.Now().Add(l.pause)
		l.away = true
		return false
	}
	l.unsure, l.away, l.echo = false, false, max(l.echo, head)
	clear(l.peeked)
	return true
}

func (l *Loop) logWord(e events.Event) {
	on := Ref{e.Source.Site, e.Wall}.String()
	switch d := e.Data.(type) {
	case *events.WindowStated:
		l.cfg.Log.Info("window stated", "on", on, "open", d.Open, "governs", d.Governs, "text", d.Text)
	case *events.AlertRaised:
		l.cfg.Log.Info("alert raised", "on", on, "kind", d.Kind, "priority", d.Priority, "alert", d.Alert, "text", d.Text)
	case *events.AlertCleared:
		l.cfg.Log.Info("alert cleared", "on", on, "kind", d.Kind, "alert", d.Alert)
	case *events.SheetIssued:
		l.cfg.Log.Info("sheet issued", "site", on, "sheet", d.Name(), "date", d.Date, "walls", len(d.Walls))
	}
}
