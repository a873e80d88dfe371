package register

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/face"
)

// line is one row with what it stands under.
type line struct {
	site *Site
	wall *Wall
	row  *Row
	zone *time.Location
}

// lines yields every row in the order of the register.
func (r *Register) lines(yield func(line) bool) {
	for i := range r.Sites {
		s := &r.Sites[i]
		zone := s.Location()
		for j := range s.Walls {
			w := &s.Walls[j]
			for k := range w.Rows {
				if !yield(line{s, w, &w.Rows[k], zone}) {
					return
				}
			}
		}
	}
}

// column is one column of the data formats. value returns a string, an int, the
// number of a message as uint64, a number or a face.Time; nil is an empty cell.
type column struct {
	key   string // in CSV
	head  string // in XLSX
	wide  float64
	value func(line) any
}

// number is a number with so many digits behind the point, in units of the last.
type number struct {
	of     int64
	digits int
}

// inHours are hours in hundredths, rounded down, also below zero.
func inHours(s int64) number {
	n := s / 36
	if s%36 < 0 {
		n--
	}
	return number{n, 2}
}

func (n number) float() float64 {
	v := float64(n.of)
	for range n.digits {
		v /= 10
	}
	return v
}

func (n number) String() string { return fmt.Sprintf("%.*f", n.digits, n.float()) }

// inDegrees are hundredths of °C as they are.
func inDegrees(centi *int64) any {
	if centi == nil {
		return nil
	}
	return number{*centi, 2}
}

// columns are those of the braces. A name is for ever: a new column gets a new one.
var columns = slices.Concat([]column{
	{"site", "Site", 16, func(l line) any { return l.site.Site.Site }},
	{"wall", "Wall", 12, func(l line) any { return l.wall.Wall }},
	{"brace", "Brace", 8, func(l line) any { return l.row.label() }},
	{"station_m", "Station, m", 10, func(l line) any { return optional(l.row.AtMM >= 0, number{l.row.AtMM, 3}) }},
	{"state", "State", 11, func(l line) any { return l.row.State }},
	{"set", "Set", 16, func(l line) any { return l.row.Set.At }},
	{"set_by", "Set by", 16, func(l line) any { return l.row.Set.who() }},
}, deed("set", "Set", func(r *Row) *Deed { return &r.Set }), []column{
	{"inspected", "Last found sound", 16, func(l line) any { return l.row.Inspected.At }},
	{"inspected_by", "Inspected by", 16, func(l line) any { return l.row.Inspected.who() }},
}, deed("inspected", "Inspection", func(r *Row) *Deed { return &r.Inspected }), []column{
	{"inspections", "Times found sound", 9, func(l line) any { return l.row.Looks }},
	{"last_concrete", "Last concrete", 16, func(l line) any { return l.row.ClockZero }},
	{"last_concrete_by", "Last concrete by", 16, func(l line) any { return l.row.Concrete.who() }},
}, deed("last_concrete", "Last concrete", func(r *Row) *Deed { return &r.Concrete }), []column{
	{"cured", "Cured", 16, func(l line) any { return l.row.Cured }},
	{"opened", "Window opened", 16, func(l line) any { return l.row.Opened }},
	{"stated_at", "Hub stated at", 16, func(l line) any { return l.row.Said.At }},
	{"stated", "Hub stated", 24, func(l line) any { return l.row.Said.words() }},
	{"known_now", "Known now of that moment", 24, func(l line) any { return l.row.Said.Now }},
	{"permit", "Permit", 10, func(l line) any { return l.row.Permit.Number }},
	{"permit_from", "Permit from", 16, func(l line) any { return l.row.Permit.At }},
	{"permit_until", "Permit until", 16, func(l line) any { return l.row.Permit.Until }},
	{"permit_withdrawn", "Permit withdrawn", 16, func(l line) any { return l.row.Permit.Withdrawn }},
	{"permit_issued", "Permit issued", 16, func(l line) any { return l.row.Permit.Issued.At }},
	{"permit_by", "Permit by", 16, func(l line) any { return who(l.row.Permit.By, l.row.Permit.Name) }},
}, deed("permit", "Permit", func(r *Row) *Deed { return &r.Permit.Issued }), []column{
	{"permit_stood", "Permit stood", 9, func(l line) any { return optional(l.row.Permit.Number != "", yes(l.row.Permit.Stood)) }},
	{"permit_released", "On the release of", 14, func(l line) any { return who(l.row.Permit.Released, l.row.Permit.Releaser) }},
	{"permit_lacks", "Permit lacks", 24, func(l line) any { return strings.Join(l.row.Permit.Lacks, "; ") }},
	{"stripped", "Stripped", 16, func(l line) any { return l.row.Stripped.At }},
	{"stripped_by", "Stripped by", 16, func(l line) any { return l.row.Stripped.who() }},
}, deed("stripped", "Strip", func(r *Row) *Deed { return &r.Stripped }), []column{
	{"kept_h", "Kept, h", 9, func(l line) any { return optional(!l.row.ClockZero.IsZero(), inHours(l.row.KeptS)) }},
	{"equivalent_age_h", "Equivalent age, h at 20 °C", 11, func(l line) any { return optional(!l.row.ClockZero.IsZero(), inHours(l.row.AgeS)) }},
	{"age_rule", "By", 24, func(l line) any { return l.row.Rule }},
	{"concrete_low_c", "Concrete, lowest, °C", 9, func(l line) any { return inDegrees(l.row.Warmth.LowCC) }},
	{"concrete_high_c", "Concrete, highest, °C", 9, func(l line) any { return inDegrees(l.row.Warmth.HighCC) }},
	{"concrete_read_at", "Concrete read at", 12, func(l line) any { return cmp.Or(l.row.Warmth.Place, notMeasured) }},
	{"margin_h", "Margin, h", 9, func(l line) any { return optional(l.row.Margin.Known, inHours(l.row.Margin.S)) }},
	{"margin_at_most", "Margin is at most", 9, func(l line) any { return yes(l.row.Margin.AtMost) }},
	{"margin_by", "Margin to", 12, func(l line) any { return l.row.Margin.By }},
	{"governs", "Governed by", 12, func(l line) any { return l.row.Governs }},
	{"early", "Early", 7, func(l line) any { return yes(l.row.Early) }},
	{"unpermitted", "Without permit", 9, func(l line) any { return yes(l.row.Unpermitted) }},
	{"exceptions", "Exceptions", 60, func(l line) any { return l.row.saysExceptions() }},
})

