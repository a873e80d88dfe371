package hub_test

import (
	"context"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
	"earlyage/events/stream"
)

// who may use each route: all (whoever comes), known (whoever has signed in), or
// the roles, of the path's own site where the line begins with here. Whoever adds a route says here who may use it.
const routesText = `
GET /                                        known
GET /account                                 known
GET /alerts                                  crew foreman dispatcher engineer officer keeper
GET /alerts/kinds                            crew foreman dispatcher engineer officer keeper
GET /board                                   crew foreman dispatcher engineer officer keeper
GET /board/live                              crew foreman dispatcher engineer officer keeper
GET /braces                                  crew foreman dispatcher engineer officer keeper
GET /walls/{site}/{wall}                     here crew foreman dispatcher engineer officer keeper
GET /exceptions                              dispatcher engineer officer keeper
GET /static/wall/{file}                      all
GET /week                                    crew foreman dispatcher engineer officer keeper
GET /phone                                   all
GET /phone/                                  all
GET /static/board/{file}                     all
GET /api/v1/phone/{site}                     here crew foreman dispatcher engineer officer keeper
GET /api/v1/alerts                           known
GET /api/v1/devices                          known
GET /api/v1/me                               known
GET /api/v1/nonce                            all
GET /api/v1/people                           known
GET /api/v1/refused                          known
GET /api/v1/walls                            known
GET /api/v1/walls/{site}/{wall}              known
GET /api/v1/walls/{site}/{wall}/{file}       known
GET /api/v1/watch                            known
GET /api/v1/braces                           known
GET /api/v1/week                             known
GET /api/v1/openapi.json                     all
GET /api/v1/walls/{site}/{wall}/timeline     known
GET /api/v1/walls/{site}/{wall}/record       known
GET /api/v1/routes                           foreman dispatcher officer keeper
POST /api/v1/routes/check                    dispatcher officer keeper
POST /api/v1/people/{person}/contact         known
GET /api/v1/checkpoint                       known
GET /api/v1/checkpoints                      known
GET /api/v1/register                         dispatcher engineer officer keeper
GET /api/v1/walls/{site}/{wall}/bundle       here engineer officer keeper
GET /api/v1/walls/{site}/{wall}/paper.pdf    known
POST /api/v1/backup                          local -
GET /api/v1/told                             known
GET /api/v1/told/measure                     dispatcher engineer officer keeper
POST /api/v1/told/test                       keeper
GET /api/v1/push/key                         known
POST /api/v1/push                            known
DELETE /api/v1/push                          known
GET /api/v1/calendars                        known
POST /api/v1/calendars                       known
DELETE /api/v1/calendars/{id}                known
GET /calendar/{file}                         all
GET /healthz                                 all
GET /nats                                    all
GET /join                                    all
GET /login                                   all
GET /static/                                 all
DELETE /api/v1/session                       all
POST /api/v1/devices/{site}/{device}/password keeper
POST /api/v1/devices/{site}/{device}/revoke  known
POST /api/v1/devices/{site}/{device}/rotate  known
POST /api/v1/entries                         known
POST /api/v1/events                          known
POST /api/v1/invitation                      all
POST /api/v1/invitations                     foreman dispatcher officer keeper
POST /api/v1/join                            all
POST /api/v1/passkey/login/begin             all
POST /api/v1/passkey/login/finish            all
POST /api/v1/passkey/register/begin          all
POST /api/v1/passkey/register/finish         all
POST /api/v1/people                          keeper
POST /api/v1/people/{person}/forget          keeper
POST /api/v1/people/{person}/retire          keeper
POST /api/v1/people/{person}/roles           keeper
POST /api/v1/probes                          keeper
POST /api/v1/session                         all
`

func routeRules(t *testing.T) map[string][]string {
	t.Helper()
	rules := map[string][]string{}
	for line := range strings.Lines(strings.TrimSpace(routesText)) {
		w := strings.Fields(line)
		require.Greater(t, len(w), 2, line)
		rules[w[0]+" "+w[1]] = w[2:]
	}
	return rules
}

