package scheduler

import (
	"slices"
	"strings"
	"time"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// classify says of a permit that does not stand whether that was known when it was
// issued, and otherwise since when: from the recording of the first entry after it
// that bears on what is shut. Where that is not sure it counts as known. Of what was
// known then it returns what was shut then.
func (k *look) classify(p *wall.Permit, f *fate, shut []string) (early bool, by []string, since int64) {
	if k.freshFor(p) {
		return true, []string{Floor}, 0
	}
	key := strings.Join(shut, " ")
	since, known := f.news[key]
	if !known {
		since = k.newsSince(p, shut)
		if f.news == nil {
			f.news = map[string]int64{}
		}
		f.news[key] = since
	}
	if since == 0 {
		return true, shut, 0
	}
	if f.wall == nil {
		f.wall, f.site = k.wall.UpTo(p.Seq), k.site.UpTo(p.Seq)
	}
	y := lookAt(f.site, k.devices, f.wall, Hub{}, time.UnixMilli(p.At))
	y.setPolicy(f.site.PolicyAt(p.At))
	if k.brace != "" {
		y.brace, y.reach = k.brace, reach{0, y.wall.Holding.Geometry.Length}
		list := y.standingAt(p.At)
		if i := slices.IndexFunc(list, func(b *wall.Brace) bool { return b.Name == k.brace }); i >= 0 {
			y.reach = y.reachOf(list, i)
			y.zero = y.clockZero(y.reach)
		}
	}
	joints := y.joints()
	then, why := y.against(p, &fate{}, y.beforePermit(y.account(), joints), joints)
	switch {
	case len(then) > 0:
		return true, then, 0
	case why != "":
		return true, shut, 0
	}
	return false, shut, since
}

// freshFor reports whether concrete that was on the record when a permit was issued
// was then under the floor, at its earliest: a short way to what was known.
func (k *look) freshFor(p *wall.Permit) bool {
	for i := range k.wall.Pour.Lifts {
		l := &k.wall.Pour.Lifts[i]
		if l.Entry.Seq > p.Seq || l.Ended.Early+site.FloorS*secondMS <= p.At {
			continue
		}
		if k.brace == "" {
			return true
		}
		for _, part := range k.reach.parts(k.wall.Holding.Geometry.Length) {
			if l.Reaches(part[0], part[1]) {
				return true
			}
		}
	}
	return false
}

// newsSince is when the first entry was recorded, after the permit, that bears on
// one of the criteria; 0: none was.
func (k *look) newsSince(p *wall.Permit, shut []string) (since int64) {
	hear := func(at int64) {
		if at > p.Recorded || since == 0 && at == p.Recorded {
			if since == 0 || at < since {
				since = at
			}
		}
	}
	entry := func(kind events.Kind, recorded int64) {
		if slices.ContainsFunc(shut, func(name string) bool { return bearsOn(kind, name) }) {
			hear(recorded)
		}
	}
	k.wall.After(p.Seq, p.At, entry)
	k.site.After(p.Seq, p.At, entry)
	if slices.Contains(shut, Complete) {
		k.devices.Gaps(func(_ string, g site.Gap) { hear(g.Since) })
	}
	if slices.Contains(shut, Hold) {
		for _, d := range k.wall.Doubts() {
			hear(d.Since)
		}
	}
	return since
}

// bearsOn reports whether an entry of a kind can shut a criterion.
func bearsOn(k events.Kind, criterion string) bool {
	thing, _, _ := strings.Cut(string(k), ".")
	switch thing {
	case "permit", "brace", "check", "checklist", "protection", "probe", "device", "gap", "hole", "vibrator", "backfill", "alert", "sheet", "pump", "weather", "person", "passkey":
		return false
	case "wind":
		return criterion == Wind
	case "temperature":
		return criterion == Temperature || criterion == Frost || criterion == Strength
	case "hold":
		return criterion == Hold
	case "specimen":
		return criterion == Strength || criterion == Support || criterion == Temperature || criterion == Frost
	case "concrete":
		return criterion == Frost || criterion == Temperature
	}
	if k == "line.read" {
		return criterion == Straight
	}
	return criterion != Wind || thing == "site" || thing == "engineer"
}
