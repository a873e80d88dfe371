package roster

import (
	"fmt"
	"strings"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector/people"
)

var _ stream.Guard = (*Roster)(nil)

// UserOf is the name by which a probe connects.
func UserOf(src events.Source) string { return src.Site + "." + src.Device }

// sourceOf is the other way. A token holds no dot, so there is one reading.
func sourceOf(user string) (events.Source, bool) {
	site, device, ok := strings.Cut(user, ".")
	return events.Source{Site: site, Device: device}, ok && events.IsToken(site) && events.IsToken(device)
}

// Admit implements stream.Guard: who connects, and what it may say at this
// moment by the register. Who is not admitted is told no reason but the error,
// which is for the log and holds no password.
func (r *Roster) Admit(c stream.Claim) (stream.Admission, error) {
	reg := r.cfg.Register()
	d, err := r.claimed(reg, c)
	if err == nil {
		_, err = standing(reg, d.Source)
	}
	if err != nil {
		return stream.Admission{}, fmt.Errorf("%w: %w", stream.ErrNotAdmitted, err)
	}
	return stream.Admission{
		Source: d.Source, Kinds: reg.KindsOf(d.Source), Probe: d.Sort == events.SortProbe, Wall: d.Wall,
	}, nil
}

// claimed finds the device by what it proved or proves now.
func (r *Roster) claimed(reg *people.Register, c stream.Claim) (people.Device, error) {
	if c.Key != "" {
		if c.User != "" || c.Password != "" {
			return people.Device{}, fmt.Errorf("key %s beside a user or password: %w", c.Key, ErrNotAllowed)
		}
		d, ok := reg.ByKey(c.Key)
		if !ok {
			return d, fmt.Errorf("key %s: %w", c.Key, ErrUnknown)
		}
		return d, nil
	}
	src, ok := sourceOf(c.User)
	// The password is looked at in every case: how long the answer takes must
	// not tell which probes there are.
	right := r.cfg.Cabinet.CheckSecret(src, c.Password)
	d, enrolled := reg.Device(src)
	if !ok || !right || !enrolled || d.Sort != events.SortProbe {
		return people.Device{}, fmt.Errorf("no such user and password: %w", ErrUnknown)
	}
	return d, nil
}
