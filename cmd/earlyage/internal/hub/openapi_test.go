package hub_test

import (
	"bytes"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/nats-io/nkeys"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/phone"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/events/stream"
)

// documented checks every answer that passes it against the document.
type documented struct {
	t    *testing.T
	next http.RoundTripper
	doc  map[string]any
	c    *jsonschema.Compiler

	mu  sync.Mutex
	hit map[string]bool
}

func document(t *testing.T, client *http.Client, base string) *documented {
	t.Helper()
	resp, err := client.Get(base + api.PathOpenAPI)
	require.NoError(t, err)
	defer resp.Body.Close()
	require.Equal(t, http.StatusOK, resp.StatusCode)
	text, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	d := &documented{t: t, next: client.Transport, doc: doc.(map[string]any), c: jsonschema.NewCompiler(), hit: map[string]bool{}}
	if d.next == nil {
		d.next = http.DefaultTransport
	}
	strict(d.doc)
	d.c.AssertFormat()
	require.NoError(t, d.c.AddResource("mem:///doc", d.doc))
	return d
}

// strict lets no object have members that the document does not name.
func strict(v any) {
	switch v := v.(type) {
	case map[string]any:
		if _, ok := v["properties"].(map[string]any); ok && v["type"] == "object" {
			v["additionalProperties"] = false
		}
		for _, x := range v {
			strict(x)
		}
	case []any:
		for _, x := range v {
			strict(x)
		}
	}
}

// operation finds what the document says of a request: of two paths that match, the
// one with more of it written out.
func (d *documented) operation(r *http.Request) (pattern string, o map[string]any) {
	names := regexp.MustCompile(`\\\{\w+\\\}`)
	for p, item := range d.doc["paths"].(map[string]any) {
		here, ok := item.(map[string]any)[strings.ToLower(r.Method)].(map[string]any)
		if !ok || !regexp.MustCompile("^"+names.ReplaceAllString(regexp.QuoteMeta(p), "[^/]+")+"$").MatchString(r.URL.Path) {
			continue
		}
		if pattern == "" || strings.Count(p, "{") < strings.Count(pattern, "{") {
			pattern, o = p, here
		}
	}
	return pattern, o
}

// RoundTrip implements http.RoundTripper.
func (d *documented) RoundTrip(r *http.Request) (*http.Response, error) {
	pattern, o := d.operation(r)
	resp, err := d.next.RoundTrip(r)
	if err != nil || pattern == "" {
		return resp, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	status := strconv.Itoa(resp.StatusCode)
	where := "#/paths/" + strings.NewReplacer("~", "~0", "/", "~1").Replace(pattern) + "/" + strings.ToLower(r.Method) + "/responses/" + status
	answers := o["responses"].(map[string]any)
	answer, ok := answers[status].(map[string]any)
	if !ok {
		if resp.StatusCode < 400 {
			d.t.Errorf("%s %s: the document knows no %s", r.Method, pattern, status)
			return resp, nil
		}
		answer = d.doc["components"].(map[string]any)["responses"].(map[string]any)["problem"].(map[string]any)
		where = "#/components/responses/problem"
	} else {
		d.hit[r.Method+" "+pattern] = true
	}
	if resp.Header.Get("Content-Type") == "text/event-stream" {
		return resp, nil
	}
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		return nil, err
	}
	resp.Body = io.NopCloser(bytes.NewReader(body))
	d.check(r.Method+" "+pattern, where, answer, resp.Header.Get("Content-Type"), body)
	return resp, nil
}

func (d *documented) check(name, where string, answer map[string]any, media string, body []byte) {
	content, _ := answer["content"].(map[string]any)
	if content == nil {
		if len(body) > 0 {
			d.t.Errorf("%s: a body where the document has none: %s", name, body)
		}
		return
	}
	kind, _, err := mime.ParseMediaType(media)
	if _, ok := content[kind]; !ok || err != nil {
		d.t.Errorf("%s: the document knows no %q", name, media)
		return
	}
	if !strings.HasSuffix(kind, "json") || strings.HasSuffix(kind, "ndjson") {
		return
	}
	schema, err := d.c.Compile("mem:///doc" + where + "/content/" + strings.ReplaceAll(url.PathEscape(kind), "%2F", "~1") + "/schema")
	if err != nil {
		d.t.Errorf("%s: %v", name, err)
		return
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(body))
	if err == nil {
		err = schema.Validate(v)
	}
	if err != nil {
		d.t.Errorf("%s: %v in %s", name, err, body[:min(len(body), 4000)])
	}
}

