// Package desk decides who is told of an alert, by which channel and when. It is
// pure: no clock, no I/O, no goroutine; every answer hangs on the words taken, the
// channels' answers and the times given.
//
// Durability: the state of a Desk is its open cases and letters. Each call returns
// the rows that it changed; a Desk loaded from those rows goes on as the one that
// wrote them would have. Rows carry their version.
//
// Order: words are taken in the order of the stream; a word read twice, or taken
// directly and read afterwards, changes nothing. Answers of channels may come in
// any order, twice or late.
//
// Concurrency: none. A Desk belongs to one goroutine.
package desk

import (
	"maps"
	"slices"
	"strings"
	"time"

	"earlyage/notify/notice"
)

// Rota says who is told. It may answer differently from one call to the next, by
// the hour and by the file in force.
type Rota interface {
	// Ladder is who is told of a raised alert, first rung first. No rung is empty;
	// the last one holds the dispatchers. Nil: there is nobody.
	Ladder(n notice.Notice, at time.Time) []Rung
	// Sheet is who gets a sheet.
	Sheet(site, sheet string, at time.Time) []Choice
	// Quiet reports until when an alert that can wait is withheld from a person;
	// zero: it is not withheld.
	Quiet(n notice.Notice, person string, at time.Time) time.Time
}

// Rung is who is told at one step.
type Rung struct {
	After   time.Duration // since it was first told, of an urgent alert that nobody has acknowledged
	Choices []Choice
	Why     string // which route or step chose them
}

// Choice is a person and the channels that reach them, in order of preference. All
// are used for an urgent alert, otherwise the first that works.
type Choice struct {
	Person   string
	Channels []string
}

// Desk is the state of telling.
type Desk struct {
	rota    Rota
	cases   map[string]*Case
	letters map[string]*Letter

	// What follows hangs on the two above.
	of       map[string][]string // letters of a case by id, summaries among them
	rests    map[string][]string // cases of what is out of service, by site
	readers  map[string]*reader
	troubled map[string]bool // cases with a letter that does not get through
	ticks    *agenda         // when Tick looks at a case, a letter, a reader
	mail     *agenda         // when a letter is to be sent
	old      *agenda         // retired cases, by their end

	out  map[string]flight // handed out and not answered; not written
	last time.Time         // the latest time given

	awake bool // the clock was looked at since the rows were loaded

	changedCases, changedLetters map[string]bool // since the last Change
	closed, gone                 []string
}

// flight is a letter as it was handed out.
type flight struct {
	alerts   []string
	returned bool // its alert was over by then, and the message says so
}

// Keys of Desk.ticks.
const (
	caseKey   = "case "
	letterKey = "letter "
	readerKey = "reader "
)

// New returns a Desk that has nobody to tell anything.
func New(r Rota) *Desk {
	d := &Desk{rota: r, cases: map[string]*Case{}, letters: map[string]*Letter{}, out: map[string]flight{},
		changedCases: map[string]bool{}, changedLetters: map[string]bool{}}
	d.index()
	return d
}

// SetRota puts another rota in force, from the next step on.
func (d *Desk) SetRota(r Rota) { d.rota = r }

// Tick does what time alone brings: rungs, the ends of shelving, of rest and of
// quiet hours, summaries, and the ends of cases.
func (d *Desk) Tick(now time.Time) Change {
	now = d.begin(now)
	for {
		e, ok := d.ticks.first()
		if !ok || e.at.After(now) {
			return d.done()
		}
		switch {
		case strings.HasPrefix(e.key, caseKey):
			d.tickCase(d.cases[e.key[len(caseKey):]], now)
		case strings.HasPrefix(e.key, letterKey):
			d.tickLetter(d.letters[e.key[len(letterKey):]], now)
		default:
			d.summarise(e.key[len(readerKey):], now)
		}
	}
}

// Next is when Tick or Due has something to do; zero: never. It may be past.
func (d *Desk) Next() time.Time {
	tick, _ := d.ticks.first()
	mail, _ := d.mail.first()
	return earliest(tick.at, mail.at)
}

// Due hands out the letters to be sent now, the most urgent first. Each is handed
// out once until Came answers it; one that nobody has answered after 5 minutes is
// handed out again, under the same ID.
func (d *Desk) Due(now time.Time) []Letter {
	return d.DueOf(now, func(Letter) bool { return true })
}

