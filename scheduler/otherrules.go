package scheduler

import (
	"slices"

	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler/concrete"
)

// What each published rule would say of the same history: NUMBERS 10 lists them
// with their sources. They are shown beside the window and decide nothing.

// otherSum is one of them, as it is summed up.
type otherSum struct {
	OtherRule
	table *concrete.Table
	need  int64   // ns at the reference
	sum   int64   // ns
	metMS int64   // exact; 0: not
	scale float64 // from hours at the reference to the unit shown
	capC  int32   // no warmer counts, hundredths; 0: no limit
	from  int64   // not met before that long after clock zero, ms
	cool  int64   // the same where the mean was 7 °C or less
	area  int64   // hundredths of a degree times seconds
	run   int64   // seconds
}

func (o *otherSum) add(at, seconds int64, t slotTemp) {
	if t.source == FromNothing {
		return
	}
	c := int32(t.centi)
	if o.capC > 0 {
		c = min(c, o.capC)
	}
	o.area, o.run = o.area+int64(t.centi)*seconds, o.run+seconds
	if t.frozen {
		return
	}
	gain := o.table.Hour(c)
	if t.capped {
		gain = min(gain, nanoHour)
	}
	o.sum += gain * seconds
	if o.metMS == 0 && o.sum >= o.need && gain > 0 {
		o.metMS = at + seconds*secondMS - (o.sum-o.need)/gain*secondMS
		if o.cool > 0 && floorDiv(o.area, o.run) <= 700 {
			o.from = o.cool
		}
	}
}

// otherSums sums up all of them along one account.
type otherSums struct {
	k      *look
	a      *accountant
	list   []otherSum
	aciSec int64 // seconds of air above 10 °C
	aciMet int64
	isSec  int64 // seconds of air at 15 °C and above
	isMet  int64
	air    bool // air was read at all
}

func (k *look) otherRules(a *accountant) *otherSums {
	o := &otherSums{k: k, a: a}
	ageH := float64(k.policy.AgeS) / 3600
	for _, m := range []concrete.Maturity{
		concrete.DefaultMaturity(), {Rule: concrete.RuleArrhenius, QK: 5000, ReferenceC: 23}, {Rule: concrete.RuleFHP}, {Rule: concrete.RuleEN},
		{Rule: concrete.RuleSadgrove}, {Rule: concrete.RuleNurseSaul}, {Rule: concrete.RuleNurseSaul, DatumC: -10},
	} {
		x := otherSum{OtherRule: OtherRule{Name: m.Name(), Source: m.Rule.Source(), Unit: "h at 20 °C"}, table: tableOf(m), need: k.policy.AgeS * nanoHour, scale: 1}
		switch {
		case m.Rule == concrete.RuleNurseSaul:
			x.Unit, x.scale = "°C·h", 20-m.DatumC
		case m.ReferenceC == 23:
			x.Unit = "h at 23 °C"
		}
		x.Need = trimZero(ageH * x.scale)
		x.Policy = slices.ContainsFunc(k.policy.Rules, func(r site.Rule) bool { return maturityOf(r).Name() == m.Name() })
		o.list = append(o.list, x)
	}
	bs := otherSum{OtherRule: OtherRule{Name: "BS 8110 vertical faces", Source: "BS 8110-1:1997 Table 6.2 (from memory)", Unit: "°C·h", Need: "300",
		Note: "300/(t + 10) h: above -10 °C, no warmer than 25 °C; at least 12 h, 18 h at 7 °C and below; for faces, not bracing"},
		table: tableOf(concrete.Maturity{Rule: concrete.RuleNurseSaul, DatumC: -10}), need: 10 * 3600 * nanoHour, scale: 30, capC: 2500, from: 12 * hourMS, cool: 18 * hourMS}
	o.list = append(o.list, bs)
	return o
}

func (o *otherSums) reset() {
	for i := range o.list {
		x := &o.list[i]
		x.sum, x.metMS, x.area, x.run = 0, 0, 0, 0
	}
}

func (o *otherSums) add(from, seconds int64, t slotTemp) {
	for i := range o.list {
		o.list[i].add(from, seconds, t)
	}
	slot := floorDiv(from, slotMS)
	air := at(o.a.slots[2], int(slot-o.a.day*slotsInDay))
	if air == wall.None {
		return
	}
	o.air = true
	end := from + seconds*secondMS
	if air > concrete.ACIWallAirC*100 {
		o.aciSec += seconds
		o.aciMet = metWhen(o.aciMet, o.aciSec, concrete.ACIWallHours, end)
	}
	if air >= concrete.IS456AirC*100 {
		o.isSec += seconds
		o.isMet = metWhen(o.isMet, o.isSec, concrete.IS456WallHoursLong, end)
	}
}

