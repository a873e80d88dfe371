package routes

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"earlyage/events"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

// company is the site that stands for every site.
const company = "_"

// Priorities, the most pressing first.
var priorities = []string{desk.Urgent, desk.High, desk.Medium, desk.Low}

// Latest is how late each climb of an alert may be, counted from when it was
// raised: the first, the second, and every further one. It is a floor of safety:
// no file can be slower.
var Latest = []time.Duration{2 * time.Minute, 5 * time.Minute, 10 * time.Minute}

// latest is how late a rung may be.
func latest(rung int) time.Duration {
	if rung == 0 {
		return 0
	}
	return Latest[min(rung, len(Latest))-1]
}

// parser reads one file. Where dir is nil it is not looked up who there is, and
// where sites is nil, which sites there are.
type parser struct {
	*reader
	dir      Directory
	sites    []string
	people   map[string][]notice.Reader // by site, as far as asked for
	known    map[string]bool            // persons
	shifts   []Shift
	hooks    []WebHook
	mail     bool
	allSites []string // sites and the company
}

// Parse reads a route file. Every mistake in it is an *Error, and all of them are
// joined in the error; name stands before them. dir says who there is: whoever or
// whatever the file names and nobody knows is refused, and so is what would lead
// to nobody. Where dir is nil only the form is judged.
func Parse(name string, data []byte, dir Directory, sites []string) (*File, error) {
	p := &parser{reader: &reader{file: name}, dir: dir, sites: sites, people: map[string][]notice.Reader{}, known: map[string]bool{}}
	p.allSites = append(slices.Clone(sites), company)
	if dir != nil {
		for _, site := range p.allSites {
			for _, r := range p.at(site) {
				p.known[r.Person] = true
			}
		}
	}
	f := &File{Name: name}
	if root := p.root(data); root != nil {
		p.sections(f, root)
	}
	if err := p.err(); err != nil {
		return nil, err
	}
	return f, nil
}

// at lists who holds a role on a site.
func (p *parser) at(site string) []notice.Reader {
	if _, asked := p.people[site]; !asked {
		p.people[site] = working(p.dir.People(site))
	}
	return p.people[site]
}

// sections reads what others refer to first.
func (p *parser) sections(f *File, root *yaml.Node) {
	t := p.table(root, "", "routes", "shifts", "quiet", "sheets", "hooks", "mail", "push")
	each := func(member string, read func(n *yaml.Node, field string)) {
		for i, n := range t.rows(member) {
			read(n, fmt.Sprintf("%s[%d]", member, i))
		}
	}
	if n := t.members["mail"]; n != nil {
		f.Mail, p.mail = p.mailServer(n), true
	}
	if n := t.members["push"]; n != nil {
		f.Push = p.pushSender(n)
	}
	each("hooks", func(n *yaml.Node, field string) { p.hooks = append(p.hooks, p.hook(n, field)) })
	each("shifts", func(n *yaml.Node, field string) { p.shifts = append(p.shifts, p.shift(n, field)) })
	each("quiet", func(n *yaml.Node, field string) { f.Quiet = append(f.Quiet, p.quiet(n, field)) })
	each("sheets", func(n *yaml.Node, field string) { f.Sheets = append(f.Sheets, p.sheet(n, field)) })
	each("routes", func(n *yaml.Node, field string) {
		route := p.route(n, field)
		if i := slices.IndexFunc(f.Routes, func(o Route) bool { return o.Name == route.Name }); i >= 0 && route.Name != "" {
			p.refuse(n.Line, field+".name", "%q is the route of line %d already", route.Name, f.Routes[i].Line)
		}
		f.Routes = append(f.Routes, route)
	})
	f.Shifts, f.Hooks = p.shifts, p.hooks
}

// siteList reads a member that lists sites.
func (p *parser) siteList(t table, member string) (list []string) {
	for _, w := range t.words(member) {
		if p.site(w) {
			list = append(list, w.text)
		}
	}
	return list
}

func (p *parser) site(w word) bool {
	switch {
	case w.text == company:
		return true
	case !events.IsToken(w.text):
		p.refuse(w.line, w.field, "%q; allowed: a site, a-z, 0-9 and -, 1 to 40 characters, or _ for what concerns the whole company", clip(w.text))
		return false
	case p.sites != nil && !slices.Contains(p.sites, w.text):
		p.refuse(w.line, w.field, "there is no site %q; allowed: %s", w.text, someOf(p.sites))
		return false
	}
	return true
}

// personList reads a member that lists persons.
func (p *parser) personList(t table, member string) (list []string) {
	for _, w := range t.words(member) {
		switch {
		case !events.IsToken(w.text):
			p.refuse(w.line, w.field, "%q; allowed: a person's id, as earlyage people list shows it", clip(w.text))
		case p.dir != nil && !p.known[w.text]:
			p.refuse(w.line, w.field, "nobody is %q, or they have retired; earlyage people list shows who there is", w.text)
		default:
			list = append(list, w.text)
		}
	}
	return list
}

