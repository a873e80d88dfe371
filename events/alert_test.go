package events_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
)

// What was raised and issued before numbers and several sheets were known is
// read and written as it was. The bodies stand as a record of that time has them.
func TestAnOldAlertAndAnOldSheetKeepTheirBytes(t *testing.T) {
	for kind, old := range map[events.Kind]string{
		"alert.raised": `{"specversion":"1.0","id":"0195f1c0-8a5e-7cc0-9d3b-000000000030","source":"/site/north/device/hub","type":"earlyage.alert.raised.v1",` +
			`"subject":"w1","time":"2026-01-12T18:03:00Z","datacontenttype":"application/json","sequence":"00000000000000000032","wallsequence":"00000000000000000031",` +
			`"clockoffset":"-420","data":{"alert":"a-1","kind":"joint-closing","cause":"w1 0..2 m","priority":"urgent","since":"2026-01-12T09:00:00Z",` +
			`"text":"Joint 0 to 2 m closes at 09:21.","rules":"1","preceding":17}}`,
		"sheet.issued": `{"specversion":"1.0","id":"0195f1c0-8a5e-7cc0-9d3b-000000000030","source":"/site/north/device/hub","type":"earlyage.sheet.issued.v1",` +
			`"time":"2026-01-12T18:03:00Z","datacontenttype":"application/json","sequence":"00000000000000000032","clockoffset":"-420","data":{"date":"2026-01-12",` +
			`"at":"2026-01-12T11:00:00Z","walls":[{"wall":"w1","what":"expected","at":"2026-01-12T21:00:00Z","text":"temperature governs"}],"rules":"1"}}`,
	} {
		e, err := events.Decode("", []byte(old))
		require.NoError(t, err, kind)
		require.Equal(t, kind, e.Kind)
		written, err := e.Encode()
		require.NoError(t, err, kind)
		require.Equal(t, old, string(written))
		switch d := e.Data.(type) {
		case *events.AlertRaised:
			require.Nil(t, d.About)
		case *events.SheetIssued:
			require.Equal(t, events.MorningSheet, d.Name())
		}
	}
	require.Equal(t, events.WeeklySheet, (&events.SheetIssued{Sheet: events.WeeklySheet}).Name())
}

// What a broken sensor makes may rest while it is mended; what concerns a joint,
// a form, a freeze or a brace may not, whoever asks.
func TestOnlyWhatABrokenThingMakesGoesOutOfService(t *testing.T) {
	resting := 0
	for _, kind := range events.AlertKinds() {
		body := with(t, "alert.out-of-service", `"kind":"probe-silent"`, `"kind":"`+kind+`"`)
		_, err := events.Decode("", body)
		if events.MayRest(kind) {
			resting++
			require.NoError(t, err, kind)
			continue
		}
		refused(t, err, "data.kind", kind, "may go out of service: alert-untold, clock-doubtful")
	}
	require.Equal(t, 5, resting)
	for _, of := range []string{"joint", "form", "freeze", "frost", "frozen", "brace", "strip", "line", "wind", "face", "pressure", "rise", "backfill"} {
		require.False(t, slices.ContainsFunc(events.AlertKinds(), func(kind string) bool { return strings.HasPrefix(kind, of) && events.MayRest(kind) }), of)
	}
	_, err := events.Decode("", with(t, "alert.out-of-service", `"kind":"probe-silent"`, `"kind":"probe-silence"`))
	refused(t, err, "data.kind", "probe-silence", "may go out of service")
}

// Shelving ends by itself after a shift, being out of service after a week.
func TestNothingIsPutOffForEver(t *testing.T) {
	most := map[string]time.Duration{"shelved": 8 * time.Hour, "out of service": 7 * 24 * time.Hour}
	rapid.Check(t, func(rt *rapid.T) {
		lasts := time.Duration(rapid.Int64Range(-int64(time.Hour), int64(200*time.Hour)).Draw(rt, "lasts"))
		for name, e := range map[string]events.Event{
			"shelved":        {Kind: "alert.shelved", Data: &events.AlertShelved{Alert: "a-1", Kind: "frozen", At: at(9, 0), Until: at(9, 0).Add(lasts), Reason: "r"}},
			"out of service": {Kind: "alert.out-of-service", Data: &events.AlertOutOfService{Kind: "record-gap", At: at(9, 0), Until: at(9, 0).Add(lasts), Reason: "r"}},
		} {
			whole := sample(e.Kind)
			whole.Data = e.Data
			err := whole.Check()
			if lasts > 0 && lasts <= most[name] {
				require.NoError(rt, err, "%s for %s", name, lasts)
				continue
			}
			var ref *events.Refusal
			require.ErrorAs(rt, err, &ref, "%s for %s", name, lasts)
			require.Equal(rt, "data.until", ref.Field)
		}
	})
	for name, lasts := range most { // the limits themselves, to the nanosecond
		for over, ok := range map[time.Duration]bool{0: true, 1: false, -lasts: false, -lasts + 1: true} {
			e := sample("alert.shelved")
			e.Data = &events.AlertShelved{Alert: "a-1", Kind: "frozen", At: at(9, 0), Until: at(9, 0).Add(lasts + over), Reason: "r"}
			if name == "out of service" {
				e = sample("alert.out-of-service")
				e.Data = &events.AlertOutOfService{Kind: "record-gap", At: at(9, 0), Until: at(9, 0).Add(lasts + over), Reason: "r"}
			}
			require.Equal(t, ok, e.Check() == nil, "%s for %s", name, lasts+over)
		}
	}
}

