package desk

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"earlyage/events"
	"earlyage/notify/notice"
)

// Take takes a word of the stream, or one whose publication was not acknowledged
// (Seq 0). Letters become due; none is sent before Due hands it out: whoever reads
// on from a place long past takes all that is there before asking for Due, so that
// what was raised and cleared meanwhile is not told, however late it is read.
// Who may answer an alert is judged before: what is taken counts.
func (d *Desk) Take(n notice.Notice, now time.Time) Change {
	now = d.begin(now)
	elsewhere := []string{notice.OutOfService, notice.InService, notice.Sheet, notice.Voided}
	if n.Alert == "" && !slices.Contains(elsewhere, n.State) {
		return d.done()
	}
	switch n.State {
	case notice.Raised:
		d.takeRaised(d.alert(n, now), n, now)
	case notice.Cleared:
		d.takeCleared(d.alert(n, now), n, now)
	case notice.Acknowledged, notice.Shelved, notice.Unshelved:
		d.takeAnswer(d.alert(n, now), n, now)
	case notice.OutOfService, notice.InService:
		d.takeRest(n, now)
	case notice.Voided:
		d.takeVoided(n, now)
	case notice.Shown:
		d.takeShown(n, now)
	case notice.Sheet:
		d.takeSheet(n, now)
	}
	return d.done()
}

// alert is the case of an alert. Answers may be read before the word that raised
// it, when that was taken from another place.
func (d *Desk) alert(n notice.Notice, now time.Time) *Case {
	if c := d.cases[n.Alert]; c != nil {
		return c
	}
	return &Case{V: Version, ID: n.Alert, Of: OfAlert, Taken: now,
		Notice: notice.Notice{Alert: n.Alert, Kind: n.Kind, Cause: n.Cause, Site: n.Site, Wall: n.Wall}}
}

// answers reports whether a person's word is on the kind of alert that it names, and
// was entered where the alert stands: who may answer goes by both. A phone is told of
// the company's alerts, and can answer on its own site alone.
func answers(n, raised notice.Notice) bool {
	here := n.Site == raised.Site || raised.Site == company
	return (n.Kind == "" || n.Kind == raised.Kind) && here && n.Wall == raised.Wall
}

// company is the site of what concerns all of them.
const company = "_"

// takeAnswer takes what a person says of an alert. What comes before the word that
// raised it waits: only that says whose answer counts.
func (d *Desk) takeAnswer(c *Case, n notice.Notice, now time.Time) {
	switch {
	case !c.raised():
		known := slices.ContainsFunc(c.Early, func(e notice.Notice) bool { return e.Seq == n.Seq && e.Key == n.Key })
		if !known && len(c.Early) < earlyMost {
			c.Early = append(c.Early, n)
		}
		d.putCase(c)
	case !answers(n, c.Notice):
	case n.State == notice.Acknowledged:
		d.takeAcknowledged(c, n, now)
	default:
		d.takeShelf(c, n, now)
	}
}

func (d *Desk) takeRaised(c *Case, n notice.Notice, now time.Time) {
	if c.raised() {
		if c.Notice.Seq == 0 && n.Seq > 0 { // it came directly before
			c.Notice.Seq = n.Seq
			d.putCase(c)
		}
		return
	}
	if !answers(c.Notice, n) { // rows of the time before early answers were kept
		c.Acknowledged, c.AckBy, c.Answers, c.Shelf = time.Time{}, "", nil, nil
	}
	early := c.Early
	c.Notice, c.Early, c.Ended, c.Retired = n, nil, time.Time{}, false
	d.old.set(c.ID, time.Time{})
	for _, e := range early {
		d.takeAnswer(c, e, now)
	}
	c.Ended = time.Time{} // not before it is told
	if c.stands() {
		c.Mute = d.muteUntil(c, now)
	}
	d.putCase(c)
	if c.Mute.IsZero() && (c.stands() || c.keeps()) {
		d.tell(c, now)
	}
	d.settle(c, now)
}

