package scheduler

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"earlyage/projector/wall"
)

// support: something holds the wall up, or an engineer says that it may stand free.
func (k *look) support() ruling {
	h := &k.wall.Holding
	v := ruling{need: "tied in, or an engineer's word", have: "not tied in"}
	if !k.policy.TieInNeeded && !h.TieInNeeded {
		return ruling{met: true, at: k.zero, have: "not asked", need: "not asked", note: k.setBy(0, 1, nil)}
	}
	if r := k.freeStanding(); r != nil {
		v.met, v.at = true, r.At
		v.have = fmt.Sprintf("may stand free to %s m/s", ms(r.GustCM))
		v.note = strings.TrimSpace("by " + r.By + " " + r.Drawing)
		if r.MPa100 > 0 {
			v.at = max(v.at, k.strengthShownAt(r.MPa100))
		}
	}
	if h.TiedIn != 0 && k.past(h.TiedIn) {
		// What held before the tie-in holds on: it opens nothing later.
		if !v.met || h.TiedIn < v.at {
			v.at = h.TiedIn
		}
		v.met, v.have, v.note = true, "tied in", ""
	}
	return v
}

// freeStanding is an engineer's word that the wall may stand free, if the
// strength that it asks for is shown.
func (k *look) freeStanding() *wall.Release {
	return k.released(Support, 0, func(r wall.Release) bool { return r.MPa100 == 0 || k.strengthShownAt(r.MPa100) != 0 })
}

// gustKept is how long a measured gust keeps the strip shut, even where a lower
// one follows; gustAhead how far a forecast one does, and for how long a measured
// one says what the wind is.
const (
	gustKept  = hourMS
	gustAhead = 24 * hourMS
)

// wind: gusts measured in the last hour, or the last one measured, and forecast
// for the next 24 h.
func (k *look) wind() ruling {
	limit, note := k.policy.GustCM, k.setBy(int64(k.policy.GustCM), 900, nil)
	if h := &k.wall.Holding; h.TiedIn == 0 || !k.past(h.TiedIn) {
		if r := k.freeStanding(); r != nil && r.GustCM < limit {
			limit, note = r.GustCM, "until tied in, by "+r.By
		}
	}
	v := ruling{met: true, need: "at most " + ms(limit), unit: "m/s", note: note}
	worst, known, since := k.gusts(limit, &v)
	switch {
	case !v.met:
		v.have = ms(worst)
	case !known:
		v.met, v.have, v.note = false, windUnknown, "no gust was measured or forecast within 24 h"
	default:
		v.have, v.at = ms(worst), since
	}
	return v
}

// gusts finds the worst gust that bears on a strip, whether any is known, and
// since when none was over the limit.
func (k *look) gusts(limit int, v *ruling) (worst int, known bool, since int64) {
	worst, known, since = k.bearing(limit, v)
	for _, h := range k.site.Hours {
		switch {
		case h.GustCM < 0 || h.At+hourMS <= k.now:
			continue
		case h.At > k.now+gustAhead:
			k.at(h.At - gustAhead)
			return worst, known, since
		}
		known = true
		worst, v.met = max(worst, h.GustCM), v.met && h.GustCM <= limit
		k.at(h.At + hourMS)
	}
	return worst, known, since
}

// bearing finds the same of the gusts measured. One over the limit counts until an
// hour is past and a lower one was measured: nobody knows that the wind has dropped.
func (k *look) bearing(limit int, v *ruling) (worst int, known bool, since int64) {
	since = k.zero
	var list []gust
	measured := func(t int64, cms int, sure bool) {
		if k.past(t) {
			list = append(list, gust{t, cms, sure})
		}
	}
	k.wall.Readings.Gusts(k.now-gustAhead, measured)
	k.site.Air.Gusts(k.now-gustAhead, measured)
	slices.SortFunc(list, func(a, b gust) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.cms, b.cms)) })
	for i, g := range list {
		next, bears := g.at+gustKept, g.at+gustKept > k.now
		if i+1 < len(list) {
			next = max(next, list[i+1].at)
		} else {
			bears = bears || g.sure || g.cms > limit
			k.at(g.at + gustAhead)
		}
		k.at(g.at + gustKept)
		known = known || g.sure
		if bears {
			worst, v.met = max(worst, g.cms), v.met && g.cms <= limit
		} else if g.cms > limit {
			since = max(since, next)
		}
	}
	return worst, known, since
}

type gust struct {
	at   int64
	cms  int
	sure bool
}

const windUnknown = "unknown"

func ms(cms int) string { return formatFixed(float64(cms)/100, 1) }

// leanMost is the greatest lean over a wall's height, mm: ACI 117-10 has the
// lesser of 0.3 % of the height and 25 mm for a finished wall (from memory).
const leanMost = 25

// straight: the last reading of the string line was made after placing and is
// within tolerance, or an engineer released it.
func (k *look) straight() ruling {
	p, h := &k.wall.Pour, &k.wall.Holding
	limit := k.policy.LineMM
	v := ruling{need: fmt.Sprintf("at most %d in 3 m", limit), unit: "mm", have: "not read after placing", note: k.setBy(int64(limit), 6, nil)}
	after := max(p.LastConcrete, p.Corrected)
	for i := range h.Lines {
		l := &h.Lines[i]
		if !l.After || l.At < after || !k.past(l.At) {
			continue
		}
		lean := min(h.Geometry.Height*3/1000, leanMost)
		met := l.WorstMM <= limit && l.WholeMM <= 2*limit && l.LeanMM <= max(lean, limit)
		if met && (!l.Sure || !k.past(l.Late)) {
			continue
		}
		if v.have = fmt.Sprint(l.WorstMM); !met || !v.met {
			v.at = l.Late // the first of those in a row that were within it
		}
		v.met = met
		if l.WholeMM > 2*limit || l.LeanMM > max(lean, limit) {
			v.have = fmt.Sprintf("%d, %d over the whole wall, lean %d", l.WorstMM, l.WholeMM, l.LeanMM)
		}
	}
	if !v.met {
		v.at = 0
		if r := k.released(Straight, after, nil); r != nil {
			v.met, v.at, v.note = true, r.At, "released by "+r.By
		}
	}
	return v
}

// holds is how many reasons of a hold a note names.
const holds = 6

// hold: no person's hold, no untreated cold joint, no unanswered doubt.
func (k *look) hold(joints []Joint) ruling {
	v := ruling{met: true, at: k.zero, have: "none", need: "none"}
	var against []string
	for _, x := range k.wall.Holding.Holds {
		switch {
		case !k.past(x.At):
		case x.Released == 0 || !k.past(x.Released):
			against = append(against, fmt.Sprintf("hold %s by %s: %s", x.Name, x.By, x.Reason))
		default:
			v.at = max(v.at, x.Released)
		}
	}
	for _, j := range joints {
		if j.State == JointCold && !j.Treated && k.meets(j) {
			against = append(against, "cold joint at "+j.Where()+" is not treated")
		}
	}
	for _, d := range k.wall.Doubts() {
		if k.past(d.Since) {
			against = append(against, fmt.Sprintf("doubt: %s (message %d)", d.What, d.Message))
		}
	}
	if n := len(against); n > 0 {
		v.met, v.at, v.have, v.note = false, 0, fmt.Sprint(n), strings.Join(against[:min(n, holds)], "; ")
	}
	return v
}
