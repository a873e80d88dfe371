package scheduler

// gustBand is by how much a gust has to stay under the limit for it to be over, cm/s.
const gustBand = 100

// gustAlert tells of a gust over the limit while nothing but its braces holds
// the wall: an empty form is a sail, and a green wall no better.
func (k *look) gustAlert(c *collector, a *Assessment) {
	h := &k.wall.Holding
	tied := h.TiedIn != 0 && h.TiedIn <= k.now
	if tied || a.State == StateStripped || len(k.mayHaveStood(k.now)) == 0 && len(k.wall.Pour.Lifts) == 0 {
		return
	}
	limit, worst, first, near := k.policy.GustCM, 0, int64(0), false
	over := func(at int64, cms int, _ bool) {
		if cms <= limit-gustBand || !k.past(at) || at+gustKept <= k.now {
			return
		}
		k.at(at + gustKept)
		if near = true; cms <= limit {
			return
		}
		worst = max(worst, cms)
		if first == 0 || at < first {
			first = at
		}
	}
	k.wall.Readings.Gusts(k.now-gustKept, over)
	k.site.Air.Gusts(k.now-gustKept, over)
	if first == 0 {
		if near {
			c.nearing(AlertWindHigh, "wind")
		}
		return
	}
	c.add(AlertWindHigh, "wind", first, "Gust of %s m/s since %s, limit %s m/s, and only its braces hold the wall. Keep out to the wall's height + 1.2 m. Look at every brace before anybody goes back.",
		ms(worst), k.clockOnly(first), ms(limit)).measured("wind", float64(worst)/100, float64(limit)/100).clear(k)
}
