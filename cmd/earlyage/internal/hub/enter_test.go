package hub_test

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
	"earlyage/events/stream"
)

// samples are one event of every kind, from the vocabulary's own examples.
func samples(t *testing.T) map[events.Kind]events.Event {
	t.Helper()
	f, err := os.Open("../../../../events/testdata/events.ndjson")
	require.NoError(t, err)
	defer f.Close()
	out := map[events.Kind]events.Event{}
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		e, err := events.Decode("", lines.Bytes())
		require.NoError(t, err)
		out[e.Kind] = e
	}
	require.NoError(t, lines.Err())
	require.Len(t, out, len(events.Kinds()))
	return out
}

// mine turns a sample into an event of somebody's device.
func mine(sample events.Event, id stream.Identity) events.Event {
	e := made(id, sample.Kind, sample.Wall, sample.Data)
	if e.Wall == "" {
		return e
	}
	e.Wall = "w1"
	return e
}

func code(err error) string {
	var p *api.Problem
	if errors.As(err, &p) {
		return p.Code
	}
	return fmt.Sprint(err)
}

// Every role on every kind, by an event that its device signs and by an entry of
// its session: taken or refused as the vocabulary says who may record what. What
// is taken is not refused by the record for who said it.
func TestEveryRoleOnEveryKind(t *testing.T) {
	c := openCompany(t, nil)
	all := samples(t)
	for _, role := range events.Roles() {
		site, person := "mill", ""
		if role == events.Keeper {
			site = "_"
		}
		if role != events.Probe {
			person = c.person("A "+string(role), api.Roles{site: {role}})
		}
		id := c.phone(person, "mill")
		client := c.as(id)
		for _, kind := range events.Kinds() {
			e := mine(all[kind], id)
			body := encodedBody(t, e)
			_, err := client.PostEvent(t.Context(), body, id.Sign(body))
			c.judged(e, role, "event", err)
			if role == events.Probe {
				continue
			}
			data, err := events.EncodeData(e.Data)
			require.NoError(t, err)
			var out api.Entered
			err = client.Post(t.Context(), api.PathEntries, api.Entry{Site: "mill", Wall: e.Wall, Kind: kind, Data: jsontext.Value(data)}, &out)
			if kind == "permit.issued" && e.MayBeBy(role) == nil { // the role may, but the window is shut
				require.Equal(t, api.CodeRefused, code(err), "%v", err)
				continue
			}
			c.judged(e, role, "entry", err)
			if err == nil {
				require.NotEmpty(t, out.ID)
				require.NotZero(t, out.Sequence)
				if out.Refused != nil && kind != "hole.accepted" { // which is for the company, not for a site
					require.NotContains(t, []string{"signature", "source", "by", "role"}, out.Refused.Field, "%s as %s: %s", kind, role, out.Refused.Reason)
				}
			}
		}
	}
	settle(t, c.hub)
	for _, refused := range c.refused() {
		for _, field := range []string{" signature:", " by:", " role:"} {
			require.NotContains(t, refused, field)
		}
	}
}

// judged compares an answer with what the vocabulary says.
func (c *company) judged(e events.Event, role events.Role, way string, err error) {
	c.t.Helper()
	name := fmt.Sprintf("%s of %s as %s", way, e.Kind, role)
	switch why := e.MayBeBy(role); {
	case why == nil:
		require.NoError(c.t, err, name)
		require.True(c.t, e.Kind.MayRecord(role), name)
	case role == events.Probe && e.Kind.NeedsPerson(): // nobody's device cannot even write it
		require.Equal(c.t, api.CodeRefused, code(err), name)
	case !e.Kind.MayRecord(role):
		require.ErrorIs(c.t, err, api.ErrNotAllowed, name)
	default: // the kind is the role's; what it says here is another's
		require.ErrorIs(c.t, err, api.ErrNotAllowed, "%s: %v", name, why)
	}
}

