package board

import (
	"cmp"
	"math"
	"strconv"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/scheduler"
	"earlyage/scheduler/concrete/unit"
)

// Cell is what stands in one place of the board. A page counts by the hub's clock
// to or from At, by itself: it subtracts and does nothing else.
type Cell struct {
	Text  string `json:"t,omitzero"`
	State string `json:"s,omitzero"` // the mark and colour beside the words
	At    int64  `json:"u,omitzero"` // Unix ms
	Way   string `json:"r,omitzero"` // how it is counted
	Link  string `json:"h,omitzero"`
}

// Ways to count.
const (
	wayDown = "d" // minutes left, rounded down
	wayUp   = "u" // minutes left until a time to strip, rounded up
	wayAge  = "a" // minutes since, rounded up
)

// States of a cell, as in the style sheet.
const (
	markPlacing = "placing"
	markCuring  = "curing"
	markWatch   = "watch"
	markHold    = "hold"
	markDone    = "done"
	markNoLink  = "nolink"
	markPlanned = "planned"
	markOff     = "off"
)

// The places of a row, in the order of slotNames.
const (
	slotLeft = iota
	slotClock
	slotWhat
	slotName
	slotPlace
	slotCrew
	slotState
	slotRise
	slotJoint
	slotLimit
	slotWhere
	slotLoad
	slotAge
	slotTruck
	slotSpacing
	slotPump
	slotPlaced
	slotToGo
	slotBalance
	slotWindow
	slotRange
	slotGoverns
	slotAlerts
	slotBraces
	slots
)

var slotNames = [slots]string{
	"left", "clock", "what", "name", "place", "crew", "state", "rise", "joint", "limit", "where", "load", "age", "truck",
	"spacing", "pump", "placed", "togo", "balance", "window", "range", "governs", "alerts", "braces",
}

// Cells are those of one wall, and what it can be filtered by.
type Cells struct {
	ID                string
	Site, Crew, State string
	Slots             [slots]Cell
}

// drawn is a board in one language, for one sight.
type drawn struct {
	rows  []Cells
	at    map[string]int // place in rows, by id
	head  string         // what is wrong with the record; empty: nothing
	open  int            // alerts that nobody has answered
	sites []named
	first [glances]Cell // what closes first, of all walls
}

// The places of the strip over the board, in the order of glanceNames.
const (
	glanceSay = iota
	glanceWall
	glanceLeft
	glances
)

var glanceNames = [glances]string{"first-say", "first-wall", "first-left"}

type named struct{ Site, Name string }

// draw words a board.
func draw(c *words.Catalogue, b Board) *drawn {
	d := &drawn{rows: make([]Cells, 0, len(b.Walls)), at: make(map[string]int, len(b.Walls))}
	all := tongues(c, b)
	for _, s := range b.Sites {
		d.sites = append(d.sites, named{s.Site.Site, all[s.Site.Site].name})
	}
	for _, r := range b.Walls {
		t, ok := all[r.Site]
		if !ok {
			t = tongueOf(c, face.Site{Site: r.Site}, b.At.Time)
		}
		cells := t.row(r)
		d.at[cells.ID] = len(d.rows)
		d.rows = append(d.rows, cells)
	}
	for _, a := range b.Alerts {
		if a.Answered == "" {
			d.open++
		}
	}
	d.head = doubts(c, b)
	d.first = glance(c, b, all)
	return d
}

