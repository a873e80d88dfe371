package projector_test

import (
	"bytes"
	"crypto/ed25519"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
	"earlyage/projector/people"
	"earlyage/projector/wall"
)

func TestWhatCanBeReadOfARefusedMessage(t *testing.T) {
	const subject = "pour.alder.w1.lift.placed"
	for name, m := range map[string]struct {
		subject, body string
		id            string
		number        uint64
	}{
		"all":             {subject, `{"id":"x","source":"/site/alder/device/phone-1","sequence":"00000000000000000007"}`, "x", 7},
		"any order":       {subject, `{"sequence":7,"data":{"id":"y"},"source":"/site/alder/device/phone-1","id":"x"}`, "x", 7},
		"cut off":         {subject, `{"id":"x","source":"/site/alder/device/phone-1","sequence":7,"data":{"fr`, "x", 7},
		"other site":      {subject, `{"id":"x","source":"/site/birch/device/phone-1","sequence":7}`, "x", 0},
		"no source":       {subject, `{"id":"x","sequence":7}`, "x", 0},
		"strange subject": {"pour.Alder.w1", `{"id":"x","source":"/site/alder/device/phone-1","sequence":7}`, "x", 0},
		"short subject":   {"pour.alder", `{"id":"x","source":"/site/alder/device/phone-1","sequence":7}`, "x", 7},
		"bad number":      {subject, `{"id":"x","source":"/site/alder/device/phone-1","sequence":-7}`, "x", 0},
		"huge number":     {subject, `{"id":"x","source":"/site/alder/device/phone-1","sequence":99999999999999999999}`, "x", 0},
		"bad id":          {subject, `{"id":"x y","source":"/site/alder/device/phone-1","sequence":7}`, "", 7},
		"the hub's":       {subject, `{"id":"x","source":"/site/alder/device/hub","sequence":7}`, "x", 0},
	} {
		id, number, _, refusal, _ := projector.Read(stream.Message{Seq: 1, Recorded: monday, Subject: m.subject, Body: []byte(m.body)})
		require.NotNil(t, refusal, name)
		require.Equal(t, m.id, id, name)
		require.Equal(t, m.number, number, name)
	}
}

func FuzzMessage(f *testing.F) {
	d := newDevice("alder", "phone-1")
	for _, body := range [][]byte{nil, []byte("{"), []byte(`{"id":"x","sequence":1e400}`), encode(f, d.lift("w1", 0, 6, 1)), encode(f, d.reading("w1", 10))} {
		f.Add("pour.alder.w1.lift.placed", body, "")
	}
	f.Add("pour._._.hole.accepted", []byte(`{"source":"/site/_/device/hub"}`), "ed25519 00 00")
	f.Fuzz(func(t *testing.T, subject string, body []byte, signature string) {
		id, number, e, refusal, leaf := projector.Read(stream.Message{Seq: 9, Recorded: monday, Subject: subject, Signature: signature, Body: body})
		l, err := projector.ParseLeaf(leaf)
		require.NoError(t, err)
		require.Equal(t, subject, l.Subject)
		require.True(t, bytes.Equal(body, l.Body))
		if refusal == nil {
			require.Equal(t, e.ID, id)
			require.Equal(t, e.Sequence, number)
			require.Equal(t, subject, e.Subject())
		}
	})
}

// FuzzWho: whatever is sent with a signature that is not the device's own never
// counts, and never holds a number.
func FuzzWho(f *testing.F) {
	c := newRecord(f)
	c.appoint("alder", "p-anna", events.Crew)
	anna := c.enrol("alder", "phone-1", "p-anna")
	e := anna.lift("w1", 1)
	good := encode(f, e)
	f.Add(e.Subject(), good, sign(anna, good))
	f.Add(e.Subject(), good, sign(anna, []byte("other")))
	f.Add(events.ProbeSubject(e), good, "")
	f.Add("pour.alder.w1.hold.placed", encode(f, c.desk("alder", "p-anna", "w1", "hold.placed", &events.HoldPlaced{Hold: "h", Reason: "r"})), "")
	f.Add("pour.alder._.person.retired", encode(f, c.word("alder", "person.retired", &events.PersonRetired{Person: "p-anna", Reason: "r"})), "ed25519  ")
	register := registerOf(f, c)
	f.Fuzz(func(t *testing.T, subject string, body []byte, signature string) {
		m := stream.Message{Seq: 9, Recorded: monday, Subject: subject, Signature: signature, Body: body}
		numbers, refusals := projector.Judge(hubPublic, register, []stream.Message{m})
		own := stream.Verify(anna.key.Public().(ed25519.PublicKey), signature, body)
		if own || stream.Verify(hubPublic, signature, body) {
			return
		}
		require.NotNil(t, refusals[0])
		require.Zero(t, numbers[0])
	})
}

// registerOf takes the hub's word in that stands on a tape.
func registerOf(t require.TestingT, r *record) *people.Register {
	register := people.New()
	for _, m := range r.msgs {
		e, err := events.Decode(m.Subject, m.Body)
		require.NoError(t, err)
		register = register.With(wall.Fact{Event: e, Seq: m.Seq, Recorded: m.Recorded, Trusted: true})
	}
	return register
}
