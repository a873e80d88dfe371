package cabinet_test

import (
	"bytes"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/events"
	"earlyage/projector/cabinet"
)

// damage changes one stored value and puts the old one back.
func damage(t *testing.T, s *store, bucket, key, value []byte, look func()) {
	t.Helper()
	put := func(v []byte) {
		require.NoError(t, s.DB.Update(func(tx *bbolt.Tx) error { return tx.Bucket(bucket).Put(key, v) }))
	}
	var was []byte
	require.NoError(t, s.View(func(tx *bbolt.Tx) error { was = bytes.Clone(tx.Bucket(bucket).Get(key)); return nil }))
	put(value)
	look()
	put(was)
}

type pair struct{ bucket, key, value []byte }

func pairs(t *testing.T, s *store) (list []pair) {
	t.Helper()
	require.NoError(t, s.View(func(tx *bbolt.Tx) error {
		for _, name := range cabinet.Buckets() {
			err := tx.Bucket(name).ForEach(func(k, v []byte) error {
				list = append(list, pair{name, bytes.Clone(k), bytes.Clone(v)})
				return nil
			})
			if err != nil {
				return err
			}
		}
		return nil
	}))
	return list
}

// Any flipped bit of any value, and any value cut short or under the key of
// another, is an error and lets nobody in.
func TestDamageIsAnError(t *testing.T) {
	c, _, s := newCabinet(t)
	src := events.Source{Site: "a", Device: "probe"}
	code, _, err := c.Invite(invitation())
	require.NoError(t, err)
	token := begin(t, c, cabinet.Session{Person: "p-a", Device: phone})
	require.NoError(t, c.SetCard("p-a", cabinet.Card{Name: "Aino"}))
	require.NoError(t, c.SetSecret(src, "one"))
	require.NoError(t, c.PutPasskey("p-a", []byte("id"), []byte("record")))
	handle, err := c.UserHandle("p-a")
	require.NoError(t, err)
	require.NoError(t, c.AddPush("p-a", subscription(t, "one")))
	_, err = c.VAPID()
	require.NoError(t, err)
	looks := map[string]func() error{
		"person":     func() error { _, err := c.Card("p-a"); return err },
		"invitation": func() error { _, err := c.Peek(code); return err },
		"session":    func() error { _, err := c.Session(token); return err },
		"secret": func() error {
			if c.CheckSecret(src, "one") {
				return nil
			}
			return cabinet.ErrDamaged
		},
		"push":      func() error { _, err := c.Pushes("p-a"); return err },
		"vapid":     func() error { _, err := c.VAPID(); return err },
		"passkey k": func() error { _, err := c.Passkeys("p-a"); return err },
		"passkey i": func() error { _, _, err := c.PasskeyOwner([]byte("id")); return err },
		"passkey u": func() error { _, err := c.UserHandle("p-a"); return err },
		"passkey h": func() error { _, _, err := c.PersonOf(handle); return err },
	}
	all := pairs(t, s)
	require.Len(t, all, 10)
	for i, p := range all {
		name := string(p.bucket)
		if name == "passkey" {
			name += " " + string(p.key[:1])
		}
		require.NoError(t, looks[name](), name)
		bad := [][]byte{{}, {1}, p.value[:len(p.value)-1], append(bytes.Clone(p.value), 0), all[(i+1)%len(all)].value}
		for at := range p.value {
			flipped := bytes.Clone(p.value)
			flipped[at] ^= 1 << (at % 8)
			bad = append(bad, flipped)
		}
		for n, value := range bad {
			damage(t, s, p.bucket, p.key, value, func() { require.ErrorIs(t, looks[name](), cabinet.ErrDamaged, "%s, %d", name, n) })
		}
		require.NoError(t, looks[name](), "%s, after it", name)
	}
}

func TestOneDamagedCardKeepsBackNoOther(t *testing.T) {
	c, _, s := newCabinet(t)
	require.NoError(t, c.SetCard("p-a", cabinet.Card{Name: "Aino"}))
	require.NoError(t, c.SetCard("p-b", cabinet.Card{Name: "Bo"}))
	damage(t, s, []byte("person"), []byte("p-a"), []byte("Aino in the clear"), func() {
		cards, err := c.Cards()
		require.ErrorIs(t, err, cabinet.ErrDamaged)
		require.NotContains(t, err.Error(), "Aino")
		require.Equal(t, map[string]cabinet.Card{"p-b": {Name: "Bo"}}, cards)
	})
}

