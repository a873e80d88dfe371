package scheduler

import (
	"math"
	"slices"

	"earlyage/projector/wall"
	"earlyage/scheduler/concrete"
)

// assumedC is the temperature taken for a joint where none is known, °C.
const assumedC = 30.0

// limit of an open joint.
type limit struct {
	ms  int64 // from placing, Unix ms
	set int64 // initial set itself, from placing
	by  string
}

// limitOf is the limit of a lift's surface over some stations, from placing to a
// moment: it never lengthens again as it cools.
func (k *look) limitOf(l *wall.Lift, placed, until int64, from, to int) limit {
	return k.felt(k.limitAt(l, placed, until), placed, until, from, to)
}

// felt takes in what the running vibrator said: a yes over all of the stations
// lengthens a limit once, a no over any of them ends it.
func (k *look) felt(lim limit, placed, until int64, from, to int) limit {
	grown := false
	for _, f := range k.wall.Pour.Felt {
		switch {
		case f.From > to || f.To < from || f.At < placed || f.At > min(until, placed+lim.ms):
		case !k.past(f.At):
		case !f.Sinks:
			return limit{ms: f.At - placed, by: "felt"}
		case !grown && f.From <= from && to <= f.To:
			grown = true
			if more := min(lim.ms+feltExtra, lim.set); more > lim.ms {
				lim.ms, lim.by = more, lim.by+", felt"
			}
		}
	}
	return lim
}

// leastLimit is what no joint of this wall can be under: a quick way past the
// joints that were covered in time.
func (k *look) leastLimit() int64 {
	p := &k.wall.Pour
	if slices.ContainsFunc(p.Felt, func(f wall.Felt) bool { return !f.Sinks }) {
		return 0
	}
	air, conc := k.heat(p.Started, p.LastConcrete)
	oldest := 0.0
	if p.Unloaded {
		oldest = concrete.UnknownAgeAtPlacingMin
	}
	hottest := p.Hottest
	for _, y := range p.Loads {
		hottest = max(hottest, y.Centi)
		switch {
		case y.LastLift == 0:
		case y.Batched == 0 || y.Batched > y.FirstLift:
			oldest = max(oldest, concrete.UnknownAgeAtPlacingMin)
		default:
			oldest = max(oldest, float64(y.LastLift-y.Batched)/float64(minuteMS))
		}
	}
	if hottest != wall.None {
		conc = max(conc, float64(hottest)/100)
	}
	return k.limitBy(air, conc, true, oldest).ms
}

// heat is the hottest that the air, and the concrete of the wall as a whole, was
// from one moment to another, °C. What nobody read is taken as hot.
func (k *look) heat(from, until int64) (air, conc float64) {
	key := [2]int64{from, until}
	if h, ok := k.heats[key]; ok {
		return h[0], h[1]
	}
	centi, sure := k.wall.Readings.Hottest("air", from-hourMS, until)
	c, onSite := k.site.Air.Hottest("air", from-hourMS, until)
	centi, sure = max(centi, c), sure || onSite
	air = assumedC
	if sure {
		air = float64(centi) / 100
	} else if c, has := k.forecastHottest(from, until); has {
		air = float64(c+airMargin) / 100
	}
	if centi != wall.None {
		air = max(air, float64(centi)/100)
	}
	conc = air
	for _, place := range [3]string{"top", "core", "fresh"} {
		if c, _ := k.wall.Readings.Hottest(place, from, until); c != wall.None {
			conc = max(conc, float64(c)/100)
		}
	}
	if k.heats == nil {
		k.heats = map[[2]int64][2]float64{}
	}
	k.heats[key] = [2]float64{air, conc}
	return air, conc
}

// forecastHottest is the hottest hour that any forecast gave.
func (k *look) forecastHottest(from, until int64) (centi int16, ok bool) {
	for _, h := range k.site.Hours {
		if h.At+hourMS < from {
			continue
		}
		if !k.past(h.At) || h.At > until {
			break
		}
		if !ok || h.Hottest > centi {
			centi, ok = h.Hottest, true
		}
	}
	return centi, ok
}

// liftCenti is the hottest that the lift's own concrete was said to be.
func (k *look) liftCenti(l *wall.Lift) int16 {
	hottest := l.Centi
	for _, y := range k.wall.Pour.Loads {
		if y.Name != "" && slices.Contains(l.Loads, y.Name) {
			hottest = max(hottest, y.Centi)
		}
	}
	return hottest
}

// batchedOf is when the lift's oldest load was batched, Unix ms; 0: not known.
func (k *look) batchedOf(l *wall.Lift) (batched int64) {
	for _, y := range k.wall.Pour.Loads {
		if y.Batched != 0 && y.Name != "" && slices.Contains(l.Loads, y.Name) && (batched == 0 || y.Batched < batched) {
			batched = y.Batched
		}
	}
	return batched
}

// aging is what bears on the limit of a lift's surface, wherever it was placed.
type aging struct {
	k         *look
	air, conc float64
	batched   int64
}

// aging looks at a lift from a moment on until another.
func (k *look) aging(l *wall.Lift, since, until int64) aging {
	air, conc := k.heat(since, until)
	if c := k.liftCenti(l); c != wall.None {
		conc = max(conc, float64(c)/100)
	}
	return aging{k, air, conc, k.batchedOf(l)}
}

// limit is that of the surface placed at a moment.
func (g aging) limit(placed int64) limit {
	if g.batched == 0 || g.batched > placed {
		return g.k.limitBy(g.air, g.conc, false, 0)
	}
	return g.k.limitBy(g.air, g.conc, true, float64(placed-g.batched)/float64(minuteMS))
}

func (k *look) limitAt(l *wall.Lift, placed, until int64) limit {
	return k.aging(l, placed, until).limit(placed)
}

func clamp(v, lo, hi float64) float64 { return math.Min(hi, math.Max(lo, v)) }

// limitBy is the shortest limit by the setting data of each mix.
func (k *look) limitBy(air, conc float64, known bool, age float64) limit {
	in := concrete.JointInputs{AirRule: concrete.JointJSCE, AirC: clamp(air, -60, 60), ConcreteC: clamp(conc, -50, 80), AgeKnown: known, AgeMin: clamp(age, 0, 1440)}
	site := k.policy.JointS
	if air > 25 {
		site = min(site, k.policy.JointHotS)
	}
	in.SiteMinutes = clamp(float64(site)/60, 5, 150)
	if !known {
		age = concrete.UnknownAgeAtPlacingMin
	}
	best := limit{ms: -1, set: -1}
	for _, in.MixSet = range k.mix.sets {
		got, err := concrete.EffectiveJointLimit(in)
		if err != nil { // the inputs are clamped to its ranges, so only a mix's own data can be off
			in.MixSet = nil
			if got, err = concrete.EffectiveJointLimit(in); err != nil {
				return limit{by: "unknown"}
			}
		}
		if ms := int64(math.Floor(got.Minutes * float64(minuteMS))); best.ms < 0 || ms < best.ms {
			best.ms, best.by = ms, got.Rule.String()
		}
		if set := max(0, int64(math.Floor((got.SetMinutes-age)*float64(minuteMS)))); best.set < 0 || set < best.set {
			best.set = set
		}
	}
	return best
}
