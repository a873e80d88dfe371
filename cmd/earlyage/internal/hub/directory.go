package hub

import (
	"io"
	"mime"
	"net/http"
	"slices"

	"github.com/go-json-experiment/json"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
)

// readBody reads a body of one media type; mime types are compared without their
// parameters.
func readBody(r *http.Request, want string) ([]byte, error) {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != want {
		p := api.NewProblem(http.StatusUnsupportedMediaType, api.CodeContentType, "the body must be "+want)
		p.Field, p.Value, p.Allowed = "Content-Type", r.Header.Get("Content-Type"), want
		return nil, &p
	}
	return io.ReadAll(r.Body)
}

// readInto reads a body of JSON into one of the shapes.
func readInto(r *http.Request, into any) error {
	body, err := readBody(r, "application/json")
	if err != nil {
		return err
	}
	if err := json.Unmarshal(body, into, json.RejectUnknownMembers(true)); err != nil {
		return &events.Refusal{Field: "body", Allowed: "what this address takes, as JSON", Cause: err}
	}
	return nil
}

// told reads a body and does what it asks for; status is of success.
func told[In any](w *web, rw http.ResponseWriter, r *http.Request, status int, do func(door.Caller, In) (any, error)) {
	var in In
	err := readInto(r, &in)
	var out any
	if err == nil {
		out, err = do(door.CallerOf(r.Context()), in)
	}
	switch {
	case err != nil:
		w.fail(rw, err)
	case out == nil:
		rw.WriteHeader(http.StatusNoContent)
	default:
		w.write(rw, status, out)
	}
}

// people lists those who have a role on a site in sight, and the caller. Retired
// people are for keepers, mail and telephone for those who invite.
func (w *web) people(rw http.ResponseWriter, r *http.Request) {
	register := w.hub.projector.Register()
	cards, err := w.hub.projector.Cabinet().Cards()
	if err != nil {
		w.fail(rw, err)
		return
	}
	c, seen := door.CallerOf(r.Context()), w.sight(r)
	keeper := c.Local || slices.Contains(register.RolesOf(c.Person, people.Company), events.Keeper)
	out := api.People{Through: w.hub.through(), People: []api.Person{}}
	for _, p := range register.People() {
		roles := api.Roles{}
		for site, held := range p.Roles {
			if site == people.Company || seen.sees(site) {
				roles[site] = held
			}
		}
		if len(roles) == 0 && !keeper && p.ID != c.Person {
			continue
		}
		card := cards[p.ID]
		one := api.Person{Person: p.ID, Name: card.Name, Roles: roles, Retired: p.Retired}
		if keeper || p.ID == c.Person || invites(register, c.Person, roles) {
			one.Mail, one.Phone, one.Lang, one.Units = card.Mail, card.Phone, card.Lang, card.Units
		}
		out.People = append(out.People, one)
	}
	w.answer(rw, out, nil)
}

// inviters are the roles that invite people whom the keeper has added.
var inviters = []events.Role{events.Keeper, events.Officer, events.Dispatcher, events.Foreman}

// invites reports whether a person may invite others onto one of the sites.
func invites(register *people.Register, person string, sites api.Roles) bool {
	for site := range sites {
		if slices.ContainsFunc(register.RolesOf(person, site), func(r events.Role) bool { return slices.Contains(inviters, r) }) {
			return true
		}
	}
	return false
}

func (w *web) addPerson(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, http.StatusCreated, func(c door.Caller, in api.NewPerson) (any, error) {
		card := cabinet.Card{Name: in.Name, Mail: in.Mail, Phone: in.Phone}
		id, err := w.hub.roster.AddPerson(r.Context(), c.Person, card, in.Roles)
		if err != nil {
			return nil, err
		}
		return api.Person{Person: id, Name: in.Name, Mail: in.Mail, Phone: in.Phone, Roles: in.Roles}, nil
	})
}

func (w *web) contact(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, 0, func(c door.Caller, in api.Contact) (any, error) {
		if c.Person == "" && !c.Local {
			return nil, roster.ErrNotAllowed // a device in nobody's hand
		}
		return nil, w.hub.roster.SetContact(r.Context(), c.Person, r.PathValue("person"), roster.Contact(in))
	})
}