// path is an address that a pattern takes.
func path(pattern string) string {
	return strings.NewReplacer("{site}", "mill", "{wall}", "a", "{file}", "unrolled.svg", "{person}", "p-nobody", "{device}", "d", "{id}", "none", "/{$}", "/").Replace(pattern)
}

// Everybody, with a real session, on every route of the table: let in or not as
// the list above says. A body of no known type tells the two apart, since only
// whoever is let in is told of it.
func TestEveryRoleOnEveryRoute(t *testing.T) {
	c := openCompany(t, nil)
	callers := map[string]*stream.Identity{"nobody": nil}
	for _, role := range events.Roles() {
		site := "mill"
		switch role {
		case events.Keeper:
			site = "_"
		case events.Probe:
			station := c.phone("", "mill")
			callers["probe"] = &station
			continue
		}
		id := c.one(role, site)
		callers[string(role)] = &id
	}
	elsewhere := c.one(events.Foreman, "yard")
	callers["elsewhere"] = &elsewhere

	rules := routeRules(t)
	seen := map[string]bool{}
	for _, r := range c.hub.Routes() {
		name := r.Method + " " + strings.Replace(r.Pattern, "{$}", "", 1)
		require.False(t, seen[name], "%s stands twice", name)
		seen[name] = true
		rule, ruled := rules[name]
		require.True(t, ruled, "nobody has said who may use %s", name)
		for who, id := range callers {
			require.Equal(t, expected(rule, who), c.status(r.Method, path(r.Pattern), id), "%s as %s", name, who)
		}
		require.Equal(t, 0, c.local0(r.Method, path(r.Pattern)), "%s over the socket", name)
	}
	require.Len(t, seen, len(rules), "a route of the list is gone")
}

// expected is 0 where a caller is let in, else the status.
func expected(rule []string, who string) int {
	for _, allowed := range rule {
		if rule[0] == "here" && who == "elsewhere" {
			break
		}
		if allowed == "all" || allowed == "known" && who != "nobody" || allowed == who || allowed == "foreman" && who == "elsewhere" {
			return 0
		}
	}
	if who == "nobody" {
		return http.StatusUnauthorized
	}
	return http.StatusForbidden
}

// status asks as somebody, in a session of its own, and returns the status of a
// refusal; 0: let in.
func (c *company) status(method, path string, id *stream.Identity) int {
	c.t.Helper()
	token := ""
	if id != nil {
		token = c.token(*id)
	}
	return c.refusal(http.DefaultClient, c.hub.HTTPURL(), method, path, token)
}

func (c *company) local0(method, path string) int {
	c.t.Helper()
	return c.refusal(c.local.HTTP, c.local.Hub, method, path, "")
}

func (c *company) refusal(client *http.Client, base, method, path, token string) int {
	c.t.Helper()
	ctx, cancel := context.WithCancel(c.t.Context())
	defer cancel() // what streams is left
	req, err := http.NewRequestWithContext(ctx, method, base+path, nil)
	require.NoError(c.t, err)
	req.Header.Set("Content-Type", "text/none")
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	resp, err := client.Do(req)
	require.NoError(c.t, err)
	require.NoError(c.t, resp.Body.Close())
	switch resp.StatusCode {
	case http.StatusUnauthorized, http.StatusForbidden:
		return resp.StatusCode
	}
	require.Less(c.t, resp.StatusCode, 500, "%s %s", method, path)
	return 0
}

// token begins a session of a device.
func (c *company) token(id stream.Identity) string {
	c.t.Helper()
	nobody := c.nobody()
	var nonce api.Nonce
	_, err := nobody.Get(c.t.Context(), api.PathNonce, nil, &nonce)
	require.NoError(c.t, err)
	var s api.Session
	require.NoError(c.t, nobody.Post(c.t.Context(), api.PathSession, api.DeviceLogin{
		Site: id.Source.Site, Device: id.Source.Device, Nonce: nonce.Nonce, Signature: proof(c.t, id, api.SessionProof(nonce.Nonce, nobody.Hub)),
	}, &s))
	return s.Token
}

