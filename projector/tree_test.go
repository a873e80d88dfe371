package projector_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	foreign "github.com/transparency-dev/merkle/proof"
	"github.com/transparency-dev/merkle/rfc6962"
	"github.com/transparency-dev/merkle/testonly"
	"go.etcd.io/bbolt"
	"pgregory.net/rapid"

	"earlyage/projector"
	"earlyage/projector/merkle"
)

// tree reads a store's log.
func tree(t require.TestingT, p *projector.Projector, f func(projector.Tree)) {
	require.NoError(t, p.Tree(func(tree projector.Tree) error { f(tree); return nil }))
}

// leaves lists the bytes of every kept message.
func leaves(t require.TestingT, p *projector.Projector, last uint64) (seqs []uint64, list [][]byte) {
	require.NoError(t, p.Read(func(v projector.View) error {
		for seq := uint64(1); seq <= last; seq++ {
			if raw, err := v.Leaf(seq); err == nil && raw != nil {
				seqs, list = append(seqs, seq), append(list, raw)
			}
		}
		return nil
	}))
	return seqs, list
}

func split(proof []merkle.Hash) (out [][]byte) {
	for _, h := range proof {
		out = append(out, bytes.Clone(h[:]))
	}
	return out
}

// The log is the one of RFC 6962, by an implementation that is not ours:
// github.com/transparency-dev/merkle. However the messages came in, whatever is
// missing among their numbers.
func TestLogAgainstAForeignOne(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, d := newTape(), newDevice("north", "phone-1")
		for i, n := 0, rapid.IntRange(1, 200).Draw(rt, "messages"); i < n; i++ {
			if rapid.IntRange(0, 15).Draw(rt, "hole") == 0 {
				s.lose(uint64(rapid.IntRange(1, 9).Draw(rt, "lost"))) // #nosec G115 -- small
			}
			s.add(rt, d.reading("w1", float64(i%30)))
		}
		s.cuts = rapid.SliceOfN(rapid.IntRange(1, 90), 1, 5).Draw(rt, "cuts")
		dir := t.TempDir()
		cfg := newConfig(t, dir, s)
		cfg.OpenWith(unsynced)
		p, err := projector.Open(cfg)
		require.NoError(rt, err)
		defer func() { require.NoError(rt, p.Close()) }()
		stop := run(t, p)
		reach(t, p, s.last)
		require.NoError(rt, stop())
		seqs, list := leaves(rt, p, s.last)
		other := testonly.New(rfc6962.DefaultHasher)
		other.AppendData(list...)
		tree(rt, p, func(log projector.Tree) {
			size := log.Size()
			require.EqualValues(rt, len(list), size)
			root, err := log.Root(size)
			require.NoError(rt, err)
			require.Equal(rt, other.Hash(), root[:])
			at := rapid.IntRange(0, len(list)-1).Draw(rt, "leaf")
			index, err := log.IndexOf(seqs[at])
			require.NoError(rt, err)
			require.EqualValues(rt, at, index)
			in, err := log.Inclusion(index, size)
			require.NoError(rt, err)
			require.NoError(rt, foreign.VerifyInclusion(rfc6962.DefaultHasher, uint64(at), uint64(size), rfc6962.DefaultHasher.HashLeaf(list[at]), split(in), root[:])) // #nosec G115 -- not negative
			earlier := rapid.Int64Range(1, size).Draw(rt, "earlier")
			before, err := log.Root(earlier)
			require.NoError(rt, err)
			require.Equal(rt, other.HashAt(uint64(earlier)), before[:]) // #nosec G115 -- not negative
			con, err := log.Consistency(earlier, size)
			require.NoError(rt, err)
			require.NoError(rt, foreign.VerifyConsistency(rfc6962.DefaultHasher, uint64(earlier), uint64(size), split(con), before[:], root[:])) // #nosec G115 -- not negative
			require.NoError(rt, merkle.CheckInclusion(in, merkle.Checkpoint{Size: size, Root: root}, index, list[at]))
			require.NoError(rt, merkle.CheckConsistency(con, merkle.Checkpoint{Size: size, Root: root}, merkle.Checkpoint{Size: earlier, Root: before}))
			_, err = log.IndexOf(s.last + 1)
			require.Error(rt, err)
			_, err = log.Inclusion(index, size+1)
			require.Error(rt, err)
		})
	})
}

