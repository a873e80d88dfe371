package board_test

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// states are all in which an alert is listed, by the state diagram of IEC 62682
// (the names from memory of the standard).
var states = []string{
	wall.StateUnacknowledged, wall.StateLatchedUnacknowledged, wall.StateReturned, wall.StateAcknowledged, wall.StateLatchedAcknowledged,
	wall.StateShelved, wall.StateOutOfService,
}

// lived is the morning with an alert in each state, told and shown to people, and
// a sensor out of service.
func lived(t testing.TB) board.Input {
	in := readRecord(t, "testdata/morning.txt")
	in.site = "alder-court"
	in.say(morning.Add(-time.Hour), "office", "p-5t1r", "alert.out-of-service", "west-1", &events.AlertOutOfService{
		Kind: scheduler.AlertProbeSilent, Cause: "probe-1", At: morning.Add(-time.Hour), Until: morning.Add(71 * time.Hour), Reason: "new battery on its way",
	})
	out := in.input(morning)
	out.Alarms = nil
	ago := func(d time.Duration) face.Time { return face.Time{Time: morning.Add(-d)} }
	for i, state := range states {
		a := face.Alarm{ID: fmt.Sprint("alert-", i), Site: "alder-court", Wall: "west-1", Kind: scheduler.AlertJointClosing, Cause: fmt.Sprint("3-", i), Priority: scheduler.Urgent, State: state, Since: ago(8 * time.Minute), Text: "Joint at 3.0 m closes at 10:42."}
		switch state {
		case wall.StateLatchedUnacknowledged:
			a.Kind = scheduler.AlertStripEarly
			a.Told = []face.Told{
				{Message: "m1", What: "raised", Person: "p-4w6d", Channel: "phone", Outcome: "accepted", At: ago(7 * time.Minute)},
				{Message: "m2", What: "raised", Person: "p-9z2k", Channel: "mail", Outcome: "failed", Step: 1, Error: "no such address", At: ago(5 * time.Minute)},
			}
			a.Shown = []face.Shown{{Person: "p-4w6d", Device: "phone-1", State: "raised", At: ago(6 * time.Minute)}}
		case wall.StateReturned:
			a.Cleared = ago(3 * time.Minute)
		case wall.StateAcknowledged, wall.StateLatchedAcknowledged:
			a.Acknowledged, a.AcknowledgedBy, a.Note = ago(2*time.Minute), "p-4w6d", "two loads on the road"
		case wall.StateShelved:
			a.ShelvedBy, a.ShelvedUntil, a.ShelvedReason = "p-4w6d", face.Time{Time: morning.Add(time.Hour)}, "covered at noon"
		case wall.StateOutOfService:
			a.Kind, a.Cause, a.Priority = scheduler.AlertProbeSilent, "probe-1", scheduler.Medium
			a.Rest = &face.Rest{Cause: "probe-1", Until: face.Time{Time: morning.Add(71 * time.Hour)}, By: "p-4w6d", Reason: "new battery on its way"}
		}
		out.Alarms = append(out.Alarms, a)
	}
	out.Alarms = append(out.Alarms, face.Alarm{ID: "probe", Site: "alder-court", Wall: "west-1", Kind: scheduler.AlertProbeSilent, Cause: "probe-2", Priority: scheduler.Medium, State: wall.StateUnacknowledged, Since: ago(time.Hour), Text: "Probe 2 has sent nothing."})
	out.Alarms = append(out.Alarms, face.Alarm{ID: "over", Site: "alder-court", Wall: "west-1", Kind: scheduler.AlertProbeSilent, Priority: scheduler.Medium, State: wall.StateNormal, Since: ago(time.Hour), Cleared: ago(time.Minute)})
	return out
}

func measuredForATest(context.Context) (api.ToldMeasure, error) {
	return api.ToldMeasure{
		Known: api.Spread{Count: 9, P50: 0.3, P99: 7200, Max: 7300}, Reached: api.Spread{Count: 7, P50: 0.31, P99: 1.2, Max: 1.3},
		Raised: api.Spread{Count: 9, P50: 0.21, P99: 1.9, Max: 2}, Told: api.Spread{Count: 9, P50: 0.04, P99: 0.5, Max: 1},
		Acknowledged: api.Spread{Count: 4, P50: 95, P99: 700, Max: 800}, Most: 4,
	}, nil
}

