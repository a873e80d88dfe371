package door_test

import (
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
)

// path fills the wildcards of a pattern.
func path(r door.Route) string {
	return strings.NewReplacer("{$}", "", "{site}", "north", "{device}", "phone-amira").Replace(r.Pattern)
}

func changes(r door.Route) bool {
	return r.Method != http.MethodGet && r.Method != http.MethodHead
}

// A page of another site reaches no route that changes something, whoever is
// signed in in that browser; and what it cannot reach has no effect.
func TestAnotherSitesPageChangesNothing(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	v, _ := h.enrolled(amira)
	h.phone(amira, "phone-amira")
	n := 0
	for _, r := range append(h.door.Routes(), h.revoking()) {
		if !changes(r) {
			continue
		}
		n++
		for name, header := range map[string]http.Header{
			"cross-site":     {"Sec-Fetch-Site": {"cross-site"}},
			"same-site":      {"Sec-Fetch-Site": {"same-site"}, "Origin": {"https://wiki.hub.example"}},
			"another origin": {"Origin": {"https://other.example"}},
			"null origin":    {"Origin": {"null"}},
			"form":           {"Sec-Fetch-Site": {"cross-site"}, "Content-Type": {"application/x-www-form-urlencoded"}},
		} {
			v.header = header
			refused(t, v.ask(r.Method, path(r), "{}"), http.StatusForbidden, "cross-site")
			_ = name
		}
		v.header = http.Header{}
	}
	require.Equal(t, 9, n, "a new route that changes something is tested by being in the table")
	v.in(amira)
	require.Len(t, h.register.Load().Devices(), 1)
	require.False(t, h.register.Load().Devices()[0].Revoked)

	v.header = http.Header{"Sec-Fetch-Site": {"same-origin"}, "Origin": {origin}}
	require.Equal(t, http.StatusNoContent, v.ask("POST", api.PathDevices+"/north/phone-amira/revoke", "{}").Code)
}

// Each role, and nobody, on each sort of route: in or out by the table alone.
func TestRolesAndRoutes(t *testing.T) {
	h := newHouse(t)
	ok := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusTeapot) })
	routes := []door.Route{
		{Method: "GET", Pattern: "/t/public", Who: door.Public, Handler: ok},
		{Method: "GET", Pattern: "/t/in", Who: door.SignedIn, Handler: ok},
		{Method: "GET", Pattern: "/t/local", Who: door.LocalOnly, Handler: ok},
		{Method: "GET", Pattern: "/t/site/{site}", Who: door.Roles(events.Engineer, events.Officer), Handler: ok},
		{Method: "GET", Pattern: "/t/any", Who: door.Roles(events.Engineer), Handler: ok},
		{Method: "GET", Pattern: "/t/none", Who: door.Roles(), Handler: ok},
		{Method: "GET", Pattern: "/t/odd", Who: door.Access("everybody"), Handler: ok},
		{Method: "GET", Pattern: "/t/unset", Handler: ok},
	}
	h.handler = h.door.Mux(append(h.door.Routes(), routes...)...)
	visitors := map[string]*visitor{"nobody": h.visitor()}
	for name, roles := range map[string]map[string][]events.Role{
		"engineer north": {"north": {events.Engineer}}, "officer south": {"north": {events.Crew}, "south": {events.Officer}},
		"officer all": {"_": {events.Officer}, "north": {events.Crew}}, "crew": {"north": {events.Crew}},
	} {
		visitors[name], _ = h.enrolled(h.person(name, roles))
	}
	const in, out, no = http.StatusTeapot, http.StatusUnauthorized, http.StatusForbidden
	for target, want := range map[string]map[string]int{
		"/t/public":     {"nobody": in, "crew": in, "engineer north": in, "officer south": in, "officer all": in},
		"/t/in":         {"nobody": out, "crew": in, "engineer north": in, "officer south": in, "officer all": in},
		"/t/local":      {"nobody": out, "crew": no, "engineer north": no, "officer south": no, "officer all": no},
		"/t/site/north": {"nobody": out, "crew": no, "engineer north": in, "officer south": no, "officer all": in},
		"/t/site/south": {"nobody": out, "crew": no, "engineer north": no, "officer south": in, "officer all": in},
		"/t/site/_":     {"nobody": out, "crew": no, "engineer north": no, "officer south": no, "officer all": in},
		"/t/any":        {"nobody": out, "crew": no, "engineer north": in, "officer south": no, "officer all": no},
		"/t/none":       {"nobody": out, "crew": no, "engineer north": no, "officer south": no, "officer all": no},
		"/t/odd":        {"nobody": out, "crew": no, "engineer north": no, "officer south": no, "officer all": no},
		"/t/unset":      {"nobody": out, "crew": no, "engineer north": no, "officer south": no, "officer all": no},
	} {
		for who, v := range visitors {
			require.Equal(t, want[who], v.ask("GET", target, nil).Code, "%s asks %s", who, target)
		}
		w := httptest.NewRecorder()
		r := httptest.NewRequest("GET", target, nil)
		h.handler.ServeHTTP(w, r.WithContext(door.Local(r.Context())))
		require.Equal(t, in, w.Code, "the own socket asks %s", target)
	}
}

