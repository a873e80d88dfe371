package door

import (
	"net/http"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/projector/people"
)

// Me answers GET /api/v1/me: who the caller is to the hub.
type Me struct {
	Local   bool         `json:"local,omitzero"` // the hub's own socket
	Person  string       `json:"person,omitzero"`
	Name    string       `json:"name,omitzero"`
	Device  *api.Device  `json:"device,omitzero"` // the one that asks; none: a page
	Roles   api.Roles    `json:"roles"`           // by site, "_" is every site
	Devices []api.Device `json:"devices"`         // the person's, not revoked
	// Passkeys counts those that the person may come in with.
	Passkeys int       `json:"passkeys,omitzero"`
	Until    time.Time `json:"until,omitzero"` // the end of this session at the latest
}

// meOf gathers what is known of the caller of a request.
func (d *Door) meOf(r *http.Request) (Me, error) {
	c, register := CallerOf(r.Context()), d.config.Register()
	me := Me{Local: c.Local, Person: c.Person, Roles: api.Roles{}, Devices: []api.Device{}}
	if dev, ok := register.Device(c.Device); ok {
		own := shown(dev)
		me.Device = &own
	}
	if s, err := d.config.Cabinet.Session(tokenOf(r)); err == nil {
		me.Until = s.Until
	}
	if c.Person == "" {
		return me, nil
	}
	me.Name = d.nameOf(c.Person)
	for _, site := range register.SitesOf(c.Person) {
		if p, ok := register.Person(c.Person); ok {
			me.Roles[site] = p.Roles[site]
		}
	}
	for _, dev := range register.Devices() {
		if dev.Person == c.Person && !dev.Revoked {
			me.Devices = append(me.Devices, shown(dev))
		}
	}
	keys, err := d.config.Cabinet.Passkeys(c.Person)
	me.Passkeys = len(keys)
	return me, err
}

func shown(d people.Device) api.Device {
	key, _ := d.Current()
	return api.Device{
		Site: d.Source.Site, Device: d.Source.Device, Person: d.Person, Sort: d.Sort, Key: key.Public,
		Wall: d.Wall, Kinds: d.Kinds, Revoked: d.Revoked, Reason: d.Reason,
	}
}

func (d *Door) me(w http.ResponseWriter, r *http.Request) {
	me, err := d.meOf(r)
	d.answer(w, r, me, err)
}

// asked is the body of POST /api/v1/invitation.
type asked struct {
	Code string `json:"code"`
}

// Invited answers it: what a code is for, as its bearer may know.
type Invited struct {
	Person   string        `json:"person,omitzero"` // the name of the one invited
	By       string        `json:"by,omitzero"`     // the name of the one who invites; none: the hub itself
	Site     string        `json:"site"`
	SiteName string        `json:"site_name"`
	Sort     string        `json:"sort"` // page, phone or station
	Roles    []events.Role `json:"roles"`
	Known    bool          `json:"known,omitzero"` // the person has a passkey already
	Until    time.Time     `json:"until"`
	Demo     bool          `json:"demo,omitzero"` // no passkey is needed
}

// invitation shows what a code is for, and leaves it as it is.
func (d *Door) invitation(w http.ResponseWriter, r *http.Request) {
	var in asked
	err := readJSON(r, &in)
	if err != nil {
		d.answer(w, r, nil, err)
		return
	}
	inv, err := d.invited(r, in.Code)
	if err != nil {
		d.answer(w, r, nil, err)
		return
	}
	out := Invited{Site: inv.Site, SiteName: d.siteName(words.Pick(r), inv.Site), Sort: inv.Sort, Until: inv.Until, Roles: []events.Role{}, Demo: d.config.Demo}
	if inv.By != "" {
		out.By = d.nameOf(inv.By)
	}
	if inv.Person != "" {
		out.Person = d.nameOf(inv.Person)
		out.Roles = append(out.Roles, d.config.Register().RolesOf(inv.Person, inv.Site)...)
		keys, keysErr := d.config.Cabinet.Passkeys(inv.Person)
		out.Known, err = len(keys) > 0, keysErr
	}
	d.answer(w, r, out, err)
}

func (d *Door) siteName(c *words.Catalogue, site string) string {
	if site == people.Company {
		return c.T("door.every-site")
	}
	return d.config.SiteName(site)
}

// join enrols a device that holds a code.
func (d *Door) join(w http.ResponseWriter, r *http.Request) {
	var in roster.JoinRequest
	if err := readJSON(r, &in); err != nil {
		d.answer(w, r, nil, err)
		return
	}
	done, ok := d.limits.tries.try(addressOf(r), d.now())
	if !ok {
		d.answer(w, r, nil, tooMany())
		return
	}
	joined, err := d.config.Roster.Join(r.Context(), in)
	done(err != nil)
	if err == nil {
		d.config.Log.Info("device joined", "person", joined.Person, "site", joined.Site, "device", joined.Device, "address", addressOf(r))
	}
	d.answer(w, r, joined, err)
}
