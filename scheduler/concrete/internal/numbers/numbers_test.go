package numbers_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/scheduler/concrete/internal/numbers"
)

var (
	packageFolder = filepath.Join("..", "..")
	rowsFolder    = filepath.Join("..", "..", "..", "..", "testdata", "reference")
)

func TestPageIsUpToDate(t *testing.T) {
	want, err := numbers.Page(packageFolder, rowsFolder)
	require.NoError(t, err)
	got, err := os.ReadFile(filepath.Join(packageFolder, "NUMBERS.md"))
	require.NoError(t, err)
	require.True(t, string(want) == string(got), "NUMBERS.md is stale: go generate ./scheduler/concrete")
}

// Every row of every file is on the page, and every disagreement.
func TestPageHoldsEveryRow(t *testing.T) {
	page, err := numbers.Page(packageFolder, rowsFolder)
	require.NoError(t, err)
	files, err := filepath.Glob(filepath.Join(rowsFolder, "*.csv"))
	require.NoError(t, err)
	rows := 0
	for _, file := range files {
		f, err := os.Open(file)
		require.NoError(t, err)
		records, err := csv.NewReader(f).ReadAll()
		require.NoError(t, f.Close())
		require.NoError(t, err)
		rows += len(records) - 1
	}
	// Rows of section 16 that lie in another file stand there and again where
	// sources disagree.
	require.GreaterOrEqual(t, strings.Count(string(page), "](#s"), rows)
	for _, want := range []string{"### 16.14", "Not asserted", "| from memory |", "common practice, no source"} {
		require.Contains(t, string(page), want)
	}
	require.NotContains(t, string(page), "](#s0)")
}

// copied is a folder of rows with one file changed.
func copied(t *testing.T, file string, change func(string) string) string {
	t.Helper()
	folder := t.TempDir()
	files, err := filepath.Glob(filepath.Join(rowsFolder, "*.csv"))
	require.NoError(t, err)
	for _, from := range files {
		text, err := os.ReadFile(from)
		require.NoError(t, err)
		if filepath.Base(from) == file {
			text = []byte(change(string(text)))
		}
		require.NoError(t, os.WriteFile(filepath.Join(folder, filepath.Base(from)), text, 0o644))
	}
	return folder
}

func TestPageRefusesGaps(t *testing.T) {
	for want, folder := range map[string]string{
		"01-nurse-saul.csv: none":               copied(t, "01-nurse-saul.csv", func(s string) string { return strings.SplitAfter(s, "\n")[0] }),
		"the head is not":                       copied(t, "05-joints.csv", func(s string) string { return "x" + s }),
		`status "believed" is none`:             copied(t, "05-joints.csv", func(s string) string { return strings.Replace(s, "from memory", "believed", 1) }),
		"disagreement 16.9: 0 rows":             copied(t, "16-disagreements.csv", func(s string) string { return strings.ReplaceAll(s, "16.9,", "16.99,") }),
		"read reference rows 05-joints.csv: re": copied(t, "05-joints.csv", func(s string) string { return s + "one,two\n" }),
	} {
		_, err := numbers.Page(packageFolder, folder)
		require.ErrorContains(t, err, want)
	}
	extra := copied(t, "", nil)
	require.NoError(t, os.WriteFile(filepath.Join(extra, "99-own.csv"), []byte("item,function,inputs,output,expected,tolerance,unit,source,status\n"), 0o644))
	_, err := numbers.Page(packageFolder, extra)
	require.ErrorContains(t, err, "99-own.csv: of no topic")
	_, err = numbers.Page(t.TempDir(), rowsFolder)
	require.Error(t, err)
}
