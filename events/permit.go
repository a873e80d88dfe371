package events

import (
	"strings"
	"time"
)

// Inspected is one inspection of the bracing.
type Inspected struct {
	Done *bool  `json:"done" rule:"need" doc:"true: it was made, and found in order"`
	By   string `json:"by,omitzero" rule:"token" doc:"by whom"`
}

// Evidence is what a permit says of the concrete.
type Evidence struct {
	LastConcrete time.Time `json:"last_concrete,omitzero" doc:"when the last concrete was placed"`
	Mix          string    `json:"mix,omitzero" rule:"token" doc:"the mix"`
	Temperatures string    `json:"temperatures,omitzero" rule:"len 1..1000" doc:"temperatures since, in words"`
	Specimens    []string  `json:"specimens,omitzero" rule:"token,len 1..50" doc:"marks of the specimens tested"`
}

// Bases of a permit to strip.
const (
	BasisAge      = "time-and-temperature"
	BasisStrength = "strength"
	BasisRelease  = "release"
)

// PermitIssued is a permit to pour or to strip.
type PermitIssued struct {
	Number      string    `json:"number" rule:"need,len 1..40" doc:"the permit's number"`
	For         string    `json:"for" rule:"need,pour|strip" doc:"what it permits"`
	At          time.Time `json:"at,omitzero" doc:"from when; not given: from when it was entered"`
	Until       time.Time `json:"until,omitzero" doc:"to when; not given: until withdrawn"`
	Braces      []string  `json:"braces,omitzero" rule:"token,len 1..1000" doc:"which braces; not given: all"`
	RequestedBy string    `json:"requested_by,omitzero" rule:"token" doc:"who asked"`
	ReviewedBy  string    `json:"reviewed_by,omitzero" rule:"token" doc:"the competent person who looked"`
	Statement   string    `json:"statement,omitzero" rule:"len 1..64" doc:"id of the statement it relies on"`
	Conditions  string    `json:"conditions,omitzero" rule:"len 1..2000" doc:"conditions"`

	FromM           *float64   `json:"from_m,omitzero" rule:"0..2000" unit:"m" doc:"with to_m: only braces of this stretch, beside braces"`
	ToM             *float64   `json:"to_m,omitzero" rule:"0..2000" unit:"m" doc:"with from_m: the other end of the stretch"`
	Drawing         string     `json:"drawing,omitzero" rule:"len 1..80" doc:"drawing of the wall"`
	DrawingRevision string     `json:"drawing_revision,omitzero" rule:"len 1..40" doc:"its revision"`
	BracingDesign   string     `json:"bracing_design,omitzero" rule:"len 1..80" doc:"reference of the bracing design"`
	BracingRevision string     `json:"bracing_revision,omitzero" rule:"len 1..40" doc:"its revision"`
	Basis           string     `json:"basis,omitzero" rule:"time-and-temperature|strength|release" doc:"on what ground the braces may go"`
	Release         Target     `json:"release,omitzero" doc:"of basis release: the engineer.released event that it relies on"`
	Evidence        *Evidence  `json:"evidence,omitzero" doc:"what it says of the concrete"`
	GustMPS         *float64   `json:"gust_mps,omitzero" rule:"0..60" unit:"m/s" doc:"the gust that was considered"`
	Loads           string     `json:"loads,omitzero" rule:"len 1..1000" doc:"the loads that were considered"`
	Support         string     `json:"support,omitzero" rule:"tied-in|props|free" doc:"what holds the wall up without the braces"`
	SupportSeen     *bool      `json:"support_confirmed,omitzero" doc:"the support was looked at and is there"`
	InspectedBefore *Inspected `json:"inspected_before,omitzero" doc:"the inspection of the bracing before placing"`
	InspectedDuring *Inspected `json:"inspected_during,omitzero" doc:"the inspection of the bracing while placing"`
	InspectedAfter  *Inspected `json:"inspected_after,omitzero" doc:"the inspection of the bracing after placing"`
	Method          string     `json:"method,omitzero" rule:"len 1..2000" doc:"how the braces come off"`
	Sequence        string     `json:"sequence,omitzero" rule:"len 1..1000" doc:"in what order"`
	ClearM          *float64   `json:"clear_m,omitzero" rule:"0.5..100" unit:"m" doc:"how far others stay out"`
}