// DueOf is Due, but for the letters that may not go yet: they stay due.
func (d *Desk) DueOf(now time.Time, may func(Letter) bool) []Letter {
	now = d.begin(now)
	var due []Letter
	var held []entry
	defer func() {
		for _, e := range held {
			d.mail.set(e.key, e.at)
		}
	}()
	for {
		e, ok := d.mail.first()
		if !ok || e.at.After(now) {
			break
		}
		l := d.letters[e.key]
		d.mail.set(l.ID, time.Time{})
		if !may(l.clone()) {
			held = append(held, e)
			continue
		}
		d.ticks.set(letterKey+l.ID, now.Add(answerWithin))
		c := d.cases[l.Case]
		d.out[l.ID] = flight{alerts: slices.Clone(l.Alerts), returned: c != nil && !c.Cleared.IsZero()}
		due = append(due, d.show(l))
	}
	slices.SortFunc(due, byUrgency)
	return due
}

// Case returns a case.
func (d *Desk) Case(id string) (Case, bool) {
	c, ok := d.cases[id]
	if !ok {
		return Case{}, false
	}
	return c.clone(), true
}

// Letter returns a letter; one that is handed out is Sending.
func (d *Desk) Letter(id string) (Letter, bool) {
	l, ok := d.letters[id]
	if !ok {
		return Letter{}, false
	}
	return d.show(l), true
}

// Cases returns all cases, by id, those that have ended in the last 30 days among them.
func (d *Desk) Cases() []Case {
	all := make([]Case, 0, len(d.cases))
	for _, id := range slices.Sorted(maps.Keys(d.cases)) {
		all = append(all, d.cases[id].clone())
	}
	return all
}

// Letters returns all letters, by id, till 10 minutes after their case has ended.
func (d *Desk) Letters() []Letter {
	all := make([]Letter, 0, len(d.letters))
	for _, id := range slices.Sorted(maps.Keys(d.letters)) {
		all = append(all, d.show(d.letters[id]))
	}
	return all
}

// show is a letter as others see it.
func (d *Desk) show(l *Letter) Letter {
	s := l.clone()
	if _, out := d.out[l.ID]; out && s.State == Due {
		s.State = Sending
	}
	return s
}

// done is what was changed since it was last asked.
func (d *Desk) done() Change {
	var ch Change
	for _, id := range slices.Sorted(maps.Keys(d.changedCases)) {
		if c := d.cases[id]; c != nil {
			ch.Cases = append(ch.Cases, c.clone())
		}
	}
	for _, id := range slices.Sorted(maps.Keys(d.changedLetters)) {
		if l := d.letters[id]; l != nil {
			ch.Letters = append(ch.Letters, l.clone())
		}
	}
	ch.Closed, ch.Gone = d.closed, d.gone
	slices.Sort(ch.Closed)
	slices.Sort(ch.Gone)
	d.closed, d.gone = nil, nil
	clear(d.changedCases)
	clear(d.changedLetters)
	return ch
}

// putCase writes a case that was changed, and when it is looked at again.
func (d *Desk) putCase(c *Case) {
	d.cases[c.ID] = c
	d.changedCases[c.ID] = true
	d.ticks.set(caseKey+c.ID, c.next())
}

// putLetter writes a letter that was changed, and when it is looked at again.
func (d *Desk) putLetter(l *Letter) {
	d.letters[l.ID] = l
	d.changedLetters[l.ID] = true
	d.plan(l)
}

// plan says when a letter is sent or looked at again.
func (d *Desk) plan(l *Letter) {
	var mail, tick time.Time
	_, out := d.out[l.ID]
	switch {
	case l.State == Due && out:
		tick = d.last.Add(answerWithin)
	case l.State == Due:
		mail = l.Next
	case !l.Gathered || l.Over():
		tick = l.Next
	}
	d.mail.set(l.ID, mail)
	d.ticks.set(letterKey+l.ID, tick)
	d.gather(l)
}

// earliest is the earliest of the times that are not zero.
func earliest(times ...time.Time) (first time.Time) {
	for _, t := range times {
		if !t.IsZero() && (first.IsZero() || t.Before(first)) {
			first = t
		}
	}
	return first
}
