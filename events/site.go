package events

import "time"

// Policy holds what a site may set. A member that is not given keeps the value
// before it, in the end the default. The floor can only be raised.
type Policy struct {
	FloorH       *float64 `json:"floor_h,omitzero" rule:"48..720" unit:"h" doc:"shortest time from the last concrete to the strip; default 48, never less"`
	EquivalentH  *float64 `json:"equivalent_h,omitzero" rule:"48..720" unit:"h" doc:"equivalent age at 20 °C before the strip; default 48"`
	Rule         *string  `json:"rule,omitzero" rule:"arrhenius|fhp|en-1992|sadgrove|nurse-saul" doc:"maturity rule; default arrhenius, Q 5000 K, 20 °C"`
	QK           *float64 `json:"q_k,omitzero" rule:"3000..8000" unit:"K" doc:"Q of the arrhenius rule; default 5000"`
	DatumC       *float64 `json:"datum_c,omitzero" rule:"-12..5" unit:"°C" doc:"datum of the nurse-saul rule; default 0"`
	JointMin     *float64 `json:"joint_min,omitzero" rule:"10..150" unit:"min" doc:"limit of an open joint at or under 25 °C; default 150"`
	JointHotMin  *float64 `json:"joint_hot_min,omitzero" rule:"10..120" unit:"min" doc:"limit of an open joint above 25 °C; default 120"`
	GustMPS      *float64 `json:"gust_mps,omitzero" rule:"1..30" unit:"m/s" doc:"greatest gust for stripping and until tied in; default 9"`
	PermitNeeded *bool    `json:"permit_needed,omitzero" doc:"a permit to strip is asked for; default true"`
	TieInNeeded  *bool    `json:"tie_in_needed,omitzero" doc:"a floor or roof, or an engineer's word, must hold the wall; default true"`
	OverdueH     *float64 `json:"overdue_h,omitzero" rule:"1..2000" unit:"h" doc:"braces are overdue so long after the window opens; default 72"`
	RiseM        *float64 `json:"rise_m,omitzero" rule:"0.1..1.2" unit:"m" doc:"greatest rise in any 60 minutes; default 1.2 (common practice, no source)"`
	LoadMin      *float64 `json:"load_min,omitzero" rule:"30..90" unit:"min" doc:"greatest age of a load at discharge; default 90"`
	LineMM       *float64 `json:"line_mm,omitzero" rule:"1..12" unit:"mm" doc:"string line tolerance; default 6"`
	StrengthMPa  *float64 `json:"strength_mpa,omitzero" rule:"0.5..60" unit:"MPa" doc:"strength asked for before the strip; default none"`
	SheetAt      *string  `json:"sheet_at,omitzero" rule:"hh:mm" doc:"local time of the morning sheet; default 06:00"`
	FaceH        *float64 `json:"face_h,omitzero" rule:"9..240" unit:"h" doc:"shortest time from the last concrete to the stripping of a form's face; default none beside the table of the rule set"`
	ChecksNeeded *bool    `json:"checks_needed,omitzero" doc:"the check list before placing is asked for; default true"`
	TravelMin    *float64 `json:"travel_min,omitzero" rule:"0..180" unit:"min" doc:"travel from plant to site; default 30"`
	PermitWhole  *bool    `json:"permit_whole,omitzero" doc:"a permit to strip counts only if nothing of its form is lacking; default false: what it lacks is said"`
}

// SiteOpened begins a site.
type SiteOpened struct {
	Name   string `json:"name" rule:"need,len 1..80" doc:"name for people"`
	Zone   string `json:"zone" rule:"need,zone" doc:"IANA time zone, such as America/New_York"`
	Units  string `json:"units,omitzero" rule:"si|us" doc:"units shown; default si"`
	Policy Policy `json:"policy,omitzero" doc:"what the site sets; a member not given keeps its value"`
}

func (d *SiteOpened) check() error { return nil }

func (d *SiteOpened) span() (b, e time.Time) { return }

