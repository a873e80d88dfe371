package projector_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events/stream"
	"earlyage/projector"
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
