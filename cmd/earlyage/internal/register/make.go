package register

import (
	"cmp"
	"fmt"
	"iter"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Query is what a register is asked for.
type Query struct {
	At       time.Time // now
	Wall     string    // empty: every wall
	From, To string    // local dates of each site, as in Register
}

const dateLayout = "2006-01-02"

// Check refuses dates that are none, or the wrong way round.
func (q Query) Check() error {
	for _, d := range []struct{ field, value string }{{"from", q.From}, {"to", q.To}} {
		if _, err := time.Parse(dateLayout, d.value); d.value != "" && err != nil {
			return &events.Refusal{Field: d.field, Value: d.value[:min(len(d.value), 40)], Allowed: "a date, as 2026-11-02"}
		}
	}
	if q.From != "" && q.To != "" && q.To < q.From {
		return &events.Refusal{Field: "to", Value: q.To, Allowed: "not before " + q.From}
	}
	return nil
}

// period gives the moments of the local days, the second not of it any more. A
// zero time is no limit.
func (q Query) period(zone *time.Location) (from, to time.Time) {
	if d, err := time.ParseInLocation(dateLayout, q.From, zone); err == nil {
		from = d
	}
	if d, err := time.ParseInLocation(dateLayout, q.To, zone); err == nil {
		to = d.AddDate(0, 0, 1)
	}
	return from, to
}

// Input is one site's part of the record.
type Input struct {
	Site    face.Site
	State   *site.State
	Devices *site.Devices
	Hub     scheduler.Hub
	Name    func(person string) string // as it is known; nil: no names are
	Walls   iter.Seq[*wall.State]      // all walls of the site, in order; each is used before the next is asked for
}

// Make makes the part of one site. Whoever gave the states may take them back as
// soon as it has returned.
func Make(q Query, in Input) Site {
	m := maker{Query: q, in: in, zone: in.Site.Location()}
	m.from, m.to = q.period(m.zone)
	out := Site{Site: in.Site, Walls: []Wall{}, Clear: Clear{Days: -1}}
	for w := range in.Walls {
		b := scheduler.BracingOf(in.State, in.Devices, w, in.Hub, q.At)
		for i := range b.Stands {
			m.count(&b.Stands[i])
		}
		if q.Wall != "" && q.Wall != w.Wall {
			continue
		}
		if y := m.wall(w, b); len(y.Rows) > 0 {
			out.Walls = append(out.Walls, y)
		}
	}
	out.Clear = m.clear()
	return out.sum()
}

// maker makes one site's part.
type maker struct {
	Query
	in       Input
	zone     *time.Location
	from, to time.Time

	first, early time.Time // the first strip of all, the last early one
}

// count notes a strip for the days without an early one.
func (m *maker) count(s *scheduler.Stand) {
	e := off(s)
	if e == nil {
		return
	}
	at := e.Began.EarlyTime()
	if at.After(m.At) || !m.to.IsZero() && !at.Before(m.to) {
		return
	}
	if m.first.IsZero() || at.Before(m.first) {
		m.first = at
	}
	if s.Early != "" && at.After(m.early) {
		m.early = at
	}
}

// off is the entry that took a brace off, also where its void waits.
func off(s *scheduler.Stand) *wall.Entry {
	if s.Stripped != nil {
		return s.Stripped
	}
	return s.Undone
}

func (m *maker) clear() Clear {
	since := m.early
	if since.IsZero() {
		since = m.first
	}
	if since.IsZero() {
		return Clear{Days: -1}
	}
	last := m.At.In(m.zone).Format(dateLayout)
	if m.To != "" && m.To < last {
		last = m.To
	}
	day := since.In(m.zone).Format(dateLayout)
	return Clear{Days: daysBetween(day, last), Since: day, Early: !m.early.IsZero()}
}

// daysBetween counts calendar days: no change of the clocks counts.
func daysBetween(from, to string) int {
	a, errA := time.Parse(dateLayout, from)
	b, errB := time.Parse(dateLayout, to)
	if errA != nil || errB != nil {
		return -1
	}
	return int(b.Sub(a) / (24 * time.Hour))
}

func (m *maker) wall(w *wall.State, b scheduler.Bracing) Wall {
	out := Wall{Wall: w.Wall, Name: cmp.Or(w.Holding.Name, w.Wall), State: b.Assessment.State, Rows: []Row{}}
	voided := w.Voided()
	for i := range b.Stands {
		if s := &b.Stands[i]; m.within(s) {
			r := m.row(w, s)
			r.Exceptions = m.exceptions(w, s, voided)
			out.Rows = append(out.Rows, r)
		}
	}
	return out.sum()
}

// within reports whether a brace stood at any time in the period.
func (m *maker) within(s *scheduler.Stand) bool {
	began := m.At
	switch {
	case s.Set != nil:
		began = s.Set.Began.EarlyTime()
	case s.Stripped != nil:
		began = s.Stripped.Began.EarlyTime()
	}
	if !m.to.IsZero() && !began.Before(m.to) {
		return false
	}
	return m.from.IsZero() || s.Stripped == nil || !s.Stripped.Ended.LateTime().Before(m.from)
}

func (m *maker) row(w *wall.State, s *scheduler.Stand) Row {
	r := Row{
		Brace: s.Brace, AtMM: int64(s.AtMM), State: s.State, Looks: s.Looks, ClockZero: face.Time{Time: s.Zero},
		Cured: face.Time{Time: s.Cured}, Opened: face.Time{Time: s.Opened}, KeptS: s.KeptS, AgeS: s.AgeS, Rule: s.Rule,
		Margin: Margin{s.Margin.S, s.Margin.Known, s.Margin.AtMost, s.Margin.By}, Governs: s.Governs,
		Early: s.Early != "", Unpermitted: s.Unpermitted != "", Said: saidOf(s), Permit: m.permit(w, s), Warmth: m.warmth(w, s),
	}
	if s.Set != nil {
		r.Set = m.deed(s.Set, s.Set.Ended.LateTime())
	}
	if s.Inspected != nil {
		r.Inspected = m.deed(s.Inspected, s.Inspected.Began.EarlyTime())
	}
	if s.ZeroBy != nil {
		r.Concrete = m.deed(s.ZeroBy, s.ZeroBy.Ended.LateTime())
	}
	if s.Stripped != nil {
		r.Stripped = m.deed(s.Stripped, s.Stripped.Began.EarlyTime())
	}
	return r
}

// deed is an entry as a person did it.
func (m *maker) deed(e *wall.Entry, at time.Time) Deed {
	return Deed{
		At: face.Time{Time: at}, Entered: face.Time{Time: e.Time}, Recorded: face.Time{Time: e.Recorded},
		By: e.By, Name: m.name(e.By), Device: e.Source.Device, Seq: e.Seq,
	}
}

func (m *maker) name(person string) string {
	if person == "" || m.in.Name == nil {
		return ""
	}
	return m.in.Name(person)
}

// warmth is what was read from the last concrete of a brace to its strip, or to now.
func (m *maker) warmth(w *wall.State, s *scheduler.Stand) Warmth {
	from, to := s.Zero.UnixMilli(), m.At.UnixMilli()
	if e := off(s); e != nil {
		to = e.Began.Early
	}
	if s.Zero.IsZero() || to < from {
		return Warmth{}
	}
	for _, place := range []string{scheduler.FromTop, scheduler.FromCore, "face"} {
		high, _ := w.Readings.Hottest(place, from, to)
		low, read := w.Readings.Coldest(place, from, to)
		if !read && high == wall.None {
			continue
		}
		out := Warmth{Place: place}
		if read {
			out.LowCC = new(int64(low))
		}
		if high != wall.None {
			out.HighCC = new(int64(high))
		}
		return out
	}
	return Warmth{}
}

func (m *maker) permit(w *wall.State, s *scheduler.Stand) Permit {
	p := s.Permit
	if p == nil {
		return Permit{}
	}
	issued := Deed{At: moment(p.At), Recorded: moment(p.Recorded), By: p.By, Name: m.name(p.By), Seq: p.Seq}
	entries := w.Entries()
	for i := range entries {
		if e := &entries[i]; e.Key() == p.Key {
			issued = m.deed(e, e.Ended.LateTime())
		}
	}
	return Permit{
		Number: p.Number, At: moment(p.At), Until: moment(p.Until), Withdrawn: moment(p.Withdrawn), By: p.By, Name: m.name(p.By),
		Issued: issued, Stood: s.Stood, Released: s.Released, Releaser: m.name(s.Released), Lacks: slices.Clone(p.Lacks),
	}
}

func moment(ms int64) face.Time {
	if ms == 0 {
		return face.Time{}
	}
	return face.Time{Time: time.UnixMilli(ms).UTC()}
}

func saidOf(s *scheduler.Stand) Said {
	if s.Said == nil {
		return Said{}
	}
	d := &s.Said.WindowStated
	out := Said{At: face.Time{Time: d.At}, Open: d.Open, Cured: face.Time{Time: d.CuredAt}, Earliest: face.Time{Time: d.Earliest}, Governs: d.Governs, Differs: s.Differs}
	if s.Differs {
		out.Now = "shut, " + s.Now.Governs
		if s.Now.Open {
			out.Now = "open"
		}
		if c := s.Now.CuredAt; !c.IsZero() {
			out.Now += fmt.Sprintf(", cured %s", c.UTC().Format(time.RFC3339))
		}
	}
	return out
}

// Join puts the parts of sites together: head has all but the sites and the sum.
func Join(head Register, q Query, sites []Site) Register {
	head.At, head.Wall, head.From, head.To = face.Time{Time: q.At.UTC()}, q.Wall, q.From, q.To
	head.Rules, head.Caution = scheduler.Rules, scheduler.Caution
	head.Sites = sites
	if head.Sites == nil {
		head.Sites = []Site{}
	}
	slices.SortFunc(head.Sites, func(a, b Site) int { return cmp.Compare(a.Site.Site, b.Site.Site) })
	var t tally
	for _, s := range head.Sites {
		for _, w := range s.Walls {
			t.add(w.Rows)
		}
	}
	head.Total = t.totals()
	return head
}