// SiteAmended changes a site; only the members given change.
type SiteAmended struct {
	Name   string `json:"name,omitzero" rule:"len 1..80" doc:"name for people"`
	Zone   string `json:"zone,omitzero" rule:"zone" doc:"IANA time zone"`
	Units  string `json:"units,omitzero" rule:"si|us" doc:"units shown"`
	Policy Policy `json:"policy,omitzero" doc:"what the site sets; a member not given keeps its value"`
	Reason string `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *SiteAmended) check() error { return nil }

func (d *SiteAmended) span() (b, e time.Time) { return }

// InitialSet is one measured initial set of a mix (penetration resistance 3.5 MPa).
type InitialSet struct {
	Minutes *float64 `json:"minutes" rule:"need,20..2000" unit:"min" doc:"from batching to initial set (penetration resistance 3.5 MPa)"`
	Celsius *float64 `json:"celsius" rule:"need,-5..50" unit:"°C" doc:"at this temperature of the concrete"`
}

// Relation is a mix's own strength-maturity relation, the hyperbolic form
// S = Su k (t - t0) / (1 + k (t - t0)), t the equivalent age at 20 °C in days.
type Relation struct {
	SuMPa *float64 `json:"su_mpa" rule:"need,5..150" unit:"MPa" doc:"limiting strength"`
	KPerD *float64 `json:"k_per_d" rule:"need,0.01..5" unit:"1/d" doc:"rate"`
	T0D   *float64 `json:"t0_d" rule:"need,0..2" unit:"d" doc:"age when strength begins"`
}

// MixApproved says what is known of a mix.
type MixApproved struct {
	Mix        string       `json:"mix" rule:"need,token" doc:"the mix's short name"`
	Binder     string       `json:"binder" rule:"need,portland|blended|unknown" doc:"portland: Portland cement and nothing else; blended: with slag, fly ash or other additions"`
	Slag       float64      `json:"slag_percent,omitzero" rule:"0..90" unit:"%" doc:"slag in the binder by mass"`
	Ash        float64      `json:"ash_percent,omitzero" rule:"0..60" unit:"%" doc:"fly ash in the binder by mass"`
	Retarder   *bool        `json:"retarder,omitzero" doc:"has a retarder, retarding water reducers included; not given: unknown"`
	StrengthC  float64      `json:"fck_mpa,omitzero" rule:"5..120" unit:"MPa" doc:"characteristic strength at 28 days, on cylinders"`
	WaterRatio float64      `json:"w_cm,omitzero" rule:"0.25..0.9" doc:"water to binder by mass"`
	SlumpMM    *float64     `json:"slump_mm,omitzero" rule:"0..300" unit:"mm" doc:"slump ordered"`
	WeightKNM3 float64      `json:"weight_kn_m3,omitzero" rule:"15..35" unit:"kN/m³" doc:"unit weight; default 24"`
	Set        []InitialSet `json:"initial_set,omitzero" rule:"len 0..12" doc:"initial sets measured on this mix"`
	Relation   *Relation    `json:"relation,omitzero" doc:"the mix's own strength against equivalent age"`
}

func (d *MixApproved) check() error {
	if d.Binder == "portland" && d.Slag+d.Ash > 0 {
		return refuse("data.binder", d.Binder, "blended, where slag_percent or ash_percent is over 0")
	}
	if d.Slag+d.Ash > 100 {
		return refuse("data.ash_percent", ftoa(d.Ash), "with slag_percent at most 100 %")
	}
	return nil
}
func (d *MixApproved) span() (b, e time.Time) { return }

// CriterionSet is an engineer's criterion. Members that are not given keep the
// site's policy; none can go under the floor.
type CriterionSet struct {
	Mix         string   `json:"mix,omitzero" rule:"token" doc:"on a site: the mix it is for; not given: all"`
	FloorH      *float64 `json:"floor_h,omitzero" rule:"48..720" unit:"h" doc:"shortest time from the last concrete"`
	EquivalentH *float64 `json:"equivalent_h,omitzero" rule:"48..720" unit:"h" doc:"equivalent age at 20 °C"`
	StrengthMPa *float64 `json:"strength_mpa,omitzero" rule:"0.5..60" unit:"MPa" doc:"strength asked for"`
	CoreCounts  *bool    `json:"core_counts,omitzero" doc:"the core's temperature may stand for the top's; default false"`
	AgeSuffices *bool    `json:"age_suffices,omitzero" doc:"equivalent age alone suffices for a binder other than Portland or a retarded mix; default false"`
	Role        string   `json:"role" rule:"need,engineer" doc:"in what role the author speaks"`
	Drawing     string   `json:"drawing,omitzero" rule:"len 1..80" doc:"drawing or specification"`
	Clause      string   `json:"clause,omitzero" rule:"len 1..80" doc:"clause"`
}

func (d *CriterionSet) check() error           { return nil }
func (d *CriterionSet) span() (b, e time.Time) { return }

// ChecklistAmended changes a site's check list: one more item, or one that the
// site does without.
type ChecklistAmended struct {
	List   string   `json:"list" rule:"need,before|during|after" doc:"which list"`
	Item   string   `json:"item" rule:"need,token" doc:"which item of the list; of a new one its name"`
	Change string   `json:"change" rule:"need,add|waive" doc:"add: a new item, or a waived one asked for again; waive: the site does without"`
	Text   string   `json:"text,omitzero" rule:"len 1..300" doc:"of a new item: what has to be so"`
	Least  *float64 `json:"least,omitzero" rule:"-100000..100000" doc:"of a new item answered with a number: the least"`
	Most   *float64 `json:"most,omitzero" rule:"-100000..100000" doc:"of a new item answered with a number: the most"`
	Unit   string   `json:"unit,omitzero" rule:"len 1..20" doc:"unit of the number"`
	Stop   bool     `json:"stop,omitzero" doc:"of a new item: it is answered by itself, not under the list's one signature"`
	Reason string   `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *ChecklistAmended) check() error {
	if d.Least != nil && d.Most != nil && *d.Most < *d.Least {
		return refuse("data.most", ftoa(*d.Most), "at least least, "+ftoa(*d.Least))
	}
	return nil
}
func (d *ChecklistAmended) span() (b, e time.Time) { return }