// The fixture demands the headers of every answer; here are the ways to an
// error, for programs and for people.
func TestErrorsCarryTheHeadersToo(t *testing.T) {
	h := newHouse(t)
	v := h.visitor()
	refused(t, v.ask("GET", "/api/v1/nothing", nil), http.StatusNotFound, api.CodeNotFound)
	refused(t, v.ask("GET", "/../../etc/passwd", nil), http.StatusNotFound, api.CodeNotFound)
	w := v.ask("PUT", api.PathSession, nil)
	refused(t, w, http.StatusMethodNotAllowed, "method")
	require.Contains(t, w.Header().Get("Allow"), "DELETE")
	refused(t, v.ask("GET", "/", nil), http.StatusUnauthorized, api.CodeSignIn)
	refused(t, v.ask("TRACE", "/", nil), http.StatusMethodNotAllowed, "method")

	v.header = http.Header{"Accept": {"text/html"}}
	w = v.ask("GET", "/nothing", nil)
	require.Equal(t, http.StatusNotFound, w.Code)
	require.Equal(t, "text/html; charset=utf-8", w.Header().Get("Content-Type"))
	w = v.ask("GET", "/", nil)
	require.Equal(t, http.StatusSeeOther, w.Code)
	require.Equal(t, "/login", w.Header().Get("Location"))
	for _, page := range []string{"/login", "/join"} {
		w := v.ask("GET", page, nil)
		require.Equal(t, http.StatusOK, w.Code)
		require.Equal(t, "no-store", w.Header().Get("Cache-Control"))
		require.NotContains(t, w.Body.String(), "<style")
		require.NotContains(t, w.Body.String(), "style=")
		require.NotContains(t, w.Body.String(), "<script>")
		require.NotContains(t, w.Body.String(), "onclick")
	}
}

func TestBodiesAreWhatTheyHaveToBe(t *testing.T) {
	h := newHouse(t)
	for _, r := range h.door.Routes() {
		if !changes(r) || r.Method == http.MethodDelete {
			continue
		}
		v := h.visitor()
		for body, code := range map[string]string{
			`{"a":"` + strings.Repeat("x", 64<<10) + `"}`: api.CodeTooLarge,
			strings.Repeat("[", 10000):                    api.CodeRefused,
			`{"nonce":"a","nonce":"b","unknown":1}`:       api.CodeRefused,
			`null {}`:                                     api.CodeRefused,
			``:                                            api.CodeRefused,
		} {
			w := v.ask(r.Method, path(r), body)
			status := http.StatusBadRequest
			if code == api.CodeTooLarge {
				status = http.StatusRequestEntityTooLarge
			}
			refused(t, w, status, code)
		}
		for _, kind := range []string{"", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/json-seq", "application/json; ="} {
			v.header = http.Header{"Content-Type": {kind}}
			refused(t, v.ask(r.Method, path(r), "{}"), http.StatusUnsupportedMediaType, api.CodeContentType)
		}
	}
}

func TestALoginLeadsNowhereElse(t *testing.T) {
	h := newHouse(t)
	v, _ := h.enrolled(h.foreman())
	for next, want := range map[string]string{
		"/board": "/board", "/walls/north/w1?as-of=2026-05-04": "/walls/north/w1?as-of=2026-05-04", "": "/",
		"https://other.example": "/", "//other.example": "/", "///other.example": "/", `/\other.example`: "/", `\\other.example`: "/",
		"/%2f/other.example": "/", "/%5cother.example": "/", "/\t/other.example": "/", "/ /other.example": "/", "javascript:alert(1)": "/",
		"/a\r\nSet-Cookie: x=y": "/", "other.example": "/", "/\u2028": "/", "/" + strings.Repeat("a", 512): "/", "/%zz": "/",
	} {
		w := v.ask("GET", "/login?next="+url.QueryEscape(next), nil)
		require.Equal(t, http.StatusSeeOther, w.Code, next)
		require.Equal(t, want, w.Header().Get("Location"), next)
		require.Empty(t, w.Header().Get("Set-Cookie"), next)
		w = h.visitor().ask("GET", "/login?next="+url.QueryEscape(next), nil)
		require.Contains(t, w.Body.String(), `data-next="`+want+`"`, next)
	}
	// What was asked for without a session comes back after the login.
	stranger := h.visitor()
	stranger.header = http.Header{"Accept": {"text/html"}}
	h.handler = h.door.Mux(append(h.door.Routes(), door.Route{Method: "GET", Pattern: "/board", Who: door.SignedIn, Handler: http.NotFoundHandler()})...)
	require.Equal(t, "/login?next=%2Fboard%3Fsite%3Dnorth", stranger.ask("GET", "/board?site=north", nil).Header().Get("Location"))
}

