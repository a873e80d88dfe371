package board

import (
	"cmp"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/scheduler"
)

// The ranks of what is due, the first first.
const (
	RankJoints  = iota // a joint that is closing or past its limit
	RankPeople         // forms and people
	RankOpen           // a joint that stays open for a while, and how concrete is placed
	RankLoads          // loads
	RankWindows        // windows, and the record
	RankNothing        // nothing is due
)

// Kinds of what is due.
const (
	DueJoint   = "joint"   // concrete has to cover a joint
	DueAlert   = "alert"   // somebody has to answer an alert
	DueChute   = "chute"   // a load on site gets too old
	DueTruck   = "truck"   // the next load comes
	DueBatch   = "batch"   // last moment to batch a load that still covers a joint
	DueBalance = "balance" // last moment to order the rest
	DueWindow  = "window"  // the window is expected to open
	DueWaits   = "waits"   // cured, and something must still be done or said
	DueStrip   = "strip"   // the window is open: the braces may come off
)

// Due is one thing that is due on a wall. A time that is not known comes last in
// its rank.
type Due struct {
	Rank int       `json:"rank"`
	Kind string    `json:"kind"`
	At   face.Time `json:"at"`
	Name string    `json:"name"` // of the load, the alert's kind, the joint's state, or the criterion
	M3   float64   `json:"m3"`   // of the balance
}

// ranks says where what an alert asks for belongs. What concerns forms and people
// is everything that is not named here.
var ranks = map[string]int{
	scheduler.AlertJointClosing:    RankOpen,
	scheduler.AlertJointAtRisk:     RankOpen,
	scheduler.AlertJointCold:       RankOpen,
	scheduler.AlertNotVibrated:     RankOpen,
	scheduler.AlertStopMisplaced:   RankOpen,
	scheduler.AlertChecksOpen:      RankOpen,
	scheduler.AlertLoadOld:         RankLoads,
	scheduler.AlertLoadTemperature: RankLoads,
	scheduler.AlertLoadSlump:       RankLoads,
	scheduler.AlertBraceOverdue:    RankWindows,
	scheduler.AlertWindowLater:     RankWindows,
	scheduler.AlertProbeSilent:     RankWindows,
	scheduler.AlertFrostAhead:      RankWindows,
	scheduler.AlertFrozen:          RankWindows,
	scheduler.AlertRecordGap:       RankWindows,
	scheduler.AlertClockDoubtful:   RankWindows,
	scheduler.AlertEventRefused:    RankWindows,
	scheduler.AlertStreamHole:      RankWindows,
	scheduler.AlertStreamShort:     RankWindows,
}

// rankOf says where what an alert asks for belongs. How concrete is placed presses
// while it is: after that it is a matter of the window.
func rankOf(kind, state string) int {
	rank := ranks[kind]
	switch {
	case state == scheduler.StatePlacing:
	case rank == RankOpen, kind == scheduler.AlertSillUnfilled, kind == scheduler.AlertOpeningUneven:
		return RankWindows
	}
	return cmp.Or(rank, RankPeople)
}

// dues lists what is due on a wall, in order.
func dues(r Row, a scheduler.Assessment, standing []Alert, at time.Time) []Due {
	out := []Due{}
	joint := func(j Joint) {
		rank := RankJoints
		if j.State == scheduler.JointLive {
			rank = RankOpen
		}
		out = append(out, Due{Rank: rank, Kind: DueJoint, Name: j.State, At: j.Deadline})
	}
	if r.Closing != nil {
		joint(*r.Closing)
	}
	if r.Joint != nil && r.Joint.State == scheduler.JointPastLimit {
		joint(*r.Joint)
	}
	for _, y := range standing {
		if y.Answered == "" {
			out = append(out, Due{Rank: rankOf(y.Kind, r.State), Kind: DueAlert, Name: y.Kind, At: y.Respond})
		}
	}
	if r.State == scheduler.StatePlacing || r.State == scheduler.StatePlanned {
		out = append(out, loadDues(r, a.Fronts, at)...)
	}
	if d, ok := windowDue(r, at); ok {
		out = append(out, d)
	}
	slices.SortFunc(out, func(x, y Due) int { return x.compare(y, at) })
	return out
}

// loadDues lists what is due of the loads.
func loadDues(r Row, fronts []scheduler.Front, at time.Time) (out []Due) {
	if r.Chute != nil && !r.Chute.Limit.IsZero() {
		out = append(out, Due{Rank: RankLoads, Kind: DueChute, Name: r.Chute.Name, At: r.Chute.Limit})
	}
	if r.Truck != nil {
		out = append(out, Due{Rank: RankLoads, Kind: DueTruck, Name: r.Truck.Name, At: r.Truck.Expected})
	}
	if by := batchBy(fronts, at); !by.IsZero() {
		out = append(out, Due{Rank: RankLoads, Kind: DueBatch, At: face.Time{Time: by}})
	}
	if !r.BalanceAt.IsZero() {
		out = append(out, Due{Rank: RankLoads, Kind: DueBalance, At: r.BalanceAt, M3: r.BalanceM3})
	}
	return out
}