// hashed is a store of n messages, each a transaction of its own, with a hole,
// and a checkpoint halfway.
func hashed(t *testing.T, n int) (*projector.Projector, *tape, projector.Config) {
	t.Helper()
	s, d := newTape(), newDevice("north", "phone-1")
	cfg := newConfig(t, t.TempDir(), s)
	cfg.OpenWith(unsynced)
	s.cuts = []int{1}
	for i := range n / 2 {
		s.add(t, d.lift("w1", 0, 12, 0.01*float64(i+1)))
	}
	p := open(t, cfg)
	stop := run(t, p)
	reach(t, p, s.last)
	_, err := p.Checkpoint()
	require.NoError(t, err)
	s.lose(3)
	for i := range n - n/2 {
		s.add(t, d.reading("w1", float64(i%20)))
	}
	reach(t, p, s.last)
	require.NoError(t, stop())
	return p, s, cfg
}

func TestAStoreOfTheTimeBeforeGetsItsLog(t *testing.T) {
	p, s, cfg := hashed(t, 300)
	before, err := p.Checkpoint()
	require.NoError(t, err)
	require.NoError(t, p.ForgetTree())
	require.NoError(t, p.Close())
	p = open(t, cfg)
	after, err := p.Checkpoint()
	require.NoError(t, err)
	require.Equal(t, before.Root, after.Root)
	require.Equal(t, before.Size, after.Size)
	require.Equal(t, s.last, after.Through)
	wrong, err := p.CheckTree()
	require.NoError(t, err)
	require.Empty(t, wrong)
}

func TestCheckpointsAreKeptAndFollow(t *testing.T) {
	p, _, cfg := hashed(t, 100)
	last, err := p.Checkpoint()
	require.NoError(t, err)
	again, err := p.Checkpoint()
	require.NoError(t, err)
	require.Equal(t, last, again, "a log that has not grown")
	list, err := p.Checkpoints(0, 10)
	require.NoError(t, err)
	require.Len(t, list, 2)
	require.EqualValues(t, 50, list[0].Size)
	require.EqualValues(t, 50, list[0].Through)
	require.EqualValues(t, 100, list[1].Size)
	require.EqualValues(t, 103, list[1].Through, "behind the hole")
	for _, c := range list {
		got, err := merkle.OpenCheckpoint(c.Note, p.VerifierKey())
		require.NoError(t, err)
		require.Equal(t, c.Checkpoint, got)
	}
	tree(t, p, func(log projector.Tree) {
		con, err := log.Consistency(list[0].Size, list[1].Size)
		require.NoError(t, err)
		require.NoError(t, merkle.CheckConsistency(con, list[1].Checkpoint, list[0].Checkpoint))
	})
	r, err := projector.Check(t.Context(), afterClose(t, p, cfg), projector.Keep, nil)
	require.NoError(t, err)
	require.Empty(t, r.LogDiffers)
	require.True(t, r.Equal)
}

func afterClose(t *testing.T, p *projector.Projector, cfg projector.Config) projector.Config {
	t.Helper()
	require.NoError(t, p.Close())
	return cfg
}

