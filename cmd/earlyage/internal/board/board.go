package board

import (
	"cmp"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Board is what all pages of this package show, in plain values.
type Board struct {
	At      face.Time `json:"at"`
	Through uint64    `json:"through"`
	Level   bool      `json:"level"`
	Doubts  []string  `json:"doubts"`
	Demo    bool      `json:"demo"`
	Next    face.Time `json:"next"` // when time alone next changes something
	Sites   []Place   `json:"sites"`
	Walls   []Row     `json:"walls"`  // in order of what presses
	Alerts  []Alert   `json:"alerts"` // unanswered ones first
	Rests   []Rest    `json:"rests"`  // kinds of alert that are out of service
	Sets    []Set     `json:"sets"`   // of braces, by site, those free first
}

// Place is a site with its nights of frost.
type Place struct {
	face.Site
	Frost []Frost `json:"frost"`
}

// Row is one wall on the board. A number of 0 and a time that is not known are
// left blank.
type Row struct {
	Site  string `json:"site"`
	Wall  string `json:"wall"`
	Name  string `json:"name"`
	Crew  string `json:"crew"`
	State string `json:"state"`
	Held  bool   `json:"held"` // a person's hold stands
	Due   []Due  `json:"due"`  // what is due, what presses most first

	Joint   *Joint `json:"joint"`   // the open one that stops knitting first, or did
	Closing *Joint `json:"closing"` // the open one that closes next; nil: none is left to close
	Chute   *Load  `json:"chute"`   // the load on site, the oldest of them
	Truck   *Load  `json:"truck"`   // the next that is to come
	Waiting int    `json:"waiting"` // loads on site beside it

	SpacingPlannedMin float64   `json:"spacing_planned_min"`
	SpacingActualMin  float64   `json:"spacing_actual_min"`
	PumpM3H           float64   `json:"pump_m3_per_h"`
	NeedM3            float64   `json:"need_m3"`
	PlacedM3          float64   `json:"placed_m3"`
	OrderedM3         float64   `json:"ordered_m3"`
	ToGoM3            float64   `json:"to_go_m3"`
	BalanceAt         face.Time `json:"balance_at"`
	BalanceM3         float64   `json:"balance_m3"`
	RiseM             float64   `json:"rise_m"`       // the greatest in the last 60 minutes
	RiseLimitM        float64   `json:"rise_limit_m"` // in 60 minutes

	Window   Window `json:"window"`
	Standing int    `json:"standing"` // braces
	MayStrip int    `json:"may_strip"`
	Alerts   int    `json:"alerts"`   // that stand
	Open     int    `json:"open"`     // of them: nobody has answered
	Worst    string `json:"worst"`    // priority of the most pressing of the open ones
	First    string `json:"first"`    // its kind
	FirstID  string `json:"first_id"` // and its id
}

// Window is the wall's cure window.
type Window struct {
	Open     bool          `json:"open"`
	Since    face.Time     `json:"since"`    // since when it is open
	Overdue  face.Time     `json:"overdue"`  // from when braces still standing are overdue
	Earliest face.Time     `json:"earliest"` // when all criteria surely are met; unknown where something must still be done
	CuredAt  face.Time     `json:"cured_at"`
	Expected face.Expected `json:"expected"` // of CuredAt
	Governs  string        `json:"governs"`
	Short    []string      `json:"short"` // the criteria that are not met
}

// Joint is an open surface of concrete.
type Joint struct {
	FromM    float64   `json:"from_m"`
	ToM      float64   `json:"to_m"` // equal to FromM: the end of a lift
	TopM     float64   `json:"top_m"`
	Placed   face.Time `json:"placed"`
	Deadline face.Time `json:"deadline"`
	LimitMin float64   `json:"limit_min"`
	State    string    `json:"state"`
}

// same reports whether two joints are one.
func (j Joint) same(o *Joint) bool { return o != nil && j == *o }

// link is the address of the wall's page.
func (r Row) link() string { return "/walls/" + r.Site + "/" + r.Wall }

// Load is a truckload.
type Load struct {
	Name     string    `json:"name"`
	State    string    `json:"state"`
	Batched  face.Time `json:"batched"`
	Limit    face.Time `json:"limit"` // from when it is too old
	Expected face.Time `json:"expected"`
	VolumeM3 float64   `json:"volume_m3"`
}

// Make turns a picture of the record into a board.
func Make(in Input) Board {
	b := Board{
		At: face.Time{Time: in.At}, Through: in.Through, Level: in.Level, Doubts: slices.Clone(in.Doubts), Demo: in.Demo,
		Sites: []Place{}, Walls: make([]Row, 0, len(in.Walls)), Alerts: []Alert{}, Rests: restsOf(in), Sets: []Set{},
	}
	sites := map[string]Site{}
	for _, s := range in.Sites {
		sites[s.Site.Site] = s
		b.Sites = append(b.Sites, Place{Site: s.Site, Frost: frosts(s, in.At)})
	}
	slices.SortFunc(b.Sites, func(x, y Place) int { return cmp.Compare(x.Site.Site, y.Site.Site) })
	b.Alerts = alerts(in)
	standing := map[scheduler.Ref][]Alert{}
	for _, a := range b.Alerts {
		if ref := (scheduler.Ref{Site: a.Site, Wall: a.Wall}); a.Answered != Returned {
			standing[ref] = append(standing[ref], a)
		}
	}
	for _, w := range in.Walls {
		a := w.Assessment
		if !a.Next.IsZero() && (b.Next.IsZero() || a.Next.Before(b.Next.Time)) {
			b.Next = face.Time{Time: a.Next}
		}
		if a.State == scheduler.StateHandedOver {
			continue
		}
		row := rowOf(w, sites[a.Site], standing[scheduler.Ref{Site: a.Site, Wall: a.Wall}], in.At)
		b.Walls = append(b.Walls, row)
		b.Sets = append(b.Sets, setsOf(w, row)...)
	}
	slices.SortFunc(b.Walls, func(x, y Row) int { return byDue(x, y, in.At) })
	slices.SortFunc(b.Sets, bySite)
	countOn(b.Sets)
	return b
}

// rowOf is one wall's row.
func rowOf(w Wall, s Site, standing []Alert, at time.Time) Row {
	a := w.Assessment
	row := Row{
		Site: a.Site, Wall: a.Wall, Name: a.Wall, State: a.State,
		SpacingPlannedMin: a.Spacing.PlannedMin, SpacingActualMin: a.Spacing.ActualMin, PumpM3H: a.Rate.PumpM3H,
		NeedM3: a.Take.NeedM3, PlacedM3: a.Take.PlacedM3, OrderedM3: a.Take.OrderedM3, ToGoM3: a.Take.ToGoM3,
		BalanceAt: face.Time{Time: a.Take.BalanceAt}, BalanceM3: a.Take.BalanceM3,
		Window: windowOf(a, s), Alerts: len(standing),
	}
	if w.State != nil {
		row.named(&w.State.Holding)
	}
	for _, f := range a.Fronts {
		row.RiseM = max(row.RiseM, f.RiseM)
	}
	if s.State != nil {
		row.RiseLimitM = float64(s.State.Policy.RiseMM) / 1000
	}
	row.Joint, row.Closing = oldest(a.Joints), closing(a.Joints)
	row.trucks(a.Loads, s)
	for _, b := range a.Braces {
		if stands(b) {
			row.Standing++
		}
		if b.MayStrip {
			row.MayStrip++
		}
	}
	for _, y := range standing {
		if y.Answered == "" {
			row.Open++
			if row.Worst == "" { // the most pressing comes first
				row.Worst, row.First, row.FirstID = y.Priority, y.Kind, y.ID
			}
		}
	}
	row.Due = dues(row, a, standing, at)
	return row
}

// named takes what people call the wall and who works on it.
func (r *Row) named(h *wall.Holding) {
	r.Name, r.Crew = cmp.Or(h.Name, r.Name), h.Crew
	for _, held := range h.Holds {
		r.Held = r.Held || held.Released == 0
	}
}

// windowOf is the wall's window as the assessment has it.
func windowOf(a scheduler.Assessment, s Site) Window {
	w := Window{
		Open: a.Strip.Open, Since: face.Time{Time: a.Strip.OpenedAt}, Earliest: face.Time{Time: a.Strip.Earliest}, CuredAt: face.Time{Time: a.Strip.CuredAt},
		Expected: face.FromAssessment(a).Strip.Expected, Governs: a.Strip.Governs, Short: []string{},
	}
	if s.State != nil && a.Strip.Open && !a.Strip.OpenedAt.IsZero() {
		w.Overdue = face.Time{Time: a.Strip.OpenedAt.Add(time.Duration(s.State.Policy.OverdueS) * time.Second)}
	}
	for _, c := range a.Strip.Criteria {
		if !c.Met {
			w.Short = append(w.Short, c.Name)
		}
	}
	return w
}

// oldest is the open joint that stops knitting first, or did; nil: none is open.
func oldest(joints []scheduler.Joint) *Joint {
	return firstOf(joints, func(j scheduler.Joint) bool { return j.State != scheduler.JointCold })
}

// closing is the open joint that closes next; nil: none is left to close.
func closing(joints []scheduler.Joint) *Joint {
	return firstOf(joints, func(j scheduler.Joint) bool {
		return j.State != scheduler.JointCold && j.State != scheduler.JointPastLimit
	})
}

// firstOf is the joint with the first deadline of those that are looked for.
func firstOf(joints []scheduler.Joint, look func(scheduler.Joint) bool) *Joint {
	var first *scheduler.Joint
	for i, j := range joints {
		if look(j) && (first == nil || sooner(j.Deadline, first.Deadline)) {
			first = &joints[i]
		}
	}
	if first == nil {
		return nil
	}
	return &Joint{
		FromM: first.FromM, ToM: first.ToM, TopM: first.TopM, Placed: face.Time{Time: first.Placed},
		Deadline: face.Time{Time: first.Deadline}, LimitMin: first.LimitMin, State: first.State,
	}
}

// trucks finds the load on site and the one that comes next.
func (r *Row) trucks(loads []scheduler.Load, s Site) {
	limit := time.Duration(0)
	if s.State != nil {
		limit = time.Duration(s.State.Policy.LoadS) * time.Second
	}
	for _, l := range loads {
		switch l.State {
		case scheduler.LoadArrived:
			r.Waiting++
			if r.Chute == nil || sooner(l.Batched, r.Chute.Batched.Time) {
				r.Chute = loadOf(l, limit)
			}
		case scheduler.LoadOrdered, scheduler.LoadOnTheRoad:
			if r.Truck == nil || sooner(l.Expected, r.Truck.Expected.Time) {
				r.Truck = loadOf(l, limit)
			}
		}
	}
	r.Waiting = max(0, r.Waiting-1)
}

// sooner reports whether a moment comes before another; what is not known comes
// last.
func sooner(x, y time.Time) bool {
	return !x.IsZero() && (y.IsZero() || x.Before(y))
}

func loadOf(l scheduler.Load, limit time.Duration) *Load {
	out := &Load{Name: l.Name, State: l.State, Batched: face.Time{Time: l.Batched}, Expected: face.Time{Time: l.Expected}, VolumeM3: l.VolumeM3}
	if !l.Batched.IsZero() && limit > 0 {
		out.Limit = face.Time{Time: l.Batched.Add(limit)}
	}
	return out
}

// Narrow leaves of a board what is in sight.
func (b Board) Narrow(sees func(site string) bool) Board {
	b.Sites = kept(b.Sites, func(p Place) bool { return sees(p.Site.Site) })
	b.Walls = kept(b.Walls, func(r Row) bool { return sees(r.Site) })
	b.Alerts = kept(b.Alerts, func(a Alert) bool { return sees(a.Site) })
	b.Rests = kept(b.Rests, func(r Rest) bool { return sees(r.Site) })
	b.Sets = kept(b.Sets, func(s Set) bool { return sees(s.Site) })
	return b
}

func kept[T any](all []T, keep func(T) bool) []T {
	out := make([]T, 0, len(all))
	for _, x := range all {
		if keep(x) {
			out = append(out, x)
		}
	}
	return out
}
