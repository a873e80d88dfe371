// Package register is the bracing register: of each brace that stood on a site,
// or on all sites, in a period, when it was set, looked at, permitted and
// stripped, how long and how warm it was kept, by how much that was after its
// window, and what was not as it should be.
//
// It is pure, and it computes no concrete: what a brace had reached is what
// scheduler.Bracing says. It adds up, words and writes: as a table, as CSV, as
// XLSX, as JSON. The same record and moment give the same register, whatever
// order the events came in. Nothing of the states that it is made from is kept.
package register

import (
	"earlyage/cmd/earlyage/internal/face"
)

// Register is the bracing of a site, or of all sites, in a period. Durations are
// whole seconds, rounded to the safe side: what was kept is rounded down, and so
// is a margin.
type Register struct {
	At         face.Time   `json:"at"`      // when it was made; what stands is kept until then
	Through    uint64      `json:"through"` // the stream's sequence up to which messages are counted
	Level      bool        `json:"level"`   // the record is level with the stream
	Doubts     []string    `json:"doubts"`  // what now shuts every window
	Demo       bool        `json:"demo"`
	Rules      string      `json:"rules"`   // version of the rule set
	Caution    string      `json:"caution"` // stands under every register
	Checkpoint *Checkpoint `json:"checkpoint,omitzero"`

	Site  string `json:"site"`          // asked for; empty: all in sight
	Wall  string `json:"wall,omitzero"` // asked for; empty: all
	From  string `json:"from,omitzero"` // local date of each site, 2026-11-02, and the day counts; empty: since the record began
	To    string `json:"to,omitzero"`   // the last local date; empty: the day on which it was made
	Sites []Site `json:"sites"`         // in order of name
	Total Totals `json:"total"`
}

// Checkpoint is what the hub signed of its record when it made the register.
type Checkpoint struct {
	Key     string    `json:"key"` // verifier key of the record
	At      face.Time `json:"at"`
	Size    int64     `json:"size"`    // messages
	Through uint64    `json:"through"` // stream sequence of the last
	Root    string    `json:"root"`    // base64
	Note    string    `json:"note"`    // as it was signed
}

// Site is the bracing of one site.
type Site struct {
	face.Site
	Walls []Wall `json:"walls"` // that have a row, in order of name
	Total Totals `json:"total"`
	Clear Clear  `json:"clear"`
}

// Clear is how long no brace was stripped early: whole local days of the site,
// from the day of the last early strip, or where there is none from the day on
// which the first brace was stripped, to the last day of the register. The day
// itself is none. All walls of the site count, whatever the register shows.
type Clear struct {
	Days  int    `json:"days"`           // -1: no brace was stripped yet
	Since string `json:"since,omitzero"` // the local date from which is counted
	Early bool   `json:"early"`          // it is that of an early strip
}

// Wall is the bracing of one wall.
type Wall struct {
	Wall  string `json:"wall"`
	Name  string `json:"name"`
	State string `json:"state"`
	Rows  []Row  `json:"rows"` // in order of station, then of time
	Total Totals `json:"total"`
}

// Row is one time that a brace stood. A brace that is set again has another row.
type Row struct {
	Brace string `json:"brace"`
	AtMM  int64  `json:"at_mm"` // station; -1: not said
	State string `json:"state"` // standing, may-strip, disturbed, stripped

	Set       Deed      `json:"set"`        // Set.At is null where nobody recorded that it was set
	Inspected Deed      `json:"inspected"`  // last found sound before it was stripped
	Looks     int       `json:"looks"`      // how often it was found sound while it stood
	ClockZero face.Time `json:"clock_zero"` // the last concrete within its reach
	Concrete  Deed      `json:"concrete"`   // the entry that is the last concrete of the wall

	// The window by what is known now, its permit left out.
	Cured  face.Time `json:"cured"`  // when the last criterion of time and temperature was met; null: not known
	Opened face.Time `json:"opened"` // when the windows of the brace and its neighbours were all open; null: not known
	Said   Said      `json:"said"`   // what the hub stated then

	Permit   Permit `json:"permit"`
	Stripped Deed   `json:"stripped"`

	KeptS   int64  `json:"kept_s"`  // from the last concrete, or from its set where that is later, to the strip or to now
	AgeS    int64  `json:"age_s"`   // equivalent age at the strip or now, seconds at 20 °C, by the site's rule that gives the least
	Rule    string `json:"rule"`    // that rule
	Warmth  Warmth `json:"warmth"`  // of the concrete, from the last of it to the strip or to now
	Margin  Margin `json:"margin"`  // of a brace that is stripped
	Governs string `json:"governs"` // the criterion that was met last, or that was not met

	Early       bool        `json:"early"`       // taken off before its window was open
	Unpermitted bool        `json:"unpermitted"` // taken off without a permit to strip that stood
	Exceptions  []Exception `json:"exceptions"`
}

