package register

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// lateEntry is how long after the fact an entry is late; as in the fold.
const lateEntry = 60 * time.Minute

// exceptions lists what is not as it should be with one brace, in the order of
// Sorts.
func (m *maker) exceptions(w *wall.State, s *scheduler.Stand, voided []wall.Voided) []Exception {
	out := []Exception{}
	add := func(sort string, seq uint64, format string, args ...any) {
		out = append(out, Exception{Sort: sort, Text: fmt.Sprintf(format, args...), Seq: seq})
	}
	m.stripped(s, add)
	if s.Set == nil {
		add(NeverSet, 0, "nobody recorded that it was set")
	}
	if s.Looks == 0 {
		add(NeverSound, 0, "nobody recorded that it was found sound")
	}
	for _, e := range behind(s) {
		_, ended := e.Span()
		if late := e.Time.Sub(ended); late > lateEntry {
			add(LateEntry, e.Seq, "%s of %s was entered %s after", kindWords[e.Kind], m.local(ended), hours(int64(late/time.Second)))
		}
	}
	if doubts := w.Doubts(); len(doubts) > 0 {
		more := ""
		if len(doubts) > 1 {
			more = fmt.Sprintf(", and %d more", len(doubts)-1)
		}
		add(Doubtful, doubts[0].Message, "nobody answered: %s (message %d)%s", doubts[0].What, doubts[0].Message, more)
	}
	m.changed(s, voided, add)
	slices.SortStableFunc(out, func(a, b Exception) int { return slices.Index(Sorts, a.Sort) - slices.Index(Sorts, b.Sort) })
	return out
}

type adder func(sort string, seq uint64, format string, args ...any)

// stripped says what was wrong with the strip.
func (m *maker) stripped(s *scheduler.Stand, add adder) {
	e := off(s)
	if e == nil {
		return
	}
	if s.Early != "" {
		add(StrippedEarly, e.Seq, "taken off before the window was open: %s", s.Early)
	}
	if s.Unpermitted == "" {
		return
	}
	sort, more := NoPermit, ""
	switch p, at := s.Permit, e.Began.Early; {
	case p == nil && s.Others, s.Stood:
		sort = OutsidePermit
	case p == nil:
	case p.Withdrawn != 0 && p.Withdrawn <= at, p.Until != 0 && p.Until <= at:
		sort = PermitLapsed
	case p.At > at:
		sort, more = OutsidePermit, fmt.Sprintf("; permit %s counts only from %s", p.Number, m.local(time.UnixMilli(p.At)))
	default:
		sort = PermitVoid
	}
	add(sort, e.Seq, "taken off %s%s", s.Unpermitted, more)
}

// behind are the entries that a row rests on.
func behind(s *scheduler.Stand) (out []*wall.Entry) {
	for _, e := range []*wall.Entry{s.Set, s.ZeroBy, off(s)} {
		if e != nil {
			out = append(out, e)
		}
	}
	return out
}

// changed tells of what was amended or voided behind a row.
func (m *maker) changed(s *scheduler.Stand, voided []wall.Voided, add adder) {
	for _, e := range behind(s) {
		_, ended := e.Span()
		what := kindWords[e.Kind] + " of " + m.local(ended)
		switch {
		case e.Maybe:
			add(Amended, e.Seq, "%s is voided, and the void waits for a second person: it counts both ways", what)
		case len(e.Versions) > 1:
			add(Amended, e.Seq, "%s was amended, and that waits for a second person: the safer version counts", what)
		case len(e.Versions) == 1 && e.Versions[0] != e.Data:
			add(Amended, e.Seq, "%s was amended, and a second person let it count", what)
		}
	}
	for _, v := range voided {
		if names, ok := bracesOf(v.Data); ok && (len(names) == 0 || slices.Contains(names, s.Brace)) {
			began, _ := v.Span()
			add(Amended, v.Seq, "%s of %s was voided by %s: it does not count", kindWords[v.Kind], m.local(began), cmp.Or(m.name(v.By.By), v.By.By))
		}
	}
}

// bracesOf names the braces that an entry is about; none: all.
func bracesOf(d events.Data) (names []string, ok bool) {
	switch x := d.(type) {
	case *events.BraceSet:
		for _, b := range x.Braces {
			names = append(names, b.Name)
		}
		return names, true
	case *events.BraceStripped:
		return x.Braces, true
	}
	return nil, false
}

// kindWords name the entries behind a row.
var kindWords = map[events.Kind]string{
	"brace.set": "the set", "brace.stripped": "the strip", "lift.placed": "the last lift", "lift.consolidated": "the last consolidation",
	"load.discharged": "the last discharge", "line.corrected": "the line correction",
}

func (m *maker) local(t time.Time) string { return t.In(m.zone).Format("Mon 2 Jan 2006 15:04 MST") }

// hours writes a duration in hours and minutes, rounded down: "49:05 h".
func hours(s int64) string { return clock(s) + " h" }

func clock(s int64) string {
	sign := ""
	if s < 0 {
		sign, s = "−", -s
	}
	return strings.TrimSpace(fmt.Sprintf("%s%d:%02d", sign, s/3600, s/60%60))
}
