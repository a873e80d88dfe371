package projector_test

import (
	"crypto/ed25519"
	"encoding/binary"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
)

// TestOrderOfTheStreamDecides: what came before a role or a key ended counts for
// ever, what comes after does not, whatever times the events bear.
func TestOrderOfTheStreamDecides(t *testing.T) {
	for name, end := range map[string]struct {
		field, words string
		do           func(c *crew) uint64
	}{
		"role lost": {"role", "crew, foreman", func(c *crew) uint64 {
			return c.appoint("alder", "p-anna", events.Dispatcher)
		}},
		"retired on the site": {"role", "p-anna has none there now", func(c *crew) uint64 { return c.retire("alder", "p-anna") }},
		"retired":             {"source", "its person retired: left", func(c *crew) uint64 { return c.retire("_", "p-anna") }},
		"revoked":             {"source", "a device that is not revoked: it ended with message 13: lost", func(c *crew) uint64 { return c.revoke(c.anna) }},
	} {
		t.Run(name, func(t *testing.T) {
			c := newCrew(t)
			before := c.send(c.anna, c.anna.lift("w1", 1))
			late := c.anna.lift("w1", 2) // entered before the end, as the phone's clock says, and sent after it
			require.EqualValues(t, 13, end.do(c))
			after := c.send(c.anna, late)
			c.anna.clock = monday.Add(-48 * time.Hour)
			shifted := c.send(c.anna, c.anna.lift("w1", 3))
			p := foldRecord(t, c.record)
			requireCounts(t, p, before)
			requireRefused(t, p, after, end.field, end.words)
			requireRefused(t, p, shifted, end.field, end.words)
			require.Equal(t, []uint64{after, shifted}, doubtsOn(t, p, "alder", "w1"))
		})
	}
}

func TestRoleThatIsGivenCountsFromThenOn(t *testing.T) {
	c := newCrew(t)
	release := func() events.Event {
		return c.anna.event("w1", "hold.released", "p-anna", &events.HoldReleased{Hold: "h", Reason: "looked"})
	}
	c.anna.clock = monday.Add(time.Hour)
	before := c.send(c.anna, release()) // its time is after the appointment's
	c.appoint("alder", "p-anna", events.Engineer)
	c.anna.clock = monday.Add(-time.Hour)
	after := c.send(c.anna, release())
	p := foldRecord(t, c.record)
	requireRefused(t, p, before, "role", "engineer")
	requireCounts(t, p, after)
}

// TestRotation: the old key ends with the message that gives the new one. An
// event that was on its way then is taken from the phone again.
func TestRotation(t *testing.T) {
	c := newCrew(t)
	before := c.send(c.anna, c.anna.lift("w1", 1))
	old := c.anna.key
	c.rekey(c.anna, "a new key")
	onItsWay := c.anna.lift("w1", 2)
	late := c.addSigned(t, old, onItsWay)
	again := c.send(c.anna, onItsWay)
	repeated := c.addSigned(t, old, onItsWay) // now it says nothing new
	p := foldRecord(t, c.record)
	requireCounts(t, p, before, again, repeated)
	requireRefused(t, p, late, "signature", "; the key "+stream.KeyID(old.Public().(ed25519.PublicKey))+" ended with message 13")
	require.Equal(t, []uint64{late}, doubtsOn(t, p, "alder", "w1"))
	view(t, p, func(v projector.View) {
		require.EqualValues(t, 1, v.Hub().Duplicates)
		require.EqualValues(t, 2, v.Devices("alder").UpTo("phone-1"))
		d, ok := v.Register().Device(c.anna.source)
		require.True(t, ok)
		require.Len(t, d.Keys, 2)
		require.Equal(t, []uint64{4, 13, 13, 0}, []uint64{d.Keys[0].From, d.Keys[0].To, d.Keys[1].From, d.Keys[1].To})
	})
}

