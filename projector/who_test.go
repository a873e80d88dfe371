package projector_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
)

// crew is the record that most of these tests begin with.
type crew struct {
	*record
	anna, ben  *signer // crew and officer, each with a phone on alder
	cara       *signer // engineer there and on birch, with a phone on each
	caraBirch  *signer
	logger     *signer // a station that may say what it reads
	anemometer *signer // a station that may say the wind
	top, bound *device // probes, one of any wall, one of w1
}

func newCrew(t *testing.T) *crew {
	r := newRecord(t)
	r.appoint("alder", "p-anna", events.Crew)
	r.appoint("alder", "p-ben", events.Officer)
	r.appoint("_", "p-cara", events.Engineer)
	return &crew{
		record: r,
		anna:   r.enrol("alder", "phone-1", "p-anna"), ben: r.enrol("alder", "phone-2", "p-ben"),
		cara: r.enrol("alder", "phone-3", "p-cara"), caraBirch: r.enrol("birch", "phone-3", "p-cara"),
		logger: r.enrol("alder", "logger-1", ""), anemometer: r.windOnly(),
		top: r.probe("alder", "top-1", ""), bound: r.probe("alder", "top-2", "w1", "temperature.read"),
	}
}

func (r *record) windOnly() *signer {
	key, public := keyNamed(r.t, "anemometer")
	r.says("alder", "device.enrolled", &events.DeviceEnrolled{
		Device: "wind-1", Sort: events.SortStation, Key: public, Kinds: []events.Kind{"wind.read"},
	})
	return &signer{device: newDevice("alder", "wind-1"), sort: events.SortStation, key: key}
}

func TestWhatTheEnrolledSayCounts(t *testing.T) {
	c := newCrew(t)
	permit := &events.PermitIssued{Number: "7", For: "strip", RequestedBy: "p-anna"}
	seqs := []uint64{
		c.send(c.anna, c.anna.lift("w1", 1)),
		c.send(c.ben, c.ben.event("w1", "permit.issued", "p-ben", permit)),
		c.send(c.cara, c.cara.event("w1", "hold.released", "p-cara", &events.HoldReleased{Hold: "h", Reason: "looked"})),
		c.send(c.caraBirch, c.caraBirch.event("w9", "hold.placed", "p-cara", &events.HoldPlaced{Hold: "h", Reason: "cracks"})),
		c.send(c.anna, c.anna.event("", "device.reported", "", &events.DeviceReported{Last: 1})), // said by the phone itself
		c.send(c.logger, c.logger.reading("w1", 12)),
		c.send(c.anemometer, c.anemometer.event("", "wind.read", "", &events.WindRead{GustMPS: ptr(4.0)})),
		c.send(c.anemometer, c.anemometer.event("", "device.reported", "", &events.DeviceReported{Last: 1})),
		c.heard(c.top.reading("w2", 11)),
		c.heard(c.bound.reading("w1", 11)),
		c.addSigned(t, hubKey, c.desk("alder", "p-ben", "w1", "permit.withdrawn", &events.PermitWithdrawn{Number: "7", Reason: "wind"})),
		c.send(c.ben, c.ben.event("w1", "alert.acknowledged", "p-ben", &events.AlertAcknowledged{Alert: "a", Kind: "strip-early"})),
		c.addSigned(t, hubKey, raised(t, "hub", "w1")),
	}
	p := foldRecord(t, c.record)
	requireCounts(t, p, seqs...)
	view(t, p, func(v projector.View) {
		require.Equal(t, verdicts{c.last, 0, 0}, verdictsOf(v))
		require.False(t, v.Hub().Unsigned)
		require.Equal(t, p.Register(), v.Register())
		require.EqualValues(t, 1, v.Devices("alder").UpTo("phone-3"))
	})
}

