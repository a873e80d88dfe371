package wallpage

import (
	"cmp"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json/jsontext"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
)

// Filter is what the timeline is narrowed to.
type Filter = filter

type filter struct {
	Query string // words in what a message says or bears, case the same
	Kind  string // a kind, the thing before its dot, or ! for what was changed, doubted or refused; empty: all

	Single bool // readings stand each by itself; they do where Kind asks for them alone
}

// timelineView is the timeline as it is shown.
type timelineView struct {
	filter
	Kinds        []option
	Lines        []timelineLine
	Shown, Total int
}

type option struct {
	Value, Name string
	Chosen      bool
}

// timelineLine is one message, or the readings of one device.
type timelineLine struct {
	ID, Number           string
	Kind                 cell
	Happened, Recorded   string
	Who, Device          string
	Facts                []fact
	Notes                []note
	Struck               bool
	Of                   string // anchor of the entry that it changes
	OfNumber             string
	Each                 bool // readings that stand together
	Count                int
	Signature, Reference string
}

// note is what became of an entry: changed, in doubt, refused.
type note struct {
	Mark, Text, Link, LinkText string
}

// matches reports whether an entry is of the kind that is asked for.
func (f filter) matches(e Entry) bool {
	kind := string(e.Kind)
	thing, _, _ := strings.Cut(kind, ".")
	switch f.Kind {
	case "":
		return true
	case "!":
		return e.Refused != "" || e.Repeat != 0 || len(e.Doubts) > 0 || len(e.Changes) > 0 || e.Waits
	}
	return f.Kind == kind || f.Kind == thing
}

func (t tongue) timeline(p Page, f filter) timelineView {
	out := timelineView{filter: f, Total: len(p.Timeline)}
	out.Kinds = t.kinds(p, f)
	for _, l := range t.worded(p.Timeline, f) {
		out.Lines = append(out.Lines, l.timelineLine)
		out.Shown += l.Count
	}
	return out
}

// worded is a message with its words, or the first of those that stand together.
type worded struct {
	Entry
	timelineLine
}

// worded words what a filter leaves of a timeline.
func (t tongue) worded(timeline []Entry, f filter) (out []worded) {
	var list []Entry
	for _, e := range timeline {
		if f.matches(e) {
			list = append(list, e)
		}
	}
	var all []Run
	if f.Single || f.Kind == "temperature.read" {
		for _, e := range list {
			all = append(all, Run{[]Entry{e}})
		}
	} else {
		all = runs(list)
	}
	query := strings.ToLower(strings.TrimSpace(f.Query))
	for _, r := range all {
		l := t.entryLine(r)
		if query == "" || strings.Contains(strings.ToLower(l.text()), query) || r.bears(query) {
			out = append(out, worded{r.Entries[0], l})
		}
	}
	return out
}

// bears reports whether a message has words in its data as they were sent.
func (r Run) bears(query string) bool {
	return slices.ContainsFunc(r.Entries, func(e Entry) bool { return strings.Contains(strings.ToLower(e.Data), query) })
}

func (t tongue) kinds(p Page, f filter) []option {
	seen := map[events.Kind]bool{}
	for _, e := range p.Timeline {
		if e.Kind != "" {
			seen[e.Kind] = true
		}
	}
	out := []option{{"", t.T("wall.timeline.all"), f.Kind == ""}, {"!", t.T("wall.timeline.odd"), f.Kind == "!"}}
	list := []option{}
	for k := range seen {
		list = append(list, option{string(k), t.kind(k), f.Kind == string(k)})
	}
	slices.SortFunc(list, func(a, b option) int { return strings.Compare(a.Name+a.Value, b.Name+b.Value) })
	out = append(out, list...)
	if !slices.ContainsFunc(out, func(o option) bool { return o.Chosen }) {
		out = append(out, option{f.Kind, f.Kind, true})
	}
	return out
}

