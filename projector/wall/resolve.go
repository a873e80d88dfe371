package wall

import (
	"cmp"
	"slices"
	"time"

	"earlyage/events"
)

// settle resolves the stale days. all asks for every day, since an amendment
// may touch any.
func (r *Readings) settle(c *Changes, all bool) {
	for _, t := range r.tracks {
		resolved := false
		for _, y := range t.days {
			if y.stale = y.stale || all; y.stale {
				t.resolve(y, c)
				resolved = true
			}
		}
		if !resolved {
			continue
		}
		t.loose, t.last, t.typed = t.loose[:0], 0, false
		for _, y := range t.days {
			if y.reach.Late != 0 {
				t.loose = append(t.loose, y)
			}
			switch {
			case y.last > t.last:
				t.last, t.typed = y.last, y.typed
			case y.last == t.last:
				t.typed = t.typed && y.typed
			}
		}
		for n, y := range t.days {
			if y.stale && t.Place != PlaceWind {
				t.fillSlots(n, y)
			}
			y.stale = false
		}
	}
}

// resolve flattens the day's events into points and spans.
func (t *Track) resolve(y *day, c *Changes) {
	y.points, y.spans, y.frosts = y.points[:0], y.spans[:0], y.frosts[:0]
	y.caps, y.hots, y.maybe, y.reach = y.caps[:0], y.hots[:0], y.maybe[:0], Interval{}
	for i := range y.groups {
		if t.Place == PlaceWind {
			y.resolveWind(&y.groups[i], c)
		} else {
			y.resolveGroup(&y.groups[i], t, c)
		}
	}
	slices.SortStableFunc(y.points, func(a, b point) int {
		if t.Place == PlaceWind {
			return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(b.centi, a.centi))
		}
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.centi, b.centi))
	})
	if t.Place == PlaceWind {
		return
	}
	// Two readings at one moment: the colder stands.
	y.points = slices.CompactFunc(y.points, func(a, b point) bool { return a.at == b.at })
	y.last = 0
	if n := len(y.points); n > 0 {
		y.last, y.typed = y.points[n-1].at, y.points[n-1].byHand
	}
	for _, p := range y.points {
		if p.centi <= 0 {
			y.frosts = append(y.frosts, p.at)
		}
	}
	for _, s := range y.spans {
		if s.to >= y.last {
			y.last, y.typed = s.to, true
		}
		if s.centi <= 0 {
			y.frosts = append(y.frosts, s.from, s.to)
		}
	}
}

// resolveWind counts every version of a gust at its late end.
func (y *day) resolveWind(g *group, c *Changes) {
	versions, maybe, gone := c.readings(g, PlaceWind, "")
	if gone {
		return
	}
	for _, v := range versions {
		y.points = append(y.points, point{at: v.points[0].at + g.hi, centi: v.points[0].centi, typed: g.doubt || maybe})
	}
}

func (y *day) resolveGroup(g *group, t *Track, c *Changes) {
	if c == nil || !c.bears(g.key) { // as nearly all
		if g.doubt {
			y.doubt(g, 0)
		} else {
			y.put(g, false)
		}
		return
	}
	versions, maybe, gone := c.readings(g, t.Place, t.Probe)
	if gone {
		return
	}
	signed := c.signedBySecond(g)
	for i := range versions {
		v := &versions[i]
		if maybe || g.doubt || len(versions) > 1 {
			y.doubt(v, 0)
		}
		if !maybe && !g.doubt {
			y.put(v, signed)
		}
	}
}

// put lets readings count.
func (y *day) put(v *group, signed bool) {
	if v.last()+v.lo > v.recorded+clockTolerance {
		y.doubt(v, 0) // said to be measured after it was recorded
		return
	}
	if v.from != 0 {
		s := span{from: v.from + v.lo, to: v.to + v.lo, centi: v.points[0].centi, typed: v.typed && !signed}
		y.spans = append(y.spans, s)
		y.loosen(&y.hots, span{from: s.from, to: s.to, centi: v.high})
		return
	}
	for _, p := range v.points {
		if p.centi > hottest { // no concrete: a broken probe
			y.loosen(&y.hots, span{from: p.at + v.lo, to: p.at + v.lo, centi: hottest})
			continue
		}
		y.points = append(y.points, point{p.at + v.lo, p.centi, v.typed && !signed, v.typed})
	}
	if v.typed && v.entered-v.first() > rememberedAfter {
		y.doubt(v, rememberedBy)
	}
}

// doubt keeps readings whose time or value is not sure, give or take a while:
// they can only make a slot colder, and a joint hotter.
func (y *day) doubt(v *group, while int64) {
	reach := v.plausible()
	for i, p := range v.points {
		at := Interval{max(p.at+v.lo-while, reach.Early), p.at + v.hi + while}
		from, to := at.Early, at.Late
		switch {
		case v.from != 0:
			from = max(v.from+v.lo-while, reach.Early)
			at.Early = from
		case i > 0:
			from = min(from, max(v.points[i-1].at+v.lo, reach.Early))
		}
		if i+1 < len(v.points) {
			to = max(to, v.points[i+1].at+v.hi)
		}
		y.loosen(&y.caps, span{from: from - slotMS, to: to + slotMS, centi: p.centi})
		y.loosen(&y.hots, span{from: at.Early, to: at.Late, centi: max(p.centi, v.high), doubt: true})
		if p.centi <= 0 {
			y.loosen(&y.maybe, span{from: at.Early, to: at.Late, centi: p.centi})
		}
	}
}

func (y *day) loosen(list *[]span, s span) {
	*list = append(*list, s)
	if y.reach.Late == 0 {
		y.reach = Interval{s.from, s.to}
	}
	y.reach = y.reach.hull(Interval{s.from, s.to})
}

// readings resolves the versions of a group that was amended or voided. An
// amendment cannot move a reading to another probe: it then counts as in doubt,
// until it is voided and entered again.
func (c *Changes) readings(g *group, place, probe string) (versions []group, maybe, gone bool) {
	versions = []group{*g}
	if c == nil || !c.bears(g.key) {
		return versions, false, false
	}
	f := &Fact{Event: events.Event{ID: g.key.ID, By: g.by}}
	if src, err := events.ParseSource(g.key.Source); err == nil {
		f.Source = src
	}
	moved := false
	for _, a := range c.amended[g.key] {
		d := a.Data.(*events.RecordAmended)
		undone, final := c.undone(a)
		if d.Kind != "temperature.read" && d.Kind != "wind.read" || (d.Kind == "wind.read") != (place == PlaceWind) || final {
			continue
		}
		if p, q := placeOf(d.Replacement(), f.Source.Device); place != PlaceWind && (p != place || q != probe) {
			moved = true
			continue
		}
		v := *g
		v.fill(d.Replacement(), time.UnixMilli(g.entered))
		if c.countersigned(a) && !undone {
			versions = []group{v}
			continue
		}
		versions = append(versions, v)
	}
	maybe, gone = c.undone(f)
	return versions, (maybe || moved) && !gone, gone
}

func (c *Changes) signedBySecond(g *group) bool {
	if c == nil {
		return false
	}
	for _, s := range c.signed[g.key] {
		if s.By != "" && s.By != g.by && c.stands(s) {
			return true
		}
	}
	return false
}
