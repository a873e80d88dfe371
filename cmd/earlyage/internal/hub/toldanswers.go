package hub

import (
	"cmp"
	"errors"
	"net/http"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/notify"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
)

// overseers see what everybody on their sites was told. Others see their own.
var overseers = []events.Role{events.Dispatcher, events.Officer, events.Engineer, events.Keeper}

// toldRoutes are of telling: what was told, browsers that want to be told, feeds
// of calendars.
func (w *web) toldRoutes() []door.Route {
	route := func(method, pattern string, who door.Access, f http.HandlerFunc) door.Route {
		return door.Route{Method: method, Pattern: pattern, Who: who, Handler: f}
	}
	return []door.Route{
		route(http.MethodGet, api.PathTold, door.SignedIn, w.toldList),
		route(http.MethodGet, api.PathToldMeasure, door.Roles(overseers...), w.toldMeasure),
		route(http.MethodPost, api.PathToldTest, door.Roles(events.Keeper), w.toldTest),
		route(http.MethodGet, api.PathPushKey, door.SignedIn, w.pushKey),
		route(http.MethodPost, api.PathPush, door.SignedIn, w.addPush),
		route(http.MethodDelete, api.PathPush, door.SignedIn, w.endPush),
		route(http.MethodGet, api.PathCalendars, door.SignedIn, w.calendarList),
		route(http.MethodPost, api.PathCalendars, door.SignedIn, w.addCalendar),
		route(http.MethodDelete, api.PathCalendars+"/{id}", door.SignedIn, w.endCalendar),
		route(http.MethodGet, api.PathCalendar+"{file}", door.Public, w.calendarFeed),
	}
}

var (
	ofPast = []parameter{{"since", "RFC 3339: from this moment on.", ""}, {"until", "RFC 3339: up to this moment.", ""}}

	toldOperations = []operation{
		{method: "GET", path: api.PathTold, summary: "What was told to whom in the last 90 days, and what came of it, the newest first. Who judges or sends on a site sees all of it, others their own.", query: []parameter{
			ofSite, {"person", "Only to this person.", ""}, {"alert", "Only of this alert.", ""}, {"undelivered", "1: only what no channel accepted.", "^1$"}, ofPast[0],
		}, answer: api.Told{}},
		{method: "GET", path: api.PathToldMeasure, summary: "How fast and how much was told, of all sites together; default of the last 30 days.", query: ofPast, answer: api.ToldMeasure{}},
		{method: "POST", path: api.PathToldTest, summary: "Send a person a message that asks for nothing, by every channel that has an address.", body: api.ToldTest{}, answer: api.Told{}},
		{method: "GET", path: api.PathPushKey, summary: "The key that a page subscribes with (RFC 8292).", answer: api.PushKey{}},
		{method: "POST", path: api.PathPush, summary: "Tell the caller by this browser too (RFC 8030, RFC 8291).", body: api.PushSubscription{}, status: http.StatusNoContent},
		{method: "DELETE", path: api.PathPush, summary: "Tell the caller by this browser no more.", body: api.PushEnd{}, status: http.StatusNoContent},
		{method: "GET", path: api.PathCalendars, summary: "Calendar feeds that the caller has made; for a keeper, all.", answer: api.Calendars{}},
		{method: "POST", path: api.PathCalendars, summary: "Make a calendar feed of a site. Its address is shown once: whoever knows it may read the feed.", body: api.NewCalendar{}, status: http.StatusCreated, answer: api.Calendar{}},
		{method: "DELETE", path: api.PathCalendars + "/{id}", summary: "End a calendar feed.", status: http.StatusNoContent},
		{method: "GET", path: api.PathCalendar + "{file}", summary: "A calendar feed (RFC 5545), by its key.", query: []parameter{{"key", "As the feed's address has it.", ""}}, answer: "", media: "text/calendar"},
	}
)

// toldList lists what the caller may see of what was told.
func (w *web) toldList(rw http.ResponseWriter, r *http.Request) {
	out, err := w.toldTo(r)
	w.answer(rw, out, err)
}

func (w *web) toldTo(r *http.Request) (out api.Told, err error) {
	since, err := momentOf(r, "since")
	if err != nil {
		return out, err
	}
	f := notify.Filter{Site: r.FormValue("site"), Person: r.FormValue("person"), Alert: r.FormValue("alert"), Undelivered: r.FormValue("undelivered") == "1"}
	filters, err := w.toldFilters(w.sight(r), door.CallerOf(r.Context()), f)
	if err != nil {
		return out, err
	}
	var rows []notify.Told
	for _, f := range filters {
		list, err := w.hub.told.List(f)
		if err != nil {
			return out, err
		}
		rows = append(rows, list...)
	}
	slices.SortFunc(rows, func(a, b notify.Told) int { return cmp.Or(b.Made.Compare(a.Made), cmp.Compare(a.Message, b.Message)) })
	rows = slices.CompactFunc(rows, func(a, b notify.Told) bool { return a.Message == b.Message })
	rows = slices.DeleteFunc(rows, func(t notify.Told) bool { return t.Made.Before(since) })
	return w.hub.toldOf(rows[:min(len(rows), mostTold)], w.sight(r))
}

