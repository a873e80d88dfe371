package hub_test

import (
	"bytes"
	"net/http"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
	"earlyage/events/stream"
)

// enterAs makes an entry in a session, under a key, and returns the answer.
func (c *company) enterAs(token string, entry api.Entry, keys ...string) (status int, out api.Entered, p api.Problem) {
	c.t.Helper()
	body, err := json.Marshal(entry)
	require.NoError(c.t, err)
	req, err := http.NewRequestWithContext(c.t.Context(), http.MethodPost, c.hub.HTTPURL()+api.PathEntries, bytes.NewReader(body))
	require.NoError(c.t, err)
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Authorization", "Bearer "+token)
	req.Header[api.IdempotencyKey] = keys
	resp, err := http.DefaultClient.Do(req)
	require.NoError(c.t, err)
	defer resp.Body.Close()
	if resp.StatusCode == http.StatusAccepted {
		require.NoError(c.t, json.UnmarshalRead(resp.Body, &out))
	} else {
		require.NoError(c.t, json.UnmarshalRead(resp.Body, &p))
	}
	return resp.StatusCode, out, p
}

// An entry under a key is made once, however often and from wherever it is sent:
// at the same time, after a restart, after its person has lost the role.
func TestEntriesUnderAKey(t *testing.T) {
	c := openCompany(t, nil)
	foreman := c.one(events.Foreman, "mill")
	ana := c.person("Ana", api.Roles{"mill": {events.Foreman}, "yard": {events.Foreman}})
	phone, other := c.phone(ana, "mill"), c.token(foreman)
	entry := api.Entry{Site: "mill", Wall: "a", Kind: "hold.placed", Data: jsontext.Value(`{"hold":"h","reason":"x"}`)}
	type answer struct {
		status int
		out    api.Entered
	}
	token := c.token(phone)
	answers := make(chan answer, 8)
	for range cap(answers) {
		go func() {
			status, out, _ := c.enterAs(token, entry, "key-1")
			answers <- answer{status, out}
		}()
	}
	first := <-answers
	require.Equal(t, http.StatusAccepted, first.status)
	require.Nil(t, first.out.Refused)
	for range cap(answers) - 1 {
		require.Equal(t, first, <-answers)
	}
	require.Equal(t, first.out.ID, c.message(first.out.Sequence).ID)
	_, unkeyed, _ := c.enterAs(token, entry)
	require.NotEqual(t, first.out.ID, unkeyed.ID)

	for name, change := range map[string]func(*api.Entry){
		"site": func(e *api.Entry) { e.Site = "yard" }, "wall": func(e *api.Entry) { e.Wall = "b" }, "kind": func(e *api.Entry) { e.Kind = "hold.released" },
		"data": func(e *api.Entry) { e.Data = jsontext.Value(`{"hold":"h","reason":"y"}`) }, "no data": func(e *api.Entry) { e.Data = jsontext.Value(`{}`) },
		"time": func(e *api.Entry) { e.Time = time.Now().Add(-time.Hour) },
	} {
		another := entry
		change(&another)
		status, _, p := c.enterAs(token, another, "key-1")
		require.Equal(t, http.StatusUnprocessableEntity, status, name)
		require.Equal(t, api.CodeKeyUsed, p.Code, name)
	}
	same := entry
	same.Data = jsontext.Value(`{ "reason" : "x", "hold":"h" }`)
	_, out, _ := c.enterAs(token, same, "key-1")
	require.Equal(t, first.out, out, "the same in other words")
	status, out, _ := c.enterAs(other, entry, "key-1")
	require.Equal(t, http.StatusAccepted, status)
	require.NotEqual(t, first.out.ID, out.ID, "another account's key is another")
	for _, keys := range [][]string{{""}, {"a b"}, {"ä"}, {string(bytes.Repeat([]byte("k"), 256))}, {"a", "b"}} {
		status, _, p := c.enterAs(token, entry, keys...)
		require.Equal(t, http.StatusBadRequest, status, "%q", keys)
		require.Equal(t, api.IdempotencyKey, p.Field, "%q", keys)
	}

	http.DefaultClient.CloseIdleConnections()
	c.stop()
	c.start()
	_, out, _ = c.enterAs(c.token(phone), entry, "key-1")
	require.Equal(t, first.out, out, "after a restart")
	require.NoError(t, c.local.Post(t.Context(), api.PersonPath(ana)+"/retire", api.Retirement{Site: "mill", Reason: "moved"}, nil))
	_, out, _ = c.enterAs(c.token(phone), entry, "key-1")
	require.Equal(t, first.out, out, "without the role")
}

// What is long past is not entered as if it were of now.
func TestEntriesOfThePast(t *testing.T) {
	c := openCompany(t, nil)
	token := c.token(c.one(events.Foreman, "mill"))
	entry := api.Entry{Site: "mill", Wall: "a", Kind: "hold.placed", Data: jsontext.Value(`{"hold":"h","reason":"x"}`), Time: time.Now().Add(-31 * 24 * time.Hour)}
	status, _, p := c.enterAs(token, entry)
	require.Equal(t, http.StatusBadRequest, status)
	require.Equal(t, "time", p.Field)
	entry.Time = time.Now().Add(-29 * 24 * time.Hour)
	status, out, _ := c.enterAs(token, entry)
	require.Equal(t, http.StatusAccepted, status)
	require.Nil(t, out.Refused)
}

