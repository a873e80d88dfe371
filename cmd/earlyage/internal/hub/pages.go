package hub

import (
	"context"
	"net/http"
	"net/url"
	"slices"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/phone"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/scheduler"
)

// pathAccount is the door's page about oneself, which is the front page where
// there is no other.
const pathAccount = "/account"

// pages are the routes of the pages. What they show is read under the record's
// lock, and drawn outside it.
func (w *web) pages() (all []door.Route, err error) {
	w.board, err = board.New(board.Config{
		Source: picturesOf{w.hub}, Asset: w.door.Asset, Mark: w.door.Mark, Name: w.hub.personName, Log: w.hub.log,
		Measured: func(ctx context.Context) (api.ToldMeasure, error) {
			return w.measured((&http.Request{URL: &url.URL{}}).WithContext(ctx)) // of the usual time
		},
	})
	if err != nil {
		return nil, err
	}
	handset, err := phone.Routes(w.door, http.HandlerFunc(w.sheet))
	if err != nil {
		return nil, err
	}
	walls, err := wallpage.New(wallpage.Config{
		Reader: picturesOf{w.hub}, Asset: w.door.Asset, Mark: w.door.Mark, Name: w.hub.personName, Now: w.hub.clock.Now, Log: w.hub.log,
	})
	if err != nil {
		return nil, err
	}
	all = slices.Concat(handset, w.board.Routes(), walls.Routes())
	for i, r := range all {
		if r.Pattern == board.PathLive {
			all[i].Handler = w.streaming(r.Handler)
		}
		if w.hub.unsigned { // what it knows it shows to anybody
			all[i].Who = door.Public
		}
	}
	start := door.Route{Method: http.MethodGet, Pattern: door.PathStart, Who: w.look(), Handler: http.HandlerFunc(w.start)}
	return append(all, start), nil
}

// look is who may look at the record.
func (w *web) look() door.Access {
	if w.hub.unsigned {
		return door.Public
	}
	return door.SignedIn
}

// doorRoutes are the door's, with its page about oneself at an address of its own.
func (w *web) doorRoutes() []door.Route {
	routes := w.door.Routes()
	for i, r := range routes {
		if r.Pattern == door.PathStart {
			routes[i].Pattern = pathAccount
		}
	}
	return routes
}

// start sends a caller to the page that their role works on: whoever works at the
// wall to the phone's, whoever sends and keeps to the board, whoever judges to what
// needs judging.
func (w *web) start(rw http.ResponseWriter, r *http.Request) {
	http.Redirect(rw, r, w.startOf(door.CallerOf(r.Context())), http.StatusSeeOther)
}

func (w *web) startOf(c door.Caller) string {
	if c.Local || w.hub.unsigned && c.Person == "" {
		return board.PathBoard
	}
	register := w.hub.projector.Register()
	held := map[events.Role]bool{}
	for _, site := range register.SitesOf(c.Person) {
		for _, role := range register.RolesOf(c.Person, site) {
			held[role] = true
		}
	}
	for _, to := range []struct {
		path  string
		roles []events.Role
	}{
		{wallpage.PathExceptions, []events.Role{events.Officer, events.Engineer}},
		{board.PathBoard, []events.Role{events.Dispatcher, events.Keeper}},
		{phone.PathPage, []events.Role{events.Foreman, events.Crew}},
	} {
		if slices.ContainsFunc(to.roles, func(r events.Role) bool { return held[r] }) {
			return to.path
		}
	}
	if len(held) > 0 {
		return board.PathBoard
	}
	return pathAccount
}

// personName is what people call a person; the id of one who has no name here.
func (h *Hub) personName(person string) string {
	if card, err := h.projector.Cabinet().Card(person); err == nil && card.Name != "" {
		return card.Name
	}
	return person
}

// picturesOf shows the record to the board.
type picturesOf struct{ hub *Hub }

// Sight implements board.Source.
func (p picturesOf) Sight(ctx context.Context) (board.Sight, error) {
	c := door.CallerOf(ctx)
	if !p.hub.admitted(c) {
		return board.Sight{}, errNobody
	}
	seen := p.hub.sightOf(c)
	out := board.Sight{All: seen.all, Sites: seen.sites, Roles: map[string][]events.Role{}}
	if c.Person != "" {
		register := p.hub.projector.Register()
		for _, site := range seen.sites {
			out.Roles[site] = register.RolesOf(c.Person, site)
		}
	}
	return out, nil
}

var errNobody = problem(http.StatusUnauthorized, api.CodeSignIn, "sign in first")

// Through implements board.Source.
func (p picturesOf) Through() uint64 { return p.hub.through() }

// Look implements board.Source.
func (p picturesOf) Look(_ context.Context, see func(board.Input) error) error {
	demo := p.hub.demo
	return p.hub.look(everything, func(p pictured) error { return see(p.board("", demo)) })
}

// board gathers what the board is made of, of a site or of all.
func (p pictured) board(site string, demo bool) board.Input {
	in := board.Input{
		At: p.now, Through: p.Through(), Level: p.Level(), Doubts: p.hub.Doubts, Demo: demo, Alarms: p.listed(site, false),
	}
	if p.sight.sees(scheduler.Company) {
		in.Company = p.Site(scheduler.Company)
	}
	for _, s := range p.head(demo).Sites {
		if site == "" || site == s.Site {
			in.Sites = append(in.Sites, board.Site{Site: s, State: p.Site(s.Site)})
		}
	}
	for _, ref := range p.Walls(site) {
		if s := p.Wall(ref); s != nil {
			in.Walls = append(in.Walls, board.Wall{Assessment: p.assess(ref), State: s})
		}
	}
	return in
}

// sheet answers with the snapshot of a site that a phone keeps.
func (w *web) sheet(rw http.ResponseWriter, r *http.Request) {
	site, c := r.PathValue("site"), door.CallerOf(r.Context())
	var out phone.Sheet
	err := w.hub.look(w.sight(r), func(p pictured) error {
		if !p.sight.sees(site) || p.Site(site) == nil || site == scheduler.Company {
			return errUnseen
		}
		in := phone.Input{Now: p.now, Through: p.Through(), Level: p.Level(), Hub: p.hub, Site: p.Site(site), Devices: p.Devices(site), Person: c.Person, Words: words.Pick(r)}
		if c.Device.Site == site {
			in.Device = c.Device.Device
		}
		for _, ref := range p.Walls(site) {
			if s := p.Wall(ref); s != nil {
				in.Walls = append(in.Walls, phone.WallInput{State: s, Assessment: p.assess(ref)})
			}
		}
		out = phone.Make(in)
		return nil
	})
	w.answer(rw, out, err)
}
