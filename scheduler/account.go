package scheduler

import (
	"slices"
	"strconv"
	"time"

	"earlyage/projector/wall"
	"earlyage/scheduler/concrete"
)

// slotTemp is the temperature that counts in one slot.
type slotTemp struct {
	centi  int16
	source string
	capped bool // it earns at most one hour in an hour
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
	pending bool  // a substitute says frost since the last reading: nothing counts until it is known
	relMet  int64 // when the mix's relation reached relNeed; 0: not, or not asked
	counted int64 // the end of the last slot in which something counted, Unix ms; 0: none
	last    slotTemp
	read    int16 // the last temperature that was read where the concrete is coldest
	readAt  int64 // the end of its slot, Unix ms; 0: never
}

// accountant walks the slots since clock zero.
type accountant struct {
	sources
	need    int64
	relNeed int64 // seconds of equivalent age; 0: not asked
	at      int64 // the next moment to be counted, Unix ms
	out     account
	tables  []*concrete.Table
	age     bool  // equivalent age alone can show 3.5 MPa
	all     bool  // equivalent age is all that is asked
	shown   int64 // when 3.5 MPa was shown by a test; 0: never
	frosts  []int64
	earned  []int64
	each    func(at, seconds int64, s slotTemp, earned []int64)
	began   func(f freeze, lost []int64) // the sums begin again
	ahead   *account                     // stop where something becomes other than this
	before  bool                         // it is of the time before clock zero: only its freezes are looked at
}

const nanoHour = int64(1e9)

// accountant begins an account that is taken at a moment: what the record holds
// of later is not known then.
func (k *look) accountant(now int64) *accountant {
	a := &accountant{need: k.policy.AgeS * nanoHour, at: k.zero, age: k.mix.portland || k.ageOK, all: k.enoughByAge()}
	a.sources = k.sources(now)
	for _, r := range k.policy.Rules {
		a.tables = append(a.tables, tableOf(maturityOf(r)))
	}
	a.out.sums, a.earned = make([]int64, len(a.tables)), make([]int64, len(a.tables))
	a.shown = k.strengthShownAt(350)
	if a.zero != 0 {
		a.frosts = k.frosts(a.zero, now)
	}
	return a
}

// frosts are the signs of frost in the concrete, in order.
func (k *look) frosts(from, to int64) []int64 {
	var out []int64
	for _, t := range k.wall.Readings.Tracks() {
		switch t.Place {
		case "top", "core", "face":
			t.Frosts(from, to, func(at int64) { out = append(out, at) })
		}
	}
	for _, at := range k.wall.Holding.FrozenSeen {
		if at >= from && at <= to {
			out = append(out, at)
		}
	}
	slices.Sort(out)
	return out
}

// run counts every whole slot up to a moment, and the part slot at clock zero.
func (a *accountant) run(until int64) {
	if a.zero == 0 || until < a.zero {
		return
	}
	for !a.done() {
		slot := floorDiv(a.at, slotMS)
		if a.calm(slot) {
			if slot += a.stride(slot, until); slot*slotMS > a.at {
				a.at = slot * slotMS
				continue
			}
		}
		end := (slot + 1) * slotMS
		if end > until {
			break
		}
		a.slot(slot, a.at, end)
		a.at = end
		if a.ahead != nil && a.news() {
			return
		}
	}
	// Signs of frost in the last, unfinished slot.
	for _, at := range a.frosts {
		if at <= until && !a.done() {
			a.freezeAt(max(a.zero, floorDiv(at, slotMS)*slotMS), at, false)
		}
	}
}

func (a *accountant) news() bool {
	return a.out.metAt != a.ahead.metAt || a.out.relMet != a.ahead.relMet || a.out.pending || len(a.out.freezes) > 0
}

// done reports whether nothing later can change the account.
func (a *accountant) done() bool {
	return a.out.metAt != 0 && a.each == nil && a.all && (a.relNeed == 0 || a.out.relMet != 0)
}

// calm reports whether the rest of the slot's day can be counted in one stride:
// the top was read, nothing freezes, nobody looks on.
func (a *accountant) calm(slot int64) bool {
	if a.each != nil || a.ahead != nil || a.out.pending || len(a.tables) != 1 || a.at%slotMS != 0 || a.relNeed != 0 && a.out.relMet == 0 {
		return false
	}
	a.open(floorDiv(slot, slotsInDay))
	return a.quiet && (len(a.frosts) == 0 || a.frosts[0] >= (a.day+1)*dayMS)
}

// stride counts whole slots while the top was read, up to the end of the day,
// and stops before the one in which the need is reached.
func (a *accountant) stride(slot, until int64) int64 {
	i := int(slot - a.day*slotsInDay)
	last := int(min(slotsInDay, floorDiv(until-a.day*dayMS, slotMS)))
	table, sum, top := a.tables[0], int64(0), a.tops
	room := int64(1 << 62)
	if a.out.metAt == 0 {
		room = (a.need - a.out.sums[0] - 1) / wall.SlotSeconds
	}
	first := i
	for ; i < last; i++ {
		c := top[i]
		if c == wall.None {
			break
		}
		gain := table.Hour(int32(c))
		if sum+gain > room {
			break
		}
		sum += gain
	}
	if i > first {
		a.out.sums[0] += sum * wall.SlotSeconds
		a.out.last = slotTemp{centi: top[i-1], source: FromTop}
		a.out.counted = a.day*dayMS + int64(i)*slotMS
		a.out.read, a.out.readAt = a.out.last.centi, a.out.counted
	}
	return int64(i - first)
}

