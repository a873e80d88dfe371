package desk

import (
	"slices"
	"time"

	"earlyage/events"
	"earlyage/notify/notice"
)

// tell tells the next rung: the first one, the next one up, or the last one again.
func (d *Desk) tell(c *Case, now time.Time) {
	defer d.putCase(c)
	c.Climb = time.Time{}
	ladder := d.rota.Ladder(c.Notice, now)
	if c.Nobody = len(ladder) == 0; c.Nobody {
		d.troubled[c.ID] = true
		d.write(c, TellRaised, Choice{}, nobodyToTell, now) // so that it is listed and said
		if c.stands() {
			c.Climb = now.Add(repeatEvery)
		}
		return
	}
	if c.Step >= len(ladder)+repeats || c.Step > lastStep {
		d.troubled[c.ID] = true
		c.Exhausted = true
		return
	}
	if c.Step == 0 {
		c.Start = now
	}
	rung := ladder[min(c.Step, len(ladder)-1)]
	for _, choice := range rung.Choices {
		d.write(c, TellRaised, choice, rung.Why, now)
	}
	c.Step++
	switch {
	case !c.climbs():
	case c.Step < len(ladder) && d.rungFailed(c):
		c.Climb = now
	case c.Step < len(ladder):
		c.Climb = later(now, c.Start.Add(ladder[c.Step].After*c.slow()))
	default:
		c.Climb = now.Add(repeatEvery * c.slow())
	}
}

// still writes a case, and stops the climbing where it has come to its end.
func (d *Desk) still(c *Case) {
	if !c.climbs() && !(c.Nobody && c.stands() && c.Mute.IsZero()) {
		c.Climb = time.Time{}
	}
	d.putCase(c)
}

// rungFailed reports whether no letter of the rung told last can reach anybody.
func (d *Desk) rungFailed(c *Case) bool {
	for _, id := range d.of[c.ID] {
		l := d.letters[id]
		gathered := l.State == Dropped && l.Into != ""
		if !l.tells(TellRaised) || l.State == Failed || gathered {
			continue
		}
		if l.What == TellSummary || l.Round == c.Round && l.Step == c.Step-1 {
			return false
		}
	}
	return true
}

// climbIfFailed has the next rung told at the next Tick where the last one failed.
// The last rung is repeated in its time only.
func (d *Desk) climbIfFailed(c *Case, now time.Time) {
	if c.climbs() && c.Step > 0 && d.rungFailed(c) && c.Step < len(d.rota.Ladder(c.Notice, now)) {
		c.Climb = now
		d.putCase(c)
	}
}

// tickCase does what is due of a case.
func (d *Desk) tickCase(c *Case, now time.Time) {
	due := func(t time.Time) bool { return !t.IsZero() && !t.After(now) }
	switch {
	case c.Retired:
		d.forget(c)
	case !c.Ended.IsZero():
		d.retire(c)
	case due(c.lapses()):
		d.lapse(c, now)
	case due(c.Begins):
		d.putAside(c, now)
	case due(c.Mute):
		d.unmute(c, now)
	default:
		d.tell(c, now)
	}
}

// lapse ends a matter by time alone: nobody is told of it any more.
func (d *Desk) lapse(c *Case, now time.Time) {
	why := "over for 24 h"
	switch {
	case c.Of == OfSheet && c.Notice.Issued.Name() == events.WeeklySheet:
		why = "older than 3 days"
	case c.Of == OfSheet:
		why = "older than 12 h"
	}
	for _, what := range []string{TellRaised, TellCleared, TellSheet} {
		d.drop(c, what, why, now)
	}
	d.settle(c, now)
}

// mute stops all telling of a case until then. What was not sent is not sent.
func (d *Desk) mute(c *Case, until time.Time, why string, now time.Time) {
	c.Mute, c.Climb = until, time.Time{}
	d.putCase(c)
	d.drop(c, TellRaised, why, now)
	d.drop(c, TellCleared, why, now)
}

// putAside does what was to begin now.
func (d *Desk) putAside(c *Case, now time.Time) {
	c.Begins = time.Time{}
	d.putCase(c)
	if c.Of == OfRest {
		d.lookAgain(c.Notice, now)
	} else if until := d.muteUntil(c, now); c.stands() && !until.IsZero() {
		d.mute(c, until, "shelved", now)
	}
}

