package board_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// answeredOnce has on a site in US units an alert whose only answer was taken
// back, one with a further answer, and one that has no numbers.
func answeredOnce(t testing.TB) board.Input {
	in := lived(t)
	for i := range in.Sites {
		in.Sites[i].Units = "us"
	}
	from, to, have, limit := 8.0, 12.0, 1.31, 1.2
	at := func(minutes int) int64 { return morning.Add(time.Duration(minutes) * time.Minute).UnixMilli() }
	fast := wall.Alarm{
		ID: "alert-fast", Kind: scheduler.AlertRiseFast, Cause: "a", Priority: scheduler.Urgent, Since: at(-12), RaisedSeq: 4, Text: "Rose 1.31 m in 60 min at 8.0 to 12.0 m, limit 1.20 m. Move on, and look at the form.",
		About:     &events.About{FromM: &from, ToM: &to, Measure: "height", Have: &have, Limit: &limit},
		TakenBack: []wall.TakenBack{{By: "p-4w6d", At: at(-9), VoidBy: "p-9z2k", VoidAt: at(-4), Reason: "meant <another> wall"}},
	}
	again := fast
	again.ID, again.Cause, again.Acknowledged, again.AcknowledgedBy = "alert-again", "b", at(-1), "p-9z2k"
	again.About = nil
	in.Alarms = nil
	for _, a := range []wall.Alarm{fast, again} {
		in.Alarms = append(in.Alarms, face.AlarmOf("alder-court", "west-1", a, morning, nil, nil))
	}
	return in
}

// An alert speaks the language of its reader and the units of its site, beside the
// record's words; an answer that was taken back is told of and is none. The feet
// are by NIST SP 811 (from memory: 1 ft = 0.3048 m).
func TestAlertsSpeakTheSitesUnits(t *testing.T) {
	in := answeredOnce(t)
	b := board.Make(in)
	require.Equal(t, []string{"alert-fast", "alert-again"}, []string{b.Alerts[0].ID, b.Alerts[1].ID})
	require.Equal(t, []string{"", board.Acknowledged}, []string{b.Alerts[0].Answered, b.Alerts[1].Answered})
	require.Empty(t, b.Alerts[0].By)
	require.True(t, b.Alerts[0].At.IsZero())
	require.Equal(t, "meant <another> wall", b.Alerts[0].TakenBack[0].Reason)

	s := serve(t, in, nil)
	s.sight = dispatcher
	documents := map[string]string{}
	for _, lang := range words.Languages() {
		documents[lang] = s.get(t, "/alerts?lang="+lang).Body.String()
	}
	browser.ValidHTML(t, documents)
	require.Contains(t, documents["es"], "Altura: 4.3 ft; Límite: 3.9 ft")
	require.Contains(t, documents["es"], "En el registro: Rose 1.31 m in 60 min")
	require.Contains(t, documents["es"], "Respuesta de Noor, 10:11, retirada por p-9z2k, 10:16: meant &lt;another&gt; wall")

	w := suite.Browser(t)
	for _, size := range sizes {
		tab := w.Tab("units-"+size.name, size.size)
		tab.Open("http://" + s.address + "/alerts")
		first := tab.Text(`[id="a.alert-fast"]`)
		require.Contains(t, first, "Place: 26.2 to 39.4 ft; Height: 4.3 ft; Limit: 3.9 ft")
		require.Contains(t, first, "In the record: Rose 1.31 m in 60 min at 8.0 to 12.0 m, limit 1.20 m.")
		require.Contains(t, first, "Answer of Noor, 10:11, taken back by p-9z2k, 10:16: meant <another> wall")
		require.Contains(t, first, "unacknowledged")
		require.NotContains(t, strings.ReplaceAll(first, "1.31 m in 60 min at 8.0 to 12.0 m, limit 1.20 m", ""), " m.")
		tab.See(`[id="a.alert-fast"]:not([data-answered]) [data-do="acknowledge"]`)
		again := tab.Text(`[id="a.alert-again"]`)
		require.Contains(t, again, "Rose 1.31 m in 60 min", "without numbers the record's words stand")
		require.NotContains(t, again, "In the record")
		require.Contains(t, again, "by p-9z2k, 10:19")
		require.Contains(t, again, "taken back by")
		tab.Good()
		tab.Shot("alerts")
		// An answer that is taken back while the page stands open goes from it.
		s.change(func(in *board.Input) {
			a := &in.Alarms[1]
			a.Acknowledged, a.AcknowledgedBy, a.State = face.Time{}, "", wall.StateUnacknowledged
		})
		tab.See(`[id="a.alert-again"]:not([data-answered]) [data-do="acknowledge"]`)
		s.change(func(in *board.Input) { in.Alarms[1] = answeredOnce(t).Alarms[1] })
	}
}
