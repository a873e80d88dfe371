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
	// Quiet reports until when what can wait is withheld from a person; zero: it is
	// not withheld.
	Quiet(site, person string, at time.Time) time.Time
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
	rota Rota
}

// New returns a Desk that tells nobody anything yet.
func New(r Rota) *Desk { return &Desk{rota: r} }

// SetRota puts another rota in force, from the next step on.
func (d *Desk) SetRota(r Rota) { d.rota = r }

// Load takes the rows that were written. It is called once, before all else.
func (d *Desk) Load(cases []Case, letters []Letter) {}

// Take takes a word of the stream, or one that the stream has not acknowledged
// (Seq 0). Letters become due; none is sent before Due hands it out: whoever reads
// on from a place long past takes all that is there before asking for Due, so that
// what was raised and cleared meanwhile is not told.
func (d *Desk) Take(n notice.Notice, now time.Time) Change { return Change{} }

// Tick does what time alone brings: rungs, retries, the ends of shelving and quiet
// hours, summaries.
func (d *Desk) Tick(now time.Time) Change { return Change{} }

// Came takes a channel's answer to a letter that Due handed out.
func (d *Desk) Came(letter string, r Result, now time.Time) Change { return Change{} }

// Next is when Tick or Due has something to do; zero: never.
func (d *Desk) Next() time.Time { return time.Time{} }

// Due hands out the letters to be sent now, the most urgent first. Each is handed
// out once until Came answers it, or for 5 minutes.
func (d *Desk) Due(now time.Time) []Letter { return nil }

// Case returns a case.
func (d *Desk) Case(id string) (Case, bool) { return Case{}, false }

// Letter returns a letter.
func (d *Desk) Letter(id string) (Letter, bool) { return Letter{}, false }

// Cases returns all cases, by id; Letters all letters, by id.
func (d *Desk) Cases() []Case { return nil }

// Letters returns all letters, by id.
func (d *Desk) Letters() []Letter { return nil }

// Untold lists who ought to know of an urgent or high alert and cannot be reached.
func (d *Desk) Untold() []Trouble { return nil }

// Rates counts how many alerts each person was told of in the 10 minutes up to
// now; a summary counts as one.
func Rates(letters []Letter, now time.Time) map[string]int { return nil }