// metWhen keeps the moment at which a counter of seconds reached some hours.
func metWhen(met, seconds int64, hours float64, end int64) int64 {
	if over := seconds - int64(hours*3600); met == 0 && over >= 0 {
		return end - over*secondMS
	}
	return met
}

func (o *otherSums) finish(acc *account) []OtherRule {
	var out []OtherRule
	p := o.k.projection(acc)
	for i := range o.list {
		x := &o.list[i]
		x.Have = trimZero(floorTenth(float64(x.sum) / 3.6e12 * x.scale))
		if x.metMS != 0 {
			if at := ceilMinute(max(x.metMS, o.k.zero+x.from)); at <= o.k.now {
				x.Met, x.MetAt = true, moment(at)
			}
		} else if likely := p.reach([]*concrete.Table{x.table}, []int64{x.sum}, x.need, 0); likely != 0 && o.k.zero != 0 {
			x.Likely = moment(ceilMinute(max(likely, o.k.zero+x.from)))
		}
		out = append(out, x.OtherRule)
	}
	return append(out, o.byHours()...)
}

func floorTenth(v float64) float64 { return float64(int64(float64(v*10)+1e-9)) / 10 }

// byHours are the rules that count hours, and those that ask for a strength.
func (o *otherSums) byHours() []OtherRule {
	air := func(name, source, need, note string, seconds, met int64) OtherRule {
		r := OtherRule{Name: name, Source: source, Have: hoursText(seconds), Need: need, Unit: "h of air", Note: note}
		if !o.air {
			r.Have, r.Note = "unknown", "the air was not read; "+note
		}
		if met != 0 {
			r.Met, r.MetAt = true, moment(ceilMinute(met))
		}
		return r
	}
	return append([]OtherRule{
		air("ACI 347R walls", "ACI 347R-94 (found, concreteconstruction.net)", "12", "air above 10 °C, hours need not follow each other; an older summary has 12 to 24 h", o.aciSec, o.aciMet),
		air("IS 456 vertical faces", "IS 456:2000 11.3.1 (found, dreamhomeguide.in; afrozcivil.com)", "24", "16 to 24 h at 15 °C and above; the longer is shown", o.isSec, o.isMet),
		o.elapsed("Radford, thin walls in summer", "Radford's Cyclopedia of Construction, about 1909 (found, gluedideas.com)", concrete.RadfordHours(false), "2 days"),
		o.elapsed("Radford, thin walls in cold weather", "Radford's Cyclopedia of Construction, about 1909 (found, gluedideas.com)", concrete.RadfordHours(true), "5 days: the only published 48-hour rule with an adjustment for cold that was found"),
		o.elapsed("form ties, US Army manual", "EN5466A0135 (found, armyengineer.tpub.com)", concrete.ArmyTieHours, "ties only; walls not until thoroughly hardened"),
	}, o.strengths()...)
}

func (o *otherSums) elapsed(name, source string, hours float64, note string) OtherRule {
	r := OtherRule{Name: name, Source: source, Have: "0", Need: trimZero(hours), Unit: "h", Note: note}
	if o.k.zero == 0 {
		return r
	}
	r.Have = hoursText(max(0, o.k.now-o.k.zero) / secondMS)
	at := ceilMinute(o.k.zero + int64(hours*float64(hourMS)))
	if r.Met = at <= o.k.now; r.Met {
		r.MetAt = moment(at)
	} else {
		r.Likely = moment(at)
	}
	return r
}

func (o *otherSums) strengths() (out []OtherRule) {
	have := "no wall-cured result"
	if best := o.k.bestTest(); best > 0 {
		have = mpa(best)
	}
	for _, x := range []struct {
		name string
		need int
		note string
	}{
		{"vertical faces, mechanical damage", concrete.VerticalDamageMPa * 100, "faces, not bracing"},
		{"vertical faces, frost", concrete.VerticalFrostMPa * 100, "faces, not bracing"},
	} {
		r := OtherRule{Name: x.name, Source: "NSCS and CIRIA 136 (from memory)", Have: have, Need: mpa(x.need), Unit: "MPa", Note: x.note}
		if at := o.k.strengthShownAt(x.need); at != 0 {
			r.Met, r.MetAt = true, moment(ceilMinute(at))
		}
		out = append(out, r)
	}
	return out
}
