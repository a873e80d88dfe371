package wall

import (
	"cmp"
	"slices"
)

// hottest is the temperature over which no rule of maturity is stated, and a
// reading counts as none.
const hottest = 8000

// Typed readings above warmTyped, or over jumpTyped above a neighbour, wait for
// a second person and count at that limit until then.
const (
	warmTyped = 3000
	jumpTyped = 1000
)

// flat gathers the points that bear on day n: its own, those of series begun
// the days before, and one neighbour on each side.
func (t *Track) flat(n int64) []point {
	out := t.scratch[:0]
	for d := n - 2; d <= n+1; d++ {
		if y := t.days[d]; y != nil {
			out = append(out, y.points...)
		}
	}
	t.scratch = out
	order := func(a, b point) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.centi, b.centi)) }
	if !slices.IsSortedFunc(out, order) {
		slices.SortStableFunc(out, order)
	}
	out = slices.CompactFunc(out, func(a, b point) bool { return a.at == b.at })
	limitTyped(len(out), func(i int) (*int16, bool) { return &out[i].centi, out[i].typed })
	return out
}

// limitTyped lets readings that one person typed count no warmer than they may,
// by what stands beside them.
func limitTyped(n int, at func(i int) (centi *int16, typed bool)) {
	var before int16 // as it was read
	for i := range n {
		c, typed := at(i)
		raw := *c
		if typed {
			*c = min(raw, warmTyped)
			if i > 0 {
				*c = min(*c, before+jumpTyped)
			}
			if i+1 < n {
				next, _ := at(i + 1)
				*c = min(*c, *next+jumpTyped)
			}
		}
		before = raw
	}
}

// flatSpans gathers the minimum thermometers that bear on day n, those typed by
// one person alone no warmer than such a reading may count.
func (t *Track) flatSpans(n int64) []span {
	var out []span
	for d := n - 4; d <= n+1; d++ {
		if y := t.days[d]; y != nil {
			out = append(out, y.spans...)
		}
	}
	slices.SortStableFunc(out, func(a, b span) int {
		return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to), cmp.Compare(a.centi, b.centi))
	})
	limitTyped(len(out), func(i int) (*int16, bool) { return &out[i].centi, out[i].typed })
	return out
}

// fillSlots computes the mean temperature of every slot of day n that lies
// wholly between two readings at most 45 minutes apart, or under a minimum and
// maximum thermometer.
func (t *Track) fillSlots(n int64, y *day) {
	for i := range y.Slots {
		y.Slots[i] = None
	}
	begin := n * dayMS
	points := t.flat(n)
	lo, _ := slices.BinarySearchFunc(points, begin, func(p point, at int64) int { return cmp.Compare(p.at, at) })
	lo = max(lo-1, 0)
	for i := range y.Slots {
		from := begin + int64(i)*slotMS
		for lo+1 < len(points) && points[lo+1].at <= from {
			lo++
		}
		if v, ok := slotMean(points[min(lo, len(points)):], from); ok {
			y.Slots[i] = v
		}
	}
	y.overlay(begin, t.flatSpans(n))
	y.Capped = nil
	for _, o := range t.loose {
		if o.reach.Early < begin+dayMS && o.reach.Late > begin {
			y.cap(begin, o.caps)
		}
	}
	y.Lowest = None
	for _, c := range y.Slots {
		if c != None && (y.Lowest == None || c < y.Lowest) {
			y.Lowest = c
		}
	}
}

// slotMean integrates the straight lines between readings over one slot,
// rounded down; false where the slot is not covered.
func slotMean(points []point, from int64) (int16, bool) {
	to := from + slotMS
	if len(points) == 0 || points[0].at > from {
		return None, false
	}
	var area int64 // centidegrees times two times milliseconds
	at := from
	for i := 0; i+1 < len(points) && at < to; i++ {
		a, z := points[i], points[i+1]
		if z.at <= at {
			continue
		}
		if z.at-a.at > silentMS {
			return None, false
		}
		end := min(z.at, to)
		area += (valueAt(a, z, at) + valueAt(a, z, end)) * (end - at)
		at = end
	}
	if at < to {
		return None, false
	}
	return int16(floorDiv(floorDiv(area, 2*1000), slotMS)), true // #nosec G115 -- a mean of int16
}

// valueAt interpolates in thousandths of a centidegree, rounded down.
func valueAt(a, z point, at int64) int64 {
	return int64(a.centi)*1000 + floorDiv((int64(z.centi)-int64(a.centi))*1000*(at-a.at), z.at-a.at)
}

// overlay lets a minimum thermometer count over the whole slots that it covers.
func (y *day) overlay(begin int64, spans []span) {
	for _, s := range spans {
		for i := max(0, ceilDiv(s.from-begin, slotMS)); i < min(slotsPerDay, floorDiv(s.to-begin, slotMS)); i++ {
			if y.Slots[i] == None || s.centi < y.Slots[i] {
				y.Slots[i] = s.centi
			}
		}
	}
}

// cap makes slots colder by what is in doubt.
func (y *day) cap(begin int64, caps []span) {
	for _, s := range caps {
		for i := max(0, floorDiv(s.from-begin, slotMS)); i < min(slotsPerDay, ceilDiv(s.to-begin, slotMS)); i++ {
			if y.Capped == nil {
				y.Capped = new([slotsPerDay]int16)
				for j := range y.Capped {
					y.Capped[j] = None
				}
			}
			if y.Capped[i] == None || s.centi < y.Capped[i] {
				y.Capped[i] = s.centi
			}
			if y.Slots[i] != None {
				y.Slots[i] = min(y.Slots[i], s.centi)
			}
		}
	}
}

func ceilDiv(a, b int64) int64 { return -floorDiv(-a, b) }
