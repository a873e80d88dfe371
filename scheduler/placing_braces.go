package scheduler

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"earlyage/projector/wall"
	"earlyage/scheduler/concrete"
)

// Where braces stand: common practice, no source, and from memory (trade
// practice), mm.
var (
	braceSpacing = int(math.Round(concrete.CustomaryBraceSpacing * 1000))
	braceBeside  = int(math.Round(concrete.CustomaryBraceOffset * 1000))
)

// braceNames is how many places or braces a text names.
const braceNames = 4

// braceAlerts tell of braces that stand too far apart, and of disturbed ones.
func (k *look) braceAlerts(c *collector, a *Assessment) {
	k.disturbed(c)
	if a.State == StateStripped || !a.Strip.CuredAt.IsZero() {
		return
	}
	braces := k.bracesAtPour()
	if len(braces) == 0 {
		if k.wall.Holding.LaidOut {
			c.point("braces: none is recorded")
		}
		return
	}
	missing := slices.Concat(k.gaps(braces), k.bare(braces))
	if len(missing) == 0 {
		return
	}
	what := missingText(missing)
	if p := &k.wall.Pour; len(p.Lifts) > 0 {
		c.add(AlertBraceSpacing, "braces", p.Started, "Braces are missing: %s (1.8 m: common practice, no source; 0.6 m from corners and openings: from memory, trade practice). Set them before more is placed.", what).
			place(metres(missing[0].from), metres(missing[0].to))
		return
	}
	c.point("braces: %s", what)
}

// unbraced is a place where a brace is missing, mm.
type unbraced struct {
	from, to int
	text     string
}

func missingText(missing []unbraced) string {
	var texts []string
	for _, m := range missing[:min(braceNames, len(missing))] {
		texts = append(texts, m.text)
	}
	if n := len(missing) - braceNames; n > 0 {
		texts = append(texts, fmt.Sprintf("and %d more", n))
	}
	return strings.Join(texts, "; ")
}

// bracesAtPour are the stations of the braces that stood when the wall was
// placed, or stand now; before any is set those planned. In order.
func (k *look) bracesAtPour() []int {
	var set, planned []int
	for _, b := range k.wall.Holding.Braces {
		switch {
		case b.At < 0:
		case b.Set != 0 && (b.Stripped == 0 || b.Stripped >= k.wall.Pour.Started && k.wall.Pour.Started != 0):
			set = append(set, b.At)
		case b.Set == 0 && b.Planned:
			planned = append(planned, b.At)
		}
	}
	if len(set) > 0 || len(k.wall.Pour.Lifts) > 0 {
		return set
	}
	return planned
}

// gaps are the places over which no brace stands for more than 1.8 m.
func (k *look) gaps(braces []int) (out []unbraced) {
	g := &k.wall.Holding.Geometry
	over := func(from, to int) {
		if to-from > braceSpacing {
			end := to
			if g.Closed && end > g.Length { // it runs on round station 0
				end -= g.Length
			}
			out = append(out, unbraced{from, end, fmt.Sprintf("%.1f m without one from %.1f m on", metres(to-from), metres(from))})
		}
	}
	first, last := braces[0], braces[len(braces)-1]
	if !g.Closed {
		over(0, first)
	}
	for i := 1; i < len(braces); i++ {
		over(braces[i-1], braces[i])
	}
	if g.Closed {
		over(last, g.Length+first)
	} else {
		over(last, g.Length)
	}
	return out
}

// bare are the corners and the edges of openings with no brace within 0.6 m.
func (k *look) bare(braces []int) (out []unbraced) {
	g := &k.wall.Holding.Geometry
	for _, at := range g.Corners {
		if !k.braced(braces, at) {
			out = append(out, unbraced{at, at, fmt.Sprintf("none by the corner at %.1f m", metres(at))})
		}
	}
	for i := range g.Openings {
		o := &g.Openings[i]
		for _, at := range [2]int{o.From, o.To} {
			if !k.braced(braces, at) {
				out = append(out, unbraced{at, at, fmt.Sprintf("none by the edge of %s at %.1f m", openingName(o), metres(at))})
			}
		}
	}
	return out
}

// braced reports whether a brace stands within 0.6 m of a station.
func (k *look) braced(braces []int, at int) bool {
	i, _ := slices.BinarySearch(braces, at)
	n := len(braces)
	return k.apart(braces[i%n], at) <= braceBeside || k.apart(braces[(i+n-1)%n], at) <= braceBeside
}

// disturbed tells of braces that nobody has found sound since they were
// disturbed: one alert for those that were disturbed together.
func (k *look) disturbed(c *collector) {
	together := map[int64][]string{}
	for _, b := range k.wall.Holding.Braces {
		if b.Disturbed > b.Inspected && b.Stripped == 0 && k.past(b.Disturbed) {
			together[b.Disturbed] = append(together[b.Disturbed], b.Name)
		}
	}
	for at, names := range together {
		more := ""
		if n := len(names) - braceNames; n > 0 {
			more = fmt.Sprintf(" and %d more", n)
		}
		c.add(AlertBraceDisturbed, "disturbed "+moment(at).Format("2006-01-02T15:04:05Z"), at, "Brace %s%s: disturbed at %s and not found sound since. Keep out to the wall's height + 1.2 m, make it sound, and enter the inspection.",
			strings.Join(names[:min(braceNames, len(names))], ", "), more, k.local(at)).braces(k, names).clear(k)
	}
}

// worksAlerts tell of forms that moved and of earth against the wall.
func (k *look) worksAlerts(c *collector) {
	h := &k.wall.Holding
	for _, m := range h.Moves {
		if !k.past(m.At) || k.looked(m.AtM, m.AtM, m.Late) {
			continue
		}
		how := map[string]string{"bulge": "bulged", "blow-out": "burst", "lift": "rose"}[m.What]
		if m.MM > 0 {
			how += fmt.Sprintf(" by %d mm", m.MM)
		}
		c.add(AlertFormMoved, "form "+m.ID, m.At, "The form %s at %.1f m at %s. Place nothing there, clear both sides, and enter what a person sees of the concrete.", how, metres(m.AtM), k.local(m.At)).
			place(metres(m.AtM), metres(m.AtM)).clear(k)
	}
	for _, b := range h.Backfills {
		// A release speaks of earth that comes after it, or that it can know of.
		known := func(r wall.Release) bool { return r.At <= b.At || r.Seq > b.Seq }
		if k.past(b.At) && k.released("backfill", 0, known) == nil {
			c.add(AlertBackfillEarly, "backfill "+b.ID, b.At, "Earth was placed against the wall %s, and no engineer has released it. Stop, keep people and machines away, and ask the engineer.", k.local(b.At)).clear(k)
		}
	}
}
