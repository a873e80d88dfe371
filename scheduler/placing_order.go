package scheduler

import (
	"cmp"
	"fmt"
	"slices"

	"earlyage/projector/wall"
)

const (
	// unevenMM is how far the two sides of an opening may differ, and unevenFor for
	// how long (general trade practice, from memory).
	unevenMM  = 300
	unevenFor = 10 * minuteMS
	// unevenBand is by how much less they have to differ for it to be over, mm.
	unevenBand = 50
	// sillSlack is how far under a sill the concrete may stand as filled, mm.
	sillSlack = 50
	// standsFor is the time without a discharge or a lift after which a pour counts
	// as stopped, whoever says so or not.
	standsFor = 30 * minuteMS
	// cornerClear is how far from a corner a stop has to be, mm (from memory, trade
	// practice), and againstMM how near to an opening it counts as against it.
	cornerClear = 600
	againstMM   = 300
	// nearMM is how near the stated place of a stop the end of a lift is looked for.
	nearMM = 1000
	// stepMM is the least step in the surface that is the end of a lift.
	stepMM = 100
)

// openingAlerts tell of openings that are filled in the wrong order.
func (k *look) openingAlerts(c *collector) {
	p, g := &k.wall.Pour, &k.wall.Holding.Geometry
	if len(p.Lifts) == 0 {
		return
	}
	for i := range g.Openings {
		o := &g.Openings[i]
		left, _ := p.At(o.From)
		_, right := p.At(o.To)
		k.sillAlert(c, o, left, right)
		if left != nil && right != nil && (p.Finished == 0 || !k.past(p.Finished)) {
			k.unevenAlert(c, o, left, right)
		}
	}
}

// openingName names an opening for people.
func openingName(o *wall.Opening) string {
	where := stretch(o.From, o.To)
	if o.Name == "" {
		return "the opening at " + where
	}
	return "opening " + o.Name + " (" + where + ")"
}

// sillAlert: the concrete below an opening stands under its sill while that
// beside it stands above.
func (k *look) sillAlert(c *collector, o *wall.Opening, left, right *wall.Stretch) {
	var since int64
	if left != nil && left.Height() > o.Sill {
		since = k.passed(left, o.From, o.Sill)
	}
	if right != nil && right.Height() > o.Sill {
		since = first(since, k.passed(right, o.To, o.Sill))
	}
	if since == 0 || o.Sill <= sillSlack {
		return
	}
	low, found := 0, false
	for _, s := range k.wall.Pour.Over(o.From, o.To) {
		if s.Height() >= o.Sill-sillSlack {
			continue
		}
		if _, _, waits := k.wall.Pour.Waits(s); waits && (!found || s.Height() < low) {
			low, found = s.Height(), true
		}
	}
	if found {
		c.add(AlertSillUnfilled, "opening "+stretch(o.From, o.To), since, "Below %s the concrete stands at %.2f m, beside it above the sill at %.2f m. Fill below it from one side until it shows on the other.",
			openingName(o), metres(low), metres(o.Sill)).place(metres(o.From), metres(o.To)).measured("height", metres(low), metres(o.Sill))
	}
}

// passed is when a stretch first stood above a height at one of its ends, early.
func (k *look) passed(s *wall.Stretch, end, height int) (at int64) {
	for y := s.Top; y != nil && y.Top > height; y = y.Below {
		at = k.wall.Pour.Lifts[y.Lift].EarlyAt((s.From+s.To)/2, endOf(s, end))
	}
	return at
}

// endOf is the end of a stretch at a station, round station 0 of a closed wall.
func endOf(s *wall.Stretch, at int) int {
	if at == s.From || at == s.To {
		return at
	}
	if at == 0 {
		return s.To
	}
	return s.From
}

// unevenAlert: on one side of an opening the concrete stands over 0.3 m higher
// than on the other, up to its head, and has for 10 minutes.
func (k *look) unevenAlert(c *collector, o *wall.Opening, left, right *wall.Stretch) {
	low, high, lowAt, highAt := left, right, o.From, o.To
	if left.Height() > right.Height() {
		low, high, lowAt, highAt = right, left, o.To, o.From
	}
	differ, cause := min(high.Height(), o.Head)-min(low.Height(), o.Head), "opening "+stretch(o.From, o.To)
	if differ <= unevenMM-unevenBand {
		return
	}
	if _, _, waits := k.wall.Pour.Waits(*low); !waits {
		return // it stands as planned
	}
	if differ <= unevenMM {
		c.nearing(AlertOpeningUneven, cause)
		return
	}
	since := k.unevenSince(o.Head, side{low, lowAt}, side{high, highAt})
	if !k.past(since + unevenFor) {
		c.nearing(AlertOpeningUneven, cause) // it may have been uneven before, and back within the deadband only
		return
	}
	c.add(AlertOpeningUneven, cause, since, "Beside %s the concrete stands at %.2f m on one side and at %.2f m on the other since %s. Place at its edge at %.1f m next.",
		openingName(o), metres(high.Height()), metres(low.Height()), k.clockOnly(since), metres(lowAt)).
		place(metres(o.From), metres(o.To)).measured("height", metres(differ), metres(unevenMM))
}

