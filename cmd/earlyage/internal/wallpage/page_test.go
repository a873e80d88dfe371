package wallpage_test

import (
	"bytes"
	"flag"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/projector"
	"earlyage/scheduler"
)

var write = flag.Bool("write", false, "write the golden files anew")

func golden(t *testing.T, name string, v any) {
	t.Helper()
	got, err := json.Marshal(v, json.Deterministic(true), jsontext.WithIndent(" "))
	require.NoError(t, err)
	got = append(got, '\n')
	if *write {
		require.NoError(t, os.WriteFile("testdata/"+name, got, 0o600))
	}
	want, err := os.ReadFile("testdata/" + name)
	require.NoError(t, err)
	require.True(t, bytes.Equal(want, got), "%s: run with -write and look at the difference", name)
}

var wall1 = scheduler.Ref{Site: "tverrbakken", Wall: "wall-1"}

var weekSent sync.Map // the record is the same for all tests, and takes seconds to make

func week(t testing.TB) *record {
	t.Helper()
	if have, ok := weekSent.Load("week"); ok {
		r := *have.(*record)
		r.t = t
		return &r
	}
	r := readRecord(t)
	r.hear(noon)
	weekSent.Store("week", r)
	return r
}

func look(t testing.TB, s *store, ref scheduler.Ref, asOf time.Time) (out wallpage.Page) {
	t.Helper()
	require.NoError(t, s.Wall(t.Context(), ref, asOf, func(in wallpage.Input) error { out = wallpage.Make(in); return nil }))
	return out
}

func TestPage(t *testing.T) {
	s := week(t).fold(noon)
	golden(t, "wall-1.json", look(t, s, wall1, time.Time{}))
	require.NoError(t, s.Look(t.Context(), func(in board.Input) error {
		golden(t, "exceptions.json", wallpage.Exceptions(in))
		return nil
	}))
}

// What AsOf folds in memory is what the projector had folded at that moment.
func TestAsOfIsWhatTheProjectorFolded(t *testing.T) {
	r := week(t)
	whole := r.fold(noon)
	var all []wallpage.Message
	require.NoError(t, whole.p.Read(func(v projector.View) error { all = whole.messages(v, wall1.Site); return nil }))
	for _, at := range []time.Time{noon.Add(-119 * time.Hour), noon.Add(-100 * time.Hour), noon.Add(-89 * time.Hour), noon.Add(-72*time.Hour + time.Second), noon.Add(-48 * time.Hour), noon} {
		then := r.fold(at)
		in, err := wallpage.AsOf(all, wall1, at)
		require.NoError(t, err)
		require.NoError(t, then.p.Read(func(v projector.View) error {
			require.Equal(t, v.Wall(projector.Ref(wall1)).Digest(), in.Wall.Digest(), "%s: wall", at)
			require.Equal(t, v.Wall(projector.Ref(wall1)).WordsDigest(), in.Wall.WordsDigest(), "%s: the hub's words", at)
			require.Equal(t, v.Site(wall1.Site).Digest(), in.Site.Digest(), "%s: site", at)
			sheet := scheduler.SheetOf(v.Site(wall1.Site), v.Devices(wall1.Site), v.Wall(projector.Ref(wall1)), scheduler.Hub{}, at)
			require.Equal(t, sheet, in.Sheet, "%s", at)
			return nil
		}))
	}
}
