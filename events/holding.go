package events

import (
	"strconv"
	"time"
)

func utoa(n uint64) string { return strconv.FormatUint(n, 10) }

// Moment is the data of a kind that only says when.
type Moment struct {
	At   time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Note string    `json:"note,omitzero" doc:"in words"`
}

func (d *Moment) check() error           { return nil }
func (d *Moment) span() (b, e time.Time) { return d.At, d.At }

// BracePlan is one brace on the wall.
type BracePlan struct {
	Name string   `json:"name" rule:"need,token" doc:"the brace's name on the drawing"`
	AtM  *float64 `json:"at_m" rule:"need,0..2000" unit:"m" doc:"station"`
}

// Leg is one straight run of the wall.
type Leg struct {
	LengthM *float64 `json:"length_m" rule:"need,0.1..500" unit:"m" doc:"length"`
	TurnDeg *float64 `json:"turn_deg,omitzero" rule:"-180..180" unit:"°" doc:"corner at its end: turn to the left positive; not given: straight on"`
	CoreMM  *float64 `json:"core_mm,omitzero" rule:"80..1500" unit:"mm" doc:"concrete thickness where it differs from the wall's"`
}

// Opening is a hole in the wall.
type Opening struct {
	FromM *float64 `json:"from_m" rule:"need,0..2000" unit:"m" doc:"station"`
	ToM   *float64 `json:"to_m" rule:"need,0..2000" unit:"m" doc:"station"`
	SillM *float64 `json:"sill_m" rule:"need,0..15" unit:"m" doc:"height of its sill above the wall's foot"`
	HeadM *float64 `json:"head_m" rule:"need,0..15" unit:"m" doc:"height of its head above the wall's foot"`
	Name  string   `json:"name,omitzero" rule:"token" doc:"its mark on the drawing"`
}

// WallLaidOut describes a wall. Heights count from the wall's foot, stations
// from its start.
type WallLaidOut struct {
	Name     string      `json:"name,omitzero" rule:"len 1..80" doc:"name for people"`
	LengthM  *float64    `json:"length_m" rule:"need,0.3..2000" unit:"m" doc:"length along the centre line"`
	HeightM  *float64    `json:"height_m" rule:"need,0.2..15" unit:"m" doc:"height of the form"`
	TopM     *float64    `json:"top_m,omitzero" rule:"0.1..15" unit:"m" doc:"planned top of the concrete above the wall's foot; default the height of the form"`
	CoreMM   *float64    `json:"core_mm" rule:"need,80..1500" unit:"mm" doc:"concrete thickness"`
	Closed   bool        `json:"closed,omitzero" doc:"the last station meets the first"`
	Legs     []Leg       `json:"legs,omitzero" rule:"len 0..200" doc:"straight runs from the wall's start, in order"`
	Openings []Opening   `json:"openings,omitzero" rule:"len 0..200" doc:"doors, windows and other openings"`
	Form     string      `json:"form,omitzero" rule:"insulating|plywood|steel|other" doc:"kind of form; insulating: stays in place"`
	RatedKPa *float64    `json:"rated_kpa,omitzero" rule:"5..200" unit:"kPa" doc:"the form's rated pressure"`
	Mix      string      `json:"mix,omitzero" rule:"token" doc:"the mix planned"`
	Crew     string      `json:"crew,omitzero" rule:"token" doc:"the crew"`
	Braces   []BracePlan `json:"braces,omitzero" rule:"len 0..1000" doc:"braces planned; brace.set says which stand"`

	CourseMM    *float64   `json:"course_mm,omitzero" rule:"50..1500" unit:"mm" doc:"height of one course of the form"`
	Bulkheads   []Bulkhead `json:"bulkheads,omitzero" rule:"len 0..100" doc:"planned ends of concrete inside the form"`
	Pilasters   []Pilaster `json:"pilasters,omitzero" rule:"len 0..200" doc:"thickenings of the wall"`
	InnerR      *float64   `json:"inner_m2kw,omitzero" rule:"0..20" unit:"m²K/W" doc:"thermal resistance of the form's inner face"`
	OuterR      *float64   `json:"outer_m2kw,omitzero" rule:"0..20" unit:"m²K/W" doc:"thermal resistance of the form's outer face"`
	BraceFace   string     `json:"brace_face,omitzero" rule:"inner|outer|both" doc:"face of the form that the braces are fixed to: it stays until they are off; default both"`
	TieInNeeded *bool      `json:"tie_in_needed,omitzero" doc:"a floor or roof must hold the wall before its braces go; it can only ask for more than the site does"`
}

