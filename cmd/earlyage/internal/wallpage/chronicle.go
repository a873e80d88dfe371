package wallpage

import (
	"strconv"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/scheduler"
	"earlyage/scheduler/concrete/unit"
)

// Chronicle is the timeline of a wall by itself, without what a page shows beside
// it.
type Chronicle struct {
	At      time.Time
	AsOf    bool
	Site    face.Site
	Wall    face.Wall
	Said    face.Said
	Entries []Entry
}

// ChronicleOf gathers the timeline. It is pure.
func ChronicleOf(in Input) Chronicle {
	return Chronicle{
		At: in.At, AsOf: in.AsOf, Wall: face.FromAssessment(in.Sheet.Assessment), Said: saidOf(in), Entries: timelineOf(in),
		Site: face.Site{Site: in.Site.Site, Name: in.Site.Name(), Zone: in.Site.Zone().String(), Units: in.Site.Units()},
	}
}

// saidOf sets what the hub had stated last beside what its record gives.
func saidOf(in Input) face.Said {
	a := in.Sheet.Assessment
	s, said := in.Wall.Said()
	out := face.Said{Due: said}
	switch a.State {
	case "", scheduler.StateStripped, scheduler.StateHandedOver:
		out.Due = false
	case scheduler.StatePlanned:
	default:
		out.Due = true
	}
	if !said {
		return out
	}
	out.Seq, out.At, out.Through, out.Open, out.Governs, out.Text = s.Seq, face.Time{Time: s.At}, s.Through, s.Open, s.Governs, s.Text
	out.CuredAt, out.Earliest = face.Time{Time: s.CuredAt}, face.Time{Time: s.Earliest}
	out.Expected = face.Expected{Early: face.Time{Time: s.Early}, Likely: face.Time{Time: s.Likely}, Late: face.Time{Time: s.Late}}
	out.Agrees = scheduler.Agrees(&s.WindowStated, a)
	for i := range in.Messages {
		if m := &in.Messages[i]; m.Seq > s.Through && m.Event.Source.Device != events.HubDevice {
			out.Later++
		}
	}
	return out
}

// Worded is a message in words, or Line.Count readings of one device together.
type Worded struct {
	Entry
	Line EntryLine
}

// Worded words what a filter leaves of the timeline, in the units of the site or,
// where they are given, in others.
func (c Chronicle) Worded(w *words.Catalogue, name func(person string) string, units string, f Filter) []Worded {
	t := c.tongue(w, name, units)
	var out []Worded
	for _, x := range t.worded(c.Entries, f) {
		out = append(out, Worded{x.Entry, x.timelineLine})
	}
	return out
}

func (c Chronicle) tongue(w *words.Catalogue, name func(person string) string, units string) tongue {
	t := tongueOf(w, c.Site, c.At, name)
	switch units {
	case "us":
		t.units = unit.US
	case "si":
		t.units = unit.SI
	}
	return t
}

// Head says what the timeline is of, and of a past moment the window as it was
// stated and as the record gives it.
func (c Chronicle) Head(w *words.Catalogue, shown int) []string {
	t := c.tongue(w, func(person string) string { return person }, "")
	out := []string{
		t.T("wall.title", "wall", c.Wall.Wall, "site", t.name) + ", " + t.T("wall.as-of", "when", t.long(c.At)) + ". " +
			t.T("wall.timeline.shown", "n", shown, "all", len(c.Entries)) + ".",
	}
	if c.AsOf {
		out = append(out, t.T("wall.past", "when", t.long(c.At)))
		out = append(out, t.said(c.Said, c.Wall, c.At)...)
	}
	return out
}

// said says the window as it was stated last, as the record gives it, and whether
// the two agree.
func (t tongue) said(s face.Said, w face.Wall, at time.Time) (out []string) {
	var stated string
	if s.Seq == 0 {
		stated = t.T("wall.said.nothing")
	} else {
		stated = t.T("wall.said."+windowKey(s.Open, s.CuredAt, s.Expected), t.edges(s.Governs, s.CuredAt, s.Earliest, s.Expected, "when", t.down(s.At), "n", strconv.FormatUint(s.Seq, 10))...)
	}
	out = []string{stated}
	if !s.Due {
		return append(out, t.T("wall.said.over"))
	}
	now := t.T("wall.said.now-"+windowKey(w.Strip.Open, w.Strip.CuredAt, w.Strip.Expected), t.edges(w.Strip.Governs, w.Strip.CuredAt, w.Strip.Earliest, w.Strip.Expected)...)
	out = append(out, t.T("wall.said.now", "when", t.long(at), "what", now))
	switch {
	case s.Agrees:
		out = append(out, t.T("wall.said.agree"))
	case s.Later > 0:
		out = append(out, t.T("wall.said.differ-later", "n", s.Later))
	default:
		out = append(out, t.T("wall.said.differ"))
	}
	return out
}

// windowKey is the key of what a window is.
func windowKey(open bool, cured face.Time, e face.Expected) string {
	switch {
	case open:
		return "open"
	case !cured.IsZero():
		return "cured"
	case !e.Likely.IsZero():
		return "expected"
	}
	return "shut"
}

func (t tongue) edges(governs string, cured, earliest face.Time, e face.Expected, more ...any) []any {
	return append(more, "governs", t.criterion(governs), "cured", t.orNot(cured), "earliest", t.orNot(earliest),
		"early", t.orNot(e.Early), "likely", t.orNot(e.Likely), "late", t.orNot(e.Late))
}
