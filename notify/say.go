package notify

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"time"

	"earlyage/events"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

// The outcomes of events.AlertTold.
const (
	accepted = "accepted"
	failed   = "failed"
	withheld = "withheld"
)

// alertsMost is how many alerts one word names.
const alertsMost = 500

// saying is a word on its way into the stream.
type saying struct {
	letter string
	event  events.Event
}

// outcomeOf is what the record is told of a letter; empty: nothing yet.
func outcomeOf(l desk.Letter) string {
	switch l.State {
	case desk.Accepted, desk.Shown:
		return accepted
	case desk.Failed:
		return failed
	case desk.Withheld:
		return withheld
	}
	return ""
}

// wordOf makes the word on a letter's outcome; ok is false if there is none, or
// if it became a word before.
func (e *Engine) wordOf(row letterRow, now time.Time) (w events.AlertTold, ok bool) {
	l := row.Letter
	outcome := outcomeOf(l)
	if outcome == "" || slices.Contains(row.Said, outcome) {
		return w, false
	}
	w = events.AlertTold{
		Message: l.ID, Alerts: l.Alerts[:min(len(l.Alerts), alertsMost)], What: l.What, Kind: l.Kind, Person: l.Person, Channel: l.Channel, Step: int64(min(l.Step, 20)),
		Why: clip(l.Why, 200), Outcome: outcome, Tries: int64(min(l.Tries, 1000)), Text: clip(cmp.Or(l.Text, e.inShort(l)), 200),
		At: orTime(l.Ended, now).UTC().Truncate(time.Millisecond),
	}
	if outcome != accepted {
		w.Error = clip(l.Error, 300)
	}
	if _, err := eventOf(l, w); err != nil {
		e.cfg.Log.Error("what came of a message cannot be said", "message", l.ID, "err", err)
		return w, false
	}
	return w, true
}

// inShort says what a letter is about that was never put into words.
func (e *Engine) inShort(l desk.Letter) string {
	if c, ok := e.desk.Case(l.Case); ok && c.Notice.Text != "" {
		return c.Notice.Text
	}
	return cmp.Or(l.Kind, l.What)
}

// clip shortens a text to so many characters.
func clip(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

// eventOf makes the event of a word. Its id is a hash of all that it says: put
// again after a crash, or by another hub from the same ledger, it is one event.
func eventOf(l desk.Letter, w events.AlertTold) (events.Event, error) {
	ev := events.Event{Source: events.Source{Site: l.Site, Device: events.HubDevice}, Kind: "alert.told", Wall: l.Wall, Time: w.At, Data: &w}
	body, err := ev.Encode()
	if err != nil {
		return ev, err
	}
	sum := sha256.Sum256(body)
	ev.ID = "hub-" + hex.EncodeToString(sum[:16])
	return ev, ev.Check()
}

// utter hands a letter's words to the voice, once each.
func (e *Engine) utter(l desk.Letter, words []events.AlertTold) {
	for _, w := range words {
		ev, err := eventOf(l, w)
		if err != nil {
			e.cfg.Log.Error("what came of a message cannot be said", "message", l.ID, "err", err)
			continue
		}
		if !e.uttered[ev.ID] {
			e.uttered[ev.ID] = true
			e.voice.in.put(saying{l.ID, ev})
		}
	}
}

func (e *Engine) publish(ctx context.Context, s saying) error { return e.cfg.Voice.Say(ctx, s.event) }

func (e *Engine) tell(ctx context.Context, n numbered) error {
	err := e.cfg.Teller.Tell(ctx, n.notice)
	if err == nil {
		e.cfg.Log.Info("alert told", "state", n.notice.State, "site", n.notice.Site, "wall", n.notice.Wall, "kind", n.notice.Kind,
			"priority", n.notice.Priority, "alert", n.notice.Alert, "text", n.notice.Text)
	}
	return err
}

// acknowledged strikes out a word that is in the stream.
func (e *Engine) acknowledged(s saying) {
	delete(e.uttered, s.event.ID)
	row, ok := e.letters[s.letter]
	if !ok {
		return
	}
	outcome := s.event.Data.(*events.AlertTold).Outcome
	row.Say = slices.DeleteFunc(slices.Clone(row.Say), func(w events.AlertTold) bool { return w.Outcome == outcome })
	e.owed.letters[row.Letter.ID] = row
	e.setLetter(row)
}

// toTeller lets whoever listens hear what was raised and cleared.
func (e *Engine) toTeller(n notice.Notice) {
	if e.cfg.Teller == nil || n.State == notice.Sheet {
		return
	}
	e.number++
	e.telling++
	e.owed.tell[e.number] = n
}

func byMade(a, b letterRow) int {
	return cmp.Or(a.Letter.Made.Compare(b.Letter.Made), cmp.Compare(a.Letter.ID, b.Letter.ID))
}
