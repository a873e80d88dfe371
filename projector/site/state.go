package site

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"slices"
	"time"

	"earlyage/events"
	"earlyage/projector/wall"
)

// State is what is known of a whole site.
type State struct {
	Site     string
	Policy   Policy
	PolicyBy string // who set the policy last; empty: nobody, the defaults
	Mixes    map[string]Mix
	Criteria []wall.Criterion
	Hours    []Hour // forecast, by hour, in order of time
	Air      wall.Readings
	Opened   bool

	name, units string
	zone        *time.Location
	sheets      map[string]uint64
	holes       []events.HoleAccepted
	alarms      []wall.Alarm

	record wall.Book
	words  wall.Book
	rows   wall.Rows
}

// Mix is a mix as approved. Until a second person has countersigned, nothing
// that it says makes an answer earlier.
type Mix struct {
	Versions []*events.MixApproved
	Signed   bool
}

// Hour is what was forecast for one hour, in hundredths of a degree and cm/s.
type Hour struct {
	At      int64 // Unix ms
	Coldest int16 // of all forecasts issued
	Latest  int16 // of the one issued last
	GustCM  int   // greatest of the one issued last; -1: not said
	issued  int64
}

// New returns a site of which nothing is known.
func New(site string) *State {
	s := &State{Site: site, Policy: Default(), Mixes: map[string]Mix{}, zone: time.UTC, units: "si", name: site, sheets: map[string]uint64{}}
	s.record.Elsewhere = s.Air.Find
	return s
}

// Load builds a state from the chunks that Dirty returned.
func Load(site string, chunks func(yield func(key, value []byte) bool)) (*State, error) {
	s := New(site)
	for key, value := range chunks {
		if err := wall.LoadRow(key, value, s.book, &s.record, &s.Air); err != nil {
			return nil, fmt.Errorf("load site %s: %w", site, err)
		}
	}
	s.settle(true)
	return s, nil
}

func (s *State) book(k events.Kind) *wall.Book {
	switch k {
	case "alert.raised", "alert.cleared", "alert.acknowledged", "alert.shelved", "sheet.issued":
		return &s.words
	}
	return &s.record
}

// Add takes site-wide facts in, in any order; one that is there is ignored.
// Events of walls and reports of devices are not its concern.
func (s *State) Add(facts ...wall.Fact) {
	changed, amends := false, false
	for i := range facts {
		f := &facts[i]
		if f.Wall != "" || f.Kind == "device.reported" {
			continue
		}
		if wall.IsReading(f.Kind) {
			changed = s.Air.Add(f) || changed
			continue
		}
		if !s.book(f.Kind).Add(*f) {
			continue
		}
		changed, amends = true, amends || wall.IsChange(f.Kind)
		s.rows.Fact(f)
	}
	if changed {
		s.settle(amends)
	}
}

// AddRefused notes a message about the site that could not be accepted.
func (s *State) AddRefused(r wall.Refused) {
	s.record.AddRefused(r)
	s.rows.Refused(r)
	s.settle(false)
}

// Dirty returns what changed since the last call.
func (s *State) Dirty() []wall.Chunk { return append(s.rows.Take(), s.Air.Take()...) }

func (s *State) settle(amends bool) {
	if s.record.Stale() {
		s.fold()
	}
	if s.words.Stale() {
		s.alarms = s.words.Alarms()
		s.sheets = map[string]uint64{}
		for _, e := range s.words.Entries() {
			if d, ok := e.Data.(*events.SheetIssued); ok && e.Trusted {
				s.sheets[d.Date] = e.Seq
			}
		}
	}
	s.Air.Settle(&s.record, amends)
}

