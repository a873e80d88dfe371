package scheduler

import (
	"cmp"
	"slices"

	"earlyage/projector/site"
	"earlyage/scheduler/concrete"
)

// The forecast of the strip: what is to be expected, never what opens.
const (
	horizon        = 30 * dayMS
	expectedMargin = 500        // hundredths of a kelvin, either way
	decayPermille  = 920        // of the difference between concrete and air, each hour: a time constant of 12 h (planning figure)
	readHolds      = 2 * hourMS // how long a reading says how much warmer the concrete is than the air
	unknownCenti   = 500        // nothing is known: cold enough to be no promise
)

// expect projects the sums beyond the present: early and late by the forecast
// and its margin, likely by the forecast itself; beyond the forecast by the same
// hours of its last day; without one by the last temperature that counted. It
// is always floor <= early <= likely <= late. Zero: not within 30 days.
func (k *look) expect(acc *account) (early, likely, late int64) {
	zero := k.zero
	if zero == 0 {
		return 0, 0, 0
	}
	floor := ceilMinute(zero + k.policy.FloorS*secondMS)
	if acc.metAt != 0 {
		at := max(floor, ceilMinute(acc.metAt))
		return at, at, at
	}
	if k.now-acc.counted > silentMS {
		k.at((floorDiv(k.now, hourMS) + 1) * hourMS) // nothing counts: what is to be expected moves with the hours
	}
	p := k.projection(acc)
	var tables []*concrete.Table
	for _, r := range k.policy.Rules {
		tables = append(tables, tableOf(maturityOf(r)))
	}
	to := func(margin int64) int64 {
		at := p.reach(tables, acc.sums, k.policy.AgeS*nanoHour, margin)
		if at == 0 {
			return 0
		}
		return max(floor, ceilMinute(at))
	}
	return to(expectedMargin), to(0), to(-expectedMargin)
}

// projection is what is expected of the temperatures to come.
type projection struct {
	now   int64   // Unix ms
	first int64   // hour of the first of the temperatures, since the epoch
	air   []int16 // by the hour
	last  int64   // the last temperature that counted
	over  int64   // how much warmer the concrete is than the air now
}

func (k *look) projection(acc *account) projection {
	p := projection{now: k.now, last: unknownCenti}
	if acc.counted != 0 {
		p.last = int64(acc.last.centi)
	}
	hours := k.site.Hours
	i, _ := slices.BinarySearchFunc(hours, k.now-hourMS+1, func(h site.Hour, at int64) int { return cmp.Compare(h.At, at) })
	for _, h := range hours[i:] {
		n := floorDiv(h.At, hourMS)
		if len(p.air) == 0 {
			p.first = n
		}
		for int64(len(p.air)) < n-p.first && len(p.air) > 0 { // an hour that no forecast gave is like the one before
			p.air = append(p.air, p.air[len(p.air)-1])
		}
		p.air = append(p.air, h.Latest)
		if len(p.air) > int(horizon/hourMS) {
			break
		}
	}
	if acc.readAt != 0 && k.now-acc.readAt <= readHolds {
		// Between two readings a substitute counts; that says nothing of the concrete.
		p.last = int64(acc.read)
		p.over = p.last - p.airAt(floorDiv(acc.readAt-1, hourMS))
	}
	return p
}

func (p *projection) airAt(hour int64) int64 {
	n := int64(len(p.air))
	if n == 0 {
		return p.last
	}
	i := max(hour-p.first, 0)
	if i >= n {
		day := min(n, 24)
		i = n - day + (i-n)%day
	}
	return int64(p.air[i])
}

// reach runs the sums on, hour by hour, until the slowest rule reaches the need.
func (p *projection) reach(tables []*concrete.Table, sums []int64, need, margin int64) int64 {
	sums = slices.Clone(sums)
	over := p.over
	start := floorDiv(p.now, slotMS) * slotMS
	for at := start; at < start+horizon; at += hourMS {
		c := max(-5000, min(p.airAt(floorDiv(at, hourMS))+over+margin, 8000))
		over = over * decayPermille / 1000
		met, when := true, max(at, p.now)
		for i, t := range tables {
			gain := t.Hour(int32(c))
			if sums[i] += gain * 3600; sums[i] < need {
				met = false
				continue
			}
			if gain > 0 {
				when = max(when, at+hourMS-(sums[i]-need)/gain*secondMS)
			}
		}
		if met {
			return when
		}
	}
	return 0
}