// Nothing is answered that is not in the table: no other method of an address
// that it names, nothing that a library brings with it, nothing near it.
func TestNothingOutsideTheTable(t *testing.T) {
	c := openCompany(t, nil)
	takes := map[string]map[string]bool{}
	for _, r := range c.hub.Routes() {
		p := path(r.Pattern)
		if takes[p] == nil {
			takes[p] = map[string]bool{}
		}
		takes[p][r.Method] = true
	}
	for _, p := range []string{
		"/metrics", "/debug/pprof/", "/debug/vars", "/api", "/api/", "/api/v1", "/api/v1/", "/api/v2/walls", "/api/v1/walls/", "/api/v1/walls/mill", "/api/v1/walls/mill/a/x/y",
		"/api/v1/people/p-nobody", "/api/v1/devices/mill/d", "/favicon.ico", "/.well-known/x", "/index.html", "/hub.sock", "/healthz/", "/varz", "/jsz", "/connz",
	} {
		require.Nil(t, takes[p], "%s is in the table", p)
		takes[p] = map[string]bool{}
	}
	for p, methods := range takes {
		for _, method := range []string{"GET", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "PROPFIND"} {
			if methods[method] {
				continue
			}
			req, err := http.NewRequestWithContext(t.Context(), method, c.local.Hub+p, nil)
			require.NoError(t, err)
			resp, err := c.local.HTTP.Do(req)
			require.NoError(t, err)
			require.NoError(t, resp.Body.Close())
			require.Contains(t, []int{http.StatusNotFound, http.StatusMethodNotAllowed}, resp.StatusCode, "%s %s", method, p)
		}
	}
}

// Handlers are put behind addresses in two places only: the door's table, and
// the metrics on a listener of their own.
func TestHandlersAreServedByTheTable(t *testing.T) {
	var places []string
	set := token.NewFileSet()
	require.NoError(t, filepath.WalkDir("../..", func(file string, _ fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return err
		}
		parsed, err := parser.ParseFile(set, file, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		ast.Inspect(parsed, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			s, ok := call.Fun.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			switch on, _ := s.X.(*ast.Ident); {
			case s.Sel.Name == "Handle", s.Sel.Name == "HandleFunc", on != nil && on.Name == "http" && (s.Sel.Name == "NewServeMux" || s.Sel.Name == "DefaultServeMux"):
				places = append(places, filepath.Base(filepath.Dir(file))+"/"+filepath.Base(file)+" "+s.Sel.Name)
			}
			return true
		})
		return nil
	}))
	require.ElementsMatch(t, []string{"door/mux.go NewServeMux", "door/mux.go Handle", "hub/web.go NewServeMux", "hub/web.go Handle"}, places)
}

// private is what is not of the record, or takes it away as a whole.
var private = []string{
	"/account", api.PathMe, api.PathPeople, api.PathDevices, api.PathTold, api.PathPush, api.PathCalendars, api.PathRoutes, api.PathCheckpoint,
}

// In a hub that takes events from anybody, anybody sees the record; people and
// devices are still nobody's to change.
func TestUnsignedHubShowsTheRecordOnly(t *testing.T) {
	h := start(t, nil)
	for _, r := range h.Routes() {
		c := &company{t: t, hub: h}
		got := c.status(r.Method, path(r.Pattern), nil)
		rule := routeRules(t)[r.Method+" "+strings.Replace(r.Pattern, "{$}", "", 1)]
		looks := r.Method == http.MethodGet && !slices.ContainsFunc(private, func(p string) bool { return strings.HasPrefix(r.Pattern, p) }) && !strings.HasPrefix(string(r.Who), "roles:")
		if rule[0] == "all" || looks {
			require.Equal(t, 0, got, "%s %s", r.Method, r.Pattern)
		} else {
			require.Equal(t, http.StatusUnauthorized, got, "%s %s", r.Method, r.Pattern)
		}
	}
	_, err := hub.Start(t.Context(), hub.Config{Dir: t.TempDir(), HTTP: "0.0.0.0:0", Unsigned: true})
	require.ErrorContains(t, err, "--plain-on-network")
}
