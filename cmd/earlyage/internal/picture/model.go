package picture

import "time"

// Wall is a wall as it stands at one moment. Stations are metres along the
// wall from its beginning, heights metres above its foot.
type Wall struct {
	Site, Name string
	State      string    // in a word; empty: not said
	At         time.Time // the moment shown
	LengthM    float64   // of the path
	Closed     bool      // its end meets its beginning
	FormTopM   float64   // the top of the form
	TopM       float64   // where the concrete is to end; 0: at the form's top
	Layers     []Layer   // later ones are drawn over earlier ones
	Openings   []Opening
	Corners    []Corner
	Bulkheads  []Bulkhead
	Pilasters  []Pilaster
	Braces     []Brace
	Fronts     []Front
	Joints     []Joint
}

// Layer is the concrete of one lift over some stations, placed evenly from FromM
// to ToM; where ToM is less, towards the beginning of the wall.
type Layer struct {
	FromM, ToM    float64
	BottomM, TopM float64
	Began         time.Time // concrete at FromM was placed; zero: not known
	Ended         time.Time // concrete at ToM was placed
}

// Opening is a window, a door or another gap.
type Opening struct {
	Name         string
	FromM, ToM   float64
	SillM, HeadM float64 // a door's sill is 0
}

// Corner is where the wall turns.
type Corner struct {
	Name string
	AtM  float64
}

// Bulkhead is a stop end in the form.
type Bulkhead struct {
	Name string
	AtM  float64
}

// Pilaster is a stretch at which the wall is thicker.
type Pilaster struct {
	Name       string
	FromM, ToM float64
}

// BraceState is what may be said of a brace.
type BraceState string

// States of a brace. Any other is drawn as not known.
const (
	BracePlanned   BraceState = "planned"
	BraceStanding  BraceState = "standing"
	BraceMayStrip  BraceState = "may strip"
	BraceStripped  BraceState = "stripped"
	BraceHeld      BraceState = "held"
	BraceDisturbed BraceState = "disturbed"
)

// Brace is one brace.
type Brace struct {
	Name  string
	AtM   float64 // under 0: not known
	State BraceState
}

// FrontState is how an open front stands against its limit.
type FrontState string

// States of a front. Any other counts as past its limit.
const (
	FrontLive      FrontState = "live"
	FrontClosing   FrontState = "closing"
	FrontPastLimit FrontState = "past limit"
)

// Front is a surface of concrete that is still to be covered: a level one at
// TopM, or, where FromM equals ToM, the end face of a lift from BottomM to TopM.
type Front struct {
	FromM, ToM    float64
	BottomM, TopM float64 // BottomM counts for an end face only
	State         FrontState
	MinutesLeft   float64 // under 0: past the limit
	Room          *Room   // nil: not known
}

// Room is what may be placed on a front.
type Room struct {
	NowM float64   // this much at once
	Full time.Time // from when a full lift may be placed; zero: now, or not known
}

// JointState is how a covered joint was left.
type JointState string

// States of a joint that was covered past its limit. Any other counts as cold.
const (
	JointCold    JointState = "cold"
	JointTreated JointState = "treated"
)

// Joint is where concrete was placed on a surface past its limit: level at
// LevelM or, where FromM equals ToM, upright from LevelM to TopM.
type Joint struct {
	Name         string // the key's; empty: it is given one
	FromM, ToM   float64
	LevelM, TopM float64 // TopM counts for an upright joint only
	State        JointState
	AgeMin       float64 // of the lower concrete when it was covered; 0: not known
	LimitMin     float64
}
