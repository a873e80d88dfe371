package wall

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"earlyage/events"
)

// SlotSeconds is the grain in which temperatures are counted; slots are aligned
// to the Unix epoch.
const SlotSeconds = 300

const (
	slotMS      = SlotSeconds * 1000
	slotsPerDay = 24 * 3600 / SlotSeconds
	dayMS       = slotsPerDay * slotMS
)

// SilentAfter is how long after its last reading a probe counts as silent, and
// the widest gap between two readings over which a temperature is interpolated.
const SilentAfter = 45 * time.Minute

const silentMS = int64(SilentAfter / time.Millisecond)

// PlaceWind is the place of the tracks that hold gusts, in cm/s; of two at one
// moment the greater stands, and none is ever left out.
const PlaceWind = "wind"

// None marks a slot without a temperature.
const None int16 = math.MinInt16

// Track is the series of one probe at one place.
type Track struct {
	Place, Probe string
	days         map[int64]*day // by day since the epoch
	loose        []*day         // those that hold what is doubtful, or only a highest value
	last         int64          // the last reading that counts, Unix ms; 0: none
	typed        bool           // and a person typed it
}

// Day is what counts on one day of a track, in slots of five minutes.
type Day struct {
	Slots  [slotsPerDay]int16
	Capped *[slotsPerDay]int16 // what readings in doubt say: it may be that cold there; nil: nothing is in doubt
	Lowest int16               // of the slots; None if there is none
}

type day struct {
	groups []group  // one for each event, in order of time, then source, number, id
	points []point  // resolved, in order of time
	spans  []span   // minimum and maximum thermometers, at their minimum
	frosts []int64  // when it said 0 °C or less
	caps   []span   // what is in doubt: it only ever makes a slot colder
	hots   []span   // what is in doubt or only a maximum: it only ever shortens a joint
	maybe  []span   // when it may have said 0 °C or less
	reach  Interval // of caps, hots and maybe
	last   int64    // the last reading that counts; 0: none
	typed  bool     // and a person typed it
	stale  bool
	Day
}

// group is one event's readings as received.
type group struct {
	key      events.Key
	number   uint64
	seq      uint64
	entered  int64
	recorded int64
	lo, hi   int64 // plausible clock corrections, ms
	doubt    bool  // its time is not known well enough to count
	by       string
	typed    bool
	from, to int64 // of minimum and maximum; zero otherwise
	high     int16 // the maximum; None otherwise
	points   []point
}

type point struct {
	at     int64 // Unix milliseconds
	centi  int16 // hundredths of a degree Celsius
	typed  bool  // by a person, and no second person let it count; of a gust: its time is in doubt
	byHand bool  // by a person
}

type span struct {
	from, to int64
	centi    int16
	typed    bool
}

// centiOf rounds down: colder is the safe side.
func centiOf(celsius float64) int16 { return int16(math.Floor(float64(celsius * 100))) }

// doubtReach is how far back from its recording a reading of unknown time may bear, ms.
const doubtReach = 31 * dayMS

func groupOf(f *Fact) group {
	c := clockOf(f)
	g := group{key: f.Key(), number: f.Sequence, seq: f.Seq, entered: f.Time.UnixMilli(), recorded: f.Recorded.UnixMilli(),
		lo: c.lo, hi: c.hi, doubt: c.doubt != "", by: f.By}
	if g.doubt {
		// Nothing was measured after it was recorded.
		g.hi = max(g.lo, min(g.hi, g.recorded-g.entered))
	}
	g.fill(f.Data, f.Time)
	return g
}

