package scheduler

import (
	"cmp"
	"time"

	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// Company is the site that stands for the whole company: what is about the hub
// itself is said there.
const Company = "_"

// Ref names what something is said of: a wall, or with an empty Wall a site.
type Ref struct{ Site, Wall string }

func (r Ref) compare(o Ref) int {
	return cmp.Or(cmp.Compare(r.Site, o.Site), cmp.Compare(r.Wall, o.Wall))
}

// String gives site/wall, or the site.
func (r Ref) String() string {
	if r.Wall == "" {
		return r.Site
	}
	return r.Site + "/" + r.Wall
}

// A Record is the folded record as the loop reads it.
type Record interface {
	// Read shows one consistent picture. Nothing of it may be kept or changed
	// after show has returned. Read returns show's error.
	Read(show func(Page) error) error
	// Subscribe returns what changes from now on, until cancel. A channel that is
	// closed says that changes were lost: everything may have changed.
	Subscribe() (changes <-chan Change, cancel func())
}

// Change says what a transaction of the record changed.
type Change struct {
	Through uint64 // the stream's sequence that the record now stands at
	Walls   []Ref
	Sites   []string // what is true of the whole site, its devices left out
}

// A Page is one picture of the record.
type Page interface {
	Status() Status
	// Refs lists, in order, a site and its walls; of "" all sites and all walls.
	Refs(site string) []Ref
	// Look returns one of them. What is not known is empty, not an error.
	Look(Ref) Folded
}

// Status is how far the record is.
type Status struct {
	Through  uint64    // the stream's sequence that it stands at
	Recorded time.Time // the recorded time of that message; zero: not known
	Level    bool      // at the head of the stream when last looked
	Short    bool      // the stream is shorter than the record
	Holes    []Hole    // in the stream's sequence, not accepted
	Offsets  func() []Offset
}

// Hole is a run of missing sequences of the stream.
type Hole struct {
	From, To uint64
	Since    time.Time
}

// Folded is one wall or one site as the record has it, for the loop.
type Folded struct {
	Zone   *time.Location // nil: UTC
	Alarms []wall.Alarm
	// Assess is what ought to be said of it at a moment; nil: nothing.
	Assess func(Hub, time.Time) Assessment

	// Of a wall.
	Said      wall.Statement // the last statement
	HasSaid   bool
	Permitted func(time.Time) bool // a permit to strip stands at a moment
	Begun     func() time.Time     // when the wall's first entry was recorded; zero: it has none
	Digest    func() [32]byte
	Braced    func(time.Time) time.Time // since when the first of the braces stands that stand at a moment; zero: none does

	// Of a site.
	SheetMinute int                      // of the morning sheet, after local midnight
	Sheets      map[site.SheetDay]uint64 // issued: the sequence of each
	Gaps        string                   // changes when a gap in a device's numbers does
}

func (f Folded) zone() *time.Location {
	if f.Zone == nil {
		return time.UTC
	}
	return f.Zone
}
