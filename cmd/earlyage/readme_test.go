package main

import (
	"os"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"

	"earlyage/scheduler"
)

// The README shows how the demo really ends, names every command, and carries
// the caution.
func TestReadmeIsTrue(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	readme := string(text)
	end, err := os.ReadFile("internal/demo/testdata/end.txt")
	require.NoError(t, err)
	_, walls, found := strings.Cut(string(end), "\n\n")
	require.True(t, found)
	require.Contains(t, readme, strings.TrimSpace(walls))
	require.Contains(t, strings.Join(strings.Fields(readme), " "), scheduler.Caution)

	parser, err := kong.New(&grammar{})
	require.NoError(t, err)
	for _, command := range parser.Model.Children {
		require.Contains(t, readme, "`"+command.Name, "the command is not in the README")
	}
}