func (g *group) fill(data events.Data, entered time.Time) {
	g.points, g.from, g.to, g.high = nil, 0, 0, None
	if w, ok := data.(*events.WindRead); ok {
		g.points = []point{{at: orTime(w.At, entered).UnixMilli(), centi: int16(math.Ceil(float64(*w.GustMPS * 100)))}}
		return
	}
	d := data.(*events.TemperatureRead)
	g.typed = g.by != "" && d.Instrument != "logger" || d.Instrument == "thermometer"
	switch {
	case len(d.Series) > 0:
		for _, r := range d.Series {
			g.points = append(g.points, point{at: r.At.UnixMilli(), centi: centiOf(*r.Celsius)})
		}
	case d.MinC != nil:
		g.from, g.to = d.From.UnixMilli(), d.To.UnixMilli()
		g.points, g.high = []point{{at: g.to, centi: centiOf(*d.MinC)}}, int16(math.Ceil(float64(*d.MaxC*100)))
	default:
		g.points = []point{{at: orTime(d.At, entered).UnixMilli(), centi: centiOf(*d.Celsius)}}
	}
}

func orTime(t, otherwise time.Time) time.Time {
	if t.IsZero() {
		return otherwise
	}
	return t
}

func (g *group) first() int64 {
	if g.from != 0 {
		return g.from
	}
	return g.points[0].at
}

func (g *group) last() int64 { return g.points[len(g.points)-1].at }

// plausible is the time on which the group may bear, slots at its ends included.
func (g *group) plausible() Interval {
	return Interval{max(g.first()+g.lo, g.recorded-doubtReach) - slotMS, g.last() + g.hi + slotMS}
}