func (w *web) appoint(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, 0, func(c door.Caller, in api.Appointment) (any, error) {
		return nil, w.hub.roster.Appoint(r.Context(), c.Person, r.PathValue("person"), in.Site, in.Roles)
	})
}

func (w *web) retire(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, 0, func(c door.Caller, in api.Retirement) (any, error) {
		return nil, w.hub.roster.Retire(r.Context(), c.Person, r.PathValue("person"), in.Site, in.Reason)
	})
}

func (w *web) forget(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, 0, func(c door.Caller, _ struct{}) (any, error) {
		return nil, w.hub.roster.Forget(r.Context(), c.Person, r.PathValue("person"))
	})
}

func (w *web) invite(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, http.StatusCreated, func(c door.Caller, in api.NewInvitation) (any, error) {
		if !w.hub.sightOf(c).sees(in.Site) {
			return nil, errUnseen
		}
		var t roster.Ticket
		var err error
		if in.Sort == roster.Station {
			t, err = w.hub.roster.EnrolStation(r.Context(), c.Person, in.Site, in.Device, in.Kinds)
		} else {
			t, err = w.hub.roster.Invite(r.Context(), c.Person, in.Person, in.Site, in.Sort)
		}
		if err != nil {
			return nil, err
		}
		return api.Ticket{Code: t.Code, Link: t.Link, Until: t.Until}, nil
	})
}

// devices lists those of the sites in sight, and the caller's own.
func (w *web) devices(rw http.ResponseWriter, r *http.Request) {
	c, seen := door.CallerOf(r.Context()), w.sight(r)
	out := api.Devices{Through: w.hub.through(), Devices: []api.Device{}}
	for _, d := range w.hub.projector.Register().Devices() {
		if seen.sees(d.Source.Site) || owns(c, d) {
			out.Devices = append(out.Devices, deviceOf(d))
		}
	}
	w.answer(rw, out, nil)
}

func deviceOf(d people.Device) api.Device {
	key, _ := d.Current()
	return api.Device{
		Site: d.Source.Site, Device: d.Source.Device, Person: d.Person, Sort: d.Sort, Key: key.Public, Wall: d.Wall,
		Kinds: d.Kinds, Revoked: d.Revoked, Reason: d.Reason,
	}
}

// owns reports whether a device is the caller, or the caller's.
func owns(c door.Caller, d people.Device) bool {
	return c.Device == d.Source || c.Person != "" && c.Person == d.Person
}

// named finds the device that a path names, if the caller may know of it.
func (w *web) named(r *http.Request) (events.Source, error) {
	src := events.Source{Site: r.PathValue("site"), Device: r.PathValue("device")}
	d, ok := w.hub.projector.Register().Device(src)
	if !ok || !w.sight(r).sees(src.Site) && !owns(door.CallerOf(r.Context()), d) {
		return src, errUnseen
	}
	return src, nil
}

func (w *web) revoke(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, 0, func(c door.Caller, in api.Revocation) (any, error) {
		src, err := w.named(r)
		if err == nil {
			err = w.hub.roster.Revoke(r.Context(), c.Person, src, in.Reason)
		}
		return nil, err
	})
}

func (w *web) rotate(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, 0, func(c door.Caller, in api.Rotation) (any, error) {
		src, err := w.named(r)
		if err == nil {
			err = w.hub.roster.Rotate(r.Context(), src, in.Key, roster.Proofs{Old: in.Old, New: in.New})
		}
		return nil, err
	})
}

func (w *web) addProbe(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, http.StatusCreated, func(c door.Caller, in api.NewProbe) (any, error) {
		user, password, err := w.hub.roster.EnrolProbe(r.Context(), c.Person, in.Site, in.Device, in.Wall, in.Kinds)
		if err != nil {
			return nil, err
		}
		return api.ProbeSecret{User: user, Password: password}, nil
	})
}

// newPassword gives a probe another password and cuts the connections that were
// opened with the old one.
func (w *web) newPassword(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, http.StatusCreated, func(c door.Caller, _ struct{}) (any, error) {
		src, err := w.named(r)
		if err != nil {
			return nil, err
		}
		user, password, err := w.hub.roster.NewPassword(r.Context(), c.Person, src)
		if err != nil {
			return nil, err
		}
		if w.hub.server != nil {
			w.hub.server.Disconnect(func(s events.Source) bool { return s == src })
		}
		return api.ProbeSecret{User: user, Password: password}, nil
	})
}
