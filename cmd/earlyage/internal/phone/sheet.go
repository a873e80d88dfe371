package phone

import (
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/scheduler/checks"
)

// Sheet is the snapshot of a site that a phone keeps: what the fold and the
// assessment said at one moment, and nothing else. Lengths are in metres along
// the wall's stations or above its foot, moments in UTC. A deadline of concrete
// is rounded down to the second, a time to strip up.
type Sheet struct {
	At      face.Time `json:"at"`
	Through uint64    `json:"through"` // stream sequence that it rests on
	Level   bool      `json:"level"`   // at the head of the stream
	Doubts  []string  `json:"doubts"`  // what the hub doubts of itself
	Rules   string    `json:"rules"`
	Caution string    `json:"caution"`
	Device  Known     `json:"device"`
	Site    face.Site `json:"site"`
	Lang    string    `json:"lang"`  // of the check lists' texts; what else the hub says is in English
	Lists   []List    `json:"lists"` // the site's check lists; walls hold the answers
	Walls   []Wall    `json:"walls"` // by name
	Alerts  []Alert   `json:"alerts"`
}

// Known is what the sheet knows of the phone that asks: its entries up to this
// number are in it, or were refused.
type Known struct {
	Name string `json:"name"`
	UpTo uint64 `json:"upto"`
}

// List is one check list.
type List struct {
	Name    string `json:"name"`
	Version string `json:"version"`
	Items   []Item `json:"items"`
}

// Item is one line of a check list.
type Item struct {
	checks.Item
	Tolerance string `json:"tolerance"`
	Asks      bool   `json:"asks"`   // for a number of its own
	Waived    bool   `json:"waived"` // by the site
}

// Wall is one wall.
type Wall struct {
	Wall    string   `json:"wall"`
	Name    string   `json:"name"`
	State   string   `json:"state"`
	LengthM float64  `json:"length_m"`
	HeightM float64  `json:"height_m"`
	TopM    float64  `json:"top_m"` // planned top of the concrete
	Closed  bool     `json:"closed"`
	Pour    Pour     `json:"pour"`
	Places  []Place  `json:"places"` // in order of station
	Lift    Lift     `json:"lift"`
	Fronts  []Front  `json:"fronts"`
	Joints  []Joint  `json:"joints"`
	Loads   []Load   `json:"loads"` // not yet placed or sent back, in order of first mention
	Checks  []Check  `json:"checks"`
	Line    Line     `json:"line"`
	Strip   Strip    `json:"strip"`
	Braces  []Brace  `json:"braces"`
	Alerts  []Alert  `json:"alerts"`
	Open    []string `json:"open"` // open points that are no alerts
}

// Pour is how placing stands. Zero moments are null.
type Pour struct {
	Started  face.Time `json:"started"`
	Finished face.Time `json:"finished"`
	Stopped  bool      `json:"stopped"`
	Planned  bool      `json:"planned"` // the stop is a planned joint
}

// Kinds of place.
const (
	PlaceStart   = "start"
	PlaceEnd     = "end"
	PlaceBrace   = "brace"
	PlaceCorner  = "corner"
	PlaceOpening = "opening"
)

// Place is a station with a name: what a person on the wall points at.
type Place struct {
	Kind string  `json:"kind"`
	Name string  `json:"name"` // of a brace or an opening; of a corner its number
	AtM  float64 `json:"at_m"`
}

// Lift is what the next lift is offered by, and its limits.
type Lift struct {
	FromM    *float64  `json:"from_m,omitzero"` // the last one's, in its direction
	ToM      *float64  `json:"to_m,omitzero"`
	DepthM   float64   `json:"depth_m"`   // of the last one; 0: none
	Ended    face.Time `json:"ended"`     // of the last one, late
	RiseM    float64   `json:"rise_m"`    // limit of the site in any 60 minutes
	LeastMin float64   `json:"least_min"` // least limit of a joint here, minutes from placing
}

// Front is a run of stations that waits for concrete.
type Front struct {
	FromM    float64   `json:"from_m"`
	ToM      float64   `json:"to_m"`
	TopM     float64   `json:"top_m"`    // where the next concrete begins
	EndM     float64   `json:"end_m"`    // up to where it may rise
	Deadline face.Time `json:"deadline"` // null: nothing closes
	Closing  face.Time `json:"closing"`  // from when it is closing
	LimitBy  string    `json:"limit_by"`
	RiseM    float64   `json:"rise_m"` // in the last 60 minutes
	NowM     float64   `json:"now_m"`  // may be placed now
	FullM    float64   `json:"full_m"`
	FullFrom face.Time `json:"full_from"`
	RiseBy   string    `json:"rise_by"`
}

