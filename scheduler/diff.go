package scheduler

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"earlyage/events"
	"earlyage/projector/wall"
)

// edgeMoves is by how much an expected edge moves before it is stated again,
// and by how much a stated time slips before somebody is told.
const edgeMoves = 30 * time.Minute

// planAhead is how far ahead an expected time is leaned on: the next day's work
// is planned by it.
const planAhead = 24 * time.Hour

// comparison is what the difference between what ought to be said and what was said
// is taken from.
type comparison struct {
	ref     Ref
	folded  Folded
	now     Assessment
	hub     Hub
	at      time.Time // the moment assessed
	through uint64
	gone    map[alarmKey]time.Time // since when a standing alert's condition is gone; nil: none
}

// alarmKey is what there is one standing alert of, for each wall or site.
type alarmKey struct{ kind, cause string }

// speech is what to say, and when to look again for the sake of a delay.
type speech struct {
	words []events.Event
	wake  time.Time
	gone  map[alarmKey]time.Time // the new one
}

func (v *speech) wakeAt(t time.Time) { v.wake = earlier(v.wake, t) }

// earlier is the earlier of two times, of which a zero one means never.
func earlier(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}

// diff compares an assessment with what the record holds of earlier words. It
// is a pure function of its argument.
func diff(in comparison) speech {
	var out speech
	out.alerts(in, in.later())
	// The statement comes last: that an earlier one no longer holds is seen by
	// comparison with it, and would be lost if the hub stopped between the two.
	if in.news() {
		out.words = append(out.words, in.statement())
	}
	return out
}

// news reports whether the wall's window has to be stated (again).
func (in *comparison) news() bool {
	switch in.now.State {
	case "", StateStripped, StateHandedOver:
		return false
	case StatePlanned:
		if !in.folded.HasSaid {
			return false
		}
	}
	if !in.folded.HasSaid {
		return true
	}
	return !agrees(&in.folded.Said.WindowStated, in.now.Strip, in.at)
}

// Agrees reports whether a statement says what an assessment gives: by it the
// window would not be stated again.
func Agrees(said *events.WindowStated, a Assessment) bool { return agrees(said, a.Strip, a.At) }

func agrees(said *events.WindowStated, strip Strip, at time.Time) bool {
	return strip.Open == said.Open && strip.Governs == said.Governs && strip.CuredAt.Equal(said.CuredAt) &&
		!moved(strip.Expected.Early, said.Early, at) && !moved(strip.Expected.Likely, said.Likely, at) && !moved(strip.Expected.Late, said.Late, at)
}

// moved reports whether an expected edge moved by enough to say it again: by 30
// minutes, or a tenth of the time that is left, whichever is more. A week ahead
// half an hour is no news, and a board that changes every minute is not read.
func moved(a, b, now time.Time) bool {
	if a.IsZero() || b.IsZero() {
		return a.IsZero() != b.IsZero()
	}
	return a.Sub(b).Abs() >= slack(b, now)
}

// slack is by how much an expected time has to move before it is news: 30
// minutes, or a tenth of the time that is left to it.
func slack(expected, now time.Time) time.Duration { return max(edgeMoves, expected.Sub(now)/10) }

// later returns the alerts that ought to stand because a time that was stated
// no longer holds. It compares with the last statement, and with what the
// standing alerts of this kind remember of the statement that they came from.
// While the hub itself is in doubt nothing is added: that doubt has its own alert.
func (in *comparison) later() []Alert {
	switch in.now.State {
	case "", StateStripped, StateHandedOver:
		return nil
	}
	var out []Alert
	for _, a := range in.folded.Alarms {
		if a.Kind != AlertWindowLater || !a.Stands() {
			continue
		}
		if p, ok := parsePromise(a.Cause); ok && (p.broken(in.now.Strip, in.at) || len(in.hub.Doubts) > 0) {
			out = append(out, Alert{Kind: a.Kind, Cause: a.Cause, Since: time.UnixMilli(a.Since).UTC(), Text: a.Text})
		}
	}
	p, ok := in.promise()
	if !ok || len(in.hub.Doubts) > 0 || !p.broken(in.now.Strip, in.at) {
		return out
	}
	covered := func(a Alert) bool {
		old, _ := parsePromise(a.Cause)
		return old.what == p.what || old.what == promiseOpen
	}
	if slices.ContainsFunc(out, covered) {
		return out
	}
	return append(out, Alert{Kind: AlertWindowLater, Cause: p.String(), Since: in.at, Text: p.text(in.now.Strip, in.folded.zone())})
}

// A promise is what a statement led people to expect.
type promise struct {
	what string
	at   time.Time
}

const (
	promiseOpen     = "open"
	promiseCured    = "cured"
	promiseExpected = "expected"
)

