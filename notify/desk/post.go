package desk

import (
	"slices"
	"time"

	"earlyage/notify/notice"
)

// write makes the letters to one person: of an urgent alert that was raised one by
// each channel, otherwise one by the first channel, which hands on to the next.
func (d *Desk) write(c *Case, what string, choice Choice, why string, now time.Time) {
	step, round := max(0, c.Step-1), c.Round
	if what == TellRaised {
		step = c.Step
	}
	l := Letter{V: Version, Case: c.ID, What: what, Kind: c.Notice.Kind, Site: c.Notice.Site, Wall: c.Notice.Wall,
		Priority: c.Notice.Priority, Person: choice.Person, Step: step, Round: round, Why: why, Made: now}
	if c.Of == OfAlert {
		l.Alerts = []string{c.ID}
	} else {
		l.Priority = Low
	}
	channels := choice.Channels
	if c.Notice.Kind == untold && what == TellRaised {
		channels = d.otherWays(c, choice)
	}
	switch {
	case len(channels) == 0:
		l.Channel, l.State, l.Error, l.Ended = NoChannel, Failed, "no channel reaches the person", now
		if l.Person == "" {
			l.Error = nobodyToTell
		}
		d.post(l, now)
	case what == TellRaised && rank(c.Notice.Priority) == 0:
		for _, l.Channel = range channels {
			l.State = Due
			d.post(l, now)
		}
	default:
		l.Channel, l.Others, l.State = channels[0], slices.Clone(channels[1:]), Due
		d.post(l, now)
	}
}

// post names a new letter and says when it goes: at once, in a quieter hour, or in
// a summary. A letter of the same name is there already and stays as it is; it may
// be of a case that was lost and is taken anew.
func (d *Desk) post(l Letter, now time.Time) {
	if l.ID == "" {
		l.name()
	}
	if there := d.letters[l.ID]; there != nil {
		d.belongs(there)
		if there.State == Shown || there.State == Accepted && !NeedsShowing(there.Channel) {
			d.told(there, now)
		}
		return
	}
	l.Alerts, l.Others = slices.Clone(l.Alerts), slices.Clone(l.Others)
	p := &l
	d.belongs(p)
	for _, id := range p.cases() {
		if c := d.cases[id]; !c.Ended.IsZero() {
			c.Ended = time.Time{}
			d.putCase(c)
		}
	}
	if p.State == Due {
		d.release(p, now)
	} else {
		d.putLetter(p)
		d.trouble(p)
	}
}

// release lets a letter go, unless it has to wait.
func (d *Desk) release(l *Letter, now time.Time) {
	if l.What == TellRaised && CanWait(l.Kind, l.Priority) {
		about := notice.Notice{State: notice.Raised, Kind: l.Kind, Site: l.Site, Wall: l.Wall, Priority: l.Priority}
		if until := d.rota.Quiet(about, l.Person, now); until.After(now) {
			atMost(&until, now.Add(longestQuiet))
			l.State, l.Next = Withheld, until
			d.putLetter(l)
			return
		}
	}
	l.State, l.Posted, l.Next = Due, now, now
	switch r := d.reader(l.Person); l.What {
	case TellRaised:
		l.Flood = r.posted(l.Case, now)
		l.Gathered = l.Flood && rank(l.Priority) > 0
	case TellCleared:
		l.Gathered = r.floods(now)
	case TellSummary:
		r.summary = now
	}
	if l.Gathered {
		l.State, l.Next = Withheld, time.Time{}
	}
	d.putLetter(l)
}

// drop ends the letters of a case that tell what and were not sent. One that is
// handed out may have reached its person: if it has, the answer says so.
func (d *Desk) drop(c *Case, what, why string, now time.Time) {
	for _, id := range d.of[c.ID] {
		l := d.letters[id]
		if l.Over() || !l.tells(what) {
			continue
		}
		if rest := slices.DeleteFunc(slices.Clone(l.Alerts), func(a string) bool { return a == c.ID }); len(rest) > 0 {
			l.Alerts = rest // of a summary
			d.of[c.ID] = without(d.of[c.ID], []string{id})
		} else {
			l.end(Dropped, why, now)
		}
		d.putLetter(l)
	}
}

// end ends a letter.
func (l *Letter) end(state, why string, now time.Time) {
	l.State, l.Error, l.Next, l.Ended = state, why, time.Time{}, now
}

// tickLetter does what is due of a letter: nobody has answered it, its quiet hours
// are over, or no page has shown it.
func (d *Desk) tickLetter(l *Letter, now time.Time) {
	switch l.State {
	case Due:
		delete(d.out, l.ID)
		d.plan(l)
	case Withheld:
		d.release(l, now)
	default:
		l.Next = time.Time{}
		d.putLetter(l)
		d.anotherChannel(l, now)
	}
}

// anotherChannel hands on to the person's next channel what one did not bring.
func (d *Desk) anotherChannel(l *Letter, now time.Time) {
	others := l.Others
	if len(others) == 0 {
		return
	}
	l.Others = nil
	d.putLetter(l)
	next := Letter{V: Version, Case: l.Case, What: l.What, Of: l.Of, Kind: l.Kind, Site: l.Site, Wall: l.Wall,
		Priority: l.Priority, Person: l.Person, Channel: others[0], Others: others[1:], Step: l.Step, Round: l.Round,
		Why: l.Why, Made: now, State: Due}
	if l.What == TellSummary { // one of the same alerts may have gone this way in an earlier round
		next.ID = identity(l.ID, TellSummary, next.Channel)
	}
	for _, a := range l.Alerts {
		if c := d.cases[a]; c != nil && d.wanted(c, l) {
			next.Alerts = append(next.Alerts, a)
		}
	}
	if l.What == TellSheet || len(next.Alerts) > 0 {
		d.post(next, now)
	}
}

// wanted reports whether a person still has to be told of an alert what the letter
// did not bring.
func (d *Desk) wanted(c *Case, l *Letter) bool {
	if l.tells(TellCleared) {
		return c.Mute.IsZero()
	}
	if !c.Mute.IsZero() || !c.Acknowledged.IsZero() || !c.Cleared.IsZero() && !c.keeps() {
		return false
	}
	return !slices.ContainsFunc(c.Told, func(t Told) bool { return t.Person == l.Person && t.Round == c.Round })
}
