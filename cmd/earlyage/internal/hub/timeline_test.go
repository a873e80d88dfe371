package hub_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
)

// recounted asks for a wall's timeline.
func (m *mill) recounted(wall string, q url.Values) (out api.Messages) {
	m.t.Helper()
	resp, body := m.ask(api.WallPath("mill", wall)+"/"+api.WallTimeline+"?"+q.Encode(), "")
	require.Equal(m.t, http.StatusOK, resp.StatusCode, "%s", body)
	require.NoError(m.t, json.Unmarshal(body, &out))
	return out
}

func asOf(at time.Time) url.Values { return url.Values{"as-of": {at.Format(time.RFC3339Nano)}} }

// What is answered as of a moment is what was answered at that moment, to the last
// note: through an amendment, a void, their countersignatures, a refused message, a
// hold, an alert and its answers.
func TestTimelineAsOfIsWhatWasAnsweredThen(t *testing.T) {
	m := openMill(t)
	type answer struct {
		at          time.Time
		plain, says api.Messages
	}
	var then []answer
	look := func() {
		then = append(then, answer{m.clock.Now(), m.recounted("a", nil), m.recounted("a", url.Values{"words": {"1"}})})
	}
	look()
	for _, line := range []string{
		"office p-boss hold.placed a hold=h-1 reason=wind",
		"office p-boss line.read a when=after points=0:0,6:2,12:0",
		"office p-boss record.voided a of=8 reason=twice",
		"office p-second record.countersigned a of=9 role=engineer",
		"office p-boss hold.released a hold=h-1 reason=calm",
	} {
		m.then(line)
		look()
	}
	m.later(time.Minute)
	m.now("pour.mill.a.lift.placed", `{"no":"event"}`)
	look()
	m.later(time.Minute)
	m.then("phone p-crew brace.stripped a braces=b1")
	m.then("office p-boss brace.inspected a braces=b2 sound=true")
	m.later(30 * time.Minute)
	look()
	m.later(30 * time.Hour)
	look()
	for _, was := range then {
		got := m.recounted("a", asOf(was.at))
		same(t, was.plain.Messages, got.Messages, was.at)
		require.Equal(t, len(got.Messages), got.Total)
		q := asOf(was.at)
		q.Set("words", "1")
		same(t, was.says.Messages, m.recounted("a", q).Messages, was.at)
		agreeing(t, got)
	}
	last := then[len(then)-1].plain.Messages
	for i, msg := range last {
		if i%5 != 0 && !*long && !msg.Recorded.After(then[0].at) { // of the long cure before, one in five
			continue
		}
		got := m.recounted("a", asOf(msg.Recorded.Time))
		for _, x := range got.Messages {
			require.False(t, x.Recorded.After(msg.Recorded.Time), "message %d as of message %d", x.Seq, msg.Seq)
		}
		require.GreaterOrEqual(t, got.Through, msg.Seq)
	}
}

// same compares message by message, so that a difference can be read.
func same(t *testing.T, want, got []api.Message, at time.Time) {
	t.Helper()
	require.Equal(t, len(want), len(got), "as of %s", at)
	for i := range want {
		require.Equal(t, want[i], got[i], "message %d as of %s", want[i].Seq, at)
	}
}

// agreeing demands that the hub had stated what the record gives, or that it is
// said why not.
func agreeing(t *testing.T, a api.Messages) {
	t.Helper()
	w := a.Window
	require.NotNil(t, w)
	require.True(t, !w.Due || w.Agrees || w.Later > 0, "%s: %+v", a.At, w)
}

// A window that the hub shut for its own clock differs from what its record gives,
// and that is said.
func TestTimelineSaysThatTheTwoDiffer(t *testing.T) {
	m := openMill(t)
	words := asOf(m.clock.Now())
	words.Set("words", "1")
	all := m.recounted("a", words)
	require.True(t, all.Window.Open && all.Window.Agrees)
	require.Contains(t, strings.Join(all.Says, " "), "The two agree")
	require.Nil(t, m.recounted("a", nil).Window, "of the present the window itself says it")

	m.clock.Jump(3 * time.Minute)
	settle(t, m.hub)
	words.Set("as-of", m.clock.Now().Format(time.RFC3339Nano))
	all = m.recounted("a", words)
	require.False(t, all.Window.Open)
	require.False(t, all.Window.Agrees)
	require.Contains(t, strings.Join(all.Says, " "), "The two differ")
}

