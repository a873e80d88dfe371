package scheduler

import (
	"fmt"
	"math"
	"time"

	"earlyage/projector/wall"
	"earlyage/scheduler/concrete"
)

// States of a load.
const (
	LoadOrdered    = "ordered"
	LoadOnTheRoad  = "on-the-road"
	LoadArrived    = "arrived"
	LoadDischarged = "discharged"
	LoadRejected   = "rejected"
	LoadNamed      = "named" // only a lift names it
)

// Load is one truckload. Zero times are not known.
type Load struct {
	Name, Ticket, Mix, State string
	Batched                  time.Time
	Expected                 time.Time // when it should be on site, of one that is to come
	Arrived                  time.Time
	Began, Ended             time.Time // discharge
	AgeMin                   float64   // from batching to the end of its discharge, or to now; 0: not known
	VolumeM3                 float64
	SlumpMM                  int // -1: not measured
	Celsius                  float64
	Measured                 bool // its temperature
	WaterL                   float64
}

// Spacing is the time from one load to the next.
type Spacing struct {
	PlannedMin float64 // mean of the arrivals ordered; 0: fewer than two
	ActualMin  float64 // mean of the arrivals so far; 0: fewer than two
	LongestMin float64 // of the arrivals so far
}

// Take is what the wall takes and what comes for it, m³.
type Take struct {
	NeedM3      float64 // up to the planned top, openings left out
	OrderedM3   float64 // of the loads ordered and not sent back
	DeliveredM3 float64 // of the loads discharged
	PlacedM3    float64 // in the wall by the lifts
	ToGoM3      float64 // still needed
	ComingM3    float64 // ordered, on the road or on site, not discharged

	// BalanceAt is when the volume of the last load has to be told to the plant,
	// by the rate of the last hour: so early that it comes when the one before it
	// is used up. Zero: nothing is to go, no load is recorded, or the rate is not known.
	BalanceAt time.Time
	BalanceM3 float64 // what it has to bring, as it looks now
}

const (
	// loadWord is the age from which the wall's open points name a load.
	loadWord = 75 * minuteMS
	// coldAirAbout is how far from a load's measurement the air counts.
	coldAirAbout = hourMS
)

func (k *look) loads() []Load {
	list := k.wall.Pour.Loads
	out := make([]Load, 0, len(list))
	for _, y := range list {
		l := Load{Name: y.Name, Ticket: y.Ticket, Mix: y.Mix, State: k.loadState(y), Batched: moment(y.Batched), Arrived: moment(y.Arrived), Began: moment(y.Began), Ended: moment(y.Ended),
			VolumeM3: float64(y.VolumeML) / 1e6, SlumpMM: y.SlumpMM, WaterL: float64(y.WaterML) / 1e3}
		if l.State == LoadOrdered || l.State == LoadOnTheRoad {
			l.Expected = moment(k.expected(y))
		}
		if y.Centi != wall.None {
			l.Celsius, l.Measured = float64(y.Centi)/100, true
		}
		if y.Batched != 0 && l.State != LoadRejected {
			l.AgeMin = minutesOf(max(0, k.loadEnd(y)-y.Batched))
		}
		out = append(out, l)
	}
	return out
}

func (k *look) loadState(y *wall.Truckload) string {
	switch {
	case y.Rejected != 0 && k.past(y.Rejected):
		return LoadRejected
	case y.Ended != 0 && k.past(y.Ended):
		return LoadDischarged
	case y.Arrived != 0 && k.past(y.Arrived), y.FirstLift != 0 && y.Announced:
		return LoadArrived
	case y.Batched != 0:
		return LoadOnTheRoad
	case y.Ordered != 0:
		return LoadOrdered
	default:
		return LoadNamed
	}
}

// expected is when a load that is to come should be on site; 0: nobody said.
func (k *look) expected(y *wall.Truckload) int64 {
	if y.Batched == 0 {
		return y.Expected
	}
	return max(y.Expected, y.Batched+k.policy.TravelS*secondMS)
}

