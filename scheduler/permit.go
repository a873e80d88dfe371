package scheduler

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// The standing of a permit to strip.
//
// A permit is judged by the record as it stands now, against criteria 1 to 9: each
// must have been met at the moment from which the permit counts, and not have been
// unmet since. So an entry that makes the window later takes every permit issued
// before the later moment with it, and that the window opens again later brings
// none of them back: a new one is needed. Only what takes the entry itself out of
// the record does. A gap in a device's numbers and an open doubt shut while they
// last: once answered, the record shows whether anything was missing. Wind closes
// the strip of an hour, and is asked of the permit's own moment alone, as measured.
// Where the window was open by what was known when the permit was issued, the permit
// stood until the entry that shook it was recorded.
//
// A permit is asked for beside the other criteria and replaces none of them: one
// that stands on an engineer's release opens nothing that they hold shut.

// fate is what becomes of a live permit, over all that it is for.
type fate struct {
	shut  []string // criteria that were not met at its moment, or since
	why   string   // what else is against it
	early bool     // known when it was issued
	since int64    // when the first entry that shook it was recorded
	on    string   // who released what it stands on; empty: it stands on its own

	gusty, asked bool        // a gust over the limit was measured at its moment
	wall         *wall.State // as the record had it when it was issued; nil: not asked yet
	site         *site.State
	news         map[string]int64 // by the criteria: when the first entry was recorded that bears on them
}

// releaseCovers says for which criteria an engineer's release can speak. None
// speaks for a whole record, the floor, the wind or a hold.
var releaseCovers = map[string][]string{
	"support": {Support}, "strength": {Strength}, "frost": {Frost}, "straight": {Straight}, "age": {Temperature, Strength},
}

// permit: where the site asks for one, a permit to strip that stands.
func (k *look) permit(list []named, joints []Joint) ruling {
	if !k.policy.PermitNeeded {
		return ruling{met: true, at: k.zero, have: "not asked", need: "not asked", note: k.setBy(0, 1, nil)}
	}
	v := ruling{need: "a permit to strip", have: "none"}
	for _, p := range k.wall.Holding.Permits {
		if p.For != "strip" || !k.past(p.At) {
			continue
		}
		// Each is judged, for its own sake; the first that stands counts.
		if r := k.permitRuling(p, list, joints); !v.met {
			v.met, v.at, v.have, v.note = r.met, r.at, r.have, r.note
		}
	}
	return v
}

// lacksShown is how much of what a form lacks stands in a note; an open point has all.
const lacksShown = 4

// permitRuling judges one permit for what is looked at.
func (k *look) permitRuling(p *wall.Permit, list []named, joints []Joint) ruling {
	switch {
	case p.Withdrawn != 0 && k.past(p.Withdrawn):
		return ruling{have: p.Number + " withdrawn"}
	case p.Until != 0 && k.past(p.Until):
		return ruling{have: p.Number + " lapsed"}
	case !k.permits(p):
		return ruling{have: p.Number + " for some braces", note: forWhat(p)}
	case len(k.hub.Doubts) > 0:
		return ruling{have: p.Number + " waits", note: "the hub doubts its own record"}
	}
	f := k.fateOf(p)
	shut, why := k.against(p, f, list, joints)
	lacks := ""
	if len(p.Lacks) > 0 {
		lacks = events.Lacking(p.Lacks[:min(lacksShown, len(p.Lacks))])
		if more := len(p.Lacks) - lacksShown; more > 0 {
			lacks += fmt.Sprintf(" and %d more", more)
		}
	}
	if len(shut) == 0 && why == "" {
		note := "issued by " + p.By
		if f.on != "" {
			note += ", on the engineer's release by " + f.on
		}
		return ruling{met: true, at: p.At, have: p.Number, note: joined(note, lacks)}
	}
	early, since := true, int64(0)
	if why == "" {
		early, shut, since = k.classify(p, f, shut)
	}
	f.note(shut, why, early, since)
	switch {
	case !early && since > k.now:
		return ruling{met: true, at: p.At, have: p.Number, note: joined("issued by "+p.By, lacks)}
	case !early:
		return ruling{have: p.Number + " no longer stands", note: joined("since "+k.local(since)+", by what was recorded then: "+strings.Join(shut, ", "), lacks)}
	case why != "":
		return ruling{have: p.Number + " does not stand", note: joined(why, lacks)}
	case slices.Equal(shut, []string{Hold}):
		return ruling{have: p.Number + " issued under a hold", note: joined("issued while a hold, a doubt or a cold joint stood: it does not count", lacks)}
	default:
		return ruling{have: p.Number + " too early", note: joined("issued before the window opened, by "+strings.Join(shut, ", ")+": it does not count", lacks)}
	}
}

func joined(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), "; ")
}