// Words, kinds and notes for people, written by hand.
func TestTimelineInWords(t *testing.T) {
	m := openMill(t)
	m.then("office p-boss hold.placed a hold=h-1 reason=Wind")
	at := m.clock.Now()
	m.then("office p-boss record.voided a of=7 reason=twice")
	ask := func(pairs ...string) []face.Entry {
		q := url.Values{"words": {"1"}}
		for i := 0; i < len(pairs); i += 2 {
			q.Set(pairs[i], pairs[i+1])
		}
		var out []face.Entry
		for _, x := range m.recounted("a", q).Messages {
			out = append(out, *x.Words)
		}
		return out
	}
	hold := ask("kind", "hold")
	require.Len(t, hold, 1)
	require.Equal(t, "Hold placed", hold[0].What)
	require.Equal(t, "p-boss", hold[0].Who, "an unknown caller is told no name")
	require.Equal(t, []face.EntryFact{{Label: "hold", Value: "h-1"}, {Label: "reason", Value: "Wind"}}, hold[0].Facts)
	require.True(t, hold[0].Struck)
	require.Len(t, hold[0].Notes, 2)
	require.Regexp(t, `^Withdrawn by p-boss, Wed 3 Jun \d\d:\d\d UTC: twice\. A second person has not countersigned it \(\d+\)$`, hold[0].Notes[0])
	require.Contains(t, hold[0].Notes[1], "Both versions count")
	require.Empty(t, ask("kind", "hold", "as-of", at.Format(time.RFC3339))[0].Notes)
	require.Len(t, ask("kind", "hold.placed", "as-of", at.Format("2006-01-02T15:04")), 1, "in the time of the site")

	lifts := ask("kind", "lift.placed", "units", "us")
	require.Len(t, lifts, 4)
	require.Contains(t, lifts[0].Facts, face.EntryFact{Label: "to", Value: "39.37 ft"})
	require.Len(t, ask("kind", "temperature"), 1, "readings stand together")
	require.Len(t, ask("kind", "temperature.read"), 49, "one by one where they are asked for")
	require.Len(t, ask("q", "REASON WIND"), 1, "in what it says, case the same")

	var opened bool
	for _, e := range ask("kind", "window.stated") {
		opened = opened || strings.Contains(fmt.Sprint(e.Notes), "window open: no → yes")
	}
	require.True(t, opened, "what a statement says otherwise than the one before")

	for _, bad := range []string{"yesterday", m.clock.Now().Add(time.Hour).Format(time.RFC3339), "2026-06-01"} {
		resp, _ := m.ask(api.WallPath("mill", "a")+"/"+api.WallTimeline+"?as-of="+url.QueryEscape(bad), "")
		require.Equal(t, http.StatusBadRequest, resp.StatusCode, bad)
	}
	resp, _ := m.ask(api.WallPath("mill", "a")+"/"+api.WallTimeline+"?as-of=2026-05-01T00:00:00Z", "")
	require.Equal(t, http.StatusNotFound, resp.StatusCode, "nothing was known of it yet")
}

// A name is shown to whom the hub knows; the id where there is none.
func TestTimelineNames(t *testing.T) {
	c := openCompany(t, nil)
	id := c.one(events.Foreman, "mill")
	c.record(c.connect(id), id, made(id, "wall.laid-out", "a", layout()))
	client := c.as(id)
	who := func() string {
		var out api.Messages
		_, err := client.Get(t.Context(), api.WallPath("mill", "a")+"/"+api.WallTimeline, url.Values{"kind": {"wall.laid-out"}, "words": {"1"}}, &out)
		require.NoError(t, err)
		require.Len(t, out.Messages, 1)
		require.Equal(t, id.Person, out.Messages[0].By)
		require.Contains(t, []string{"", out.Messages[0].Words.Who}, out.Messages[0].Who)
		return out.Messages[0].Words.Who
	}
	name := who()
	require.NotEqual(t, id.Person, name)
	require.NotEmpty(t, name)
}
