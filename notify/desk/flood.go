package desk

import (
	"cmp"
	"slices"
	"time"
)

// reader is what is known of one person: which alerts were posted to them in the
// last 10 minutes, and what waits for a summary.
type reader struct {
	flood   bool
	recent  []entry        // alerts, by when they were posted
	times   map[string]int // how often an alert is among them
	waiting *agenda        // letters to be gathered, by when they were posted
	summary time.Time      // the last one was made
}

func (d *Desk) reader(person string) *reader {
	r := d.readers[person]
	if r == nil {
		r = &reader{times: map[string]int{}, waiting: newAgenda()}
		d.readers[person] = r
	}
	return r
}

// floods reports whether the person is in a flood. It ends when fewer than 5 alerts
// were posted in 10 minutes. Between two posts the number only falls, so that it
// is enough to look when the next one comes.
func (r *reader) floods(now time.Time) bool {
	for len(r.recent) > 0 && !r.recent[0].at.After(now.Add(-rateOver)) {
		r.take(r.recent[0])
	}
	r.flood = r.flood && len(r.times) >= floodUnder
	return r.flood
}

func (r *reader) take(e entry) {
	r.recent = r.recent[1:]
	if r.times[e.key]--; r.times[e.key] == 0 {
		delete(r.times, e.key)
	}
}

// posted counts an alert, and reports whether the person is in a flood now. However
// many channels bring it, an alert counts once.
func (r *reader) posted(alert string, now time.Time) bool {
	r.floods(now)
	r.recent = append(r.recent, entry{alert, now})
	r.times[alert]++
	r.flood = r.flood || len(r.times) > floodOver
	return r.flood
}

// remember takes in a letter that was loaded, in the order of posting.
func (r *reader) remember(l *Letter) {
	switch {
	case l.What == TellSummary:
		r.summary = later(r.summary, l.Made)
	case l.What == TellRaised && !l.Posted.IsZero():
		r.posted(l.Case, l.Posted)
		r.flood = l.Flood
	}
}

// gather puts a letter among those that wait for a summary, or takes it away.
func (d *Desk) gather(l *Letter) {
	r := d.reader(l.Person)
	var at time.Time
	if l.Gathered && l.State == Withheld {
		at = l.Posted
	}
	r.waiting.set(l.ID, at)
	var next time.Time
	if first, some := r.waiting.first(); some {
		next = later(first.at.Add(gatherFor), r.summary.Add(gatherFor))
	}
	d.ticks.set(readerKey+l.Person, next)
}

// summarise makes one summary of what waits for a person, the most urgent first:
// of what was raised, and only where nothing was, of what is over. What came by
// another channel, or does not fit, goes into the next one, a minute later.
func (d *Desk) summarise(person string, now time.Time) {
	r := d.readers[person]
	var waiting []*Letter
	for _, e := range r.waiting.items {
		waiting = append(waiting, d.letters[e.key])
	}
	slices.SortFunc(waiting, func(x, y *Letter) int {
		return cmp.Or(-cmp.Compare(x.What, y.What), cmp.Compare(rank(x.Priority), rank(y.Priority)), // raised before cleared
			cmp.Compare(x.Site, y.Site), cmp.Compare(x.Kind, y.Kind), x.Posted.Compare(y.Posted),
			cmp.Compare(x.Case, y.Case), cmp.Compare(x.ID, y.ID))
	})
	first := waiting[0]
	s := Letter{V: Version, What: TellSummary, Of: first.What, Kind: first.Kind, Site: first.Site, Wall: first.Wall,
		Priority: first.Priority, Person: person, Channel: first.Channel, Others: slices.Clone(first.Others),
		Why: "more than 10 alerts in 10 minutes", Made: now, State: Due, Posted: now, Next: now}
	var names []string
	var into []*Letter
	for _, l := range waiting {
		if l.What != s.Of || l.Channel != s.Channel || len(s.Alerts) == summaryHold {
			continue
		}
		s.add(l)
		names = append(names, l.ID)
		into = append(into, l)
	}
	s.ID = identity(append(names, TellSummary, person, s.Channel)...)
	d.belongs(&s)
	r.summary = now
	d.putLetter(&s)
	for _, l := range into {
		l.end(Dropped, "gathered into a summary", now)
		l.Into = s.ID
		d.putLetter(l)
	}
}

// add takes a letter into a summary.
func (l *Letter) add(one *Letter) {
	if !slices.Contains(l.Alerts, one.Case) {
		l.Alerts = append(l.Alerts, one.Case)
	}
	if one.Kind != l.Kind {
		l.Kind = ""
	}
	if one.Site != l.Site {
		l.Site = "_"
	}
	if one.Site != l.Site || one.Wall != l.Wall {
		l.Wall = ""
	}
}
