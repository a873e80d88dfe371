package scheduler

import (
	"time"

	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// Sheet is the calculation sheet of one wall at one moment: all that a person
// needs to follow the sum by hand. Sums are integers, in nanoseconds at the
// reference temperature (10⁻⁹ s; 3,600,000,000,000 of them are an hour at
// 20 °C), so that the rows add up to them exactly. Times are UTC.
type Sheet struct {
	Assessment Assessment `json:"-"` // every criterion with what it has, needs and rests on

	Rules   string `json:"rules"`   // version of the rule set
	Caution string `json:"caution"` // stands under every sheet
	Digest  string `json:"digest"`  // SHA-256 of the wall's record that the sheet was computed from, hex

	Zero     ClockZero      `json:"clock_zero"`
	Policy   []Setting      `json:"policy"`
	PolicyBy string         `json:"policy_by"` // who set the site's policy last; empty: nobody, the defaults
	Criteria []SetCriterion `json:"criteria"`  // what engineers set for this wall or its mixes
	Mixes    []SheetMix     `json:"mixes"`

	Weighed []string    `json:"weighed"` // the maturity rules of the policy with their constants; Earned and Sum are in this order
	NeedNS  int64       `json:"need_ns"` // equivalent age asked for
	Hours   []SheetHour `json:"hours"`   // since clock zero, whole five-minute slots that are past
	Resets  []Reset     `json:"resets"`  // where the sums began again
	Sum     []int64     `json:"sum_ns"`  // the sums now
	Others  []OtherRule `json:"others"`  // what each published rule would say; they differ two to one at 5 °C
}

// ClockZero is the last concrete, and what set it.
type ClockZero struct {
	At      time.Time `json:"at,omitzero"` // zero: no concrete is recorded
	By      string    `json:"by"`          // kind of the event, such as lift.placed
	ID      string    `json:"id"`          // of the event
	Source  string    `json:"source"`
	Person  string    `json:"person"`
	Entered time.Time `json:"entered,omitzero"` // by the device's own clock
	Early   time.Time `json:"early,omitzero"`   // the earliest moment that the record allows; At is the latest
	Note    string    `json:"note"`             // why the two differ
}

// Setting is one value of the site's policy as it bears on this wall.
type Setting struct {
	Name    string `json:"name"`
	Value   string `json:"value"`
	Unit    string `json:"unit"`
	Default bool   `json:"default"` // the tool's own: print "not set by an engineer"
}

// SetCriterion is what an engineer set.
type SetCriterion struct {
	By      string    `json:"by"`
	At      time.Time `json:"at"`
	Drawing string    `json:"drawing"`
	Clause  string    `json:"clause"`
	Mix     string    `json:"mix"` // empty: all
	Says    string    `json:"says"`
}

// SheetMix is a mix planned for the wall or delivered to it.
type SheetMix struct {
	Name     string `json:"name"`     // empty: not said
	Known    bool   `json:"known"`    // approved, and countersigned by a second person
	Binder   string `json:"binder"`   // portland, blended, unknown
	Retarder string `json:"retarder"` // yes, no, not said
	By       string `json:"by"`       // who approved it
	Note     string `json:"note"`
}

// SheetHour is one hour of the sum, or the part of it that counts.
type SheetHour struct {
	At      time.Time `json:"at"`      // beginning of the hour (UTC), or clock zero
	Seconds int64     `json:"seconds"` // of time past in it
	Counted int64     `json:"counted"` // seconds of them for which a temperature counts
	CentiC  int       `json:"centi_c"` // mean temperature over the counted seconds, hundredths of a degree, rounded down
	Source  string    `json:"source"`  // in words, the one that counted longest, the others behind it
	Frozen  bool      `json:"frozen"`  // part of it counts as frost
	Earned  []int64   `json:"earned_ns"`
	Sum     []int64   `json:"sum_ns"` // at its end
}

// Reset says that the sums began again after a freeze.
type Reset struct {
	From    time.Time `json:"from"` // first sign of frost
	To      time.Time `json:"to"`   // last sign
	Assumed bool      `json:"assumed"`
	Lost    []int64   `json:"lost_ns"` // what had been earned before
}

// OtherRule is what one published rule would say.
type OtherRule struct {
	Name   string    `json:"name"`
	Source string    `json:"source"` // publication, and how far it was checked
	Have   string    `json:"have"`   // rounded down
	Need   string    `json:"need"`
	Unit   string    `json:"unit"`
	Met    bool      `json:"met"`
	MetAt  time.Time `json:"met_at,omitzero"` // rounded up to the minute
	Likely time.Time `json:"likely,omitzero"` // expected, where it is not met and a forecast or reading lets it be said
	Policy bool      `json:"policy"`          // it is one that the site's policy goes by
	Note   string    `json:"note"`
}

// SheetOf makes the calculation sheet. It is as pure as Assess, and its sums are
// the ones that Assess goes by.
func SheetOf(s *site.State, d *site.Devices, w *wall.State, hub Hub, now time.Time) Sheet {
	out := Sheet{Assessment: Assess(s, d, w, hub, now), Rules: Rules, Caution: Caution}
	return out
}