func (a *accountant) slot(slot, from, end int64) {
	s := a.temperature(slot, from)
	for len(a.frosts) > 0 && a.frosts[0] < end {
		s.frozen, s.unread, a.frosts = true, false, a.frosts[1:]
	}
	switch {
	case s.frozen && s.unread && a.before && a.k.placedSince(from-freshMS, from):
		s = slotTemp{source: FromNothing, centi: wall.None} // fresh concrete
	case s.frozen && s.unread && from >= a.tail && a.now < a.silentAt:
		a.out.pending = true
	case s.frozen:
		a.freezeAt(from, end, s.unread)
	}
	if s.source != FromNothing {
		a.out.last, a.out.counted = s, end
		if s.source == FromTop || s.source == FromCore {
			a.out.read, a.out.readAt = s.centi, end
		}
	}
	seconds := (end - from) / secondMS
	counts := s.source != FromNothing && !s.frozen && !a.out.pending
	met := true
	for i, t := range a.tables {
		a.earned[i] = 0
		if counts {
			a.earned[i] = s.gain(t) * seconds
		}
		a.out.sums[i] += a.earned[i]
		met = met && a.out.sums[i] >= a.need
	}
	if a.each != nil {
		a.each(from, seconds, s, a.earned)
	}
	if met && a.out.metAt == 0 {
		a.out.metAt = a.crossing(from, end, s)
	}
	if a.relNeed > 0 && a.out.relMet == 0 && slices.Min(a.out.sums) >= a.relNeed*nanoHour {
		a.out.relMet = end
	}
}

// gain is what an hour of the slot is worth.
func (s slotTemp) gain(t *concrete.Table) int64 {
	gain := t.Hour(int32(s.centi))
	if s.capped {
		gain = min(gain, nanoHour)
	}
	return gain
}

// crossing finds when within the slot the slowest rule reached its need.
func (a *accountant) crossing(from, end int64, s slotTemp) int64 {
	at := from
	for i, t := range a.tables {
		if gain := s.gain(t); gain > 0 {
			at = max(at, end-(a.out.sums[i]-a.need)/gain*secondMS)
		}
	}
	return at
}

// freezeAt notes a freeze. Before 3.5 MPa is shown the count begins again at the thaw.
func (a *accountant) freezeAt(from, to int64, assumed bool) {
	early := (a.shown == 0 || a.shown > from) && !(a.out.metAt != 0 && a.age)
	if n := len(a.out.freezes); n > 0 && from-a.out.freezes[n-1].to <= dayMS && a.out.freezes[n-1].early == early {
		f := &a.out.freezes[n-1]
		f.to, f.assumed = max(f.to, to), f.assumed && assumed
	} else {
		a.out.freezes = append(a.out.freezes, freeze{from, to, early, assumed})
	}
	if !early {
		return
	}
	if a.began != nil {
		a.began(freeze{from, to, early, assumed}, a.out.sums)
	}
	a.out.metAt, a.out.relMet = 0, 0
	clear(a.out.sums)
}

// account sums time and temperature to the present, and finds the moment at
// which time alone would change what it says by what is already known.
func (k *look) account() *account {
	a := k.accountant(k.now)
	a.relNeed = k.relationNeed()
	a.out.freezes = k.freezesBefore()
	a.run(k.now)
	if a.zero != 0 && !a.done() {
		k.at(a.zero)
		k.at(a.silentAt)
		k.foresee(a)
	}
	return &a.out
}

// freshMS is how long fresh concrete that nobody reads is not taken to have frozen
// while the pour goes on (common practice, no source).
const freshMS = 6 * hourMS

// placedSince reports whether concrete was placed between two moments.
func (k *look) placedSince(from, to int64) bool {
	return slices.ContainsFunc(k.wall.Pour.Lifts, func(l wall.Lift) bool { return l.Ended.Late > from && l.Began.Early <= to })
}

// freezesBefore are the freezes of the concrete that stood when clock zero came: a
// lift on top, or a line pulled straight, does not undo them.
func (k *look) freezesBefore() []freeze {
	started := k.wall.Pour.Started
	if started == 0 || started >= k.zero {
		return nil
	}
	frosts := k.frosts(started, min(k.zero-1, k.now))
	if len(frosts) == 0 && k.zero-started <= freshMS {
		return nil
	}
	y := *k
	y.zero, y.next = started, 0
	b := y.accountant(min(k.now, k.zero))
	b.frosts, b.before = frosts, true
	b.run(min(k.now, k.zero))
	return slices.DeleteFunc(b.out.freezes, func(f freeze) bool { return !f.early })
}

// foresee runs the account on over what is already known of the time ahead: the
// forecast, and readings by clocks that are a little fast.
func (k *look) foresee(a *accountant) {
	until := a.lastRead
	if n := len(k.site.Hours); n > 0 {
		until = max(until, min(k.site.Hours[n-1].At+hourMS, k.now+wallReadEvery))
	}
	if a.out.pending || until <= k.now {
		return
	}
	b := k.accountant(until)
	b.relNeed, b.at, b.ahead = a.relNeed, a.at, &a.out
	b.out.sums, b.out.metAt, b.out.relMet = slices.Clone(a.out.sums), a.out.metAt, a.out.relMet
	for len(b.frosts) > 0 && b.frosts[0] < b.at {
		b.frosts = b.frosts[1:]
	}
	for _, at := range b.frosts {
		k.at(at)
	}
	if b.run(until); b.news() {
		k.at(b.at)
	}
}

const slotsInDay = dayMS / slotMS

const silentMS = int64(wall.SilentAfter / time.Millisecond)

func formatFixed(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }
