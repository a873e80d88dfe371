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
	RankJoints  = iota // joints, forms and people
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
	Name string    `json:"name"` // of the load, the alert's kind, or the criterion
	M3   float64   `json:"m3"`   // of the balance
}

// ranks says where what an alert asks for belongs. What concerns joints, forms
// and people is everything that is not named here.
var ranks = map[string]int{
	scheduler.AlertLoadOld:         RankLoads,
	scheduler.AlertLoadTemperature: RankLoads,
	scheduler.AlertLoadSlump:       RankLoads,
	scheduler.AlertBraceOverdue:    RankWindows,
	scheduler.AlertWindowLater:     RankWindows,
	scheduler.AlertProbeSilent:     RankWindows,
	scheduler.AlertFrostAhead:      RankWindows,
	scheduler.AlertFrozen:          RankWindows,
	scheduler.AlertWindHigh:        RankWindows,
	scheduler.AlertRecordGap:       RankWindows,
	scheduler.AlertClockDoubtful:   RankWindows,
	scheduler.AlertEventRefused:    RankWindows,
	scheduler.AlertStreamHole:      RankWindows,
	scheduler.AlertStreamShort:     RankWindows,
}

// whilePlacing are alerts that press while concrete is placed: after that they
// are a matter of the window.
var whilePlacing = map[string]bool{
	scheduler.AlertChecksOpen: true, scheduler.AlertNotVibrated: true, scheduler.AlertSillUnfilled: true, scheduler.AlertOpeningUneven: true,
	scheduler.AlertStopMisplaced: true, scheduler.AlertJointCold: true, scheduler.AlertJointAtRisk: true,
}

// rankOf says where what an alert asks for belongs.
func rankOf(kind, state string) int {
	if whilePlacing[kind] && state != scheduler.StatePlacing {
		return RankWindows
	}
	return ranks[kind]
}

// dues lists what is due on a wall, in order.
func dues(r Row, a scheduler.Assessment, standing []Alert, at time.Time) []Due {
	out := []Due{}
	add := func(rank int, kind, name string, t face.Time) {
		out = append(out, Due{Rank: rank, Kind: kind, Name: name, At: t})
	}
	if r.Joint != nil {
		add(RankJoints, DueJoint, r.Joint.State, r.Joint.Deadline)
	}
	for _, y := range standing {
		// A joint's own deadline says more than the time to answer its alert.
		if y.Answered == "" && (y.Kind != scheduler.AlertJointClosing || r.Joint == nil) {
			add(rankOf(y.Kind, r.State), DueAlert, y.Kind, y.Respond)
		}
	}
	if r.State == scheduler.StatePlacing || r.State == scheduler.StatePlanned {
		out = append(out, loadDues(r, a.Fronts, at)...)
	}
	if d, ok := windowDue(r, at); ok {
		out = append(out, d)
	}
	slices.SortFunc(out, Due.compare)
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

func (d Due) compare(o Due) int {
	return cmp.Or(cmp.Compare(d.Rank, o.Rank), byTime(d.At.Time, o.At.Time), cmp.Compare(d.Kind, o.Kind), cmp.Compare(d.Name, o.Name))
}

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

// first is what is due next on a wall.
func (r Row) first() Due {
	if len(r.Due) == 0 {
		return Due{Rank: RankNothing}
	}
	return r.Due[0]
}

// byDue is the order of the board.
func byDue(x, y Row) int {
	a, b := x.first(), y.first()
	return cmp.Or(cmp.Compare(a.Rank, b.Rank), byTime(a.At.Time, b.At.Time), cmp.Compare(stateOrder(x.State), stateOrder(y.State)),
		cmp.Compare(x.Site, y.Site), cmp.Compare(x.Wall, y.Wall))
}

// stateOrder is the order of a pour.
func stateOrder(state string) int {
	return slices.Index([]string{scheduler.StatePlacing, scheduler.StateCuring, scheduler.StateMayStrip, scheduler.StatePlanned, scheduler.StateStripped}, state)
}
