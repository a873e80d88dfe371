package projector_test

import (
	"bytes"
	"fmt"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
	"earlyage/projector/wall"
)

// said is a message of a drawn record, as the naive model knows it.
type said struct {
	seq       uint64
	subject   events.Subject
	event     events.Event
	body      []byte
	signature string
	signedBy  string // name of the key whose signature of this body it carries; empty: none
	outcome   string // counts, repeated or refused
	proven    bool
	word      bool // the hub's word on people and devices
	good      bool // it stood by itself: it claims its key
	held      bool // it holds its number
}

// naive judges each message by walking over all those before it.
type naive struct{ all []*said }

// earlier calls f with what counts of the hub's word before a message, the
// newest first, until it returns true.
func (m *naive) earlier(x *said, f func(site string, data events.Data, seq uint64) bool) {
	for i := len(m.all) - 1; i >= 0; i-- {
		if y := m.all[i]; y.seq < x.seq && y.word && y.outcome == "counts" && f(y.event.Source.Site, y.event.Data, y.seq) {
			return
		}
	}
}

func (m *naive) roles(x *said, person, site string) (roles []events.Role) {
	for _, where := range []string{site, "_"} {
		m.earlier(x, func(at string, data events.Data, _ uint64) bool {
			switch d := data.(type) {
			case *events.PersonAppointed:
				if d.Person == person && at == where {
					roles = append(roles, d.Roles...)
					return true
				}
			case *events.PersonRetired:
				return d.Person == person && (at == where || at == "_")
			}
			return false
		})
	}
	return roles
}

func (m *naive) retired(x *said, person string) (retired bool) {
	m.earlier(x, func(at string, data events.Data, _ uint64) bool {
		switch d := data.(type) {
		case *events.PersonAppointed:
			return d.Person == person
		case *events.PersonRetired:
			retired = d.Person == person && at == "_"
			return retired
		}
		return false
	})
	return retired
}

// device returns the newest enrolment of a device before a message, and whether
// it has ended since.
func (m *naive) device(x *said, src events.Source) (enrolled *events.DeviceEnrolled, ended bool) {
	m.earlier(x, func(at string, data events.Data, _ uint64) bool {
		if d, ok := data.(*events.DeviceEnrolled); ok && at == src.Site && d.Device == src.Device {
			enrolled = d
		}
		return enrolled != nil
	})
	if enrolled == nil {
		return nil, false
	}
	m.earlier(x, func(at string, data events.Data, _ uint64) bool {
		switch d := data.(type) {
		case *events.DeviceEnrolled: // none counts after an end
			return at == src.Site && d.Device == src.Device
		case *events.DeviceRevoked:
			ended = ended || at == src.Site && d.Device == src.Device
		case *events.PersonRetired:
			ended = ended || at == "_" && d.Person == enrolled.Person
		}
		return ended
	})
	return enrolled, ended
}

// wordCounts judges the hub's word on people and devices.
func (m *naive) wordCounts(x *said) bool {
	switch d := x.event.Data.(type) {
	case *events.PersonRetired:
		known := false
		m.earlier(x, func(_ string, data events.Data, _ uint64) bool {
			a, ok := data.(*events.PersonAppointed)
			known = known || ok && a.Person == d.Person
			return known
		})
		return known
	case *events.DeviceRevoked:
		was, _ := m.device(x, events.Source{Site: x.event.Source.Site, Device: d.Device})
		return was != nil
	case *events.DeviceEnrolled:
		was, ended := m.device(x, events.Source{Site: x.event.Source.Site, Device: d.Device})
		used := false
		m.earlier(x, func(_ string, data events.Data, _ uint64) bool {
			e, ok := data.(*events.DeviceEnrolled)
			used = used || ok && d.Key != "" && e.Key == d.Key
			return used
		})
		return !used && !m.retired(x, d.Person) && (was == nil || !ended && was.Person == d.Person && was.Sort == d.Sort)
	}
	return true
}

