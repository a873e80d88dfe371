package scheduler

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"earlyage/projector/wall"
	"earlyage/scheduler/concrete"
)

// assumedC is the temperature taken for a joint where none is known, °C.
const assumedC = 30.0

// feltExtra is what a joint gains, once, when the running vibrator still sinks
// into it under its own weight.
const feltExtra = 15 * minuteMS

// limit of an open joint.
type limit struct {
	ms  int64 // from placing, Unix ms
	by  string
	air float64
}

// joints lists the open fronts and the joints that were covered past their
// limit, in order of station and height.
func (k *look) joints() []Joint {
	var out []Joint
	p := &k.wall.Pour
	if p.Finished == 0 && !(p.Stopped && p.Planned) {
		out = k.openJoints()
	}
	least := k.leastLimit()
	for i := range p.Contacts {
		c := &p.Contacts[i]
		if c.AgeMS <= least {
			continue
		}
		lim := k.limitOf(&p.Lifts[c.Lower], c.Placed, c.Covered, c.From, c.To)
		if c.AgeMS <= lim.ms {
			continue
		}
		out = append(out, Joint{FromM: metres(c.From), ToM: metres(c.To), TopM: metres(c.Level), HeadM: metres(c.Head), Placed: moment(c.Placed), Deadline: moment(c.Placed + lim.ms),
			AgeMin: minutesOf(c.AgeMS), LimitMin: minutesOf(lim.ms), State: JointCold, LimitBy: lim.by, Treated: k.treated(c),
			CoveredBySeq: p.Lifts[c.Upper].Entry.Seq, LowerSeq: p.Lifts[c.Lower].Entry.Seq, LowerIdx: uint64(c.Lower)})
	}
	slices.SortFunc(out, func(a, b Joint) int {
		return cmp.Or(cmp.Compare(a.FromM, b.FromM), cmp.Compare(a.TopM, b.TopM), strings.Compare(a.State, b.State), cmp.Compare(a.LowerSeq, b.LowerSeq), cmp.Compare(a.CoveredBySeq, b.CoveredBySeq))
	})
	return out
}

func minutesOf(ms int64) float64 { return math.Floor(float64(ms)/float64(minuteMS)*10) / 10 }

// openJoints are the open fronts under the planned top, one for each lift that
// shows at the surface.
func (k *look) openJoints() []Joint {
	p := &k.wall.Pour
	byLift := map[int]int{}
	var out []Joint
	for _, s := range p.Stretches {
		if !p.Open(s) {
			continue
		}
		l := &p.Lifts[s.Top.Lift]
		mid := (s.From + s.To) / 2
		placed := min(l.EarlyAt(mid, s.From), l.EarlyAt(mid, s.To))
		if placed > k.now {
			continue
		}
		j := k.openJoint(l, s, placed)
		if i, seen := byLift[s.Top.Lift]; seen && out[i].ToM == j.FromM {
			out[i].merge(j)
			continue
		}
		byLift[s.Top.Lift] = len(out)
		out = append(out, j)
	}
	return out
}

func (j *Joint) merge(o Joint) {
	from := j.FromM
	if o.Deadline.Before(j.Deadline) {
		*j = o
	}
	j.FromM, j.ToM = from, o.ToM
}

func (k *look) openJoint(l *wall.Lift, s wall.Stretch, placed int64) Joint {
	lim := k.limitOf(l, placed, k.now, s.From, s.To)
	j := Joint{FromM: metres(s.From), ToM: metres(s.To), TopM: metres(s.Height()), Placed: moment(placed), Deadline: moment(placed + lim.ms),
		AgeMin: minutesOf(k.now - placed), LimitMin: minutesOf(lim.ms), LimitBy: lim.by, LowerSeq: l.Entry.Seq, LowerIdx: uint64(s.Top.Lift)}
	closing := placed + lim.ms - closingFrom(lim.ms)
	switch {
	case k.now >= placed+lim.ms:
		j.State = JointPastLimit
	case k.now >= closing:
		j.State = JointClosing
	default:
		j.State = JointLive
	}
	k.at(closing)
	k.at(placed + lim.ms)
	return j
}

// closingFrom is how long before its end a joint is closing: the larger of the
// last fifth and 15 minutes.
func closingFrom(limitMS int64) int64 { return max(limitMS/5, 15*minuteMS) }

// leastLimit is what no joint of this wall can be under: a quick way past the
// joints that were covered in time.
func (k *look) leastLimit() int64 {
	p := &k.wall.Pour
	if p.Started == 0 {
		return 0
	}
	least := int64(math.MaxInt64)
	seen := map[string]bool{}
	for i := range p.Lifts {
		l := &p.Lifts[i]
		if seen[l.Load] {
			continue
		}
		seen[l.Load] = true
		lim := k.limitAt(l, p.Started, p.Started, max(p.LastConcrete, k.now))
		// A lift that is placed later from the same load is older when placed.
		least = min(least, lim.ms-(p.LastConcrete-p.Started))
	}
	return max(least, 0)
}