// PermitMost is how long a permit that names its basis may hold: two weeks, after
// which the wall is looked at anew (common practice, no source).
const PermitMost = 14 * 24 * time.Hour

// check asks more of a permit that names its basis than of a short one: records
// of the time before hold short ones, and keep their meaning.
func (d *PermitIssued) check() error {
	if !d.Until.IsZero() && !d.At.IsZero() && !d.Until.After(d.At) {
		return refuse("data.until", d.Until.Format(time.RFC3339), "after at")
	}
	if (d.FromM == nil) != (d.ToM == nil) {
		return refuse("data.to_m", "", "from_m and to_m together")
	}
	if d.FromM != nil {
		if err := checkStretch("data", d.FromM, d.ToM); err != nil {
			return err
		}
	}
	if named := d.Release != (Target{}); named != (d.Basis == BasisRelease) {
		return refuse("data.release", d.Release.ID, "the event engineer.released, with basis release and no other")
	}
	switch {
	case d.Basis == "":
	case !d.Until.IsZero() && !d.At.IsZero() && d.Until.Sub(d.At) > PermitMost:
		return refuse("data.until", d.Until.Format(time.RFC3339), "at most 14 days after at")
	case d.ReviewedBy != "" && d.ReviewedBy == d.RequestedBy:
		return refuse("data.reviewed_by", d.ReviewedBy, "another person than requested_by")
	}
	return nil
}
func (d *PermitIssued) span() (b, e time.Time) { return d.At, d.At }

// PermitLacks lists what a permit to strip lacks to be whole, in the order of the
// form. by is who issues it. It is empty for a whole one and for one to pour.
func PermitLacks(d *PermitIssued, by string) (lacks []string) {
	if d.For != "strip" {
		return nil
	}
	need := func(ok bool, what string) {
		if !ok {
			lacks = append(lacks, what)
		}
	}
	need(d.Drawing != "" && d.DrawingRevision != "", "drawing and revision")
	need(d.BracingDesign != "" && d.BracingRevision != "", "bracing design and revision")
	need(d.Basis != "", "basis")
	need(d.Statement != "", "statement relied on")
	e := d.Evidence
	need(e != nil && !e.LastConcrete.IsZero() && e.Mix != "" && e.Temperatures != "" && (d.Basis != BasisStrength || len(e.Specimens) > 0), "evidence")
	need(d.GustMPS != nil && d.Loads != "", "wind and loads")
	need(d.Support != "" && d.SupportSeen != nil && *d.SupportSeen, "support confirmed")
	need(d.InspectedBefore.made(), "inspection before placing")
	need(d.InspectedDuring.made(), "inspection during placing")
	need(d.InspectedAfter.made(), "inspection after placing")
	need(d.Method != "", "method")
	need(d.Sequence != "", "sequence")
	need(d.ClearM != nil, "clear zone")
	need(d.RequestedBy != "" && d.RequestedBy != by, "requester")
	need(d.ReviewedBy != "" && d.ReviewedBy != d.RequestedBy, "competent reviewer")
	need(!d.Until.IsZero(), "end of validity")
	return lacks
}

func (i *Inspected) made() bool { return i != nil && i.Done != nil && *i.Done && i.By != "" }

// Lacking puts what a permit lacks in words.
func Lacking(lacks []string) string { return "incomplete: lacks " + strings.Join(lacks, ", ") }

// PermitWithdrawn ends a permit.
type PermitWithdrawn struct {
	Number string    `json:"number" rule:"need,len 1..40" doc:"the permit's number"`
	At     time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Reason string    `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *PermitWithdrawn) check() error           { return nil }
func (d *PermitWithdrawn) span() (b, e time.Time) { return d.At, d.At }