// TestRepeatOfWhatCountsChangesNothing: not even from a device that was revoked
// since, or without its signature; yet not on another subject.
func TestRepeatOfWhatCountsChangesNothing(t *testing.T) {
	c := newCrew(t)
	e := c.anna.lift("w1", 1)
	c.send(c.anna, e)
	c.revoke(c.anna)
	repeated := []uint64{c.send(c.anna, e), c.add(t, e)}
	elsewhere := c.put("pour.alder.w2.lift.placed", encode(t, e), sign(c.anna, encode(t, e)))
	p := foldRecord(t, c.record)
	requireCounts(t, p, repeated...)
	requireRefused(t, p, elsewhere, "subject", "pour.alder.w1.lift.placed")
	require.Equal(t, []uint64{elsewhere}, doubtsOn(t, p, "alder", "w1"))
	require.Equal(t, []uint64{elsewhere}, doubtsOn(t, p, "alder", "w2"))
	view(t, p, func(v projector.View) { require.EqualValues(t, 2, v.Hub().Duplicates) })
}

// TestHubsWordSentAgainEnrolsNobody: neither one that counted then, nor one that
// did not.
func TestHubsWordSentAgainEnrolsNobody(t *testing.T) {
	c := newCrew(t)
	_, public := keyNamed(t, "alder phone-1")
	first := c.word("alder", "device.enrolled", &events.DeviceEnrolled{Device: "phone-9", Person: "p-anna", Sort: "phone", Key: public})
	refused := c.addSigned(t, hubKey, first) // the key is phone-1's
	second := c.word("alder", "device.enrolled", &events.DeviceEnrolled{Device: "phone-8", Person: "p-dora", Sort: "phone", Key: publicNamed(t, "dora")})
	c.addSigned(t, hubKey, c.word("alder", "person.appointed", &events.PersonAppointed{Person: "p-dora", Roles: []events.Role{events.Crew}}))
	c.retire("_", "p-dora")
	gone := c.addSigned(t, hubKey, second)
	c.appoint("alder", "p-dora", events.Crew)
	c.addSigned(t, hubKey, first)
	c.addSigned(t, hubKey, second)
	unsigned := c.add(t, c.word("alder", "person.appointed", &events.PersonAppointed{Person: "p-anna", Roles: []events.Role{events.Engineer}}))
	byOther := c.send(c.ben, c.ben.event("", "person.appointed", "p-ben", &events.PersonAppointed{Person: "p-ben", Roles: []events.Role{events.Engineer}}))
	p := foldRecord(t, c.record)
	requireRefused(t, p, refused, "data.key", "is or was of /site/alder/device/phone-1")
	requireRefused(t, p, gone, "data.person", "not retired")
	requireRefused(t, p, unsigned, "signature", "the hub's own")
	requireRefused(t, p, byOther, "source", "it alone says person.appointed")
	r := p.Register()
	for _, device := range []string{"phone-8", "phone-9"} {
		_, enrolled := r.Device(events.Source{Site: "alder", Device: device})
		require.False(t, enrolled, device)
	}
	require.Equal(t, []events.Role{events.Crew}, r.RolesOf("p-anna", "alder"))
	view(t, p, func(v projector.View) {
		require.EqualValues(t, 2, v.Hub().Duplicates)
		var doubts []uint64
		for _, d := range v.Site("alder").Doubts() {
			doubts = append(doubts, d.Message)
		}
		require.Equal(t, []uint64{unsigned, byOther}, doubts, "the hub's own word that does not count is no doubt about a wall")
	})
}

