package desk

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"earlyage/notify/notice"
)

// jitter is how far a clock may step back without being said to have been put back.
const jitter = time.Second

// clockTrust is how far the clock of the record may be ahead without being doubted.
const clockTrust = 2 * time.Minute

// Load takes the rows that were written. It is called once, before all else.
// Letters that a Change called gone are left out. What had been handed out and was
// not answered is due again.
func (d *Desk) Load(cases []Case, letters []Letter) {
	for _, c := range cases {
		row := c.clone()
		d.cases[c.ID] = &row
	}
	for _, l := range letters {
		row := l.clone()
		d.letters[l.ID] = &row
	}
	for _, c := range d.cases {
		for _, t := range c.moments() {
			d.last = later(d.last, *t)
		}
	}
	for _, l := range d.letters {
		for _, t := range l.moments() {
			d.last = later(d.last, *t)
		}
	}
	d.index()
}

// index makes all that hangs on the cases and the letters.
func (d *Desk) index() {
	d.of, d.rests, d.readers, d.troubled = map[string][]string{}, map[string][]string{}, map[string]*reader{}, map[string]bool{}
	d.ticks, d.mail, d.old = newAgenda(), newAgenda(), newAgenda()
	for _, id := range slices.Sorted(maps.Keys(d.cases)) {
		c := d.cases[id]
		d.ticks.set(caseKey+id, c.next())
		if c.Of == OfRest {
			d.rests[c.Notice.Site] = append(d.rests[c.Notice.Site], id)
		}
		if c.Retired {
			d.old.set(id, c.Ended)
		}
		if c.Ended.IsZero() && (c.Nobody || c.Exhausted) {
			d.troubled[id] = true
		}
	}
	posted := slices.SortedFunc(maps.Values(d.letters), func(x, y *Letter) int {
		// Of one moment the letters of a flood come last: it may have begun then.
		return cmp.Or(x.Posted.Compare(y.Posted), order(x.Flood, y.Flood), cmp.Compare(x.ID, y.ID))
	})
	for _, l := range posted {
		d.belongs(l)
		d.reader(l.Person).remember(l)
		d.plan(l)
		d.trouble(l)
	}
}

// belongs notes a letter with the cases that it tells of.
func (d *Desk) belongs(l *Letter) {
	for _, id := range l.cases() {
		at, there := slices.BinarySearch(d.of[id], l.ID)
		if c := d.cases[id]; c != nil && !c.Retired && !there {
			d.of[id] = slices.Insert(d.of[id], at, l.ID)
		}
	}
}

// begin opens a call. A clock that steps back a little stands still; one that was
// put back moves with it all that is still to come, so that nobody is told later
// than if it had been left alone.
func (d *Desk) begin(now time.Time) time.Time {
	now = now.UTC().Round(0)
	back := d.last.Sub(now)
	switch {
	case back > jitter:
		d.last = now
		d.rewind(back, now)
	case back > 0:
		now = d.last
	default:
		d.last = now
	}
	if !d.awake {
		d.wake(now)
	}
	return now
}

// rewind takes in that the clock was put back: no row speaks of a time to come as
// past, and rungs and tries keep their distance.
func (d *Desk) rewind(back time.Duration, now time.Time) {
	for _, c := range d.cases {
		for _, t := range []*time.Time{&c.Start, &c.Climb} {
			if !t.IsZero() {
				*t = t.Add(-back)
			}
		}
		for _, t := range c.moments() {
			atMost(t, now)
		}
		c.rewindAside(now)
		d.changedCases[c.ID] = true
	}
	for _, l := range d.letters {
		for _, t := range l.moments() {
			atMost(t, now)
		}
		switch {
		case l.State == Withheld && !l.Gathered:
			l.Next = now // the rota is asked again
		case !l.Next.IsZero():
			l.Next = l.Next.Add(-back)
		}
		d.changedLetters[l.ID] = true
	}
	d.index()
	d.muteAnew(now)
}

// wake is the first look at the clock after Load: it may have been put back while
// nobody looked, by so little that no row shows it but what is put off.
func (d *Desk) wake(now time.Time) {
	d.awake = true
	back := false
	for _, c := range d.cases {
		if c.Begins.IsZero() {
			if c.rewindAside(now); !c.Begins.IsZero() {
				back = true
				d.putCase(c)
			}
		}
	}
	if back {
		d.muteAnew(now)
	}
}

// muteAnew finds anew until when nothing is told of what is put aside.
func (d *Desk) muteAnew(now time.Time) {
	for _, c := range d.cases {
		if !c.Mute.IsZero() {
			c.Mute = cmp.Or(d.muteUntil(c, now), now)
			d.putCase(c)
		}
	}
}

// rewindAside: what a person said, until two o'clock, stays two o'clock, but never
// longer than anything may be put off. What was recorded at a time that is to come
// again holds from then on: until then the page asks for an answer.
func (c *Case) rewindAside(now time.Time) {
	if c.Shelf != nil && !c.Shelf.Until.IsZero() {
		if c.Begins = begins(c.Shelf.From, now); c.Begins.IsZero() {
			atMost(&c.Shelf.Until, now.Add(longestShelf))
		}
	}
	if c.Of == OfRest && c.Notice.State == notice.OutOfService {
		if c.Begins = begins(c.Notice.Recorded, now); c.Begins.IsZero() {
			atMost(&c.Notice.Until, now.Add(longestRest))
		}
	}
}

// begins is when a putting off takes effect; zero: it has.
func begins(recorded, now time.Time) time.Time {
	if recorded.After(now.Add(clockTrust)) {
		return recorded
	}
	return time.Time{}
}

// moments are those that this package took from its own clock.
func (c *Case) moments() []*time.Time {
	all := []*time.Time{&c.Taken, &c.Accepted, &c.Shown, &c.Cleared, &c.Ended, &c.Start}
	for i := range c.Told {
		all = append(all, &c.Told[i].At)
	}
	return all
}

func (l *Letter) moments() []*time.Time { return []*time.Time{&l.Made, &l.Posted, &l.Ended} }

func atMost(t *time.Time, most time.Time) {
	if t.After(most) {
		*t = most
	}
}

func later(x, y time.Time) time.Time {
	if x.After(y) {
		return x
	}
	return y
}

// order puts false before true.
func order(x, y bool) int {
	switch {
	case x == y:
		return 0
	case y:
		return -1
	}
	return 1
}
