package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A file is written whole or not at all, and is its owner's.
func TestWriteWhole(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "register.csv")
	require.NoError(t, os.WriteFile(name, []byte("before"), 0o644))
	require.NoError(t, writeWhole(name, []byte("after")))
	body, err := os.ReadFile(name)
	require.NoError(t, err)
	require.Equal(t, "after", string(body))
	info, err := os.Stat(name)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())

	// A folder stands where the file should: it stays, and nothing is left beside.
	taken := filepath.Join(dir, "taken")
	require.NoError(t, os.MkdirAll(filepath.Join(taken, "full"), 0o755))
	require.ErrorContains(t, writeWhole(taken, []byte("after")), "write "+taken)
	list, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, list, 2)
}