// forWhat says what a permit is for that is not for the whole wall.
func forWhat(p *wall.Permit) string {
	var parts []string
	if len(p.Braces) > 0 {
		parts = append(parts, "braces "+strings.Join(p.Braces, ", "))
	}
	if p.From >= 0 {
		parts = append(parts, stretch(p.From, p.To))
	}
	return strings.Join(parts, ", ")
}

// permitFates makes room for them where there are permits.
func (k *look) permitFates() {
	if len(k.wall.Holding.Permits) > 0 {
		k.fates = map[*wall.Permit]*fate{}
	}
}

// fateOf is shared by all looks of one assessment.
func (k *look) fateOf(p *wall.Permit) *fate {
	f := k.fates[p]
	if f == nil {
		f = &fate{}
		k.fates[p] = f
	}
	return f
}

func (f *fate) note(shut []string, why string, early bool, since int64) {
	for _, name := range shut {
		if !slices.Contains(f.shut, name) {
			f.shut = append(f.shut, name)
		}
	}
	f.why, f.early = cmp.Or(f.why, why), f.early || early
	if since != 0 && (f.since == 0 || since < f.since) {
		f.since = since
	}
}

// against finds what is against a permit: criteria that were not met, or words.
func (k *look) against(p *wall.Permit, f *fate, list []named, joints []Joint) (shut []string, why string) {
	switch {
	case p.Asker:
		return nil, "issued by the one who asked for it"
	case k.policy.PermitWhole && len(p.Lacks) > 0:
		return nil, "the site asks for a whole form"
	}
	shut = k.shutFor(p, f, list, joints)
	if p.Basis != events.BasisRelease {
		return shut, ""
	}
	r := k.reliedOn(p)
	if r == nil {
		return nil, "the engineer's release that it names did not stand"
	}
	f.on = r.By
	return slices.DeleteFunc(shut, func(name string) bool { return slices.Contains(releaseCovers[r.Releases], name) }), ""
}

// reliedOn is the release that a permit names, if it stood when the permit did.
func (k *look) reliedOn(p *wall.Permit) *wall.Release {
	for i := range k.wall.Holding.Releases {
		if r := &k.wall.Holding.Releases[i]; r.Key == p.Release && r.At <= p.At {
			return r
		}
	}
	return nil
}

// shutFor names the criteria that were not met when a permit began to count, or
// were unmet since.
func (k *look) shutFor(p *wall.Permit, f *fate, list []named, joints []Joint) (shut []string) {
	for i := range list[:atPermit] {
		n := &list[i]
		open := n.met && n.at <= p.At
		switch n.name {
		case Wind:
			if !f.asked {
				f.gusty, f.asked = k.gustAt(p.At), true
			}
			open = !f.gusty
		case Hold:
			open = n.met && !k.heldSince(p.At) && !k.treatedSince(p.At, joints)
		}
		if !open {
			shut = append(shut, n.name)
		}
	}
	return shut
}

// gustAt reports whether by what was measured the wind was over the limit.
func (k *look) gustAt(at int64) bool {
	y := *k
	y.now, y.next = at, 0
	v := ruling{met: true}
	y.bearing(y.policy.GustCM, &v)
	return !v.met
}

// heldSince reports whether somebody held the wall at a moment or after it.
func (k *look) heldSince(at int64) bool {
	return slices.ContainsFunc(k.wall.Holding.Holds, func(x *wall.Held) bool {
		return x.At <= k.now && (x.Released == 0 || x.Released > at)
	})
}

// treatedSince reports whether a cold joint within what is looked at was answered
// only after a moment.
func (k *look) treatedSince(at int64, joints []Joint) bool {
	if !slices.ContainsFunc(k.wall.Pour.Treated, func(t wall.Treated) bool { return t.At > at }) {
		return false
	}
	if !slices.ContainsFunc(joints, func(j Joint) bool { return j.State == JointCold && j.Treated && k.meets(j) }) {
		return false
	}
	y := *k
	y.now, y.next = at, 0
	return slices.ContainsFunc(y.joints(), func(j Joint) bool { return j.State == JointCold && !j.Treated && k.meets(j) })
}

// permits reports whether a permit is for what is looked at.
func (k *look) permits(p *wall.Permit) bool {
	switch {
	case !p.Partly():
		return true
	case k.brace != "":
		return p.Covers(k.brace, k.stationOf(k.brace))
	default:
		return k.coversAll(p)
	}
}

// stationOf is where a brace stands or stood at the look's moment, mm; -1: not known.
func (k *look) stationOf(name string) int {
	for _, b := range k.stoodAt(k.now) {
		if b.Name == name {
			return b.At
		}
	}
	for _, b := range k.wall.Holding.Braces {
		if b.Name == name {
			return b.At
		}
	}
	return -1
}

// coversAll reports whether a permit is for every brace that stood at the look's
// moment.
func (k *look) coversAll(p *wall.Permit) bool {
	stood := false
	for _, b := range k.mayHaveStood(k.now) {
		if !p.Covers(b.Name, b.At) {
			return false
		}
		stood = true
	}
	return stood
}