func (t tongue) entryLine(r Run) timelineLine {
	e := r.Entries[0]
	n := strconv.FormatUint(e.Seq, 10)
	l := timelineLine{
		ID: "e" + n, Number: n, Kind: cell{Text: t.kind(e.Kind)}, Recorded: t.down(e.Recorded), Who: t.person(e.By), Device: e.Device,
		Happened: t.span2(e.Began, e.Ended), Facts: t.says(e), Count: len(r.Entries), Signature: t.T("wall.unsigned"), Reference: e.ID,
	}
	if e.Signed {
		l.Signature = t.T("wall.signed")
	}
	if e.Kind == "" {
		l.Kind.Text = t.T("wall.timeline.unreadable", "subject", e.Subject)
	}
	if e.Device == events.HubDevice {
		l.Who, l.Device = t.T("wall.timeline.hub"), ""
	}
	if e.Of != 0 {
		l.OfNumber = strconv.FormatUint(e.Of, 10)
		l.Of = "#e" + l.OfNumber
	}
	l.Struck = e.Voided() || e.Refused != "" || e.Repeat != 0
	if len(r.Entries) > 1 {
		return t.together(l, r)
	}
	l.Notes = t.notes(e)
	return l
}

// span2 writes from when to when a thing lasted, the day once.
func (t tongue) span2(began, ended face.Time) string {
	switch {
	case began.IsZero():
		return ""
	case ended.IsZero() || ended.Sub(began.Time) < 60e9:
		return t.down(began)
	case began.In(t.zone).YearDay() == ended.In(t.zone).YearDay():
		return t.T("wall.span", "from", strings.TrimSuffix(t.down(began), began.In(t.zone).Format(" MST")), "to", ended.In(t.zone).Format("15:04 MST"))
	}
	return t.T("wall.span", "from", t.down(began), "to", t.down(ended))
}

// together sums up the readings of one device.
func (t tongue) together(l timelineLine, r Run) timelineLine {
	last := r.Entries[len(r.Entries)-1]
	l.Each = true
	l.Happened = t.span2(r.Entries[0].Began, last.Ended)
	l.Recorded = t.span2(r.Entries[0].Recorded, last.Recorded)
	var points []member
	place := ""
	for _, e := range r.Entries {
		for _, m := range members([]byte(e.Data)) {
			switch m.name {
			case "series":
				points = append(points, m)
			case "place":
				place = t.value(text(m.value))
			}
		}
	}
	l.Facts = []fact{{t.label("place"), place}}
	var all []byte
	for _, m := range points {
		for _, v := range elements(m.value) {
			if len(all) > 0 {
				all = append(all, ',')
			}
			all = append(all, v...)
		}
	}
	if sum := t.span(elements([]byte("[" + string(all) + "]"))); sum != "" {
		l.Facts = append(l.Facts, fact{t.label("series"), sum})
	}
	return l
}

func (t tongue) notes(e Entry) (out []note) {
	if e.Refused != "" {
		out = append(out, note{Mark: "hold", Text: t.T("wall.note.refused", "field", e.Field, "why", e.Refused)})
	}
	if e.Repeat != 0 {
		n := strconv.FormatUint(e.Repeat, 10)
		out = append(out, note{Mark: "off", Text: t.T("wall.note.repeat"), Link: "#e" + n, LinkText: n})
	}
	for _, c := range e.Changes {
		out = append(out, t.change(e, c))
	}
	if len(e.Shifts) > 0 {
		out = append(out, note{Mark: "watch", Text: t.shifts(e.Shifts)})
	}
	if e.Alarm != nil {
		out = append(out, t.answers(*e.Alarm)...)
	}
	if e.Waits {
		out = append(out, note{Mark: "watch", Text: t.T("wall.note.waits")})
	}
	for _, d := range e.Doubts {
		out = append(out, note{Mark: "watch", Text: t.T("wall.note.doubt", "what", d)})
	}
	return out
}