// batchBy is the next moment at which a load has to be batched for a joint. One
// that has gone by is an alert's matter.
func batchBy(fronts []scheduler.Front, at time.Time) (by time.Time) {
	for _, f := range fronts {
		if !f.BatchBy.Before(at) && sooner(f.BatchBy, by) {
			by = f.BatchBy
		}
	}
	return by
}

// windowDue says when a wall's window is to open, or what its braces wait for.
func windowDue(r Row, at time.Time) (Due, bool) {
	w := r.Window
	switch {
	case r.State == scheduler.StateMayStrip:
		return Due{Rank: RankWindows, Kind: DueStrip, At: w.Overdue}, true
	case r.State != scheduler.StateCuring:
		return Due{}, false
	case w.Earliest.After(at):
		return Due{Rank: RankWindows, Kind: DueWindow, Name: w.Governs, At: w.Earliest}, true
	case w.CuredAt.IsZero() && !w.Expected.Likely.IsZero():
		return Due{Rank: RankWindows, Kind: DueWindow, Name: w.Governs, At: w.Expected.Likely}, true
	default:
		return Due{Rank: RankWindows, Kind: DueWaits, Name: w.Governs}, true
	}
}

// compare orders what is due at a moment. In one rank what happens to the wall
// comes before what people have to answer, and what can still be met before what
// cannot.
func (d Due) compare(o Due, at time.Time) int {
	return cmp.Or(cmp.Compare(d.Rank, o.Rank), cmp.Compare(truth(d.Kind == DueAlert), truth(o.Kind == DueAlert)), cmp.Compare(truth(d.gone(at)), truth(o.gone(at))),
		byTime(d.At.Time, o.At.Time), cmp.Compare(d.Kind, o.Kind), cmp.Compare(d.Name, o.Name))
}

// gone reports whether it is too late for what is due: a joint is past its limit,
// or anything else is over for more than a day.
func (d Due) gone(at time.Time) bool {
	if d.Kind == DueJoint {
		return d.Name == scheduler.JointPastLimit
	}
	return !d.At.IsZero() && at.Sub(d.At.Time) >= day
}

// day is how far off a moment is when it is named and no longer counted to.
const day = 24 * time.Hour

// byTime puts the earlier first and what is not known last.
func byTime(x, y time.Time) int {
	switch {
	case x.IsZero() || y.IsZero():
		return cmp.Compare(truth(x.IsZero()), truth(y.IsZero()))
	default:
		return x.Compare(y)
	}
}

func truth(b bool) int {
	if b {
		return 1
	}
	return 0
}

// press is what presses most on a wall: it says where the wall stands on the board.
func (r Row) press() Due {
	if len(r.Due) == 0 {
		return Due{Rank: RankNothing}
	}
	return r.Due[0]
}

// next is what is due next on a wall, as its row says it. While concrete is placed
// that is what happens to the concrete: a joint first, and never the time to answer
// an alert, which stands in a column of its own. False: nothing is due.
func (r Row) next() (Due, bool) {
	if r.State == scheduler.StatePlacing {
		for _, is := range []func(Due) bool{
			func(d Due) bool { return d.Kind == DueJoint },
			func(d Due) bool { return d.Kind != DueAlert },
		} {
			if i := slices.IndexFunc(r.Due, is); i >= 0 {
				return r.Due[i], true
			}
		}
	}
	return r.press(), len(r.Due) > 0
}

// jointOf is the joint that something due speaks of; nil: it speaks of none.
func (r Row) jointOf(d Due) *Joint {
	switch {
	case d.Kind != DueJoint:
		return nil
	case d.Name == scheduler.JointPastLimit:
		return r.Joint
	}
	return r.Closing
}

// byDue is the order of the board at a moment.
func byDue(x, y Row, at time.Time) int {
	return cmp.Or(x.press().compare(y.press(), at), cmp.Compare(stateOrder(x.State), stateOrder(y.State)),
		cmp.Compare(x.Site, y.Site), cmp.Compare(x.Wall, y.Wall))
}

// stateOrder is the order of a pour.
func stateOrder(state string) int {
	return slices.Index([]string{scheduler.StatePlacing, scheduler.StateCuring, scheduler.StateMayStrip, scheduler.StatePlanned, scheduler.StateStripped}, state)
}
