package site

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"math"
	"slices"
	"time"

	"earlyage/events"
	"earlyage/projector/wall"
)

// State is what is known of a whole site.
type State struct {
	Site     string
	Policy   Policy
	PolicyBy string     // who set the policy last; empty: nobody, the defaults
	PolicyOf events.Key // the event that did
	policies []policyFrom
	Mixes    map[string]Mix
	Criteria []wall.Criterion
	Hours    []Hour // forecast, by hour, in order of time
	Air      wall.Readings
	Opened   bool

	Checklist []ChecklistChange        // what counts, in canonical order
	Vibrators map[string]wall.Vibrator // by crew; empty: every crew's

	name, units string
	zone        *time.Location
	holes       []events.HoleAccepted

	record wall.Book
	words  wall.Words
	rows   wall.Rows
}

// Mix is a mix as approved. Until a second person has countersigned, nothing
// that it says makes an answer earlier: what was countersigned before counts as
// well.
type Mix struct {
	Versions []MixVersion
	Known    bool   // one of them is countersigned
	By       string // who approved the newest
}

// MixVersion is one approval of a mix that counts.
type MixVersion struct {
	*events.MixApproved
	Signed bool
}

// Hour is what was forecast for one hour, in hundredths of a degree and cm/s. It
// begins at a whole hour of UTC.
type Hour struct {
	At      int64 // Unix ms
	Coldest int16 // of all forecasts issued
	Hottest int16 // of all forecasts issued
	Latest  int16 // of the one issued last
	GustCM  int   // greatest of the one issued last; -1: not said
	issued  int64
}

// policyFrom is the policy from a moment on.
type policyFrom struct {
	at     int64 // Unix ms
	policy Policy
}

// New returns a site of which nothing is known.
func New(site string) *State {
	s := &State{Site: site, Policy: Default(), Mixes: map[string]Mix{}, zone: time.UTC, units: "si", name: site}
	s.record.Elsewhere = func(k events.Key) (events.Kind, bool) {
		if kind, ok := s.words.Find(k); ok {
			return kind, true
		}
		return s.Air.Find(k)
	}
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
	case "alert.raised", "alert.cleared", "alert.acknowledged", "alert.shelved", "alert.unshelved",
		"alert.out-of-service", "alert.in-service", "alert.shown", "alert.told", "sheet.issued":
		return s.words.Book()
	}
	return &s.record
}

// Add takes site-wide facts in, in any order; one that is there is ignored.
// Events of walls and reports of devices are not its concern.
func (s *State) Add(facts ...wall.Fact) {
	changed, amends := false, false
	for i := range facts {
		f := &facts[i]
		if f.Wall != "" || f.Kind == "device.reported" || !s.concerns(f) {
			continue
		}
		if wall.IsReading(f.Kind) {
			if s.Air.Add(f) {
				changed = true
				s.record.Arrived(f.Key())
			}
			continue
		}
		if !s.book(f.Kind).Add(*f) {
			continue
		}
		changed, amends = true, amends || wall.IsChange(f.Kind)
		s.record.Arrived(f.Key()) // a void may have named it before it came
		s.rows.Fact(f)
	}
	if changed {
		s.settle(amends)
	}
}

// concerns reports whether an event is the site's own, or one of the whole
// company that holds on every site.
func (s *State) concerns(f *wall.Fact) bool {
	if f.Source.Site == s.Site {
		return true
	}
	switch f.Kind {
	case "site.opened", "site.amended", "mix.approved", "criterion.set", "checklist.amended":
		return true
	}
	return wall.IsChange(f.Kind)
}

// AddRefused notes messages about the site that could not be accepted.
func (s *State) AddRefused(list ...wall.Refused) {
	s.record.AddRefused(list...)
	s.settle(false)
}

// Dirty returns what changed since the last call.
func (s *State) Dirty() []wall.Chunk {
	return slices.Concat(s.rows.Take(), s.record.TakeRefused(), s.Air.Take())
}