// glance says which joint of all walls closes first; where none is left to close,
// which was past its limit last.
func glance(c *words.Catalogue, b Board, all map[string]tongue) (out [glances]Cell) {
	var first, past *Row
	for i := range b.Walls {
		r := &b.Walls[i]
		if r.Closing != nil && (first == nil || sooner(r.Closing.Deadline.Time, first.Closing.Deadline.Time)) {
			first = r
		}
		if r.Joint != nil && r.Closing == nil && (past == nil || r.Joint.Deadline.After(past.Joint.Deadline.Time)) {
			past = r
		}
	}
	put := func(r *Row, j Joint, say, when string) {
		t, ok := all[r.Site]
		if !ok {
			t = tongueOf(c, face.Site{Site: r.Site}, b.At.Time)
		}
		clock := t.down(j.Deadline) + " " + t.short()
		out[glanceSay] = Cell{Text: c.T(say), State: cmp.Or(jointMarks[j.State], markPlacing)}
		out[glanceWall] = Cell{Text: c.T(when, "site", t.name, "wall", r.Name, "where", t.where(j), "when", clock), Link: r.link()}
	}
	switch {
	case first != nil:
		j := *first.Closing
		put(first, j, "board.glance.first", "board.glance.at")
		out[glanceLeft] = Cell{At: j.Deadline.UnixMilli(), Way: wayDown}
	case past != nil:
		put(past, *past.Joint, "board.glance.past", "board.glance.since")
	default:
		out[glanceSay] = Cell{Text: c.T("board.glance.none")}
	}
	return out
}

// doubts says what is wrong with the record or the hub.
func doubts(c *words.Catalogue, b Board) string {
	switch {
	case len(b.Doubts) > 0:
		return strings.Join(b.Doubts, "; ")
	case !b.Level:
		return c.T("board.not-level")
	}
	return ""
}

// row words one wall.
func (t tongue) row(r Row) Cells {
	c := Cells{ID: "w." + r.Site + "." + r.Wall, Site: r.Site, Crew: r.Crew, State: r.State}
	s := &c.Slots
	s[slotName] = Cell{Text: r.Name, Link: r.link()}
	s[slotPlace] = Cell{Text: t.name}
	s[slotCrew] = Cell{Text: r.Crew}
	s[slotState] = t.state(r)
	t.next(s, r)
	switch r.State {
	case scheduler.StatePlacing, scheduler.StatePlanned:
		t.pour(s, r)
	case scheduler.StateCuring, scheduler.StateMayStrip:
		t.window(s, r)
	}
	s[slotAlerts] = t.alerts(r)
	s[slotBraces] = t.braces(r)
	return c
}

// stateMarks are the marks of a wall's states.
var stateMarks = map[string]string{
	scheduler.StatePlanned: markPlanned, scheduler.StatePlacing: markPlacing, scheduler.StateCuring: markCuring,
	scheduler.StateMayStrip: markDone, scheduler.StateStripped: markOff,
}

func (t tongue) state(r Row) Cell {
	if r.Held {
		return Cell{Text: t.T("board.held", "state", t.T("state."+r.State)), State: markHold}
	}
	return Cell{Text: t.T("state." + r.State), State: stateMarks[r.State]}
}

// next words what is due next: how long, when, and what.
func (t tongue) next(s *[slots]Cell, r Row) {
	d, ok := r.next()
	if !ok {
		return
	}
	s[slotWhat] = Cell{Text: t.what(r, d)}
	way, clock := wayDown, t.down
	if d.Rank == RankWindows && d.Kind != DueAlert && d.Kind != DueStrip {
		way, clock = wayUp, t.up
	}
	s[slotLeft] = Cell{State: t.mark(d)}
	left := &s[slotLeft]
	switch when := clock(d.At) + " " + t.short(); {
	case d.At.IsZero():
		left.Text = t.T("board.no-time")
	case d.gone(t.at):
		left.Text = t.T("board.since", "when", when)
	case d.At.Sub(t.at) >= day:
		left.Text = when
	default:
		left.At, left.Way = d.At.UnixMilli(), way
		s[slotClock] = Cell{Text: when}
	}
}

// mark is the mark of what is due.
func (t tongue) mark(d Due) string {
	over := !d.At.IsZero() && d.At.Before(t.at)
	switch d.Kind {
	case DueWindow, DueWaits:
		return markCuring
	case DueJoint:
		return jointMarks[d.Name]
	case DueAlert:
		return alertMark(scheduler.AlertKinds[d.Name].Priority)
	case DueStrip:
		if !over {
			return markDone
		}
	}
	if over && d.Kind != DueTruck {
		return markWatch
	}
	return ""
}