// Whoever can write to the file, knows this program and mends every checksum is
// still found out: 1,000 single bits of messages (sequence, time, subject,
// signature, body), of hashes, of checkpoints and of what finds them.
func TestAnyFlippedBitIsFound(t *testing.T) {
	p, _, _ := hashed(t, 60)
	_, err := p.Checkpoint()
	require.NoError(t, err)
	clean, err := p.CheckTree()
	require.NoError(t, err)
	require.Empty(t, clean)
	random := rand.New(rand.NewPCG(6962, 1000)) // #nosec G404 -- repeatable on purpose
	places := map[string]int{}
	for range 1000 {
		bucket, key, before := anyValue(t, p, random)
		changed := bytes.Clone(before)
		bit := random.IntN(8 * (len(changed) - 4)) // the checksum is mended below
		changed[bit/8] ^= 1 << (bit % 8)
		if bucket == "leaf" {
			sealed, err := projector.SealLeaf(changed)
			if err == nil { // otherwise the length itself is broken, and is found as such
				changed = sealed
			}
		} else {
			changed = projector.Seal(key, changed[:len(changed)-4])
		}
		put(t, p, bucket, key, changed)
		wrong, err := p.CheckTree()
		if err != nil {
			wrong = append(wrong, err.Error())
		}
		require.NotEmpty(t, wrong, "bit %d of %s %x", bit, bucket, key)
		put(t, p, bucket, key, before)
		places[bucket]++
	}
	for _, bucket := range []string{"leaf", "tree", "checkpoint"} {
		require.Greater(t, places[bucket], 20, bucket)
	}
	clean, err = p.CheckTree()
	require.NoError(t, err)
	require.Empty(t, clean)
}

// anyValue picks a stored value of the record or of what proves it.
func anyValue(t *testing.T, p *projector.Projector, random *rand.Rand) (bucket string, key, value []byte) {
	t.Helper()
	bucket = []string{"leaf", "leaf", "leaf", "tree", "tree", "checkpoint"}[random.IntN(6)]
	require.NoError(t, p.TamperKeep(func(tx *bbolt.Tx) error {
		b := tx.Bucket([]byte(bucket))
		n := random.IntN(b.Stats().KeyN)
		c := b.Cursor()
		k, v := c.First()
		for range n {
			k, v = c.Next()
		}
		key, value = bytes.Clone(k), bytes.Clone(v)
		return nil
	}))
	return bucket, key, value
}

func put(t *testing.T, p *projector.Projector, bucket string, key, value []byte) {
	t.Helper()
	require.NoError(t, p.TamperKeep(func(tx *bbolt.Tx) error { return tx.Bucket([]byte(bucket)).Put(key, value) }))
}

// A message that is dropped, put in the place of another or added at the end is
// found, and by whose number.
func TestDroppedSwappedAndAddedMessagesAreFound(t *testing.T) {
	p, _, _ := hashed(t, 60)
	_, err := p.Checkpoint()
	require.NoError(t, err)
	leafOf := func(seq uint64) (key, value []byte) {
		key = fmt.Appendf(nil, "\x00\x00\x00\x00\x00\x00\x00%c", rune(seq))
		require.NoError(t, p.TamperKeep(func(tx *bbolt.Tx) error {
			value = bytes.Clone(tx.Bucket([]byte("leaf")).Get(key))
			return nil
		}))
		require.NotEmpty(t, value, "message %d", seq)
		return key, value
	}
	key, value := leafOf(20)
	_, other := leafOf(21)
	found := func(what string) {
		wrong, err := p.CheckTree()
		if err != nil {
			wrong = append(wrong, err.Error())
		}
		require.NotEmpty(t, wrong, what)
		t.Log(what, wrong[0])
	}
	require.NoError(t, p.TamperKeep(func(tx *bbolt.Tx) error { return tx.Bucket([]byte("leaf")).Delete(key) }))
	found("dropped")
	put(t, p, "leaf", key, other)
	found("another in its place")
	put(t, p, "leaf", key, value)
	wrong, err := p.CheckTree()
	require.NoError(t, err)
	require.Empty(t, wrong)
	put(t, p, "leaf", []byte("\x00\x00\x00\x00\x00\x00\x00\x7e"), value)
	found("added at the end")
}
