package projector_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector"
	"earlyage/projector/wall"
)

// flood puts messages on the tape that claim to be of a device and are not signed.
func (r *record) flood(n int, site, device, on string) (last uint64) {
	d := newDevice(site, device)
	for range n {
		last = r.add(r.t, d.lift(on, 0, 6, 1))
	}
	return last
}

// openDoubts lists what waits for an answer of the messages that were refused.
func openDoubts(t *testing.T, p *projector.Projector, at projector.Ref) (list []wall.Doubt) {
	t.Helper()
	view(t, p, func(v projector.View) { list = append(list, v.Wall(at).Doubts()...) })
	return slices.DeleteFunc(list, func(d wall.Doubt) bool { return d.Key.ID != "" })
}

// TestAFloodIsOneDoubt: whoever sends thousands of messages that do not count
// makes one doubt of them, which one answer ends.
func TestAFloodIsOneDoubt(t *testing.T) {
	c, w1 := newCrew(t), projector.Ref{Site: "alder", Wall: "w1"}
	first := c.last + 1
	last := c.flood(3000, "alder", "phone-9", "w1")
	doubts := openDoubts(t, foldRecord(t, c.record), w1)
	require.Len(t, doubts, 1)
	require.Equal(t, wall.Run{Source: "/site/alder/device/phone-9", Field: "source"}, doubts[0].Run)
	require.Equal(t, []uint64{first, last}, []uint64{doubts[0].Message, doubts[0].Last})

	c.ben.clock = monday.Add(24 * time.Hour)
	settled := c.ben.by(c.ben.event("w1", "doubt.settled", "", &events.DoubtSettled{Message: first + 1500, Reason: "a lost phone"}))
	c.send(c.ben, settled)
	require.Empty(t, openDoubts(t, foldRecord(t, c.record), w1), "by any of them")
	c.add(t, newDevice("alder", "phone-9").lift("w1", 0, 6, 2))
	doubts = openDoubts(t, foldRecord(t, c.record), w1)
	require.Len(t, doubts, 1, "what comes afterwards is a new doubt")
}

// TestAnEntryThatCrossesARotation: a phone sends with its old key while the new
// one is being taken in, and sends again signed anew. Nothing was lost then, and
// nobody has to answer for it.
func TestAnEntryThatCrossesARotation(t *testing.T) {
	c, w1 := newCrew(t), projector.Ref{Site: "alder", Wall: "w1"}
	old := c.anna.key
	c.rekey(c.anna, "anna's new key")
	var crossing []events.Event
	for range 40 {
		crossing = append(crossing, c.anna.lift("w1", 1))
	}
	for _, e := range crossing {
		c.addSigned(t, old, e)
	}
	require.Len(t, openDoubts(t, foldRecord(t, c.record), w1), 1)
	for i, e := range crossing {
		if i != 7 {
			c.send(c.anna, e)
		}
	}
	doubts := openDoubts(t, foldRecord(t, c.record), w1)
	require.Len(t, doubts, 1)
	require.Equal(t, 1, doubts[0].Count, "one was not sent again")
	c.send(c.anna, crossing[7])
	c.addSigned(t, old, crossing[7])
	p := foldRecord(t, c.record)
	require.Empty(t, openDoubts(t, p, w1))
	r, _, err := p.Receipt(c.anna.source)
	require.NoError(t, err)
	require.EqualValues(t, 40, r.UpTo)
}

// TestOtherBytesAreNoEntryThatCrossesARotation: what was refused stays a doubt
// when something else is accepted under its key, or elsewhere.
func TestOtherBytesAreNoEntryThatCrossesARotation(t *testing.T) {
	c, w1 := newCrew(t), projector.Ref{Site: "alder", Wall: "w1"}
	e := c.anna.lift("w1", 1)
	forged := bytes.Replace(encode(t, e), []byte(`"top_m":1`), []byte(`"top_m":2`), 1)
	c.put(e.Subject(), forged, "")
	c.send(c.anna, e)
	require.Len(t, openDoubts(t, foldRecord(t, c.record), w1), 1)
}

// TestReceiptsStaySmall: a device that had thousands of its entries refused gets
// a small receipt, and is told of each number within as many receipts as there
// are pages.
func TestReceiptsStaySmall(t *testing.T) {
	s, refused := newTape(), map[uint64]bool{}
	d := newDevice("alder", "phone-1")
	for n := uint64(1); n <= 2000; n++ {
		e := d.lift("w1", 0, 6, 1)
		body := encode(t, e)
		if n%2 == 0 {
			body = bytes.Replace(body, []byte(`"top_m":1`), []byte(`"top_m":900`), 1)
			refused[n] = true
		}
		s.put(e.Subject(), body, "")
	}
	p := foldAll(t, s)
	told := map[uint64]bool{}
	for range 1 + 1000/64 {
		r, ok, err := p.Receipt(d.source)
		require.NoError(t, err)
		require.True(t, ok)
		require.LessOrEqual(t, len(r.Refused), 128)
		text, err := json.Marshal(r)
		require.NoError(t, err)
		require.Less(t, len(text), 16<<10)
		require.EqualValues(t, 2000, r.Refused[len(r.Refused)-1].Number, "the newest always")
		for i, x := range r.Refused {
			require.True(t, i == 0 || r.Refused[i-1].Number < x.Number, "in order")
			told[x.Number] = true
		}
	}
	require.Equal(t, refused, told)
}

// BenchmarkWallAfterRefused looks at a wall and gives a receipt after so many
// refused messages: it is to cost the same.
func BenchmarkWallAfterRefused(b *testing.B) {
	for _, n := range []int{0, 10_000} {
		r := newRecord(b)
		r.appoint("alder", "p-anna", events.Crew)
		anna := r.enrol("alder", "phone-1", "p-anna")
		r.send(anna, anna.lift("w1", 1))
		r.flood(n, "alder", "phone-9", "w1")
		cfg := projector.Config{Dir: b.TempDir(), Stream: r.tape, Key: hubPublic}
		cfg.OpenWith(unsynced)
		p, err := projector.Open(cfg)
		require.NoError(b, err)
		ctx, cancel := context.WithCancel(b.Context())
		ended := make(chan error, 1)
		go func() { ended <- p.Run(ctx) }()
		require.NoError(b, p.Wait(ctx, r.last))
		b.Run(fmt.Sprint("receipt after ", n), func(b *testing.B) {
			for b.Loop() {
				_, _, err := p.Receipt(anna.source)
				require.NoError(b, err)
			}
		})
		b.Run(fmt.Sprint("one more after ", n), func(b *testing.B) {
			for b.Loop() {
				seq := r.addSigned(b, anna.key, anna.lift("w1", 1))
				require.NoError(b, p.Wait(b.Context(), seq))
			}
		})
		cancel()
		<-ended
		require.NoError(b, p.Close())
	}
}
