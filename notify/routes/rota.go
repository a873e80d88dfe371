package routes

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"earlyage/events"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

// Rota says who is told now: a file, who there is, and what time it is on a site.
// It implements desk.Rota, never changes, and asks its directory at each call.
type Rota struct {
	file *File
	dir  Directory
	zone func(site string) *time.Location
}

var _ desk.Rota = (*Rota)(nil)

// Rota joins a file with those who may be told. zone is a site's; where it is nil
// or gives nil, that is UTC.
func (f *File) Rota(dir Directory, zone func(site string) *time.Location) *Rota {
	return &Rota{file: f, dir: dir, zone: zone}
}

// File returns the file that is in force.
func (r *Rota) File() *File { return r.file }

func (r *Rota) zoneOf(site string) *time.Location {
	if r.zone != nil {
		if zone := r.zone(site); zone != nil {
			return zone
		}
	}
	return time.UTC
}

// Hooks lists the hooks of the file as those who are told; their Person is the one
// that choices bear.
func (r *Rota) Hooks() (list []notice.Reader) {
	for _, h := range r.file.Hooks {
		list = append(list, notice.Reader{Person: hookPerson(h.Name), Name: h.Name, Hooks: []string{h.Name}})
	}
	return list
}

// Ladder is who is told of an alert, first rung first: by the first route of the
// file that matches, else by default, and if that leads to nobody, everybody who
// works on the site. Rungs that nobody stands on are passed over; the last holds
// the dispatchers of the site, or its keepers where it has none. What was taken
// off too early reaches officers and engineers on the first rung, whatever the
// file says. A choice without channels is a person whom nothing reaches. Nil:
// nobody works there.
func (r *Rota) Ladder(n notice.Notice, at time.Time) []desk.Rung {
	list, _ := r.ladder(n, at)
	return list
}

// ladder says beside it which route it is: 0 and up one of the file, -1 the default.
func (r *Rota) ladder(n notice.Notice, at time.Time) (list []desk.Rung, route int) {
	who := working(r.dir.People(n.Site))
	for i, route := range r.file.Routes {
		if !r.matches(route, n, at) {
			continue
		}
		if list := r.climb("route "+route.Name, route.Ladder, n, who, at); len(list) > 0 {
			return list, i
		}
		break
	}
	if list := r.climb("by default", byDefault(n.Kind), n, who, at); len(list) > 0 {
		return list, -1
	}
	if len(who) == 0 {
		return nil, -1
	}
	everybody := desk.Rung{Why: "nobody holds the roles that it is for: everybody on the site"}
	for _, reader := range who {
		everybody.Choices = append(everybody.Choices, r.choice(reader, nil, forAlerts))
	}
	return []desk.Rung{everybody}, -1
}

// matches reports whether a route is for an alert at a moment. A priority that is
// not known counts as urgent.
func (r *Rota) matches(route Route, n notice.Notice, at time.Time) bool {
	switch {
	case len(route.Sites) > 0 && !slices.Contains(route.Sites, n.Site):
		return false
	case len(route.Kinds) > 0 && !slices.Contains(route.Kinds, n.Kind):
		return false
	case route.Priority != "" && slices.Index(priorities, n.Priority) > slices.Index(priorities, route.Priority):
		return false
	case len(route.Acts) > 0 && !slices.Contains(route.Acts, events.ActsFirst(n.Kind)):
		return false
	}
	_, now := route.Hours.hold(at, r.zoneOf(n.Site))
	return now
}

// climb resolves the rungs of a ladder to people.
func (r *Rota) climb(why string, ladder []Rung, n notice.Notice, who []notice.Reader, at time.Time) (list []desk.Rung) {
	for i, g := range ladder {
		call := g.Call
		if i == 0 && early(n.Kind) {
			call.Roles = slices.Clone(call.Roles)
			for _, role := range []events.Role{events.Officer, events.Engineer} {
				if !slices.Contains(call.Roles, role) {
					call.Roles = append(call.Roles, role)
				}
			}
		}
		choices := r.choices(call, n.Site, who, at, forAlerts)
		if !slices.ContainsFunc(choices, func(c desk.Choice) bool { return !slices.Contains(c.Channels, Hook) }) {
			continue // a hook alone is nobody
		}
		list = append(list, desk.Rung{After: g.After, Choices: choices, Why: reason(fmt.Sprintf("%s, step %d: ", why, i), call.named())})
	}
	return tighten(list)
}

// The channels to people where a file does not say which, the best first.
var (
	forAlerts = []string{Phone, Push, Mail}
	forSheets = []string{Mail, Push, Phone}
)

// choices are the people of a call, then its hooks.
func (r *Rota) choices(c Call, site string, who []notice.Reader, at time.Time, usual []string) (list []desk.Choice) {
	for _, reader := range pick(c, who, r.onNow(c.Shifts, site, at)) {
		list = append(list, r.choice(reader, c.By, usual))
	}
	for _, h := range c.Hooks {
		list = append(list, desk.Choice{Person: hookPerson(h), Channels: []string{Hook}})
	}
	return list
}

// onNow lists who is on one of the shifts of a site now.
func (r *Rota) onNow(names []string, site string, at time.Time) (list []string) {
	for _, s := range r.file.Shifts {
		if s.Site != site || !slices.Contains(names, s.Name) {
			continue
		}
		if _, now := s.Hours.hold(at, r.zoneOf(site)); now {
			list = append(list, s.People...)
		}
	}
	return list
}