// streamed counts the messages of the stream.
func (c *company) streamed(id stream.Identity) uint64 {
	c.t.Helper()
	var h api.Health
	settle(c.t, c.hub)
	_, err := c.local.Get(c.t.Context(), api.PathHealth, nil, &h)
	require.NoError(c.t, err)
	return h.Through
}

// The same event sent again is answered as the first time, also over a restart
// and when several ask at once, and stands in the stream once.
func TestEventSentAgain(t *testing.T) {
	c := openCompany(t, nil)
	id := c.one(events.Foreman, "mill")
	e := made(id, "wall.laid-out", "a", layout())
	e.Sequence = 1
	body := encodedBody(t, e)
	before := c.streamed(id)
	var answers sync.Map
	var asking sync.WaitGroup
	for i := range 8 {
		client := c.as(id)
		asking.Go(func() {
			out, err := client.PostEvent(t.Context(), body, id.Sign(body))
			answers.Store(i, fmt.Sprint(out.Sequence, err))
		})
	}
	asking.Wait()
	distinct := map[any]bool{}
	answers.Range(func(_, answer any) bool { distinct[answer] = true; return true })
	require.Len(t, distinct, 1, "%v", distinct)
	settle(t, c.hub)
	first, err := c.as(id).PostEvent(t.Context(), body, id.Sign(body))
	require.NoError(t, err)
	require.Greater(t, first.Sequence, before)
	require.True(t, distinct[fmt.Sprint(first.Sequence, nil)], "%v", distinct)

	c.stop()
	c.start()
	settle(t, c.hub)
	again, err := c.as(id).PostEvent(t.Context(), body, id.Sign(body))
	require.NoError(t, err)
	require.Equal(t, first, again)
	require.Equal(t, 1, c.stored(e.ID), "it stands in the stream once")
	require.Empty(t, c.refused())

	// What came by the other way, under a message id of its own, is known too.
	other := made(id, "hold.placed", "a", &events.HoldPlaced{Hold: "h", Reason: "x"})
	other.Sequence = 2
	c.record(c.connect(id), id, other)
	body = encodedBody(t, other)
	out, err := c.as(id).PostEvent(t.Context(), body, id.Sign(body))
	require.NoError(t, err)
	require.Equal(t, other.ID, c.message(out.Sequence).ID)
	require.Equal(t, 1, c.stored(other.ID))
}

// stored counts the messages of the record with an event's id.
func (c *company) stored(id string) (n int) {
	c.t.Helper()
	require.NoError(c.t, c.hub.Stored(func(m stream.Message) {
		if bytes.Contains(m.Body, []byte(id)) {
			n++
		}
	}))
	return n
}