// loadEnd is until when a load's age counts: the end of its discharge, or now.
func (k *look) loadEnd(y *wall.Truckload) int64 {
	if y.Ended != 0 {
		return min(y.Ended, k.now)
	}
	return k.now
}

// spacing compares the arrivals planned with those that were.
func (k *look) spacing() Spacing {
	var planned, actual spread
	for _, y := range k.wall.Pour.Loads {
		if y.Expected != 0 {
			planned.see(y.Expected)
		}
		if at := first(y.Arrived, y.Began); at != 0 && at <= k.now {
			actual.see(at)
		}
	}
	return Spacing{PlannedMin: planned.mean(), ActualMin: actual.mean(), LongestMin: minutesOf(actual.longest)}
}

// spread is a run of moments that come about in order.
type spread struct {
	n                          int
	least, most, last, longest int64
}

func (s *spread) see(at int64) {
	if s.n == 0 {
		s.least, s.most = at, at
	} else {
		s.longest = max(s.longest, at-s.last)
	}
	s.n, s.least, s.most, s.last = s.n+1, min(s.least, at), max(s.most, at), at
}

func (s *spread) mean() float64 {
	if s.n < 2 {
		return 0
	}
	return minutesOf((s.most - s.least) / int64(s.n-1))
}

// take sums up what the wall needs and what comes for it.
func (k *look) take(r Rate) Take {
	p := &k.wall.Pour
	var ordered, delivered, placed, coming, last int64
	var lastAt int64 // when the last load ordered and not batched should come
	for _, y := range p.Loads {
		if y.Rejected != 0 && k.past(y.Rejected) && !y.Placed {
			continue
		}
		if y.Ordered != 0 {
			ordered += y.VolumeML
		}
		switch k.loadState(y) {
		case LoadDischarged:
			delivered += y.VolumeML
		case LoadOrdered:
			coming += y.VolumeML
			if lastAt == 0 || y.Expected >= lastAt {
				last, lastAt = y.VolumeML, max(1, y.Expected)
			}
		case LoadOnTheRoad, LoadArrived:
			coming += max(0, y.VolumeML-y.PutML)
		}
	}
	for i := range p.Lifts {
		placed += p.Lifts[i].VolumeML
	}
	need := k.wall.Holding.NeedML
	t := Take{NeedM3: cubic(need), OrderedM3: cubic(ordered), DeliveredM3: cubic(delivered), PlacedM3: cubic(placed), ComingM3: cubic(coming)}
	if p.Finished == 0 || !k.past(p.Finished) {
		t.ToGoM3 = cubic(k.toGo())
		k.balance(&t, r, cubic(coming-last))
	}
	return t
}

func cubic(ml int64) float64 { return math.Round(float64(ml)/1e3) / 1e3 }

// toGo is the concrete that is still missing under the planned top.
func (k *look) toGo() (ml int64) {
	p, g := &k.wall.Pour, &k.wall.Holding.Geometry
	for i := range p.Stretches {
		s := &p.Stretches[i]
		if _, _, waits := p.Waits(*s); !waits {
			continue
		}
		mid, high := (s.From+s.To)/2, g.Top-s.Height()
		for _, o := range g.Openings {
			if o.From <= mid && mid < o.To {
				high -= max(0, min(g.Top, o.Head)-max(s.Height(), o.Sill))
			}
		}
		ml += int64(s.To-s.From) * int64(g.Core(mid)) * int64(max(0, high)) / 1000
	}
	return ml
}

// balance is when the last load's volume has to be told: what comes before it is
// used up by the time at which it can be there.
func (k *look) balance(t *Take, r Rate, before float64) {
	if t.ToGoM3 <= 0 || r.M3H <= 0 || t.OrderedM3+t.ComingM3 == 0 {
		return
	}
	t.BalanceM3 = math.Max(0, math.Round((t.ToGoM3-before)*1e3)/1e3)
	if t.BalanceM3 == 0 {
		return
	}
	usedUp := k.now + int64(math.Floor(before/r.M3H*float64(hourMS)))
	t.BalanceAt = moment(floorMinute(max(k.now, k.batchBy(usedUp))))
}

