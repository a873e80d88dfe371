package hub_test

import (
	"context"
	"io"
	"net/http"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/phone"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/events"
	"earlyage/events/stream"
)

// fetch asks as a browser does, in a device's session, and follows nothing.
func (c *company) fetch(token, path string) *http.Response {
	c.t.Helper()
	req, err := http.NewRequestWithContext(c.t.Context(), http.MethodGet, c.hub.HTTPURL()+path, nil)
	require.NoError(c.t, err)
	req.Header.Set("Accept", "text/html")
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	stay := &http.Client{Transport: http.DefaultTransport, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := stay.Do(req)
	require.NoError(c.t, err)
	return resp
}

func (c *company) text(token, path string) string {
	c.t.Helper()
	resp := c.fetch(token, path)
	text, err := io.ReadAll(resp.Body)
	require.NoError(c.t, err)
	require.NoError(c.t, resp.Body.Close())
	require.Equal(c.t, http.StatusOK, resp.StatusCode, "%s: %s", path, text)
	return string(text)
}

// The front page leads to where a role works.
func TestFrontPage(t *testing.T) {
	c := openCompany(t, nil)
	leads := func(token string) string {
		resp := c.fetch(token, "/")
		require.NoError(t, resp.Body.Close())
		require.Equal(t, http.StatusSeeOther, resp.StatusCode)
		return resp.Header.Get("Location")
	}
	require.Equal(t, "/login", leads(""))
	for role, want := range map[events.Role]string{
		events.Officer: wallpage.PathExceptions, events.Engineer: wallpage.PathExceptions, events.Crew: phone.PathPage, events.Foreman: phone.PathPage, events.Dispatcher: board.PathBoard, events.Keeper: board.PathBoard,
	} {
		site := "mill"
		if role == events.Keeper {
			site = "_"
		}
		id := c.one(role, site)
		token := c.token(id)
		require.Equal(t, want, leads(token), role)
		require.Contains(t, c.text(token, "/account"), "A "+string(role))
		c.text(token, want)
	}
	require.Equal(t, "/account", leads(c.token(c.phone("", "mill"))), "a station has no page")
	worker := c.fetch("", phone.PathWorker)
	require.NoError(t, worker.Body.Close())
	require.Equal(t, phone.PathPage, worker.Header.Get("Service-Worker-Allowed"))
}

// The board shows the sites in sight and no other; a phone gets the snapshot of
// its own site, with what it has sent.
func TestBoardAndSheet(t *testing.T) {
	c := openCompany(t, nil)
	at := map[string]stream.Identity{}
	for _, site := range []string{"mill", "yard"} {
		at[site] = c.one(events.Foreman, site)
		nc := c.connect(at[site])
		c.record(nc, at[site], made(at[site], "wall.laid-out", "wall-of-"+site, layout()))
		nc.Close()
	}
	dispatcher := c.token(c.one(events.Dispatcher, "mill"))
	everywhere := c.token(c.one(events.Dispatcher, "_"))
	for _, path := range []string{board.PathBoard, board.PathAlerts, board.PathBraces, board.PathWeek} {
		require.NotContains(t, c.text(dispatcher, path), "wall-of-yard", path)
	}
	require.Contains(t, c.text(dispatcher, board.PathBoard), "wall-of-mill")
	require.Contains(t, c.text(everywhere, board.PathBoard), "wall-of-yard")

	var sheet phone.Sheet
	require.NoError(t, json.Unmarshal([]byte(c.text(c.token(at["mill"]), phone.PathSheet+"mill")), &sheet))
	require.Equal(t, at["mill"].Source.Device, sheet.Device.Name)
	require.Len(t, sheet.Walls, 1)
	require.Equal(t, "wall-of-mill", sheet.Walls[0].Wall)
	resp := c.fetch(c.token(at["mill"]), phone.PathSheet+"yard")
	require.NoError(t, resp.Body.Close())
	require.Equal(t, http.StatusForbidden, resp.StatusCode)
}

// One account looks on at eight places at a time, whichever they are; another is
// not kept out by it, and who leaves makes room.
func TestStreamsAreCounted(t *testing.T) {
	c := openCompany(t, nil)
	token, other := c.token(c.one(events.Dispatcher, "mill")), c.token(c.one(events.Dispatcher, "mill"))
	look := func(token, path string) (status int, leave func()) {
		ctx, cancel := context.WithCancel(t.Context())
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, c.hub.HTTPURL()+path, nil)
		require.NoError(t, err)
		req.Header.Set("Authorization", "Bearer "+token)
		resp, err := http.DefaultClient.Do(req)
		require.NoError(t, err)
		return resp.StatusCode, func() { cancel(); _ = resp.Body.Close() }
	}
	paths := []string{api.PathWatch, board.PathLive}
	var leaves []func()
	for i := range 8 {
		status, leave := look(token, paths[i%2])
		require.Equal(t, http.StatusOK, status)
		leaves = append(leaves, leave)
	}
	for _, path := range paths {
		status, leave := look(token, path)
		leave()
		require.Equal(t, http.StatusTooManyRequests, status)
		status, leave = look(other, path)
		leave()
		require.Equal(t, http.StatusOK, status)
	}
	leaves[0]()
	require.Eventually(t, func() bool {
		status, leave := look(token, api.PathWatch)
		leave()
		return status == http.StatusOK
	}, patience, poll)
	for _, leave := range leaves {
		leave()
	}
}