// Joint is one that was covered too late and is not yet answered.
type Joint struct {
	FromM float64 `json:"from_m"`
	ToM   float64 `json:"to_m"`
	TopM  float64 `json:"top_m"`
	State string  `json:"state"`
}

// Load is a truckload that is to be placed.
type Load struct {
	Load     string    `json:"load"`
	Ticket   string    `json:"ticket"`
	Mix      string    `json:"mix"`
	State    string    `json:"state"`
	Batched  face.Time `json:"batched"`
	Old      face.Time `json:"old"` // from when it is too old
	Expected face.Time `json:"expected"`
	VolumeM3 float64   `json:"volume_m3"`
}

// Check is how a check list of a wall stands.
type Check struct {
	List    string   `json:"list"`
	Open    []Open   `json:"open"`
	Answers []Answer `json:"answers"`
}

// Open is an item that is not answered as it has to be.
type Open struct {
	Item string `json:"item"`
	Why  string `json:"why"`
}

// Answer is the last answer to an item.
type Answer struct {
	Item   string   `json:"item"`
	Answer string   `json:"answer"`
	Lo     *float64 `json:"lo,omitzero"` // the least and the greatest that was measured
	Hi     *float64 `json:"hi,omitzero"`
}

// Line is how the string line stands.
type Line struct {
	Read    face.Time `json:"read"`  // the last reading; null: none
	After   bool      `json:"after"` // it was made after placing
	WorstMM int       `json:"worst_mm"`
	LimitMM int       `json:"limit_mm"`
	Good    bool      `json:"good"` // the window's criterion is met
	Due     bool      `json:"due"`  // placed, and not read since the last concrete
}

// Strip is the cure window of the wall. It says may strip only together with
// the sheet's moment: the page shows it for 60 seconds.
type Strip struct {
	Open     bool          `json:"open"`
	CuredAt  face.Time     `json:"cured_at"`
	Earliest face.Time     `json:"earliest"`
	Expected face.Expected `json:"expected"`
	Governs  string        `json:"governs"`
	Criteria []Criterion   `json:"criteria"`
	Permits  []Permit      `json:"permits"` // to strip, that stand
}

// Criterion is one line of the window. Have and Need are in SI.
type Criterion struct {
	Name string    `json:"name"`
	Met  bool      `json:"met"`
	At   face.Time `json:"at"` // when it was or will surely be met
	Have string    `json:"have"`
	Need string    `json:"need"`
	Unit string    `json:"unit"`
	Note string    `json:"note"`
}

// Permit is a permit to strip that stands.
type Permit struct {
	Number string    `json:"number"`
	Braces []string  `json:"braces"` // none: all
	Until  face.Time `json:"until"`
}

// Brace is one brace.
type Brace struct {
	Name     string    `json:"name"`
	AtM      float64   `json:"at_m"`
	State    string    `json:"state"`
	MayStrip bool      `json:"may_strip"`
	Earliest face.Time `json:"earliest"`
	Likely   face.Time `json:"likely"` // expected, where no earliest is sure
	Waits    string    `json:"waits"`
	Governs  string    `json:"governs"`
	Permit   string    `json:"permit"` // number of one that covers it
}

// Alert is one that stands, or ought to, or that ended within a day and nobody
// has acknowledged.
type Alert struct {
	ID           string        `json:"id"` // empty: not raised yet
	Kind         string        `json:"kind"`
	Cause        string        `json:"cause"`
	Priority     string        `json:"priority"`
	State        string        `json:"state"` // of IEC 62682, as face.Alarm has it; empty: not raised yet
	Since        face.Time     `json:"since"`
	Text         string        `json:"text"`
	Acknowledged bool          `json:"acknowledged"`
	Until        face.Time     `json:"until,omitzero"`   // of a shelving, or of a time out of service
	Reason       string        `json:"reason,omitzero"`  // for it
	Told         bool          `json:"told"`             // the person who asks was told of it
	Message      string        `json:"message,omitzero"` // the last that told them by their phone
	Who          []events.Role `json:"who"`              // may answer it
}