func (s *State) settle(amends bool) {
	if s.record.Stale() {
		s.fold()
	}
	s.words.Settle(&s.record)
	s.Air.Settle(&s.record, amends)
}

func (s *State) fold() {
	s.Policy, s.PolicyBy, s.PolicyOf, s.Opened, s.policies = Default(), "", events.Key{}, false, nil
	s.Mixes, s.Criteria, s.holes = map[string]Mix{}, nil, nil
	s.Checklist, s.Vibrators = nil, map[string]wall.Vibrator{}
	s.name, s.units, s.zone = s.Site, "si", time.UTC
	hours := map[int64]Hour{}
	entries := s.record.Entries()
	for i := range entries {
		e := &entries[i]
		switch d := e.Last().(type) {
		case *events.SiteOpened:
			s.Opened = s.Opened || e.Source.Site == s.Site
			s.called(e, d.Name, d.Zone, d.Units)
			s.setPolicy(e, func(v events.Data) *events.Policy { return &v.(*events.SiteOpened).Policy })
		case *events.SiteAmended:
			s.called(e, d.Name, d.Zone, d.Units)
			s.setPolicy(e, func(v events.Data) *events.Policy { return &v.(*events.SiteAmended).Policy })
		case *events.MixApproved:
			s.foldMix(e, d)
		case *events.CriterionSet:
			s.Criteria = append(s.Criteria, wall.CriterionOf(e, d))
		case *events.ChecklistAmended:
			s.foldChecklist(e)
		case *events.VibratorDeclared:
			v := wall.VibratorOf(e)
			s.Vibrators[v.Crew] = v
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

// called takes what a site is called. What holds for the whole company names none.
func (s *State) called(e *wall.Entry, name, zone, units string) {
	if e.Source.Site != s.Site {
		return
	}
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

func (s *State) setPolicy(e *wall.Entry, policy func(events.Data) *events.Policy) {
	s.Policy, s.PolicyBy, s.PolicyOf = s.Policy.change(e, policy), e.By, e.Key()
	s.policies = append(s.policies, policyFrom{e.Began.Early, s.Policy})
}

// UpTo returns the site as the record had it up to a message of the stream in what
// people set: policy, mixes, criteria. Air and forecasts are those of now.
func (s *State) UpTo(seq uint64) *State {
	out := New(s.Site)
	out.record.Elsewhere = s.record.Elsewhere
	s.record.Facts(seq, func(f wall.Fact) {
		if f.Kind != "weather.forecast" {
			out.record.Add(f)
		}
	})
	out.fold()
	out.Hours, out.Air = s.Hours, s.Air
	return out
}

// After yields what the site's record took in after a message of the stream, as
// that of a wall does.
func (s *State) After(seq uint64, measured int64, yield func(k events.Kind, recorded int64)) {
	s.record.After(seq, yield)
	s.Air.After(seq, measured, yield)
}

// PolicyAt returns the policy that held at a moment (Unix ms), as it is known
// now. Before the first it is the first: a site begins with what opened it.
func (s *State) PolicyAt(at int64) Policy {
	out := s.Policy
	for i := len(s.policies) - 1; i >= 0; i-- {
		if out = s.policies[i].policy; s.policies[i].at <= at {
			break
		}
	}
	return out
}

func (s *State) foldMix(e *wall.Entry, d *events.MixApproved) {
	m := Mix{By: e.By}
	signed := e.Signed && !e.Maybe && len(e.Versions) == 1
	if !signed {
		m = s.Mixes[d.Mix]
		m.By = e.By
	}
	for i, v := range e.Versions {
		m.Versions = append(m.Versions, MixVersion{v.(*events.MixApproved), e.Signed && !e.Maybe && i == 0})
	}
	m.Known = m.Known || e.Signed && !e.Maybe
	s.Mixes[d.Mix] = m
}

// foldForecast lays a forecast over the hours that it touches. From one of its
// times to the next either may hold; the last holds for an hour.
func foldForecast(hours map[int64]Hour, e *wall.Entry) {
	for _, v := range e.Versions {
		list := v.(*events.WeatherForecast).Hours
		for i, h := range list {
			until := h.At.UnixMilli() + hourMS
			next := h
			if i+1 < len(list) {
				next = list[i+1]
				until = next.At.UnixMilli()
			}
			for at := h.At.UnixMilli() - mod(h.At.UnixMilli()); at < until; at += hourMS {
				y, known := hours[at]
				hours[at] = y.forecast(at, known, e.Began.Early, h, next)
			}
		}
	}
}

const hourMS = 3600 * 1000

func mod(ms int64) int64 { return (ms%hourMS + hourMS) % hourMS }

// forecast adds what one forecast says of the hour, by the two times about it.
func (y Hour) forecast(at int64, known bool, issued int64, a, b events.ForecastHour) Hour {
	cold := min(wall.Centi(*a.Celsius), wall.Centi(*b.Celsius))
	hot := max(wall.Centi(*a.Celsius), wall.Centi(*b.Celsius))
	gust := max(gustOf(a), gustOf(b))
	if !known {
		return Hour{at, cold, hot, wall.Centi(*a.Celsius), gust, issued}
	}
	y.Coldest, y.Hottest = min(y.Coldest, cold), max(y.Hottest, hot)
	switch {
	case issued > y.issued:
		y.Latest, y.GustCM, y.issued = wall.Centi(*a.Celsius), gust, issued
	case issued == y.issued:
		y.Latest, y.GustCM = min(y.Latest, cold), max(y.GustCM, gust)
	}
	return y
}

func gustOf(h events.ForecastHour) int {
	if h.GustMPS == nil {
		return -1
	}
	return int(math.Ceil(float64(*h.GustMPS * 100)))
}

// Zone returns the site's time zone; UTC until the site was opened.
func (s *State) Zone() *time.Location { return s.zone }

// Name returns the site's name for people.
func (s *State) Name() string { return s.name }

// Units returns what the site shows: si or us.
func (s *State) Units() string { return s.units }

// SheetDay names one sheet: which of them, and its local date.
type SheetDay = wall.SheetDay

// Sheets returns the stream sequence of each sheet that was issued.
func (s *State) Sheets() map[SheetDay]uint64 { return s.words.Sheets() }

// Holes returns the stream's holes that a keeper accepted.
func (s *State) Holes() []events.HoleAccepted { return s.holes }

// Alarms returns the alerts ever raised on the site as a whole.
func (s *State) Alarms() []wall.Alarm { return s.words.Alarms() }

// Rests returns the kinds of alert that are or were out of service on the whole
// site: on its walls as well.
func (s *State) Rests() []wall.Rest { return s.words.Rests() }

// Told returns what was told, by alert, in messages of the site: one of them may
// tell of the alarms of several walls.
func (s *State) Told() map[string][]wall.Telling { return s.words.Strays() }

// Doubts returns what a named person has to answer.
func (s *State) Doubts() []wall.Doubt { return s.record.Doubts() }

// Refused returns the messages about the site that were not accepted: the newest
// of them.
func (s *State) Refused() []wall.Refused { return s.record.Refused() }

// Digest returns the SHA-256 of all that the site's record says.
func (s *State) Digest() [32]byte {
	b := fmt.Appendf([]byte{wall.FoldVersion}, "%s|%s|%s|%s|%+v|%+v|%v|%v", s.Site, s.name, s.units, s.zone, s.Policy, s.policies, s.Hours, s.holes)
	b = s.record.AppendDigest(b)
	b = s.words.AppendDigest(b)
	b = s.Air.AppendDigest(b)
	return sha256.Sum256(b)
}