// limitOf is the limit of a lift's surface over some stations, from placing to a
// moment: it never lengthens again as it cools.
func (k *look) limitOf(l *wall.Lift, placed, until int64, from, to int) limit {
	lim := k.limitAt(l, placed, placed, until)
	for _, f := range k.wall.Pour.Felt {
		overlap := f.From <= to && f.To >= from
		if !overlap || f.At < placed || f.At > min(until, placed+lim.ms) {
			continue
		}
		if !f.Sinks {
			return limit{ms: max(0, f.At-placed), by: "felt", air: lim.air}
		}
		if grown := min(lim.ms+feltExtra, k.initialSet(l, placed, placed, until)); grown > lim.ms {
			lim.ms, lim.by = grown, lim.by+", felt"
		}
		break
	}
	return lim
}

// heat gathers the hottest air and concrete that bear on a lift.
func (k *look) heat(l *wall.Lift, from, until int64) (air, conc float64, known bool) {
	centi, ok := k.wall.Readings.Hottest("air", from-hourMS, until)
	if c, has := k.site.Air.Hottest("air", from-hourMS, until); has && (!ok || c > centi) {
		centi, ok = c, true
	}
	if c, has := k.forecastHottest(from, until); has && !ok {
		centi, ok = c+airMargin, true
	}
	air, conc, known = assumedC, assumedC, ok
	if ok {
		air, conc = float64(centi)/100, float64(centi)/100
	}
	if c := k.concreteCenti(l, from, until); c != wall.None {
		conc = float64(c) / 100
	} else if !ok {
		conc = assumedC
	}
	return air, conc, known
}

func (k *look) forecastHottest(from, until int64) (centi int16, ok bool) {
	for _, h := range k.site.Hours {
		if h.At+hourMS < from || h.At > until {
			continue
		}
		if !ok || h.Latest > centi {
			centi, ok = h.Latest, true
		}
	}
	return centi, ok
}

// concreteCenti is the hottest that the lift's concrete was said to be.
func (k *look) concreteCenti(l *wall.Lift, from, until int64) int16 {
	hottest := l.Centi
	for _, y := range k.wall.Pour.Loads {
		if y.Name == l.Load && y.Centi != wall.None {
			hottest = max(hottest, y.Centi)
		}
	}
	for _, place := range [3]string{"top", "core", "fresh"} {
		if c, ok := k.wall.Readings.Hottest(place, from, until); ok {
			hottest = max(hottest, c)
		}
	}
	return hottest
}

func (k *look) inputs(l *wall.Lift, placed, from, until int64) concrete.JointInputs {
	air, conc, _ := k.heat(l, from, until)
	in := concrete.JointInputs{AirRule: concrete.JointJSCE, AirC: clamp(air, -60, 60), ConcreteC: clamp(conc, -50, 80), MixSet: k.mix.set}
	site := k.policy.JointS
	if air > 25 {
		site = min(site, k.policy.JointHotS)
	}
	in.SiteMinutes = clamp(float64(site)/60, 5, 150)
	if at := k.batchedAt(l); at != 0 {
		in.AgeKnown, in.AgeMin = true, clamp(float64(placed-at)/float64(minuteMS), 0, 1440)
	}
	return in
}

func clamp(v, lo, hi float64) float64 { return math.Min(hi, math.Max(lo, v)) }

func (k *look) batchedAt(l *wall.Lift) int64 {
	for _, y := range k.wall.Pour.Loads {
		if y.Name == l.Load && l.Load != "" {
			return y.Batched
		}
	}
	return 0
}

func (k *look) limitAt(l *wall.Lift, placed, from, until int64) limit {
	in := k.inputs(l, placed, from, until)
	got, err := concrete.EffectiveJointLimit(in)
	if err != nil { // the inputs are clamped to its ranges, so only a mix's own data can be off
		in.MixSet = nil
		if got, err = concrete.EffectiveJointLimit(in); err != nil {
			return limit{by: "unknown"}
		}
	}
	return limit{ms: int64(math.Floor(got.Minutes * float64(minuteMS))), by: got.Rule.String(), air: in.AirC}
}

// initialSet is when the lift's surface sets, from placing: no extension goes past it.
func (k *look) initialSet(l *wall.Lift, placed, from, until int64) int64 {
	in := k.inputs(l, placed, from, until)
	got, err := concrete.EffectiveJointLimit(in)
	if err != nil {
		return 0
	}
	age := in.AgeMin
	if !in.AgeKnown {
		age = concrete.UnknownAgeAtPlacingMin
	}
	return int64(math.Floor((got.SetMinutes - age) * float64(minuteMS)))
}

// treated reports whether a cold joint was answered over its whole stretch.
func (k *look) treated(c *wall.Contact) bool {
	at := c.From
	if c.Nose() {
		return slices.ContainsFunc(k.wall.Pour.Treated, func(t wall.Treated) bool {
			return min(t.From, t.To) <= at && at <= max(t.From, t.To) && t.At <= k.now
		})
	}
	for {
		reach := at
		for _, t := range k.wall.Pour.Treated {
			if min(t.From, t.To) <= at && t.At <= k.now {
				reach = max(reach, t.From, t.To)
			}
		}
		if reach >= c.To {
			return true
		}
		if reach == at {
			return false
		}
		at = reach
	}
}