// judge settles what becomes of a message, the last of all.
func (m *naive) judge(x *said) {
	e := x.event
	right := x.subject.Site == e.Source.Site && x.subject.Wall == e.Wall && (x.subject.Probe == "" || x.subject.Probe == e.Source.Device)
	may := false
	person, desk := events.DeskPerson(e.Source.Device)
	switch {
	case e.Source.Device == "hub":
		x.proven = x.signedBy == "hub"
		may = true
	case desk:
		x.proven = x.signedBy == "hub" && x.subject.Probe == ""
		may = e.By == person && e.Kind.MayRecord(m.roles(x, person, e.Source.Site)...)
	default:
		d, ended := m.device(x, e.Source)
		if d == nil || ended {
			break
		}
		if x.subject.Probe != "" {
			x.proven = d.Sort == "probe"
		} else {
			x.proven = d.Key != "" && x.signedBy == d.Key
		}
		if d.Sort == "phone" {
			may = e.By == d.Person && e.Kind.MayRecord(m.roles(x, d.Person, e.Source.Site)...)
		} else {
			may = e.By == "" && e.Kind.MayRecord(events.Probe) && (d.Wall == "" || d.Wall == e.Wall)
		}
	}
	x.word = x.proven && right && e.Source.Device == "hub"
	x.good = x.proven && right && may
	if x.word {
		x.good = m.firstVerdict(x)
	}
	m.settle(x, right)
}

// firstVerdict judges the hub's word: as it was judged when it was said first.
func (m *naive) firstVerdict(x *said) bool {
	for _, y := range m.all {
		if y != x && y.word && y.event.Key() == x.event.Key() {
			return y.good
		}
	}
	return m.wordCounts(x)
}

func (m *naive) settle(x *said, right bool) {
	var first, firstGood *said
	taken := false
	for _, y := range m.all {
		if y == x {
			break
		}
		if y.event.Source != x.event.Source {
			continue
		}
		if y.event.ID == x.event.ID {
			if y.good && firstGood == nil {
				firstGood = y
			}
			if !y.good && first == nil {
				first = y
			}
		}
		taken = taken || y.held && y.event.Sequence == x.event.Sequence
	}
	same := func(y *said) bool { return y != nil && y.subject == x.subject && bytes.Equal(y.body, x.body) }
	numbered := x.event.Sequence != 0 && x.proven && right
	switch {
	case same(firstGood), !x.good && same(first):
		x.outcome = "repeated"
		return
	case !x.good, numbered && taken:
		x.outcome = "refused"
	default:
		x.outcome = "counts"
	}
	x.held = numbered
}

// drawn is a record that is drawn message by message, and judged meanwhile.
type drawn struct {
	*record
	rt      *rapid.T
	model   naive
	keys    map[string]string // public to name
	devices map[string]*device
	current map[events.Source]string // public key that was given last
	owner   map[events.Source]string
}

var (
	drawnSites   = []string{"alder", "birch"}
	drawnPersons = []string{"p-a", "p-b"}
	drawnDevices = []string{"phone-1", "phone-2", "top-1", "phone-1"} // one of them more often
	drawnKeys    = []string{"k1", "k2", "k3", "k4", "k5", "k6", "k7", "k8"}
)

func pick[T any](d *drawn, what string, from ...T) T { return rapid.SampledFrom(from).Draw(d.rt, what) }

// say puts a message on the tape and has the model judge it.
func (d *drawn) say(subject string, e events.Event, body []byte, signer string) {
	x := &said{event: e, body: body, signedBy: signer}
	x.signature = d.signature(signer, body)
	d.put1(subject, x)
}

func (d *drawn) put1(subject string, x *said) {
	sub, err := events.ParseSubject(subject)
	require.NoError(d.rt, err)
	x.subject = sub
	x.seq = d.put(subject, x.body, x.signature)
	d.model.all = append(d.model.all, x)
	d.model.judge(x)
}

// signature signs with a key that is named by its public half, or with the hub's.
func (d *drawn) signature(signer string, body []byte) string {
	switch signer {
	case "":
		return ""
	case "hub":
		return stream.Sign(hubKey, body)
	}
	key, _ := keyNamed(d.rt, d.keys[signer])
	return stream.Sign(key, body)
}

