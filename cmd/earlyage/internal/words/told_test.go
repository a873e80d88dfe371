package words_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify/text"
	"earlyage/scheduler"
)

// Messages have a catalogue of their own, since they are made below the pages.
// Where both say the same thing they say it in the same words.
func TestAMessageSpeaksAsThePagesDo(t *testing.T) {
	pages, told := read(t, "es"), toldIn(t, "es")
	for _, kind := range events.AlertKinds() {
		prefix := "alert." + kind + "."
		require.Equal(t, pages[prefix+"name"], told[prefix+"name"], kind)
		require.Equal(t, pages[prefix+"do"], told[prefix+"action"], kind)
	}
	for _, lang := range []string{"en", "es"} {
		pages, told := read(t, lang), toldIn(t, lang)
		require.Equal(t, pages["phone.caution"], text.Caution(lang))
		for key, said := range told {
			if strings.HasPrefix(key, "role.") || strings.HasPrefix(key, "criterion.") {
				require.Equal(t, pages[key], said, "%s %s", lang, key)
			}
			if state, ok := strings.CutPrefix(key, "wall."); ok {
				require.Equal(t, pages["state."+state], said, "%s %s", lang, key)
			}
		}
	}
	require.Equal(t, scheduler.Caution, text.Caution("en"))
}

func toldIn(t *testing.T, lang string) map[string]string {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "..", "..", "..", "notify", "text", lang+".json"))
	require.NoError(t, err)
	out := map[string]string{}
	require.NoError(t, json.Unmarshal(raw, &out))
	return out
}