// loadFigures tells of loads measured outside their limits.
func (k *look) loadFigures(c *collector) {
	for _, y := range k.wall.Pour.Loads {
		if y.MeasuredAt == 0 || !k.past(y.MeasuredAt) || y.Rejected != 0 && k.past(y.Rejected) {
			continue
		}
		if y.Ended != 0 && k.past(y.Ended+loadKept) {
			continue
		}
		old := int64(0)
		if y.Batched != 0 {
			old = y.Batched + k.policy.LoadS*secondMS
		}
		cause := "load " + y.Name
		if off := k.temperatureOff(y, 0); off != nil {
			c.add(AlertLoadTemperature, cause, y.MeasuredAt, "Load %s: %s.", y.Name, off.why).
				load(y.Name).until(old).measured("temperature", off.have, off.limit)
		} else if k.temperatureOff(y, loadBand) != nil {
			c.nearing(AlertLoadTemperature, cause)
		}
		if off := k.slumpOff(y); off != nil {
			c.add(AlertLoadSlump, cause, y.MeasuredAt, "Load %s: %s.", y.Name, off.why).
				load(y.Name).until(old).measured("slump", off.have, off.limit)
		}
	}
}

// loadBand is by how much a load's temperature has to be inside its limits for
// the matter to be over, K.
const loadBand = 0.5

// outside is a figure that is outside its limit.
type outside struct {
	have, limit float64
	why         string
}

// temperatureOff says how a load's temperature is outside its limits, each taken
// so much narrower, K; nil: it is within.
func (k *look) temperatureOff(y *wall.Truckload, narrower float64) *outside {
	if y.Centi == wall.None {
		return nil
	}
	hot, cold := float64(y.Centi)/100, float64(y.Coldest)/100
	if limit, err := concrete.HotLimitFor("aci-301-20"); err == nil && hot > limit.MaxC-narrower {
		return off(hot, limit.MaxC, "%s °C, at most %s °C (ACI 301-20 and ACI 305.1-14)", trimZero(hot), trimZero(limit.MaxC))
	}
	if cold < concrete.MinDeliveredC+narrower {
		return off(cold, concrete.MinDeliveredC, "%s °C, at least %s °C on delivery (EN 206, from memory)", trimZero(cold), trimZero(concrete.MinDeliveredC))
	}
	core := k.wall.Holding.Geometry.LeastCore()
	air, known := k.coldestAir(y.MeasuredAt-coldAirAbout, y.MeasuredAt+coldAirAbout)
	if core == 0 || !known || air > concrete.ColdWeatherC+narrower {
		return nil
	}
	if least, err := concrete.ColdDeliveryLeast(clamp(metres(core), 0.05, 10)); err == nil && cold < least+narrower {
		return off(cold, least, "%s °C, at least %s °C for a core of %d mm in air of %s °C (ASTM C94, ACI 306R, from memory)", trimZero(cold), trimZero(least), core, trimZero(air))
	}
	return nil
}

func off(have, limit float64, format string, args ...any) *outside {
	return &outside{have, limit, fmt.Sprintf(format, args...)}
}

// coldestAir is the coldest air from one moment to another, measured or else
// forecast, °C.
func (k *look) coldestAir(from, to int64) (c float64, known bool) {
	centi, ok := k.wall.Readings.Coldest("air", from, min(to, k.now))
	if y, has := k.site.Air.Coldest("air", from, min(to, k.now)); has && (!ok || y < centi) {
		centi, ok = y, true
	}
	if ok {
		return float64(centi) / 100, true
	}
	for _, h := range k.site.Hours {
		if h.At+hourMS <= from || h.At > to {
			continue
		}
		if !ok || h.Coldest < centi {
			centi, ok = h.Coldest, true
		}
	}
	return float64(centi) / 100, ok
}