func (t table) roleList(member string) (list []events.Role) {
	var names []string
	for _, r := range events.Roles() {
		if r != events.Probe {
			names = append(names, string(r))
		}
	}
	for _, name := range t.known(member, "role of people", names) {
		list = append(list, events.Role(name))
	}
	return list
}

// kindList reads a member that lists kinds of alert.
func (t table) kindList(member string) (list []word) {
	for _, w := range t.words(member) {
		if events.ActsFirst(w.text) == "" {
			t.refuse(w.line, w.field, "%q is no kind of alert; allowed: %s", clip(w.text), strings.Join(events.AlertKinds(), ", "))
			continue
		}
		list = append(list, w)
	}
	return list
}

func texts(words []word) (list []string) {
	for _, w := range words {
		list = append(list, w.text)
	}
	return list
}

var callMembers = []string{"roles", "people", "shifts", "hooks", "by"}

// call reads who is named, and by which channels they are told.
func (p *parser) call(t table) Call {
	c := Call{Place: Place{t.line}, Roles: t.roleList("roles"), People: p.personList(t, "people")}
	var shifts, hooks []string
	for _, s := range p.shifts {
		shifts = append(shifts, s.Name)
	}
	for _, h := range p.hooks {
		hooks = append(hooks, h.Name)
	}
	slices.Sort(shifts)
	c.Shifts = t.known("shifts", "shift of this file", slices.Compact(shifts))
	c.Hooks = t.known("hooks", "hook of this file", hooks)
	c.By = t.known("by", "channel to people", []string{Phone, Push, Mail})
	if i := slices.Index(c.By, Mail); i >= 0 && !p.mail {
		t.refuse(t.members["by"].Content[i].Line, fmt.Sprintf("%s[%d]", t.at("by"), i), "mail, and there is no member mail that says by which server")
	}
	return c
}

// named reports whether the member names somebody, be it wrongly.
func (t table) named(members ...string) bool {
	return slices.ContainsFunc(members, func(m string) bool { return t.members[m] != nil })
}

// leads refuses a call that leads to nobody on all of the sites.
func (p *parser) leads(t table, c Call, sites []string) {
	if !t.named("roles", "people", "shifts") {
		p.refuse(t.line, t.field, "names nobody; allowed: roles, people, shifts, and hooks beside them")
		return
	}
	if p.dir == nil || len(c.Roles)+len(c.People)+len(c.Shifts) == 0 { // the latter: refused already
		return
	}
	if len(sites) == 0 {
		sites = p.allSites
	}
	for _, site := range sites {
		if len(pick(c, p.at(site), onShifts(p.shifts, c.Shifts, site))) > 0 {
			return
		}
	}
	p.refuse(t.line, t.field, "names nobody: %s, and on %s that is nobody", c.words(), strings.Join(sites, ", "))
}

// onShifts lists who is ever on one of the shifts of a site.
func onShifts(all []Shift, names []string, site string) (list []string) {
	for _, s := range all {
		if s.Site == site && slices.Contains(names, s.Name) {
			list = append(list, s.People...)
		}
	}
	return list
}

func (p *parser) route(n *yaml.Node, field string) Route {
	t := p.table(n, field, "name", "sites", "kinds", "priority", "acts", "days", "dates", "from", "to", "ladder")
	name, _ := t.word("name", true, 80)
	r := Route{Place: Place{n.Line}, Name: name.text, Sites: p.siteList(t, "sites"), Kinds: texts(t.kindList("kinds")), Acts: t.roleList("acts"), Hours: t.hours()}
	if w, ok := t.word("priority", false, 100); ok {
		if r.Priority = w.text; !slices.Contains(priorities, w.text) {
			t.refuse(w.line, w.field, "%q; allowed: %s", clip(w.text), strings.Join(priorities, ", "))
		}
	}
	if t.members != nil && t.members["ladder"] == nil {
		t.refuse(t.line, t.at("ladder"), "missing: it says who is told first, and who next")
	}
	for i, n := range t.rows("ladder") {
		r.Ladder = append(r.Ladder, p.rung(n, fmt.Sprintf("%s[%d]", t.at("ladder"), i), r, i))
	}
	if last := len(r.Ladder) - 1; last >= 0 && !slices.Contains(r.Ladder[last].Roles, events.Dispatcher) {
		p.refuse(r.Ladder[last].Line, fmt.Sprintf("%s[%d].roles", t.at("ladder"), last), "the last rung; it must have the role dispatcher: whoever watches every site is told in the end")
	}
	return r
}