// The document names every route of the API with who may use it, and no other.
func TestOpenAPINamesTheTable(t *testing.T) {
	c := openCompany(t, nil)
	d := document(t, &http.Client{}, c.hub.HTTPURL())
	require.Equal(t, "3.1.1", d.doc["openapi"])
	var table, written []string
	for _, r := range c.hub.Routes() {
		if strings.HasPrefix(r.Pattern, "/api/") || strings.HasPrefix(r.Pattern, api.PathCalendar) || r.Pattern == api.PathHealth {
			table = append(table, fmt.Sprint(r.Method, " ", r.Pattern, " ", r.Who))
		}
	}
	for p, item := range d.doc["paths"].(map[string]any) {
		for method, o := range item.(map[string]any) {
			o := o.(map[string]any)
			written = append(written, fmt.Sprint(strings.ToUpper(method), " ", p, " ", o["x-access"]))
			require.NotEmpty(t, o["summary"], p)
			_, secured := o["security"]
			require.Equal(t, o["x-access"] != string(door.Public), secured, p)
			var named []string
			for _, q := range o["parameters"].([]any) {
				if q := q.(map[string]any); q["in"] == "path" {
					named = append(named, "{"+q["name"].(string)+"}")
				}
			}
			require.Equal(t, regexp.MustCompile(`\{\w+\}`).FindAllString(p, -1), named, p)
		}
	}
	slices.Sort(table)
	slices.Sort(written)
	require.Equal(t, table, written)
	for name := range d.doc["components"].(map[string]any)["schemas"].(map[string]any) {
		_, err := d.c.Compile("mem:///doc#/components/schemas/" + name)
		require.NoError(t, err, name)
	}
}

// What the hub answers is what the document says: all of it, and nothing else.
func TestAnswersAreAsDocumented(t *testing.T) {
	m := openMill(t)
	m.say("4000 phone p-crew wall.laid-out b length_m=12 height_m=2.4 core_mm=200 mix=w30")
	m.say("4001 phone p-crew pour.started b")
	m.say("4002 phone p-crew lift.placed b from_m=0 to_m=12 top_m=0.6 began=-25 ended=0")
	settle(t, m.hub)
	d := document(t, &http.Client{Transport: &http.Transport{}}, m.hub.HTTPURL())
	client := &http.Client{Transport: d}
	defer d.next.(*http.Transport).CloseIdleConnections()
	for _, p := range []string{
		api.PathHealth, api.PathOpenAPI, api.PathWalls, api.PathWalls + "?limit=1", api.PathWalls + "/mill/a", api.PathWalls + "/mill/a?sheet=1", api.PathWalls + "/mill/b?sheet=1",
		api.PathWalls + "/mill/none", api.PathWalls + "/mill/a/timeline", api.PathWalls + "/mill/b/timeline", api.PathWalls + "/mill/a/record", api.PathWalls + "/mill/a/unrolled.svg", api.PathWalls + "/mill/a/none.svg",
		api.PathAlerts + "?all=1", api.PathRefused, api.PathBraces, api.PathWeek, phone.PathSheet + "mill", api.PathPeople, api.PathWalls + "?limit=x", api.PathWalls + "?site=none",
	} {
		resp, err := client.Get(m.hub.HTTPURL() + p)
		require.NoError(t, err)
		require.Less(t, resp.StatusCode, 500, p)
		require.NoError(t, resp.Body.Close())
	}
}