var jointMarks = map[string]string{scheduler.JointClosing: markWatch, scheduler.JointPastLimit: markHold}

// alertMark is the mark of an alert that nobody has answered.
func alertMark(priority string) string {
	switch priority {
	case scheduler.Medium, scheduler.Low:
		return markWatch
	}
	return markHold
}

// what words what is due.
func (t tongue) what(r Row, d Due) string {
	switch d.Kind {
	case DueJoint:
		return t.T("board.due.joint."+d.Name, "where", t.where(*r.jointOf(d)))
	case DueAlert:
		return t.T("board.due.alert", "alert", t.alert(d.Name))
	case DueBalance:
		return t.T("board.due.balance", "m", t.tenths(unit.Volume, d.M3)+" "+t.symbol(unit.Volume))
	case DueStrip:
		if d.At.Before(t.at) {
			return t.T("board.due.strip-over")
		}
		return t.T("board.due.strip")
	case DueWaits:
		if r.Window.CuredAt.IsZero() {
			return t.T("board.due.no-time", "what", t.criterion(d.Name))
		}
		return t.T("board.due.waits", "what", cmp.Or(t.criterion(d.Name), t.lacking(r)))
	}
	return t.T("board.due."+d.Kind, "name", d.Name, "what", t.criterion(d.Name))
}

// lacking names what is not met yet, at most two of it.
func (t tongue) lacking(r Row) string {
	var names []string
	for _, c := range r.Window.Short {
		names = append(names, t.criterion(c))
	}
	if len(names) > 2 {
		return t.T("board.and-more", "what", strings.Join(names[:2], ", "), "n", len(names)-2)
	}
	return cmp.Or(strings.Join(names, ", "), t.criterion(r.Window.Governs))
}

// pour words what matters while concrete is placed.
func (t tongue) pour(s *[slots]Cell, r Row) {
	if r.RiseM > 0 && r.RiseLimitM > 0 {
		s[slotRise] = Cell{Text: t.T("board.rise", "of", t.of(unit.Length, r.RiseM, r.RiseLimitM))}
	}
	if j := r.Joint; j != nil {
		s[slotJoint] = Cell{At: j.Placed.UnixMilli(), Way: wayAge, State: jointMarks[j.State]}
		s[slotLimit] = Cell{Text: t.T("board.of-limit", "n", math.Floor(j.LimitMin))}
		if d, _ := r.next(); !j.same(r.jointOf(d)) {
			s[slotWhere] = Cell{Text: t.where(*j)}
		}
	}
	if l := r.Chute; l != nil {
		text := t.T("board.on-site", "name", l.Name)
		if r.Waiting > 0 {
			text = t.T("board.on-site-more", "name", l.Name, "n", r.Waiting)
		}
		s[slotLoad] = Cell{Text: text}
		if !l.Batched.IsZero() {
			s[slotAge] = Cell{At: l.Batched.UnixMilli(), Way: wayAge, State: late(l.Limit, t.at)}
		}
	}
	if l := r.Truck; l != nil {
		when := t.T("board.no-time")
		if !l.Expected.IsZero() {
			when = t.down(l.Expected)
		}
		s[slotTruck] = Cell{Text: t.T("board.truck."+l.State, "name", l.Name, "when", when)}
	}
	t.pace(s, r)
}

// late marks what is over its limit.
func late(limit face.Time, at time.Time) string {
	if !limit.IsZero() && !limit.After(at) {
		return markWatch
	}
	return ""
}

