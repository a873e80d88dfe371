package hub_test

import (
	"bufio"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
)

// ask asks a hub that takes events from anybody, with a tag.
func (m *mill) ask(path, tag string) (*http.Response, []byte) {
	m.t.Helper()
	req, err := http.NewRequestWithContext(m.t.Context(), http.MethodGet, m.hub.HTTPURL()+path, nil)
	require.NoError(m.t, err)
	if tag != "" {
		req.Header.Set("If-None-Match", tag)
	}
	resp, err := http.DefaultClient.Do(req)
	require.NoError(m.t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(m.t, err)
	return resp, body
}

// pages asks for a list page after page, until there is none.
func pages[T any](m *mill, path string, items func([]byte) []T) (all []T, n int) {
	m.t.Helper()
	for path != "" {
		resp, body := m.ask(path, "")
		require.Equal(m.t, http.StatusOK, resp.StatusCode, "%s: %s", path, body)
		all, n = append(all, items(body)...), n+1
		require.Less(m.t, n, 1000)
		path = ""
		if link := regexp.MustCompile(`^<([^>]+)>; rel="next"$`).FindStringSubmatch(resp.Header.Get("Link")); link != nil {
			path = link[1]
		}
	}
	return all, n
}

func items[T any](m *mill, of func(T) []string) func([]byte) []string {
	return func(body []byte) []string {
		var out T
		require.NoError(m.t, json.Unmarshal(body, &out))
		return of(out)
	}
}

// A list in parts is the list: none is missing, none comes twice, whatever the size
// of the parts.
func TestLists(t *testing.T) {
	m := openMill(t)
	for i := range 5 {
		m.say(fmt.Sprintf("%d phone p-crew wall.laid-out b%d length_m=12 height_m=2.4 core_mm=200 mix=w30", m.minutes()+1, i))
		m.say(fmt.Sprintf("%d phone p-crew pour.started b%d", m.minutes()+1, i))
		m.now("pour.mill.a.lift.placed", `{"no":"event"}`)
	}
	settle(t, m.hub)
	messages := items(m, func(l api.Messages) (out []string) {
		for _, x := range l.Messages {
			out = append(out, fmt.Sprint(x.Seq))
		}
		return out
	})
	for path, of := range map[string]func([]byte) []string{
		api.PathWalls:                       items(m, func(w api.Walls) []string { return places(w.Walls) }),
		api.PathAlerts + "?all=1":           items(m, func(a api.Alerts) []string { return ids(a.Alerts) }),
		api.PathRefused:                     items(m, func(a api.Alerts) []string { return sequences(a.Refused) }),
		api.PathWalls + "/mill/a/timeline":  messages,
		api.PathWalls + "/mill/b0/timeline": messages,
	} {
		whole, n := pages(m, path, of)
		require.Equal(t, 1, n)
		require.Greater(t, len(whole), 4, path)
		join := "?"
		if strings.Contains(path, "?") {
			join = "&"
		}
		sizes := []int{1, 2, 3, len(whole) - 1, len(whole), 1000}
		if len(whole) > 40 && !*long { // each part of so many is the whole list made anew
			sizes = append(sizes[3:], 7, len(whole)/2)
		}
		for _, size := range sizes {
			got, _ := pages(m, fmt.Sprint(path, join, "limit=", size), of)
			require.Equal(t, whole, got, "%s in parts of %d", path, size)
		}
		for _, bad := range []string{"limit=0", "limit=1001", "limit=x", "limit=-1", "after=" + strings.Repeat("x", 600)} {
			resp, _ := m.ask(path+join+bad, "")
			require.Equal(t, http.StatusBadRequest, resp.StatusCode, path+join+bad)
		}
	}
}

func ids(list []face.Alarm) (out []string) {
	for _, a := range list {
		out = append(out, a.ID)
	}
	return out
}

func sequences(list []face.RefusedRow) (out []string) {
	for _, r := range list {
		out = append(out, fmt.Sprint(r.Seq))
	}
	return out
}

// Who has an answer is not sent it again; what an event or time alone changes is
// never called unchanged.
func TestTags(t *testing.T) {
	m := openMill(t)
	for _, path := range []string{api.PathWalls, api.PathWalls + "/mill/a", api.PathWalls + "/mill/a?sheet=1", api.PathAlerts, api.PathRefused, api.PathBraces, api.PathWeek, api.PathWalls + "/mill/a/timeline"} {
		resp, body := m.ask(path, "")
		tag := resp.Header.Get("ETag")
		require.Regexp(t, `^W/"[\w-]{20}"$`, tag, path)
		require.NotEmpty(t, body)
		for _, have := range []string{tag, strings.TrimPrefix(tag, "W/"), `"x", ` + tag, "*"} {
			resp, body = m.ask(path, have)
			require.Equal(t, http.StatusNotModified, resp.StatusCode, "%s %s", path, have)
			require.Empty(t, body)
			at, err := time.Parse(time.RFC3339, resp.Header.Get(api.TaggedAt))
			require.NoError(t, err)
			require.WithinDuration(t, m.clock.Now(), at, time.Second)
		}
		resp, _ = m.ask(path, `"x"`)
		require.Equal(t, http.StatusOK, resp.StatusCode)
	}

	at := m.minutes()
	m.say(fmt.Sprintf("%d phone p-crew wall.laid-out b length_m=12 height_m=2.4 core_mm=200 mix=w30", at+1))
	m.say(fmt.Sprintf("%d phone p-crew pour.started b", at+2))
	m.say(fmt.Sprintf("%d phone p-crew lift.placed b from_m=0 to_m=12 top_m=0.6 began=-1 ended=0", at+30))
	settle(t, m.hub)
	resp, body := m.ask(api.PathWalls+"/mill/b", "")
	tag := resp.Header.Get("ETag")
	m.clock.Step(7 * time.Minute)
	resp, later := m.ask(api.PathWalls+"/mill/b", tag)
	require.Equal(t, http.StatusOK, resp.StatusCode, "its joint is older, by time alone: %s", later)
	require.NotEqual(t, joint(t, body), joint(t, later))

	resp, body = m.ask(api.PathWalls, "")
	tag = resp.Header.Get("ETag")
	m.say(fmt.Sprintf("%d phone p-crew hold.placed a hold=h reason=x", m.minutes()+1))
	settle(t, m.hub)
	resp, now := m.ask(api.PathWalls, tag)
	require.Equal(t, http.StatusOK, resp.StatusCode)
	require.NotEqual(t, string(body), string(now))
}

func joint(t *testing.T, body []byte) float64 {
	t.Helper()
	var w api.Wall
	require.NoError(t, json.Unmarshal(body, &w))
	require.Len(t, w.Wall.Joints, 1)
	return w.Wall.Joints[0].AgeMin
}

// The timeline has every message of a wall with what came of it.
func TestTimeline(t *testing.T) {
	c := openCompany(t, nil)
	id := c.one(events.Foreman, "mill")
	nc := c.connect(id)
	laid, hold := made(id, "wall.laid-out", "a", layout()), made(id, "hold.placed", "a", &events.HoldPlaced{Hold: "h", Reason: "Wind on the North side"})
	hold.Time = hold.Time.Add(-3 * time.Hour).Truncate(time.Second)
	c.record(nc, id, laid)
	c.record(nc, id, hold)
	c.record(nc, id, made(id, "record.voided", "a", &events.RecordVoided{Target: events.Target{Source: hold.Source.String(), ID: hold.ID}, Reason: "wrong wall"}))
	c.refusedOn(nc, id, 1)
	c.record(nc, id, made(id, "wall.laid-out", "b", layout()))
	client := c.as(id)
	list := func(query string) []api.Message {
		var out api.Messages
		_, err := client.Get(t.Context(), api.WallPath("mill", "a")+"/"+api.WallTimeline, mustQuery(t, query), &out)
		require.NoError(t, err)
		return slices.DeleteFunc(out.Messages, func(m api.Message) bool { return m.Device == events.HubDevice })
	}
	all := list("")
	require.Len(t, all, 4)
	require.Equal(t, laid.ID, all[0].ID)
	require.Equal(t, id.Person, all[1].By)
	require.Equal(t, id.Source.Device, all[1].Device)
	require.True(t, hold.Time.Equal(all[1].Entered), "%v", all[1].Entered)
	require.Less(t, all[1].Entered, all[1].Recorded.Time)
	require.Equal(t, []uint64{all[2].Seq}, all[1].ReplacedBy)
	require.Empty(t, all[0].ReplacedBy)
	require.JSONEq(t, `{"hold":"h","reason":"Wind on the North side"}`, string(all[1].Data))
	require.Equal(t, "by", all[3].Refused.Field)
	require.NotEmpty(t, all[3].Doubts)
	require.Equal(t, all[1:2], list("q=wind ON"))
	require.Equal(t, all[2:3], list("kind=record.voided"))
	require.Empty(t, list("kind=record.voided&q=wind"))

	wire, err := client.Picture(t.Context(), api.WallPath("mill", "a")+"/"+api.WallRecord, nil)
	require.NoError(t, err)
	var got []string
	for lines := bufio.NewScanner(strings.NewReader(string(wire))); lines.Scan(); {
		e, err := events.Decode("", lines.Bytes())
		require.NoError(t, err)
		if e.Source.Device != events.HubDevice {
			got = append(got, e.ID)
		}
	}
	require.Equal(t, []string{all[0].ID, all[1].ID, all[2].ID}, got, "what counts, as it was sent")
	for _, name := range []string{api.WallTimeline, api.WallRecord} {
		_, err = client.Picture(t.Context(), api.WallPath("mill", "none")+"/"+name, nil)
		require.Equal(t, api.CodeNotFound, code(err))
		_, err = c.as(c.one(events.Foreman, "yard")).Picture(t.Context(), api.WallPath("mill", "a")+"/"+name, nil)
		require.Equal(t, api.CodeNotFound, code(err), "another site's")
	}
}

func mustQuery(t *testing.T, text string) url.Values {
	t.Helper()
	q, err := url.ParseQuery(text)
	require.NoError(t, err)
	return q
}