// slumpOff says how a load's slump is outside the tolerance of its mix; nil: it
// is within, or not known.
func (k *look) slumpOff(y *wall.Truckload) *outside {
	if y.SlumpMM < 0 {
		return nil
	}
	name := y.Mix
	if name == "" {
		name = k.wall.Holding.Mix
	}
	m := k.site.Mixes[name]
	if len(m.Versions) == 0 || m.Versions[len(m.Versions)-1].SlumpMM == nil {
		return nil
	}
	stated, edition := *m.Versions[len(m.Versions)-1].SlumpMM, concrete.SIConstants
	if k.site.Units() == "us" {
		edition = concrete.USConstants
	}
	tol, err := concrete.SlumpTolerance(concrete.SlumpC94Nominal, edition, stated/1000)
	if err != nil || tol.Accepts(float64(y.SlumpMM)/1000) {
		return nil
	}
	limit := tol.Most
	if float64(y.SlumpMM)/1000 < tol.Least {
		limit = tol.Least
	}
	return off(float64(y.SlumpMM), math.Round(limit*1000), "slump %d mm, %.0f to %.0f mm for %.0f mm ordered (ASTM C94, from memory)", y.SlumpMM, tol.Least*1000, tol.Most*1000, stated)
}

// loadPoints are the open points of the loads.
func (k *look) loadPoints(c *collector) {
	word := min(loadWord, k.policy.LoadS*secondMS*5/6)
	for _, y := range k.wall.Pour.Loads {
		state := k.loadState(y)
		if state != LoadOnTheRoad && state != LoadArrived {
			continue
		}
		if y.WaterML > 0 && y.SlumpMM < 0 {
			c.point("load %s: %s l of water added, and no slump measured", y.Name, trimZero(float64(y.WaterML)/1e3))
		}
		if y.Batched != 0 && k.past(y.Batched+word) && !k.past(y.Batched+k.policy.LoadS*secondMS) {
			c.point("load %s is over %d min old: it has to be placed by %s", y.Name, word/minuteMS, k.clockOnly(y.Batched+k.policy.LoadS*secondMS))
		}
	}
}

// testPoint compares the strength tests due with the specimens made. The rule is
// that of ACI 318-19 26.12.2.1 (from memory), a test two cylinders or more.
func (k *look) testPoint(c *collector, t Take) {
	p := &k.wall.Pour
	volume := max(t.DeliveredM3, t.PlacedM3)
	if volume <= 0 || t.NeedM3 <= 0 {
		return
	}
	rule := concrete.TestsACI318M
	if k.site.Units() == "us" {
		rule = concrete.TestsACI318
	}
	face := float64(k.wall.Holding.Geometry.FaceArea()) / 1e6 * min(1, t.PlacedM3/t.NeedM3)
	due, err := concrete.TestsFor(rule, concrete.Placed{Volume: min(volume, 1e5), Face: clamp(face, 0, 1e6), Days: k.days(p.Started, min(k.now, max(p.LastConcrete, p.Started)))})
	made := k.wall.Holding.Specimens()
	if err != nil || made >= due.Tests*concrete.CylindersLarge {
		return
	}
	may := ""
	if due.Waivable {
		may = "; may be waived under 38 m³ with approval"
	}
	c.point("strength tests: %d due, specimens for %d made (ACI 318, from memory: a test is 2 cylinders of 150 x 300 mm or 3 of 100 x 200 mm%s)", due.Tests, made/concrete.CylindersLarge, may)
}

// days is on how many local days something lasted.
func (k *look) days(from, to int64) int {
	a, b := time.UnixMilli(from).In(k.site.Zone()), time.UnixMilli(to).In(k.site.Zone())
	begin := time.Date(a.Year(), a.Month(), a.Day(), 12, 0, 0, 0, time.UTC)
	end := time.Date(b.Year(), b.Month(), b.Day(), 12, 0, 0, 0, time.UTC)
	return int(min(366, max(1, end.Sub(begin)/(24*time.Hour)+1)))
}