func (d *drawn) step() {
	switch pick(d, "what", "entry", "entry", "entry", "entry", "desk", "settle", "settle", "replay", "replay", "appoint", "retire", "enrol", "enrol", "revoke") {
	case "entry":
		d.entry()
	case "desk":
		d.desk()
	case "settle":
		d.settle()
	case "replay":
		d.replay()
	case "appoint":
		d.hub("person.appointed", &events.PersonAppointed{
			Person: pick(d, "person", drawnPersons...), Roles: pick(d, "roles", []events.Role{events.Crew}, []events.Role{events.Engineer}, []events.Role{events.Crew, events.Engineer}),
		}, "alder", "birch", "_")
	case "retire":
		d.hub("person.retired", &events.PersonRetired{Person: pick(d, "person", drawnPersons...), Reason: "left"}, "alder", "birch", "_")
	case "enrol":
		d.enrol()
	default:
		d.hub("device.revoked", &events.DeviceRevoked{Device: pick(d, "device", drawnDevices...), Reason: "lost"}, drawnSites...)
	}
}

func (d *drawn) hub(kind events.Kind, data events.Data, sites ...string) {
	e := d.word(pick(d, "site", sites...), kind, data)
	signer := pick(d, "signer", "hub", "hub", "hub", "hub", "")
	d.say(e.Subject(), e, encode(d.rt, e), signer)
}

func (d *drawn) enrol() {
	data := &events.DeviceEnrolled{Device: pick(d, "device", drawnDevices...), Sort: "phone"}
	if data.Device == "top-1" {
		data.Sort = pick(d, "sort", "station", "probe")
	}
	if data.Sort == "phone" {
		data.Person = pick(d, "person", drawnPersons...)
	}
	if data.Sort == "probe" {
		data.Wall = pick(d, "bound", "", "w1")
	} else {
		data.Key = publicNamed(d.rt, pick(d, "key", drawnKeys...))
	}
	site := pick(d, "site", drawnSites...)
	d.hubSays(site, "device.enrolled", data)
	if data.Key != "" && d.model.all[len(d.model.all)-1].outcome == "counts" {
		src := events.Source{Site: site, Device: data.Device}
		d.current[src], d.owner[src] = data.Key, data.Person
	}
}

// begin gives most draws somebody who may say something.
func (d *drawn) begin() {
	all := []events.Role{events.Crew, events.Engineer}
	for i, site := range drawnSites {
		d.hubSays(site, "person.appointed", &events.PersonAppointed{Person: drawnPersons[i], Roles: all})
		data := &events.DeviceEnrolled{Device: "phone-1", Sort: "phone", Person: drawnPersons[i], Key: publicNamed(d.rt, drawnKeys[i])}
		d.hubSays(site, "device.enrolled", data)
		src := events.Source{Site: site, Device: data.Device}
		d.current[src], d.owner[src] = data.Key, data.Person
	}
}

func (d *drawn) hubSays(site string, kind events.Kind, data events.Data) {
	e := d.word(site, kind, data)
	d.say(e.Subject(), e, encode(d.rt, e), "hub")
}

// desk makes an entry at a page of the hub.
func (d *drawn) desk() {
	person := pick(d, "person", drawnPersons...)
	e := d.record.desk(pick(d, "site", drawnSites...), person, "w1", "hold.released", &events.HoldReleased{Hold: "h", Reason: "r"})
	e.By = pick(d, "by", person, person, "p-a")
	d.say(e.Subject(), e, encode(d.rt, e), pick(d, "signer", "hub", "hub", ""))
}

// settle answers an earlier message at a page of the hub, on the wall that it
// names or on another one.
func (d *drawn) settle() {
	x := rapid.SampledFrom(d.model.all).Draw(d.rt, "settled")
	e := d.record.desk(x.subject.Site, pick(d, "person", drawnPersons...), pick(d, "wall", "w1", x.event.Wall), "doubt.settled", &events.DoubtSettled{Message: x.seq, Reason: "seen"})
	if x.subject.Site != "_" {
		d.say(e.Subject(), e, encode(d.rt, e), "hub")
	}
}

