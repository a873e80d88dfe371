package projector_test

import (
	"errors"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/projector"
	"earlyage/projector/wall"
)

// brittle is a fold that panics on some sequences.
type brittle struct {
	poison  []uint64
	facts   []uint64
	refused []uint64
}

func (b *brittle) Add(facts ...wall.Fact) {
	for _, f := range facts {
		if slices.Contains(b.poison, f.Seq) {
			panic("poison")
		}
		b.facts = append(b.facts, f.Seq)
	}
}
func (b *brittle) AddRefused(list ...wall.Refused) {
	for _, r := range list {
		b.refused = append(b.refused, r.Seq)
	}
}
func (b *brittle) Dirty() []wall.Chunk { return []wall.Chunk{{Key: []byte{byte(len(b.facts))}}} }

func TestEventThatBreaksTheFoldIsSetAside(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(rt, "facts")
		poison := rapid.SliceOfN(rapid.Uint64Range(1, 40), 0, 4).Draw(rt, "poison")
		var facts []wall.Fact
		var good, bad []uint64
		for seq := range uint64(n) {
			facts = append(facts, wall.Fact{Seq: seq + 1})
			if slices.Contains(poison, seq+1) {
				bad = append(bad, seq+1)
			} else {
				good = append(good, seq+1)
			}
		}
		again := func() (*brittle, error) { return &brittle{poison: poison}, nil }
		st, _ := again()
		st, chunks, broken, err := projector.FoldGroup(st, again, facts, []wall.Refused{{Seq: 99}})
		require.NoError(rt, err)
		require.Equal(rt, good, st.facts)
		require.Equal(rt, append([]uint64{99}, bad...), st.refused)
		require.Len(rt, broken, len(bad))
		for i, f := range broken {
			require.Equal(rt, bad[i], f.Seq)
		}
		require.Equal(rt, []byte{byte(len(good))}, chunks[0].Key)
	})
}

func TestStateThatCannotBeLoadedAgainIsAnError(t *testing.T) {
	gone := errors.New("gone")
	_, _, _, err := projector.FoldGroup(&brittle{poison: []uint64{1}}, func() (*brittle, error) { return nil, gone }, []wall.Fact{{Seq: 1}}, nil)
	require.ErrorIs(t, err, gone)
}