// change says what a later message did to an entry: with what stands in its
// place, and with who countersigned it or that nobody has.
func (t tongue) change(e Entry, c Change) note {
	n := strconv.FormatUint(c.Seq, 10)
	mark := "watch"
	if c.Kind == kindCountersigned || c.Kind == kindSettled {
		mark = "done"
	}
	text := t.T("wall.note."+string(c.Kind), "who", t.person(c.By), "when", t.down(c.At))
	if c.Reason != "" {
		text += ": " + c.Reason
	}
	t.unit = c.Unit
	if now := t.differs(e.Data, c.Data); now != "" {
		text += ". " + t.T("wall.note.instead", "what", now)
	}
	for _, s := range c.Second {
		text += ". " + t.T("wall.note.record.countersigned", "who", t.person(s.By), "when", t.down(s.At))
		if s.Note != "" {
			text += ": " + s.Note
		}
	}
	if len(c.Second) == 0 && e.Waits && (c.Kind == kindAmended || c.Kind == kindVoided) {
		text += ". " + t.T("wall.note.unsigned")
	}
	return note{mark, text, "#e" + n, n}
}

// differs says what data say otherwise than the data that they replace.
func (t tongue) differs(was, is string) string {
	if is == "" {
		return ""
	}
	had := map[string]string{}
	for _, m := range members([]byte(was)) {
		had[m.name] = string(m.value)
	}
	var out []string
	for _, m := range members([]byte(is)) {
		if had[m.name] != string(m.value) {
			out = append(out, line(t.member(m, "")))
		}
		delete(had, m.name)
	}
	for _, name := range slices.Sorted(maps.Keys(had)) {
		out = append(out, t.T("wall.note.without", "what", t.label(name)))
	}
	return strings.Join(out, "; ")
}

// shifts says what a statement says otherwise than the one before.
func (t tongue) shifts(list []face.Shift) string {
	side := func(s face.Shift, raw string) string {
		if raw == "" {
			return t.T("board.not-known")
		}
		return t.scalar(s.Member, jsontext.Value(raw))
	}
	var out []string
	for _, s := range list {
		out = append(out, t.T("wall.note.shift", "what", t.label(s.Member), "was", side(s, s.Was), "now", side(s, s.Is)))
	}
	return t.T("wall.note.shifts", "what", strings.Join(out, "; "))
}

// answers says what became of an alert: who was told and saw it, which answers
// were taken back, who answered.
func (t tongue) answers(a face.Alarm) (out []note) {
	say := func(mark, key string, at face.Time, more string, args ...any) {
		if at.IsZero() {
			return
		}
		text := t.T(key, append(args, "when", t.down(at))...)
		if more != "" {
			text += ": " + more
		}
		out = append(out, note{Mark: mark, Text: text})
	}
	for _, x := range a.Told {
		say("off", "wall.note.told", x.At, x.Error, "what", t.value(x.What), "who", cmp.Or(t.person(x.Person), t.T("wall.note.anybody")), "how", t.value(x.Channel), "outcome", t.value(x.Outcome))
	}
	for _, x := range a.Shown {
		say("off", "wall.note.shown", x.At, "", "who", t.person(x.Person), "device", x.Device)
	}
	if more := a.ToldMore + a.ShownMore; more > 0 {
		out = append(out, note{Mark: "off", Text: t.T("wall.more", "n", more)})
	}
	for _, text := range t.takenBack(a) {
		out = append(out, note{Mark: "off", Text: text})
	}
	say("done", "wall.note.acknowledged", a.Acknowledged, a.Note, "who", t.person(a.AcknowledgedBy))
	say("watch", "wall.note.shelved", a.ShelvedFrom, a.ShelvedReason, "who", t.person(a.ShelvedBy), "until", t.either(a.ShelvedUntil, t.down))
	say("off", "wall.note.unshelved", a.Unshelved, "", "who", t.person(a.UnshelvedBy))
	say("done", "wall.note.cleared", a.Cleared, "")
	return out
}

// text is all that a line shows, to be searched.
func (l timelineLine) text() string {
	parts := []string{l.Number, l.Kind.Text, l.Happened, l.Recorded, l.Who, l.Device, line(l.Facts), l.Reference}
	for _, n := range l.Notes {
		parts = append(parts, n.Text)
	}
	return strings.Join(parts, " ")
}