// entry makes an entry of a device, mostly as it should be.
func (d *drawn) entry() {
	src := events.Source{Site: pick(d, "site", drawnSites...), Device: pick(d, "device", append(drawnDevices, "phone-1", "top-1")...)}
	dev := d.devices[src.String()]
	if dev == nil {
		dev = newDevice(src.Site, src.Device)
		d.devices[src.String()] = dev
	}
	wall := pick(d, "wall", "w1", "w2")
	var e events.Event
	switch pick(d, "kind", "lift", "lift", "release", "read") {
	case "lift":
		e = dev.lift(wall, 0, 6, 1)
	case "release":
		e = dev.event(wall, "hold.released", "p-a", &events.HoldReleased{Hold: "h", Reason: "r"})
	default:
		e = dev.reading(wall, 10)
	}
	e.Sequence = uint64(rapid.IntRange(1, 8).Draw(d.rt, "number"))
	signer := pick(d, "signer", d.current[src], d.current[src], d.current[src], publicNamed(d.rt, pick(d, "key", drawnKeys...)), "")
	subject := e.Subject()
	e.By = pick(d, "by", d.owner[src], d.owner[src], d.owner[src], "p-a")
	if e.By == "" && e.Kind == "hold.released" {
		e.By = "p-b"
	}
	if src.Device == "top-1" {
		if e.Kind != "hold.released" {
			e.By = pick(d, "nobody", "", "", "p-a")
		}
		if rapid.Bool().Draw(d.rt, "probe") {
			subject = events.ProbeSubject(e)
		}
	}
	d.say(subject, e, encode(d.rt, e), signer)
}

// replay sends an earlier message again: as it was, or with another signature, or
// under another subject.
func (d *drawn) replay() {
	x := *rapid.SampledFrom(d.model.all).Draw(d.rt, "replayed")
	again := &said{event: x.event, body: x.body, signature: x.signature, signedBy: x.signedBy}
	subject := x.event.Subject()
	if x.subject.Probe != "" {
		subject = events.ProbeSubject(x.event)
	}
	switch pick(d, "how", "as it was", "unsigned", "signed anew", "elsewhere", "other site") {
	case "unsigned":
		again.signature, again.signedBy = "", ""
	case "signed anew":
		again.signedBy = d.current[x.event.Source]
		again.signature = d.signature(again.signedBy, x.body)
	case "elsewhere":
		if x.event.Wall != "" {
			subject = "pour." + x.event.Source.Site + ".w1." + string(x.event.Kind)
		}
	case "other site":
		subject = "pour.birch.w2." + string(x.event.Kind)
		if x.event.Wall == "" {
			subject = "pour.birch._." + string(x.event.Kind)
		}
	}
	d.put1(subject, again)
}

func drawRecord(rt *rapid.T) *drawn {
	d := &drawn{record: newRecord(rt), rt: rt, keys: map[string]string{}, devices: map[string]*device{}, current: map[events.Source]string{}, owner: map[events.Source]string{}}
	for _, name := range drawnKeys {
		d.keys[publicNamed(rt, name)] = name
	}
	d.begin()
	for range rapid.IntRange(1, 60).Draw(rt, "messages") {
		d.step()
	}
	return d
}

// TestJudgingAgreesWithANaiveModel: whoever enrols, rotates, revokes and retires
// whom in what order, each message's verdict is the one that a walk over all
// messages before it gives; and no cut into batches, no restart and no rebuild
// changes a byte of the view.
func TestJudgingAgreesWithANaiveModel(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		d := drawRecord(rt)
		var want [32]byte
		for i := range 2 {
			dir, err := os.MkdirTemp(t.TempDir(), "")
			require.NoError(rt, err)
			cfg := signedConfig(t, dir, d.tape)
			cfg.Log = nil
			cfg.OpenWith(unsynced)
			got := foldSplit(rt, cfg, d.tape)
			if i == 0 {
				want = got
			}
			require.Equal(rt, want, got)
			d.cuts = nil
			cfg.BatchMax = rapid.IntRange(1, 9).Draw(rt, "batch")
			for _, from := range []projector.From{projector.Keep, projector.Stream} {
				r, err := projector.Check(t.Context(), cfg, from, nil)
				require.NoError(rt, err)
				require.True(rt, r.Equal, "%s: %v %v", from, r.Differences, r.RecordsDiffer)
			}
			p, err := projector.Open(cfg)
			require.NoError(rt, err)
			require.NoError(rt, p.Read(func(v projector.View) error { d.compare(v); return nil }))
			require.NoError(rt, p.Close())
		}
	})
}

