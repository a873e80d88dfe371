package scheduler

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

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

// PermitState is what becomes of a permit to strip that was issued, is not
// withdrawn and has not lapsed.
type PermitState struct {
	Number   string    `json:"number"`
	Braces   []string  `json:"braces,omitzero"` // empty: all
	FromM    *float64  `json:"from_m,omitzero"` // of a stretch: only braces within it
	ToM      *float64  `json:"to_m,omitzero"`
	Stands   bool      `json:"stands"`
	Why      string    `json:"why,omitzero"`      // why it does not
	Since    time.Time `json:"since,omitzero"`    // of one that stood and does not: when what shook it was recorded
	Released string    `json:"released,omitzero"` // on whose release it stands; empty: on its own
	Lacks    []string  `json:"lacks,omitzero"`    // what its form lacks
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

// permitStates lists what became of the live permits, in the order of the record.
func (k *look) permitStates() (out []PermitState) {
	for _, p := range k.livePermits() {
		f := k.fates[p]
		s := PermitState{Number: p.Number, Braces: p.Braces, Lacks: p.Lacks}
		if p.From >= 0 {
			s.FromM, s.ToM = new(metres(p.From)), new(metres(p.To))
		}
		switch {
		case f == nil:
			s.Why = "it is for nothing that stands"
		case len(f.shut) == 0 && f.why == "":
			s.Stands, s.Released = true, f.on
		default:
			s.Why = cmp.Or(f.why, strings.Join(f.shut, ", "))
			if !f.early {
				s.Since = moment(f.since)
			}
		}
		out = append(out, s)
	}
	return out
}

func (k *look) livePermits() (out []*wall.Permit) {
	if !k.policy.PermitNeeded || len(k.hub.Doubts) > 0 {
		return nil
	}
	for _, p := range k.wall.Holding.Permits {
		if p.For == "strip" && p.At <= k.now && (p.Withdrawn == 0 || p.Withdrawn > k.now) && (p.Until == 0 || p.Until > k.now) {
			out = append(out, p)
		}
	}
	return out
}

// permitAlerts tell of permits that somebody holds and that do not stand, until
// they are withdrawn, lapse, or nothing stands any more that they are for.
func (k *look) permitAlerts(c *collector, a *Assessment) {
	if a.State == StateStripped {
		return
	}
	for _, p := range k.livePermits() {
		if len(p.Lacks) > 0 {
			c.point("Permit %s to strip is %s.", p.Number, events.Lacking(p.Lacks))
		}
		f := k.fates[p]
		if f == nil || len(f.shut) == 0 && f.why == "" {
			continue
		}
		cause, names := "permit "+p.Key.ID, k.bracesThat(func(b *wall.Brace) bool {
			return (b.Stripped == 0 || !k.past(b.Stripped)) && p.Covers(b.Name, b.At)
		})
		if f.early {
			c.add(AlertPermitEarly, cause, p.At, "Permit %s to strip, issued by %s %s, does not stand: %s. Withdraw it and tell whoever holds it.",
				p.Number, p.By, k.local(p.At), cmp.Or(f.why, "the window was shut by "+strings.Join(f.shut, ", "))).braces(k, names).until(p.Until)
			continue
		}
		c.add(AlertPermitShaken, cause, f.since, "Permit %s to strip, issued by %s %s, no longer stands since %s, by what was recorded then: %s. Tell whoever plans to strip. A new permit is needed once the window is open.",
			p.Number, p.By, k.local(p.At), k.local(f.since), strings.Join(f.shut, ", ")).braces(k, names).until(p.Until)
	}
}

// MayPermit says why a permit to strip that somebody issues now would not stand;
// nothing: it would. It asks of now what the fold asks of the moment from which the
// permit counts, and of the wind what is forecast as well.
func MayPermit(s *site.State, d *site.Devices, w *wall.State, hub Hub, now time.Time, p *events.PermitIssued, by string) (against []string) {
	k := lookAt(s, d, w, hub, now)
	if p.For != "strip" || !k.policy.PermitNeeded {
		return nil
	}
	add := func(on bool, format string, args ...any) {
		if on {
			against = append(against, fmt.Sprintf(format, args...))
		}
	}
	add(by != "" && p.RequestedBy == by, "who asks for a permit does not issue it")
	add(p.ReviewedBy != "" && p.ReviewedBy == p.RequestedBy, "who asks for a permit does not review it")
	add(!p.Until.IsZero() && !p.Until.After(now), "it would have lapsed before it is recorded")
	add(!p.Until.IsZero() && p.Until.Sub(now) > events.PermitMost, "it would hold longer than 14 days")
	if lacks := events.PermitLacks(p, by); k.policy.PermitWhole && len(lacks) > 0 {
		add(true, "%s", events.Lacking(lacks))
	}
	var covered []string
	if p.Basis == events.BasisRelease {
		r := k.reliedOn(&wall.Permit{Release: p.Release.Key(), At: k.now})
		add(r == nil, "the engineer's release that it names does not stand")
		if r != nil {
			covered = releaseCovers[r.Releases]
		}
	}
	return append(against, k.shutNow(p, covered)...)
}

// shutNow says what is not met now of what a permit would be for.
func (k *look) shutNow(p *events.PermitIssued, covered []string) (out []string) {
	a := Assess(k.site, k.devices, k.wall, k.hub, time.UnixMilli(k.now))
	tell := func(whose string, s Strip) {
		for _, c := range s.Criteria[:min(atPermit, len(s.Criteria))] {
			if !c.Met && !slices.Contains(covered, c.Name) {
				out = append(out, strings.TrimSpace(fmt.Sprintf("%s%s is not met: %s of %s %s", whose, c.Name, c.Have, c.Need, c.Unit)))
			}
		}
	}
	if len(p.Braces) == 0 && p.FromM == nil {
		tell("", a.Strip)
		return out
	}
	q := wall.Permit{Braces: p.Braces, From: -1}
	if p.FromM != nil {
		q.From, q.To = int(min(*p.FromM, *p.ToM)*1000), int(max(*p.FromM, *p.ToM)*1000)
	}
	found := false
	for _, b := range a.Braces {
		if b.State == BracePlanned || b.State == BraceStripped || !q.Covers(b.Name, k.stationOf(b.Name)) {
			continue
		}
		found = true
		if len(b.Strip.Criteria) == 0 {
			tell("", a.Strip)
			continue
		}
		tell("brace "+b.Name+": ", b.Strip)
	}
	if !found {
		out = append(out, "no brace stands that it would be for")
	}
	return out
}
