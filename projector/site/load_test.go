package site_test

import (
	"bytes"
	"fmt"
	"os"
	"regexp"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
)

var morning = time.Date(2026, 1, 15, 6, 0, 0, 0, time.UTC)

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

// factsOf reads the lines that are events, recorded one by one from a moment on.
func factsOf(lines []byte) (facts []wall.Fact) {
	for line := range bytes.Lines(lines) {
		e, err := events.Decode("", bytes.TrimSpace(line))
		if err != nil {
			continue
		}
		seq := uint64(len(facts) + 1)
		facts = append(facts, wall.Fact{Event: e, Seq: seq, Recorded: morning.Add(time.Duration(seq) * time.Second)})
	}
	return facts
}

func stored(chunks ...wall.Chunk) func(yield func(key, value []byte) bool) {
	return func(yield func(key, value []byte) bool) {
		for _, c := range chunks {
			if !yield(c.Key, c.Value) {
				return
			}
		}
	}
}

// latest are the chunks as a store holds them: of each key the last.
func latest(chunks []wall.Chunk) (out []wall.Chunk) {
	byKey := map[string]wall.Chunk{}
	for _, c := range chunks {
		byKey[string(c.Key)] = c
	}
	for _, c := range byKey {
		out = append(out, c)
	}
	return out
}

// FuzzLoad reads a stored chunk of a site, which may be anything.
func FuzzLoad(f *testing.F) {
	s := site.New("north")
	s.Add(factsOf(everyKind(f))...)
	s.AddRefused(wall.Refused{Seq: 900, Recorded: morning, Field: "data", Reason: "no"})
	for _, c := range s.Dirty() {
		f.Add(c.Key, c.Value)
	}
	f.Add([]byte("tair/p/1"), bytes.Repeat([]byte{0xff}, 40))
	f.Fuzz(func(_ *testing.T, key, value []byte) {
		if s, err := site.Load("north", stored(wall.Chunk{Key: key, Value: value})); err == nil {
			s.Digest()
			s.Zone()
			s.PolicyAt(0)
		}
	})
}

// FuzzLoadDevices reads a stored chunk of a site's devices, which may be anything.
func FuzzLoadDevices(f *testing.F) {
	d := site.NewDevices("north")
	for _, x := range factsOf(everyKind(f)) {
		d.Add(x)
	}
	d.Refuse("phone", 77, morning)
	for _, c := range d.Dirty() {
		f.Add(c.Key, c.Value)
	}
	f.Add([]byte("dphone"), []byte{0xff, 0xff})
	f.Add([]byte("p\x00\x00\x00\x00\x00\x00\x00\x01phone"), []byte{2, 1})
	f.Fuzz(func(_ *testing.T, key, value []byte) {
		if d, err := site.LoadDevices("north", stored(wall.Chunk{Key: key, Value: value})); err == nil {
			for _, name := range d.List() {
				d.UpTo(name)
				d.Number(name, 1<<63)
				d.ReportedSince(name, 0, 1)
				d.GivenUp(name, 0)
			}
			d.Gaps(func(string, site.Gap) {})
			d.Digest()
		}
	})
}

// FuzzFold folds whatever decodes: order, repetition and the way through the
// store make no difference to a site, and nothing stops it.
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
		name := facts[0].Source.Site
		whole := site.New(name)
		whole.Add(facts...)
		want := whole.Digest()
		apart := site.New(name)
		back := slices.Clone(facts)
		slices.Reverse(back)
		apart.Add(back[:int(cut)%len(back)]...)
		first := apart.Dirty()
		apart.Add(append(back, facts...)...)
		require.Equal(t, want, apart.Digest(), "backwards, in two parts, twice")
		loaded, err := site.Load(name, stored(latest(append(first, apart.Dirty()...))...))
		require.NoError(t, err)
		require.Equal(t, want, loaded.Digest(), "through the store")

		devices := site.NewDevices(name)
		for _, x := range facts {
			if x.Source.Site == name {
				devices.Add(x)
			}
		}
		digest := devices.Digest()
		again, err := site.LoadDevices(name, stored(devices.Dirty()...))
		require.NoError(t, err)
		require.Equal(t, digest, again.Digest(), "devices through the store")
	})
}
