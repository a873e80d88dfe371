package board_test

import (
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/board"
)

var rewrite = flag.Bool("rewrite", false, "write the golden files anew: read the difference before it is committed")

// golden compares a value with a file of testdata.
func golden(t *testing.T, name string, v any) {
	t.Helper()
	got, err := json.Marshal(v, json.Deterministic(true), jsontext.WithIndent("  "))
	require.NoError(t, err)
	got = append(got, '\n')
	path := filepath.Join("testdata", name)
	if *rewrite {
		require.NoError(t, os.WriteFile(path, got, 0o600))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got), name)
}

// The morning as a board, however the picture's parts are ordered.
func TestMorning(t *testing.T) {
	in := readRecord(t, "testdata/morning.txt").input(morning)
	b := board.Make(in)
	golden(t, "morning.json", b)
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		rng.Shuffle(len(in.Walls), func(i, j int) { in.Walls[i], in.Walls[j] = in.Walls[j], in.Walls[i] })
		rng.Shuffle(len(in.Alarms), func(i, j int) { in.Alarms[i], in.Alarms[j] = in.Alarms[j], in.Alarms[i] })
		rng.Shuffle(len(in.Sites), func(i, j int) { in.Sites[i], in.Sites[j] = in.Sites[j], in.Sites[i] })
		require.Equal(t, b, board.Make(in))
	}
}
