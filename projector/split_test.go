package projector_test

import (
	"context"
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector"
)

// randomTape draws a stream of everything that may come: good events, repeats,
// conflicts, garbage, strangers, holes, company-wide events.
func randomTape(rt *rapid.T) *tape {
	s := newTape()
	var devices []*device
	for _, site := range []string{"alder", "birch", "_"} {
		for i := range 2 {
			d := newDevice(site, fmt.Sprint("phone-", i))
			d.plain = i == 1
			devices = append(devices, d)
		}
	}
	for range rapid.IntRange(1, 40).Draw(rt, "messages") {
		d := rapid.SampledFrom(devices).Draw(rt, "device")
		s.draw(rt, d)
	}
	return s
}

func (s *tape) draw(rt *rapid.T, d *device) {
	if d.source.Site == "_" {
		s.drawCompany(rt, d)
		return
	}
	wall := rapid.SampledFrom([]string{"w1", "w2"}).Draw(rt, "wall")
	switch what := rapid.IntRange(0, 10).Draw(rt, "what"); {
	case what == 0:
		s.add(rt, d.event("", "mix.approved", "engineer-1", &events.MixApproved{Mix: "c30", Binder: "portland"}))
	case what == 1:
		s.add(rt, d.event("", "device.reported", "", &events.DeviceReported{Last: d.number + 1}))
	case what == 2:
		d.number++ // a gap
		s.add(rt, d.reading(wall, 10))
	case what == 3:
		s.lose(1)
		s.add(rt, d.reading(wall, 10))
	case what == 4:
		s.put("pour."+d.source.Site+"."+wall+".lift.placed", []byte("{"), "")
	case what == 5 && len(s.msgs) > 0:
		m := rapid.SampledFrom(s.msgs).Draw(rt, "repeated")
		s.put(m.Subject, m.Body, m.Signature)
	case what == 6 && len(s.msgs) > 0:
		m := rapid.SampledFrom(s.msgs).Draw(rt, "misplaced")
		s.put("pour.birch.w2.lift.placed", m.Body, m.Signature)
	case what == 7:
		e := d.lift(wall, 0, 6, 1)
		s.add(rt, e)
		e.Wall = "w2"
		s.add(rt, e)
	case what == 8:
		e := d.event(wall, "alert.raised", "", &events.AlertRaised{
			Alert: "a", Kind: "k", Cause: "c", Priority: "low", Since: monday, Text: "t", Rules: "r",
		})
		e.Source.Device = "hub"
		e.Sequence = 0
		if rapid.Bool().Draw(rt, "signed") {
			s.addSigned(rt, hubKey, e)
		} else {
			s.add(rt, e)
		}
	default:
		s.add(rt, d.lift(wall, 0, 6, 1))
	}
}

// drawCompany draws an event of the whole company, which has no walls.
func (s *tape) drawCompany(rt *rapid.T, d *device) {
	switch rapid.IntRange(0, 2).Draw(rt, "what") {
	case 0:
		e := d.event("", "mix.approved", "engineer-1", &events.MixApproved{Mix: "c40", Binder: "portland"})
		s.add(rt, e)
		if rapid.Bool().Draw(rt, "twice") {
			s.add(rt, e)
		}
	case 1:
		s.add(rt, d.event("", "hole.accepted", "keeper-1", &events.HoleAccepted{From: 1, To: 1 << 30, Reason: "healed"}))
	default:
		s.put("pour._._.mix.approved", []byte("{}"), "")
	}
}

// foldSplit folds a tape cut into drawn batches, with a restart at a drawn
// place, and returns the view's digest.
func foldSplit(rt *rapid.T, cfg projector.Config, s *tape) (d [32]byte) {
	s.cuts = rapid.SliceOfN(rapid.IntRange(1, 9), 1, 5).Draw(rt, "cuts")
	cfg.WallsMax = rapid.IntRange(1, 4).Draw(rt, "walls")
	restart := rapid.Uint64Range(0, s.last).Draw(rt, "restart")
	for _, upTo := range []uint64{restart, s.last} {
		p, err := projector.Open(cfg)
		require.NoError(rt, err)
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		done := make(chan error, 1)
		go func() { done <- p.Run(ctx) }()
		require.NoError(rt, p.Wait(ctx, upTo))
		cancel()
		require.NoError(rt, <-done)
		require.NoError(rt, p.Read(func(v projector.View) (err error) { d, err = v.Digest(); return err }))
		require.NoError(rt, p.Close())
	}
	return d
}

// TestAnySplitGivesTheSameView: however the stream is cut into batches, however
// few walls fit in memory, wherever the hub restarts, and whether the view is
// folded live, from the kept bytes or from the stream, its digest is one.
func TestAnySplitGivesTheSameView(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := randomTape(rt)
		var want [32]byte
		for i := range 2 {
			dir, err := os.MkdirTemp(t.TempDir(), "")
			require.NoError(rt, err)
			cfg := newConfig(t, dir, s)
			cfg.Log = nil
			cfg.OpenWith(unsynced)
			got := foldSplit(rt, cfg, s)
			if i == 0 {
				want = got
			}
			require.Equal(rt, want, got)
			s.cuts = nil
			cfg.BatchMax = rapid.IntRange(1, 9).Draw(rt, "batch")
			for _, from := range []projector.From{projector.Keep, projector.Stream} {
				r, err := projector.Check(t.Context(), cfg, from, nil)
				require.NoError(rt, err)
				require.True(rt, r.Equal, "%s: %v %v", from, r.Differences, r.RecordsDiffer)
				require.Equal(rt, want, r.After)
			}
		}
	})
}
