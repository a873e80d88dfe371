package paper_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/paper"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// On paper too an alert is said in the units of the site and in the language, above
// what the record says, and an answer that was taken back is none. The feet are by
// NIST SP 811 (from memory: 1 ft = 0.3048 m): 1.31 m is 4.298 ft, 1.2 m 3.937 ft.
func TestAlertsInTheSitesUnits(t *testing.T) {
	in := theWeek(t).papers[early]
	from, to, have, limit := 8.0, 12.0, 1.31, 1.2
	ago := func(d time.Duration) int64 { return in.Page.At.Add(-d).UnixMilli() }
	back := wall.TakenBack{By: "p-9d4e", At: ago(10 * time.Minute), VoidBy: "p-2m8w", VoidAt: ago(5 * time.Minute), Reason: "meant another wall"}
	fast := wall.Alarm{
		ID: "alert-fast", Kind: scheduler.AlertRiseFast, Priority: scheduler.Urgent, Since: ago(time.Hour), RaisedSeq: 4, Text: "Rose 1.31 m in 60 min at 8.0 to 12.0 m, limit 1.20 m.",
		About:     &events.About{FromM: &from, ToM: &to, Measure: "height", Have: &have, Limit: &limit},
		TakenBack: []wall.TakenBack{back},
	}
	in.Page.Site.Units = "us"
	in.Page.Alarms = []face.Alarm{face.AlarmOf(early.Site, early.Wall, fast, in.Page.At.Time, nil, nil)}
	raw := wallPDF(t, in, paper.Letter)
	text := allText(read(t, raw))
	within(t, "us", read(t, raw))
	rest := follows(t, text, "us", "More concrete was placed here within 60 minutes than the site allows. Place: 26.2 to 39.4 ft; Height: 4.3 ft; Limit: 3.9 ft",
		"In the record: Rose 1.31 m in 60 min at 8.0 to 12.0 m, limit 1.20 m.", "nobody answered", "Answer of "+named("p-9d4e"), "taken back by "+named("p-2m8w"), "meant another wall")
	require.NotContains(t, rest[:200], tight("acknowledged"))
	if dir := os.Getenv(browser.ShotsEnv); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "paper-units.pdf"), raw, 0o600))
	}

	in.Words, in.Page.Site.Units = words.Of("es"), "si"
	fast.Acknowledged, fast.AcknowledgedBy = ago(time.Minute), "p-2m8w"
	in.Page.Alarms = []face.Alarm{face.AlarmOf(early.Site, early.Wall, fast, in.Page.At.Time, nil, nil)}
	text = allText(read(t, wallPDF(t, in, paper.A4)))
	follows(t, text, "es", "Altura: 1.31 m; Límite: 1.20 m", "En el registro: Rose 1.31 m", "Respuesta de "+named("p-9d4e"), "retirada por")
	require.NotContains(t, text, tight(in.Words.T("paper.alert.unanswered")))

	in.Words = words.Of("en")
	require.NotContains(t, allText(read(t, wallPDF(t, in, paper.A4))), tight("In the record: Rose"), "the record's own words are SI and English")
}
