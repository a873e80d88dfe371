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
	out.Braces = k.braceWindows(out.Joints, &out)
	k.place(&out, acc, c)
	out.Alerts, out.Open = k.alerts(&out, acc, c)
	if out.State == StateHandedOver {
		k.next = 0
	}
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
	a.Faces, a.Checks = k.faces(a, c.cured[0].ruling, acc), k.checkLists(a)
}

// criteria are the lines of the window at the look's moment.
type criteria struct {
	cured    []named
	standing []named // support, wind, straight, hold
	permit   named
	steady   int64 // when all but the wind was met; 0: not
}

func (k *look) judge(acc *account, joints []Joint) criteria {
	c := criteria{
		cured:    []named{{Complete, k.complete()}, {Floor, k.floor()}, {Temperature, k.age(acc)}, {Strength, k.strength(acc)}, {Frost, k.frost(acc)}},
		standing: []named{{Support, k.support()}, {Wind, k.wind()}, {Straight, k.straight()}, {Hold, k.hold(joints)}},
	}
	before := slices.Concat(c.cured, []named{c.standing[0], c.standing[2]})
	c.permit = named{Permit, k.permit(metAt(before))}
	if lasting := append(before, c.standing[3], c.permit); allMet(lasting) {
		c.steady = metAt(lasting)
	}
	return c
}

func (c *criteria) all() []named { return slices.Concat(c.cured, c.standing, []named{c.permit}) }

// window puts the criteria together.
func (k *look) window(c criteria, acc *account) (st Strip) {
	all := c.all()
	for i, n := range all {
		layer := LayerCured
		if i >= len(c.cured) {
			layer = LayerStanding
		}
		st.Criteria = append(st.Criteria, Criterion{Name: n.name, Layer: layer, Met: n.met, MetAt: moment(n.at), Have: n.have, Need: n.need, Unit: n.unit, Note: n.note})
	}
	if allMet(c.cured) {
		st.CuredAt = moment(metAt(c.cured))
	}
	st.Earliest = moment(metAt(all))
	if st.Open = allMet(all) && metAt(all) <= k.now; st.Open {
		st.OpenedAt = st.Earliest
	}
	early, likely, late := k.expect(acc)
	st.Expected = Expected{moment(early), moment(likely), moment(late)}
	st.Governs = k.governs(c.cured, append(slices.Clone(c.standing), c.permit), likely)
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
func (k *look) governs(cured, standing []named, likely int64) string {
	unknown := []string{Complete, Frost, Strength}
	if i := slices.IndexFunc(cured, func(n named) bool { return !n.met && slices.Contains(unknown, n.name) && !k.laterAnyway(n.name) }); i >= 0 {
		return cured[i].name
	}
	floor, age := cured[1], cured[2]
	switch {
	case !age.met && age.at == 0 && (likely == 0 || likely > floor.at):
		return Temperature
	case !floor.met || !age.met:
		return last([]named{floor, age})
	}
	if i := slices.IndexFunc(cured, func(n named) bool { return !n.met }); i >= 0 {
		return cured[i].name
	}
	if i := slices.IndexFunc(standing, func(n named) bool { return !n.met }); i >= 0 {
		return standing[i].name
	}
	return last(slices.Concat(cured, standing))
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
