package alertpage_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler"
	"earlyage/scheduler/internal/alertpage"
)

func TestThePageOfTheAlertsIsUpToDate(t *testing.T) {
	page, err := os.ReadFile(filepath.Join("..", "..", "ALERTS.md"))
	require.NoError(t, err)
	require.Equal(t, string(alertpage.Page()), string(page), "go generate ./scheduler writes it again")
}

func TestThePageHasEveryKindWithAllThatIsKnownOfIt(t *testing.T) {
	page := strings.Join(strings.Fields(string(alertpage.Page())), " ")
	for _, name := range events.AlertKinds() {
		_, section, found := strings.Cut(page, "### "+name+" ")
		require.True(t, found, name)
		section, _, _ = strings.Cut(section, "### ")
		k := scheduler.AlertKinds[name]
		for _, text := range []string{k.Name, k.Cause, k.Consequence, k.Action, k.Do, k.Deadband, "Acts first**: " + k.Who} {
			require.Contains(t, section, strings.Join(strings.Fields(text), " "), name)
		}
		for _, r := range events.Addressees(name) {
			require.Contains(t, section, r.Title(), "%s: who may answer", name)
		}
	}
	require.Contains(t, page, scheduler.Caution)
}

func TestNoLineOfThePageIsTooLong(t *testing.T) {
	for line := range strings.SplitSeq(string(alertpage.Page()), "\n") {
		require.LessOrEqual(t, len([]rune(line)), 128, line)
	}
}