// TestWhatIsNotProven: it is refused, shuts the wall that it names, and does not
// use up the number of the phone that it names.
func TestWhatIsNotProven(t *testing.T) {
	stranger, _ := keyNamed(t, "nobody")
	for name, forge := range map[string]struct {
		field, words string
		put          func(c *crew, e events.Event) uint64
	}{
		"unsigned": {"signature", "nothing; allowed: a signature by the key", func(c *crew, e events.Event) uint64 {
			return c.add(t, e)
		}},
		"a key that nobody knows": {"signature", "of /site/alder/device/phone-1", func(c *crew, e events.Event) uint64 {
			return c.addSigned(t, stranger, e)
		}},
		"another device's key": {"signature", "of /site/alder/device/phone-1", func(c *crew, e events.Event) uint64 {
			return c.addSigned(t, c.ben.key, e)
		}},
		"the hub's key": {"signature", "of /site/alder/device/phone-1", func(c *crew, e events.Event) uint64 {
			return c.addSigned(t, hubKey, e)
		}},
		"signature of other bytes": {"signature", "of /site/alder/device/phone-1", func(c *crew, e events.Event) uint64 {
			return c.put(e.Subject(), encode(t, e), sign(c.anna, []byte("other bytes")))
		}},
		"another person's name under a stranger's key": {"signature", "of /site/alder/device/phone-1", func(c *crew, e events.Event) uint64 {
			e.By = "p-cara"
			return c.addSigned(t, stranger, e)
		}},
		"not an event, unsigned": {"data.to_m", "", func(c *crew, e events.Event) uint64 {
			e.Data = &events.LiftPlaced{FromM: ptr(0.0), TopM: ptr(1.0)}
			body, err := e.Encode()
			require.NoError(t, err)
			return c.put(e.Subject(), body, "")
		}},
		"sent on under another wall's subject": {"subject", "pour.alder.w1.lift.placed", func(c *crew, e events.Event) uint64 {
			body := encode(t, e)
			return c.put("pour.alder.w2.lift.placed", body, sign(c.anna, body))
		}},
		"sent on under another site's subject": {"subject", "pour.alder.w1.lift.placed", func(c *crew, e events.Event) uint64 {
			body := encode(t, e)
			return c.put("pour.birch.w1.lift.placed", body, sign(c.anna, body))
		}},
		"a signed body on a probe's subject": {"subject", "the subject that the envelope says", func(c *crew, e events.Event) uint64 {
			body := encode(t, e)
			return c.put("probe.alder.top-1.w1.lift.placed", body, sign(c.anna, body))
		}},
		"a signed body on a probe's subject of its own name": {"subject", "is a phone, which signs", func(c *crew, e events.Event) uint64 {
			body := encode(t, e)
			return c.put(events.ProbeSubject(e), body, sign(c.anna, body))
		}},
	} {
		t.Run(name, func(t *testing.T) {
			c := newCrew(t)
			first := c.send(c.anna, c.anna.lift("w1", 1))
			e := c.anna.lift("w1", 2)
			forged := forge.put(c, e)
			real := c.send(c.anna, e)
			p := foldRecord(t, c.record)
			requireRefused(t, p, forged, forge.field, forge.words)
			requireCounts(t, p, first, real)
			site := "alder"
			if name == "sent on under another site's subject" {
				site = "birch" // a body speaks for its subject's site only
			}
			require.Contains(t, doubtsOn(t, p, site, "w1"), forged, "the wall that it names is in doubt")
			receipt, _, err := p.Receipt(c.anna.source)
			require.NoError(t, err)
			require.EqualValues(t, 2, receipt.UpTo)
			require.Empty(t, receipt.Refused, "nothing of the phone's own was refused")
		})
	}
}

// TestStrangersUseNothingUp: a stranger who guesses the numbers and ids that are
// to come shuts walls, and no more.
func TestStrangersUseNothingUp(t *testing.T) {
	stranger, _ := keyNamed(t, "nobody")
	c := newCrew(t)
	twin := newDevice("alder", "phone-1")
	for i := range 5 {
		e := twin.lift("w1", 0, 6, float64(i+1)/10)
		e.By = "p-anna"
		c.addSigned(t, stranger, e)
		c.add(t, e)
	}
	e := twin.reading("w2", 99)
	e.By, e.Sequence = "p-anna", 1<<40
	far := c.add(t, e)
	var own []uint64
	for range 5 {
		own = append(own, c.send(c.anna, c.anna.lift("w1", 0.3)))
	}
	p := foldRecord(t, c.record)
	requireCounts(t, p, own...)
	require.Equal(t, []uint64{far}, doubtsOn(t, p, "alder", "w2"))
	require.Len(t, doubtsOn(t, p, "alder", "w1"), 5, "each is a doubt once, however often it comes")
	receipt, ok, err := p.Receipt(c.anna.source)
	require.NoError(t, err)
	require.True(t, ok)
	require.EqualValues(t, 5, receipt.UpTo)
	require.EqualValues(t, 5, receipt.High, "a far number of a stranger is no gap")
}

