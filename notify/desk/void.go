package desk

import (
	"maps"
	"slices"
	"time"

	"earlyage/notify/notice"
)

// A void takes a person's word out of the record. Which side is the safe one
// decides when it counts: more telling is safer than less. So a void of an
// acknowledgement, of a shelving and of an out-of-service counts at once, whoever
// made it, and no second person is waited for. A void of what ended the putting off
// or the rest would have fewer people told: it changes nothing here, and whoever
// wants it shelves the alert anew.

// answersMost is how many answers to one alert are kept. Of more the first ones
// count: if all of them are taken back the alert is told again.
const answersMost = 20

// answer notes an acknowledgement; false: it is known.
func (c *Case) answer(a Answer) bool {
	if len(c.Answers) == 0 && !c.Acknowledged.IsZero() { // a row of the time before they were kept
		c.Answers = []Answer{{At: c.Acknowledged, By: c.AckBy}}
	}
	for i, had := range c.Answers {
		same := had.At.Equal(a.At) && had.By == a.By
		switch {
		case had.Word == a.Word && (a.Word != "" || same):
			return false
		case had.Word == "" && same:
			c.Answers[i].Word = a.Word
			return true
		}
	}
	if len(c.Answers) == answersMost {
		return false
	}
	c.Answers = append(c.Answers, a)
	return true
}

// voided reports whether a word was taken out of the record before it was heard.
func (d *Desk) voided(word string) bool { return word != "" && d.cases[voidKey(word)] != nil }

// takeVoided takes back what a word did. The void is kept for 30 days, because the
// word may come after it and may be read twice.
func (d *Desk) takeVoided(n notice.Notice, now time.Time) {
	word := wordOf(n.Site, n.Wall, n.Target)
	if word == "" || d.voided(word) {
		return
	}
	d.putCase(&Case{V: Version, ID: voidKey(word), Of: OfVoid, Taken: now, Ended: now,
		Notice: notice.Notice{State: n.State, Site: n.Site, Wall: n.Wall, By: n.By, Target: n.Target, Seq: n.Seq, Recorded: n.Recorded}})
	for _, id := range slices.Sorted(maps.Keys(d.cases)) {
		c := d.cases[id]
		switch {
		case c.Of == OfRest && c.Notice.State == notice.OutOfService && own(c.Notice) == word:
			d.endRest(c, now)
			d.lookAgain(c.Notice, now)
		case c.Of == OfAlert:
			d.unshelve(c, word, now)
			d.unanswer(c, word, now)
		}
	}
}

// unshelve ends the putting off that the word began.
func (d *Desk) unshelve(c *Case, word string, now time.Time) {
	if c.Shelf != nil && c.Shelf.Word == word { // past or not: the clock may be put back
		c.Begins, c.Shelf.Until = time.Time{}, time.Time{}
		d.unmute(c, now)
	}
}

// unanswer takes an acknowledgement back. If no other answers the alert, and it
// stands, it is told anew from the first rung, and climbs from now on. An urgent one
// that is over and that no channel had taken by then is told too, as being over.
func (d *Desk) unanswer(c *Case, word string, now time.Time) {
	i := slices.IndexFunc(c.Answers, func(a Answer) bool { return a.Word == word })
	if i < 0 {
		return
	}
	var first Answer
	if c.Answers = slices.Delete(c.Answers, i, i+1); len(c.Answers) > 0 {
		first = c.Answers[0]
	}
	c.Acknowledged, c.AckBy = first.At, first.By
	ended := c.Ended
	c.Ended = time.Time{}
	if !c.Acknowledged.IsZero() || !c.stands() && !c.missed(now) {
		c.Ended = ended
		d.putCase(c)
		return
	}
	if c.Retired {
		c.Retired = false
		d.old.set(c.ID, time.Time{})
	}
	muted := d.muteUntil(c, now)
	if c.stands() {
		c.Mute = muted
	}
	d.putCase(c)
	if muted.IsZero() {
		d.anew(c, now)
	}
}

// missed reports whether an alert that is over would have been told to somebody, had
// the answer that was taken back never been there.
func (c Case) missed(now time.Time) bool {
	return c.keeps() && c.Accepted.IsZero() && c.Shown.IsZero() && now.Before(c.Cleared.Add(returnedFor))
}

// dropLate drops the letters of rungs that were told when the alert was answered
// already, or at that very moment. Who was told first is told: the alert stands.
// One that is handed out may have reached its person: if it has, the answer says so.
func (d *Desk) dropLate(c *Case, answered, now time.Time) {
	for _, id := range d.of[c.ID] {
		l := d.letters[id]
		if l.Case == c.ID && l.What == TellRaised && l.Step+l.Round > 0 && !l.Over() && !l.Made.Before(answered) {
			l.end(Dropped, "acknowledged before it was told", now)
			d.putLetter(l)
		}
	}
}
