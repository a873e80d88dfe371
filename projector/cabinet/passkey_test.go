package cabinet_test

import (
	"bytes"
	"maps"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/cabinet"
)

func TestPasskeys(t *testing.T) {
	c, _, _ := newCabinet(t)
	id := []byte{0, 1, 0, 255}
	require.NoError(t, c.PutPasskey("p-a", id, []byte("first")))
	require.NoError(t, c.PutPasskey("p-a", id, []byte("used once")))
	require.ErrorIs(t, c.PutPasskey("p-b", id, []byte("stolen")), cabinet.ErrTaken)
	records, err := c.Passkeys("p-a")
	require.NoError(t, err)
	require.Equal(t, [][]byte{[]byte("used once")}, records)
	none, err := c.Passkeys("p-b")
	require.NoError(t, err)
	require.Empty(t, none)

	require.Error(t, c.PutPasskey("p-a", nil, nil))
	require.Error(t, c.PutPasskey("p-a", make([]byte, cabinet.MaxPasskeyID+1), nil))
	require.NoError(t, c.PutPasskey("p-a", make([]byte, cabinet.MaxPasskeyID), nil))
}

func TestHandleIsMadeOnce(t *testing.T) {
	c, _, s := newCabinet(t)
	a, err := c.UserHandle("p-a")
	require.NoError(t, err)
	require.Len(t, a, 32)
	require.NotContains(t, string(a), "p-a")
	b, err := c.UserHandle("p-b")
	require.NoError(t, err)
	require.NotEqual(t, a, b)
	require.NoError(t, c.DropPasskeys("p-a"))
	again, err := cabinet.New(open(t, copyOf(t, s)), newClock().Now)
	require.NoError(t, err)
	for _, c := range []*cabinet.Cabinet{c, again} {
		same, err := c.UserHandle("p-a")
		require.NoError(t, err)
		require.Equal(t, a, same)
		owner, ok, err := c.PersonOf(a)
		require.NoError(t, err)
		require.True(t, ok)
		require.Equal(t, "p-a", owner)
	}
	_, ok, err := c.PersonOf(make([]byte, 32))
	require.NoError(t, err)
	require.False(t, ok)
	s.next(1, false)
	_, err = c.UserHandle("p-c")
	require.ErrorIs(t, err, errDisk)
}

// Against two maps: persons whose names begin alike, ids with any bytes.
func TestPasskeysAgainstMaps(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := open(t, filepath.Join(t.TempDir(), "keep.db"))
		c, err := cabinet.New(s, newClock().Now)
		require.NoError(rt, err)
		owner, record := map[string]string{}, map[string][]byte{}
		for range rapid.IntRange(1, 12).Draw(rt, "steps") {
			person := rapid.SampledFrom([]string{"p", "p-", "p-a"}).Draw(rt, "person")
			if rapid.Bool().Draw(rt, "drop") {
				require.NoError(rt, c.DropPasskeys(person))
				maps.DeleteFunc(owner, func(_, p string) bool { return p == person })
				continue
			}
			id := rapid.SliceOfN(rapid.SampledFrom([]byte{0, 'a', '-', 255}), 1, 3).Draw(rt, "id")
			value := rapid.SliceOfN(rapid.Byte(), 0, 4).Draw(rt, "record")
			if was, taken := owner[string(id)]; taken && was != person {
				require.ErrorIs(rt, c.PutPasskey(person, id, value), cabinet.ErrTaken)
				continue
			}
			require.NoError(rt, c.PutPasskey(person, id, value))
			owner[string(id)], record[string(id)] = person, value
		}
		want := map[string][][]byte{}
		for _, id := range slices.Sorted(maps.Keys(owner)) {
			want[owner[id]] = append(want[owner[id]], record[id])
			person, ok, err := c.PasskeyOwner([]byte(id))
			require.NoError(rt, err)
			require.True(rt, ok && person == owner[id], "%q", id)
		}
		for _, person := range []string{"p", "p-", "p-a"} {
			got, err := c.Passkeys(person)
			require.NoError(rt, err)
			require.True(rt, slices.EqualFunc(want[person], got, bytes.Equal), "%s: %q, want %q", person, got, want[person])
		}
	})
}

func TestSecrets(t *testing.T) {
	c, _, s := newCabinet(t)
	a, b := events.Source{Site: "a", Device: "probe"}, events.Source{Site: "b", Device: "probe"}
	require.False(t, c.CheckSecret(a, ""), "nobody has no password")
	require.NoError(t, c.SetSecret(a, "one"))
	require.NoError(t, c.SetSecret(b, "two"))
	require.True(t, c.CheckSecret(a, "one"))
	require.False(t, c.CheckSecret(a, "two"), "another's")
	require.False(t, c.CheckSecret(a, "one "))
	require.False(t, c.CheckSecret(a, ""))
	require.NoError(t, c.SetSecret(a, "three"))
	require.False(t, c.CheckSecret(a, "one"), "the one before")
	require.True(t, c.CheckSecret(a, "three"))
	again, err := cabinet.New(open(t, copyOf(t, s)), newClock().Now)
	require.NoError(t, err)
	require.True(t, again.CheckSecret(a, "three"), "after a restart")
	require.NoError(t, c.DropSecret(a))
	require.NoError(t, c.DropSecret(a))
	require.False(t, c.CheckSecret(a, "three"))
	require.True(t, c.CheckSecret(b, "two"))
	s.next(1, false)
	require.ErrorIs(t, c.SetSecret(a, "x"), errDisk)
}
