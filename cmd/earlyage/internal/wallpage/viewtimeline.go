package wallpage

import (
	"slices"
	"strconv"
	"strings"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
)

// filter is what the timeline is narrowed to.
type filter struct {
	Query string
	Kind  string // a kind, or the thing before its dot; empty: all
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
	var list []Entry
	for _, e := range p.Timeline {
		if f.matches(e) {
			list = append(list, e)
		}
	}
	var all []Run
	if f.Kind == "temperature.read" {
		for _, e := range list {
			all = append(all, Run{[]Entry{e}})
		}
	} else {
		all = runs(list)
	}
	query := strings.ToLower(strings.TrimSpace(f.Query))
	for _, r := range all {
		l := t.entryLine(r)
		if query == "" || strings.Contains(strings.ToLower(l.text()), query) {
			out.Lines = append(out.Lines, l)
			out.Shown += len(r.Entries)
		}
	}
	return out
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
		l.Who = t.T("wall.timeline.hub")
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
		n := strconv.FormatUint(c.Seq, 10)
		mark := "watch"
		if c.Kind == kindCountersigned || c.Kind == kindSettled {
			mark = "done"
		}
		text := t.T("wall.note."+string(c.Kind), "who", t.person(c.By), "when", t.down(c.At))
		if c.Reason != "" {
			text += ": " + c.Reason
		}
		out = append(out, note{mark, text, "#e" + n, n})
	}
	if e.Waits {
		out = append(out, note{Mark: "watch", Text: t.T("wall.note.waits")})
	}
	for _, d := range e.Doubts {
		out = append(out, note{Mark: "watch", Text: t.T("wall.note.doubt", "what", d)})
	}
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
