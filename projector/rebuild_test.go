package projector_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/projector"
)

func TestRebuildGivesTheSameView(t *testing.T) {
	for _, from := range []projector.From{projector.Keep, projector.Stream} {
		cfg, want := closed(t)
		cfg.BatchMax = 13
		var steps []uint64
		total := uint64(0)
		r, err := projector.Rebuild(t.Context(), cfg, from, func(done, all uint64) { steps, total = append(steps, done), all })
		require.NoError(t, err, from)
		require.True(t, r.Compared)
		require.True(t, r.Equal, "%s: %v", from, r.Differences)
		require.Equal(t, want, r.Before)
		require.Equal(t, want, r.After)
		require.True(t, r.Swapped)
		require.EqualValues(t, 122, r.Through)
		require.EqualValues(t, 122, r.Events)
		require.EqualValues(t, 122, total)
		require.IsIncreasing(t, steps)
		require.EqualValues(t, 122, steps[len(steps)-1])
		require.Equal(t, want, digest(t, open(t, cfg)), from)
	}
}

func TestRebuildPutsAWrongViewRight(t *testing.T) {
	cfg, want := closed(t)
	// A wall taken out whole: every checksum that is left is right.
	edit(t, cfg, func(tx *bbolt.Tx) error {
		c := tx.Bucket([]byte("wall")).Cursor()
		for key, _ := c.Seek([]byte("birch\x00w1\x00")); key != nil; key, _ = c.Next() {
			if err := c.Delete(); err != nil {
				return err
			}
		}
		return nil
	})
	r, err := projector.Check(t.Context(), cfg, projector.Keep, nil)
	require.NoError(t, err)
	require.False(t, r.Equal)
	require.False(t, r.Swapped)
	require.Equal(t, []string{"wall birch/w1", "wall birch/w2", "wall birch/w3"}, r.Differences)
	r, err = projector.Rebuild(t.Context(), cfg, projector.Keep, nil)
	require.NoError(t, err)
	require.False(t, r.Equal)
	require.True(t, r.Swapped)
	r, err = projector.Check(t.Context(), cfg, projector.Stream, nil)
	require.NoError(t, err)
	require.True(t, r.Equal)
	require.Equal(t, want, digest(t, open(t, cfg)))
}

func TestCheckFindsAFlippedByte(t *testing.T) {
	for _, text := range []string{`"top_m":0.3`, "id\":\"", "phone-"} {
		cfg, _ := closed(t)
		path := filepath.Join(cfg.Dir, "view.db")
		flip(t, path, text)
		harmed, err := os.ReadFile(path)
		require.NoError(t, err)
		r, err := projector.Check(t.Context(), cfg, projector.Keep, nil)
		require.NoError(t, err)
		require.False(t, r.Equal)
		require.Len(t, r.Differences, 1)
		require.Contains(t, r.Differences[0], "file is damaged")
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, harmed, after, "a check changes nothing")
	}
}

func TestStreamThatIsNotTheRecordIsNotSwappedIn(t *testing.T) {
	for name, change := range map[string]struct {
		do    func(s *tape)
		found string
	}{
		"lost":    {func(s *tape) { s.msgs = append(s.msgs[:50:50], s.msgs[51:]...) }, "message 51 is kept and not in the stream"},
		"changed": {func(s *tape) { s.msgs[50].Body = append([]byte(" "), s.msgs[50].Body...) }, "message 51 has other bytes in the stream"},
		"short":   {func(s *tape) { s.shorten(100) }, "the stream ends at 100, the kept messages at 122"},
		"emptied": {func(s *tape) { s.shorten(0) }, "the stream ends at 0, the kept messages at 122"},
	} {
		t.Run(name, func(t *testing.T) {
			cfg, want := closed(t)
			change.do(cfg.Stream.(*tape))
			r, err := projector.Rebuild(t.Context(), cfg, projector.Stream, nil)
			require.ErrorIs(t, err, projector.ErrRecordsDiffer)
			require.Equal(t, []string{change.found}, r.RecordsDiffer)
			require.False(t, r.Swapped)
			require.Equal(t, want, digest(t, open(t, cfg)))
		})
	}
}

func TestRebuildNeedsAStore(t *testing.T) {
	_, err := projector.Rebuild(t.Context(), newConfig(t, t.TempDir(), nil), projector.Keep, nil)
	require.ErrorIs(t, err, os.ErrNotExist)
}