func compareGroups(a, b group) int {
	return cmp.Or(cmp.Compare(a.first(), b.first()), strings.Compare(a.key.Source, b.key.Source),
		cmp.Compare(a.number, b.number), strings.Compare(a.key.ID, b.key.ID))
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// Readings are all temperatures of one wall, or the air of one site.
type Readings struct {
	tracks map[string]*Track     // by place + "/" + probe
	dirty  map[string]bool       // chunks to store: track + "/" + day
	places map[events.Key]string // of events that were looked for and found
}

// add puts one event's readings in. It reports false for a duplicate.
func (r *Readings) add(f *Fact) bool {
	g := groupOf(f)
	place, probe := placeOf(f.Data, f.Source.Device)
	dayNo := floorDiv(g.first(), dayMS)
	y := r.day(place, probe, dayNo)
	i, found := slices.BinarySearchFunc(y.groups, g, compareGroups)
	if found {
		if y.groups[i].seq <= g.seq {
			return false
		}
		y.groups[i] = g
	} else {
		y.groups = slices.Insert(y.groups, i, g)
	}
	r.markDirty(place, probe, dayNo)
	r.markStale(place, probe, &g)
	return true
}

func placeOf(data events.Data, device string) (place, probe string) {
	d, ok := data.(*events.TemperatureRead)
	switch {
	case !ok:
		return PlaceWind, device
	case d.Probe == "":
		return d.Place, device
	default:
		return d.Place, d.Probe
	}
}

func trackKey(place, probe string) string { return place + "/" + probe }

func (r *Readings) track(place, probe string) *Track {
	if r.tracks == nil {
		r.tracks = map[string]*Track{}
	}
	key := trackKey(place, probe)
	t := r.tracks[key]
	if t == nil {
		t = &Track{Place: place, Probe: probe, days: map[int64]*day{}}
		r.tracks[key] = t
	}
	return t
}

func (r *Readings) day(place, probe string, n int64) *day {
	t := r.track(place, probe)
	y := t.days[n]
	if y == nil {
		y = &day{stale: true}
		t.days[n] = y
	}
	return y
}

func (r *Readings) markDirty(place, probe string, n int64) {
	if r.dirty == nil {
		r.dirty = map[string]bool{}
	}
	r.dirty[fmt.Sprintf("%s/%d", trackKey(place, probe), n)] = true
}

// markStale asks for the slots again of the days that a group bears on. A
// series may reach from its first reading's day into the next, and
// interpolation one further.
func (r *Readings) markStale(place, probe string, g *group) {
	p, begun := g.plausible(), floorDiv(g.first(), dayMS)
	spread := int64(1)
	if g.from != 0 {
		spread = 4 // a thermometer's time may be 72 h, and its neighbour's as well
	}
	mark := func(from, to int64) {
		for n := from; n <= to; n++ {
			r.day(place, probe, n).stale = true
		}
	}
	mark(begun-1, begun+spread)
	mark(floorDiv(p.Early, dayMS)-1, floorDiv(p.Late, dayMS)+1)
}

// find looks an event up by its key, everywhere.
func (r *Readings) find(k events.Key) (place string, ok bool) {
	if place, ok = r.places[k]; ok {
		return place, true
	}
	for _, t := range r.tracks {
		for _, y := range t.days {
			for i := range y.groups {
				if y.groups[i].key == k {
					if r.places == nil {
						r.places = map[events.Key]string{}
					}
					r.places[k] = t.Place
					return t.Place, true
				}
			}
		}
	}
	return "", false
}

// settle resolves the stale days. all asks for every day, since an amendment
// may touch any.
func (r *Readings) settle(c *Changes, all bool) {
	for _, t := range r.tracks {
		resolved := false
		for _, y := range t.days {
			if y.stale = y.stale || all; y.stale {
				t.resolve(y, c)
				resolved = true
			}
		}
		if !resolved {
			continue
		}
		t.loose, t.last, t.typed = t.loose[:0], 0, false
		for _, y := range t.days {
			if y.reach.Late != 0 {
				t.loose = append(t.loose, y)
			}
			switch {
			case y.last > t.last:
				t.last, t.typed = y.last, y.typed
			case y.last == t.last:
				t.typed = t.typed && y.typed
			}
		}
		for n, y := range t.days {
			if y.stale && t.Place != PlaceWind {
				t.fillSlots(n, y)
			}
			y.stale = false
		}
	}
}

// resolve flattens the day's events into points and spans.
func (t *Track) resolve(y *day, c *Changes) {
	y.points, y.spans, y.frosts = y.points[:0], y.spans[:0], y.frosts[:0]
	y.caps, y.hots, y.maybe, y.reach = y.caps[:0], y.hots[:0], y.maybe[:0], Interval{}
	for i := range y.groups {
		if t.Place == PlaceWind {
			y.resolveWind(&y.groups[i], c)
		} else {
			y.resolveGroup(&y.groups[i], t, c)
		}
	}
	slices.SortStableFunc(y.points, func(a, b point) int {
		if t.Place == PlaceWind {
			return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(b.centi, a.centi))
		}
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.centi, b.centi))
	})
	if t.Place == PlaceWind {
		return
	}
	// Two readings at one moment: the colder stands.
	y.points = slices.CompactFunc(y.points, func(a, b point) bool { return a.at == b.at })
	y.last = 0
	if n := len(y.points); n > 0 {
		y.last, y.typed = y.points[n-1].at, y.points[n-1].byHand
	}
	for _, p := range y.points {
		if p.centi <= 0 {
			y.frosts = append(y.frosts, p.at)
		}
	}
	for _, s := range y.spans {
		if s.to >= y.last {
			y.last, y.typed = s.to, true
		}
		if s.centi <= 0 {
			y.frosts = append(y.frosts, s.from, s.to)
		}
	}
}

// resolveWind counts every version of a gust at its late end.
func (y *day) resolveWind(g *group, c *Changes) {
	versions, maybe, gone := c.readings(g, PlaceWind, "")
	if gone {
		return
	}
	for _, v := range versions {
		y.points = append(y.points, point{at: v.points[0].at + g.hi, centi: v.points[0].centi, typed: g.doubt || maybe})
	}
}

func (y *day) resolveGroup(g *group, t *Track, c *Changes) {
	versions, maybe, gone := c.readings(g, t.Place, t.Probe)
	if gone {
		return
	}
	signed := c.signedBySecond(g)
	for i := range versions {
		v := &versions[i]
		if maybe || g.doubt || len(versions) > 1 {
			y.doubt(v, 0)
		}
		if !maybe && !g.doubt {
			y.put(v, signed)
		}
	}
}

