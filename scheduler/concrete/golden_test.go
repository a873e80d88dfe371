package concrete_test

import (
	commandline "flag"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

var rewrite = commandline.Bool("rewrite", false, "write the golden files of this package again, to be reviewed as a diff")

// checkGolden compares text with a golden file, or writes the file again.
func checkGolden(t *testing.T, file, text string) {
	t.Helper()
	if *rewrite {
		require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(want), text, "%s; write it again with -rewrite", file)
}
