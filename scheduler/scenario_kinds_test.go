package scheduler_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler"
)

// notOfAWall are the kinds that the hub finds in itself or in what it told: no
// script of a wall brings them about. Each names the test that does.
var notOfAWall = map[string]string{
	scheduler.AlertStreamHole:  "TestAHoleInTheStreamShutsWindowsAndIsRaised",
	scheduler.AlertStreamShort: "TestAShortStreamIsSilence", // it cannot be said through the stream
	scheduler.AlertUntold:      "TestAnAlertThatReachedNobodyIsRaisedOnTheSite",
}

// answered finds in a script's answers the alerts that stand, come to stand, or
// are raised.
var answered = regexp.MustCompile(`(?m)^(?:alert|\d\d-\d\d \d\d:\d\d(?::\d\d(?:\.\d+)?)?(?: raised)?) ([a-z-]+) \[`)

// Every kind of alert that a wall can have occurs in the answers of a script, and
// every other in a test that is named here and exists.
func TestEveryKindOccursInAScenario(t *testing.T) {
	found := map[string]bool{}
	for _, text := range readAll(t, "..", "testdata", "scenarios", "*.txt") {
		for block := range strings.SplitSeq(text, "\n----\n") {
			answer, _, _ := strings.Cut(block, "\n\n") // what follows is the next directive
			for _, m := range answered.FindAllStringSubmatch(answer, -1) {
				found[m[1]] = true
			}
		}
	}
	tests := strings.Join(readAll(t, "*_test.go"), "\n")
	for _, kind := range events.AlertKinds() {
		if name := notOfAWall[kind]; name != "" {
			require.Contains(t, tests, "func "+name+"(", kind)
			require.False(t, found[kind], "%s is a wall's: it needs no test of its own", kind)
			continue
		}
		require.True(t, found[kind], "no script raises %s", kind)
	}
	for kind := range found {
		require.Contains(t, events.AlertKinds(), kind, "a script raises what is no kind")
	}
}

func readAll(t *testing.T, pattern ...string) (texts []string) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(pattern...))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, path := range files {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		texts = append(texts, string(text))
	}
	return texts
}
