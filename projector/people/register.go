package people

import (
	"cmp"
	"crypto/ed25519"
	"maps"
	"slices"

	"earlyage/events"
	"earlyage/projector/wall"
)

// Company is the site whose roles hold on every site.
const Company = "_"

// Register is who may do what after one message of the stream.
type Register struct {
	persons map[string]*Person
	devices map[events.Source]*Device
	keys    map[string]events.Source       // every key that ever was, by its public form
	seen    map[events.Key]*events.Refusal // the verdicts on identity events
}

// Person is someone who holds or held roles. Name and address stand beside the
// record.
type Person struct {
	ID      string
	Roles   map[string][]events.Role // by site, "_" for every site; in the order of events.Roles
	Retired bool                     // everywhere
	Since   uint64                   // stream sequence of the first appointment
	Until   uint64                   // of the retirement everywhere; 0: not retired
}

// Device is one device of a site.
type Device struct {
	Source  events.Source
	Person  string // whose it is; empty: a station or a probe
	Sort    string // events.SortPhone, SortStation or SortProbe
	Keys    []Key  // in order; only the last may still hold. None: a probe
	Wall    string // of a probe: the one wall that it speaks of; empty: any
	Kinds   []events.Kind
	Since   uint64 // stream sequence of its first enrolment
	Until   uint64 // of its end; 0: it has none
	Revoked bool
	Reason  string // why it was revoked
}

// Key is one key of a device. It holds for messages after From, up to To.
type Key struct {
	Public string // a NATS user nkey, U...
	ID     string // as signatures name it
	From   uint64
	To     uint64 // 0: it holds still

	raw ed25519.PublicKey
}

// Ed25519 returns the public key that signatures are verified with.
func (k Key) Ed25519() ed25519.PublicKey { return k.raw }

// Current returns the key that holds now. There is none for a probe and for a
// device that was revoked.
func (d Device) Current() (Key, bool) {
	if n := len(d.Keys); n > 0 && d.Keys[n-1].To == 0 {
		return d.Keys[n-1], true
	}
	return Key{}, false
}

// May reports whether a station or probe was enrolled for the kind; what a phone
// may say is what its person may. That its outbox is empty each may say.
func (d Device) May(kind events.Kind) bool {
	if d.Sort == events.SortPhone || !kind.MayRecord(events.Probe) {
		return false
	}
	return len(d.Kinds) == 0 || kind == "device.reported" || slices.Contains(d.Kinds, kind)
}

// New returns a register without anybody.
func New() *Register {
	return &Register{
		persons: map[string]*Person{}, devices: map[events.Source]*Device{},
		keys: map[string]events.Source{}, seen: map[events.Key]*events.Refusal{},
	}
}

// With returns the register after further messages. Facts that are not the
// hub's word on people and devices, that came before, or that Draft.Add refuses
// change nothing. The register itself stays as it is.
func (r *Register) With(facts ...wall.Fact) *Register {
	d := r.Draft()
	for _, f := range facts {
		_, _ = d.Add(f)
	}
	return d.Result()
}

func (r *Register) clone() *Register {
	return &Register{maps.Clone(r.persons), maps.Clone(r.devices), maps.Clone(r.keys), maps.Clone(r.seen)}
}

// RolesOf lists the roles that a person holds on a site: the site's own and
// those for every site, in the order of events.Roles.
func (r *Register) RolesOf(person, site string) []events.Role {
	p := r.persons[person]
	if p == nil {
		return nil
	}
	own, all := p.Roles[site], p.Roles[Company]
	if site == Company || len(all) == 0 {
		return slices.Clone(own)
	}
	return inOrder(slices.Concat(own, all))
}

// inOrder brings roles into the order of events.Roles, each once.
func inOrder(roles []events.Role) []events.Role {
	var list []events.Role
	for _, role := range events.Roles() {
		if slices.Contains(roles, role) {
			list = append(list, role)
		}
	}
	return list
}

// SitesOf lists, in order, the sites on which a person was given roles; "_"
// stands for every site.
func (r *Register) SitesOf(person string) []string {
	if p := r.persons[person]; p != nil {
		return slices.Sorted(maps.Keys(p.Roles))
	}
	return nil
}

// Person returns one person.
func (r *Register) Person(id string) (Person, bool) {
	p := r.persons[id]
	if p == nil {
		return Person{}, false
	}
	out := *p
	out.Roles = make(map[string][]events.Role, len(p.Roles))
	for site, roles := range p.Roles {
		out.Roles[site] = slices.Clone(roles)
	}
	return out, true
}

// People lists all persons who ever held a role, in order of their ids.
func (r *Register) People() []Person {
	list := make([]Person, 0, len(r.persons))
	for _, id := range slices.Sorted(maps.Keys(r.persons)) {
		p, _ := r.Person(id)
		list = append(list, p)
	}
	return list
}

// Device returns what is known of a device. Its slices must not be changed.
func (r *Register) Device(src events.Source) (Device, bool) {
	if d := r.devices[src]; d != nil {
		return *d, true
	}
	return Device{}, false
}

// Devices lists all devices that were ever enrolled, by site and name.
func (r *Register) Devices() []Device {
	list := make([]Device, 0, len(r.devices))
	for _, d := range r.devices {
		list = append(list, *d)
	}
	slices.SortFunc(list, func(a, b Device) int {
		return cmp.Or(cmp.Compare(a.Source.Site, b.Source.Site), cmp.Compare(a.Source.Device, b.Source.Device))
	})
	return list
}

// ByKey returns the device whose key, in its public form U..., holds now.
func (r *Register) ByKey(public string) (Device, bool) {
	src, known := r.keys[public]
	if !known {
		return Device{}, false
	}
	d := r.devices[src]
	if k, ok := d.Current(); !ok || k.Public != public {
		return Device{}, false
	}
	return *d, true
}

// Roles lists the roles in which a source speaks now: a phone and a desk in
// those of their person on the site, a station and a probe in the role probe. It
// is empty for a device that is not enrolled, or was revoked.
func (r *Register) Roles(src events.Source) []events.Role {
	if person, desk := events.DeskPerson(src.Device); desk {
		return r.RolesOf(person, src.Site)
	}
	d := r.devices[src]
	switch {
	case d == nil || d.Revoked:
		return nil
	case d.Sort == events.SortPhone:
		return r.RolesOf(d.Person, src.Site)
	}
	return []events.Role{events.Probe}
}

// Standing reports whether a source may be connected now: it is enrolled and not
// revoked, and its person, if it has one, holds a role on its site. The hub may
// always; a desk is no device and never connects.
func (r *Register) Standing(src events.Source) bool {
	return src.Device == events.HubDevice || r.devices[src] != nil && len(r.Roles(src)) > 0
}

// MayRecord reports whether a source may record the kind now. It is false for
// the hub, which needs nobody's leave.
func (r *Register) MayRecord(src events.Source, kind events.Kind) bool {
	if d := r.devices[src]; d != nil && d.Sort != events.SortPhone {
		return !d.Revoked && d.May(kind)
	}
	return kind.MayRecord(r.Roles(src)...)
}

// KindsOf lists, in alphabetical order, the kinds that a source may record now.
func (r *Register) KindsOf(src events.Source) []events.Kind {
	return slices.DeleteFunc(events.KindsOf(r.Roles(src)...), func(k events.Kind) bool { return !r.MayRecord(src, k) })
}
