package door_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
)

// FuzzRequests asks every route of the door as a stranger, with any body, query
// and cookie: none is the hub's own fault, none begins a session, each carries
// the headers.
func FuzzRequests(f *testing.F) {
	db, err := bbolt.Open(filepath.Join(f.TempDir(), "keep.db"), 0o600, &bbolt.Options{NoSync: true})
	require.NoError(f, err)
	f.Cleanup(func() { require.NoError(f, db.Close()) })
	c, err := cabinet.New(db, time.Now)
	require.NoError(f, err)
	none := people.New()
	register := func() *people.Register { return none }
	r, err := roster.New(roster.Config{
		Register: register, Cabinet: c, Address: origin,
		Say: func(context.Context, events.Event) error { panic("a stranger changed who is who") },
	})
	require.NoError(f, err)
	const plenty = 1 << 30
	d, err := door.New(door.Config{
		Roster: r, Cabinet: c, Register: register, Origin: origin, TLS: true,
		Limits: door.Limits{Address: plenty, AddressBurst: plenty, Account: plenty, AccountBurst: plenty, Tries: plenty, TriesBurst: plenty},
	})
	require.NoError(f, err)
	routes := d.Routes()
	handler := d.Mux(routes...)

	bodies := []string{
		`{"code":"00000-00000-00000-00000-000000","key":"UAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA","device":"phone-1","proof":"AA"}`,
		`{"site":"mill","device":"phone-1","nonce":"AA","signature":"AA"}`,
		`{"code":"x","fresh":true}`, `{"credential":{"id":"AA","rawId":"AA","type":"public-key","response":{"clientDataJSON":"AA","attestationObject":"oA"}}}`,
		`{}`, `null`, `[[[[`, `{"code":{"code":1e999}}`, "",
	}
	for i := range routes {
		for _, body := range bodies {
			f.Add(uint8(i), body, "next=//evil.example", "__Host-earlyage-try=AAAA; __Host-earlyage=AAAA")
		}
	}
	f.Fuzz(func(t *testing.T, which uint8, body, query, cookie string) {
		route := routes[int(which)%len(routes)]
		req := httptest.NewRequestWithContext(t.Context(), route.Method, origin+strings.TrimSuffix(route.Pattern, "{$}"), strings.NewReader(body))
		req.URL.RawQuery = query
		req.Header.Set("Content-Type", "application/json")
		req.Header["Cookie"] = []string{cookie}
		rec := httptest.NewRecorder()
		handler.ServeHTTP(rec, req)
		answer := rec.Result()
		require.Less(t, answer.StatusCode, http.StatusInternalServerError, "%s %s: %s", route.Method, route.Pattern, rec.Body)
		require.NotEmpty(t, answer.Header.Get("Content-Security-Policy"))
		require.Equal(t, "nosniff", answer.Header.Get("X-Content-Type-Options"))
		begun := slices.ContainsFunc(answer.Cookies(), func(c *http.Cookie) bool { return c.Name == "__Host-earlyage" && c.MaxAge >= 0 && c.Value != "" })
		require.False(t, begun, "%s %s began a session", route.Method, route.Pattern)
		if to := answer.Header.Get("Location"); to != "" {
			require.True(t, strings.HasPrefix(to, "/") && !strings.HasPrefix(to, "//"), "leads to %q", to)
		}
	})
}
