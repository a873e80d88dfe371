package scheduler

import (
	"fmt"
	"time"

	"earlyage/events"
)

// Rules is the version of the rule set. Every statement and alert carries it.
const Rules = "earlyage-rules-2"

// Caution stands wherever a time to strip is shown.
const Caution = "A guide for planning and records. The engineer of record, the forms' documentation and the local code govern. " +
	"Do not strip a wall that a competent person has not examined."

// The criteria of the cure window, in the order of the sheet.
const (
	Complete    = "complete"
	Floor       = "floor"
	Temperature = "temperature"
	Strength    = "strength"
	Frost       = "frost"
	Support     = "support"
	Wind        = "wind"
	Straight    = "straight"
	Hold        = "hold"
	Permit      = "permit"
)

// Layers of criteria.
const (
	LayerCured    = "cured"
	LayerStanding = "standing"
)

// States of a wall.
const (
	StatePlanned    = "planned"   // laid out, no concrete
	StatePlacing    = "placing"   // concrete, not finished
	StateCuring     = "curing"    // finished, the window is shut
	StateMayStrip   = "may-strip" // the window is open
	StateStripped   = "stripped"  // all braces are off
	StateHandedOver = "handed-over"
)

// Assessment is all that can be said of one wall at one moment. It is a pure
// function of the record and the moment. Times are UTC; a zero time is unknown.
type Assessment struct {
	Site, Wall string
	At         time.Time
	State      string
	Strip      Strip
	Braces     []BraceWindow // in order of station
	Joints     []Joint
	Fronts     []Front // what waits for concrete, in order of station
	Rate       Rate
	Pressure   Pressure
	Loads      []Load // in order of first mention
	Spacing    Spacing
	Take       Take
	Faces      []FaceWindow // of a form that comes off
	Checks     []CheckList
	Permits    []PermitState // to strip, that somebody may hold, in order of the record
	Basis      Basis
	Open       []string  // open points that are no alerts, in the order of the work
	Alerts     []Alert   // the alerts that ought to stand, in order of kind and cause
	Nearing    []Alert   // inside the deadband: they keep a standing alert, and raise none
	Next       time.Time // when time alone next changes the answer; zero: never
}

// Strip is the cure window of the wall.
type Strip struct {
	Open     bool
	CuredAt  time.Time // when the last cured criterion was met
	Earliest time.Time // when the last of all criteria was or will surely be met
	Expected Expected
	Governs  string
	Criteria []Criterion
	OpenedAt time.Time // when the window opened, if open
}

// States of a brace.
const (
	BracePlanned   = "planned"
	BraceStanding  = "standing"
	BraceMayStrip  = "may-strip"
	BraceStripped  = "stripped"
	BraceDisturbed = "disturbed" // it stands, and has to be inspected
)

// BraceWindow is the cure window of one brace: of the concrete that it answers
// for, from the next standing brace on one side to the next on the other.
type BraceWindow struct {
	Name       string
	AtM        float64
	FromM, ToM float64 // its reach, ends included; on a closed wall FromM may be the greater
	ClockZero  time.Time
	State      string
	Strip      Strip
	MayStrip   bool   // its own window and both neighbours' are open
	Waits      string // why not, in words; empty if it may

	beside string // what its neighbours wait for
}

// Expected is what forecasts and models say of CuredAt. It opens nothing.
type Expected struct{ Early, Likely, Late time.Time }

// Criterion is one line of the window.
type Criterion struct {
	Name  string
	Layer string
	Met   bool
	MetAt time.Time // zero: not met, and no time at which time alone will meet it is sure
	Have  string    // formatted without unit
	Need  string
	Unit  string
	Note  string
}

// Joint states.
const (
	JointLive      = "live"
	JointClosing   = "closing"
	JointPastLimit = "past-limit"
	JointCold      = "cold"
)

// Joint is a surface of concrete that is open, or was covered past its limit.
type Joint struct {
	FromM, ToM, TopM   float64   // of the end face of a lift: its station twice, and its foot
	HeadM              float64   // of the end face of a lift: its top; else as TopM, or 0 while open
	Placed             time.Time // the earlier plausible time
	Deadline           time.Time
	AgeMin, LimitMin   float64
	State              string
	LimitBy            string // which rule set the limit
	Treated            bool
	CoveredBySeq       uint64 // of a cold joint: stream sequence of the lift that covered it
	LowerSeq, LowerIdx uint64 // identifies the joint in the record
}

// Nose reports whether the joint is the vertical end face of a lift.
func (j Joint) Nose() bool { return j.FromM == j.ToM }

// Where names the joint's place for people.
func (j Joint) Where() string {
	if j.Nose() {
		return fmt.Sprintf("%.1f m, the end of a lift, %.2f to %.2f m high", j.FromM, j.TopM, j.HeadM)
	}
	return fmt.Sprintf("%.1f to %.1f m at %.2f m", j.FromM, j.ToM, j.TopM)
}

// Alert is one that ought to stand.
type Alert struct {
	Kind     string // a key of AlertKinds
	Cause    string // distinguishes alerts of one kind on one wall; stable while the condition lasts
	Priority string // urgent, high, medium, low
	Since    time.Time
	Text     string
	About    *events.About // the same as numbers; nil: there are none
	Near     bool          // inside the deadband, on the good side of the limit: it keeps a standing alert and raises none
}
