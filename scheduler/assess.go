package scheduler

import (
	"slices"
	"time"

	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// Assess says all that can be said of one wall at one moment. It is pure and
// deterministic: it reads the record and the moment, never the hub's own words.
// The states are only read, and must not be added to meanwhile.
func Assess(s *site.State, d *site.Devices, w *wall.State, hub Hub, now time.Time) Assessment {
	k := lookAt(s, d, w, hub, now)
	out := Assessment{Site: w.Site, Wall: w.Wall, At: time.UnixMilli(k.now).UTC()}
	out.Joints = k.joints()
	acc := k.account()
	c := k.judge(acc, out.Joints)
	out.Strip = k.window(c, acc)
	out.State = k.state(&out)
	if out.State == StateHandedOver {
		out.Braces = k.plainBraces()
	} else {
		out.Braces = k.braceWindows(out.Joints)
	}
	k.place(&out, acc, c)
	out.Permits = k.permitStates()
	out.Basis = k.basis(acc)
	if out.State == StateHandedOver {
		k.next = 0
	}
	out.Alerts, out.Open = k.alerts(&out, acc, c)
	out.Next = moment(k.next)
	return out
}

// place looks at the placing: what waits for concrete, what presses on the form
// and what comes, the form's faces and the check lists.
func (k *look) place(a *Assessment, acc *account, c criteria) {
	if a.State == StateHandedOver {
		return
	}
	a.Fronts, a.Rate, a.Pressure = k.fronts(), k.rate(), k.pressure()
	a.Loads, a.Spacing, a.Take = k.loads(), k.spacing(), k.take(a.Rate)
	a.Faces, a.Checks = k.faces(a, c.list[atComplete].ruling, acc), k.checkLists(a)
}

// criteria are the lines of the window at the look's moment.
type criteria struct {
	list   []named // in the order of the sheet
	steady int64   // when all but the wind was met; 0: not
}

// Places of criteria in the list.
const (
	atComplete = 0
	atCured    = 5 // how many are of the cured layer
	atSupport  = 5
	atStraight = 7
	atPermit   = 9
)

func (c *criteria) cured() []named { return c.list[:atCured] }

// beforePermit are all but the permit itself.
func (c *criteria) beforePermit() []named { return c.list[:atPermit] }

func (k *look) judge(acc *account, joints []Joint) criteria {
	c := criteria{list: k.beforePermit(acc, joints)}
	opens := latest(metAt(c.cured()), c.list[atSupport].at, c.list[atStraight].at)
	c.list = append(c.list, named{Permit, k.permit(c.list, joints)})
	steady := true
	for _, n := range c.list {
		steady = steady && (n.met || n.name == Wind)
	}
	if steady {
		c.steady = latest(opens, c.list[atStraight+1].at, c.list[atPermit].at)
	}
	return c
}

// beforePermit judges criteria 1 to 9, with room for the last.
func (k *look) beforePermit(acc *account, joints []Joint) []named {
	list := make([]named, 0, atPermit+1)
	return append(list, named{Complete, k.complete()}, named{Floor, k.floor()}, named{Temperature, k.age(acc)}, named{Strength, k.strength(acc)}, named{Frost, k.frost(acc)},
		named{Support, k.support()}, named{Wind, k.wind()}, named{Straight, k.straight()}, named{Hold, k.hold(joints)})
}

// latest is the last of some moments; 0 if one of them is not known.
func latest(moments ...int64) int64 {
	if slices.Contains(moments, 0) {
		return 0
	}
	return slices.Max(moments)
}

// window puts the criteria together.
func (k *look) window(c criteria, acc *account) (st Strip) {
	st.Criteria = make([]Criterion, len(c.list))
	for i, n := range c.list {
		layer := LayerCured
		if i >= atCured {
			layer = LayerStanding
		}
		st.Criteria[i] = Criterion{Name: n.name, Layer: layer, Met: n.met, MetAt: moment(n.at), Have: n.have, Need: n.need, Unit: n.unit, Note: n.note}
	}
	if allMet(c.cured()) {
		st.CuredAt = moment(metAt(c.cured()))
	}
	last := metAt(c.list)
	st.Earliest = moment(last)
	if st.Open = allMet(c.list) && last <= k.now; st.Open {
		st.OpenedAt = st.Earliest
	}
	early, likely, late := k.expect(acc)
	st.Expected = Expected{moment(early), moment(likely), moment(late)}
	st.Governs = k.governs(c.list, likely)
	return st
}

type named struct {
	name string
	ruling
}

func allMet(list []named) bool {
	return !slices.ContainsFunc(list, func(n named) bool { return !n.met })
}

// metAt is when the last of them was or will surely be met; 0 if one is not known.
func metAt(list []named) int64 {
	var last int64
	for _, n := range list {
		if n.at == 0 {
			return 0
		}
		last = max(last, n.at)
	}
	return last
}

// governs names the criterion that the window waits for, or the last that was met.
// What time does not bring about comes first, then time and temperature, then the
// rest of the cured layer, and what holds the wall up today at the end.
func (k *look) governs(list []named, likely int64) string {
	for _, n := range list[:atCured] {
		if !n.met && (n.name == Complete || n.name == Frost || n.name == Strength) && !k.laterAnyway(n.name) {
			return n.name
		}
	}
	floor, age := list[1], list[2]
	switch {
	case !age.met && age.at == 0 && (likely == 0 || likely > floor.at):
		return Temperature
	case !floor.met || !age.met:
		return last(list[1:3])
	}
	if i := slices.IndexFunc(list, func(n named) bool { return !n.met }); i >= 0 {
		return list[i].name
	}
	return last(list)
}

// laterAnyway reports whether a criterion is met by the ordinary course of things
// before time and temperature are: a strength that is tested at the end.
func (k *look) laterAnyway(name string) bool { return name == Strength && k.policy.MPa100 > 0 }

func last(list []named) string {
	best := list[0]
	for _, n := range list[1:] {
		if n.at > best.at {
			best = n
		}
	}
	return best.name
}

func (k *look) state(a *Assessment) string {
	p, h := &k.wall.Pour, &k.wall.Holding
	switch {
	case h.HandedOver != 0 && k.past(h.HandedOver):
		return StateHandedOver
	case len(h.Strips) > 0 && h.AllStripped():
		return StateStripped
	case len(p.Lifts) == 0 && p.Started == 0:
		return StatePlanned
	case p.Finished == 0 || !k.past(p.Finished):
		return StatePlacing
	case a.Strip.Open:
		return StateMayStrip
	default:
		return StateCuring
	}
}