// put lets readings count.
func (y *day) put(v *group, signed bool) {
	if v.last()+v.lo > v.recorded+clockTolerance {
		y.doubt(v, 0) // said to be measured after it was recorded
		return
	}
	if v.from != 0 {
		s := span{v.from + v.lo, v.to + v.lo, v.points[0].centi, v.typed && !signed}
		y.spans = append(y.spans, s)
		y.loosen(&y.hots, span{from: s.from, to: s.to, centi: v.high})
		return
	}
	for _, p := range v.points {
		if p.centi > hottest { // no concrete: a broken probe
			y.loosen(&y.hots, span{from: p.at + v.lo, to: p.at + v.lo, centi: hottest})
			continue
		}
		y.points = append(y.points, point{p.at + v.lo, p.centi, v.typed && !signed, v.typed})
	}
	if v.typed && v.entered-v.first() > rememberedAfter {
		y.doubt(v, rememberedBy)
	}
}

// doubt keeps readings whose time or value is not sure, give or take a while:
// they can only make a slot colder, and a joint hotter.
func (y *day) doubt(v *group, while int64) {
	reach := v.plausible()
	for i, p := range v.points {
		at := Interval{max(p.at+v.lo-while, reach.Early), p.at + v.hi + while}
		from, to := at.Early, at.Late
		switch {
		case v.from != 0:
			from = max(v.from+v.lo-while, reach.Early)
			at.Early = from
		case i > 0:
			from = min(from, max(v.points[i-1].at+v.lo, reach.Early))
		}
		if i+1 < len(v.points) {
			to = max(to, v.points[i+1].at+v.hi)
		}
		y.loosen(&y.caps, span{from: from - slotMS, to: to + slotMS, centi: p.centi})
		y.loosen(&y.hots, span{from: at.Early, to: at.Late, centi: max(p.centi, v.high)})
		if p.centi <= 0 {
			y.loosen(&y.maybe, span{from: at.Early, to: at.Late, centi: p.centi})
		}
	}
}

func (y *day) loosen(list *[]span, s span) {
	*list = append(*list, s)
	if y.reach.Late == 0 {
		y.reach = Interval{s.from, s.to}
	}
	y.reach = y.reach.hull(Interval{s.from, s.to})
}

// readings resolves the versions of a group that was amended or voided. An
// amendment cannot move a reading to another probe: it then counts as in doubt,
// until it is voided and entered again.
func (c *Changes) readings(g *group, place, probe string) (versions []group, maybe, gone bool) {
	versions = []group{*g}
	if c == nil || !c.bears(g.key) {
		return versions, false, false
	}
	f := &Fact{Event: events.Event{ID: g.key.ID, By: g.by}}
	if src, err := events.ParseSource(g.key.Source); err == nil {
		f.Source = src
	}
	moved := false
	for _, a := range c.amended[g.key] {
		d := a.Data.(*events.RecordAmended)
		undone, final := c.undone(a)
		if d.Kind != "temperature.read" && d.Kind != "wind.read" || (d.Kind == "wind.read") != (place == PlaceWind) || final {
			continue
		}
		if p, q := placeOf(d.Replacement(), f.Source.Device); place != PlaceWind && (p != place || q != probe) {
			moved = true
			continue
		}
		v := *g
		v.fill(d.Replacement(), time.UnixMilli(g.entered))
		if c.countersigned(a) && !undone {
			versions = []group{v}
			continue
		}
		versions = append(versions, v)
	}
	maybe, gone = c.undone(f)
	return versions, (maybe || moved) && !gone, gone
}

