package projector_test

import (
	"crypto/ed25519"
	"crypto/sha256"
	"testing"
	"time"

	"github.com/nats-io/nkeys"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
)

// record is a tape whose messages are signed, and the hub that says who is who.
type record struct {
	*tape
	t    require.TestingT
	hubs map[string]*device
}

func newRecord(t require.TestingT) *record {
	return &record{newTape(), t, map[string]*device{}}
}

// says puts the hub's word on the tape.
func (r *record) says(site string, kind events.Kind, data events.Data) uint64 {
	return r.addSigned(r.t, hubKey, r.word(site, kind, data))
}

func (r *record) word(site string, kind events.Kind, data events.Data) events.Event {
	hub := r.hubs[site]
	if hub == nil {
		hub = newDevice(site, "hub")
		hub.plain = true
		r.hubs[site] = hub
	}
	return hub.event("", kind, "", data)
}

func (r *record) appoint(site, person string, roles ...events.Role) uint64 {
	return r.says(site, "person.appointed", &events.PersonAppointed{Person: person, Roles: roles})
}

func (r *record) retire(site, person string) uint64 {
	return r.says(site, "person.retired", &events.PersonRetired{Person: person, Reason: "left"})
}

func (r *record) revoke(g *signer) uint64 {
	return r.says(g.source.Site, "device.revoked", &events.DeviceRevoked{Device: g.source.Device, Reason: "lost"})
}

// signer is a device with a key.
type signer struct {
	*device
	person string
	sort   string
	key    ed25519.PrivateKey
}

// keyNamed is a user nkey, the same in every run.
func keyNamed(t require.TestingT, name string) (key ed25519.PrivateKey, public string) {
	seed := sha256.Sum256([]byte(name))
	pair, err := nkeys.FromRawSeed(nkeys.PrefixByteUser, seed[:])
	require.NoError(t, err)
	public, err = pair.PublicKey()
	require.NoError(t, err)
	return ed25519.NewKeyFromSeed(seed[:]), public
}

func publicNamed(t require.TestingT, name string) string {
	_, public := keyNamed(t, name)
	return public
}

// enrol admits a phone of a person, or with no person a station.
func (r *record) enrol(site, name, person string) *signer {
	g := &signer{device: newDevice(site, name), person: person, sort: events.SortPhone}
	if person == "" {
		g.sort = events.SortStation
	}
	r.rekey(g, site+" "+name)
	return g
}

// rekey gives a device a key, and returns the hub's message.
func (r *record) rekey(g *signer, name string) uint64 {
	key, public := keyNamed(r.t, name)
	g.key = key
	return r.says(g.source.Site, "device.enrolled", &events.DeviceEnrolled{Device: g.source.Device, Person: g.person, Sort: g.sort, Key: public})
}

// probe admits a device that cannot sign.
func (r *record) probe(site, name, wall string, kinds ...events.Kind) *device {
	r.says(site, "device.enrolled", &events.DeviceEnrolled{Device: name, Sort: events.SortProbe, Wall: wall, Kinds: kinds})
	d := newDevice(site, name)
	d.plain = true
	return d
}

// by names the signer's person.
func (g *signer) by(e events.Event) events.Event {
	e.By = g.person
	return e
}

func (g *signer) lift(wall string, top float64) events.Event {
	return g.by(g.device.lift(wall, 0, 6, top))
}

// send signs an event with a device's key and puts it on the tape.
func (r *record) send(g *signer, e events.Event) uint64 { return r.addSigned(r.t, g.key, e) }

// heard puts what a probe says on its own subject.
func (r *record) heard(e events.Event) uint64 {
	body, err := e.Encode()
	require.NoError(r.t, err)
	return r.put(events.ProbeSubject(e), body, "")
}

// desk makes an entry of a person at a page of the hub.
func (r *record) desk(site, person, wall string, kind events.Kind, data events.Data) events.Event {
	d := newDevice(site, events.DeskOf(person))
	d.plain = true
	d.clock = monday.Add(time.Duration(r.last) * time.Hour)
	return d.event(wall, kind, person, data)
}

// foldRecord folds all of a record, and proves that a rebuild gives the same
// bytes, from the kept messages and from the stream.
func foldRecord(t *testing.T, r *record) *projector.Projector {
	t.Helper()
	cfg := signedConfig(t, t.TempDir(), r.tape)
	cfg.OpenWith(unsynced)
	p, err := projector.Open(cfg)
	require.NoError(t, err)
	stop := run(t, p)
	reach(t, p, r.last)
	require.NoError(t, stop())
	want := digest(t, p)
	require.NoError(t, p.Close())
	for _, from := range []projector.From{projector.Keep, projector.Stream} {
		report, err := projector.Check(t.Context(), cfg, from, nil)
		require.NoError(t, err)
		require.True(t, report.Equal, "%s: %v %v", from, report.Differences, report.RecordsDiffer)
	}
	p = open(t, cfg)
	require.Equal(t, want, digest(t, p))
	return p
}

// refusedRow returns what is listed of a message, or nothing.
func refusedRow(t *testing.T, p *projector.Projector, seq uint64) (row projector.RefusedRow, refused bool) {
	t.Helper()
	view(t, p, func(v projector.View) {
		for _, x := range v.Refused(1000) {
			if x.Seq == seq {
				row, refused = x, true
			}
		}
	})
	return row, refused
}

func requireRefused(t *testing.T, p *projector.Projector, seq uint64, field, words string) {
	t.Helper()
	row, refused := refusedRow(t, p, seq)
	require.True(t, refused, "message %d counts", seq)
	require.Equal(t, field, row.Field, row.Reason)
	require.Contains(t, row.Reason, words)
}

func requireCounts(t *testing.T, p *projector.Projector, seqs ...uint64) {
	t.Helper()
	for _, seq := range seqs {
		row, refused := refusedRow(t, p, seq)
		require.False(t, refused, "message %d: %s %s", seq, row.Field, row.Reason)
	}
}

// doubtsOn lists the refused messages that a wall stands in doubt for.
func doubtsOn(t *testing.T, p *projector.Projector, site, wall string) (seqs []uint64) {
	t.Helper()
	view(t, p, func(v projector.View) {
		st := v.Wall(projector.Ref{Site: site, Wall: wall})
		if st == nil {
			return
		}
		for _, r := range st.Refused() {
			seqs = append(seqs, r.Seq)
		}
	})
	return seqs
}

func sign(g *signer, body []byte) string { return stream.Sign(g.key, body) }
