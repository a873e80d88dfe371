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
	out.Strip = k.window(out.Joints, acc)
	out.State = k.state(&out)
	out.Braces = k.braceWindows(out.Joints, k.now, &out)
	out.Alerts = k.alerts(&out, acc)
	if out.State == StateHandedOver {
		k.next = 0
	}
	out.Next = moment(k.next)
	return out
}

// account sums time and temperature to the present, and finds the moment at
// which time alone would meet the need by what is already known.
func (k *look) account() *account {
	a := k.accountant()
	a.relNeed = k.relationNeed()
	a.run(k.now)
	if a.out.metAt == 0 && a.zero != 0 && !a.out.pending {
		k.foresee()
	}
	return &a.out
}

// foresee asks when forecast hours alone would meet the need, so that the
// scheduler looks again at that moment. Readings that come change it.
func (k *look) foresee() {
	h := k.site.Hours
	if len(h) == 0 || h[len(h)-1].At < k.now {
		return
	}
	a := k.accountant()
	a.run(min(h[len(h)-1].At+hourMS, k.now+wallReadEvery))
	if a.out.metAt > k.now {
		k.at(ceilMinute(a.out.metAt))
	}
}

// window puts the criteria together.
func (k *look) window(joints []Joint, acc *account) (st Strip) {
	cured := []named{{Complete, k.complete()}, {Floor, k.floor()}, {Temperature, k.age(acc)}, {Strength, k.strength(acc)}, {Frost, k.frost(acc)}}
	standing := []named{{Support, k.support(k.now)}, {Straight, k.straight(k.now)}, {Hold, k.hold(k.now, joints)}, {Wind, k.wind(k.now)}}
	curedAt := metAt(cured)
	before := slices.Concat(cured, []named{standing[0], standing[1]})
	permit := named{Permit, k.permit(k.now, metAt(before))}
	all := slices.Concat(cured, []named{standing[0], standing[3], standing[1], standing[2], permit})
	for i, c := range all {
		layer := LayerCured
		if i >= len(cured) {
			layer = LayerStanding
		}
		st.Criteria = append(st.Criteria, Criterion{Name: c.name, Layer: layer, Met: c.met, MetAt: moment(c.at), Have: c.have, Need: c.need, Unit: c.unit, Note: c.note})
	}
	if allMet(cured) {
		st.CuredAt = moment(curedAt)
	}
	st.Earliest = moment(metAt(all))
	st.Open = allMet(all) && metAt(all) <= k.now
	if st.Open {
		st.OpenedAt = st.Earliest
	}
	early, likely, late := k.expect(acc)
	st.Expected = Expected{moment(early), moment(likely), moment(late)}
	st.Governs = k.governs(cured, append(standing, permit), likely)
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
	case h.HandedOver != 0 && h.HandedOver <= k.now:
		return StateHandedOver
	case len(h.Strips) > 0 && h.AllStripped():
		return StateStripped
	case len(p.Lifts) == 0 && p.Started == 0:
		return StatePlanned
	case p.Finished == 0 || p.Finished > k.now:
		return StatePlacing
	case a.Strip.Open:
		return StateMayStrip
	default:
		return StateCuring
	}
}
