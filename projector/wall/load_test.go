package wall_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"regexp"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/wall"
)

// everyKind is a line of every kind of event, as the package of the events holds
// it, each under an id of its own.
func everyKind(t testing.TB) (out []byte) {
	t.Helper()
	lines, err := os.ReadFile("../../events/testdata/events.ndjson")
	require.NoError(t, err)
	n := 0
	for line := range bytes.Lines(lines) {
		n++
		out = append(out, regexp.MustCompile(`"id":"[^"]*"`).ReplaceAll(line, fmt.Appendf(nil, `"id":"e-%d"`, n))...)
	}
	return out
}

// factsOf reads the lines that are events, recorded one by one from a moment on;
// all are taken to speak of one wall.
func factsOf(lines []byte) (facts []wall.Fact) {
	for line := range bytes.Lines(lines) {
		e, err := events.Decode("", bytes.TrimSpace(line))
		if err != nil {
			continue
		}
		seq := uint64(len(facts) + 1)
		facts = append(facts, wall.Fact{Event: e, Seq: seq, Recorded: spoken.Add(time.Duration(seq) * time.Second), Trusted: seq%2 == 0})
	}
	return facts
}

// stored collects chunks as a store would hold them.
func stored(chunks ...wall.Chunk) func(yield func(key, value []byte) bool) {
	return func(yield func(key, value []byte) bool) {
		for _, c := range chunks {
			if !yield(c.Key, c.Value) {
				return
			}
		}
	}
}

// FuzzLoad reads a stored chunk, which may be anything: it is an error or a
// state, and what a state stores gives the same state.
func FuzzLoad(f *testing.F) {
	w := wall.New("mill", "a")
	w.Add(factsOf(everyKind(f))...)
	w.AddRefused(wall.Refused{Seq: 900, Recorded: spoken, ID: "x", Field: "data", Reason: "no"})
	for _, c := range w.Dirty() {
		f.Add(c.Key, c.Value)
	}
	f.Add([]byte("s/site/mill/device/phone-1\x00data"), []byte{3, 9, 2, 4, 2, 'n', 'o'})
	f.Add([]byte("o"), []byte{3, 9, 2, 4, 2, 'n', 'o'})
	f.Add([]byte("snone"), []byte{3, 9, 2, 4, 2, 'n', 'o'})
	f.Add([]byte{}, []byte{})
	f.Add([]byte("ttop/p/1"), bytes.Repeat([]byte{0xff}, 40))
	f.Add([]byte("t//"), []byte{0})
	f.Fuzz(func(t *testing.T, key, value []byte) {
		s, err := wall.Load("mill", "a", stored(wall.Chunk{Key: key, Value: value}))
		if err != nil {
			return
		}
		once := s.Digest()
		// What was loaded can be told again by what it holds.
		again, err := wall.Load("mill", "a", stored(wall.Chunk{Key: key, Value: value}, wall.Chunk{Key: key, Value: value}))
		if err == nil && key[0] != 't' {
			require.Equal(t, once, again.Digest(), "a chunk put back twice")
		}
	})
}

// A stored temperature that no reading can have is damage; it is not taken for
// the temperature that its lowest bits spell.
func TestDamagedTemperature(t *testing.T) {
	w := wall.New("mill", "a")
	w.Add(factsOf(everyKind(t))...)
	tried := 0
	for _, c := range w.Dirty() {
		if c.Key[0] != 't' {
			continue
		}
		last := len(c.Value) - 1
		for last > 0 && c.Value[last-1]&0x80 != 0 {
			last--
		}
		for _, centi := range []int64{1 << 16, math.MaxInt16 + 1, math.MinInt16 - 1} {
			damaged := binary.AppendVarint(slices.Clone(c.Value[:last]), centi)
			_, err := wall.Load("mill", "a", stored(wall.Chunk{Key: c.Key, Value: damaged}))
			require.ErrorContains(t, err, "cannot be read", "%s with %d hundredths of a degree", c.Key, centi)
			tried++
		}
	}
	require.NotZero(t, tried)
}

// FuzzFold folds whatever decodes: the order, repetition and the way through the
// store make no difference, and nothing stops it.
func FuzzFold(f *testing.F) {
	f.Add(everyKind(f), uint16(7))
	for line := range bytes.Lines(everyKind(f)) {
		f.Add(bytes.Clone(line), uint16(1))
	}
	f.Fuzz(func(t *testing.T, lines []byte, cut uint16) {
		facts := factsOf(lines)
		if len(facts) == 0 {
			return
		}
		whole := wall.New("mill", "a")
		whole.Add(facts...)
		want := whole.Digest()

		apart := wall.New("mill", "a")
		back := slices.Clone(facts)
		slices.Reverse(back)
		apart.Add(back[:int(cut)%len(back)]...)
		first := apart.Dirty()
		apart.Add(append(back, facts...)...)
		require.Equal(t, want, apart.Digest(), "backwards, in two parts, twice")

		byKey := map[string]wall.Chunk{}
		for _, c := range append(first, apart.Dirty()...) {
			byKey[string(c.Key)] = c
		}
		var chunks []wall.Chunk
		for _, c := range byKey {
			chunks = append(chunks, c)
		}
		loaded, err := wall.Load("mill", "a", stored(chunks...))
		require.NoError(t, err)
		require.Equal(t, want, loaded.Digest(), "through the store")
		require.Equal(t, whole.WordsDigest(), loaded.WordsDigest())
		for _, other := range []*wall.State{apart, loaded} {
			require.Equal(t, whole.Alarms(), other.Alarms())
			require.Equal(t, whole.Rests(), other.Rests())
		}
	})
}