// TestWhatMayNotBeSaid: it is proven and refused, and its number is held: the
// phone is told, and may forget it.
func TestWhatMayNotBeSaid(t *testing.T) {
	for name, say := range map[string]struct {
		field, words string
		event        func(c *crew) (*signer, events.Event)
	}{
		"in another's name": {"by", "p-anna, whose device it is", func(c *crew) (*signer, events.Event) {
			e := c.anna.lift("w1", 1)
			e.By = "p-ben"
			return c.anna, e
		}},
		"in nobody's name": {"by", "p-anna, whose device it is", func(c *crew) (*signer, events.Event) {
			return c.anna, c.anna.device.lift("w1", 0, 6, 1)
		}},
		"kind of another role": {"role", "engineer, who may record hold.released", func(c *crew) (*signer, events.Event) {
			return c.anna, c.anna.event("w1", "hold.released", "p-anna", &events.HoldReleased{Hold: "h", Reason: "in the way"})
		}},
		"amended into another role's kind": {"role", "engineer, who may record hold.released", func(c *crew) (*signer, events.Event) {
			return c.anna, c.anna.event("w1", "record.amended", "p-anna", &events.RecordAmended{
				Target: events.Target{Source: c.cara.source.String(), ID: "x"}, Kind: "hold.released", Data: []byte(`{"hold":"h","reason":"in the way"}`), Reason: "so",
			})
		}},
		"in a role that the person has not": {"data.role", "engineer", func(c *crew) (*signer, events.Event) {
			return c.ben, c.ben.event("w1", "record.countersigned", "p-ben", &events.RecordCountersigned{
				Target: events.Target{Source: c.anna.source.String(), ID: "x"}, Role: "engineer",
			})
		}},
		"an answer that does not say to what": {"data.kind", "the kind of the alert", func(c *crew) (*signer, events.Event) {
			return c.ben, c.ben.event("w1", "alert.acknowledged", "p-ben", &events.AlertAcknowledged{Alert: "a"})
		}},
		"an answer to what others are asked": {"role", "who may answer strip-early", func(c *crew) (*signer, events.Event) {
			return c.anna, c.anna.event("w1", "alert.shelved", "p-anna", &events.AlertShelved{
				Alert: "a", Kind: "strip-early", At: monday, Until: monday.Add(time.Hour), Reason: "later",
			})
		}},
		"a station in a person's name": {"by", "speaks for no person", func(c *crew) (*signer, events.Event) {
			e := c.logger.reading("w1", 12)
			e.By = "p-anna"
			return c.logger, e
		}},
		"a station of another kind": {"role", "temperature.read is none", func(c *crew) (*signer, events.Event) {
			return c.anemometer, c.anemometer.reading("w1", 12)
		}},
		"a station that places concrete": {"role", "lift.placed is none", func(c *crew) (*signer, events.Event) {
			return c.logger, c.logger.device.lift("w1", 0, 6, 1)
		}},
	} {
		t.Run(name, func(t *testing.T) {
			c := newCrew(t)
			g, e := say.event(c)
			if g.person == "" && e.By != "" {
				e.By = "p-anna"
			}
			seq := c.send(g, e)
			p := foldRecord(t, c.record)
			requireRefused(t, p, seq, say.field, say.words)
			require.Equal(t, []uint64{seq}, doubtsOn(t, p, "alder", "w1"))
			receipt, ok, err := p.Receipt(g.source)
			require.NoError(t, err)
			require.True(t, ok)
			require.EqualValues(t, 1, receipt.UpTo)
			require.Len(t, receipt.Refused, 1)
		})
	}
}

