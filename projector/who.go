package projector

import (
	"crypto/ed25519"
	"fmt"
	"strconv"
	"strings"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector/people"
)

// Who says a message is judged in the order of the stream, by the register as
// it stands after the message before:
//
//   - the hub signs what it says (see reader.trust);
//   - a desk is a person at a page of the hub: the hub signs, the person is the
//     one whose name the desk bears;
//   - a phone or a station signs with the key that holds, a phone in its
//     person's name;
//   - a probe cannot sign: it alone can publish on its own subject.
//
// And each says only what it may. A message that is not proven holds no number
// of the device that it names and claims no key: otherwise a stranger who
// guesses them could shut the real one out. It is a doubt all the same.

// proof is what a message has to show, and what is to be said of it then.
type proof struct {
	free     bool              // nothing: it was judged by itself
	shown    bool              // it came on a subject that proves it
	key      ed25519.PublicKey // whose signature proves it; nil: none can
	unproven *events.Refusal   // why it does not count if it is not proven
	verdict  *events.Refusal   // why it does not count though it is; nil: it counts
}

// examineAll finds what each message has to show, and takes the hub's word on
// people and devices in as it comes.
func (r reader) examineAll(items []item, batch []stream.Message, register *people.Register) ([]proof, *people.Register) {
	draft := register.Draft()
	proofs := make([]proof, len(items))
	for i := range items {
		it := &items[i]
		if r.unsigned || it.seq < r.signedFrom || it.device == "" || it.device == events.HubDevice {
			proofs[i].free = true
		} else {
			proofs[i] = r.examine(draft.Register, it, batch[i].Signature)
		}
		if it.trusted && it.refusal == nil && people.IsIdentity(it.event.Kind) {
			it.people, it.refusal = draft.Add(it.fact())
		}
	}
	return proofs, draft.Result()
}

// examine finds what a message has to show.
func (r reader) examine(register *people.Register, it *item, signature string) proof {
	person, desk := events.DeskPerson(it.device)
	switch {
	case it.probe != "":
		return examineProbe(register, it)
	case desk:
		it.number = 0 // a desk has none
		return proof{
			key:      r.key,
			unproven: refused("signature", clip(signature, 60), "the hub's own signature, for all that is entered at a desk"),
			verdict:  it.verdict(func() *events.Refusal { return judgeDesk(register, &it.event, person) }),
		}
	}
	return examineDevice(register, it, signature)
}

func refused(field, value, allowed string) *events.Refusal {
	return &events.Refusal{Field: field, Value: value, Allowed: allowed}
}

// verdict judges an event that can be read. A defect in the judging of one event
// must not stop every wall.
func (it *item) verdict(judge func() *events.Refusal) (refusal *events.Refusal) {
	if it.refusal != nil {
		return nil
	}
	defer func() {
		if p := recover(); p != nil {
			refusal = &events.Refusal{Field: "body", Allowed: "an event that can be judged", Cause: fmt.Errorf("%v", p)}
		}
	}()
	return judge()
}

func judgeDesk(register *people.Register, e *events.Event, person string) *events.Refusal {
	switch {
	case e.Sequence != 0:
		return refused("sequence", strconv.FormatUint(e.Sequence, 10), "none: a desk does not number what it says")
	case e.By != person:
		return refused("by", e.By, person+", whose desk it is")
	}
	return judgeRoles(register, e, person)
}

func judgeRoles(register *people.Register, e *events.Event, person string) *events.Refusal {
	roles := register.RolesOf(person, e.Source.Site)
	if len(roles) == 0 {
		return refused("role", "", "a person with a role on "+e.Source.Site+": "+person+" has none there now")
	}
	return e.MayBeBy(roles...)
}

// admitted returns a device that may still speak, or why it is not to be believed.
func admitted(register *people.Register, src events.Source) (people.Device, *events.Refusal) {
	d, known := register.Device(src)
	switch {
	case !known:
		return d, refused("source", src.String(), "a device that is enrolled")
	case d.Revoked:
		return d, refused("source", src.String(), fmt.Sprintf("a device that is not revoked: it ended with message %d: %s", d.Until, d.Reason))
	}
	return d, nil
}

func examineProbe(register *people.Register, it *item) proof {
	src := events.Source{Site: it.at.Site, Device: it.probe}
	d, refusal := admitted(register, src)
	switch {
	case refusal != nil:
		return proof{unproven: refusal}
	case d.Sort != events.SortProbe:
		return proof{unproven: refused("subject", clip(it.subject, 60), "pour.<site>...: "+src.String()+" is a "+d.Sort+", which signs what it says")}
	case it.device != it.probe: // the body is refused already
		return proof{}
	}
	return proof{shown: true, verdict: it.verdict(func() *events.Refusal { return judgeUnmanned(d, &it.event) })}
}

// judgeUnmanned judges what a station or a probe says.
func judgeUnmanned(d people.Device, e *events.Event) *events.Refusal {
	switch {
	case e.By != "":
		return refused("by", e.By, "nobody: a "+d.Sort+" speaks for no person")
	case !d.May(e.Kind):
		return refused("role", string(events.Probe), "a kind that "+d.Source.String()+" was enrolled for; "+string(e.Kind)+" is none")
	case d.Wall != "" && e.Wall != d.Wall:
		return refused("subject", e.Wall, "the wall "+d.Wall+", which this probe is bound to")
	}
	return e.MayBeBy(events.Probe)
}

func examineDevice(register *people.Register, it *item, signature string) proof {
	src := events.Source{Site: it.at.Site, Device: it.device}
	d, refusal := admitted(register, src)
	if refusal != nil {
		return proof{unproven: refusal}
	}
	key, signs := d.Current()
	if !signs {
		return proof{unproven: refused("source", src.String(), "a device that signs: this one is a "+d.Sort+" and has a subject of its own")}
	}
	return proof{
		key:      key.Ed25519(),
		unproven: refused("signature", clip(signature, 60), "a signature by the key "+key.ID+" of "+src.String()+endedKey(d, signature)),
		verdict:  it.verdict(func() *events.Refusal { return judgeDevice(register, d, &it.event) }),
	}
}

// endedKey says when the key that a signature names ended.
func endedKey(d people.Device, signature string) string {
	for _, k := range d.Keys {
		if k.To != 0 && strings.Contains(signature, " "+k.ID+" ") {
			return fmt.Sprintf("; the key %s ended with message %d", k.ID, k.To)
		}
	}
	return ""
}

func judgeDevice(register *people.Register, d people.Device, e *events.Event) *events.Refusal {
	switch {
	case d.Person == "":
		return judgeUnmanned(d, e)
	case e.By == "" && e.Kind == "device.reported": // said by the device itself
	case e.By != d.Person:
		return refused("by", e.By, d.Person+", whose device it is")
	}
	return judgeRoles(register, e, d.Person)
}

// settle verifies what a message shows, and judges it.
func (it *item) settle(p *proof, signature string) {
	if p.free {
		return
	}
	proven := p.shown || p.key != nil && stream.Verify(p.key, signature, it.body)
	switch {
	case !proven:
		it.number = 0
		if it.refusal == nil {
			it.refusal = p.unproven
		}
	case it.refusal == nil:
		it.refusal = p.verdict
	case it.misplaced():
		it.number = 0
	}
}

// misplaced reports whether a refused body is an event, and came on the subject
// of another one. The signature does not cover the subject: somebody may have
// sent on what the device said elsewhere, and the number is still to come.
func (it *item) misplaced() bool {
	if it.refusal.Field != "subject" {
		return false
	}
	_, refusal := decodeEvent("", it.body)
	return refusal == nil
}
