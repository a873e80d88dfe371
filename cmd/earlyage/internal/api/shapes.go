package api

import (
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"earlyage/events"
)

// Paths of what changes the record, and of who may.
const (
	PathPeople      = "/api/v1/people"
	PathInvitations = "/api/v1/invitations"
	PathDevices     = "/api/v1/devices"
	PathProbes      = "/api/v1/probes"
	PathEvents      = "/api/v1/events"
	PathEntries     = "/api/v1/entries"
	PathMe          = "/api/v1/me"
	PathJoin        = "/api/v1/join"
	PathNonce       = "/api/v1/nonce"
	PathSession     = "/api/v1/session"
)

// Roles are the roles of a person by site; _ is every site.
type Roles map[string][]events.Role

// Person is one of the people who may use the hub. Name, Mail and Phone stand
// beside the record and are empty once they are erased.
type Person struct {
	Person  string `json:"person"`
	Name    string `json:"name,omitzero"`
	Mail    string `json:"mail,omitzero"`
	Phone   string `json:"phone,omitzero"`
	Lang    string `json:"lang,omitzero"`  // en or es; empty: not said
	Units   string `json:"units,omitzero"` // si or us; empty: those of the site
	Roles   Roles  `json:"roles"`
	Retired bool   `json:"retired,omitzero"` // from every site
}

// People answers GET PathPeople.
type People struct {
	Through uint64   `json:"through"`
	People  []Person `json:"people"`
}

// NewPerson is the body of POST PathPeople; the answer is a Person.
type NewPerson struct {
	Name  string `json:"name"`
	Mail  string `json:"mail,omitzero"`
	Phone string `json:"phone,omitzero"`
	Roles Roles  `json:"roles"`
}

// Contact is the body of POST PathPeople/{person}/contact: a member that is not
// given stays as it is, an empty one is taken out. A name stays one.
type Contact struct {
	Name  *string `json:"name,omitzero"`
	Mail  *string `json:"mail,omitzero"`
	Phone *string `json:"phone,omitzero"`
	Lang  *string `json:"lang,omitzero"`
	Units *string `json:"units,omitzero"`
}

// Appointment is the body of POST PathPeople/{person}/roles: it replaces all
// earlier roles of the person on that site.
type Appointment struct {
	Site  string        `json:"site"`
	Roles []events.Role `json:"roles"`
}

// Retirement is the body of POST PathPeople/{person}/retire: from one site, or
// with _ from every one.
type Retirement struct {
	Site   string `json:"site"`
	Reason string `json:"reason"`
}

// NewInvitation is the body of POST PathInvitations. Sort is phone, page or
// station; a station has no person.
type NewInvitation struct {
	Person string        `json:"person,omitzero"`
	Site   string        `json:"site"`
	Sort   string        `json:"sort"`
	Device string        `json:"device,omitzero"` // of a station: its name; default any
	Kinds  []events.Kind `json:"kinds,omitzero"`  // of a station: what it may say; default all of the role probe
}

// Ticket answers it. The code is shown once.
type Ticket struct {
	Code  string    `json:"code"`
	Link  string    `json:"link"`
	Until time.Time `json:"until"`
}

// Device is a device that was enrolled.
type Device struct {
	Site    string        `json:"site"`
	Device  string        `json:"device"`
	Person  string        `json:"person,omitzero"`
	Sort    string        `json:"sort"`
	Key     string        `json:"key,omitzero"`  // the present one, an nkey
	Wall    string        `json:"wall,omitzero"` // a probe that is bound to one
	Kinds   []events.Kind `json:"kinds,omitzero"`
	Revoked bool          `json:"revoked,omitzero"`
	Reason  string        `json:"reason,omitzero"` // why it was revoked
}

// Devices answers GET PathDevices.
type Devices struct {
	Through uint64   `json:"through"`
	Devices []Device `json:"devices"`
}

// Revocation is the body of POST DevicePath/revoke.
type Revocation struct {
	Reason string `json:"reason"`
}

// Rotation is the body of POST DevicePath/rotate. Old and New are the signatures
// of the present and of the new key over roster.RotateProof, as unpadded URL
// base64.
type Rotation struct {
	Key string `json:"key"` // the new one, an nkey
	Old string `json:"old"`
	New string `json:"new"`
}

// NewProbe is the body of POST PathProbes: a device that cannot sign.
type NewProbe struct {
	Site   string        `json:"site"`
	Device string        `json:"device"`
	Wall   string        `json:"wall,omitzero"`
	Kinds  []events.Kind `json:"kinds,omitzero"`
}

// ProbeSecret answers it, and POST DevicePath/password. The password is shown once.
type ProbeSecret struct {
	User     string `json:"user"`
	Password string `json:"password"`
}

// Accepted answers POST PathEvents: the event stands in the stream.
type Accepted struct {
	Sequence uint64 `json:"sequence"`
}

// IdempotencyKey is the header under which an entry may be sent again: the same
// entry under the same key of the same account is made once, and answered as the
// first time, for good. Another entry under it is refused with CodeKeyUsed.
const IdempotencyKey = "Idempotency-Key"

// Entry is the body of POST PathEntries: what a person enters by a session. Time
// is when the entry was made, from 30 days behind the hub's clock to 2 minutes
// ahead; default now.
type Entry struct {
	Site string         `json:"site"`
	Wall string         `json:"wall,omitzero"`
	Kind events.Kind    `json:"kind"`
	Data jsontext.Value `json:"data"`
	Time time.Time      `json:"time,omitzero"`
}

// Entered answers it, once the entry is folded. Refused is why the record does
// not take it; nil: it does.
type Entered struct {
	ID       string   `json:"id"`
	Sequence uint64   `json:"sequence"`
	Refused  *Refused `json:"refused,omitzero"`
}

// Refused is why an event does not count.
type Refused struct {
	Field  string `json:"field"`
	Reason string `json:"reason"`
}
