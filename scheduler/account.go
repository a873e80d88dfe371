package scheduler

import (
	"slices"
	"strconv"
	"time"

	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler/concrete"
)

// Sources of a counted temperature, the strongest first.
const (
	FromTop      = "top"
	FromCore     = "core" // or a face: an engineer lets it stand for the top
	FromOther    = "substitute"
	FromAir      = "air"
	FromForecast = "forecast"
	FromNothing  = "none"
)

// Margins of substitutes, hundredths of a kelvin.
const (
	airMargin      = 200
	forecastMargin = 500
)

// wallReadEvery is how often a wall must be read for forecast hours to count, ms.
const wallReadEvery = 24 * hourMS

const silentMS = int64(wall.SilentAfter / time.Millisecond)

// capped sources earn at most one hour in an hour.
const nanoHour = int64(1e9)

// slotTemp is the temperature that counts in one slot.
type slotTemp struct {
	centi  int16
	source string
	capped bool
	frozen bool
	unread bool // frozen is only assumed
}

// freeze is a time at or below 0 °C, from its first to its last sign, Unix ms.
type freeze struct {
	from, to int64
	early    bool // before 3.5 MPa was shown
	assumed  bool // no probe said so: the top was not read, and a substitute was this cold
}

// account is the sum of time and temperature since clock zero.
type account struct {
	sums    []int64 // by rule of the policy, in 10⁻⁹ s at the reference
	metAt   int64   // when every rule was met, Unix ms, exact; 0: not yet
	freezes []freeze
	frozen  int64 // the end of the last early freeze: sums began again there; 0: never
	pending bool  // a substitute says frost since the last reading: nothing counts until it is known
	relMet  int64 // when the mix's relation reached relNeed; 0: not, or not asked
	last    slotTemp
}

// accountant walks the slots since clock zero.
type accountant struct {
	k        *look
	tables   []*concrete.Table
	need     int64
	relNeed  int64 // seconds of equivalent age by the first rule; 0: not asked
	zero     int64
	out      account
	top      []*wall.Track
	others   []*wall.Track
	air      []*wall.Track
	days     [3][]*[288]int16 // of top, others, air: today's slots
	day      int64
	tail     int64 // the last reading of the top, Unix ms; clock zero if there is none
	capMin   int16 // coldest neighbouring reading of the lost top probes
	capUntil int64
	frosts   []int64
	moments  []int64 // readings at the wall, gathered when a forecast is asked
	asked    bool
	hour     int   // index into the site's forecast hours
	shown    int64 // when 3.5 MPa was shown by a test; 0: never
	each     func(at, seconds int64, s slotTemp, earned []int64)
}

func (k *look) accountant() *accountant {
	a := &accountant{k: k, zero: k.zero, need: k.policy.AgeS * nanoHour, day: -1 << 62}
	for _, r := range k.policy.Rules {
		a.tables = append(a.tables, tableOf(maturityOf(r)))
	}
	a.out.sums = make([]int64, len(a.tables))
	for _, t := range k.wall.Readings.Tracks() {
		switch t.Place {
		case "top":
			a.top = append(a.top, t)
		case "core", "face":
			a.others = append(a.others, t)
		case "air":
			a.air = append(a.air, t)
		}
	}
	for _, t := range k.site.Air.Tracks() {
		if t.Place == "air" {
			a.air = append(a.air, t)
		}
	}
	a.tail = a.zero
	for _, t := range a.top {
		if at, ok := t.LastAt(); ok {
			a.tail = max(a.tail, at)
		}
	}
	a.shown = k.strengthShownAt(350)
	return a
}

// run counts every whole slot up to a moment, and the part slot at the beginning.
func (a *accountant) run(until int64) {
	if a.zero == 0 || until <= a.zero {
		return
	}
	a.collectFrosts(until)
	from := a.zero
	for slot := floorDiv(from, slotMS); ; slot++ {
		end := (slot + 1) * slotMS
		if end > until {
			break
		}
		a.slot(slot, from, end)
		from = end
		if a.done() {
			return
		}
	}
	a.seenFrozen(until)
}

