package cabinet_test

import (
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/projector/cabinet"
)

func count(t *testing.T, s *store, bucket string) (n int) {
	t.Helper()
	require.NoError(t, s.View(func(tx *bbolt.Tx) error { n = tx.Bucket([]byte(bucket)).Stats().KeyN; return nil }))
	return n
}

func TestCards(t *testing.T) {
	c, _, _ := newCabinet(t)
	none, err := c.Card("p-a")
	require.NoError(t, err)
	require.Zero(t, none)
	a, b := cabinet.Card{Name: "Aino Ä", Mail: "a@site.example", Phone: "+1 555 0100"}, cabinet.Card{Name: "Bo"}
	require.NoError(t, c.SetCard("p-a", cabinet.Card{Name: "before"}))
	require.NoError(t, c.SetCard("p-a", a))
	require.NoError(t, c.SetCard("p-b", b))
	got, err := c.Card("p-a")
	require.NoError(t, err)
	require.Equal(t, a, got)
	all, err := c.Cards()
	require.NoError(t, err)
	require.Equal(t, map[string]cabinet.Card{"p-a": a, "p-b": b}, all)
	require.Error(t, c.SetCard("", a))
}

func TestCardHidesItself(t *testing.T) {
	card := cabinet.Card{Name: "Aino", Mail: "a@site.example", Phone: "+1 555 0100"}
	var b strings.Builder
	log := slog.New(slog.NewJSONHandler(&b, nil))
	log.Info("card", "card", card, "cards", map[string]cabinet.Card{"p-a": card}["p-a"])
	_, _ = fmt.Fprintf(&b, "%v %+v %#v %s %v", card, card, card, card, []cabinet.Card{card})
	for _, text := range []string{card.Name, card.Mail, card.Phone} {
		require.NotContains(t, b.String(), text)
	}
}

const unmistakable = "Zeborah Quillfeather"

// fill keeps a card among many others, so that pages with it are copied.
func fillCards(t *testing.T, c *cabinet.Cabinet) {
	t.Helper()
	for i := range 120 {
		if i == 60 {
			require.NoError(t, c.SetCard("p-m", cabinet.Card{Name: unmistakable, Mail: "before@site.example"}))
		}
		require.NoError(t, c.SetCard(fmt.Sprintf("p-%03d", i), cabinet.Card{Name: fmt.Sprintf("Name %03d", i), Phone: strings.Repeat("1", 30)}))
	}
	require.NoError(t, c.SetCard("p-m", cabinet.Card{Name: unmistakable, Phone: "+1 555 0199"}))
}

func compacted(t *testing.T, s *store) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "compact.db")
	to, err := bbolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, bbolt.Compact(to, s.DB, 0))
	require.NoError(t, to.Close())
	return path
}

func TestErasedCardIsNowhere(t *testing.T) {
	c, _, s := newCabinet(t)
	fillCards(t, c)
	require.True(t, legible(t, compacted(t, s), unmistakable))
	require.NoError(t, c.EraseCard("p-m"))
	card, err := c.Card("p-m")
	require.NoError(t, err)
	require.Zero(t, card)
	for _, text := range []string{unmistakable, "before@site.example", "+1 555 0199"} {
		require.False(t, legible(t, compacted(t, s), text), "%q in a compacted copy", text)
		require.False(t, legible(t, s.Path(), text), "%q in the file itself, free pages and all", text)
	}
	all, err := c.Cards()
	require.NoError(t, err)
	require.Len(t, all, 120)
	require.NoError(t, c.EraseCard("p-m"), "once more")
	require.NoError(t, s.View(func(tx *bbolt.Tx) error { require.Nil(t, tx.Bucket([]byte("wipe"))); return nil }))
}

// However full the file is, and however many free pages it has.
func TestErasedCardIsNowhereInAnyFile(t *testing.T) {
	for n := 0; n < 60; n += 5 {
		c, _, s := newCabinet(t)
		for i := range n {
			require.NoError(t, c.SetCard(fmt.Sprintf("p-%03d", i), cabinet.Card{Name: strings.Repeat("N", 10*n)}))
		}
		require.NoError(t, c.SetCard("p-m", cabinet.Card{Name: unmistakable}))
		require.NoError(t, c.EraseCard("p-m"))
		require.False(t, legible(t, s.Path(), unmistakable), "beside %d cards", n)
	}
}

// Deleting alone leaves the name in free pages: the case that is guarded against.
func TestDeletedIsLegibleInTheFile(t *testing.T) {
	c, _, s := newCabinet(t)
	fillCards(t, c)
	require.NoError(t, s.DB.Update(func(tx *bbolt.Tx) error { return tx.Bucket([]byte("person")).Delete([]byte("p-m")) }))
	require.True(t, legible(t, s.Path(), unmistakable))
	require.False(t, legible(t, compacted(t, s), unmistakable))
}

func TestEraseBesideAReader(t *testing.T) {
	c, _, s := newCabinet(t)
	fillCards(t, c)
	reader, err := s.Begin(false)
	require.NoError(t, err)
	require.NoError(t, c.EraseCard("p-m"))
	require.NoError(t, reader.Rollback())
	require.False(t, legible(t, compacted(t, s), unmistakable))
	require.NoError(t, c.EraseCard("p-nobody"))
	require.False(t, legible(t, s.Path(), unmistakable), "the next one gets what the reader held")
}

// A crash, or a disk that fails, at each step: the card is gone from the first
// step on, and New brings the rest to its end.
func TestInterruptedErase(t *testing.T) {
	for _, applied := range []bool{false, true} {
		for step := int64(1); step <= 3; step++ {
			t.Run(fmt.Sprintf("step %d applied %v", step, applied), func(t *testing.T) {
				c, _, s := newCabinet(t)
				fillCards(t, c)
				s.next(step, applied)
				require.ErrorIs(t, c.EraseCard("p-m"), errDisk)
				card, err := c.Card("p-m")
				require.NoError(t, err)
				require.Equal(t, step == 1 && !applied, card.Name == unmistakable)
				_, err = cabinet.New(s, newClock().Now)
				require.NoError(t, err)
				require.Equal(t, step == 1 && !applied, legible(t, s.Path(), unmistakable))
			})
		}
	}
}