// TestOnePersonIsNoSecondPerson: a person who writes off a gap with the phone
// and countersigns at a desk is one person.
func TestOnePersonIsNoSecondPerson(t *testing.T) {
	c := newCrew(t)
	c.appoint("alder", "p-dora", events.Officer)
	second := c.enrol("alder", "phone-4", "p-ben")
	c.send(c.anna, c.anna.lift("w1", 1))
	c.anna.number++ // lost
	c.send(c.anna, c.anna.lift("w1", 2))
	off := c.ben.event("", "gap.written-off", "p-ben", &events.GapWrittenOff{Device: "phone-1", From: 2, To: 2, Reason: "lost"})
	c.send(c.ben, off)
	sign := &events.RecordCountersigned{Target: events.Target{Source: off.Source.String(), ID: off.ID}, Role: "officer"}
	upTo := func(seq uint64) uint64 {
		p := foldRecord(t, c.record)
		requireCounts(t, p, seq)
		receipt, _, err := p.Receipt(c.anna.source)
		require.NoError(t, err)
		return receipt.UpTo
	}
	require.EqualValues(t, 1, upTo(c.send(second, second.event("", "record.countersigned", "p-ben", sign))))
	require.EqualValues(t, 1, upTo(c.addSigned(t, hubKey, c.desk("alder", "p-ben", "", "record.countersigned", sign))))
	require.EqualValues(t, 3, upTo(c.addSigned(t, hubKey, c.desk("alder", "p-dora", "", "record.countersigned", sign))))
}

// TestRegisterIsTold: with the commit, and in the change that follows.
func TestRegisterIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrew(t)
		p := open(t, signedConfig(t, t.TempDir(), c.tape))
		require.Empty(t, p.Register().People())
		changes, cancel := p.Subscribe()
		defer cancel()
		stop := run(t, p)
		synctest.Wait()
		require.True(t, (<-changes).People)
		require.True(t, p.Register().MayRecord(c.anna.source, "lift.placed"))
		c.send(c.anna, c.anna.lift("w1", 1))
		synctest.Wait()
		require.Equal(t, projector.Change{Through: 12, Walls: []projector.Ref{{Site: "alder", Wall: "w1"}}, Sites: []string{}}, <-changes)
		seq := c.revoke(c.anna)
		synctest.Wait()
		require.Equal(t, projector.Change{Through: seq, Walls: []projector.Ref{}, Sites: []string{"alder"}, People: true}, <-changes)
		require.False(t, p.Register().MayRecord(c.anna.source, "lift.placed"))
		require.NoError(t, stop())
	})
}

// TestReadAgainIsJudgedAgainAlike: a reading that is broken off and begun anew
// stands where the last message was handed on.
func TestReadAgainIsJudgedAgainAlike(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrew(t)
		p := open(t, signedConfig(t, t.TempDir(), c.tape))
		stop := run(t, p)
		synctest.Wait()
		before := c.send(c.anna, c.anna.lift("w1", 1))
		synctest.Wait()
		rest := c.shorten(before - 1)
		time.Sleep(5 * time.Second)
		require.True(t, hub(t, p).Short)
		c.restore(rest)
		c.revoke(c.anna)
		after := c.send(c.anna, c.anna.lift("w1", 2))
		time.Sleep(5 * time.Second)
		requireCounts(t, p, before)
		requireRefused(t, p, after, "source", "not revoked")
		require.NoError(t, stop())
	})
}

// oldForm makes a folder as it was before there were persons and devices.
func oldForm(t *testing.T, dir string) {
	t.Helper()
	db, err := bbolt.Open(filepath.Join(dir, "keep.db"), 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bbolt.Tx) error {
		for _, name := range []string{"person", "invitation", "passkey", "session", "secret"} {
			if tx.Bucket([]byte(name)) != nil {
				require.NoError(t, tx.DeleteBucket([]byte(name)))
			}
		}
		meta := tx.Bucket([]byte("meta"))
		require.NoError(t, meta.Delete([]byte("unsigned")))
		require.NoError(t, meta.Delete([]byte("signed-from")))
		require.NoError(t, meta.Delete([]byte("judged-by")))
		return meta.Put([]byte("format"), []byte("1"))
	}))
	require.NoError(t, db.Close())
}

