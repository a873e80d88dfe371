package scheduler

import (
	"fmt"
	"slices"
	"strings"

	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// ruling is one criterion before it is put into words for people.
type ruling struct {
	met  bool
	at   int64 // when it was or will surely be met, Unix ms; 0: not known
	have string
	need string
	unit string
	note string
}

// complete: the record of the pour is whole.
func (k *look) complete() ruling {
	p, v := &k.wall.Pour, ruling{need: "record whole"}
	var missing []string
	miss := func(format string, args ...any) { missing = append(missing, fmt.Sprintf(format, args...)) }
	if len(k.hub.Doubts) > 0 {
		miss("the hub doubts its own record: %s", strings.Join(k.hub.Doubts, "; "))
	}
	if !k.wall.Holding.LaidOut {
		miss("the wall is not laid out")
	}
	if len(p.Lifts) == 0 {
		miss("no lift is recorded")
	}
	if p.Finished == 0 || !k.past(p.Finished) {
		miss("pour.finished is not recorded")
	}
	for _, s := range p.Low {
		miss("%s stands at %.2f m, under its planned top", stretch(s.From, s.To), metres(s.Height()))
	}
	for _, s := range p.High {
		miss("%s stands at %.2f m, over its planned top", stretch(s.From, s.To), metres(s.Height()))
	}
	v.at = p.Finished
	for _, d := range k.wall.Devices() {
		k.reported(d, &v, miss)
	}
	k.devices.Gaps(func(device string, g site.Gap) {
		if k.past(g.Since) {
			miss("numbers %s of device %s have not come", numbers(g), device)
		}
	})
	v.met = len(missing) == 0
	v.have, v.note = "whole", strings.Join(missing, "; ")
	if !v.met {
		v.have, v.at = "not whole", 0
	}
	return v
}

// reported asks whether a device that recorded placing said since the finish
// that its outbox is empty, or was given up by two persons.
func (k *look) reported(d wall.Device, v *ruling, miss func(string, ...any)) {
	finished := k.wall.Pour.Finished
	at := k.devices.GivenUp(d.Name, finished)
	if r := k.devices.ReportedSince(d.Name, finished, d.Last); d.Numbered && r != 0 && (at == 0 || r < at) {
		at = r
	}
	switch {
	case finished == 0:
	case at != 0 && k.past(at):
		v.at = max(v.at, at)
	case d.Numbered:
		miss("device %s has not reported an empty outbox since the finish", d.Name)
	default:
		miss("device %s does not number its events", d.Name)
	}
}

func numbers(g site.Gap) string {
	if g.From == g.To {
		return fmt.Sprint(g.From)
	}
	return fmt.Sprintf("%d to %d", g.From, g.To)
}

// floor: 48 hours, or more where the site or an engineer says so, since the last
// concrete. Nothing shortens it.
func (k *look) floor() ruling {
	zero, need := k.zero, max(k.policy.FloorS, site.FloorS)
	v := ruling{need: hoursText(need), unit: "h", have: "0", note: k.setBy(need, site.FloorS, func(c wall.Criterion) int64 { return c.FloorS })}
	if zero == 0 {
		v.note = "no concrete is recorded"
		return v
	}
	v.at = ceilMinute(zero + need*secondMS)
	v.have = hoursText(max(0, k.now-zero) / secondMS)
	v.met = k.past(v.at)
	return v
}

// notSet stands beside whatever no engineer set.
const notSet = "not set by an engineer"

// setBy says on whose word a number stands: an engineer's criterion that asks
// for it, the site's policy, or the tool's default.
func (k *look) setBy(need, standard int64, of func(wall.Criterion) int64) string {
	for _, c := range slices.Backward(k.criteria) {
		if of != nil && of(c) == need && need != 0 {
			return strings.Join(strings.Fields("engineer's criterion by "+c.By+" "+c.Drawing+" "+c.Clause), " ")
		}
	}
	if need == standard || k.site.PolicyBy == "" {
		return notSet
	}
	return "site policy by " + k.site.PolicyBy + "; " + notSet
}

// age: equivalent age by every rule of the policy.
func (k *look) age(a *account) ruling {
	v := ruling{need: hoursText(k.policy.AgeS), unit: "h at 20 °C", have: "0"}
	if len(a.sums) > 0 {
		v.have = hoursText(slices.Min(a.sums) / nanoHour)
	}
	var names []string
	for _, r := range k.policy.Rules {
		names = append(names, maturityOf(r).Name())
	}
	v.note = strings.Join(names, " and ") + "; " + k.setBy(k.policy.AgeS, site.FloorS, func(c wall.Criterion) int64 { return c.AgeS })
	if a.pending {
		v.note += "; a substitute says frost since the last reading of the top: nothing counts until it is read"
	}
	if a.metAt != 0 {
		v.at = ceilMinute(a.metAt)
		v.met = k.past(v.at)
	}
	return v
}

// enoughByAge reports whether equivalent age suffices without a strength.
func (k *look) enoughByAge() bool { return k.policy.MPa100 == 0 && (k.mix.portland || k.ageOK) }

// strength: asked for by the site or an engineer, or because the binder is not
// known to be Portland cement without retarder.
func (k *look) strength(a *account) ruling {
	need := k.policy.MPa100
	if k.enoughByAge() {
		return ruling{met: true, at: k.zero, have: "not asked", need: "not asked", note: k.whyByAge()}
	}
	if need == 0 {
		v := ruling{have: "unknown", need: "an engineer's criterion", note: k.whyNotByAge()}
		if r := k.released(Strength, k.zero, nil); r != nil {
			v.met, v.at, v.have, v.note = true, r.At, "released", "released by "+r.By
		}
		return v
	}
	v := ruling{need: mpa(need), unit: "MPa", have: "no wall-cured result", note: k.setBy(int64(need), 0, func(c wall.Criterion) int64 { return int64(c.MPa100) })}
	if best := k.bestTest(); best > 0 {
		v.have = mpa(best)
	}
	v.at = k.strengthShownAt(need)
	if a.relMet != 0 {
		if confirmed := k.relationConfirmed(); confirmed != 0 && (v.at == 0 || max(confirmed, a.relMet) < v.at) {
			v.at, v.note = max(confirmed, a.relMet), "the mix's strength relation, confirmed by a test; "+v.note
		}
	}
	if r := k.released(Strength, k.zero, nil); r != nil && (v.at == 0 || r.At < v.at) {
		v.at, v.note = r.At, "released by "+r.By
	}
	if v.at != 0 {
		v.at = ceilMinute(v.at)
		v.met = k.past(v.at)
	} else if k.bestTest() >= need {
		v.note = "two specimens cured beside the wall, or one test on it, with no lower result after; " + v.note
	}
	return v
}

func (k *look) whyByAge() string {
	if k.mix.portland {
		return "Portland cement without retarder: equivalent age suffices"
	}
	return "an engineer lets equivalent age suffice"
}

func (k *look) whyNotByAge() string {
	if !k.mix.known {
		return "the mix is not approved and countersigned: a strength criterion or an engineer's word is needed"
	}
	return "the binder is not Portland cement without retarder: a strength criterion or an engineer's word is needed"
}

func mpa(hundredths int) string { return formatFixed(float64(hundredths)/100, 1) }

// tests yields the results that bear on the wall, in order: of specimens cured
// beside it, or made on the wall itself, since the last concrete. One that is not
// sure can only take back what others showed.
func (k *look) tests(yield func(wall.Test) bool) {
	for _, t := range k.wall.Holding.Tests {
		if (t.Wall || t.Against) && k.past(t.At) && t.At > k.zero && !yield(t) {
			return
		}
	}
}

func (k *look) bestTest() int {
	best := 0
	for t := range k.tests {
		if t.Wall {
			best = max(best, t.MPa100)
		}
	}
	return best
}

// strengthShownAt is when two wall-cured specimens, or one test on the wall
// itself, showed a strength, with no lower result after; 0: not shown.
// Laboratory-cured specimens never count.
func (k *look) strengthShownAt(need int) int64 {
	var shown int64
	var cured []string
	for t := range k.tests {
		switch {
		case t.MPa100 < need:
			shown, cured = 0, nil
		case !t.Wall || shown != 0:
		case t.Specimen == "":
			shown = t.At
		case !slices.Contains(cured, t.Specimen):
			if cured = append(cured, t.Specimen); len(cured) == 2 {
				shown = t.At
			}
		}
	}
	return shown
}

// relationLeast is the strength under which a test says little of the mix's
// relation, hundredths of a MPa (common practice, no source).
const relationLeast = 350

// relationConfirmed is when a wall-cured test came to stand behind the mix's
// strength relation, at or above nine tenths of what the relation gave then; 0:
// none does, or one is under it.
func (k *look) relationConfirmed() int64 {
	if k.mix.relation == nil {
		return 0
	}
	var confirmed int64
	for t := range k.tests {
		a := k.accountant(k.now)
		a.need, a.all = 1<<62, false
		a.run(t.At)
		days := float64(slices.Max(a.out.sums)/nanoHour) / 86400
		want, err := k.mix.relation.MPa(days)
		if err != nil || float64(t.MPa100) < 90*want {
			return 0
		}
		if t.Wall && want >= relationLeast/100 && confirmed == 0 {
			confirmed = t.At
		}
	}
	return confirmed
}

// relationNeed is the equivalent age in seconds at which the mix's relation
// reaches a strength; 0: there is none.
func (k *look) relationNeed() int64 {
	if k.mix.relation == nil || k.policy.MPa100 == 0 {
		return 0
	}
	days, err := k.mix.relation.AgeDays(float64(k.policy.MPa100) / 100)
	if err != nil {
		return 0
	}
	hours := days * 24
	return wall.Seconds(&hours)
}

// frost: never frozen before 3.5 MPa, or released by name.
func (k *look) frost(a *account) ruling {
	v := ruling{met: true, at: k.zero, have: "not frozen", need: "never frozen before 3.5 MPa"}
	for _, f := range a.freezes {
		if !f.early {
			continue
		}
		v.have = "frozen " + k.local(f.from)
		r := k.released(Frost, f.to, f.named)
		if r == nil {
			v.met, v.at = false, 0
			v.note = "equivalent age begins again at the thaw, and only an engineer's release that names this freeze opens the window"
			if f.assumed {
				v.note = "the top was not read while a substitute stood at or under 0 °C; " + v.note
			}
			return v
		}
		v.at, v.note = max(v.at, r.At), "released by "+r.By
	}
	return v
}

// named reports whether a release names the freeze, give or take an hour.
func (f freeze) named(r wall.Release) bool {
	return r.Freeze >= f.from-hourMS && r.Freeze <= f.to+hourMS
}

// released finds the first release of a criterion at or after a moment.
func (k *look) released(what string, after int64, fits func(wall.Release) bool) *wall.Release {
	for i := range k.wall.Holding.Releases {
		r := &k.wall.Holding.Releases[i]
		if r.Releases == what && r.At >= after && (fits == nil || fits(*r)) && k.past(r.At) {
			return r
		}
	}
	return nil
}

func stretch(from, to int) string { return fmt.Sprintf("%.1f to %.1f m", metres(from), metres(to)) }

func metres(mm int) float64 { return float64(mm) / 1000 }