// Each alert says its state in the standard's words beside a mark, who was told
// and shown, and since when it stands; each word is there in both languages.
func TestAlertsSayTheirState(t *testing.T) {
	s := serve(t, lived(t), func(c *board.Config) { c.Measured = measuredForATest })
	s.sight = board.Sight{All: true, Roles: map[string][]events.Role{"_": {events.Officer, events.Dispatcher}}}
	documents := map[string]string{}
	for _, lang := range words.Languages() {
		documents["alerts "+lang] = s.get(t, "/alerts?lang="+lang).Body.String()
		documents["kinds "+lang] = s.get(t, "/alerts/kinds?lang="+lang).Body.String()
		require.NotRegexp(t, `>[^<]*\b(board|alarm)\.[a-z]`, documents["alerts "+lang]+documents["kinds "+lang], "a text that is missing")
	}
	browser.ValidHTML(t, documents)

	b := suite.Browser(t)
	for _, size := range sizes {
		tab := b.Tab("states-"+size.name, size.size)
		tab.Open("http://" + s.address + "/alerts")
		list := browser.Ask[[]string](tab, `[...document.querySelectorAll('#walls > li [data-c="mark"]')].map(c => c.textContent.split(",")[0] + (c.querySelector("svg") ? "" : " without a mark"))`)
		want := append(slices.Clone(states), wall.StateUnacknowledged)
		slices.Sort(want)
		require.Equal(t, want, slices.Sorted(slices.Values(list)))
		tab.SeeText("#walls", "over since 10:17; nobody acknowledged it")
		tab.SeeText("#walls", "until 11:20, by Noor: covered at noon")
		tab.SeeText("#walls", "by Noor, 10:18 “two loads on the road”")
		require.Regexp(t, `^(8|9|10) min$`, tab.Text(`[id="a.alert-0"] [data-c="age"]`))
		tab.SeeText(".rests", "Probe silent, West wall, Alder Court probe-1")
		tab.SeeText(".a-measured", "condition to known 0.3 s / 2 h 00 · known to alert 0.3 s / 1.9 s · to the first telling 0.1 s / 0.5 s · known in time, condition to first telling 0.4 s / 1.2 s · to the acknowledgement 95 s / 12 min · most to one reader in 10 min: 4")
		tab.SeeText(`[id="t.alert-1"]`, "Told 2, shown to 1, failed 1")
		tab.Good()
		tab.Shot("closed")
		tab.Press(`[id="t.alert-1"] summary`)
		tab.SeeText(`[id="t.alert-1"]`, "10:14, Noor: shown on the page of phone-1")
		tab.SeeText(`[id="t.alert-1"]`, "10:15, p-9z2k, mail, raised, step 1: failed, no such address")
		tab.Good()
		tab.Shot("alerts")
		// What is open stays open when the list is exchanged.
		s.change(func(in *board.Input) { in.Alarms[1].Text += " Said anew." })
		tab.SeeText("#walls", "Said anew.")
		tab.SeeText(`[id="t.alert-1"]`, "no such address")
		tab.Open("http://" + s.address + "/alerts/kinds")
		require.Equal(t, len(scheduler.AlertKinds), browser.Ask[int](tab, `document.querySelectorAll("tbody tr").length`))
		for name, k := range scheduler.AlertKinds {
			row := tab.Text(`[id="k.` + name + `"]`)
			for _, text := range []string{k.Name, k.Cause, k.Consequence} {
				require.Contains(t, row, text, name)
			}
		}
		tab.Good()
		tab.Shot("kinds")
	}
}

// Who may puts a sensor's alert out of service and takes it back, and ends a
// shelving; who may not has no key for it.
func TestAsideAndBack(t *testing.T) {
	s := serve(t, lived(t), nil)
	s.sight = board.Sight{All: true, Roles: map[string][]events.Role{"_": {events.Officer, events.Dispatcher}}}
	b := suite.Browser(t)
	tab := b.Tab("aside", browser.Desk)
	tab.Open("http://" + s.address + "/alerts")
	tab.See(`body[data-link="up"]`)
	require.Equal(t, []string{"a.probe"}, browser.Ask[[]string](tab, `[...document.querySelectorAll('[data-do="rest"]')].map(k => k.closest("li").id)`), "a joint is never out of service")
	tab.Press(`[id="a.probe"] [data-do="rest"]`)
	tab.See("#rest")
	tab.Good()
	tab.Shot("question")
	tab.Type("#rest-reason", "new probe tomorrow")
	browser.Ask[string](tab, `document.querySelector("#rest-hours").value = "24"; ""`)
	tab.Press("#rest [type=submit]")
	tab.SeeText("#said", "Out of service.")
	tab.Press(`[data-do="unshelve"]`)
	tab.SeeText("#said", "Unshelved.")
	tab.Press(`[data-do="resume"]`)
	tab.SeeText("#said", "In service again.")
	require.Len(t, s.entered, 3)
	rest := s.entered[0]
	require.Equal(t, []string{"alder-court", "west-1", "alert.out-of-service", "probe-silent", "probe-2", "new probe tomorrow"}, []string{rest.Site, rest.Wall, rest.Kind, rest.Data["kind"], rest.Data["cause"], rest.Data["reason"]})
	d := rest.Data
	from, err := time.Parse(time.RFC3339, d["at"])
	require.NoError(t, err)
	until, err := time.Parse(time.RFC3339, d["until"])
	require.NoError(t, err)
	require.Equal(t, 24*time.Hour, until.Sub(from))
	require.Equal(t, entry{"alder-court", "west-1", "alert.unshelved", map[string]string{"alert": "alert-5", "kind": "joint-closing"}}, s.entered[1])
	require.Equal(t, entry{"alder-court", "west-1", "alert.in-service", map[string]string{"kind": "probe-silent", "cause": "probe-1"}}, s.entered[2])
	for _, e := range s.entered {
		raw := fmt.Sprintf(`{"kind":%q}`, e.Data["kind"])
		if e.Kind == "alert.unshelved" {
			raw = fmt.Sprintf(`{"kind":%q,"alert":%q}`, e.Data["kind"], e.Data["alert"])
		}
		if e.Kind != "alert.out-of-service" {
			_, err := events.DecodeData(events.Kind(e.Kind), []byte(raw))
			require.NoError(t, err, e.Kind)
		}
	}

	s.see(board.Sight{Sites: []string{"alder-court"}, Roles: map[string][]events.Role{"alder-court": {events.Crew}}})
	page := s.get(t, "/alerts").Body.String()
	require.NotContains(t, page, `data-do="rest"`)
	require.NotContains(t, page, `data-do="resume"`)
	require.NotContains(t, page, "Measured", "who neither judges nor sends")
	require.Equal(t, http.StatusOK, s.get(t, "/alerts/kinds").Code)
}