// Deed is what somebody did: when, when that was entered and recorded, by whom.
type Deed struct {
	At       face.Time `json:"at"`
	Entered  face.Time `json:"entered"`
	Recorded face.Time `json:"recorded"`
	By       string    `json:"by"`            // a person's id; empty: not said
	Name     string    `json:"name,omitzero"` // as it is known now; empty: erased, or not known
	Device   string    `json:"device"`
	Seq      uint64    `json:"seq"` // of the message; 0: there is none
}

// Warmth is the range of the temperatures that were read in the concrete of the wall
// where the answer looks first: its top, or where nobody read that its core, or a
// face. What is in doubt is in it, and so is a minimum or a maximum of which it is
// not sure when it was: the range is never told too narrow.
type Warmth struct {
	Place  string `json:"place,omitzero"` // top, core or face; empty: nobody measured
	LowCC  *int64 `json:"low_centi_c"`    // hundredths of °C; null: not known
	HighCC *int64 `json:"high_centi_c"`   // null: nothing but minima was read
}

// Permit is the permit to strip that was there for a brace.
type Permit struct {
	Number    string    `json:"number"` // empty: there was none
	At        face.Time `json:"at"`     // from when it counts
	Until     face.Time `json:"until"`  // null: until withdrawn
	Withdrawn face.Time `json:"withdrawn"`
	By        string    `json:"by"`
	Name      string    `json:"name,omitzero"`
	Issued    Deed      `json:"issued"`            // the entry that issued it
	Stood     bool      `json:"stood"`             // for the brace when it was stripped; now, where it stands
	Released  string    `json:"released,omitzero"` // it stood on the release of this engineer
	Releaser  string    `json:"releaser,omitzero"` // the engineer's name
	Lacks     []string  `json:"lacks,omitzero"`    // what its form lacks
}

// Said is the hub's statement on the whole wall that stood at the strip, or that
// stands now.
type Said struct {
	At       face.Time `json:"at"` // null: there was none
	Open     bool      `json:"open"`
	Cured    face.Time `json:"cured"`
	Earliest face.Time `json:"earliest"`
	Governs  string    `json:"governs"`
	Differs  bool      `json:"differs"`      // what is known now gives another answer for that moment
	Now      string    `json:"now,omitzero"` // which, in words
}

// Margin is the strip less the opening of the window; under zero is early.
type Margin struct {
	S      int64  `json:"s"`           // rounded down to the minute
	Known  bool   `json:"known"`       // false: the brace stands, or nothing can be said
	AtMost bool   `json:"at_most"`     // the window has not opened yet: the margin is this or less
	By     string `json:"by,omitzero"` // of an early strip, the criterion that it counts to
}

// The sorts of exception, in the order in which an officer takes them.
const (
	StrippedEarly = "stripped-early"  // before its window was open
	NoPermit      = "without-permit"  // none was there
	PermitLapsed  = "permit-lapsed"   // it was over, or withdrawn
	OutsidePermit = "outside-permit"  // it was for other braces, or from later on
	PermitVoid    = "permit-void"     // it did not stand: the window was not open for it, or is not by what is known now
	NeverSet      = "never-set"       // taken off, and nobody recorded that it was set
	NeverSound    = "never-inspected" // nobody recorded that it was found sound
	LateEntry     = "late-entry"      // entered over 60 min after
	Doubtful      = "doubt"           // of the wall's record, that no named person has answered
	Amended       = "amended"         // an entry behind the row was amended or voided
)

// Sorts are they all, in that order.
var Sorts = []string{StrippedEarly, NoPermit, PermitLapsed, OutsidePermit, PermitVoid, NeverSet, NeverSound, LateEntry, Doubtful, Amended}

// Exception is one thing that is not as it should be.
type Exception struct {
	Sort string `json:"sort"`
	Text string `json:"text"`
	Seq  uint64 `json:"seq,omitzero"` // the message that it is about
}

// Totals are the sums of rows.
type Totals struct {
	Braces      int `json:"braces"` // rows
	Stripped    int `json:"stripped"`
	Early       int `json:"early"`
	Unpermitted int `json:"unpermitted"`
	Standing    int `json:"standing"`
	Exceptions  int `json:"exceptions"` // rows with any

	// Of the rows that are stripped; null: there is none of which it is known.
	KeptMeanS    *int64 `json:"kept_mean_s"`
	KeptLeastS   *int64 `json:"kept_least_s"`
	MarginLeastS *int64 `json:"margin_least_s"`
}