func (d *WallLaidOut) check() error {
	if err := checkTop(d.TopM, d.HeightM); err != nil {
		return err
	}
	return d.checkGeometry()
}
func (d *WallLaidOut) span() (b, e time.Time) { return }

// checkTop refuses concrete above its form; nil stands for not given.
func checkTop(top, height *float64) error {
	if top != nil && height != nil && *top > *height {
		return refuse("data.top_m", ftoa(*top), "at most height_m, "+ftoa(*height)+" m")
	}
	return nil
}

// checkStretch refuses a stretch without length, which would touch nothing.
// Its ends may stand in either order.
func checkStretch(at string, from, to *float64) error {
	if *from == *to {
		return refuse(at+".to_m", ftoa(*to), "another station than from_m")
	}
	return nil
}

// checkNames refuses two braces of one name: one would be lost from the record.
func checkNames(braces []BracePlan) error {
	seen := make(map[string]bool, len(braces))
	for i, b := range braces {
		if seen[b.Name] {
			return refuse("data.braces."+strconv.Itoa(i)+".name", b.Name, "a name that no other brace of the list has")
		}
		seen[b.Name] = true
	}
	return nil
}

func ftoa(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// WallAmended changes what was laid out; only the members given change.
type WallAmended struct {
	Name     string   `json:"name,omitzero" rule:"len 1..80" doc:"name for people"`
	LengthM  *float64 `json:"length_m,omitzero" rule:"0.3..2000" unit:"m" doc:"length along the centre line"`
	HeightM  *float64 `json:"height_m,omitzero" rule:"0.2..15" unit:"m" doc:"height of the form"`
	TopM     *float64 `json:"top_m,omitzero" rule:"0.1..15" unit:"m" doc:"planned top of the concrete above the wall's foot"`
	CoreMM   *float64 `json:"core_mm,omitzero" rule:"80..1500" unit:"mm" doc:"concrete thickness"`
	RatedKPa *float64 `json:"rated_kpa,omitzero" rule:"5..200" unit:"kPa" doc:"the form's rated pressure"`
	Mix      string   `json:"mix,omitzero" rule:"token" doc:"the mix planned"`
	Crew     string   `json:"crew,omitzero" rule:"token" doc:"the crew"`
	Reason   string   `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *WallAmended) check() error           { return checkTop(d.TopM, d.HeightM) }
func (d *WallAmended) span() (b, e time.Time) { return }

// WallTiedIn says what now holds the wall up.
type WallTiedIn struct {
	At   time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	By   string    `json:"support" rule:"need,floor|roof|cross-wall|other" doc:"what holds it"`
	Note string    `json:"note,omitzero" doc:"in words"`
}

func (d *WallTiedIn) check() error           { return nil }
func (d *WallTiedIn) span() (b, e time.Time) { return d.At, d.At }

// WallHandedOver ends the watch over a wall.
type WallHandedOver struct {
	At   time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	To   string    `json:"to,omitzero" rule:"len 1..80" doc:"to whom"`
	Note string    `json:"note,omitzero" doc:"in words"`
}

func (d *WallHandedOver) check() error           { return nil }
func (d *WallHandedOver) span() (b, e time.Time) { return d.At, d.At }

// Photo names a picture that is kept elsewhere.
type Photo struct {
	Name   string `json:"name" rule:"need,len 1..120" doc:"its name"`
	SHA256 string `json:"sha256" rule:"need,hex64" doc:"SHA-256 of its bytes"`
}

// CheckAnswered answers one item of a check list. The item "rest" stands for all
// that are not answered one by one, under one signature.
type CheckAnswered struct {
	List   string    `json:"list" rule:"need,before|during|after" doc:"which list"`
	Item   string    `json:"item" rule:"need,token" doc:"which item of the list; rest: all that are not answered one by one"`
	Answer string    `json:"answer" rule:"need,yes|no|waived" doc:"the answer; waived: does not apply here"`
	Value  *float64  `json:"value,omitzero" rule:"-100000..100000" doc:"what was measured, where the item asks for a number"`
	At     time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Note   string    `json:"note,omitzero" doc:"in words"`
	Photos []Photo   `json:"photos,omitzero" rule:"len 0..20" doc:"pictures, kept elsewhere"`
}

func (d *CheckAnswered) check() error           { return nil }
func (d *CheckAnswered) span() (b, e time.Time) { return d.At, d.At }

// LinePoint is the wall's distance from the string line at one station.
type LinePoint struct {
	AtM   *float64 `json:"at_m" rule:"need,0..2000" unit:"m" doc:"station"`
	OffMM *float64 `json:"off_mm" rule:"need,-500..500" unit:"mm" doc:"out of line, towards the braces positive"`
}

// LineRead is a reading of the string line.
type LineRead struct {
	At     time.Time   `json:"at,omitzero" doc:"when; not given: when it was entered"`
	When   string      `json:"when" rule:"need,before|after" doc:"before or after the concrete was placed"`
	Points []LinePoint `json:"points" rule:"need,len 1..500" doc:"readings by station"`
	LeanMM *float64    `json:"lean_mm,omitzero" rule:"-500..500" unit:"mm" doc:"out of plumb over the height, top towards the braces positive"`
}

func (d *LineRead) check() error           { return nil }
func (d *LineRead) span() (b, e time.Time) { return d.At, d.At }

// BraceSet sets braces.
type BraceSet struct {
	At     time.Time   `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Braces []BracePlan `json:"braces" rule:"need,len 1..1000" doc:"which, and where"`
}

func (d *BraceSet) check() error           { return checkNames(d.Braces) }
func (d *BraceSet) span() (b, e time.Time) { return d.At, d.At }

// BraceInspected records a look at braces.
type BraceInspected struct {
	At     time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Braces []string  `json:"braces,omitzero" rule:"token,len 1..1000" doc:"which; not given: all"`
	Sound  *bool     `json:"sound" rule:"need" doc:"true: as they should be; false: not"`
	Note   string    `json:"note,omitzero" doc:"in words"`
}

func (d *BraceInspected) check() error           { return nil }
func (d *BraceInspected) span() (b, e time.Time) { return d.At, d.At }

// BraceDisturbed asks for an inspection.
type BraceDisturbed struct {
	At     time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Braces []string  `json:"braces,omitzero" rule:"token,len 1..1000" doc:"which; not given: all"`
	Cause  string    `json:"cause" rule:"need,knocked|wind|thaw|other" doc:"by what"`
	Note   string    `json:"note,omitzero" doc:"in words"`
}

func (d *BraceDisturbed) check() error           { return nil }
func (d *BraceDisturbed) span() (b, e time.Time) { return d.At, d.At }

// BraceStripped takes braces off.
type BraceStripped struct {
	At     time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Braces []string  `json:"braces,omitzero" rule:"token,len 1..1000" doc:"which; not given: all must be true"`
	All    bool      `json:"all,omitzero" doc:"all braces of the wall"`
	Permit string    `json:"permit,omitzero" rule:"len 1..40" doc:"the permit's number"`
	Note   string    `json:"note,omitzero" doc:"in words"`
}

func (d *BraceStripped) check() error {
	if d.All == (len(d.Braces) > 0) {
		return refuse("data.braces", strconv.Itoa(len(d.Braces))+" named, all="+strconv.FormatBool(d.All), "either braces by name, or all=true")
	}
	return nil
}
func (d *BraceStripped) span() (b, e time.Time) { return d.At, d.At }

// FormMoved is a bulge or a blow-out.
type FormMoved struct {
	At   time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	AtM  *float64  `json:"at_m" rule:"need,0..2000" unit:"m" doc:"station"`
	What string    `json:"what" rule:"need,bulge|blow-out|lift" doc:"what happened; lift: the form rose"`
	MM   *float64  `json:"moved_mm,omitzero" rule:"0..2000" unit:"mm" doc:"how far"`
	Note string    `json:"note,omitzero" doc:"in words"`
}

func (d *FormMoved) check() error           { return nil }
func (d *FormMoved) span() (b, e time.Time) { return d.At, d.At }

// FormStripped takes a face of the form off.
type FormStripped struct {
	At   time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Face string    `json:"face" rule:"need,inner|outer|both" doc:"which face of the form"`
	Note string    `json:"note,omitzero" doc:"in words"`
}

func (d *FormStripped) check() error           { return nil }
func (d *FormStripped) span() (b, e time.Time) { return d.At, d.At }

// Protection is covers, blankets, heat.
type Protection struct {
	At   time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	What string    `json:"what" rule:"need,cover|blanket|heat|wet-cure|membrane" doc:"what"`
	Note string    `json:"note,omitzero" doc:"in words"`
}

func (d *Protection) check() error           { return nil }
func (d *Protection) span() (b, e time.Time) { return d.At, d.At }

// SpecimenMade is a strength specimen.
type SpecimenMade struct {
	Specimen string    `json:"specimen" rule:"need,token" doc:"its mark"`
	At       time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Cured    string    `json:"cured" rule:"need,wall|laboratory" doc:"beside the wall, or in the laboratory"`
	Load     string    `json:"load,omitzero" rule:"token" doc:"from which load"`
}

func (d *SpecimenMade) check() error           { return nil }
func (d *SpecimenMade) span() (b, e time.Time) { return d.At, d.At }

// SpecimenTested is a strength result.
type SpecimenTested struct {
	Specimen    string    `json:"specimen,omitzero" rule:"token" doc:"its mark; not given: a test on the wall itself"`
	At          time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	StrengthMPa *float64  `json:"strength_mpa" rule:"need,0..200" unit:"MPa" doc:"compressive strength"`
	Method      string    `json:"method,omitzero" rule:"cylinder|cube|pull-out|penetration|core" doc:"how"`
}

func (d *SpecimenTested) check() error           { return nil }
func (d *SpecimenTested) span() (b, e time.Time) { return d.At, d.At }

// ConcreteInspected is what a person saw.
type ConcreteInspected struct {
	At      time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Finding string    `json:"finding" rule:"need,sound|honeycomb|crack|void|frozen|other" doc:"what was seen"`
	FromM   *float64  `json:"from_m,omitzero" rule:"0..2000" unit:"m" doc:"station"`
	ToM     *float64  `json:"to_m,omitzero" rule:"0..2000" unit:"m" doc:"station"`
	Note    string    `json:"note,omitzero" doc:"in words"`
}

func (d *ConcreteInspected) check() error           { return nil }
func (d *ConcreteInspected) span() (b, e time.Time) { return d.At, d.At }

// HoldPlaced stops every strip of the wall.
type HoldPlaced struct {
	Hold   string    `json:"hold" rule:"need,token" doc:"the hold's mark"`
	At     time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Reason string    `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *HoldPlaced) check() error           { return nil }
func (d *HoldPlaced) span() (b, e time.Time) { return d.At, d.At }

// HoldReleased ends a hold.
type HoldReleased struct {
	Hold   string    `json:"hold" rule:"need,token" doc:"the hold's mark"`
	At     time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Reason string    `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *HoldReleased) check() error           { return nil }
func (d *HoldReleased) span() (b, e time.Time) { return d.At, d.At }

// EngineerReleased is an engineer's word on one criterion. There is none for
// the floor, for a hold or for an incomplete record.
type EngineerReleased struct {
	Releases    string    `json:"releases" rule:"need,support|strength|frost|straight|age|backfill" doc:"which criterion"`
	At          time.Time `json:"at,omitzero" doc:"from when; not given: from when it was entered"`
	Freeze      time.Time `json:"freeze,omitzero" doc:"of frost: the freeze that it is about"`
	GustMPS     *float64  `json:"gust_mps,omitzero" rule:"0..60" unit:"m/s" doc:"of support: up to what gust the wall may stand free"`
	StrengthMPa *float64  `json:"strength_mpa,omitzero" rule:"0..120" unit:"MPa" doc:"of support: at what strength"`
	Role        string    `json:"role" rule:"need,engineer" doc:"in what role the author speaks"`
	Reason      string    `json:"reason" rule:"need,len 1..2000" doc:"on what ground"`
	Drawing     string    `json:"drawing,omitzero" rule:"len 1..80" doc:"drawing or calculation"`
}

func (d *EngineerReleased) check() error {
	if d.Releases == "frost" && d.Freeze.IsZero() {
		return refuse("data.freeze", "", "the time of the freeze that is released")
	}
	if d.Releases == "support" && d.GustMPS == nil {
		return refuse("data.gust_mps", "", "the gust up to which the wall may stand free, 0..60 m/s")
	}
	return nil
}
func (d *EngineerReleased) span() (b, e time.Time) { return d.At, d.At }