const notMeasured = "not measured"

// deed are the columns that say how a deed came into the record: when it was entered
// and recorded, on which device, and which message of the record it is.
func deed(key, head string, of func(*Row) *Deed) []column {
	return []column{
		{key + "_entered", head + " entered", 16, func(l line) any { return of(l.row).Entered }},
		{key + "_recorded", head + " recorded", 16, func(l line) any { return of(l.row).Recorded }},
		{key + "_device", head + " on device", 12, func(l line) any { return of(l.row).Device }},
		{key + "_message", head + ", message no.", 9, func(l line) any { seq := of(l.row).Seq; return optional(seq != 0, seq) }},
	}
}

func optional(there bool, v any) any {
	if !there {
		return nil
	}
	return v
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// label names the brace; an entry that took off all where none was recorded has
// none.
func (r *Row) label() string {
	if r.Brace == "" {
		return "all"
	}
	return r.Brace
}

func (d Deed) who() string { return who(d.By, d.Name) }

func who(id, name string) string {
	switch {
	case name == "":
		return id
	case id == "":
		return name
	}
	return name + " (" + id + ")"
}

// words is what the hub stated, without a time.
func (s Said) words() string {
	switch {
	case s.At.IsZero():
		return ""
	case s.Open:
		return "open"
	}
	return "shut, waits for " + s.Governs
}

func (r *Row) saysExceptions() string {
	var parts []string
	for _, x := range r.Exceptions {
		parts = append(parts, x.Sort+": "+x.Text)
	}
	return strings.Join(parts, "; ")
}

// in writes a moment in a zone, RFC 3339 with the offset, to the second.
func in(t face.Time, zone *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return t.In(zone).Format(time.RFC3339)
}

// title says what the register is of.
func (r *Register) title() string {
	of := "all sites"
	if r.Site != "" {
		of = r.Site
		if len(r.Sites) == 1 && r.Sites[0].Name != "" {
			of = r.Sites[0].Name
		}
	}
	if r.Wall != "" {
		of += ", wall " + r.Wall
	}
	return "Bracing register of " + of
}

// period says of which days.
func (r *Register) period() string {
	from, to := r.From, r.To
	if from == "" {
		from = "the beginning of the record"
	}
	if to == "" {
		to = "the day on which it was made"
	}
	return "from " + from + " to " + to
}

// notes are the rules by which the register was made.
var notes = []string{
	"A row is one time that a brace stood within the period; it tells all of it up to now. A brace that was set again has another row.",
	"Kept: from the last concrete that a brace answers for, or from its set where that is later, to the strip or to now; rounded down.",
	"Equivalent age: hours at 20 °C at the strip or now, by the site's rule; of several rules the least; rounded down.",
	"Temperature of the concrete: the lowest and the highest that was read from the last concrete to the strip or to now, at the top of the wall, or where nobody read that in its core, or at a face. What is in doubt is in it, and a minimum or maximum whose time is not sure. It is of the wall, not of one brace.",
	"Margin: the strip less the moment when the window of the brace and of its neighbours was open, the permit left out; rounded down; below zero is early. At most: what was missing then is still missing.",
	"Wind that nobody measured makes no strip an early one. A brace that was taken off with others in one entry is early where the entry is.",
	"Days without an early strip: whole local days of the site since the day of the last early strip, or where there is none since the day of the first strip.",
}