// compare sets the view beside the model.
func (d *drawn) compare(v projector.View) {
	rows, runs := map[uint64]string{}, map[uint64]wall.Run{}
	for _, row := range v.Refused(1000) {
		rows[row.Seq] = row.Field + " " + row.Reason
		runs[row.Seq] = wall.Run{Source: row.Source, Field: row.Field}
	}
	d.compareRuns(v, runs)
	var want verdicts
	for _, x := range d.model.all {
		why, refused := rows[x.seq]
		require.Equal(d.rt, x.outcome == "refused", refused, "message %d, %s on %v: %s", x.seq, x.body, x.subject, why)
		switch x.outcome {
		case "counts":
			want.folded++
		case "repeated":
			want.duplicates++
		default:
			want.refused++
			d.compareDoubt(v, x)
		}
	}
	require.Equal(d.rt, want, verdictsOf(v))
	end := &said{seq: d.last + 1}
	for _, person := range drawnPersons {
		for _, site := range []string{"alder", "birch", "_"} {
			roles := d.model.roles(end, person, site)
			slices.Sort(roles)
			got := v.Register().RolesOf(person, site)
			slices.Sort(got)
			require.Equal(d.rt, fmt.Sprint(slices.Compact(roles)), fmt.Sprint(got), "%s on %s", person, site)
		}
	}
	for _, site := range drawnSites {
		for _, name := range drawnDevices {
			d.compareDevice(v, end, events.Source{Site: site, Device: name})
		}
	}
}

// compareRuns: what waits for an answer on a wall is what was refused there, and
// neither accepted later as it was, nor answered since by one of its run.
func (d *drawn) compareRuns(v projector.View, runs map[uint64]wall.Run) {
	for _, ref := range []projector.Ref{{Site: "alder", Wall: "w1"}, {Site: "alder", Wall: "w2"}, {Site: "birch", Wall: "w1"}, {Site: "birch", Wall: "w2"}} {
		st := v.Wall(ref)
		if st == nil {
			continue
		}
		here := map[uint64]bool{}
		for _, r := range st.Refused() {
			here[r.Seq] = true
		}
		want, got := map[wall.Run]int{}, map[wall.Run]int{}
		for _, x := range d.model.all {
			if here[x.seq] && !d.model.accepted(x) && !d.model.answered(x, ref, here, runs) {
				want[runs[x.seq]]++
			}
		}
		for _, doubt := range st.Doubts() {
			if doubt.Key.ID == "" {
				got[doubt.Run] = doubt.Count
			}
		}
		require.Equal(d.rt, want, got, "%v", ref)
	}
}

// accepted reports whether a message that was refused, the first with its key,
// counted later as it was.
func (m *naive) accepted(x *said) bool {
	for _, y := range m.all {
		if y.event.Key() != x.event.Key() {
			continue
		}
		if y.seq < x.seq && !y.good || y.seq > x.seq && y.outcome == "counts" && (y.subject != x.subject || !bytes.Equal(y.body, x.body)) {
			return false
		}
		if y.seq > x.seq && y.outcome == "counts" {
			return true
		}
	}
	return false
}

func (m *naive) answered(x *said, at projector.Ref, here map[uint64]bool, runs map[uint64]wall.Run) bool {
	return slices.ContainsFunc(m.all, func(y *said) bool {
		d, ok := y.event.Data.(*events.DoubtSettled)
		return ok && y.outcome == "counts" && y.event.Source.Site == at.Site && y.event.Wall == at.Wall &&
			x.seq < y.seq && d.Message < y.seq && here[d.Message] && runs[d.Message] == runs[x.seq]
	})
}

// compareDoubt: each refused message shuts the walls that it names.
func (d *drawn) compareDoubt(v projector.View, x *said) {
	walls := []string{x.subject.Wall}
	if x.event.Source.Site == x.subject.Site {
		walls = append(walls, x.event.Wall)
	}
	for _, wall := range walls {
		if wall == "" {
			continue
		}
		found := false
		for _, r := range v.Wall(projector.Ref{Site: x.subject.Site, Wall: wall}).Refused() {
			found = found || r.Seq == x.seq
		}
		require.True(d.rt, found, "message %d is no doubt on %s/%s", x.seq, x.subject.Site, wall)
	}
}

func (d *drawn) compareDevice(v projector.View, end *said, src events.Source) {
	enrolled, ended := d.model.device(end, src)
	got, known := v.Register().Device(src)
	require.Equal(d.rt, enrolled != nil, known, "%s", src)
	if !known {
		return
	}
	require.Equal(d.rt, ended, got.Revoked, "%s", src)
	key, holds := got.Current()
	require.Equal(d.rt, enrolled.Key != "" && !ended, holds, "%s", src)
	if holds {
		require.Equal(d.rt, enrolled.Key, key.Public, "%s", src)
	}
}
