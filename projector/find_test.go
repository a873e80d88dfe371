package projector_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector"
)

// A message is found by its id, whatever came after; one that was not acceptable
// by itself hides no other. Those refused are found by their sequence and listed
// from any place on.
func TestFind(t *testing.T) {
	r := newRecord(t)
	r.appoint("mill", "p-ana", events.Foreman)
	ana := r.enrol("mill", "phone", "p-ana")
	lift := ana.lift("a", 0.6)
	forged := r.add(t, lift) // not signed
	first := r.send(ana, lift)
	again := r.send(ana, lift)
	other := ana.lift("a", 1.2)
	other.ID = lift.ID
	r.send(ana, other)
	late := r.add(t, ana.lift("b", 0.6))
	p := foldRecord(t, r)

	l, ok, err := p.First(lift.Source, lift.ID)
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, first, l.Seq)
	require.Equal(t, encode(t, lift), l.Body)
	require.Greater(t, again, l.Seq)
	for _, src := range []events.Source{{Site: "mill", Device: "phon"}, {Site: "yard", Device: "phone"}, {}} {
		_, ok, err = p.First(src, lift.ID)
		require.NoError(t, err)
		require.False(t, ok, src)
	}

	var all []uint64
	require.NoError(t, p.Read(func(v projector.View) error {
		v.EachRefused(0, func(row projector.RefusedRow) bool { all = append(all, row.Seq); return true })
		require.Equal(t, late, all[0])
		require.Equal(t, forged, all[len(all)-1])
		v.EachRefused(all[0], func(row projector.RefusedRow) bool {
			require.Equal(t, all[1], row.Seq)
			return false
		})
		v.EachRefused(1, func(projector.RefusedRow) bool { require.Fail(t, "there is none before the first"); return true })
		row, ok := v.RefusedAt(forged)
		require.True(t, ok)
		require.Equal(t, "signature", row.Field)
		_, ok = v.RefusedAt(first)
		require.False(t, ok)
		_, ok = v.RefusedAt(late + 1)
		require.False(t, ok)
		return nil
	}))
}