// done reports whether nothing later can change the account.
func (a *accountant) done() bool {
	return a.out.metAt != 0 && a.each == nil && a.k.enoughByAge() && (a.relNeed == 0 || a.out.relMet != 0)
}

func (a *accountant) collectFrosts(until int64) {
	for _, list := range [2][]*wall.Track{a.top, a.others} {
		for _, t := range list {
			t.Frosts(a.zero, until, func(at int64) { a.frosts = append(a.frosts, at) })
		}
	}
	for _, at := range a.k.wall.Holding.FrozenSeen {
		if at >= a.zero && at <= until {
			a.frosts = append(a.frosts, at)
		}
	}
	slices.Sort(a.frosts)
}

// seenFrozen takes signs of frost in the last, unfinished slot.
func (a *accountant) seenFrozen(until int64) {
	for _, at := range a.frosts {
		if at <= until {
			a.freezeAt(at, at, false)
		}
	}
}

func (a *accountant) slot(slot, from, end int64) {
	s := a.temperature(slot, from)
	for len(a.frosts) > 0 && a.frosts[0] < end {
		s.frozen, s.unread, a.frosts = true, false, a.frosts[1:]
	}
	switch {
	case s.frozen && s.unread && from >= a.tail && a.k.now-a.tail <= silentMS:
		a.out.pending = true
	case s.frozen:
		a.freezeAt(from, end, s.unread)
	}
	seconds := (end - from) / secondMS
	met, earned := true, [8]int64{}
	for i, t := range a.tables {
		gain := int64(0)
		if s.source != FromNothing && !s.frozen && !a.out.pending {
			gain = t.Hour(int32(s.centi))
			if s.capped {
				gain = min(gain, nanoHour)
			}
		}
		earned[i%8] = gain * seconds
		a.out.sums[i] += gain * seconds
		met = met && a.out.sums[i] >= a.need
	}
	if a.each != nil {
		a.each(from, seconds, s, earned[:min(len(a.tables), 8)])
	}
	a.out.last = s
	if met && a.out.metAt == 0 {
		a.out.metAt = a.crossing(from, end, a.need, s)
	}
	if a.relNeed > 0 && a.out.relMet == 0 && a.out.sums[0] >= a.relNeed*nanoHour {
		a.out.relMet = end
	}
}

// crossing finds when within the slot the slowest rule reached its need.
func (a *accountant) crossing(from, end, need int64, s slotTemp) int64 {
	at := from
	for i, t := range a.tables {
		gain := t.Hour(int32(s.centi))
		if s.capped {
			gain = min(gain, nanoHour)
		}
		over := a.out.sums[i] - need
		if gain > 0 {
			at = max(at, end-over/gain*secondMS)
		}
	}
	return at
}

// freezeAt notes a freeze. Before 3.5 MPa is shown the count begins again at the thaw.
func (a *accountant) freezeAt(from, to int64, assumed bool) {
	shown := a.shown != 0 && a.shown <= from || a.out.metAt != 0 && a.k.mix.portland
	n := len(a.out.freezes)
	if n > 0 && from-a.out.freezes[n-1].to <= dayMS {
		f := &a.out.freezes[n-1]
		f.to, f.early, f.assumed = max(f.to, to), f.early || !shown, f.assumed && assumed
	} else {
		a.out.freezes = append(a.out.freezes, freeze{from, to, !shown, assumed})
	}
	if shown {
		return
	}
	a.out.frozen, a.out.metAt, a.out.relMet = to, 0, 0
	clear(a.out.sums)
}

