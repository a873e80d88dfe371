package wallpage_test

import (
	"context"
	"net"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/events"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
)

// names are those of the invented people.
var names = map[string]string{"p-2m8w": "Birk", "p-5t1r": "Tuva", "p-4w6d": "Noor", "p-6j9x": "Ask"}

// served is the pages behind a real door, without its access table.
type served struct {
	handler http.Handler
	address string // http://host:port
}

func serve(t testing.TB, r wallpage.Reader, now time.Time) *served {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	_, port, err := net.SplitHostPort(listener.Addr().String())
	require.NoError(t, err)
	s := &served{address: "http://localhost:" + port}
	d := newDoor(t, s.address)
	pages, err := wallpage.New(wallpage.Config{Reader: r, Asset: d.Asset, Mark: d.Mark, Name: func(id string) string { return names[id] }, Now: func() time.Time { return now }})
	require.NoError(t, err)
	mux := http.NewServeMux()
	for _, route := range append(pages.Routes(), d.Routes()...) {
		mux.Handle(route.Method+" "+route.Pattern, route.Handler)
	}
	s.handler = d.Wrap(mux)
	server := &httptest.Server{Listener: listener, Config: &http.Server{Handler: s.handler}} // #nosec G112 -- a server of a test
	server.Start()
	t.Cleanup(server.Close)
	return s
}

func newDoor(t testing.TB, origin string) *door.Door {
	t.Helper()
	db, err := bbolt.Open(filepath.Join(t.TempDir(), "keep.db"), 0o600, &bbolt.Options{NoSync: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	box, err := cabinet.New(db, time.Now)
	require.NoError(t, err)
	register := people.New()
	get := func() *people.Register { return register }
	rooms, err := roster.New(roster.Config{Register: get, Cabinet: box, Address: origin, Say: func(context.Context, events.Event) error { return nil }})
	require.NoError(t, err)
	d, err := door.New(door.Config{Roster: rooms, Cabinet: box, Register: get, Origin: origin, Limits: door.Limits{Address: 10000, AddressBurst: 10000}})
	require.NoError(t, err)
	return d
}

// get asks for a page.
func (s *served) get(t testing.TB, path string, status int) string {
	t.Helper()
	w := httptest.NewRecorder()
	s.handler.ServeHTTP(w, httptest.NewRequest("GET", s.address+path, nil).WithContext(t.Context()))
	require.Equal(t, status, w.Code, "%s: %s", path, w.Body)
	return w.Body.String()
}
