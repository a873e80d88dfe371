package hub_test

import (
	"bytes"
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
)

// feed reads a calendar feed as a calendar program does: by emersion/go-ical, a
// reader that is not the writer's.
func feed(t *testing.T, address, tag string) (status int, newTag string, list []ical.Event) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, address, nil)
	require.NoError(t, err)
	if tag != "" {
		req.Header.Set("If-None-Match", tag)
	}
	resp, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	if resp.StatusCode != http.StatusOK {
		return resp.StatusCode, "", nil
	}
	require.Equal(t, "text/calendar; charset=utf-8", resp.Header.Get("Content-Type"))
	cal, err := ical.NewDecoder(bytes.NewReader(text)).Decode()
	require.NoError(t, err)
	return resp.StatusCode, resp.Header.Get("ETag"), cal.Events()
}

func text(t *testing.T, e ical.Event, name string) string {
	t.Helper()
	p := e.Props.Get(name)
	require.NotNil(t, p, name)
	return p.Value
}

// A feed is read by whoever knows its key. When the statement of a wall changes,
// the same event moves: one UID, a higher SEQUENCE. Ended, the key opens nothing.
func TestCalendarFeedMoves(t *testing.T) {
	m := openMill(t)
	local, err := api.Dial(api.Where{Socket: m.hub.Socket()})
	require.NoError(t, err)
	defer local.HTTP.CloseIdleConnections()
	defer http.DefaultClient.CloseIdleConnections()
	var made api.Calendar
	require.NoError(t, local.Post(t.Context(), api.PathCalendars, api.NewCalendar{Site: "mill"}, &made))

	status, tag, list := feed(t, made.URL, "")
	require.Equal(t, http.StatusOK, status)
	require.Len(t, list, 1)
	require.Equal(t, "a@mill.earlyage", text(t, list[0], ical.PropUID))
	require.Equal(t, "CONFIRMED", text(t, list[0], ical.PropStatus))
	first := text(t, list[0], ical.PropSequence)
	status, _, _ = feed(t, made.URL, tag)
	require.Equal(t, http.StatusNotModified, status)

	e := m.entry("3065 office p-boss hold.placed a hold=h-1 reason=look")
	m.until(e.Time)
	m.now(e.Subject(), encoded(t, e))
	status, moved, list := feed(t, made.URL, tag)
	require.Equal(t, http.StatusOK, status)
	require.NotEqual(t, tag, moved)
	require.Equal(t, "a@mill.earlyage", text(t, list[0], ical.PropUID))
	require.NotEqual(t, "CONFIRMED", text(t, list[0], ical.PropStatus))
	second := text(t, list[0], ical.PropSequence)
	require.True(t, len(second) > len(first) || second > first, "%s after %s", second, first)

	e = m.entry("3070 office p-boss brace.stripped a all=true")
	m.until(e.Time)
	m.now(e.Subject(), encoded(t, e))
	_, _, list = feed(t, made.URL, moved)
	require.Equal(t, "CANCELLED", text(t, list[0], ical.PropStatus))
	third := text(t, list[0], ical.PropSequence)
	require.True(t, len(third) > len(second) || third > second, "%s after %s", third, second)

	for _, wrong := range []string{made.URL + "x", strings.Replace(made.URL, "mill.ics", "yard.ics", 1), strings.Replace(made.URL, "mill.ics", "mill", 1), made.URL[:strings.Index(made.URL, "?")]} {
		status, _, _ = feed(t, wrong, "")
		require.Equal(t, http.StatusNotFound, status, wrong)
	}
	var all api.Calendars
	_, err = local.Get(t.Context(), api.PathCalendars, nil, &all)
	require.NoError(t, err)
	require.Len(t, all.Calendars, 1)
	require.Empty(t, all.Calendars[0].URL, "the address is shown once")
	require.NoError(t, local.Delete(t.Context(), api.PathCalendars+"/"+made.ID))
	status, _, _ = feed(t, made.URL, "")
	require.Equal(t, http.StatusNotFound, status)

	// A crew's feed has the walls on which the person has recorded.
	require.ErrorContains(t, local.Post(t.Context(), api.PathCalendars, api.NewCalendar{Site: "mill", Person: "p-none"}, &made), "person")
	require.Error(t, local.Post(t.Context(), api.PathCalendars, api.NewCalendar{Site: "quay"}, &made))
}