// So is what it answers to those who change something.
func TestChangesAreAsDocumented(t *testing.T) {
	c := openCompany(t, nil)
	d := document(t, c.local.HTTP, c.local.Hub)
	c.local.HTTP = &http.Client{Transport: d}
	outside := &documented{t: t, next: &http.Transport{}, doc: d.doc, c: d.c, hit: map[string]bool{}}
	c.client = &http.Client{Transport: outside}
	defer outside.next.(*http.Transport).CloseIdleConnections()
	defer d.next.(*http.Transport).CloseIdleConnections()

	ana := c.person("Ana", api.Roles{"mill": {events.Foreman}})
	id := c.phone(ana, "mill")
	client := c.as(id)
	body := encodedBody(t, made(id, "wall.laid-out", "a", layout()))
	_, err := client.PostEvent(t.Context(), body, id.Sign(body))
	require.NoError(t, err)
	settle(t, c.hub)
	require.NoError(t, client.Post(t.Context(), api.PathEntries, api.Entry{Site: "mill", Wall: "a", Kind: "hold.placed", Data: jsontext.Value(`{"hold":"h","reason":"x"}`)}, &api.Entered{}))
	for _, p := range []string{
		api.PathMe, api.PathPeople, api.PathDevices, api.PathHealth, api.PathWalls, api.PathWalls + "/mill/a", api.PathWalls + "/mill/a/timeline", api.PathWalls + "/mill/a/record",
		api.PathWalls + "/mill/a/bracing.svg", api.PathAlerts, api.PathRefused, api.PathBraces, api.PathWeek, phone.PathSheet + "mill", api.PathOpenAPI,
	} {
		_, err := client.Picture(t.Context(), p, nil)
		require.NoError(t, err, p)
	}
	c.toldAsDocumented(client, id)
	require.NoError(t, c.local.Post(t.Context(), api.PathBackup, api.BackupInto{Dir: filepath.Join(t.TempDir(), "copy")}, &api.BackedUp{}))
	var ticket api.Ticket
	require.NoError(t, c.local.Post(t.Context(), api.PathInvitations, api.NewInvitation{Person: ana, Site: "mill", Sort: "page"}, &ticket))
	require.NoError(t, c.nobody().Post(t.Context(), door.PathInvitation, map[string]string{"code": ticket.Code}, &door.Invited{}))
	require.NoError(t, c.local.Post(t.Context(), api.PathProbes, api.NewProbe{Site: "mill", Device: "probe-1"}, &api.ProbeSecret{}))
	probe := events.Source{Site: "mill", Device: "probe-1"}
	require.NoError(t, c.local.Post(t.Context(), api.DevicePath(probe)+"/password", struct{}{}, &api.ProbeSecret{}))
	pair, err := nkeys.CreateUser()
	require.NoError(t, err)
	seed, err := pair.Seed()
	require.NoError(t, err)
	anew := stream.Identity{Source: id.Source, Person: id.Person, Seed: string(seed)}
	public, err := pair.PublicKey()
	require.NoError(t, err)
	text := roster.RotateProof(id.Source, public)
	require.NoError(t, client.Post(t.Context(), api.DevicePath(id.Source)+"/rotate", api.Rotation{Key: public, Old: proof(t, id, text), New: proof(t, anew, text)}, nil))
	require.NoError(t, c.as(anew).Delete(t.Context(), api.PathSession))
	require.NoError(t, c.local.Post(t.Context(), api.DevicePath(id.Source)+"/revoke", api.Revocation{Reason: "lost"}, nil))
	require.NoError(t, c.local.Post(t.Context(), api.PersonPath(ana)+"/roles", api.Appointment{Site: "mill", Roles: []events.Role{events.Crew}}, nil))
	require.NoError(t, c.local.Post(t.Context(), api.PersonPath(ana)+"/retire", api.Retirement{Site: "_", Reason: "left"}, nil))
	require.NoError(t, c.local.Post(t.Context(), api.PersonPath(ana)+"/forget", struct{}{}, nil))

	var left []string
	for p, item := range d.doc["paths"].(map[string]any) {
		for method := range item.(map[string]any) {
			name := strings.ToUpper(method) + " " + p
			if !d.hit[name] && !outside.hit[name] && !strings.Contains(p, "/passkey/") {
				left = append(left, name)
			}
		}
	}
	require.Equal(t, []string{"GET " + api.PathWatch}, left, "never asked")
	first, err := readChange(c, anew)
	require.Error(t, err, "%v: the device has ended", first)
}