// Who may end the putting off is who may put off.
func TestUnshelvingIsJudgedByTheAddressees(t *testing.T) {
	for _, alert := range events.AlertKinds() {
		e := sample("alert.unshelved")
		e.Data = &events.AlertUnshelved{Alert: "a-1", Kind: alert}
		for _, r := range people() {
			require.Equal(t, slices.Contains(events.Addressees(alert), r), e.MayBeBy(r) == nil, "%s unshelves %s", r, alert)
		}
	}
	_, err := events.Decode("", with(t, "alert.unshelved", `"kind":"joint-closing",`, ""))
	refused(t, err, "data.kind", "", "a-z, 0-9 and -")
}

// A page stands in for its person; what came of telling only the hub knows; and
// what is told to nobody is for the one who answers for it.
func TestWhoRecordsTheLifeOfAnAlert(t *testing.T) {
	for kind, roles := range map[events.Kind][]events.Role{
		"alert.shown":          people(),
		"alert.unshelved":      people(),
		"alert.told":           nil,
		"alert.out-of-service": {events.Engineer, events.Officer},
		"alert.in-service":     {events.Dispatcher, events.Engineer, events.Officer, events.Keeper},
	} {
		require.ElementsMatch(t, roles, kind.Recorders(), kind)
		require.Equal(t, roles == nil, kind.SchedulerOnly(), kind)
		require.Equal(t, roles != nil, kind.NeedsPerson(), kind)
		require.False(t, kind.SiteWide() || kind.WallOnly(), "%s is about a wall or a site", kind)
		if roles == nil {
			require.NotNil(t, sample(kind).MayBeBy(events.Roles()...), kind)
		}
	}
	require.Equal(t, events.Dispatcher, events.ActsFirst("alert-untold"))
}

func TestDecodeRefusesWhatTheLifeOfAnAlertDoesNotHold(t *testing.T) {
	for _, c := range []struct {
		kind                      events.Kind
		old, new                  string
		field, value, allowedPart string
	}{
		{"alert.shown", `"state":"raised"`, `"state":"seen"`, "data.state", "seen", "raised"},
		{"alert.shown", `,"at":"2026-01-12T09:01:00Z"`, "", "data.at", "", anyTime},
		{"alert.told", `"outcome":"failed"`, `"outcome":"lost"`, "data.outcome", "lost", "accepted"},
		{"alert.told", `"what":"raised"`, `"what":"shouted"`, "data.what", "shouted", "raised"},
		{"alert.told", `"step":1`, `"step":21`, "data.step", "21", "20"},
		{"alert.told", `"channel":"mail",`, "", "data.channel", "", tokens},
		{"alert.raised", `"from_m":0`, `"from_m":2001`, "data.about.from_m", "2001", "2000"},
		{"alert.raised", `"measure":"age"`, `"measure":"weight"`, "data.about.measure", "weight", "height"},
		{"alert.raised", `"braces":["b1"]`, `"braces":["B 1"]`, "data.about.braces.0", "B 1", tokens},
		{"sheet.issued", `"sheet":"morning"`, `"sheet":"noon"`, "data.sheet", "noon", "evening"},
		{"sheet.issued", `"braces":5`, `"braces":-1`, "data.walls.0.braces", "-1", "0"},
		{"alert.out-of-service", `"reason":"its gateway is being changed"`, `"reason":""`, "data.reason", "", "1"},
	} {
		_, err := events.Decode("", with(t, c.kind, c.old, c.new))
		refused(t, err, c.field, c.value, c.allowedPart)
	}
}

// A deed is answered by an officer or an engineer alone, and waits for it.
func TestADeedLatches(t *testing.T) {
	for _, kind := range events.AlertKinds() {
		if events.TellsOfDeed(kind) {
			require.True(t, events.Latches(kind), kind)
		}
		alone := slices.Equal([]events.Role{events.Officer, events.Engineer}, events.Addressees(kind))
		require.Equal(t, events.TellsOfDeed(kind), alone, kind)
		require.False(t, events.Latches(kind) && events.MayRest(kind), kind)
	}
	for _, kind := range []string{"strip-early", "strip-unpermitted", "face-early", "joint-cold", "frozen"} {
		require.True(t, events.Latches(kind), kind)
	}
	require.False(t, events.Latches("joint-closing") || events.TellsOfDeed("joint-cold") || events.TellsOfDeed("no-such-alert"))
}