// takeCleared: who was told of an urgent or high alert is told of its end, but not
// while it is shelved. A letter not yet sent is dropped; of an urgent or latched
// alert that nobody has acknowledged it is sent, and says that it is over.
func (d *Desk) takeCleared(c *Case, n notice.Notice, now time.Time) {
	if !c.Cleared.IsZero() {
		return
	}
	muted := !d.muteUntil(c, now).IsZero()
	c.Cleared, c.ClearedAt = now, cmp.Or(n.At, n.Recorded, now)
	if !c.stands() {
		c.Mute = time.Time{}
	}
	if !c.keeps() {
		d.drop(c, TellRaised, "cleared before it was told", now)
	}
	d.still(c)
	if !muted {
		for _, t := range c.Told {
			if !t.Returned {
				d.tellEnd(c, t.Person, now)
			}
		}
	}
	d.settle(c, now)
}

// takeAcknowledged ends the climbing. What is already on its way goes on: the
// alert stands. A rung that was told at the moment of the acknowledgement or after
// it was told in vain: its letters are dropped, whichever of the two came first.
func (d *Desk) takeAcknowledged(c *Case, n notice.Notice, now time.Time) {
	a := Answer{At: cmp.Or(n.Recorded, n.At, now), By: n.By, Word: own(n)}
	if d.voided(a.Word) || !c.answer(a) {
		return
	}
	if !c.Acknowledged.IsZero() {
		d.putCase(c)
		return
	}
	c.Acknowledged, c.AckBy = a.At, a.By
	d.dropLate(c, a.At, now)
	c.Nobody, c.Exhausted = false, false
	delete(d.troubled, c.ID)
	if !c.stands() {
		d.drop(c, TellRaised, "over and acknowledged before it was told", now)
		c.Mute = time.Time{}
	}
	d.still(c)
	d.settle(c, now)
}

// takeShelf: of two words the later one of the stream counts.
func (d *Desk) takeShelf(c *Case, n notice.Notice, now time.Time) {
	if c.Shelf != nil && (n.Seq <= c.Shelf.Seq || n.Seq == 0) {
		return
	}
	ends := n.State == notice.Unshelved || d.voided(own(n))
	from, until := aside(n, longestShelf, now)
	if ends {
		from, until = time.Time{}, time.Time{} // not now: a clock that is put back must not begin it anew
	}
	was := c.Shelf
	c.Begins = from
	c.Shelf = &Shelf{From: cmp.Or(n.Recorded, n.At), Until: until, By: n.By, Reason: n.Text, Seq: n.Seq, Word: own(n)}
	if ends {
		c.Shelf.From = time.Time{} // nothing was put off
		if was != nil {
			c.Shelf.From = was.From
		}
	}
	if muted := d.muteUntil(c, now); c.stands() && !muted.IsZero() && !ends {
		d.mute(c, muted, "shelved", now)
	} else {
		d.unmute(c, now)
	}
}

// aside is from when to when a word puts something aside: from its recording on, zero
// where that is past. A clock that runs ahead or a word that comes late makes it
// shorter, never longer than was meant.
func aside(n notice.Notice, longest time.Duration, now time.Time) (from, until time.Time) {
	recorded := cmp.Or(n.Recorded, now)
	from, until = begins(recorded, now), n.Until
	atMost(&until, recorded.Add(min(n.Until.Sub(cmp.Or(n.At, recorded)), longest)))
	if from.IsZero() {
		atMost(&until, now.Add(longest))
	}
	return from, until
}