// choice is a person with the channels that reach them: those that the file names,
// else the usual ones. Somebody whom none of the named reaches is told by what does.
func (r *Rota) choice(reader notice.Reader, by, usual []string) desk.Choice {
	reach := func(channels []string) (list []string) {
		for _, c := range channels {
			if r.reaches(reader, c) {
				list = append(list, c)
			}
		}
		return list
	}
	channels := reach(by)
	if len(channels) == 0 {
		channels = reach(usual)
	}
	return desk.Choice{Person: reader.Person, Channels: channels}
}

func (r *Rota) reaches(reader notice.Reader, channel string) bool {
	switch channel {
	case Phone:
		return len(reader.Devices) > 0
	case Push:
		return len(reader.Pushes) > 0
	case Mail:
		return reader.Mail != "" && r.file.Mail != nil
	}
	return false
}

// Sheet is who gets a sheet of a site: by the first line of the file that is for
// it, else by default.
func (r *Rota) Sheet(site, sheet string, at time.Time) []desk.Choice {
	if sheet == "" {
		sheet = Morning
	}
	who := working(r.dir.People(site))
	for _, s := range r.file.Sheets {
		if s.Sheet != sheet || len(s.Sites) > 0 && !slices.Contains(s.Sites, site) {
			continue
		}
		if list := r.choices(s.Call, site, who, at, forSheets); len(list) > 0 {
			return list
		}
		break
	}
	return r.choices(sheetByDefault(sheet), site, who, at, forSheets)
}

// Quiet reports until when an alert is withheld from a person, if it can wait at all
// (desk.CanWait); zero: it is not withheld. Quiet hours that follow on each other are one; those that would
// not end within 7 days hold nothing back.
func (r *Rota) Quiet(n notice.Notice, person string, at time.Time) time.Time {
	var until time.Time
	if !desk.CanWait(n.Kind, n.Priority) {
		return until
	}
	zone := r.zoneOf(n.Site)
	for end := at; ; {
		next := end
		for _, q := range r.file.Quiet {
			if !q.covers(n, person) {
				continue
			}
			if to, now := q.Hours.hold(end, zone); now && to.After(next) {
				next = to
			}
		}
		switch {
		case next.Equal(end):
			return until
		case next.Sub(at) > over:
			return time.Time{}
		}
		until, end = next, next
	}
}

// covers reports whether quiet hours are for an alert and a person.
func (q Quiet) covers(n notice.Notice, person string) bool {
	among := func(list []string, one string) bool { return len(list) == 0 || slices.Contains(list, one) }
	return among(q.Sites, n.Site) && among(q.People, person) && among(q.Kinds, n.Kind) &&
		(q.Priority == "" || slices.Index(priorities, n.Priority) >= slices.Index(priorities, q.Priority))
}

// working keeps those who hold a role of people.
func working(list []notice.Reader) (out []notice.Reader) {
	seen := map[string]bool{}
	for _, r := range list {
		if r.Person != "" && !seen[r.Person] && slices.ContainsFunc(r.Roles, func(role events.Role) bool { return role != events.Probe }) {
			seen[r.Person] = true
			out = append(out, r)
		}
	}
	slices.SortFunc(out, func(a, b notice.Reader) int { return strings.Compare(a.Person, b.Person) })
	return out
}

// mostWhy is the longest reason that an event takes (AlertTold.Why), in letters.
const mostWhy = 200

// reason names all for whom a rung is; where that is too long for an event, as many
// as there is room for, each whole, and how many more they are. What stands before
// them is at most half of it.
func reason(before string, list []string) string {
	for n := len(list); n > 0; n-- {
		text := before + strings.Join(list[:n], ", ")
		if n < len(list) {
			text += fmt.Sprintf(" and %d more", len(list)-n)
		}
		if utf8.RuneCountInString(text) <= mostWhy {
			return text
		}
	}
	return clip(before)
}

// words says who is named, for people.
func (c Call) words() string { return strings.Join(c.named(), ", ") }

func (c Call) named() (list []string) {
	for _, r := range c.Roles {
		list = append(list, r.Title())
	}
	list = append(list, c.People...)
	for _, s := range c.Shifts {
		list = append(list, "shift "+s)
	}
	for _, h := range c.Hooks {
		list = append(list, "hook "+h)
	}
	return list
}

// pick lists, of those who work on a site, whom a call names; on is who is on its
// shifts. Where nobody is a dispatcher the keepers stand for them.
func pick(c Call, working []notice.Reader, on []string) (list []notice.Reader) {
	roles := map[events.Role]bool{}
	for _, r := range c.Roles {
		roles[r] = true
	}
	holds := func(r notice.Reader, among map[events.Role]bool) bool {
		return slices.ContainsFunc(r.Roles, func(role events.Role) bool { return among[role] })
	}
	if roles[events.Dispatcher] && !slices.ContainsFunc(working, func(r notice.Reader) bool { return holds(r, map[events.Role]bool{events.Dispatcher: true}) }) {
		roles = maps.Clone(roles)
		roles[events.Keeper] = true
	}
	for _, r := range working {
		if holds(r, roles) || slices.Contains(c.People, r.Person) || slices.Contains(on, r.Person) {
			list = append(list, r)
		}
	}
	return list
}
