package projector_test

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/projector"
)

func TestLeafHasOneForm(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		l := projector.Leaf{
			Seq:       rapid.Uint64().Draw(rt, "seq"),
			Recorded:  time.UnixMilli(rapid.Int64Range(0, 1<<42).Draw(rt, "recorded")).UTC(),
			Subject:   rapid.String().Draw(rt, "subject"),
			Signature: rapid.String().Draw(rt, "signature"),
			Body:      rapid.SliceOf(rapid.Byte()).Draw(rt, "body"),
		}
		raw := l.Append([]byte("before"))[len("before"):]
		got, err := projector.ParseLeaf(raw)
		require.NoError(rt, err)
		require.True(rt, bytes.Equal(l.Body, got.Body))
		got.Body = l.Body
		require.Equal(rt, l, got)
		_, err = projector.ParseLeaf(append(raw, 0))
		require.Error(rt, err, "a byte too many")
		_, err = projector.ParseLeaf(raw[:len(raw)-1])
		require.Error(rt, err, "a byte too few")
	})
}

// TestLeafForm pins the form: signatures and proofs outlive the program.
func TestLeafForm(t *testing.T) {
	l := projector.Leaf{Seq: 258, Recorded: time.UnixMilli(1_772_431_200_000), Subject: "pour.a.w.b.c", Signature: "s", Body: []byte("{}")}
	require.Equal(t, "\x08\x00\x00\x00\x00\x00\x00\x01\x02\x08\x00\x00\x01\x9c\xad\x21\xcf\x00\x0cpour.a.w.b.c\x01s\x02{}", string(l.Append(nil)))
}

func FuzzParseLeaf(f *testing.F) {
	f.Add(projector.Leaf{Seq: 1, Recorded: monday, Subject: "pour.a.w.b.c", Signature: "s", Body: []byte("{}")}.Append(nil))
	f.Add([]byte{8, 0, 0, 0, 0, 0, 0, 0, 0, 8})
	f.Add([]byte{0x88, 0})
	f.Fuzz(func(t *testing.T, raw []byte) {
		l, err := projector.ParseLeaf(raw)
		if err == nil {
			require.Equal(t, raw, l.Append(nil))
		}
	})
}
