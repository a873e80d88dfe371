package scheduler

import (
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

const (
	// wallReadEvery is how often a wall must be read for forecast hours to count, ms.
	wallReadEvery = 24 * hourMS
	// typedSilentMS is the silence after which a thermometer that people read
	// counts as lost: it is read twice a day (common practice, no source).
	typedSilentMS = 14 * hourMS
	// unreadMS is how long after the last concrete the first reading of the top may
	// come before frost is assumed, ms (common practice, no source).
	unreadMS = 2 * hourMS
)

// sources decides which temperature counts in a slot: the coldest top probe, or
// where no top was read the coldest of everything else with its margin.
type sources struct {
	k         *look
	now       int64 // the moment at which the record is read
	zero      int64
	tracks    [3][]*wall.Track // top, core and face, air
	tail      int64            // the last reading of the top, Unix ms; clock zero if there is none
	silentAt  int64            // when frost is assumed, if no reading comes; until then nothing counts
	lastRead  int64            // the last reading of any of them
	coreOK    bool
	day       int64
	slots     [3]*[288]int16 // of the open day, the coldest of each; nil: none
	capped    [3]*[288]int16
	merged    [6][288]int16
	tops      *[288]int16
	quiet     bool // the top was read and neither it nor the core came near 0 °C that day
	lostUntil int64
	lost      int16 // coldest reading of the top probes about their silence
	safe      bool  // and too little time between them for frost
	hour      int   // index into the site's forecast hours
	readTo    int64 // until when the wall counts as read
}

func (k *look) sources(now int64) sources {
	s := sources{k: k, now: now, zero: k.zero, day: -1 << 62, coreOK: k.coreOK}
	for _, t := range k.wall.Readings.Tracks() {
		switch t.Place {
		case "top":
			s.tracks[0] = append(s.tracks[0], t)
		case "core", "face":
			s.tracks[1] = append(s.tracks[1], t)
		case "air":
			s.tracks[2] = append(s.tracks[2], t)
		}
	}
	for _, t := range k.site.Air.Tracks() {
		if t.Place == "air" {
			s.tracks[2] = append(s.tracks[2], t)
		}
	}
	for _, list := range s.tracks {
		for _, t := range list {
			at, _ := t.LastAt()
			s.lastRead = max(s.lastRead, at)
		}
	}
	s.tail, s.silentAt = s.zero, s.zero+unreadMS
	for _, t := range s.tracks[0] {
		at, read := t.LastAt()
		if !read {
			continue
		}
		s.tail = max(s.tail, at)
		s.silentAt = max(s.silentAt, at+waitFor(t, at))
	}
	return s
}

// waitFor is how long nothing counts after a top probe's last reading before frost
// is assumed: as long as it takes from that temperature down to 0 °C, or until a
// person would read the thermometer again.
func waitFor(t *wall.Track, last int64) int64 {
	if t.Typed() {
		return typedSilentMS
	}
	return min(max(int64(t.Around(last).Before)*hourMS/fastest, silentMS), freshMS)
}

// open makes a day ready to be read.
func (s *sources) open(day int64) {
	if day == s.day {
		return
	}
	s.day, s.quiet = day, true
	for j, list := range s.tracks {
		s.slots[j], s.capped[j] = nil, nil
		for _, t := range list {
			d := t.Day(day)
			if d == nil {
				continue
			}
			if d.Lowest != wall.None {
				s.slots[j] = colder(&s.merged[j], s.slots[j], &d.Slots)
			}
			if d.Capped != nil {
				s.capped[j] = colder(&s.merged[3+j], s.capped[j], d.Capped)
			}
			s.quiet = s.quiet && d.Capped == nil && (j == 2 || d.Lowest == wall.None || d.Lowest > 0)
		}
	}
	s.tops = s.slots[0]
	s.quiet = s.quiet && s.tops != nil
}

// colder merges two series of slots, into a place of its own where there are two.
func colder(into, a, b *[288]int16) *[288]int16 {
	if a == nil {
		return b
	}
	if a != into {
		*into = *a
	}
	for i, v := range b {
		if v != wall.None && (into[i] == wall.None || v < into[i]) {
			into[i] = v
		}
	}
	return into
}

func at(slots *[288]int16, i int) int16 {
	if slots == nil {
		return wall.None
	}
	return slots[i]
}

// temperature decides what counts in a slot.
func (s *sources) temperature(slot, from int64) slotTemp {
	s.open(floorDiv(slot, slotsInDay))
	i := int(slot - s.day*slotsInDay)
	other := at(s.slots[1], i)
	if c := at(s.slots[0], i); c != wall.None {
		c = coldest(c, at(s.capped[0], i))
		return slotTemp{centi: c, source: FromTop, frozen: c <= 0 || other != wall.None && other <= 0}
	}
	t := s.substitute(i, from)
	if t.source == FromNothing {
		return t
	}
	if len(s.tracks[0]) > 0 {
		t.centi = min(t.centi, s.lostTop(from))
	}
	t.centi = coldest(coldest(t.centi, at(s.capped[0], i)), at(s.capped[1], i))
	if air := at(s.capped[2], i); air != wall.None {
		t.centi = min(t.centi, air-airMargin)
	}
	// A gap in the record of the top is not taken for frost where it is too short for it.
	t.frozen = t.centi <= 0 && !(len(s.tracks[0]) > 0 && s.safe)
	t.unread = t.frozen
	return t
}

func coldest(a, b int16) int16 {
	if b == wall.None {
		return a
	}
	return min(a, b)
}

// substitute is the coldest of everything else while the top is not read.
func (s *sources) substitute(i int, from int64) slotTemp {
	other, air := at(s.slots[1], i), at(s.slots[2], i)
	if s.coreOK && other != wall.None {
		return slotTemp{centi: other, source: FromCore}
	}
	t := slotTemp{source: FromNothing, centi: wall.None}
	take := func(c int16, source string) {
		if t.source == FromNothing || c < t.centi {
			t = slotTemp{centi: c, source: source, capped: source != FromOther}
		}
	}
	if air != wall.None {
		take(air-airMargin, FromAir)
	}
	if c, ok := s.forecast(from); ok && s.readWithin(from) {
		take(c-forecastMargin, FromForecast)
	}
	if t.source != FromNothing && other != wall.None {
		take(other, FromOther)
	}
	return t
}

// lostTop is the coldest reading of the silent top probes on either side of a
// moment: a substitute never counts warmer.
func (s *sources) lostTop(from int64) int16 {
	if from < s.lostUntil {
		return s.lost
	}
	s.lost, s.lostUntil, s.safe = 1<<15-1, 1<<62, len(s.tracks[0]) > 0
	for _, t := range s.tracks[0] {
		n := t.Around(from)
		if n.BeforeAt != 0 {
			s.lost = min(s.lost, n.Before)
		}
		if n.AfterAt != 0 && n.AfterAt <= s.now {
			s.lost = min(s.lost, n.After)
			s.lostUntil = min(s.lostUntil, n.AfterAt)
		}
		s.safe = s.safe && s.bridged(n)
	}
	return s.lost
}

// fastest is how fast the top may be taken to cool, and to warm again, hundredths
// of a kelvin in an hour: the 3 °C in any 1 h that UFGS allows concrete (NUMBERS 9,
// found).
const fastest = 300

// bridged reports whether the top cannot have come down to 0 °C between two
// readings, or between fresh concrete and the first reading.
func (s *sources) bridged(n wall.Near) bool {
	if n.AfterAt == 0 || n.AfterAt > s.now {
		return false
	}
	if n.BeforeAt < s.zero {
		n.BeforeAt, n.Before = s.zero, concrete.MinDeliveredC*100
	}
	return (int64(n.Before)+int64(n.After))*hourMS > fastest*(n.AfterAt-n.BeforeAt)
}

// forecast is the coldest that any forecast gave for the hour of a moment.
func (s *sources) forecast(from int64) (int16, bool) {
	h := s.k.site.Hours
	for s.hour < len(h) && h[s.hour].At+hourMS <= from {
		s.hour++
	}
	if s.hour >= len(h) || h[s.hour].At > from {
		return 0, false
	}
	return h[s.hour].Coldest, true
}

// readWithin reports whether the wall was read in the 24 h before a moment.
func (s *sources) readWithin(from int64) bool {
	if from <= s.readTo {
		return true
	}
	last, read := s.k.wall.Readings.ReadBefore(from, wallReadEvery, "top", "core", "face", "air")
	if read {
		s.readTo = last + wallReadEvery
	}
	return read
}

// words says in words where a temperature came from.
func (t slotTemp) words() string {
	switch t.source {
	case FromTop:
		return "top probe"
	case FromCore:
		return "core probe, on an engineer's word"
	case FromOther:
		return "coldest of core, air and forecast"
	case FromAir:
		return "air less 2 K"
	case FromForecast:
		return "coldest forecast less 5 K"
	default:
		return "nothing known"
	}
}
