package scheduler

import (
	"fmt"
	"slices"
	"strings"

	"earlyage/projector/wall"
)

// support: something holds the wall up, or an engineer says that it may stand free.
func (k *look) support(at int64) ruling {
	h := &k.wall.Holding
	v := ruling{need: "tied in, or an engineer's word", have: "not tied in"}
	switch {
	case h.TiedIn != 0 && h.TiedIn <= at:
		v.met, v.at, v.have = true, h.TiedIn, "tied in"
		return v
	case !k.policy.TieInNeeded && !h.TieInNeeded:
		return ruling{met: true, at: k.zero, have: "not asked", need: "not asked", note: k.setBy(false)}
	}
	if r := k.freeStanding(at); r != nil {
		v.met, v.at = true, r.At
		v.have = fmt.Sprintf("may stand free to %s m/s", formatFixed(float64(r.GustCM)/100, 1))
		v.note = "by " + r.By + " " + r.Drawing
		if r.MPa100 > 0 {
			v.at = max(v.at, k.strengthShownAt(r.MPa100))
		}
	}
	return v
}

// freeStanding is an engineer's word that the wall may stand free, if the
// strength that it asks for is shown.
func (k *look) freeStanding(at int64) *wall.Release {
	return k.released("support", 0, func(r wall.Release) bool {
		if r.At > at || r.GustCM < 0 {
			return false
		}
		shown := k.strengthShownAt(r.MPa100)
		return r.MPa100 == 0 || shown != 0 && shown <= at
	})
}

// gustKept is how long a measured gust keeps the strip shut, and gustAhead how
// far a forecast one does.
const (
	gustKept  = hourMS
	gustAhead = 24 * hourMS
)

// wind: gusts measured in the last hour and forecast for the next 24 h.
func (k *look) wind(at int64) ruling {
	limit := k.policy.GustCM
	if r := k.freeStanding(at); r != nil && k.wall.Holding.TiedIn == 0 {
		limit = min(limit, r.GustCM)
	}
	v := ruling{met: true, need: "at most " + ms(limit), unit: "m/s", note: k.setBy(limit == 900)}
	worst, known, since := k.gusts(at, limit, &v)
	switch {
	case !known:
		v.met, v.have, v.note = false, "unknown", "no gust was measured or forecast within 24 h"
	case !v.met:
		v.have = ms(worst)
	default:
		v.have, v.at = ms(worst), since
	}
	return v
}

// gusts finds the worst gust that bears on a strip at a moment, whether any is
// known, and since when none was over the limit.
func (k *look) gusts(at int64, limit int, v *ruling) (worst int, known bool, since int64) {
	since = k.zero
	measured := func(t int64, cms int) {
		if t > at {
			return
		}
		known = true
		k.at(t + gustAhead)
		if t+gustKept > at {
			worst = max(worst, cms)
			v.met = v.met && cms <= limit
			k.at(t + gustKept)
		} else if cms > limit {
			since = max(since, t+gustKept)
		}
	}
	k.wall.Readings.Gusts(at-gustAhead, measured)
	k.site.Air.Gusts(at-gustAhead, measured)
	for _, h := range k.site.Hours {
		switch {
		case h.GustCM < 0 || h.At+hourMS <= at:
			continue
		case h.At > at+gustAhead:
			k.at(h.At - gustAhead)
			return worst, known, since
		}
		known = true
		worst = max(worst, h.GustCM)
		v.met = v.met && h.GustCM <= limit
		k.at(h.At + hourMS)
	}
	return worst, known, since
}

func ms(cms int) string { return formatFixed(float64(cms)/100, 1) }

// straight: the last reading of the string line was made after placing and is
// within tolerance, or an engineer released it.
func (k *look) straight(at int64) ruling {
	p, h := &k.wall.Pour, &k.wall.Holding
	limit := k.policy.LineMM
	v := ruling{need: fmt.Sprintf("at most %d in 3 m", limit), unit: "mm", have: "not read after placing"}
	after := max(p.LastConcrete, p.Corrected)
	for i := range h.Lines {
		l := &h.Lines[i]
		if !l.After || l.At < after || l.At > at {
			continue
		}
		lean := h.Geometry.Height * 3 / 1000
		v.have, v.at = fmt.Sprint(l.WorstMM), l.At
		v.met = l.WorstMM <= limit && l.WholeMM <= 2*limit && l.LeanMM <= max(lean, limit)
	}
	if !v.met {
		v.at = 0
		if r := k.released("straight", after, func(r wall.Release) bool { return r.At <= at }); r != nil {
			v.met, v.at, v.note = true, r.At, "released by "+r.By
		}
	}
	return v
}

// hold: no person's hold, no untreated cold joint, no unanswered doubt.
func (k *look) hold(at int64, joints []Joint) ruling {
	v := ruling{met: true, at: k.zero, have: "none", need: "none"}
	var against []string
	for _, x := range k.wall.Holding.Holds {
		switch {
		case x.At > at:
		case x.Released == 0 || x.Released > at:
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
		if d.Since <= at {
			against = append(against, fmt.Sprintf("doubt: %s (message %d)", d.What, d.Message))
		}
	}
	if n := len(against); n > 0 {
		v.met, v.at, v.have, v.note = false, 0, fmt.Sprint(n), strings.Join(against[:min(n, 6)], "; ")
	}
	return v
}

// permit: where the site asks for one, a permit to strip that was issued once
// the criteria before it were met, and still stands.
func (k *look) permit(at, opens int64) ruling {
	if !k.policy.PermitNeeded {
		return ruling{met: true, at: k.zero, have: "not asked", need: "not asked", note: k.setBy(false)}
	}
	v := ruling{need: "a permit to strip", have: "none"}
	for _, p := range k.wall.Holding.Permits {
		switch {
		case p.For != "strip" || p.At > at || v.met:
		case p.Withdrawn != 0 && p.Withdrawn <= at:
			v.have, v.note = p.Number+" withdrawn", ""
		case p.Until != 0 && p.Until <= at:
			v.have, v.note = p.Number+" lapsed", ""
		case !k.permits(p):
			v.have, v.note = p.Number+" for some braces", "braces "+strings.Join(p.Braces, ", ")
		case opens == 0 || p.At < opens:
			v.have, v.note = p.Number+" too early", "issued before the window opened: it does not count"
		default:
			v.met, v.at, v.have, v.note = true, p.At, p.Number, "issued by "+p.By
			k.at(p.Until)
		}
	}
	return v
}

// permits reports whether a permit is for what is looked at.
func (k *look) permits(p *wall.Permit) bool {
	if len(p.Braces) == 0 {
		return true
	}
	if k.brace != "" {
		return slices.Contains(p.Braces, k.brace)
	}
	return k.namesAll(p.Braces)
}

func (k *look) namesAll(names []string) bool {
	named := map[string]bool{}
	for _, n := range names {
		named[n] = true
	}
	for _, b := range k.wall.Holding.Braces {
		if b.Set != 0 && !named[b.Name] {
			return false
		}
	}
	return len(k.wall.Holding.Braces) > 0
}
