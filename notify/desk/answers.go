package desk

import (
	"cmp"
	"slices"
	"time"
)

// Came takes a channel's answer to a letter that Due handed out. That it was
// accepted counts whatever was said before; nothing counts after that.
func (d *Desk) Came(letter string, r Result, now time.Time) Change {
	now = d.begin(now)
	l := d.letters[letter]
	if l == nil || l.State == Accepted || l.State == Shown {
		delete(d.out, letter)
		return d.done()
	}
	flown, out := d.out[letter]
	delete(d.out, letter)
	switch {
	case r.Outcome == Done:
		l.heard(r)
		d.accept(l, flown, now)
	case l.State != Due: // it was dropped meanwhile, or had failed already
	case r.Outcome == Refused:
		l.heard(r)
		d.fail(l, r.Error, now)
	case out:
		l.heard(r)
		d.again(l, r.Error, now)
	default:
		d.plan(l)
	}
	d.settleAll(l, now)
	return d.done()
}

func (l *Letter) heard(r Result) {
	l.Tries++
	l.Text = cmp.Or(r.Text, l.Text)
}

func (d *Desk) accept(l *Letter, flown flight, now time.Time) {
	l.State, l.Error, l.Next, l.Ended = Accepted, "", time.Time{}, now
	l.Returned = flown.returned
	if len(flown.alerts) > 0 {
		l.Alerts = flown.alerts
		d.belongs(l)
	}
	for _, id := range l.Alerts {
		if c := d.cases[id]; c != nil && l.tells(TellRaised) && c.Accepted.IsZero() {
			c.Accepted = now
			d.putCase(c)
		}
	}
	if NeedsShowing(l.Channel) {
		if len(l.Others) > 0 {
			l.Next = now.Add(showWithin)
		}
		d.putLetter(l)
		return
	}
	d.putLetter(l)
	d.told(l, now)
}

// told takes in that the letter's person knows what it tells. The same by another
// channel is not sent any more, unless it is urgent.
func (d *Desk) told(l *Letter, now time.Time) {
	for _, id := range l.cases() {
		c := d.cases[id]
		if c == nil || c.Retired {
			continue
		}
		d.dropBeside(c, l, now)
		if c.Of == OfAlert && l.tells(TellRaised) {
			t := Told{Person: l.Person, Channel: l.Channel, Round: l.Round, At: now, Returned: l.Returned}
			if l.What == TellSummary {
				t.Round = c.Round
			}
			c.Told = append(c.Told, t)
			d.still(c)
			if !c.Cleared.IsZero() && !l.Returned && d.muteUntil(c, now).IsZero() {
				d.tellEnd(c, l.Person, now)
			}
		}
		d.settle(c, now)
	}
}

// dropBeside drops what would tell the person the same once more.
func (d *Desk) dropBeside(c *Case, told *Letter, now time.Time) {
	for _, id := range d.of[c.ID] {
		l := d.letters[id]
		same := l.ID != told.ID && l.Case == c.ID && l.Person == told.Person && told.tells(l.What)
		if same && !l.Over() && (l.What != TellRaised || rank(l.Priority) > 0) {
			l.end(Dropped, "told by "+told.Channel, now)
			d.putLetter(l)
		}
	}
}

// again has a letter tried again after a while; it fails after an hour of that.
func (d *Desk) again(l *Letter, why string, now time.Time) {
	l.Error = why
	if now.Sub(l.Posted) >= tryFor && l.Tries >= leastTries {
		d.fail(l, why, now)
		return
	}
	wait := longestBackoff
	if l.Tries < 10 {
		wait = min(wait, firstBackoff<<(l.Tries-1))
	}
	l.Next = now.Add(wait)
	d.putLetter(l)
	if l.struggles() {
		d.trouble(l)
		d.anotherChannel(l, now)
	}
}

func (d *Desk) fail(l *Letter, why string, now time.Time) {
	l.end(Failed, why, now)
	d.putLetter(l)
	d.trouble(l)
	d.anotherChannel(l, now)
	for _, id := range l.cases() {
		if c := d.cases[id]; c != nil && c.Of == OfAlert {
			d.climbIfFailed(c, now)
		}
	}
}

func (d *Desk) settleAll(l *Letter, now time.Time) {
	for _, id := range slices.Clone(l.cases()) {
		if c := d.cases[id]; c != nil {
			d.settle(c, now)
		}
	}
}