func TestFolderOfTheOldForm(t *testing.T) {
	r := newRecord(t)
	d := newDevice("alder", "phone-1")
	cfg := newConfig(t, t.TempDir(), r.tape)
	fold := func() *projector.Projector {
		p, err := projector.Open(cfg)
		require.NoError(t, err)
		stop := run(t, p)
		reach(t, p, r.last)
		require.NoError(t, stop())
		return p
	}
	old := []uint64{r.add(t, d.lift("w1", 0, 6, 1)), r.add(t, d.lift("w1", 0, 6, 2))}
	require.NoError(t, fold().Close())
	oldForm(t, cfg.Dir)

	cfg.Unsigned = false
	unsigned := r.add(t, d.lift("w1", 0, 6, 2.5))
	r.appoint("alder", "p-anna", events.Crew)
	anna := r.enrol("alder", "phone-1", "p-anna")
	anna.device = d
	d.number-- // the one that was not signed is to come again
	signed := r.send(anna, anna.lift("w1", 2.5))
	p := fold()
	requireCounts(t, p, append(old, signed)...)
	requireRefused(t, p, unsigned, "source", "a device that is enrolled")
	require.False(t, hub(t, p).Unsigned)
	view(t, p, func(v projector.View) { require.EqualValues(t, 3, v.Devices("alder").UpTo("phone-1")) })
	want := digest(t, p)
	require.NoError(t, p.Close())

	for _, from := range []projector.From{projector.Keep, projector.Stream} {
		report, err := projector.Rebuild(t.Context(), cfg, from, nil)
		require.NoError(t, err)
		require.True(t, report.Equal, "%s: %v", from, report.Differences)
		require.Equal(t, want, report.After)
	}
	cfg.Unsigned = true
	_, err := projector.Open(cfg)
	require.ErrorContains(t, err, "signed")
}

// TestUnsignedIsFixed: a store says for ever whether its events are signed, and
// one of the old form may go on without.
func TestUnsignedIsFixed(t *testing.T) {
	s := newTape()
	d := newDevice("alder", "phone-1")
	s.add(t, d.lift("w1", 0, 6, 1))
	cfg := newConfig(t, t.TempDir(), s)
	require.NoError(t, open(t, cfg).Close())
	oldForm(t, cfg.Dir)
	require.NoError(t, open(t, cfg).Close())
	cfg.Unsigned = false
	p := open(t, cfg)
	stop := run(t, p)
	reach(t, p, 1)
	require.NoError(t, stop())
	requireCounts(t, p, 1)
	require.True(t, hub(t, p).Unsigned)
	require.NoError(t, p.Close())

	db, err := bbolt.Open(filepath.Join(cfg.Dir, "keep.db"), 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bbolt.Tx) error {
		require.EqualValues(t, 1, binary.BigEndian.Uint64(tx.Bucket([]byte("meta")).Get([]byte("signed-from"))))
		return tx.Bucket([]byte("meta")).Put([]byte("format"), []byte("3"))
	}))
	require.NoError(t, db.Close())
	_, err = projector.Open(cfg)
	require.ErrorContains(t, err, `format "3"`)
}

// TestJudgedOtherwise: a store whose messages are judged otherwise than when they
// were kept, here since the hub has another key, opens and says what it would
// have said from the start.
func TestJudgedOtherwise(t *testing.T) {
	c := newCrew(t)
	c.send(c.anna, c.anna.lift("w1", 1))
	c.addSigned(t, hubKey, raised(t, "hub", "w1"))
	c.addSigned(t, hubKey, raised(t, "hub", "w1"))
	cfg := signedConfig(t, t.TempDir(), c.tape)
	cfg.BatchMax = 2
	fold := func(key ed25519.PublicKey) (d [32]byte) {
		cfg.Key = key
		p, err := projector.Open(cfg)
		require.NoError(t, err)
		stop := run(t, p)
		reach(t, p, c.last)
		require.NoError(t, stop())
		d = digest(t, p)
		require.NoError(t, p.Close())
		report, err := projector.Check(t.Context(), cfg, projector.Stream, nil)
		require.NoError(t, err)
		require.True(t, report.Equal, "%v", report.Differences)
		return d
	}
	other, _ := keyNamed(t, "another hub")
	first := fold(hubPublic)
	second := fold(other.Public().(ed25519.PublicKey))
	require.NotEqual(t, first, second)
	require.Equal(t, first, fold(hubPublic))
	anew := cfg
	anew.Dir = t.TempDir()
	cfg = anew
	require.Equal(t, second, fold(other.Public().(ed25519.PublicKey)))
}