// A wall's page, as it stands and as it stood; another site's is none.
func TestWallPage(t *testing.T) {
	c := openCompany(t, nil)
	id := c.one(events.Foreman, "mill")
	nc := c.connect(id)
	c.record(nc, id, made(id, "wall.laid-out", "north-face", layout()))
	between := time.Now()
	require.Eventually(t, func() bool { return time.Since(between) > 2*time.Millisecond }, patience, time.Millisecond, "the record knows whole milliseconds")
	c.record(nc, id, made(id, "hold.placed", "north-face", &events.HoldPlaced{Hold: "h", Reason: "the form leans"}))
	token := c.token(id)
	require.Contains(t, c.text(token, "/walls/mill/north-face"), "the form leans")
	moment := between.UTC().Format(time.RFC3339Nano)
	require.NotContains(t, c.text(token, "/walls/mill/north-face?as-of="+moment), "the form leans")
	for _, path := range []string{"/walls/mill/none", "/walls/mill/north-face?as-of=2020-01-01T00:00:00Z"} {
		resp := c.fetch(token, path)
		require.NoError(t, resp.Body.Close())
		require.Equal(t, http.StatusNotFound, resp.StatusCode, path)
	}
	require.Contains(t, c.text(c.token(c.one(events.Officer, "mill")), wallpage.PathExceptions), "north-face")
	require.NotContains(t, c.text(c.token(c.one(events.Officer, "yard")), wallpage.PathExceptions), "north-face")

	var now, then api.Wall
	_, err := c.as(id).Get(t.Context(), api.WallPath("mill", "north-face"), nil, &now)
	require.NoError(t, err)
	_, err = c.as(id).Get(t.Context(), api.WallPath("mill", "north-face"), mustQuery(t, "as-of="+moment), &then)
	require.NoError(t, err)
	require.True(t, now.AsOf.IsZero())
	require.Equal(t, then.At, then.AsOf)
	require.Less(t, then.Through, now.Through)
	for query, want := range map[string]string{"as-of=2020-01-01T00:00:00Z": api.CodeNotFound, "as-of=2199-01-01T00:00:00Z": api.CodeRefused, "as-of=yesterday": api.CodeRefused} {
		_, err = c.as(id).Get(t.Context(), api.WallPath("mill", "north-face"), mustQuery(t, query), &then)
		require.Equal(t, want, code(err), query)
	}
	_, err = c.as(c.one(events.Officer, "yard")).Get(t.Context(), api.WallPath("mill", "north-face"), mustQuery(t, "as-of="+moment), &then)
	require.Equal(t, api.CodeNotFound, code(err))
}