const mostTold = 1000

// toldOf shows rows with the names of the people and the zones of the sites.
func (h *Hub) toldOf(rows []notify.Told, seen sight) (out api.Told, err error) {
	out.Told = []api.ToldRow{}
	for _, t := range rows {
		name := h.personName(t.Person)
		if name == t.Person {
			name = ""
		}
		out.Told = append(out.Told, api.ToldRow{Told: t, Name: name})
	}
	err = h.look(seen, func(p pictured) error {
		head := p.head(h.demo)
		out.At, out.Sites = head.At, head.Sites
		return nil
	})
	return out, err
}

// toldFilters narrows what is asked for to what the caller may see.
func (w *web) toldFilters(seen sight, c door.Caller, f notify.Filter) (list []notify.Filter, err error) {
	if c.Local {
		return []notify.Filter{f}, nil
	}
	register := w.hub.projector.Register()
	oversees := func(site string) bool {
		return slices.ContainsFunc(register.RolesOf(c.Person, site), func(r events.Role) bool { return slices.Contains(overseers, r) })
	}
	if f.Site != "" && !seen.sees(f.Site) {
		return nil, errUnseen
	}
	switch {
	case oversees(people.Company) || f.Site != "" && oversees(f.Site):
		list = append(list, f)
	case f.Site == "":
		for _, site := range register.SitesOf(c.Person) {
			if oversees(site) {
				one := f
				one.Site = site
				list = append(list, one)
			}
		}
	}
	if c.Person != "" && (f.Person == "" || f.Person == c.Person) {
		f.Person = c.Person
		list = append(list, f)
	}
	return list, nil
}

// momentOf reads a moment of the query; zero: it is not given.
func momentOf(r *http.Request, name string) (time.Time, error) {
	text := r.FormValue(name)
	if text == "" {
		return time.Time{}, nil
	}
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return at, &events.Refusal{Field: name, Value: text[:min(len(text), 40)], Allowed: "a moment such as 2026-03-07T22:30:00-05:00"}
	}
	return at, nil
}

func (w *web) toldMeasure(rw http.ResponseWriter, r *http.Request) {
	out, err := w.measured(r)
	w.answer(rw, out, err)
}

func (w *web) measured(r *http.Request) (out api.ToldMeasure, err error) {
	from, err := momentOf(r, "since")
	if err != nil {
		return out, err
	}
	to, err := momentOf(r, "until")
	if err != nil {
		return out, err
	}
	if to.IsZero() {
		to = w.hub.clock.Now()
	}
	if from.IsZero() {
		from = to.Add(-30 * 24 * time.Hour)
	}
	m, err := w.hub.told.Between(from.UTC(), to.UTC())
	out = api.ToldMeasure{
		From: m.From, To: m.To, Known: api.SpreadOf(m.Known), Raised: api.SpreadOf(m.Raised), Told: api.SpreadOf(m.Told),
		Reached: api.SpreadOf(m.Reached), Shown: api.SpreadOf(m.Shown), Acknowledged: api.SpreadOf(m.Acknowledged), Reader: m.Reader, Most: m.Most, Mean: m.Mean,
	}
	if m.Reader != "" {
		out.Name = w.hub.personName(m.Reader)
	}
	return out, err
}

func (w *web) toldTest(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, http.StatusOK, func(_ door.Caller, in api.ToldTest) (any, error) {
		site := in.Site
		if sites := w.hub.projector.Register().SitesOf(in.Person); site == "" && len(sites) > 0 {
			site = sites[0]
		}
		rows, err := w.hub.told.Test(r.Context(), in.Person, site)
		if errors.Is(err, notify.ErrNoReader) {
			return nil, &events.Refusal{Field: "person", Value: in.Person, Allowed: "somebody who has a role on the site, and a phone that has joined, an address for mail or a browser that is subscribed"}
		}
		if err != nil {
			return nil, err
		}
		return w.hub.toldOf(rows, everything)
	})
}

func (w *web) pushKey(rw http.ResponseWriter, _ *http.Request) {
	keys, err := w.hub.pushKeys()
	w.answer(rw, api.PushKey{Key: keys.Public}, err)
}

func (w *web) addPush(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, 0, func(c door.Caller, in api.PushSubscription) (any, error) {
		if c.Person == "" {
			return nil, roster.ErrNotAllowed
		}
		err := w.hub.projector.Cabinet().AddPush(c.Person, cabinet.Push{Device: c.Device, Endpoint: in.Endpoint, P256DH: in.P256DH, Auth: in.Auth})
		if errors.Is(err, cabinet.ErrBadPush) {
			return nil, &events.Refusal{Field: "subscription", Allowed: "what a browser gives: an https address, a key of 65 bytes and a secret of 16, in base64url", Cause: err}
		}
		return nil, err
	})
}

func (w *web) endPush(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, 0, func(c door.Caller, in api.PushEnd) (any, error) {
		if c.Person == "" {
			return nil, roster.ErrNotAllowed
		}
		return nil, w.hub.projector.Cabinet().DropPush(c.Person, in.Endpoint)
	})
}