// side is the concrete on one side of an opening, and the opening's edge there.
type side struct {
	*wall.Stretch
	edge int
}

// unevenSince is when the higher side began to stand too high, without a break.
func (k *look) unevenSince(head int, low, high side) int64 {
	type step struct {
		at, top int64
		high    bool
	}
	var steps []step
	for _, s := range [2]side{low, high} {
		for y := s.Top; y != nil; y = y.Below {
			steps = append(steps, step{k.wall.Pour.Lifts[y.Lift].EarlyAt((s.From+s.To)/2, endOf(s.Stretch, s.edge)), int64(min(y.Top, head)), s == high})
		}
	}
	slices.SortFunc(steps, func(a, b step) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.top, b.top)) })
	var tops [2]int64
	var since int64
	for _, x := range steps {
		i := 0
		if x.high {
			i = 1
		}
		tops[i] = max(tops[i], x.top)
		switch uneven := tops[1]-tops[0] > unevenMM; {
		case !uneven:
			since = 0
		case since == 0:
			since = x.at
		}
	}
	return since
}

// stopAlert: placing stands still, and the end of the concrete lies at a corner
// or against an opening.
func (k *look) stopAlert(c *collector, a *Assessment) {
	p := &k.wall.Pour
	if len(p.Lifts) == 0 || len(a.Fronts) == 0 {
		return
	}
	last := &p.Lifts[len(p.Lifts)-1]
	at, since := last.To, max(p.LastConcrete, p.Discharged, p.Resumed)+standsFor
	if n := len(p.Stops); p.Stopped && n > 0 && k.past(p.Stops[n-1].At) {
		s := &p.Stops[n-1]
		since = min(since, s.At)
		if s.AtM >= 0 {
			at = s.AtM
		}
	}
	if !k.past(since) {
		return
	}
	near := k.apart(at, last.To) <= nearMM
	if near {
		at = last.To
	}
	if k.endsThere(at) || near && !k.steps(at) {
		return
	}
	if where := k.badPlace(at); where != "" {
		c.add(AlertStopMisplaced, "stop "+moment(since).Format("2006-01-02T15:04Z"), since, "Placing has stood since %s and the concrete ends at %.1f m, %s. Carry it on clear of there while it is soft, or cut it back before it sets.",
			k.clockOnly(since), metres(at), where).place(metres(at), metres(at))
	}
}

// endsThere reports whether the concrete is meant to end at a station: at the
// end of the wall, or at a bulkhead.
func (k *look) endsThere(at int) bool {
	g := &k.wall.Holding.Geometry
	if !g.Closed && (at <= sillSlack || at >= g.Length-sillSlack) {
		return true
	}
	return slices.ContainsFunc(g.Bulkheads, func(b int) bool { return k.apart(b, at) <= againstMM })
}

// steps reports whether the surface of the concrete steps at a station.
func (k *look) steps(at int) bool {
	before, after := k.wall.Pour.At(at)
	if before == nil || after == nil {
		return false
	}
	gap := before.Height() - after.Height()
	return gap > stepMM || gap < -stepMM
}

// apart is how far two stations lie apart, round a closed wall by the shorter way, mm.
func (k *look) apart(a, b int) int {
	d := max(a-b, b-a)
	if g := &k.wall.Holding.Geometry; g.Closed && g.Length > 0 {
		d = min(d, g.Length-d)
	}
	return d
}

// badPlace says why concrete should not end at a station, or "".
func (k *look) badPlace(at int) string {
	g := &k.wall.Holding.Geometry
	for _, corner := range g.Corners {
		if d := k.apart(corner, at); d <= cornerClear {
			return fmt.Sprintf("%.1f m from the corner at %.1f m", metres(d), metres(corner))
		}
	}
	for i := range g.Openings {
		o := &g.Openings[i]
		if o.From-againstMM <= at && at <= o.To+againstMM {
			return "against " + openingName(o)
		}
	}
	return ""
}