func (c *Changes) signedBySecond(g *group) bool {
	if c == nil {
		return false
	}
	for _, s := range c.signed[g.key] {
		if s.By != "" && s.By != g.by && c.stands(s) {
			return true
		}
	}
	return false
}

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
	var out []point
	for d := n - 2; d <= n+1; d++ {
		if y := t.days[d]; y != nil {
			out = append(out, y.points...)
		}
	}
	slices.SortStableFunc(out, func(a, b point) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.centi, b.centi)) })
	out = slices.CompactFunc(out, func(a, b point) bool { return a.at == b.at })
	raw := slices.Clone(out)
	for i := range out {
		if !out[i].typed {
			continue
		}
		limit := int16(warmTyped)
		if i > 0 {
			limit = min(limit, raw[i-1].centi+jumpTyped)
		}
		if i+1 < len(raw) {
			limit = min(limit, raw[i+1].centi+jumpTyped)
		}
		out[i].centi = min(out[i].centi, limit)
	}
	return out
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
	raw := slices.Clone(out)
	for i := range out {
		if !out[i].typed {
			continue
		}
		limit := int16(warmTyped)
		if i > 0 {
			limit = min(limit, raw[i-1].centi+jumpTyped)
		}
		if i+1 < len(raw) {
			limit = min(limit, raw[i+1].centi+jumpTyped)
		}
		out[i].centi = min(out[i].centi, limit)
	}
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
	return int16(floorDiv(floorDiv(area, 2*1000), slotMS)), true
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

