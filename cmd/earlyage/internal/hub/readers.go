package hub

import (
	"cmp"
	"time"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/notify/routes"
	"earlyage/projector"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
)

// readers says who there is and how they are reached, from the register and the
// cabinet as they are now. Somebody whose card cannot be read is reached by what
// else there is.
type readers struct{ h *Hub }

// People implements routes.Directory.
func (d readers) People(site string) (list []notice.Reader) {
	register := d.h.projector.Register()
	cards, err := d.h.projector.Cabinet().Cards()
	if err != nil {
		d.h.log.Error("some cards cannot be read", "err", err)
	}
	for _, p := range register.People() {
		if r, ok := d.reader(register, cards[p.ID], p, site); ok {
			list = append(list, r)
		}
	}
	return list
}

// Reader returns a person with the roles on a site, and whether there is one.
func (d readers) Reader(person, site string) (notice.Reader, bool) {
	register := d.h.projector.Register()
	p, ok := register.Person(person)
	if !ok {
		return notice.Reader{}, false
	}
	card, err := d.h.projector.Cabinet().Card(person)
	if err != nil {
		d.h.log.Error("a card cannot be read", "err", err)
	}
	return d.reader(register, card, p, site)
}

func (d readers) reader(register *people.Register, card cabinet.Card, p people.Person, site string) (notice.Reader, bool) {
	roles := register.RolesOf(p.ID, site)
	if p.Retired || len(roles) == 0 {
		return notice.Reader{}, false
	}
	r := notice.Reader{Person: p.ID, Name: card.Name, Roles: roles, Mail: card.Mail, Lang: card.Lang, Units: card.Units}
	for _, dev := range register.Devices() {
		// A phone says on its own site alone that it has shown something.
		there := site == people.Company || dev.Source.Site == site
		if dev.Person == p.ID && there && !dev.Revoked && dev.Sort == events.SortPhone && register.Standing(dev.Source) {
			r.Devices = append(r.Devices, dev.Source)
		}
	}
	pushes, err := d.h.projector.Cabinet().Pushes(p.ID)
	if err != nil {
		d.h.log.Error("where a browser is reached cannot be read", "err", err)
	}
	for _, push := range pushes {
		r.Pushes = append(r.Pushes, notice.Push{Device: push.Device, Endpoint: push.Endpoint, P256DH: push.P256DH, Auth: push.Auth})
	}
	return r, true
}

// Site returns what messages must know of a site; of one that was never opened
// its token, and UTC.
func (d readers) Site(token string) notice.Site {
	out := notice.Site{Token: token, Name: token, Zone: time.UTC, Units: "si"}
	_ = d.h.projector.Read(func(v projector.View) error { // closed: as of one that was never opened
		if s := v.Site(token); s != nil {
			out.Name, out.Zone, out.Units = cmp.Or(s.Name(), token), s.Zone(), cmp.Or(s.Units(), "si")
		}
		return nil
	})
	return out
}

func (d readers) zone(site string) *time.Location { return d.Site(site).Zone }

// sites lists the sites that are in the record, and those where somebody works.
func (d readers) sites() []string {
	known := map[string]bool{}
	_ = d.h.projector.Read(func(v projector.View) error { // closed: none
		for _, site := range v.Sites() {
			known[site] = true
		}
		return nil
	})
	for _, p := range d.h.projector.Register().People() {
		for site := range p.Roles {
			known[site] = true
		}
	}
	delete(known, people.Company)
	return sorted(known)
}

// rotaNow is who is told now: by the route file in force, else by default.
func (h *Hub) rotaNow() *routes.Rota {
	if h.rota != nil {
		return h.rota()
	}
	return routes.Default().Rota(readers{h}, readers{h}.zone)
}