// toldAsDocumented asks all that is about telling and about the proof of the record.
func (c *company) toldAsDocumented(client api.Client, id stream.Identity) {
	c.t.Helper()
	ctx, person := c.t.Context(), id.Person
	mail := "ana@hub.example"
	require.NoError(c.t, client.Post(ctx, api.PersonPath(person)+"/contact", api.Contact{Mail: &mail}, nil))
	var checked api.RoutesChecked
	require.NoError(c.t, c.local.Post(ctx, api.PathRoutesCheck, api.RoutesCheck{Name: "r.yaml", Text: "routes: 1"}, &checked))
	require.NotEmpty(c.t, checked.Mistakes)
	require.NoError(c.t, c.local.Post(ctx, api.PathToldTest, api.ToldTest{Person: person}, &api.Told{}))
	_, key, err := readPush()
	require.NoError(c.t, err)
	require.NoError(c.t, client.Post(ctx, api.PathPush, key, nil))
	var feed api.Calendar
	require.NoError(c.t, client.Post(ctx, api.PathCalendars, api.NewCalendar{Site: "mill", Person: person}, &feed))
	_, query, _ := strings.Cut(feed.URL, "?key=")
	for p, q := range map[string]url.Values{
		api.PathTold: nil, api.PathToldMeasure: nil, api.PathPushKey: nil, api.PathCalendars: nil, api.PathCheckpoint: nil, api.PathCheckpoints: nil, api.PathRegister: {"site": {"mill"}},
		api.PathRoutes: {"site": {"mill"}}, api.PathWalls + "/mill/a/bundle": nil, api.PathWalls + "/mill/a/" + api.WallPaper: {"size": {"letter"}}, api.PathCalendar + "mill.ics": {"key": {query}},
	} {
		asker := client
		if p == api.PathToldMeasure || p == api.PathRegister || strings.HasSuffix(p, "/bundle") {
			asker = c.local
		}
		_, err := asker.Picture(ctx, p, q)
		require.NoError(c.t, err, p)
	}
	require.NoError(c.t, client.Delete(ctx, api.PathCalendars+"/"+feed.ID))
	for _, as := range []struct {
		client      *http.Client
		base, token string
		status      int
	}{{c.client, c.hub.HTTPURL(), c.token(id), http.StatusNoContent}, {c.local.HTTP, c.local.Hub, "", http.StatusForbidden}} { // the hub's own socket is nobody's browser
		req, err := http.NewRequestWithContext(ctx, http.MethodDelete, as.base+api.PathPush, strings.NewReader(`{"endpoint":"none"}`))
		require.NoError(c.t, err)
		req.Header.Set("Content-Type", "application/json")
		if as.token != "" {
			req.Header.Set("Authorization", "Bearer "+as.token)
		}
		resp, err := as.client.Do(req)
		require.NoError(c.t, err)
		require.NoError(c.t, resp.Body.Close())
		require.Equal(c.t, as.status, resp.StatusCode)
	}
}

// The first change of those who look on is as documented too.
func TestChangesThatAreWatchedAreAsDocumented(t *testing.T) {
	c := openCompany(t, nil)
	id := c.one(events.Foreman, "mill")
	d := document(t, &http.Client{Transport: &http.Transport{}}, c.hub.HTTPURL())
	defer d.next.(*http.Transport).CloseIdleConnections()
	first, err := readChange(c, id)
	require.NoError(t, err)
	schema, err := d.c.Compile("mem:///doc#/components/schemas/api.Changed")
	require.NoError(t, err)
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(first))
	require.NoError(t, err)
	require.NoError(t, schema.Validate(v))
}

var errEnough = fmt.Errorf("enough")

func readChange(c *company, id stream.Identity) (first []byte, err error) {
	err = c.as(id).Watch(c.t.Context(), func(_ api.Changed, text []byte) error {
		first = bytes.Clone(text)
		return errEnough
	})
	if err == errEnough {
		err = nil
	}
	return first, err
}
