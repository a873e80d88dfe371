package events

import (
	"slices"
	"strings"
	"time"
)

// What the hub says of people and devices. A person is a random id; name and
// address stand beside the record, so that they can be erased. An event of site
// "_" holds on every site.

// HubDevice is the device name in the source of what the hub itself says.
const HubDevice = "hub"

// DeskPrefix begins the name of a desk. It is reserved: no device that is
// enrolled begins so.
const DeskPrefix = "desk-"

// DeskOf returns the device name of what a person enters on a page of the hub:
// the hub vouches for it by its own signature.
func DeskOf(person string) string { return DeskPrefix + person }

// DeskPerson returns the person of a desk's device name, and whether it is one.
func DeskPerson(device string) (person string, ok bool) { return strings.CutPrefix(device, DeskPrefix) }

// The sorts of device.
const (
	SortPhone   = "phone"   // signs, and belongs to a person: a phone page, a command line, a person's gateway
	SortStation = "station" // signs, and belongs to nobody: a logger, a weather station
	SortProbe   = "probe"   // cannot sign: its connection is what proves it
)

// PersonAppointed gives a person roles on a site, or on every site. They replace
// all earlier ones of that person there.
type PersonAppointed struct {
	Person string `json:"person" rule:"need,token" doc:"the person's random id"`
	Roles  []Role `json:"roles" rule:"need,crew|foreman|dispatcher|engineer|officer|keeper,len 1..6" doc:"all roles of the person on this site; earlier ones end"`
}

func (d *PersonAppointed) check() error {
	for i, r := range d.Roles {
		if slices.Contains(d.Roles[:i], r) {
			return refuse("data.roles", string(r), "each role once")
		}
	}
	return nil
}
func (d *PersonAppointed) span() (b, e time.Time) { return }

// PersonRetired ends all roles of a person on a site; on every site, the
// person's devices end too.
type PersonRetired struct {
	Person string `json:"person" rule:"need,token" doc:"the person's random id"`
	Reason string `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *PersonRetired) check() error           { return nil }
func (d *PersonRetired) span() (b, e time.Time) { return }

// DeviceEnrolled admits a device to a site, or gives one that is admitted a new
// key: it has the same person and sort then, and the old key ends.
type DeviceEnrolled struct {
	Device string `json:"device" rule:"need,token" doc:"the device on this site; not hub, and not desk-..."`
	Person string `json:"person,omitzero" rule:"token" doc:"whose it is; not given: a station or a probe"`
	Sort   string `json:"sort" rule:"need,phone|station|probe" doc:"phone: signs, and belongs to a person; station: signs, and belongs to nobody; probe: cannot sign"`
	Key    string `json:"key,omitzero" rule:"nkey" doc:"its public key; not given: a probe"`
	Wall   string `json:"wall,omitzero" rule:"token" doc:"of a probe: the one wall that it speaks of; not given: any"`
	Kinds  []Kind `json:"kinds,omitzero" rule:"kind,len 1..20" doc:"of a station or a probe: what it may say; not given: all that the role probe may"`
}

func (d *DeviceEnrolled) check() error {
	_, desk := DeskPerson(d.Device)
	phone, probe := d.Sort == SortPhone, d.Sort == SortProbe
	switch {
	case desk || d.Device == HubDevice:
		return refuse("data.device", d.Device, "a name other than "+HubDevice+" that does not begin with "+DeskPrefix)
	case phone && d.Person == "":
		return refuse("data.person", "", "the person whose phone it is")
	case !phone && d.Person != "":
		return refuse("data.person", d.Person, "none: a "+d.Sort+" belongs to nobody")
	case !probe && d.Key == "":
		return refuse("data.key", "", "the public key of the "+d.Sort)
	case probe && d.Key != "":
		return refuse("data.key", d.Key, "none: a probe cannot sign")
	case !probe && d.Wall != "":
		return refuse("data.wall", d.Wall, "none: only a probe is bound to a wall")
	case phone && len(d.Kinds) > 0:
		return refuse("data.kinds", string(d.Kinds[0]), "none: what a phone may say is what its person may")
	}
	for _, k := range d.Kinds {
		if !k.MayRecord(Probe) {
			return refuse("data.kinds", clip(string(k)), "a kind that the role probe may record")
		}
	}
	return nil
}
func (d *DeviceEnrolled) span() (b, e time.Time) { return }

// DeviceRevoked ends a device: nothing that it says afterwards counts.
type DeviceRevoked struct {
	Device string `json:"device" rule:"need,token" doc:"the device on this site"`
	Reason string `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *DeviceRevoked) check() error           { return nil }
func (d *DeviceRevoked) span() (b, e time.Time) { return }

// PasskeyMade says that a person has a new passkey to the pages of the hub: by
// is who invited the person to make it. What is entered with it stands in the
// person's name.
type PasskeyMade struct {
	Person string `json:"person" rule:"need,token" doc:"whose passkey it is"`
}

func (d *PasskeyMade) check() error           { return nil }
func (d *PasskeyMade) span() (b, e time.Time) { return }

// PasskeyEnded says that all passkeys of a person that were made before it have
// ended. A retirement from every site ends them too.
type PasskeyEnded struct {
	Person string `json:"person" rule:"need,token" doc:"whose passkeys they were"`
	Reason string `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *PasskeyEnded) check() error           { return nil }
func (d *PasskeyEnded) span() (b, e time.Time) { return }
