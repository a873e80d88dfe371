package demo

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"earlyage/events"
)

// Entries that are no events.
const (
	appoints = "appoints" // a person is given roles
	joins    = "joins"    // a device joins
	lost     = "lost"     // a device is shut out
	tries    = "tries"    // a device tries what it may not
	look     = "look"     // how a wall stands is written
)

// isEvent says that an entry is an event once it is made.
func (e entry) isEvent() bool {
	return !slices.Contains([]string{appoints, joins, lost, tries, look}, e.kind)
}

// personScript is a person's roles on a site; _ is every site.
type personScript struct {
	id, name, site string
	roles          []events.Role
}

// readPerson reads ID ROLE[,ROLE] NAME.
func (f *file) readPerson(w []string, _ options) error {
	p := personScript{id: w[0], name: w[2], site: f.site.name}
	for _, r := range strings.Split(w[1], ",") {
		if !events.IsRole(r) {
			return fmt.Errorf("unknown role %q", r)
		}
		p.roles = append(p.roles, events.Role(r))
	}
	if !events.IsToken(p.id) {
		return fmt.Errorf("%q is no id of a person", p.id)
	}
	f.people = append(f.people, p)
	return nil
}

// readDevice reads NAME phone PERSON | NAME station | NAME probe, with its options.
func (f *file) readDevice(w []string, o options) (err error) {
	key := deviceKey{f.site.name, w[0]}
	d := &deviceScript{deviceKey: key, sort: w[1], wall: o["wall"]}
	switch {
	case !events.IsToken(d.device):
		return fmt.Errorf("%q is no name of a device", d.device)
	case f.devices[key] != nil:
		return fmt.Errorf("device %s: a second time", key)
	case d.sort == events.SortPhone && len(w) == 3:
		d.person = w[2]
	case d.sort != events.SortStation && d.sort != events.SortProbe || len(w) != 2:
		return errors.New("allowed: NAME phone PERSON, NAME station, NAME probe")
	}
	d.silent = o["shows"] == "no"
	if o["answers"] != "" {
		if d.answers, err = time.ParseDuration(o["answers"]); err != nil {
			return err
		}
	}
	if o["joins"] != "" {
		d.joins, err = f.moment(o["joins"], "")
	}
	f.devices[key] = d
	return err
}

// act adds an entry that is no event.
func (f *file) act(at time.Time, device, kind, wall string, pairs ...string) error {
	key := deviceKey{f.site.name, device}
	if device != "" {
		if _, err := f.device(device); err != nil {
			return err
		}
	}
	f.entries = append(f.entries, entry{at: at, device: key, kind: kind, wall: wall, pairs: pairs, order: len(f.entries)})
	return nil
}

// readLost reads DEVICE MOMENT REASON: the keeper shuts the device out.
func (f *file) readLost(w []string, _ options) error {
	at, err := f.moment(w[1], "")
	if err != nil {
		return err
	}
	return f.act(at, w[0], lost, "", w[2])
}

// readTries reads an event that must be refused. Its pairs have been split off.
func (f *file) readTries(w []string, o options) error {
	for _, key := range slices.Sorted(maps.Keys(o)) {
		w = append(w, key+"="+o[key])
	}
	e, err := f.entry(w)
	if err != nil {
		return err
	}
	e.pairs = append([]string{e.kind}, e.pairs...)
	e.kind = tries
	f.entries = append(f.entries, e)
	return nil
}

// readLook reads WALL MOMENT GOVERNS WORDS: what must govern, and what is said
// of it.
func (f *file) readLook(w []string, _ options) error {
	at, err := f.moment(w[1], "")
	if err != nil {
		return err
	}
	return f.act(at, "", look, w[0], w[2], w[3])
}

// rolesOf are the roles of a person on a site.
func (s *script) rolesOf(person, site string) (out []events.Role) {
	for _, p := range s.people {
		if p.id == person && (p.site == site || p.site == everySite) {
			out = append(out, p.roles...)
		}
	}
	return out
}

const everySite = "_"

// enrol puts who takes part before what they do: the people and devices of a
// site a minute before its first entry, those of every site before all others.
func (s *script) enrol() error {
	first := map[string]time.Time{}
	var all time.Time
	for _, e := range s.entries {
		site := e.device.site
		if at, known := first[site]; !known || e.at.Before(at) {
			first[site] = e.at
		}
		if all.IsZero() || e.at.Before(all) {
			all = e.at
		}
	}
	moment := func(site string) time.Time {
		if at, known := first[site]; known && site != everySite {
			return at.Add(-before)
		}
		return all.Add(-before)
	}
	var list []entry
	for i, p := range s.people {
		list = append(list, entry{at: moment(p.site), device: deviceKey{site: p.site}, by: p.id, kind: appoints, order: i - enrolFirst})
	}
	for i, d := range inOrderOfScript(s.devices) {
		at := d.joins
		if at.IsZero() {
			at = moment(d.site)
		}
		if d.person != "" && len(s.rolesOf(d.person, d.site)) == 0 {
			return fmt.Errorf("read demo scripts: device %s is of %s, who has no role on %s", d, d.person, d.site)
		}
		list = append(list, entry{at: at, device: d.deviceKey, kind: joins, order: i - enrolFirst/2})
	}
	if all.IsZero() && len(list) > 0 {
		return errors.New("read demo scripts: people and devices, and nothing that they do")
	}
	s.entries = append(list, s.entries...)
	return nil
}

// enrolFirst puts people before devices and both before the lines of the scripts.
const enrolFirst = 1 << 20

func inOrderOfScript(devices map[deviceKey]*deviceScript) (list []*deviceScript) {
	for _, d := range devices {
		list = append(list, d)
	}
	slices.SortFunc(list, func(a, b *deviceScript) int { return strings.Compare(a.String(), b.String()) })
	return list
}