// refusedOn publishes messages that the record refuses: in the name of another
// person than the device's.
func (c *company) refusedOn(nc *nats.Conn, id stream.Identity, n int) (body []byte, e events.Event) {
	c.t.Helper()
	for range n {
		e = made(id, "hold.placed", "a", &events.HoldPlaced{Hold: "h", Reason: "x"})
		e.By = "p-22222222"
		body = encodedBody(c.t, e)
		if _, _, err := stream.PublishOne(c.t.Context(), nc, e.Subject(), body, id.Sign(body)); err != nil {
			return body, e // it is ended already
		}
	}
	return body, e
}

// A device whose messages are refused again and again is kept out for a minute.
// Another that is named in forged ones is not.
func TestRefusedAgainAndAgain(t *testing.T) {
	c := openCompany(t, nil)
	wild, calm := c.one(events.Foreman, "mill"), c.one(events.Foreman, "mill")
	closed := make(chan struct{})
	bad := c.connect(wild, nats.NoReconnect(), nats.ClosedHandler(func(*nats.Conn) { close(closed) }))
	calmEnded := make(chan struct{})
	good := c.connect(calm, nats.NoReconnect(), nats.ClosedHandler(func(*nats.Conn) { close(calmEnded) }))
	for range 70 { // in the name of the other, who has not signed it
		e := made(calm, "hold.placed", "a", &events.HoldPlaced{Hold: "h", Reason: "x"})
		body := encodedBody(t, e)
		_, _, err := stream.PublishOne(t.Context(), bad, e.Subject(), body, wild.Sign(body))
		require.NoError(t, err)
	}
	c.refusedOn(bad, wild, 61)
	select {
	case <-closed:
	case <-time.After(patience):
		require.FailNow(t, "it goes on")
	}
	_, err := stream.DialAs(c.hub.ClientURL(), "test", nil, wild, nats.NoReconnect())
	require.Error(t, err, "it is kept out")
	c.record(good, calm, made(calm, "wall.laid-out", "a", layout()))
	select {
	case <-calmEnded:
		require.FailNow(t, "somebody else was ended for it")
	default:
	}
}

// Sixty in a minute are borne, and what is a minute ago is forgotten.
func TestManners(t *testing.T) {
	var m hub.Manners
	src, now := events.Source{Site: "mill", Device: "d"}, time.Now()
	for i := range 200 {
		require.False(t, m.Add(src, now.Add(time.Duration(i)*time.Second)), "60 in a minute: %d", i)
	}
	later := now.Add(time.Hour)
	for range 60 {
		require.False(t, m.Add(src, later))
	}
	require.False(t, m.Shuns(src, later))
	require.True(t, m.Add(src, later))
	require.True(t, m.Shuns(src, later.Add(59*time.Second)))
	require.False(t, m.Shuns(events.Source{Site: "mill", Device: "e"}, later))
	require.False(t, m.Shuns(src, later.Add(time.Minute)))
	m.Forget(later.Add(time.Minute))
	require.False(t, m.Shuns(src, later), "it is forgotten")
}

// The refused messages of other sites take no place in the list of one's own.
func TestRefusedOfOnesOwnSite(t *testing.T) {
	c := openCompany(t, nil)
	mill, yard := c.one(events.Foreman, "mill"), c.one(events.Foreman, "yard")
	body, e := c.refusedOn(c.connect(mill), mill, 1)
	nc := c.connect(yard)
	for range 520 {
		f := made(yard, "hold.placed", "a", &events.HoldPlaced{Hold: "h", Reason: "x"})
		b := encodedBody(t, f)
		_, _, err := stream.PublishOne(t.Context(), nc, f.Subject(), b, mill.Sign(b)) // forged: it is not kept out
		require.NoError(t, err)
	}
	settle(t, c.hub)
	require.NotEmpty(t, body)
	var out api.Alerts
	_, err := c.as(mill).Get(t.Context(), api.PathRefused, nil, &out)
	require.NoError(t, err)
	require.Len(t, out.Refused, 1)
	require.Equal(t, e.ID, out.Refused[0].ID)
}

// Who has no role on a site any more has no connection there, whenever it came.
func TestRetiredFromOneSite(t *testing.T) {
	c := openCompany(t, nil)
	ana := c.person("Ana", api.Roles{"mill": {events.Foreman}, "yard": {events.Foreman}})
	phone := c.phone(ana, "mill")
	closed := make(chan struct{})
	c.connect(phone, nats.NoReconnect(), nats.ClosedHandler(func(*nats.Conn) { close(closed) }))
	require.NoError(t, c.local.Post(t.Context(), api.PersonPath(ana)+"/retire", api.Retirement{Site: "mill", Reason: "moved"}, nil))
	select {
	case <-closed:
	case <-time.After(patience):
		require.FailNow(t, "the connection goes on")
	}
	_, err := stream.DialAs(c.hub.ClientURL(), "test", nil, phone, nats.NoReconnect())
	require.Error(t, err)
}