func TestProbeSubjects(t *testing.T) {
	for name, say := range map[string]struct {
		field, words string
		put          func(c *crew) uint64
	}{
		"another device's body": {"subject", "the envelope says", func(c *crew) uint64 {
			return c.put("probe.alder.top-1.w1.temperature.read", encode(t, c.bound.reading("w1", 12)), "")
		}},
		"a device that is not enrolled": {"source", "a device that is enrolled", func(c *crew) uint64 {
			return c.heard(newDevice("alder", "top-9").reading("w1", 12))
		}},
		"a station": {"subject", "is a station, which signs", func(c *crew) uint64 { return c.heard(c.logger.reading("w1", 12)) }},
		"revoked": {"source", "not revoked: it ended with message 12: dead", func(c *crew) uint64 {
			c.says("alder", "device.revoked", &events.DeviceRevoked{Device: "top-1", Reason: "dead"})
			return c.heard(c.top.reading("w1", 12))
		}},
		"a wall that it is not bound to":   {"subject", "the wall w1", func(c *crew) uint64 { return c.heard(c.bound.reading("w2", 12)) }},
		"the site, by one bound to a wall": {"subject", "the wall w1", func(c *crew) uint64 { return c.heard(c.bound.reading("", 12)) }},
		"a kind that it was not enrolled for": {"role", "wind.read is none", func(c *crew) uint64 {
			return c.heard(c.bound.event("w1", "wind.read", "", &events.WindRead{GustMPS: ptr(3.0)}))
		}},
		"a kind of people": {"role", "lift.placed is none", func(c *crew) uint64 { return c.heard(c.top.lift("w1", 0, 6, 1)) }},
		"a person's name": {"by", "speaks for no person", func(c *crew) uint64 {
			e := c.top.reading("w1", 12)
			e.By = "p-anna"
			return c.heard(e)
		}},
		"on the subject of those who sign": {"source", "a subject of its own", func(c *crew) uint64 { return c.add(t, c.top.reading("w1", 12)) }},
		"not an event":                     {"body", "", func(c *crew) uint64 { return c.put("probe.alder.top-1.w1.temperature.read", []byte("12.5"), "") }},
		"no subject":                       {"body", "", func(c *crew) uint64 { return c.put("probe.alder.top-1", []byte("12.5"), "") }},
		"the hub": {"subject", "the hub signs", func(c *crew) uint64 {
			e := raised(t, "hub", "w1")
			body := encode(t, e)
			return c.put(events.ProbeSubject(e), body, stream.Sign(hubKey, body))
		}},
		"a desk": {"source", "a device that is enrolled", func(c *crew) uint64 {
			e := c.desk("alder", "p-ben", "w1", "hold.placed", &events.HoldPlaced{Hold: "h", Reason: "so"})
			body := encode(t, e)
			return c.put(events.ProbeSubject(e), body, stream.Sign(hubKey, body))
		}},
	} {
		t.Run(name, func(t *testing.T) {
			c := newCrew(t)
			seq := say.put(c)
			p := foldRecord(t, c.record)
			requireRefused(t, p, seq, say.field, say.words)
			row, _ := refusedRow(t, p, seq)
			if row.Wall != "" {
				require.Equal(t, []uint64{seq}, doubtsOn(t, p, "alder", row.Wall))
			}
			require.Equal(t, "alder", row.Site)
		})
	}
}

func TestDesk(t *testing.T) {
	held := &events.HoldPlaced{Hold: "h", Reason: "so"}
	for name, say := range map[string]struct {
		field, words string
		put          func(c *crew) uint64
	}{
		"unsigned": {"signature", "the hub's own", func(c *crew) uint64 {
			return c.add(t, c.desk("alder", "p-ben", "w1", "hold.placed", held))
		}},
		"signed by the person's own phone": {"signature", "the hub's own", func(c *crew) uint64 {
			return c.send(c.ben, c.desk("alder", "p-ben", "w1", "hold.placed", held))
		}},
		"in another's name": {"by", "p-ben, whose desk it is", func(c *crew) uint64 {
			e := c.desk("alder", "p-ben", "w1", "hold.placed", held)
			e.By = "p-cara"
			return c.addSigned(t, hubKey, e)
		}},
		"numbered": {"sequence", "none: a desk", func(c *crew) uint64 {
			e := c.desk("alder", "p-ben", "w1", "hold.placed", held)
			e.Sequence = 3
			return c.addSigned(t, hubKey, e)
		}},
		"kind of another role": {"role", "engineer, who", func(c *crew) uint64 {
			return c.addSigned(t, hubKey, c.desk("alder", "p-ben", "w1", "hold.released", &events.HoldReleased{Hold: "h", Reason: "so"}))
		}},
		"person without a role there": {"role", "p-ben has none there now", func(c *crew) uint64 {
			return c.addSigned(t, hubKey, c.desk("birch", "p-ben", "w1", "hold.placed", held))
		}},
		"person who left": {"role", "p-ben has none there now", func(c *crew) uint64 {
			c.retire("_", "p-ben")
			return c.addSigned(t, hubKey, c.desk("alder", "p-ben", "w1", "hold.placed", held))
		}},
	} {
		t.Run(name, func(t *testing.T) {
			c := newCrew(t)
			seq := say.put(c)
			p := foldRecord(t, c.record)
			requireRefused(t, p, seq, say.field, say.words)
			row, _ := refusedRow(t, p, seq)
			require.Equal(t, []uint64{seq}, doubtsOn(t, p, row.Site, "w1"))
		})
	}
}