// What is not the caller's to say, or not as the device has signed it, is
// refused with what is wrong, and never reaches the stream.
func TestEventsThatAreRefused(t *testing.T) {
	c := openCompany(t, nil)
	crew, other, yard := c.one(events.Crew, "mill"), c.one(events.Foreman, "mill"), c.one(events.Foreman, "yard")
	gone := c.phone(crew.Person, "mill")
	require.NoError(t, c.local.Post(t.Context(), api.DevicePath(gone.Source)+"/revoke", api.Revocation{Reason: "lost"}, nil))
	before := c.streamed(crew)
	good := made(crew, "hold.placed", "a", &events.HoldPlaced{Hold: "h", Reason: "x"})
	with := func(change func(*events.Event)) []byte {
		e := good
		change(&e)
		return encodedBody(t, e)
	}
	body := with(func(*events.Event) {})
	client := c.as(crew)
	for name, try := range map[string]attempt{
		"no signature":          {body: body, status: 403, code: api.CodeSignature, field: "signature"},
		"another's signature":   {body: body, signature: other.Sign(body), status: 403, code: api.CodeSignature, field: "signature"},
		"of other bytes":        {body: append(bytes.Clone(body), ' '), signature: crew.Sign(body), status: 403, code: api.CodeSignature, field: "signature"},
		"rubbish for signature": {body: body, signature: "ed25519 x y", status: 403, code: api.CodeSignature, field: "signature"},
		"another person":        sign(crew, with(func(e *events.Event) { e.By = other.Person }), 403, api.CodeNotAllowed, "by"),
		"nobody":                sign(crew, with(func(e *events.Event) { e.By = "" }), 400, api.CodeRefused, "by"),
		"another's device":      sign(other, with(func(e *events.Event) { e.Source, e.By = other.Source, other.Person }), 403, api.CodeNotAllowed, "source"),
		"another site":          sign(yard, with(func(e *events.Event) { e.Source, e.By = yard.Source, yard.Person }), 404, api.CodeNotFound, ""),
		"own name, other site":  sign(crew, with(func(e *events.Event) { e.Source.Site = "yard" }), 404, api.CodeNotFound, ""),
		"no such site":          sign(crew, with(func(e *events.Event) { e.Source.Site = "nowhere" }), 404, api.CodeNotFound, ""),
		"no such device":        sign(crew, with(func(e *events.Event) { e.Source.Device = "none" }), 403, api.CodeNotAllowed, "source"),
		"the hub itself":        sign(crew, with(func(e *events.Event) { e.Source.Device = "hub" }), 403, api.CodeNotAllowed, "source"),
		"a desk":                sign(crew, with(func(e *events.Event) { e.Source.Device = events.DeskOf(crew.Person) }), 403, api.CodeNotAllowed, "source"),
		"a device that ended":   sign(gone, with(func(e *events.Event) { e.Source = gone.Source }), 403, api.CodeSignature, "signature"),
		"not its role":          sign(crew, encodedBody(t, made(crew, "hold.released", "a", &events.HoldReleased{Hold: "h", Reason: "x"})), 403, api.CodeNotAllowed, "role"),
		"no event":              sign(crew, []byte(`{}`), 400, api.CodeRefused, ""),
		"no JSON":               sign(crew, []byte(`rubbish`), 400, api.CodeRefused, ""),
		"empty":                 sign(crew, nil, 400, api.CodeRefused, ""),
		"too large":             sign(crew, append(bytes.Clone(body), bytes.Repeat([]byte(" "), events.MaxBody)...), 413, api.CodeTooLarge, ""),
		"far too large":         sign(crew, bytes.Repeat([]byte(" "), 4<<20), 413, api.CodeTooLarge, ""),
	} {
		_, err := client.PostEvent(t.Context(), try.body, try.signature)
		var p *api.Problem
		require.ErrorAs(t, err, &p, name)
		require.Equal(t, try.status, p.Status, "%s: %v", name, err)
		require.Equal(t, try.code, p.Code, "%s: %v", name, err)
		if try.field != "" {
			require.Equal(t, try.field, p.Field, "%s: %v", name, err)
		}
	}
	require.Equal(t, before, c.streamed(crew), "nothing reached the stream")
	_, err := client.PostEvent(t.Context(), body, crew.Sign(body))
	require.NoError(t, err, "the good one")
	require.Equal(t, before+1, c.streamed(crew))
}

// attempt is one event that must be refused.
type attempt struct {
	body        []byte
	signature   string
	status      int
	code, field string
}

func sign(id stream.Identity, body []byte, status int, code, field string) attempt {
	return attempt{body: body, signature: id.Sign(body), status: status, code: code, field: field}
}

// A problem says in the body's own type what is wrong with the type of a body.
func TestContentTypes(t *testing.T) {
	c := openCompany(t, nil)
	crew := c.one(events.Crew, "mill")
	token := c.token(crew)
	for _, p := range []string{api.PathEvents, api.PathEntries} {
		for _, kind := range []string{"", "text/plain", "application/x-www-form-urlencoded", "application/json+x", ";"} {
			req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, c.hub.HTTPURL()+p, strings.NewReader("{}"))
			require.NoError(t, err)
			req.Header.Set("Content-Type", kind)
			req.Header.Set("Authorization", "Bearer "+token)
			resp, err := http.DefaultClient.Do(req)
			require.NoError(t, err)
			text, err := io.ReadAll(resp.Body)
			require.NoError(t, errors.Join(err, resp.Body.Close()))
			require.Equal(t, http.StatusUnsupportedMediaType, resp.StatusCode, "%s %q", p, kind)
			require.Equal(t, api.ProblemType, resp.Header.Get("Content-Type"))
			var problem api.Problem
			require.NoError(t, json.Unmarshal(text, &problem))
			require.Equal(t, "Content-Type", problem.Field)
			require.Equal(t, api.CodeContentType, problem.Code)
			require.Equal(t, http.StatusUnsupportedMediaType, problem.Status)
		}
	}
}

