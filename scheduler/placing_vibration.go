package scheduler

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"earlyage/projector/wall"
	"earlyage/scheduler/concrete"
)

// vibrateBy is how long after its end a lift can still be vibrated, ms.
const vibrateBy = hourMS

// vibrationAlerts tell of concrete that was declared not vibrated. They stand
// until it was vibrated after all, or a person has looked at it there.
func (k *look) vibrationAlerts(c *collector) {
	p := &k.wall.Pour
	for i := range p.Lifts {
		l := &p.Lifts[i]
		if !l.Unvibrated() || !k.past(l.Ended.Early) {
			continue
		}
		var where []string
		since, from, to := int64(0), math.MaxInt, 0
		for _, v := range l.Vibration() {
			if v.Not && !k.looked(v.From, v.To, l.Ended.Early) {
				where, since = append(where, stretch(v.From, v.To)), first(since, max(v.At, l.Ended.Early))
				from, to = min(from, v.From), max(to, v.To)
			}
		}
		if len(where) == 0 {
			continue
		}
		by := floorMinute(l.Ended.Late + vibrateBy)
		what := "Vibrate it by " + k.clockOnly(by) + ", while the head sinks in by itself."
		if k.past(by) {
			by, what = 0, "It is too late to vibrate it: mark it, and look there when it can be seen."
		}
		c.add(AlertNotVibrated, "lift "+l.Entry.ID, since, "%s of the lift of %s was not vibrated. %s", strings.Join(where, ", "), k.clockOnly(l.Began.Early), what).
			place(metres(from), metres(to)).until(by)
	}
}

// looked reports whether a person has looked at some stations at or after a moment.
func (k *look) looked(from, to int, after int64) bool {
	return slices.ContainsFunc(k.wall.Holding.Seen, func(s wall.Seen) bool { return s.At >= after && k.past(s.At) && s.Covers(from, to) })
}

// vibrationPoints are the open points of consolidation.
func (k *look) vibrationPoints(c *collector, r Rate) {
	p := &k.wall.Pour
	n, firstUnsaid := 0, ""
	for i := range p.Lifts {
		l := &p.Lifts[i]
		if !l.Unsaid() || k.looked(min(l.From, l.To), max(l.From, l.To), l.Ended.Early) {
			continue
		}
		if n++; n > 1 {
			continue
		}
		for _, v := range l.Vibration() {
			if !v.Known {
				firstUnsaid = fmt.Sprintf("%s of the lift of %s", stretch(v.From, v.To), k.clockOnly(l.Began.Early))
				break
			}
		}
	}
	switch {
	case n > 1:
		firstUnsaid += fmt.Sprintf(", and %d more lifts", n-1)
		fallthrough
	case n == 1:
		c.point("nobody said whether it was vibrated: %s", firstUnsaid)
	}
	k.insertionPoints(c)
	k.keepUpPoint(c, r)
}

// insertionPoints note figures of the vibrator that are worse than the rules of
// ACI 309R 7.2 (from memory), the worst of each.
func (k *look) insertionPoints(c *collector) {
	type worst struct {
		by    float64
		where string
	}
	var into, apart, out worst
	note := func(w *worst, by float64, v *wall.Vibrated, format string, args ...any) {
		if by > w.by && !k.looked(v.From, v.To, v.At) {
			w.by, w.where = by, stretch(v.From, v.To)+": "+fmt.Sprintf(format, args...)
		}
	}
	least, most := int(math.Round(concrete.PenetrationLeast*1000)), int(math.Round(concrete.QuotedWithdrawal*1000))
	for i := range k.wall.Pour.Consolidated {
		v := &k.wall.Pour.Consolidated[i]
		if v.Into && v.OnConcrete && v.IntoMM < least {
			note(&into, float64(least-v.IntoMM), v, "vibrated %d mm into the layer below, at least %d mm (ACI 309R 7.2, from memory)", v.IntoMM, least)
		}
		if v.OutMMS > most {
			note(&out, float64(v.OutMMS-most), v, "vibrator drawn out at %d mm/s, at most %d mm/s (0.3 m in 3 s: common practice, no source; ACI 309R 7.2, from memory: 75 mm/s)", v.OutMMS, most)
		}
		if v.SpacingMM == 0 {
			continue
		}
		if radius := k.radius(v); radius > 0 && float64(v.SpacingMM) > concrete.SpacingPerRadius*radius {
			note(&apart, float64(v.SpacingMM)-float64(concrete.SpacingPerRadius*radius), v, "vibrated every %d mm, at most %.0f mm, 1.5 radii of action (ACI 309R 7.2, from memory)", v.SpacingMM, concrete.SpacingPerRadius*radius)
		}
	}
	for _, w := range [3]worst{into, apart, out} {
		if w.where != "" {
			c.point("%s", w.where)
		}
	}
}

// radius is a vibrator's radius of action, mm; 0: not known. A maker's word on
// the crew's vibrator counts before the least of its head's group.
func (k *look) radius(v *wall.Vibrated) float64 {
	own, known := k.vibrator()
	head := v.HeadMM
	if known && (head == 0 || head == own.HeadMM) {
		if own.RadiusMM > 0 {
			return float64(own.RadiusMM)
		}
		head = own.HeadMM
	}
	if head == 0 {
		return 0
	}
	g, err := concrete.GroupForHead(clamp(float64(head)/1000, 0.020, 0.150))
	if err != nil {
		return 0
	}
	return g.RadiusLeast * 1000
}

// vibrator is what the wall's crew declared last: on the wall, for the crew on
// the site, or for every crew.
func (k *look) vibrator() (wall.Vibrator, bool) {
	crew := k.wall.Holding.Crew
	for _, v := range slices.Backward(k.wall.Holding.Vibrators) {
		if v.Crew == "" || v.Crew == crew {
			return v, true
		}
	}
	if v, ok := k.site.Vibrators[crew]; ok {
		return v, true
	}
	v, ok := k.site.Vibrators[""]
	return v, ok
}

// keepUpPoint tells of vibrators that cannot keep up with the rate of placing.
func (k *look) keepUpPoint(c *collector, r Rate) {
	v, known := k.vibrator()
	if !known || r.M3H <= 0 {
		return
	}
	g, err := concrete.GroupForHead(clamp(float64(v.HeadMM)/1000, 0.020, 0.150))
	if err != nil {
		return
	}
	got, err := concrete.VibratorsKeepUp(g.Number, min(v.Count, 50), clamp(r.M3H, 0, 300))
	if err != nil || got.Verdict != concrete.CannotKeepUp {
		return
	}
	c.point("%d vibrating with a head of %d mm can do %s to %s m³/h (ACI 309R Table 5.1.5, from memory); the wall takes %s m³/h", v.Count, v.HeadMM, trimZero(got.Least), trimZero(got.Most), trimZero(r.M3H))
}