func TestHeadersAreNotInjected(t *testing.T) {
	h := newHouse(t)
	evil := "x\r\nSet-Cookie: evil=1\r\n\r\n<script>"
	p := h.person("A <b>name</b> & \"more\"", map[string][]events.Role{"north": {events.Crew}})
	v, _ := h.enrolled(p)
	v.header = http.Header{"Accept": {"text/html"}, "User-Agent": {evil}}
	for _, target := range []string{"/" + url.PathEscape(evil), "/login?next=" + url.QueryEscape(evil), "/static/" + url.PathEscape(evil)} {
		w := v.ask("GET", target, nil)
		require.NotContains(t, w.Header(), "Evil")
		require.Empty(t, w.Header().Values("Set-Cookie"), target)
		require.NotContains(t, w.Body.String(), "<script>", target)
	}
	w := v.ask("GET", "/", nil)
	require.Contains(t, w.Body.String(), "A &lt;b&gt;name&lt;/b&gt; &amp; &#34;more&#34;")
	require.NotContains(t, w.Body.String(), "<b>")
	for _, junk := range []string{"", " ", "a", strings.Repeat("x", 8000), evil, "%00"} {
		v := h.visitor()
		v.bearer = junk
		v.out()
		v.bearer = ""
		v.header = http.Header{"Cookie": {cookie + "=" + junk}}
		v.out()
		v.header = http.Header{"Authorization": {"Basic " + junk}}
		v.out()
	}
}

// Wrong codes from one address are slowed; right ones are not counted, and an
// address beside is not touched.
func TestWrongCodesAreSlowed(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	v := h.visitor()
	for range 30 { // a whole crew behind one address, each with a code that is good
		require.Equal(t, http.StatusOK, v.ask("POST", "/api/v1/invitation", object{"code": h.invite(amira, roster.Page)}).Code)
	}
	guess := func(i int) *httptest.ResponseRecorder {
		code := fmt.Sprintf("00000-00000-00000-00000-%06d", i)
		switch i % 4 {
		case 0:
			return v.ask("POST", "/api/v1/invitation", object{"code": code})
		case 1:
			return v.ask("POST", passkeys+"register/begin", object{"code": code})
		case 2:
			return v.ask("POST", api.PathSession, api.DeviceLogin{Site: "north", Device: "x", Nonce: "x", Signature: "x"})
		}
		_, w := v.join(code, "phone-x")
		return w
	}
	for i := range 20 {
		require.NotEqual(t, http.StatusTooManyRequests, guess(i).Code, i)
	}
	for i := range 8 {
		w := guess(i)
		refused(t, w, http.StatusTooManyRequests, "too-many")
		require.NotEmpty(t, w.Header().Get("Retry-After"))
	}
	refused(t, v.ask("POST", "/api/v1/invitation", object{"code": h.invite(amira, roster.Page)}), http.StatusTooManyRequests, "too-many")
	v.remote = "192.0.2.7:50001"
	refused(t, guess(0), http.StatusTooManyRequests, "too-many")
	v.remote = "192.0.2.8:50000"
	require.Equal(t, http.StatusNotFound, guess(0).Code)
	v.remote = "192.0.2.7:50000"
	h.after(10 * time.Second)
	require.Equal(t, http.StatusNotFound, guess(0).Code, "one more in 10 s")
	require.Equal(t, http.StatusTooManyRequests, guess(0).Code)

	// One subscriber's network is one, however many addresses it has.
	for i := range 20 {
		v.remote = fmt.Sprintf("[2001:db8:0:1::%x]:50000", i+1)
		require.Equal(t, http.StatusNotFound, guess(0).Code)
	}
	v.remote = "[2001:db8:0:1:ffff::1]:50000"
	require.Equal(t, http.StatusTooManyRequests, guess(0).Code)
	v.remote = "[2001:db8:0:2::1]:50000"
	require.Equal(t, http.StatusNotFound, guess(0).Code)
	v.header = http.Header{"X-Forwarded-For": {"203.0.113.77"}}
	v.remote = "192.0.2.7:50000"
	require.Equal(t, http.StatusTooManyRequests, guess(0).Code, "what a header says of the address is not believed")
}

