package text

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"earlyage/notify/notice"
	"earlyage/scheduler"
)

var priorities = []string{scheduler.Urgent, scheduler.High, scheduler.Medium, scheduler.Low}

// Summary makes one message of several alerts: by kind and site, the most urgent
// first. Its first line is that of the most urgent alert.
func Summary(list []notice.Notice, f Facts) notice.Message {
	t := newTeller(f)
	if len(list) == 0 {
		m := t.message(t.page(t.say("summary.none")))
		m.What, m.Site = summary, f.Site.Token
		return m
	}
	list = slices.SortedStableFunc(slices.Values(list), pressing)
	first := list[0]
	h := t.head(first)
	line, count := h.line(), strconv.Itoa(len(list))
	if len(list) > 1 {
		line = t.say("summary.first", "n", count, "first", line)
	}
	p := t.page(line)
	p.Parts = []part{{Head: t.say("summary.title"), Lines: t.groups(list)}}
	p.Caution = t.say("caution")
	m := t.message(p)
	m.Short = t.shortOf(h, len(list)-1)
	m.What, m.Site, m.Priority, m.Urgent = summary, common(list), first.Priority, first.Priority == scheduler.Urgent
	for _, n := range list {
		m.Alerts = append(m.Alerts, n.Alert)
	}
	return m
}

// shortOf is the short form of the first alert, with how many more there are.
func (t teller) shortOf(h head, more int) string {
	if more == 0 {
		return t.short(h, shortest)
	}
	tail := " " + t.say("summary.more", "n", strconv.Itoa(more))
	return t.short(h, shortest-utf8.RuneCountInString(tail)) + tail
}

// common is the site of all notices; "_" where there are several.
func common(list []notice.Notice) string {
	for _, n := range list {
		if n.Site != list[0].Site {
			return "_"
		}
	}
	return list[0].Site
}

// pressing puts the most urgent first: what stands before what is over, then by
// priority, then by the time there is to act.
func pressing(a, b notice.Notice) int {
	over := func(n notice.Notice) int {
		if n.State == notice.Raised {
			return 0
		}
		return 1
	}
	rank := func(n notice.Notice) int {
		if i := slices.Index(priorities, n.Priority); i >= 0 {
			return i
		}
		return len(priorities)
	}
	return cmp.Or(cmp.Compare(over(a), over(b)), cmp.Compare(rank(a), rank(b)), sooner(a, b),
		a.Since.Compare(b.Since), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Alert, b.Alert))
}

// sooner puts an alert with a deadline before one without.
func sooner(a, b notice.Notice) int {
	has := func(n notice.Notice) bool { return n.About != nil && !n.About.Until.IsZero() }
	switch {
	case has(a) && has(b):
		return a.About.Until.Compare(b.About.Until)
	case has(a):
		return -1
	case has(b):
		return 1
	}
	return 0
}

// mostPlaces is how many places of one group are named.
const mostPlaces = 3

type group struct {
	of    notice.Notice // the most urgent
	count int
	walls []string
}

// groups writes a line for each kind and site, in the order of the list.
func (t teller) groups(list []notice.Notice) []string {
	var all []*group
	for _, n := range list {
		i := slices.IndexFunc(all, func(g *group) bool { return g.of.Kind == n.Kind && g.of.Site == n.Site && g.of.State == n.State })
		if i < 0 {
			all, i = append(all, &group{of: n}), len(all)
		}
		g := all[i]
		g.count++
		if w := t.wallName(n.Site, n.Wall); w != "" && !slices.Contains(g.walls, w) {
			g.walls = append(g.walls, w)
		}
	}
	var out []string
	for _, g := range all {
		out = append(out, t.group(g))
	}
	return out
}

func (t teller) group(g *group) string {
	name := t.kind(g.of.Kind).name
	if key := "state." + g.of.State; t.texts[key] != "" {
		name = t.say(key, "first", name)
	}
	pairs := []string{"n", strconv.Itoa(g.count), "name", name, "site", t.siteName(g.of.Site)}
	line := t.say("summary.group", pairs...)
	if len(g.walls) > 0 {
		places := strings.Join(g.walls[:min(mostPlaces, len(g.walls))], ", ")
		if more := len(g.walls) - mostPlaces; more > 0 {
			places = t.say("about.more", "names", places, "n", strconv.Itoa(more))
		}
		line += ": " + places
	}
	if when := t.when(g.of); when != "" {
		line += ", " + when
	}
	return line
}