// promise returns what the last statement promised, if it was one to lean on:
// an open window, a cured wall, or an expected time within the next day or with
// a permit to strip beside it. What was said while the wall was still being
// placed is none: every lift moves it.
func (in *comparison) promise() (promise, bool) {
	said := in.folded.Said.WindowStated
	switch {
	case !in.folded.HasSaid:
		return promise{}, false
	case said.Open:
		return promise{promiseOpen, said.At}, true
	case said.State == StatePlanned || said.State == StatePlacing:
		return promise{}, false
	case !said.CuredAt.IsZero():
		return promise{promiseCured, said.CuredAt}, true
	case said.Likely.IsZero():
		return promise{}, false
	}
	leaned := said.Likely.Sub(in.at) <= planAhead || in.folded.Permitted != nil && in.folded.Permitted(in.at)
	return promise{promiseExpected, said.Likely}, leaned
}

// broken reports whether the window no longer keeps the promise.
func (p promise) broken(s Strip, now time.Time) bool {
	when := opens(s)
	switch {
	case s.Open:
		return false
	case p.what == promiseOpen:
		return true
	case p.what == promiseExpected:
		return when.IsZero() || when.Sub(p.at) > slack(p.at, now)
	default:
		return when.IsZero() || when.Sub(p.at) > edgeMoves
	}
}

// opens is when the wall was or is likely to be cured; zero: not known.
func opens(s Strip) time.Time {
	if s.CuredAt.IsZero() {
		return s.Expected.Likely
	}
	return s.CuredAt
}

func (p promise) String() string { return p.what + " " + p.at.UTC().Format(time.RFC3339Nano) }

func parsePromise(s string) (promise, bool) {
	what, when, _ := strings.Cut(s, " ")
	at, err := time.Parse(time.RFC3339Nano, when)
	return promise{what, at}, err == nil
}

func (p promise) text(s Strip, zone *time.Location) string {
	was := map[string]string{
		promiseOpen: "was stated open at", promiseCured: "was stated cured at", promiseExpected: "was expected at",
	}[p.what]
	text := fmt.Sprintf("The window %s %s. ", was, localMinute(p.at, zone))
	if p.what == promiseOpen {
		text += "It is shut again: " + governing(s) + "."
	} else if when := opens(s); when.IsZero() {
		text += "When it opens is not known now: " + governing(s) + "."
	} else {
		text += "It is now " + localMinute(when, zone) + ": " + governing(s) + "."
	}
	return text + " Do not strip on the earlier word."
}

// alerts raises what ought to stand and does not, and clears what stands and
// ought not to, each after its delay. What is inside its deadband is neither
// raised nor cleared. A latched kind is not cleared before it is acknowledged; a
// deed ends with that, and is not told again.
func (v *speech) alerts(in comparison, later []Alert) {
	wanted := map[alarmKey]bool{}
	last := in.lastWords()
	for _, a := range slices.Concat(in.now.Alerts, later) {
		key := alarmKey{a.Kind, a.Cause}
		if wanted[key] {
			continue
		}
		wanted[key] = true
		if a.Since.IsZero() {
			a.Since = in.at
		}
		ready := a.Since.Add(AlertKinds[a.Kind].OnDelay)
		switch {
		case last[key].stands, last[key].answered && AlertKinds[a.Kind].Once:
		case ready.After(in.at):
			v.wakeAt(ready)
		default:
			v.words = append(v.words, in.raise(a, last[key].seq))
		}
	}
	for _, a := range in.now.Nearing {
		wanted[alarmKey{a.Kind, a.Cause}] = true
	}
	for _, a := range in.folded.Alarms {
		if key := (alarmKey{a.Kind, a.Cause}); a.Stands() && over(a, wanted[key]) {
			v.clear(in, a, key)
		}
	}
}

// over reports whether nothing but a delay keeps an alarm standing.
func over(a wall.Alarm, wanted bool) bool {
	kind, answered := AlertKinds[a.Kind], a.Acknowledged != 0
	switch {
	case kind.Once:
		return answered
	case kind.Latch:
		return answered && !wanted
	default:
		return !wanted
	}
}

func (v *speech) clear(in comparison, a wall.Alarm, key alarmKey) {
	since, known := in.gone[key]
	if !known {
		since = in.at
	}
	if ready := since.Add(AlertKinds[a.Kind].OffDelay); ready.After(in.at) {
		if v.gone == nil {
			v.gone = map[alarmKey]time.Time{}
		}
		v.gone[key] = since
		v.wakeAt(ready)
		return
	}
	v.words = append(v.words, in.clear(a))
}

// lastWord is what was said last on one kind and cause.
type lastWord struct {
	seq      uint64 // in the stream
	stands   bool
	answered bool // one of its alerts was acknowledged
}

func (in *comparison) lastWords() map[alarmKey]lastWord {
	out := map[alarmKey]lastWord{}
	for _, a := range in.folded.Alarms {
		w := out[alarmKey{a.Kind, a.Cause}]
		w.seq, w.stands, w.answered = max(w.seq, a.LastSeq), w.stands || a.Stands(), w.answered || a.Acknowledged != 0
		out[alarmKey{a.Kind, a.Cause}] = w
	}
	return out
}
