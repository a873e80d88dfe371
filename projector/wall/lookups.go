package wall

import (
	"cmp"
	"slices"
)

// Tracks lists the tracks in a fixed order.
func (r *Readings) Tracks() []*Track {
	keys := make([]string, 0, len(r.tracks))
	for k := range r.tracks {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	out := make([]*Track, len(keys))
	for i, k := range keys {
		out[i] = r.tracks[k]
	}
	return out
}

// Day returns one day since the epoch, or nil.
func (t *Track) Day(n int64) *Day {
	if y := t.days[n]; y != nil {
		return &y.Day
	}
	return nil
}

// Near is the reading before and the one after a moment, in Unix milliseconds
// and centidegrees; a zero time means that there is none. A minimum thermometer
// was read at the end of its time.
type Near struct {
	BeforeAt, AfterAt int64
	Before, After     int16
}

func (n *Near) see(at, moment int64, centi int16) {
	switch {
	case at <= moment && (n.BeforeAt == 0 || at > n.BeforeAt || at == n.BeforeAt && centi < n.Before):
		n.Before, n.BeforeAt = centi, at
	case at > moment && (n.AfterAt == 0 || at < n.AfterAt || at == n.AfterAt && centi < n.After):
		n.After, n.AfterAt = centi, at
	}
}

// Around finds the readings about a moment, at most 40 days back and 5 on.
func (t *Track) Around(at int64) Near {
	var n Near
	look := func(d int64) {
		y := t.days[d]
		if y == nil {
			return
		}
		for _, p := range y.points {
			n.see(p.at, at, p.centi)
		}
		for _, s := range y.spans {
			n.see(s.to, at, s.centi)
		}
	}
	today := floorDiv(at, dayMS)
	// What began up to four days before may have been read last.
	for d := today; d > today-40 && (n.BeforeAt == 0 || d > floorDiv(n.BeforeAt, dayMS)-4); d-- {
		look(d)
	}
	for d := today + 1; d <= today+5 && (n.AfterAt == 0 || d <= floorDiv(n.AfterAt, dayMS)); d++ {
		look(d)
	}
	return n
}

// Frosts yields the moments, in Unix milliseconds and no set order, at which the
// track said, or may have said, 0 °C or less, from one moment to another.
func (t *Track) Frosts(from, to int64, yield func(at int64)) {
	for n := floorDiv(from, dayMS) - 4; n <= floorDiv(to, dayMS); n++ {
		y := t.days[n]
		if y == nil {
			continue
		}
		for _, at := range y.frosts {
			if at >= from && at <= to {
				yield(at)
			}
		}
	}
	for _, y := range t.loose {
		for _, s := range y.maybe {
			if s.from <= to && s.to >= from {
				yield(max(s.from, from))
				yield(min(s.to, to))
			}
		}
	}
}

// Hottest returns the highest reading of a place from one moment to another,
// maxima and what is in doubt included; None if there is nothing. It is sure if
// something of it is not in doubt: what is in doubt alone may have been read at
// another time, and does not say how cool it was.
func (r *Readings) Hottest(place string, from, to int64) (centi int16, sure bool) {
	centi = None
	see := func(c int16, doubt bool) { centi, sure = max(centi, c), sure || !doubt }
	for _, t := range r.tracks {
		if t.Place != place {
			continue
		}
		for n := floorDiv(from, dayMS) - 2; n <= floorDiv(to, dayMS); n++ {
			y := t.days[n]
			if y == nil {
				continue
			}
			for _, p := range y.points {
				if p.at >= from && p.at <= to {
					see(p.centi, false)
				}
			}
		}
		for _, y := range t.loose {
			for _, s := range y.hots {
				if s.from <= to && s.to >= from {
					see(s.centi, s.doubt)
				}
			}
		}
	}
	return centi, sure
}

// LastAt returns the moment of the last reading that counts, Unix milliseconds;
// false if there is none.
func (t *Track) LastAt() (int64, bool) { return t.last, t.last != 0 }

// Typed reports whether the track's last reading was typed by a person or read
// off a minimum and maximum thermometer.
func (t *Track) Typed() bool { return t.typed }

// ReadBefore returns the last reading of some places at or before a moment and
// at most so long before it, Unix milliseconds; false if there is none.
func (r *Readings) ReadBefore(at, within int64, places ...string) (int64, bool) {
	var last int64
	for _, t := range r.tracks {
		if !slices.Contains(places, t.Place) {
			continue
		}
		for n := floorDiv(at, dayMS); n >= floorDiv(at-within, dayMS)-4; n-- {
			if y := t.days[n]; y != nil {
				last = max(last, y.before(at))
			}
		}
	}
	return last, last != 0 && at-last <= within
}

func (y *day) before(at int64) int64 {
	i, found := slices.BinarySearchFunc(y.points, at, func(p point, at int64) int { return cmp.Compare(p.at, at) })
	var last int64
	switch {
	case found:
		return at
	case i > 0:
		last = y.points[i-1].at
	}
	for _, s := range y.spans {
		if s.to <= at {
			last = max(last, s.to)
		}
	}
	return last
}

// Gusts yields every gust from a moment on, in Unix milliseconds and cm/s, in no
// set order. sure is false where its time is in doubt or it is voided: it then
// can shut, and makes nothing known.
func (r *Readings) Gusts(from int64, yield func(at int64, cms int, sure bool)) {
	for _, t := range r.tracks {
		if t.Place != PlaceWind {
			continue
		}
		for n, y := range t.days {
			if n < floorDiv(from-doubtReach, dayMS)-1 && len(y.points) > 0 && y.points[len(y.points)-1].at < from {
				continue
			}
			for _, p := range y.points {
				if p.at >= from {
					yield(p.at, int(p.centi), !p.typed)
				}
			}
		}
	}
}
