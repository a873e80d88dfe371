package scheduler

import "earlyage/projector/wall"

// The forecast of the strip: what is to be expected, never what opens.
const (
	horizon        = 30 * dayMS
	expectedMargin = 500 // hundredths of a kelvin, either way
	decayPermille  = 920 // of the difference between concrete and air, each hour: a time constant of 12 h (planning figure)
)

// expect projects the sums beyond the present: early and late by the forecast
// and its margin, likely by the forecast itself; beyond the forecast by the same
// hours of its last day; without one by the mean since the last concrete. It is
// always floor <= early <= likely <= late. Zero: not within 30 days.
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
	air := k.airAhead(acc)
	project := func(margin int64) int64 {
		at := k.project(acc, air, margin)
		if at == 0 {
			return 0
		}
		return max(floor, ceilMinute(at))
	}
	early, likely, late = project(expectedMargin), project(0), project(-expectedMargin)
	return early, likely, late
}

// airAhead is the expected air by the hour from the present, in centidegrees.
func (k *look) airAhead(acc *account) func(hour int64) int64 {
	hours := k.site.Hours
	first, last := k.now, int64(0)
	byHour := map[int64]int64{}
	for _, h := range hours {
		if h.At+hourMS > first {
			byHour[floorDiv(h.At, hourMS)] = int64(h.Latest)
			last = max(last, floorDiv(h.At, hourMS))
		}
	}
	mean := int64(acc.last.centi)
	if acc.last.source == FromNothing || acc.last.centi == wall.None {
		mean = 500 // nothing is known: cold enough to be no promise
	}
	previous := mean
	if len(byHour) == 0 {
		return func(int64) int64 { return mean }
	}
	return func(hour int64) int64 {
		for hour > last {
			hour -= 24
		}
		for h := hour; h <= hour+6; h++ {
			if c, ok := byHour[h]; ok {
				previous = c
				return c
			}
		}
		return previous
	}
}

// project runs the sums on, hour by hour, until the slowest rule reaches its need.
func (k *look) project(acc *account, air func(int64) int64, margin int64) int64 {
	sums := append([]int64(nil), acc.sums...)
	need := k.policy.AgeS * nanoHour
	start := floorDiv(k.now, slotMS) * slotMS
	over := int64(0) // how much warmer the concrete is than the air now
	if acc.last.source == FromTop || acc.last.source == FromCore {
		over = int64(acc.last.centi) - air(floorDiv(start, hourMS))
	}
	for at := start; at < start+horizon; at += hourMS {
		c := air(floorDiv(at, hourMS)) + over + margin
		c = max(-5000, min(c, 8000))
		over = over * decayPermille / 1000
		met, when := true, at
		for i, r := range k.policy.Rules {
			gain := tableOf(maturityOf(r)).Hour(int32(c))
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
