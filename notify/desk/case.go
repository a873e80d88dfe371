package desk

import (
	"slices"
	"time"

	"earlyage/events"
	"earlyage/notify/notice"
)

// Version is the shape of the rows that this package writes.
const Version = 1

// What a case is about.
const (
	OfAlert = "alert"
	OfSheet = "sheet"
	OfRest  = "rest" // a kind that is out of service on a wall or a site
	OfVoid  = "void" // a word that was taken out of the record, be it heard before that or after
)

// Priorities, as events.AlertRaised has them.
const (
	Urgent = "urgent"
	High   = "high"
	Medium = "medium"
	Low    = "low"
)

// Case is one matter that is told: an alert, a sheet, or a kind of alert out of
// service. A case that has ended stays as a short row for 30 days, so that the
// same word, read a second time, tells nobody anything.
type Case struct {
	V      int           `json:"v"`
	ID     string        `json:"id"` // the alert's id; of a sheet and a rest a key of their own
	Of     string        `json:"of"`
	Notice notice.Notice `json:"notice"` // the word that raised it, or the sheet, or the rest. State is empty where only later words came

	// Moments, for whoever measures. Since when the condition holds is Notice.Since,
	// when it was raised Notice.Recorded.
	Taken        time.Time `json:"taken"`                 // the first word came here
	Accepted     time.Time `json:"accepted,omitzero"`     // first accepted by a channel
	Shown        time.Time `json:"shown,omitzero"`        // first shown by a page
	Acknowledged time.Time `json:"acknowledged,omitzero"` // recorded; of the first answer that stands
	AckBy        string    `json:"ack_by,omitzero"`
	Answers      []Answer  `json:"answers,omitzero"` // those that stand, in the order of the stream
	Cleared      time.Time `json:"cleared,omitzero"` // the clearing came here
	ClearedAt    time.Time `json:"cleared_at,omitzero"`
	Ended        time.Time `json:"ended,omitzero"` // nothing is left to be told

	Early []notice.Notice `json:"early,omitzero"` // answers that came before the word that raises it

	Shelf *Shelf    `json:"shelf,omitzero"` // the last word on putting it off
	Mute  time.Time `json:"mute,omitzero"`  // nothing is told until then; zero: it is told

	// When Shelf or the rest takes effect, where the stream's clock is ahead or this
	// one was put back; zero: it has.
	Begins time.Time `json:"begins,omitzero"`

	// How far it has climbed. A round begins when the alert is told for the first
	// time, and anew when shelving or rest is over.
	Round     int       `json:"round,omitzero"`
	Start     time.Time `json:"start,omitzero"`     // of the round
	Step      int       `json:"step,omitzero"`      // how many rungs were told in this round; repeats of the last one count
	Climb     time.Time `json:"climb,omitzero"`     // when the next rung is told; zero: never
	Nobody    bool      `json:"nobody,omitzero"`    // the rota names nobody; it is asked again
	Exhausted bool      `json:"exhausted,omitzero"` // the last rung was told as often as it ever is
	Told      []Told    `json:"told,omitzero"`      // who was told that it was raised

	Retired bool `json:"retired,omitzero"` // its text and its letters are gone; only the id is kept
}

// Answer is one acknowledgement.
type Answer struct {
	At   time.Time `json:"at"` // recorded
	By   string    `json:"by,omitzero"`
	Word string    `json:"word,omitzero"` // see wordOf; empty: a row of the time before it was kept
}

// Shelf says that an alert is put off. Until is never over 8 h away.
type Shelf struct {
	From   time.Time `json:"from"` // recorded
	Until  time.Time `json:"until"`
	By     string    `json:"by,omitzero"`
	Reason string    `json:"reason,omitzero"`
	Seq    uint64    `json:"seq,omitzero"`  // of the last word on it
	Word   string    `json:"word,omitzero"` // see wordOf
}

// Told says that a person was told: a channel accepted it, or, where the channel
// only carries it to a phone, the page showed it.
type Told struct {
	Person  string    `json:"person"`
	Channel string    `json:"channel"`
	Round   int       `json:"round,omitzero"`
	At      time.Time `json:"at"`
	// Returned: what the person was told already says that the condition is over.
	Returned bool `json:"returned,omitzero"`
}

// Word is the case as a notice for messages: the word that raised it, with the
// state, the moment and the person of the last word on it. A condition that is
// over and was not acknowledged has the state cleared and no By.
func (c Case) Word() notice.Notice {
	n := c.Notice
	switch {
	case c.Of != OfAlert:
	case !c.Cleared.IsZero():
		n.State, n.At, n.By = notice.Cleared, c.ClearedAt, c.AckBy
	case !c.Acknowledged.IsZero():
		n.State, n.At, n.By = notice.Acknowledged, c.Acknowledged, c.AckBy
	}
	return n
}

