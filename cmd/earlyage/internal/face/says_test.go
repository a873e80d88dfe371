package face_test

import (
	"bytes"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// fast rose too fast; somebody's answer to it was voided.
func fast() wall.Alarm {
	from, to, have, limit := 8.0, 12.0, 1.31, 1.2
	ms := func(minutes int) int64 { return now.Add(time.Duration(minutes) * time.Minute).UnixMilli() }
	return wall.Alarm{
		ID: "alert-77", Kind: scheduler.AlertRiseFast, Priority: scheduler.Urgent, Since: ms(-12), RaisedSeq: 4, Text: "Rose 1.31 m in 60 min at 8.0 to 12.0 m, limit 1.20 m.",
		About:     &events.About{FromM: &from, ToM: &to, Measure: "height", Have: &have, Limit: &limit},
		TakenBack: []wall.TakenBack{{By: "p-1", At: ms(-10), VoidBy: "p-7", VoidAt: ms(-2), Reason: "meant another wall"}},
	}
}

// The feet are by NIST SP 811 (from memory: 1 ft = 0.3048 m): 1.31 m is 4.298 ft,
// and 1.2 m 3.937 ft.
func TestAnAlertSpeaksTheSitesUnits(t *testing.T) {
	a := fast()
	ridge := face.Site{Site: "ridge", Zone: "America/Denver", Units: "us"}
	say, record := face.Says("en", ridge, now, a.Kind, a.Text, a.About)
	require.Equal(t, "More concrete was placed here within 60 minutes than the site allows. Place: 26.2 to 39.4 ft; Height: 4.3 ft; Limit: 3.9 ft", say)
	require.Equal(t, a.Text, record)
	say, record = face.Says("es", face.Site{Site: "mill"}, now, a.Kind, a.Text, a.About)
	require.Contains(t, say, "Altura: 1.31 m; Límite: 1.20 m")
	require.Equal(t, a.Text, record)
	for _, c := range []struct {
		lang string
		site face.Site
		kind string
		*events.About
	}{{"en", face.Site{Units: "si"}, a.Kind, a.About}, {"es", ridge, a.Kind, nil}, {"en", ridge, a.Kind, &events.About{}}, {"es", ridge, "of-a-later-hub", a.About}} {
		say, record = face.Says(c.lang, c.site, now, c.kind, a.Text, c.About)
		require.Equal(t, a.Text, say, "%+v", c)
		require.Empty(t, record, "%+v", c)
	}
}

// An answer that was taken back is none, and is told of.
func TestAnAnswerTakenBack(t *testing.T) {
	a := face.AlarmOf("ridge", "long", fast(), now, nil, nil)
	require.Equal(t, wall.StateUnacknowledged, a.State)
	body, err := json.Marshal(a)
	require.NoError(t, err)
	require.Contains(t, string(body), `"acknowledged":null,"acknowledged_by":""`)
	require.Contains(t, string(body), `"taken_back":[{"by":"p-1","at":"2026-11-09T20:10:00Z","void_by":"p-7","void_at":"2026-11-09T20:18:00Z","reason":"meant another wall"}]`)
	var out bytes.Buffer
	p := page("")
	p.Names = map[string]string{"p-1": "Kim Berg"}
	require.NoError(t, p.Alarms(&out, []face.Alarm{a}, nil))
	out.WriteString(p.AlarmLine(a) + "\n")
	golden(t, "back.txt", out.Bytes())
}
