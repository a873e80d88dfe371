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
}

type day struct {
	groups []group // one for each event, in order of time, then source, number, id
	points []point // resolved, in order of time
	caps   []span  // what only ever makes a slot colder
	spans  []span  // minimum and maximum thermometers
	frosts []int64 // when it said 0 °C or less
	stale  bool
	slots  [slotsPerDay]int16
}

// group is one event's readings as received.
type group struct {
	key        events.Key
	number     uint64
	seq        uint64
	entered    int64
	recorded   int64
	lo, hi     int64 // plausible clock corrections, ms
	by         string
	typed      bool
	from, to   int64 // of minimum and maximum; zero otherwise
	points     []point
	chunkStale bool
}

type point struct {
	at    int64 // Unix milliseconds
	centi int16 // hundredths of a degree Celsius
	typed bool
}

type span struct {
	from, to int64
	centi    int16
}

// centiOf rounds down: colder is the safe side.
func centiOf(celsius float64) int16 { return int16(math.Floor(float64(celsius * 100))) }

func groupOf(f *Fact) group {
	c := clockOf(f)
	g := group{key: f.Key(), number: f.Sequence, seq: f.Seq, entered: f.Time.UnixMilli(), recorded: f.Recorded.UnixMilli(),
		lo: c.lo, hi: c.hi, by: f.By}
	g.fill(f.Data, f.Time)
	return g
}