func (s *State) fold() {
	s.Policy, s.PolicyBy, s.Opened = Default(), "", false
	s.Mixes, s.Criteria, s.holes = map[string]Mix{}, nil, nil
	s.name, s.units, s.zone = s.Site, "si", time.UTC
	hours := map[int64]Hour{}
	entries := s.record.Entries()
	for i := range entries {
		e := &entries[i]
		switch d := e.Last().(type) {
		case *events.SiteOpened:
			s.Opened = true
			s.called(d.Name, d.Zone, d.Units)
			s.Policy = s.Policy.change(e, func(v events.Data) *events.Policy { return &v.(*events.SiteOpened).Policy })
			s.PolicyBy = e.By
		case *events.SiteAmended:
			s.called(d.Name, d.Zone, d.Units)
			s.Policy = s.Policy.change(e, func(v events.Data) *events.Policy { return &v.(*events.SiteAmended).Policy })
			s.PolicyBy = e.By
		case *events.MixApproved:
			s.foldMix(e, d)
		case *events.CriterionSet:
			s.Criteria = append(s.Criteria, wall.CriterionOf(e, d))
		case *events.HoleAccepted:
			if !e.Maybe {
				s.holes = append(s.holes, *d)
			}
		case *events.WeatherForecast:
			foldForecast(hours, e)
		}
	}
	s.Hours = s.Hours[:0]
	for _, h := range hours {
		s.Hours = append(s.Hours, h)
	}
	slices.SortFunc(s.Hours, func(a, b Hour) int { return cmp.Compare(a.At, b.At) })
}

func (s *State) called(name, zone, units string) {
	if name != "" {
		s.name = name
	}
	if units != "" {
		s.units = units
	}
	if zone != "" {
		if z, err := time.LoadLocation(zone); err == nil {
			s.zone = z
		}
	}
}

func (s *State) foldMix(e *wall.Entry, d *events.MixApproved) {
	m := Mix{Signed: e.Signed && !e.Maybe}
	if old, ok := s.Mixes[d.Mix]; ok && !m.Signed {
		m.Versions = append(m.Versions, old.Versions...) // the one before counts as well
	}
	for _, v := range e.Versions {
		m.Versions = append(m.Versions, v.(*events.MixApproved))
	}
	s.Mixes[d.Mix] = m
}

func foldForecast(hours map[int64]Hour, e *wall.Entry) {
	issued := e.Began.Early
	for _, v := range e.Versions {
		for _, h := range v.(*events.WeatherForecast).Hours {
			at := h.At.UnixMilli()
			y, known := hours[at]
			c := wall.Centi(*h.Celsius)
			if !known {
				y = Hour{At: at, Coldest: c, GustCM: -1, issued: issued - 1}
			}
			y.Coldest = min(y.Coldest, c)
			gust := -1
			if h.GustMPS != nil {
				gust = scaled(h.GustMPS, 100, -1)
			}
			switch {
			case issued > y.issued:
				y.Latest, y.GustCM, y.issued = c, gust, issued
			case issued == y.issued:
				y.Latest, y.GustCM = min(y.Latest, c), max(y.GustCM, gust)
			}
			hours[at] = y
		}
	}
}

// Zone returns the site's time zone; UTC until the site was opened.
func (s *State) Zone() *time.Location { return s.zone }

// Name returns the site's name for people.
func (s *State) Name() string { return s.name }

// Units returns what the site shows: si or us.
func (s *State) Units() string { return s.units }

// Sheets returns the stream sequence of each morning sheet by local date.
func (s *State) Sheets() map[string]uint64 { return s.sheets }

// Holes returns the stream's holes that a keeper accepted.
func (s *State) Holes() []events.HoleAccepted { return s.holes }

// Alarms returns the alerts ever raised on the site as a whole.
func (s *State) Alarms() []wall.Alarm { return s.alarms }

// Doubts returns what a named person has to answer.
func (s *State) Doubts() []wall.Doubt { return s.record.Doubts() }

// Refused returns the messages about the site that were not accepted.
func (s *State) Refused() []wall.Refused { return s.record.Refused() }

// Digest returns the SHA-256 of all that the site's record says.
func (s *State) Digest() [32]byte {
	b := fmt.Appendf([]byte{wall.FoldVersion}, "%s|%s|%s|%s|%+v|%v|%v", s.Site, s.name, s.units, s.zone, s.Policy, s.Hours, s.holes)
	b = s.record.AppendDigest(b)
	b = s.words.AppendDigest(b)
	b = s.Air.AppendDigest(b)
	return sha256.Sum256(b)
}
