package text

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/scheduler/concrete/unit"
)

// shortest is how many characters a short message has at most: fewer than 160.
const shortest = 159

// A teller is a message in the making: its reader's language, units and times.
type teller struct {
	clock
	facts Facts
	sys   unit.System
}

func newTeller(f Facts) teller {
	zone := f.Site.Zone
	if zone == nil {
		zone = time.UTC
	}
	t := teller{clock: clock{in(f.Reader.Lang), zone, f.Now}, facts: f}
	if cmp.Or(f.Reader.Units, f.Site.Units) == unit.US.String() {
		t.sys = unit.US
	}
	return t
}

// siteName is what a site is called: "_" is the whole company.
func (t teller) siteName(token string) string {
	s := t.facts.Site
	if token != "" && token != s.Token {
		s = t.facts.Sites[token]
		s.Token = token
	}
	if s.Token == "_" {
		if s.Name == s.Token {
			s.Name = ""
		}
		return cmp.Or(Clean(s.Name), t.say("place.all"))
	}
	return cmp.Or(Clean(s.Name), Clean(s.Token))
}

// wallName is what a wall is called; "" for a whole site.
func (t teller) wallName(site, wall string) string {
	if wall == "" {
		return ""
	}
	return cmp.Or(Clean(t.facts.Walls[notice.Place{Site: site, Wall: wall}]), Clean(wall))
}

// A head is a first line in its parts, before it is known how much room there is.
type head struct {
	name, brief string // of the kind
	site, wall  string
	what        []string // from the most telling on
	braces      []string // named in what, counted where there is no room
	when        string
	do          string
	frame       func(string) string // what is put around the line
}

func (t teller) head(n notice.Notice) head {
	w := t.kind(n.Kind)
	h := head{
		name: w.name, brief: w.brief, site: t.siteName(n.Site), wall: t.wallName(n.Site, n.Wall),
		when: t.when(n), frame: func(s string) string { return s },
	}
	if a := n.About; a != nil {
		h.what = t.what(a)
		h.braces = cleanAll(a.Braces)
	}
	if n.State == notice.Raised {
		h.do = t.doBriefly(n, w)
		return h
	}
	if key := "state." + n.State; t.texts[key] != "" {
		h.frame = func(s string) string { return t.say(key, "first", s) }
	}
	return h
}

// when says until when there is time, or else since when it is so.
func (t teller) when(n notice.Notice) string {
	switch {
	case n.State == notice.Raised && n.About != nil && !n.About.Until.IsZero():
		return t.until(n.About.Until)
	case n.State == notice.Raised && !n.Since.IsZero():
		return t.since(n.Since)
	case n.State != notice.Raised && !n.Until.IsZero():
		return t.say("when.to", "at", t.minute(n.Until))
	case !n.At.IsZero():
		return t.say("when.at", "at", t.minute(n.At))
	case !n.Since.IsZero():
		return t.since(n.Since)
	}
	return ""
}

// what says where on the wall it is, of what, and how much it is.
func (t teller) what(a *events.About) []string {
	var out []string
	add := func(s string) {
		if s != "" {
			out = append(out, s)
		}
	}
	add(t.place(a))
	if named(a.Load) {
		add(t.say("about.load", "name", Clean(a.Load)))
	}
	add(t.braces(cleanAll(a.Braces), mostBraces))
	if named(a.Device) {
		add(t.say("about.device", "name", Clean(a.Device)))
	}
	add(t.measured(a))
	return out
}

func named(s string) bool { return Clean(s) != "" }

// place writes the stretch; "" where it is none, or no number.
func (t teller) place(a *events.About) string {
	switch {
	case a.FromM == nil && a.ToM == nil:
		return ""
	case a.FromM == nil || a.ToM == nil || *a.FromM == *a.ToM:
		at := cmp.Or(a.FromM, a.ToM)
		if q := quantity("station", *at, t.sys, down); q != "" {
			return t.say("place.at", "at", q)
		}
		return ""
	}
	from, to := stretch(*a.FromM, *a.ToM, t.sys)
	if from == "" || to == "" {
		return ""
	}
	return t.say("place.stretch", "from", from, "to", to)
}

// mostBraces is how many braces a first line names.
const mostBraces = 6

func (t teller) braces(names []string, most int) string {
	switch {
	case len(names) == 0:
		return ""
	case len(names) == 1:
		return t.say("about.brace", "names", names[0])
	case most == 0:
		return t.say("about.count", "n", strconv.Itoa(len(names)))
	case len(names) > most+1:
		list := t.say("about.more", "names", strings.Join(names[:most], ", "), "n", strconv.Itoa(len(names)-most))
		return t.say("about.braces", "names", list)
	}
	return t.say("about.braces", "names", strings.Join(names, ", "))
}

func (t teller) measured(a *events.About) string {
	switch {
	case a.Have != nil && a.Limit != nil:
		have, limit := against(a.Measure, *a.Have, *a.Limit, t.sys)
		if have == "" || limit == "" {
			return ""
		}
		return t.say("about.have", "have", have, "limit", limit)
	case a.Have != nil:
		return quantity(a.Measure, *a.Have, t.sys, up)
	case a.Limit != nil:
		if limit := quantity(a.Measure, *a.Limit, t.sys, down); limit != "" {
			return t.say("about.limit", "limit", limit)
		}
	}
	return ""
}

// line writes the whole first line.
func (h head) line() string {
	return h.frame(h.name + h.rest(h.site, h.wall, h.what))
}

func (h head) rest(site, wall string, what []string) string {
	parts := slices.DeleteFunc(append([]string{site, wall}, append(slices.Clone(what), h.when)...), func(s string) bool { return s == "" })
	if len(parts) == 0 {
		return ""
	}
	return ": " + strings.Join(parts, ", ")
}

// short writes the line and what to do in at most so many characters. What is
// left out or cut first is what can be read in the whole message: the measures,
// the names of braces, the stretch, the end of a long name of a site or a wall.
// The deadline and what to do are never touched.
func (t teller) short(h head, most int) string {
	write := func(name, site, wall string, what []string) string {
		s := h.frame(name + h.rest(site, wall, what))
		if h.do != "" {
			s += ". " + h.do
		}
		return plainer.Replace(s)
	}
	fits := func(s string) bool { return utf8.RuneCountInString(s) <= most }
	if s := write(h.name, h.site, h.wall, h.what); fits(s) {
		return s
	}
	what := slices.Clone(h.what)
	if len(h.braces) > 1 {
		long := t.braces(h.braces, mostBraces)
		what = slices.DeleteFunc(what, func(s string) bool { return s == long })
		what = append(what, t.braces(h.braces, 0))
	}
	for {
		if s := write(h.brief, h.site, h.wall, what); fits(s) {
			return s
		}
		if len(what) == 0 {
			break
		}
		what = what[:len(what)-1]
	}
	return h.cut(write, most)
}

// cut shortens the names of site and wall until the message fits. What names the
// wall is kept longer than what names the site.
func (h head) cut(write func(name, site, wall string, what []string) string, most int) string {
	for _, room := range [][2]int{{24, 40}, {20, 24}, {16, 20}, {12, 16}, {10, 12}, {6, 12}, {0, 12}, {0, 8}} {
		site := clip(h.site, room[0])
		if h.wall == "" {
			site = clip(h.site, room[0]+room[1])
		}
		s := write(h.brief, site, clip(h.wall, room[1]), nil)
		if utf8.RuneCountInString(s) <= most {
			return s
		}
	}
	return clip(write(h.brief, "", "", nil), most)
}
