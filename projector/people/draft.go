package people

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"maps"
	"slices"
	"strconv"

	"github.com/nats-io/nkeys"

	"earlyage/events"
	"earlyage/projector/wall"
)

// IsIdentity reports whether events of the kind change the register.
func IsIdentity(kind events.Kind) bool {
	switch kind {
	case "person.appointed", "person.retired", "device.enrolled", "device.revoked", "passkey.made", "passkey.ended":
		return true
	}
	return false
}

// Draft takes in many messages and copies the register once.
type Draft struct {
	*Register // as it is by now
	own       bool
}

// Draft begins with the register as it is.
func (r *Register) Draft() *Draft { return &Draft{Register: r} }

// Result returns the register after all that was added. The draft may be used on.
func (d *Draft) Result() *Register {
	d.own = false
	return d.Register
}

// Add takes in one message. It reports whether the message is an identity event
// of the hub, and why it does not count, if so. The first verdict on an event
// stands: whoever sends the same one again, later, gets the same and changes
// nothing.
func (d *Draft) Add(f wall.Fact) (identity bool, refusal *events.Refusal) {
	if !f.Trusted || !IsIdentity(f.Kind) {
		return false, nil
	}
	if verdict, again := d.seen[f.Key()]; again {
		return true, verdict
	}
	change, refusal := d.change(f)
	if !d.own {
		d.Register, d.own = d.clone(), true
	}
	d.seen[f.Key()] = refusal
	if refusal == nil {
		change(d.Register)
	}
	return true, refusal
}

// Check returns why an identity event of the hub would not count now, or nil.
func (r *Register) Check(f wall.Fact) *events.Refusal {
	_, refusal := r.change(f)
	return refusal
}

// change checks a message and returns what it does.
func (r *Register) change(f wall.Fact) (func(*Register), *events.Refusal) {
	switch data := f.Data.(type) {
	case *events.PersonAppointed:
		return func(r *Register) { r.appoint(f, data) }, nil
	case *events.PersonRetired:
		if r.persons[data.Person] == nil {
			return nil, refuse("data.person", data.Person, "a person who was appointed")
		}
		return func(r *Register) { r.retire(f, data) }, nil
	case *events.DeviceEnrolled:
		key, refusal := r.checkEnrolled(f, data)
		return func(r *Register) { r.enrol(f, data, key) }, refusal
	case *events.DeviceRevoked:
		if r.devices[events.Source{Site: f.Source.Site, Device: data.Device}] == nil {
			return nil, refuse("data.device", data.Device, "a device that is enrolled on "+f.Source.Site)
		}
		return func(r *Register) { r.revoke(f, data) }, nil
	case *events.PasskeyMade:
		if p := r.persons[data.Person]; p == nil || p.Retired {
			return nil, refuse("data.person", data.Person, "a person who was appointed and is not retired")
		}
		return nothing, nil
	case *events.PasskeyEnded:
		if r.persons[data.Person] == nil {
			return nil, refuse("data.person", data.Person, "a person who was appointed")
		}
		return nothing, nil
	}
	return nil, refuse("data", "", "the data of "+string(f.Kind))
}

// nothing is what a passkey changes here: it stands on the record, and what it
// opens is looked up beside it.
func nothing(*Register) {}

func refuse(field, value, allowed string) *events.Refusal {
	return &events.Refusal{Field: field, Value: value, Allowed: allowed}
}

func (r *Register) appoint(f wall.Fact, data *events.PersonAppointed) {
	p := Person{ID: data.Person, Since: f.Seq}
	if was := r.persons[data.Person]; was != nil {
		p.Since, p.Roles = was.Since, maps.Clone(was.Roles)
	}
	if p.Roles == nil {
		p.Roles = map[string][]events.Role{}
	}
	p.Roles[f.Source.Site] = inOrder(data.Roles)
	r.persons[p.ID] = &p
}

func (r *Register) retire(f wall.Fact, data *events.PersonRetired) {
	p := *r.persons[data.Person]
	p.Roles = maps.Clone(p.Roles)
	delete(p.Roles, f.Source.Site)
	if f.Source.Site == Company {
		p.Roles, p.Retired, p.Until = map[string][]events.Role{}, true, f.Seq
		for src, d := range r.devices {
			if d.Person == p.ID {
				r.end(src, f.Seq, "its person retired: "+data.Reason)
			}
		}
	}
	r.persons[p.ID] = &p
}

// checkEnrolled checks what no event can know by itself.
func (r *Register) checkEnrolled(f wall.Fact, data *events.DeviceEnrolled) (key Key, refusal *events.Refusal) {
	if p := r.persons[data.Person]; p != nil && p.Retired {
		return key, refuse("data.person", data.Person, "a person who is not retired")
	}
	if was := r.devices[events.Source{Site: f.Source.Site, Device: data.Device}]; was != nil {
		switch {
		case was.Revoked:
			return key, refuse("data.device", data.Device, "a device that is not revoked: it ended with message "+strconv.FormatUint(was.Until, 10))
		case was.Person != data.Person:
			return key, refuse("data.person", data.Person, "the person whose device it is: a key is changed, not an owner")
		case was.Sort != data.Sort:
			return key, refuse("data.sort", data.Sort, was.Sort+", as the device was enrolled")
		}
	}
	if data.Key == "" {
		return key, nil
	}
	if src, used := r.keys[data.Key]; used {
		return key, refuse("data.key", data.Key, "a new key: this one is or was of "+src.String())
	}
	raw, err := nkeys.Decode(nkeys.PrefixByteUser, []byte(data.Key))
	if err != nil || len(raw) != ed25519.PublicKeySize {
		return key, refuse("data.key", data.Key, "the public half of a NATS user nkey")
	}
	return Key{Public: data.Key, ID: keyID(raw), From: f.Seq, raw: raw}, nil
}

// keyID names a key as signatures do: the first 16 hexadecimal digits of its SHA-256.
func keyID(raw ed25519.PublicKey) string {
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:8])
}

func (r *Register) enrol(f wall.Fact, data *events.DeviceEnrolled, key Key) {
	src := events.Source{Site: f.Source.Site, Device: data.Device}
	d := Device{Source: src, Person: data.Person, Sort: data.Sort, Since: f.Seq, Wall: data.Wall, Kinds: slices.Clone(data.Kinds)}
	if was := r.devices[src]; was != nil {
		d.Since, d.Keys = was.Since, endKey(was.Keys, f.Seq)
	}
	if key.Public != "" {
		d.Keys = append(d.Keys, key)
		r.keys[key.Public] = src
	}
	r.devices[src] = &d
}

func (r *Register) revoke(f wall.Fact, data *events.DeviceRevoked) {
	r.end(events.Source{Site: f.Source.Site, Device: data.Device}, f.Seq, data.Reason)
}

// end ends a device. What ended it first stands.
func (r *Register) end(src events.Source, seq uint64, reason string) {
	d := *r.devices[src]
	if d.Revoked {
		return
	}
	d.Revoked, d.Reason, d.Until, d.Keys = true, reason, seq, endKey(d.Keys, seq)
	r.devices[src] = &d
}

// endKey returns a copy of the keys in which none holds after a message.
func endKey(keys []Key, seq uint64) []Key {
	keys = slices.Clone(keys)
	if n := len(keys); n > 0 && keys[n-1].To == 0 {
		keys[n-1].To = seq
	}
	return keys
}