// Damaged sessions and invitations are of no use to anybody and are swept out.
func TestSweepTakesDamageOut(t *testing.T) {
	c, _, s := newCabinet(t)
	begin(t, c, cabinet.Session{Person: "p-a"})
	require.NoError(t, s.DB.Update(func(tx *bbolt.Tx) error { return tx.Bucket([]byte("session")).Put([]byte("x"), []byte("y")) }))
	require.NoError(t, c.Sweep())
	require.Equal(t, 1, count(t, s, "session"))
}

func seeds(f *testing.F, values ...any) {
	f.Helper()
	for _, v := range values {
		b, err := cabinet.Marshal(v)
		require.NoError(f, err)
		f.Add(b)
	}
	for _, s := range []string{"", "null", "{}", `{"name":1}`, `{"until":"x"}`, `{"kinds":[null]}`, "{\"name\":\"\xff\"}", `{"name":"a","name":"b"}`} {
		f.Add([]byte(s))
	}
}

// fuzzRead: whatever stands behind a good checksum is a value or ErrDamaged, and
// an error shows nothing of it.
func fuzzRead[T any](f *testing.F, read func(key, sealed []byte) (T, error)) {
	key := []byte("key")
	f.Fuzz(func(t *testing.T, value []byte) {
		if _, err := read(key, value); err != nil {
			require.ErrorIs(t, err, cabinet.ErrDamaged)
		}
		v, err := read(key, cabinet.Seal(key, value))
		if err != nil {
			require.ErrorIs(t, err, cabinet.ErrDamaged)
			var none T
			require.Equal(t, none, v)
			require.LessOrEqual(t, len(err.Error()), 120, "no room for a value")
			return
		}
		again, err := cabinet.Marshal(v)
		require.NoError(t, err)
		same, err := read(key, cabinet.Seal(key, again))
		require.NoError(t, err)
		require.Equal(t, fmt.Sprintf("%#v", v), fmt.Sprintf("%#v", same))
	})
}

func FuzzReadCard(f *testing.F) {
	seeds(f, cabinet.Card{Name: "A", Mail: "a@site.example"})
	fuzzRead(f, cabinet.ReadCard)
}

func FuzzReadPush(f *testing.F) {
	seeds(f, cabinet.Push{Device: phone, Endpoint: "https://push.site.example/one", P256DH: "BA", Auth: "AA", Made: start})
	fuzzRead(f, cabinet.ReadPush)
}

func FuzzReadInvitation(f *testing.F) {
	seeds(f, invitation())
	fuzzRead(f, cabinet.ReadInvitation)
}

func FuzzReadSession(f *testing.F) {
	seeds(f, cabinet.Session{Person: "p-a", Device: phone, Made: start, Seen: start, Until: start})
	fuzzRead(f, cabinet.ReadSession)
}

func FuzzReadCode(f *testing.F) {
	f.Add("00000-00000-00000-00000-000000")
	f.Add("zzzzz-zzzzz-zzzzz-zzzzz-zzzzzz")
	f.Fuzz(func(t *testing.T, code string) {
		if raw := cabinet.ReadCode(code); raw != nil {
			require.Len(t, raw, 16)
			require.Equal(t, raw, cabinet.ReadCode(cabinet.WriteCode(raw)))
		}
	})
}

func FuzzUnseal(f *testing.F) {
	f.Add([]byte("key"), cabinet.Seal([]byte("key"), []byte("value")))
	f.Add([]byte{}, []byte{1, 0, 0, 0, 0})
	f.Fuzz(func(t *testing.T, key, sealed []byte) {
		value, err := cabinet.Unseal(key, sealed)
		if err != nil {
			require.ErrorIs(t, err, cabinet.ErrDamaged)
			return
		}
		require.Equal(t, sealed, cabinet.Seal(key, value))
	})
}
