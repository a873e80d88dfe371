package wallpage

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/picture"
	"earlyage/cmd/earlyage/internal/words"
)

// What a report is made of.
type (
	// Fact is a word and what it is.
	Fact = fact
	// Cell is one place of a table.
	Cell = cell
	// Row is a line of a table.
	Row = row
	// Table is what stands beside a picture, or by itself.
	Table = table
	// EntryLine is one message in words, or the readings of one device.
	EntryLine = timelineLine
)

// Report is a page in the words of one language, without anything that only a
// screen can do. It says nothing of the present: that a window is open, it says
// of its own moment.
type Report struct {
	Title, Name, Site, SiteName, Wall string
	When                              string
	State, Verdict, Governs           string
	Wrong                             []string
	Expected                          []Fact
	Identity                          []Fact
	Due                               []Fact
	Open                              []string
	Parts                             []Part
	Entries                           []Reported
	People                            []Person // whoever is named in it, by id
}

// Part is a part of the report.
type Part struct {
	ID, Title string
	Lead      []string
	Draw      func(picture.Options) *picture.Drawing // nil: there is no picture
	Tables    []Table
	After     []string
}

// Reported is a message, or the first of Line.Count that stand together, with
// what is said of it.
type Reported struct {
	Entry
	Line    EntryLine
	Members []Fact // what it says, by the names of the members
}

// Member is what an entry says of one thing; empty where it does not.
func (r Reported) Member(name string) string {
	for _, m := range r.Members {
		if m.Label == name {
			return m.Value
		}
	}
	return ""
}

// Person is somebody by their id; Name is empty where none is known.
type Person struct{ ID, Name string }

// Report words the page.
func (p Page) Report(c *words.Catalogue, name func(person string) string) Report {
	named := map[string]string{}
	who := func(id string) string {
		called := name(id)
		if named[id] = called; called == id {
			named[id] = ""
		}
		return called
	}
	if p.MayStrip {
		p.MayStrip, p.AsOf = false, true
	}
	t := tongueOf(c, p.Site, p.At.Time, who)
	t.paper = true
	v := viewOf(t, p, filter{})
	out := Report{
		Title: v.Title, Name: v.Name, Site: v.Site, SiteName: v.SiteName, Wall: v.Wall, When: v.When, State: v.State.Text, Verdict: v.Verdict.Text, Governs: v.Governs,
		Wrong: v.Wrong, Expected: v.Three, Identity: v.Identity, Due: v.Due, Open: v.Open,
	}
	drawn := t.drawings(p)
	for _, s := range v.Sections {
		part := Part{ID: s.ID, Title: s.Title, Lead: s.Lead, Tables: s.Tables, After: s.After}
		if s.Picture != nil {
			part.Draw = drawn[s.ID]
		}
		out.Parts = append(out.Parts, part)
	}
	for _, r := range runs(p.Timeline) {
		e := Reported{Entry: r.Entries[0], Line: t.entryLine(r)}
		t.unit = e.Unit
		for _, m := range members([]byte(e.Data)) {
			for _, f := range t.member(m, "") {
				e.Members = append(e.Members, Fact{m.name, f.Value})
			}
		}
		out.Entries = append(out.Entries, e)
	}
	for _, a := range p.Alarms {
		for _, x := range a.Told {
			t.person(x.Person)
		}
		for _, x := range a.Shown {
			t.person(x.Person)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(named)) {
		out.People = append(out.People, Person{id, named[id]})
	}
	return out
}

// MomentOf reads a moment that is asked for: RFC 3339, or local to the site. Zero is
// now.
func MomentOf(text string, zone *time.Location, now time.Time) (time.Time, error) {
	return asOf(text, zone, now)
}

// drawings are the page's pictures by the id of their section.
func (t tongue) drawings(p Page) map[string]func(picture.Options) *picture.Drawing {
	return map[string]func(picture.Options) *picture.Drawing{
		"surface": func(o picture.Options) *picture.Drawing { return picture.DrawUnrolled(p.Surface, o) },
		"window":  func(o picture.Options) *picture.Drawing { return picture.DrawProgress(t.progress(p), o) },
		"curves":  func(o picture.Options) *picture.Drawing { return picture.DrawCurves(p.Curing, o) },
		"braces":  func(o picture.Options) *picture.Drawing { return picture.DrawBracing(p.Bracing, o) },
		"pour":    func(o picture.Options) *picture.Drawing { return picture.DrawTimeline(p.Pour, o) },
	}
}

// Tongue writes moments and quantities as a page does, for what is printed beside
// a report.
type Tongue struct{ tongue }

// TongueOf writes for a site at a moment.
func TongueOf(c *words.Catalogue, s face.Site, at time.Time, name func(person string) string) Tongue {
	t := tongueOf(c, s, at, name)
	t.paper = true
	return Tongue{t}
}

// Alert is the name of a kind of alert.
func (t Tongue) Alert(kind string) string { return t.alert(kind) }

// AlertSays is what an alert says in the site's units and the language; record is
// what the record says, where that is not the same.
func (t Tongue) AlertSays(a face.Alarm) (say, record string) {
	return t.alertSays(a.Kind, a.Text, a.About)
}

// TakenBack says which answers to an alert were taken back.
func (t Tongue) TakenBack(a face.Alarm) []string { return t.takenBack(a) }

// Person is a person's name, or the id.
func (t Tongue) Person(id string) string { return t.person(id) }

// Own is a text if there is one, else what the record says.
func (t Tongue) Own(key, say string) string { return t.own(key, say) }

// Value is a word of the record in the language.
func (t Tongue) Value(v string) string { return t.value(v) }

// Criterion is the name of a criterion.
func (t Tongue) Criterion(name string) string { return t.criterion(name) }

// Length writes metres in the site's units.
func (t Tongue) Length(m float64) string { return t.length(m) }

// Moment writes what has been, rounded down to the minute.
func (t Tongue) Moment(at face.Time) string { return t.down(at) }

// After writes what has been after something else: with its day only if that is
// another.
func (t Tongue) After(at, first face.Time) string {
	here, there := at.In(t.zone), first.In(t.zone)
	if here.Format(time.DateOnly) == there.Format(time.DateOnly) {
		return here.Format("15:04 MST")
	}
	return t.down(at)
}

// Long writes a moment with its year.
func (t Tongue) Long(at time.Time) string { return t.long(at) }

// Strip writes a time to strip, rounded up to the minute.
func (t Tongue) Strip(at face.Time) string { return t.up(at) }

// NotesText writes in one line what became of an entry.
func (l timelineLine) NotesText() string {
	var out []string
	for _, n := range l.Notes {
		out = append(out, cmp.Or(strings.TrimSpace(n.Text+" "+n.LinkText), n.Text))
	}
	return strings.Join(out, "; ")
}