func (g *group) fill(data events.Data, entered time.Time) {
	if w, ok := data.(*events.WindRead); ok {
		g.points = []point{{at: orTime(w.At, entered).UnixMilli(), centi: int16(math.Ceil(float64(*w.GustMPS * 100)))}}
		return
	}
	d := data.(*events.TemperatureRead)
	g.typed = d.Instrument == "thermometer" || d.Instrument == "" && g.by != ""
	switch {
	case len(d.Series) > 0:
		for _, r := range d.Series {
			g.points = append(g.points, point{r.At.UnixMilli(), centiOf(*r.Celsius), g.typed})
		}
	case d.MinC != nil:
		g.from, g.to = d.From.UnixMilli(), d.To.UnixMilli()
		g.points = []point{{g.to, centiOf(*d.MinC), g.typed}}
	default:
		g.points = []point{{orTime(d.At, entered).UnixMilli(), centiOf(*d.Celsius), g.typed}}
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
	tracks map[string]*Track // by place + "/" + probe
	dirty  map[string]bool   // chunks to store: track + "/" + day
}

// add puts one event's readings in. It reports false for a duplicate.
func (r *Readings) add(f *Fact) bool {
	g := groupOf(f)
	place, probe := PlaceWind, ""
	if d, ok := f.Data.(*events.TemperatureRead); ok {
		place, probe = d.Place, d.Probe
	}
	if probe == "" {
		probe = f.Source.Device
	}
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
	last := floorDiv(g.points[len(g.points)-1].at, dayMS)
	r.markStale(place, probe, dayNo-1, last+1)
	return true
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

// markStale asks for the slots of some days again. A series may reach from its
// first reading's day into the next, and interpolation one further.
func (r *Readings) markStale(place, probe string, from, to int64) {
	for n := from; n <= to; n++ {
		r.day(place, probe, n).stale = true
	}
}

// find looks an event up by its key, everywhere.
func (r *Readings) find(k events.Key) (place string, ok bool) {
	for _, t := range r.tracks {
		for _, y := range t.days {
			for i := range y.groups {
				if y.groups[i].key == k {
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
		for _, y := range t.days {
			if y.stale || all {
				y.stale = true
				y.resolve(c, t.Place == PlaceWind)
			}
		}
		for n, y := range t.days {
			if y.stale && t.Place != PlaceWind {
				t.fillSlots(n, y)
			}
		}
		for _, y := range t.days {
			y.stale = false
		}
	}
}

// resolve flattens the day's events into points, spans and caps.
func (y *day) resolve(c *Changes, wind bool) {
	y.points, y.spans, y.caps = y.points[:0], y.spans[:0], y.caps[:0]
	for i := range y.groups {
		if wind {
			y.resolveWind(&y.groups[i], c)
		} else {
			y.resolveGroup(&y.groups[i], c)
		}
	}
	if wind {
		slices.SortStableFunc(y.points, func(a, b point) int {
			return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(b.centi, a.centi))
		})
		return
	}
	slices.SortStableFunc(y.points, func(a, b point) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.centi, b.centi))
	})
	// Two readings at one moment: the colder stands.
	y.points = slices.CompactFunc(y.points, func(a, b point) bool { return a.at == b.at })
	y.frosts = y.frosts[:0]
	for _, p := range y.points {
		if p.centi <= 0 {
			y.frosts = append(y.frosts, p.at)
		}
	}
	for _, list := range [2][]span{y.spans, y.caps} {
		for _, s := range list {
			if s.centi <= 0 {
				y.frosts = append(y.frosts, s.from, s.to)
			}
		}
	}
}

// resolveWind counts every version of a gust at its late end.
func (y *day) resolveWind(g *group, c *Changes) {
	versions, gone := []group{*g}, false
	if c != nil && c.Any() {
		versions, _, gone = c.readings(g)
	}
	if gone {
		return
	}
	for _, v := range versions {
		y.points = append(y.points, point{at: v.points[0].at + g.hi, centi: v.points[0].centi})
	}
}

func (y *day) resolveGroup(g *group, c *Changes) {
	versions, maybe, gone := []group{*g}, false, false
	if c != nil && c.Any() {
		versions, maybe, gone = c.readings(g)
	}
	if gone {
		return
	}
	doubtful := g.hi-g.lo > 2*clockTolerance || maybe || len(versions) > 1
	signed := c != nil && c.signedBySecond(g)
	for _, v := range versions {
		switch {
		case doubtful:
			y.cap(v)
		case v.from != 0:
			y.spans = append(y.spans, span{v.from + g.lo, v.to + g.hi, v.points[0].centi})
		default:
			for _, p := range v.points {
				p.at += (g.lo + g.hi) / 2
				p.typed = g.typed && !signed
				y.points = append(y.points, p)
			}
			y.remember(g)
		}
	}
}

// remember widens a reading that a person entered over 10 minutes late: it
// holds from 15 minutes before to 15 minutes after.
func (y *day) remember(g *group) {
	if !g.typed || len(y.points) == 0 || g.entered-g.points[0].at <= rememberedAfter {
		return
	}
	p := y.points[len(y.points)-1]
	a, z := p, p
	a.at -= rememberedBy
	z.at += rememberedBy
	y.points = append(y.points[:len(y.points)-1], a, z)
}

// cap keeps readings that are in doubt: they can only make a slot colder.
func (y *day) cap(v group) {
	for i, p := range v.points {
		from, to := p.at+v.lo, p.at+v.hi
		switch {
		case v.from != 0:
			from = v.from + v.lo
		case i > 0:
			from = min(from, v.points[i-1].at+v.lo)
		}
		if i+1 < len(v.points) {
			to = max(to, v.points[i+1].at+v.hi)
		}
		y.caps = append(y.caps, span{from - slotMS, to + slotMS, p.centi})
	}
}

// readings resolves the versions of a group that was amended or voided.
func (c *Changes) readings(g *group) (versions []group, maybe, gone bool) {
	versions = []group{*g}
	f := &Fact{Event: events.Event{ID: g.key.ID, By: g.by}}
	if src, err := events.ParseSource(g.key.Source); err == nil {
		f.Source = src
	}
	for _, a := range c.amended[g.key] {
		d := a.Data.(*events.RecordAmended)
		undone, final := c.undone(a)
		if !IsReading(d.Kind) || final {
			continue
		}
		v := *g
		v.points, v.from, v.to = nil, 0, 0
		v.fill(d.Replacement(), time.UnixMilli(g.entered))
		if c.countersigned(a) && !undone {
			versions = []group{v}
			continue
		}
		versions = append(versions, v)
	}
	maybe, gone = c.undone(f)
	return versions, maybe && !gone, gone
}

func (c *Changes) signedBySecond(g *group) bool {
	for _, s := range c.signed[g.key] {
		if s.By != "" && s.By != g.by && c.stands(s) {
			return true
		}
	}
	return false
}

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

// fillSlots computes the mean temperature of every slot of day n that lies
// wholly between two readings at most 45 minutes apart, or under a minimum and
// maximum thermometer.
func (t *Track) fillSlots(n int64, y *day) {
	for i := range y.slots {
		y.slots[i] = None
	}
	begin := n * dayMS
	points := t.flat(n)
	lo, _ := slices.BinarySearchFunc(points, begin, func(p point, at int64) int { return cmp.Compare(p.at, at) })
	lo = max(lo-1, 0)
	for i := range y.slots {
		from := begin + int64(i)*slotMS
		for lo+1 < len(points) && points[lo+1].at <= from {
			lo++
		}
		if v, ok := slotMean(points[min(lo, len(points)):], from); ok {
			y.slots[i] = v
		}
	}
	for d := n - 4; d <= n+1; d++ {
		if o := t.days[d]; o != nil {
			y.overlay(begin, o.spans, o.caps)
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

func (y *day) overlay(begin int64, spans, caps []span) {
	for _, s := range spans {
		for i := max(0, ceilDiv(s.from-begin, slotMS)); i < min(slotsPerDay, floorDiv(s.to-begin, slotMS)); i++ {
			if y.slots[i] == None || s.centi < y.slots[i] {
				y.slots[i] = s.centi
			}
		}
	}
	for _, s := range caps {
		for i := max(0, floorDiv(s.from-begin, slotMS)); i < min(slotsPerDay, ceilDiv(s.to-begin, slotMS)); i++ {
			if y.slots[i] != None {
				y.slots[i] = min(y.slots[i], s.centi)
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

// Day returns the slots of one day since the epoch, or nil.
func (t *Track) Day(n int64) *[288]int16 {
	if y := t.days[n]; y != nil {
		return &y.slots
	}
	return nil
}

// Near is the reading before and the one after a moment, in Unix milliseconds
// and centidegrees; a zero time means that there is none.
type Near struct {
	BeforeAt, AfterAt int64
	Before, After     int16
}

// Around finds the readings about a moment, at most 40 days back and 3 on.
func (t *Track) Around(at int64) Near {
	var n Near
	look := func(y *day) {
		for _, p := range y.points {
			if p.at <= at && (n.BeforeAt == 0 || p.at >= n.BeforeAt) {
				n.Before, n.BeforeAt = p.centi, p.at
			}
			if p.at > at && (n.AfterAt == 0 || p.at < n.AfterAt) {
				n.After, n.AfterAt = p.centi, p.at
			}
		}
	}
	today := floorDiv(at, dayMS)
	for d := today; d > today-40 && n.BeforeAt == 0; d-- {
		if y := t.days[d]; y != nil {
			look(y)
		}
	}
	for d := today + 1; d <= today+3 && n.AfterAt == 0; d++ {
		if y := t.days[d]; y != nil {
			look(y)
		}
	}
	return n
}

// Frosts yields the moments, in Unix milliseconds and no set order, at which the
// track said 0 °C or less, in days that touch the time from from to to.
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
}

// Hottest returns the highest reading of a place from from to to.
func (r *Readings) Hottest(place string, from, to int64) (centi int16, ok bool) {
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
				if p.at >= from && p.at <= to && (!ok || p.centi > centi) {
					centi, ok = p.centi, true
				}
			}
		}
	}
	return centi, ok
}

// Moments returns when the places were read from from to to, in order.
func (r *Readings) Moments(from, to int64, places ...string) []int64 {
	var out []int64
	for _, t := range r.tracks {
		if !slices.Contains(places, t.Place) {
			continue
		}
		for n := floorDiv(from, dayMS) - 4; n <= floorDiv(to, dayMS); n++ {
			y := t.days[n]
			if y == nil {
				continue
			}
			for _, p := range y.points {
				if p.at >= from && p.at <= to {
					out = append(out, p.at)
				}
			}
			for _, s := range y.spans {
				if s.to >= from && s.to <= to {
					out = append(out, s.to)
				}
			}
		}
	}
	slices.Sort(out)
	return out
}

// LastAt returns the moment of the last reading, Unix milliseconds; false if none.
func (t *Track) LastAt() (int64, bool) {
	var last int64
	found := false
	for _, y := range t.days {
		if n := len(y.points); n > 0 && (!found || y.points[n-1].at > last) {
			last, found = y.points[n-1].at, true
		}
		for _, s := range y.spans {
			if !found || s.to > last {
				last, found = s.to, true
			}
		}
	}
	return last, found
}

// Typed reports whether the track's last readings were typed by a person.
func (t *Track) Typed() bool {
	var last int64 = math.MinInt64
	typed := false
	for _, y := range t.days {
		for i := range y.groups {
			if g := &y.groups[i]; g.points[len(g.points)-1].at > last {
				last, typed = g.points[len(g.points)-1].at, g.typed || g.from != 0
			}
		}
	}
	return typed
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
			for _, s := range y.slots {
				b = binary.LittleEndian.AppendUint16(b, uint16(s))
			}
		}
	}
	return b
}

// Gusts yields every gust from a moment on, in Unix milliseconds and cm/s, in no
// set order.
func (r *Readings) Gusts(from int64, yield func(at int64, cms int)) {
	for _, t := range r.tracks {
		if t.Place != PlaceWind {
			continue
		}
		for n, y := range t.days {
			if n < floorDiv(from, dayMS)-3 {
				continue
			}
			for _, p := range y.points {
				if p.at >= from {
					yield(p.at, int(p.centi))
				}
			}
		}
	}
}