// temperature decides what counts in a slot.
func (a *accountant) temperature(slot, from int64) slotTemp {
	day, i := floorDiv(slot, 288), int(slot-floorDiv(slot, 288)*288)
	if day != a.day {
		a.openDay(day)
	}
	if c := least(a.days[0], i); c != wall.None {
		other := least(a.days[1], i)
		return slotTemp{centi: c, source: FromTop, frozen: c <= 0 || other != wall.None && other <= 0}
	}
	s := a.substitute(i, from)
	if s.source == FromNothing {
		return s
	}
	if len(a.top) > 0 {
		s.centi = min(s.centi, a.lostTop(from))
	}
	s.frozen = s.centi <= 0
	s.unread = s.frozen
	return s
}

func (a *accountant) openDay(day int64) {
	a.day = day
	for j, list := range [3][]*wall.Track{a.top, a.others, a.air} {
		a.days[j] = a.days[j][:0]
		for _, t := range list {
			if d := t.Day(day); d != nil {
				a.days[j] = append(a.days[j], d)
			}
		}
	}
}

func least(days []*[288]int16, i int) int16 {
	c := wall.None
	for _, d := range days {
		if v := d[i]; v != wall.None && (c == wall.None || v < c) {
			c = v
		}
	}
	return c
}

// substitute is the coldest of everything else while the top is not read.
func (a *accountant) substitute(i int, from int64) slotTemp {
	other, air := least(a.days[1], i), least(a.days[2], i)
	if a.k.coreOK && other != wall.None {
		return slotTemp{centi: other, source: FromCore}
	}
	s := slotTemp{source: FromNothing, centi: wall.None}
	take := func(c int16, source string) {
		if s.source == FromNothing || c < s.centi {
			s = slotTemp{centi: c, source: source, capped: source != FromOther}
		}
	}
	if air != wall.None {
		take(air-airMargin, FromAir)
	}
	if c, ok := a.forecast(from); ok && a.readWithin(from) {
		take(c-forecastMargin, FromForecast)
	}
	if s.source != FromNothing && other != wall.None {
		take(other, FromOther)
	}
	return s
}

// lostTop is the coldest reading of the silent top probes on either side of a
// moment: a substitute never counts warmer.
func (a *accountant) lostTop(from int64) int16 {
	if from < a.capUntil {
		return a.capMin
	}
	a.capMin, a.capUntil = 1<<15-1, 1<<62
	for _, t := range a.top {
		n := t.Around(from)
		if n.BeforeAt != 0 {
			a.capMin = min(a.capMin, n.Before)
		}
		if n.AfterAt != 0 && n.AfterAt <= a.k.now {
			a.capMin = min(a.capMin, n.After)
			a.capUntil = min(a.capUntil, n.AfterAt)
		}
	}
	return a.capMin
}

// forecast is the coldest that any forecast gave for the hour of a moment and
// the next.
func (a *accountant) forecast(from int64) (int16, bool) {
	h := a.k.site.Hours
	for a.hour+1 < len(h) && h[a.hour+1].At <= from {
		a.hour++
	}
	if a.hour >= len(h) || h[a.hour].At > from {
		return 0, false
	}
	return coldestAbout(h, a.hour, from)
}

func coldestAbout(h []site.Hour, i int, from int64) (int16, bool) {
	c := h[i].Coldest
	if i+1 < len(h) && h[i+1].At-h[i].At <= 6*hourMS {
		return min(c, h[i+1].Coldest), true
	}
	return c, from < h[i].At+hourMS
}

// readWithin reports whether the wall was read in the 24 h before a moment.
func (a *accountant) readWithin(from int64) bool {
	if !a.asked {
		a.asked = true
		a.moments = a.k.wall.Readings.Moments(a.zero-wallReadEvery, a.k.now, "top", "core", "face", "air")
	}
	i, found := slices.BinarySearch(a.moments, from)
	if found {
		return true
	}
	return i > 0 && from-a.moments[i-1] <= wallReadEvery
}

func formatFixed(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }
