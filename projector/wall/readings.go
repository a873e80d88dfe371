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
	scratch      []point        // for one day's slots at a time
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
	doubt    bool // its time or value is not sure
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
				b = binary.LittleEndian.AppendUint16(b, uint16(s)) // #nosec G115 -- the two bytes, for a digest
			}
		}
	}
	return b
}