// takeRest puts a kind of alert out of service on a wall or a site, or back. Its
// cases are kept. Only kinds that may rest do.
func (d *Desk) takeRest(n notice.Notice, now time.Time) {
	id := restKey(n)
	c := d.cases[id]
	if !events.MayRest(n.Kind) || c != nil && (n.Seq <= c.Notice.Seq || n.Seq == 0) {
		return
	}
	if c == nil {
		c = &Case{V: Version, ID: id, Of: OfRest, Taken: now}
		d.rests[n.Site] = append(d.rests[n.Site], id)
	}
	everyCause := n.State == notice.InService && n.Cause == ""
	c.Begins, n.Until = aside(n, longestRest, now)
	if n.State == notice.InService || d.voided(own(n)) {
		c.Begins, n.State, n.Until = time.Time{}, notice.InService, now
	}
	c.Notice, c.Ended, c.Retired = n, time.Time{}, false
	d.old.set(id, time.Time{})
	d.putCase(c)
	d.settle(c, now)
	if everyCause {
		for _, id := range d.rests[n.Site] { // it ends those of single causes too
			if r := d.cases[id]; r.Notice.Kind == n.Kind && r.Notice.Wall == n.Wall && r.Notice.Seq < n.Seq {
				d.endRest(r, now)
			}
		}
	}
	d.lookAgain(n, now)
}

// endRest ends a kind's being out of service.
func (d *Desk) endRest(c *Case, now time.Time) {
	if c.Notice.State == notice.OutOfService { // past or not: the clock may be put back
		c.Begins, c.Notice.State = time.Time{}, notice.InService
		atMost(&c.Notice.Until, now)
		d.putCase(c)
		d.settle(c, now)
	}
}

// lookAgain tells what a rest covers no more, and mutes what it does.
func (d *Desk) lookAgain(rest notice.Notice, now time.Time) {
	for _, id := range slices.Sorted(maps.Keys(d.cases)) {
		a := d.cases[id]
		if a.Of != OfAlert || !covers(rest, a.Notice) || !a.stands() {
			continue
		}
		if until := d.muteUntil(a, now); !until.IsZero() {
			d.mute(a, until, "out of service", now)
		} else {
			d.unmute(a, now)
		}
	}
}

// takeShown: the letter of that message was shown, and so were all that carried
// the same to a device of the same person.
func (d *Desk) takeShown(n notice.Notice, now time.Time) {
	of := cmp.Or(n.Of, TellRaised)
	c := d.cases[n.Alert]
	if c != nil && n.Kind != "" && c.Notice.Kind != "" && n.Kind != c.Notice.Kind {
		return
	}
	if c != nil && of == TellRaised && c.Shown.IsZero() {
		c.Shown = now
		d.putCase(c)
	}
	if l := d.letters[n.Message]; l != nil && (n.By == "" || n.By == l.Person) && l.State != Shown {
		d.shown(l, now)
	}
	for _, id := range slices.Clone(d.of[n.Alert]) {
		l := d.letters[id]
		if l.Person == n.By && l.tells(of) && NeedsShowing(l.Channel) && l.State != Shown && l.State != Dropped {
			d.shown(l, now)
		}
	}
}

func (d *Desk) shown(l *Letter, now time.Time) {
	if flown, out := d.out[l.ID]; out {
		l.Returned = flown.returned
	}
	l.State, l.Error, l.Next = Shown, "", time.Time{}
	l.Ended = cmp.Or(l.Ended, now)
	d.putLetter(l)
	d.told(l, now)
}

// takeSheet: one sheet of a site and a local date is told once, and not when it is
// stale.
func (d *Desk) takeSheet(n notice.Notice, now time.Time) {
	if n.Issued == nil || d.cases[sheetKey(n.Site, n.Issued)] != nil {
		return
	}
	c := &Case{V: Version, ID: sheetKey(n.Site, n.Issued), Of: OfSheet, Notice: n, Taken: now}
	d.putCase(c)
	for _, choice := range d.rota.Sheet(n.Site, n.Issued.Name(), now) {
		d.write(c, TellSheet, choice, "", now)
	}
	if now.After(c.lapses()) {
		d.lapse(c, now)
	}
	d.settle(c, now)
}