// rung reads one rung of a route whose earlier ones are read.
func (p *parser) rung(n *yaml.Node, field string, route Route, i int) Rung {
	t := p.table(n, field, append([]string{"after"}, callMembers...)...)
	g := Rung{Call: p.call(t)}
	p.leads(t, g.Call, route.Sites)
	w, given := t.word("after", i > 0, 100)
	if !given {
		return g
	}
	d, err := time.ParseDuration(w.text)
	switch {
	case err != nil:
		t.refuse(w.line, w.field, "%q; allowed: a duration such as 2m or 90s, counted from when the alert was raised", clip(w.text))
		return g
	case i == 0 && d != 0:
		t.refuse(w.line, w.field, "%s; who is told first is told at once", w.text)
	case d > latest(i):
		t.refuse(w.line, w.field, "%s is too late; allowed: at most %s. No file may be slower than 2, 5 and 10 minutes", w.text, short(latest(i)))
	case i > 0 && d <= route.Ladder[i-1].After:
		t.refuse(w.line, w.field, "%s; allowed: later than the rung before it", w.text)
	}
	g.After = d
	return g
}

// short writes a duration without its zeros.
func short(d time.Duration) string {
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	return s
}

func (p *parser) shift(n *yaml.Node, field string) Shift {
	t := p.table(n, field, "name", "site", "people", "days", "dates", "from", "to")
	s := Shift{Place: Place{n.Line}, People: p.personList(t, "people"), Hours: t.hours()}
	if w, ok := t.word("name", true, 100); ok {
		if s.Name = w.text; !events.IsToken(w.text) {
			t.refuse(w.line, w.field, "%q; allowed: a-z, 0-9 and -, 1 to 40 characters", clip(w.text))
		}
	}
	if w, ok := t.word("site", true, 100); ok && p.site(w) {
		s.Site = w.text
	}
	if t.members != nil && t.members["people"] == nil {
		t.refuse(t.line, t.at("people"), "missing: a shift names who is on it")
	}
	if p.dir == nil || s.Site == "" {
		return s
	}
	for i, person := range s.People {
		if !slices.ContainsFunc(p.at(s.Site), func(r notice.Reader) bool { return r.Person == person }) {
			t.refuse(t.lineOf("people"), fmt.Sprintf("%s[%d]", t.at("people"), i), "%s holds no role on %s", person, s.Site)
		}
	}
	return s
}

func (p *parser) quiet(n *yaml.Node, field string) Quiet {
	t := p.table(n, field, "sites", "people", "kinds", "priority", "days", "dates", "from", "to")
	q := Quiet{Place: Place{n.Line}, Sites: p.siteList(t, "sites"), People: p.personList(t, "people"), Kinds: t.waitingKinds(), Priority: t.waitingPriority(), Hours: t.hours()}
	if t.members != nil && !t.named("sites", "people") {
		t.refuse(t.line, t.field, "names nobody; allowed: sites, people or both")
	}
	if t.members != nil && !t.named("days", "dates", "from", "to") {
		t.refuse(t.line, t.field, "quiet at all hours, so that nobody would ever be told; allowed: days, dates, or from and to")
	}
	return q
}

// waitingKinds reads the kinds that quiet hours are limited to. What can wait at all
// is not for a file to say.
func (t table) waitingKinds() (list []string) {
	var can []string
	for _, kind := range events.AlertKinds() {
		if desk.CanWait(kind, desk.Low) {
			can = append(can, kind)
		}
	}
	for _, w := range t.kindList("kinds") {
		if !slices.Contains(can, w.text) {
			t.refuse(w.line, w.field, "%s: it is never withheld, and neither is anything else that concerns a joint, a form, a freeze or a brace. What can wait, when it is not urgent or high: %s",
				w.text, strings.Join(can, ", "))
			continue
		}
		list = append(list, w.text)
	}
	return list
}

// waitingPriority reads how pressing at most an alert is that quiet hours withhold.
func (t table) waitingPriority() string {
	w, ok := t.word("priority", false, 100)
	if ok && w.text != desk.Medium && w.text != desk.Low {
		t.refuse(w.line, w.field, "%q; allowed: medium or low, which is how pressing at most it is. What is urgent or high is never withheld", clip(w.text))
	}
	return w.text
}

func (p *parser) sheet(n *yaml.Node, field string) Sheet {
	t := p.table(n, field, append([]string{"sheet", "sites"}, callMembers...)...)
	s := Sheet{Sites: p.siteList(t, "sites")}
	allowed := []string{Morning, Evening, Weekly, Beat}
	if w, ok := t.word("sheet", true, 100); ok {
		if s.Sheet = w.text; !slices.Contains(allowed, w.text) {
			t.refuse(w.line, w.field, "%q; allowed: %s", clip(w.text), strings.Join(allowed, ", "))
		}
	}
	if s.Call = p.call(t); t.members["hooks"] == nil || t.named("roles", "people", "shifts") {
		p.leads(t, s.Call, s.Sites)
	}
	return s
}