// An entry is the person's own, by the hub's word, and not before it is folded.
func TestEntries(t *testing.T) {
	c := openCompany(t, nil)
	foreman := c.one(events.Foreman, "mill")
	client := c.as(foreman)
	data := func(d events.Data) jsontext.Value {
		text, err := events.EncodeData(d)
		require.NoError(t, err)
		return text
	}
	var out api.Entered
	entry := api.Entry{Site: "mill", Wall: "a", Kind: "wall.laid-out", Data: data(layout())}
	require.NoError(t, client.Post(t.Context(), api.PathEntries, entry, &out))
	require.Nil(t, out.Refused)
	require.Equal(t, uuid.Version(7), uuid.MustParse(out.ID).Version())
	require.Equal(t, []string{"mill/a"}, c.walls(client), "it is folded when the answer comes")
	e := c.message(out.Sequence)
	require.Equal(t, out.ID, e.ID)
	require.Equal(t, events.Source{Site: "mill", Device: "desk-" + foreman.Person}, e.Source)
	require.Equal(t, foreman.Person, e.By)
	require.Zero(t, e.Sequence)

	for name, try := range map[string]struct {
		entry       api.Entry
		code, field string
	}{
		"another site":  {api.Entry{Site: "yard", Wall: "a", Kind: "wall.laid-out", Data: data(layout())}, api.CodeNotFound, ""},
		"the company":   {api.Entry{Site: "_", Kind: "mix.approved", Data: jsontext.Value(`{}`)}, api.CodeNotFound, ""},
		"the future":    {api.Entry{Site: "mill", Wall: "a", Kind: "wall.laid-out", Data: data(layout()), Time: time.Now().Add(3 * time.Minute)}, api.CodeRefused, "time"},
		"no such kind":  {api.Entry{Site: "mill", Wall: "a", Kind: "wall.imagined", Data: jsontext.Value(`{}`)}, api.CodeRefused, "type"},
		"no such data":  {api.Entry{Site: "mill", Wall: "a", Kind: "wall.laid-out", Data: jsontext.Value(`{"length_m":-1}`)}, api.CodeRefused, "data.length_m"},
		"the hub alone": {api.Entry{Site: "mill", Kind: "device.revoked", Data: jsontext.Value(`{"device":"x","reason":"y"}`)}, api.CodeNotAllowed, "source"},
		"an engineer's": {api.Entry{Site: "mill", Wall: "a", Kind: "hold.released", Data: jsontext.Value(`{"hold":"h","reason":"y"}`)}, api.CodeNotAllowed, "role"},
	} {
		err := client.Post(t.Context(), api.PathEntries, try.entry, &out)
		var p *api.Problem
		require.ErrorAs(t, err, &p, name)
		require.Equal(t, try.code, p.Code, "%s: %v", name, err)
		require.Equal(t, try.field, p.Field, "%s: %v", name, err)
	}
	require.Equal(t, api.CodeNotAllowed, code(c.local.Post(t.Context(), api.PathEntries, entry, &out)), "the socket is nobody in particular")
}

// message reads an event of the stream.
func (c *company) message(seq uint64) (e events.Event) {
	c.t.Helper()
	require.NoError(c.t, c.hub.Stored(func(m stream.Message) {
		if m.Seq == seq {
			var err error
			e, err = events.Decode(m.Subject, m.Body)
			require.NoError(c.t, err)
		}
	}))
	return e
}