// unmute looks whether anything still keeps a case from being told. If nothing
// does and it stands it is told anew, from the first rung; one that was
// acknowledged only if it was shelved after that.
func (d *Desk) unmute(c *Case, now time.Time) {
	if c.Mute.IsZero() {
		d.putCase(c)
		return
	}
	c.Mute = d.muteUntil(c, now)
	d.putCase(c)
	asked := c.Acknowledged.IsZero() || c.Shelf != nil && c.Acknowledged.Before(c.Shelf.From)
	if !c.Mute.IsZero() || !c.stands() || !asked {
		return
	}
	d.anew(c, now)
}

// anew tells an alert again from the first rung.
func (d *Desk) anew(c *Case, now time.Time) {
	if c.Step > 0 {
		c.Round, c.Step, c.Exhausted = c.Round+1, 0, false
	}
	d.tell(c, now)
}

// muteUntil is how long a case is shelved or out of service; zero: it is not.
func (d *Desk) muteUntil(c *Case, now time.Time) (until time.Time) {
	if c.Shelf != nil && c.Shelf.Until.After(now) && c.Begins.IsZero() {
		until = c.Shelf.Until
	}
	for _, id := range d.rests[c.Notice.Site] {
		r := d.cases[id]
		if r.Begins.IsZero() && r.Notice.State == notice.OutOfService && r.Notice.Until.After(now) && covers(r.Notice, c.Notice) {
			until = later(until, r.Notice.Until)
		}
	}
	return until
}

// covers reports whether a rest is of an alert's kind, on its wall or on the whole
// site, and of its cause or of every one.
func covers(rest, n notice.Notice) bool {
	return rest.Kind == n.Kind && rest.Site == n.Site &&
		(rest.Wall == "" || rest.Wall == n.Wall) && (rest.Cause == "" || rest.Cause == n.Cause)
}

// settle ends a case that is over once all its letters are.
func (d *Desk) settle(c *Case, now time.Time) {
	if !c.Ended.IsZero() || !c.over(now) || slices.ContainsFunc(d.of[c.ID], func(id string) bool { return !d.letters[id].Over() }) {
		return
	}
	c.Ended, c.Climb, c.Mute = now, time.Time{}, time.Time{}
	delete(d.troubled, c.ID)
	d.putCase(c)
}

// retire leaves of an ended case what is needed to know it again, and of what
// latches, or was never told, what is needed to tell it: its answer may be taken back. Its letters
// go with it, and a summary with the last of its cases.
func (d *Desk) retire(c *Case) {
	c.Retired, c.Told, c.Notice.Issued = true, nil, nil
	if missed := c.Of == OfAlert && c.Accepted.IsZero(); !missed && !events.Latches(c.Notice.Kind) {
		c.Notice.Text, c.Notice.About = "", nil
	}
	d.old.set(c.ID, c.Ended)
	d.putCase(c)
	for _, id := range d.of[c.ID] {
		l := d.letters[id]
		if slices.ContainsFunc(l.cases(), func(id string) bool { return d.cases[id] != nil && !d.cases[id].Retired }) {
			continue
		}
		d.plan(&Letter{ID: id, State: Dropped, Person: l.Person})
		delete(d.letters, id)
		delete(d.out, id)
		d.gone = append(d.gone, id)
	}
	delete(d.of, c.ID)
	for d.old.Len() > knownMost {
		oldest, _ := d.old.first()
		d.forget(d.cases[oldest.key])
	}
}

// forget takes an ended case away.
func (d *Desk) forget(c *Case) {
	d.ticks.set(caseKey+c.ID, time.Time{})
	d.old.set(c.ID, time.Time{})
	delete(d.cases, c.ID)
	site := c.Notice.Site
	if c.Of == OfRest {
		d.rests[site] = slices.DeleteFunc(d.rests[site], func(id string) bool { return id == c.ID })
	}
	d.closed = append(d.closed, c.ID)
}

// tellEnd tells a person who was told that it was raised that it is over: once, by
// the channels that had reached them.
func (d *Desk) tellEnd(c *Case, person string, now time.Time) {
	if rank(c.Notice.Priority) > 1 || slices.ContainsFunc(d.of[c.ID], func(id string) bool {
		l := d.letters[id]
		return l.Person == person && l.tells(TellCleared)
	}) {
		return
	}
	choice := Choice{Person: person}
	for _, t := range c.Told {
		if t.Person == person && !slices.Contains(choice.Channels, t.Channel) {
			choice.Channels = append(choice.Channels, t.Channel)
		}
	}
	d.write(c, TellCleared, choice, "was told of it", now)
}