func TestRequestsAreBounded(t *testing.T) {
	h := newHouse(t, func(c *door.Config) {
		c.Limits = door.Limits{Address: 10, AddressBurst: 50, Account: 5, AccountBurst: 20}
	})
	amira := h.foreman()
	v, _ := h.enrolled(amira) // two requests
	h.after(time.Minute)
	for range 20 {
		v.in(amira)
	}
	refused(t, v.ask("GET", api.PathMe, nil), http.StatusTooManyRequests, "too-many")
	v.remote = "192.0.2.9:1"
	refused(t, v.ask("GET", api.PathMe, nil), http.StatusTooManyRequests, "too-many")
	h.after(time.Second)
	v.in(amira)

	stranger := h.visitor()
	stranger.remote = "192.0.2.10:1"
	for range 50 {
		stranger.nonce()
	}
	refused(t, stranger.ask("GET", api.PathNonce, nil), http.StatusTooManyRequests, "too-many")
	h.after(100 * time.Millisecond)
	stranger.nonce()
}

// Who asks from very many addresses takes no more memory than the table has,
// shuts nobody out, and frees nobody who is slowed but by asking on and on.
func TestManyAddresses(t *testing.T) {
	h := newHouse(t)
	guesser, honest := h.visitor(), h.visitor()
	honest.remote = "203.0.113.1:1"
	guess := func() int { return guesser.ask("POST", "/api/v1/invitation", object{"code": "0"}).Code }
	for range 20 {
		require.Equal(t, http.StatusNotFound, guess())
	}
	flood := func(n int) {
		for i := range n {
			r := httptest.NewRequest("POST", "/api/v1/invitation", strings.NewReader(`{"code":"0"}`))
			r.Header.Set("Content-Type", "application/json")
			r.RemoteAddr = fmt.Sprintf("10.%d.%d.%d:1", i>>16, i>>8&255, i&255)
			h.handler.ServeHTTP(httptest.NewRecorder(), r)
		}
	}
	flood(30_000)
	require.Equal(t, http.StatusTooManyRequests, guess())
	honest.nonce()
	flood(80_000)
	honest.nonce()
}

// pipe is a listener without a network, for a bubble.
type pipe struct{ conns chan net.Conn }

func (p pipe) Accept() (net.Conn, error) {
	c, ok := <-p.conns
	if !ok {
		return nil, net.ErrClosed
	}
	return c, nil
}
func (p pipe) Close() error   { close(p.conns); return nil } // a server does it once
func (p pipe) Addr() net.Addr { return &net.TCPAddr{IP: net.IPv4(192, 0, 2, 7), Port: 1} }

// Who sends headers or a body by the drop is cut, and who sends too many headers
// is told so.
func TestSlowOnesAreCut(t *testing.T) {
	for name, c := range map[string]struct {
		send string
		last time.Duration
	}{
		"headers": {"GET / HTTP/1.1\r\nHost: hub.example\r\nX-Slow: ", 10 * time.Second},
		"body":    {"POST /api/v1/session HTTP/1.1\r\nHost: hub.example\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{", 30 * time.Second},
		"idle":    {"GET /api/v1/nonce HTTP/1.1\r\nHost: hub.example\r\n\r\n", 2 * time.Minute},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t)
			synctest.Test(t, func(t *testing.T) {
				server := door.NewServer(h.handler, slog.New(slog.DiscardHandler))
				l := pipe{make(chan net.Conn, 1)}
				ended := make(chan error, 1)
				go func() { ended <- server.Serve(l) }()
				client, far := net.Pipe()
				l.conns <- far
				begun := time.Now()
				var sender sync.WaitGroup
				sender.Go(func() {
					_, _ = io.WriteString(client, c.send)
					for { // a drop a second keeps nothing open
						if _, err := io.WriteString(client, "1"); name == "idle" || err != nil {
							return
						}
						time.Sleep(time.Second)
					}
				})
				_, err := io.ReadAll(client)
				require.NoError(t, err)
				require.GreaterOrEqual(t, time.Since(begun), c.last)
				require.LessOrEqual(t, time.Since(begun), c.last+2*time.Second)
				require.NoError(t, client.Close())
				sender.Wait()
				require.NoError(t, server.Close())
				require.ErrorIs(t, <-ended, http.ErrServerClosed)
			})
		})
	}
}
