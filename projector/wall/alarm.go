package wall

import (
	"slices"
	"time"

	"earlyage/events"
)

// The states of an alarm, by the state diagram of IEC 62682 (the names from
// memory of the standard, shortened). Suppressed by design does not occur: what
// is not to be raised is not raised.
const (
	StateNormal                = "normal" // over, and answered
	StateUnacknowledged        = "unacknowledged"
	StateAcknowledged          = "acknowledged"
	StateReturned              = "returned unacknowledged" // the condition is gone, and nobody answered
	StateLatchedUnacknowledged = "latched unacknowledged"  // the condition is gone or a deed is past, and it waits for its answer
	StateLatchedAcknowledged   = "latched acknowledged"    // answered, and not yet cleared
	StateShelved               = "shelved"
	StateOutOfService          = "out of service"
)

// Bounds of what is kept beside one alarm, and of what is told of alarms that
// stand elsewhere.
const (
	toldKept  = 200 // the newest
	shownKept = 200 // the first
	strayKept = 1000
)

// How long an alarm may be shelved, and a kind out of service, from the recording
// on.
const (
	shelvedMS = 8 * 3600 * 1000
	restMS    = 7 * dayMS
)

// Alarm is one alert that was raised, and what became of it. Times are Unix ms; 0
// is none.
type Alarm struct {
	ID, Kind, Cause, Priority, Text string
	About                           *events.About // nil: not said
	Since                           int64         // the condition holds
	Raised                          int64         // the stream had the word
	RaisedSeq, ClearedSeq           uint64
	ClearedAt                       int64

	Acknowledged     int64
	AcknowledgedSeq  uint64
	AcknowledgedBy   string
	AcknowledgedNote string
	TakenBack        []TakenBack // answers that somebody voided, in the order of the stream

	// The last shelving. It holds from the recording on, for at most 8 h.
	ShelvedFrom, ShelvedUntil int64
	ShelvedBy, ShelvedReason  string
	Unshelved                 int64 // before its time
	UnshelvedBy               string

	Shown     []Showing // the first of each person, device and state
	ShownMore int       // not kept
	Told      []Telling // in the order of the stream, the newest
	ToldMore  int       // earlier ones, not kept

	LastSeq uint64 // the last word of the hub on this kind and cause
}

// TakenBack is an answer that a void took out of the record.
type TakenBack struct {
	By     string
	At     int64
	VoidBy string
	VoidAt int64 // recorded
	Reason string
}

// Showing says that a device's page showed an alarm to its person.
type Showing struct {
	By, Device, State string
	At                int64
}

// Telling is what came of telling one person by one channel.
type Telling struct {
	Seq uint64
	At  int64
	*events.AlertTold
}

// Rest is a kind of alert, or one cause of it, that is out of service. It holds
// from the recording on, for at most 7 days.
type Rest struct {
	Kind, Cause string // no cause: every one
	From, Until int64  // Unix ms
	By, Reason  string
	Ended       int64 // before its time
	EndedBy     string
}

// Resting finds a rest that covers a kind and cause at a moment (Unix ms).
func Resting(rests []Rest, kind, cause string, at int64) (Rest, bool) {
	for _, r := range rests {
		if r.Kind == kind && (r.Cause == "" || r.Cause == cause) && r.From <= at && at < r.Until {
			return r, true
		}
	}
	return Rest{}, false
}

// Cleared reports whether the hub said that the condition is over.
func (a *Alarm) Cleared() bool { return a.ClearedSeq != 0 }

// Stands reports whether the alarm is not over: the hub has not cleared it, or it
// latches and nobody has answered it.
func (a Alarm) Stands() bool {
	return a.ClearedSeq == 0 || a.Acknowledged == 0 && events.Latches(a.Kind)
}

// ShelvedAt reports whether the alarm is put off at a moment (Unix ms).
func (a *Alarm) ShelvedAt(at int64) bool { return a.ShelvedFrom <= at && at < a.ShelvedUntil }

// StateAt gives the alarm's state at a moment (Unix ms), by all that was folded.
// resting reports whether a kind and cause are out of service then; nil: none is.
func (a *Alarm) StateAt(at int64, resting func(kind, cause string, at int64) bool) string {
	answered := a.Acknowledged != 0
	switch {
	case a.Cleared() && answered:
		return StateNormal
	case resting != nil && resting(a.Kind, a.Cause, at):
		return StateOutOfService
	case a.ShelvedAt(at):
		return StateShelved
	case events.TellsOfDeed(a.Kind) && answered:
		return StateLatchedAcknowledged
	case events.TellsOfDeed(a.Kind), a.Cleared() && events.Latches(a.Kind):
		return StateLatchedUnacknowledged
	case a.Cleared():
		return StateReturned
	case answered:
		return StateAcknowledged
	}
	return StateUnacknowledged
}

// answeredBy reports whether an answer that names a kind of alert answers this
// one. Who may answer goes by the kind, so that an answer which names another is
// none; one without a kind is of the time before it was asked for.
func (a *Alarm) answeredBy(kind string) bool {
	return a != nil && (kind == "" || kind == a.Kind)
}

// aside is from when to when a word puts something aside: from its recording on. A
// clock that runs ahead or an entry that comes late makes it shorter, never longer
// than was meant.
func aside(f *Fact, at, until time.Time, mostMS int64) (from, to int64) {
	known := f.Recorded.UnixMilli()
	to = min(until.UnixMilli(), known+until.Sub(at).Milliseconds(), known+mostMS)
	return min(known, to), to
}

// shelve puts the alarm off.
func (a *Alarm) shelve(f *Fact, d *events.AlertShelved) {
	a.ShelvedFrom, a.ShelvedUntil = aside(f, d.At, d.Until, shelvedMS)
	a.ShelvedBy, a.ShelvedReason = f.By, d.Reason
	a.Unshelved, a.UnshelvedBy = 0, ""
}

func (a *Alarm) unshelve(f *Fact) {
	known := f.Recorded.UnixMilli()
	if known >= a.ShelvedUntil {
		return // there is nothing to end
	}
	a.ShelvedUntil, a.ShelvedFrom = known, min(a.ShelvedFrom, known)
	a.Unshelved, a.UnshelvedBy = known, f.By
}

func (a *Alarm) takeBack(f, void *Fact) {
	y := TakenBack{f.By, f.Time.UnixMilli(), void.By, void.Recorded.UnixMilli(), ""}
	if d, ok := void.Data.(*events.RecordVoided); ok {
		y.Reason = d.Reason
	}
	a.TakenBack = append(a.TakenBack, y)
}

func (a *Alarm) shown(f *Fact, d *events.AlertShown) {
	same := func(x Showing) bool { return x.By == f.By && x.Device == f.Source.Device && x.State == d.State }
	switch {
	case slices.ContainsFunc(a.Shown, same):
	case len(a.Shown) == shownKept:
		a.ShownMore++
	default:
		a.Shown = append(a.Shown, Showing{f.By, f.Source.Device, d.State, d.At.UnixMilli()})
	}
}

// tell keeps an outcome; the same of the same message is known.
func (a *Alarm) tell(y Telling) {
	if slices.ContainsFunc(a.Told, func(x Telling) bool { return x.Message == y.Message && x.Outcome == y.Outcome }) {
		return
	}
	if a.Told = append(a.Told, y); len(a.Told) > toldKept {
		a.Told, a.ToldMore = a.Told[1:], a.ToldMore+1
	}
}