// Returned reports whether the condition is over and nobody has acknowledged it:
// "returned unacknowledged".
func (c Case) Returned() bool {
	return c.raised() && !c.Cleared.IsZero() && c.Acknowledged.IsZero()
}

// CanWait reports whether an alert may wait until a person's quiet hours are
// over: no urgent or high one, and nothing that concerns a joint, a form, a freeze
// or a brace, whatever its priority. A kind that is not known never waits.
func CanWait(kind, priority string) bool {
	return (priority == Medium || priority == Low) && slices.Contains(patient, kind)
}

// patient lists the kinds that speak of the record's instruments alone.
var patient = []string{"clock-doubtful", "event-refused", "probe-silent", "record-gap"}

// rank orders priorities, the most urgent first. What is not known counts as urgent.
func rank(priority string) int {
	return max(0, slices.Index([]string{Urgent, High, Medium, Low}, priority))
}

func (c Case) raised() bool { return c.Notice.State == notice.Raised }

// stands reports whether the alert asks for a person: the condition holds, or it
// cannot be undone and nobody has acknowledged it.
func (c Case) stands() bool {
	return c.raised() && c.Ended.IsZero() &&
		(c.Cleared.IsZero() || events.Latches(c.Notice.Kind) && c.Acknowledged.IsZero())
}

// keeps reports whether the alert is told though the condition is over, as one
// that returned unacknowledged.
func (c Case) keeps() bool {
	return c.raised() && c.Acknowledged.IsZero() && (rank(c.Notice.Priority) == 0 || events.Latches(c.Notice.Kind))
}

// climbs reports whether the next rung is told in its time: of an urgent alert
// until it is acknowledged, of a high one until somebody was told.
func (c Case) climbs() bool {
	if !c.stands() || !c.Mute.IsZero() || !c.Acknowledged.IsZero() {
		return false
	}
	switch rank(c.Notice.Priority) {
	case 0:
		return true
	case 1:
		return c.unseen()
	}
	return false
}

// unseen reports whether nobody was told in this round.
func (c Case) unseen() bool {
	return !slices.ContainsFunc(c.Told, func(t Told) bool { return t.Round == c.Round })
}

// slow is by how much longer each step takes than that of an urgent alert.
func (c Case) slow() time.Duration {
	if rank(c.Notice.Priority) == 0 {
		return 1
	}
	return 3
}

// over reports whether the matter has ended, but for letters still under way.
func (c Case) over(now time.Time) bool {
	if c.Of == OfSheet || c.raised() && !c.Cleared.IsZero() && !c.Acknowledged.IsZero() {
		return true
	}
	return !c.lapses().IsZero() && !now.Before(c.lapses())
}

// lapses is when the matter ends by time alone; zero: it does not.
func (c Case) lapses() time.Time {
	switch {
	case c.Of == OfRest:
		return c.Notice.Until
	case c.Of == OfSheet && c.Notice.Issued.Name() == events.WeeklySheet:
		return c.Notice.Issued.At.Add(weekWithin)
	case c.Of == OfSheet:
		return c.Notice.Issued.At.Add(sheetWithin)
	case c.raised() && c.Cleared.IsZero() && c.Notice.Seq == 0 && !c.Acknowledged.IsZero():
		// It came directly, and the stream never had it: no clearing may ever come.
		return c.Acknowledged.Add(returnedFor)
	case c.raised() && (c.Cleared.IsZero() || events.Latches(c.Notice.Kind)):
		return time.Time{}
	case c.raised():
		return c.Cleared.Add(returnedFor)
	}
	return c.Taken.Add(returnedFor)
}

// next is when time alone brings something; zero: never.
func (c Case) next() time.Time {
	switch {
	case c.Retired:
		return c.Ended.Add(knownFor)
	case !c.Ended.IsZero():
		return c.Ended.Add(rateOver)
	}
	return earliest(c.Climb, c.Mute, c.lapses(), c.Begins)
}

func (c Case) clone() Case {
	c.Told, c.Answers, c.Early = slices.Clone(c.Told), slices.Clone(c.Answers), slices.Clone(c.Early)
	if c.Shelf != nil {
		shelf := *c.Shelf
		c.Shelf = &shelf
	}
	return c
}

// sheetKey and restKey name the cases that have no id of their own.
func sheetKey(site string, s *events.SheetIssued) string {
	return "sheet " + site + " " + s.Name() + " " + s.Date
}

func restKey(n notice.Notice) string {
	return "rest " + n.Site + " " + n.Wall + " " + n.Kind + " " + n.Cause
}

// wordOf names a person's word as a void finds it: on its own wall alone. Empty:
// there is no such word.
func wordOf(site, wall string, k events.Key) string {
	if k == (events.Key{}) {
		return ""
	}
	return site + " " + wall + " " + k.Source + " " + k.ID
}

// own is the name of the word itself.
func own(n notice.Notice) string { return wordOf(n.Site, n.Wall, n.Key) }

func voidKey(word string) string { return "void " + word }