// WallLast is the last number that a device used on one wall.
type WallLast struct {
	Wall string `json:"wall" rule:"need,token" doc:"the wall"`
	Last uint64 `json:"last" rule:"need,1.." doc:"the last number on it"`
}

// DeviceReported is made by a device by itself when its outbox is empty: every
// event up to Last is acknowledged, so a number that is missing is a gap.
type DeviceReported struct {
	Last  uint64     `json:"last" rule:"need,0.." doc:"the last number before this report; 0: it is the first"`
	Walls []WallLast `json:"walls,omitzero" rule:"len 0..2000" doc:"the last number on each wall since the report before"`
}

func (d *DeviceReported) check() error           { return nil }
func (d *DeviceReported) span() (b, e time.Time) { return }

// GapWrittenOff gives up numbers of a device.
type GapWrittenOff struct {
	Device string `json:"device" rule:"need,token" doc:"the device on this site"`
	From   uint64 `json:"from" rule:"need,1.." doc:"first number"`
	To     uint64 `json:"to" rule:"need,1.." doc:"last number"`
	Reason string `json:"reason" rule:"need,len 1..500" doc:"why they will never come"`
}

func (d *GapWrittenOff) check() error {
	if d.To < d.From || d.To-d.From > 1_000_000 {
		return refuse("data.to", utoa(d.To), "at least from, "+utoa(d.From)+", and at most a million more")
	}
	return nil
}
func (d *GapWrittenOff) span() (b, e time.Time) { return }

// HoleAccepted accepts a hole in the stream's sequence, after healing.
type HoleAccepted struct {
	From   uint64 `json:"from" rule:"need,1.." doc:"first missing stream sequence"`
	To     uint64 `json:"to" rule:"need,1.." doc:"last missing stream sequence"`
	Reason string `json:"reason" rule:"need,len 1..500" doc:"what was done about it"`
}

func (d *HoleAccepted) check() error {
	if d.To < d.From {
		return refuse("data.to", utoa(d.To), "at least from, "+utoa(d.From))
	}
	return nil
}
func (d *HoleAccepted) span() (b, e time.Time) { return }