// Tracks lists the tracks in a fixed order.
func (r *Readings) Tracks() []*Track {
	keys := make([]string, 0, len(r.tracks))
	for k := range r.tracks {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	out := make([]*Track, len(keys))
	for i, k := range keys {
		out[i] = r.tracks[k]
	}
	return out
}

// Day returns one day since the epoch, or nil.
func (t *Track) Day(n int64) *Day {
	if y := t.days[n]; y != nil {
		return &y.Day
	}
	return nil
}

// Near is the reading before and the one after a moment, in Unix milliseconds
// and centidegrees; a zero time means that there is none. A minimum thermometer
// was read at the end of its time.
type Near struct {
	BeforeAt, AfterAt int64
	Before, After     int16
}

func (n *Near) see(at, moment int64, centi int16) {
	switch {
	case at <= moment && (n.BeforeAt == 0 || at > n.BeforeAt || at == n.BeforeAt && centi < n.Before):
		n.Before, n.BeforeAt = centi, at
	case at > moment && (n.AfterAt == 0 || at < n.AfterAt || at == n.AfterAt && centi < n.After):
		n.After, n.AfterAt = centi, at
	}
}

// Around finds the readings about a moment, at most 40 days back and 5 on.
func (t *Track) Around(at int64) Near {
	var n Near
	look := func(d int64) {
		y := t.days[d]
		if y == nil {
			return
		}
		for _, p := range y.points {
			n.see(p.at, at, p.centi)
		}
		for _, s := range y.spans {
			n.see(s.to, at, s.centi)
		}
	}
	today := floorDiv(at, dayMS)
	// What began up to four days before may have been read last.
	for d := today; d > today-40 && (n.BeforeAt == 0 || d > floorDiv(n.BeforeAt, dayMS)-4); d-- {
		look(d)
	}
	for d := today + 1; d <= today+5 && (n.AfterAt == 0 || d <= floorDiv(n.AfterAt, dayMS)); d++ {
		look(d)
	}
	return n
}

// Frosts yields the moments, in Unix milliseconds and no set order, at which the
// track said, or may have said, 0 °C or less, from one moment to another.
func (t *Track) Frosts(from, to int64, yield func(at int64)) {
	for n := floorDiv(from, dayMS) - 4; n <= floorDiv(to, dayMS); n++ {
		y := t.days[n]
		if y == nil {
			continue
		}
		for _, at := range y.frosts {
			if at >= from && at <= to {
				yield(at)
			}
		}
	}
	for _, y := range t.loose {
		for _, s := range y.maybe {
			if s.from <= to && s.to >= from {
				yield(max(s.from, from))
				yield(min(s.to, to))
			}
		}
	}
}

// Hottest returns the highest reading of a place from one moment to another,
// maxima and what is in doubt included.
func (r *Readings) Hottest(place string, from, to int64) (centi int16, ok bool) {
	see := func(c int16) {
		if !ok || c > centi {
			centi, ok = c, true
		}
	}
	for _, t := range r.tracks {
		if t.Place != place {
			continue
		}
		for n := floorDiv(from, dayMS) - 2; n <= floorDiv(to, dayMS); n++ {
			y := t.days[n]
			if y == nil {
				continue
			}
			for _, p := range y.points {
				if p.at >= from && p.at <= to {
					see(p.centi)
				}
			}
		}
		for _, y := range t.loose {
			for _, s := range y.hots {
				if s.from <= to && s.to >= from {
					see(s.centi)
				}
			}
		}
	}
	return centi, ok
}

// LastAt returns the moment of the last reading that counts, Unix milliseconds;
// false if there is none.
func (t *Track) LastAt() (int64, bool) { return t.last, t.last != 0 }

// Typed reports whether the track's last reading was typed by a person or read
// off a minimum and maximum thermometer.
func (t *Track) Typed() bool { return t.typed }

// ReadBefore returns the last reading of some places at or before a moment and
// at most so long before it, Unix milliseconds; false if there is none.
func (r *Readings) ReadBefore(at, within int64, places ...string) (int64, bool) {
	var last int64
	for _, t := range r.tracks {
		if !slices.Contains(places, t.Place) {
			continue
		}
		for n := floorDiv(at, dayMS); n >= floorDiv(at-within, dayMS)-4; n-- {
			if y := t.days[n]; y != nil {
				last = max(last, y.before(at))
			}
		}
	}
	return last, last != 0 && at-last <= within
}

func (y *day) before(at int64) int64 {
	i, found := slices.BinarySearchFunc(y.points, at, func(p point, at int64) int { return cmp.Compare(p.at, at) })
	var last int64
	switch {
	case found:
		return at
	case i > 0:
		last = y.points[i-1].at
	}
	for _, s := range y.spans {
		if s.to <= at {
			last = max(last, s.to)
		}
	}
	return last
}

// appendDigest writes what the readings hold, in a fixed order.
func (r *Readings) appendDigest(b []byte) []byte {
	for _, t := range r.Tracks() {
		b = append(append(b, t.Place...), 0)
		b = append(append(b, t.Probe...), 0)
		numbers := make([]int64, 0, len(t.days))
		for n, y := range t.days {
			if len(y.groups) > 0 {
				numbers = append(numbers, n)
			}
		}
		slices.Sort(numbers)
		for _, n := range numbers {
			y := t.days[n]
			b = binary.AppendVarint(b, n)
			for i := range y.groups {
				b = y.groups[i].append(b)
			}
			for _, p := range y.points {
				b = binary.AppendVarint(b, p.at)
				b = binary.AppendVarint(b, int64(p.centi))
			}
			for _, s := range y.Slots {
				b = binary.LittleEndian.AppendUint16(b, uint16(s))
			}
		}
	}
	return b
}

// Gusts yields every gust from a moment on, in Unix milliseconds and cm/s, in no
// set order. sure is false where its time is in doubt or it is voided: it then
// can shut, and makes nothing known.
func (r *Readings) Gusts(from int64, yield func(at int64, cms int, sure bool)) {
	for _, t := range r.tracks {
		if t.Place != PlaceWind {
			continue
		}
		for n, y := range t.days {
			if n < floorDiv(from-doubtReach, dayMS)-1 && len(y.points) > 0 && y.points[len(y.points)-1].at < from {
				continue
			}
			for _, p := range y.points {
				if p.at >= from {
					yield(p.at, int(p.centi), !p.typed)
				}
			}
		}
	}
}