// pace words how fast the concrete comes and how much of it.
func (t tongue) pace(s *[slots]Cell, r Row) {
	switch {
	case r.SpacingActualMin > 0 && r.SpacingPlannedMin > 0:
		s[slotSpacing] = Cell{Text: t.T("board.spacing", "actual", t.minutes(r.SpacingActualMin), "planned", math.Round(r.SpacingPlannedMin))}
	case r.SpacingActualMin > 0:
		s[slotSpacing] = Cell{Text: t.T("board.spacing-actual", "actual", t.minutes(r.SpacingActualMin))}
	case r.SpacingPlannedMin > 0:
		s[slotSpacing] = Cell{Text: t.T("board.spacing-planned", "planned", t.minutes(r.SpacingPlannedMin))}
	}
	if r.PumpM3H > 0 {
		s[slotPump] = Cell{Text: t.T("board.pump", "rate", t.quantity(unit.Delivery, r.PumpM3H))}
	}
	if r.NeedM3 > 0 {
		s[slotPlaced] = Cell{Text: t.T("board.placed", "of", t.of(unit.Volume, r.PlacedM3, r.NeedM3))}
		s[slotToGo] = Cell{Text: t.T("board.to-go", "m", t.tenths(unit.Volume, r.ToGoM3), "ordered", t.tenths(unit.Volume, r.OrderedM3))}
	}
	if !r.BalanceAt.IsZero() {
		s[slotBalance] = Cell{Text: t.T("board.balance", "m", t.tenths(unit.Volume, r.BalanceM3)+" "+t.symbol(unit.Volume), "when", t.down(r.BalanceAt)), State: late(r.BalanceAt, t.at)}
	}
}

// window words when the braces may come off.
func (t tongue) window(s *[slots]Cell, r Row) {
	w := r.Window
	switch {
	case r.State == scheduler.StateMayStrip:
		s[slotWindow] = Cell{Text: t.T("board.window.open", "when", t.up(w.Since)), State: markDone}
		if !w.Overdue.IsZero() {
			s[slotRange] = Cell{Text: t.T("board.window.overdue", "when", t.down(w.Overdue)), State: late(w.Overdue, t.at)}
		}
	case w.Earliest.After(t.at):
		s[slotWindow] = Cell{Text: t.T("board.window.earliest", "when", t.up(w.Earliest))}
	case !w.CuredAt.IsZero() && !w.CuredAt.After(t.at):
		s[slotWindow] = Cell{Text: t.T("board.window.cured", "when", t.up(w.CuredAt))}
	case !w.Expected.Likely.IsZero():
		s[slotWindow] = Cell{Text: t.T("board.window.likely", "when", t.up(w.Expected.Likely))}
		s[slotRange] = Cell{Text: t.T("board.window.range", "early", t.orNone(w.Expected.Early), "late", t.orNone(w.Expected.Late))}
	default:
		s[slotWindow] = Cell{Text: t.T("board.window.none")}
	}
	if r.State == scheduler.StateCuring {
		s[slotGoverns] = Cell{Text: t.T("board.window.short", "what", t.lacking(r))}
	}
}

func (t tongue) alerts(r Row) Cell {
	link := PathAlerts + "?site=" + r.Site + "&wall=" + r.Wall
	switch {
	case r.Open > 1:
		return Cell{Text: t.T("board.alerts.more", "n", r.Open-1, "alert", t.alert(r.First)), State: alertMark(r.Worst), Link: link}
	case r.Open == 1:
		return Cell{Text: t.alert(r.First), State: alertMark(r.Worst), Link: link}
	case r.Alerts > 0:
		return Cell{Text: t.T("board.alerts.answered", "n", r.Alerts), Link: link}
	}
	return Cell{}
}

func (t tongue) braces(r Row) Cell {
	switch {
	case r.MayStrip > 0:
		return Cell{Text: t.T("board.braces.may", "n", r.MayStrip, "all", r.Standing), State: markDone}
	case r.Standing > 0:
		return Cell{Text: t.T("board.braces.stand", "n", strconv.Itoa(r.Standing))}
	}
	return Cell{}
}
