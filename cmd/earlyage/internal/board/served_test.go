package board_test

import (
	"context"
	"encoding/json"
	"errors"
	"net"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
	"earlyage/projector/wall"
)

// hub is a Source whose picture a test changes; it takes entries as the hub does.
type hub struct {
	mu      sync.Mutex
	in      board.Input
	sight   board.Sight
	ended   bool
	looks   int
	entered []entry
	why     string // why it does not take the next entry
}

type entry struct {
	Site, Wall, Kind string
	Data             map[string]string
}

var dispatcher = board.Sight{All: true, Roles: map[string][]events.Role{"_": {events.Dispatcher}}}

func (h *hub) Sight(context.Context) (board.Sight, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.ended {
		return board.Sight{}, errors.New("nobody")
	}
	return h.sight, nil
}

func (h *hub) Through() uint64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.in.Through
}

func (h *hub) Look(_ context.Context, see func(board.Input) error) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.looks++
	return see(h.in)
}

// change changes the picture, as an event that was folded does.
func (h *hub) change(f func(in *board.Input)) {
	h.mu.Lock()
	defer h.mu.Unlock()
	f(&h.in)
	h.in.Through++
}

// see changes what the viewer may see, while pages are asked for.
func (h *hub) see(s board.Sight) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.sight = s
}

// enter takes an answer to an alert, as the hub's POST /api/v1/entries does.
func (h *hub) enter(w http.ResponseWriter, r *http.Request) {
	var e entry
	if err := json.NewDecoder(r.Body).Decode(&e); err != nil {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	answer := map[string]any{"id": "x", "sequence": 1}
	if h.why != "" {
		answer["refused"] = map[string]string{"field": "role", "reason": h.why}
		h.why = ""
	} else {
		h.change(func(in *board.Input) {
			h.entered = append(h.entered, e)
			for i, a := range in.Alarms {
				switch {
				case a.ID != e.Data["alert"]:
				case e.Kind == "alert.acknowledged":
					in.Alarms[i].Acknowledged, in.Alarms[i].AcknowledgedBy, in.Alarms[i].State = face.Time{Time: in.At}, "p-4w6d", wall.StateAcknowledged
				case e.Kind == "alert.unshelved":
					in.Alarms[i].State = wall.StateUnacknowledged
				default:
					until, err := time.Parse(time.RFC3339, e.Data["until"])
					if err != nil {
						w.WriteHeader(http.StatusBadRequest)
						return
					}
					in.Alarms[i].ShelvedUntil, in.Alarms[i].ShelvedBy, in.Alarms[i].ShelvedReason = face.Time{Time: until}, "p-4w6d", e.Data["reason"]
					in.Alarms[i].State = wall.StateShelved
				}
			}
		})
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(http.StatusAccepted)
	if err := json.NewEncoder(w).Encode(answer); err != nil {
		panic(err)
	}
}

// served is a board behind a real door, without its access table.
type served struct {
	*hub
	pages   *board.Pages
	handler http.Handler
	address string // host and port
}

func serve(t testing.TB, in board.Input, change func(*board.Config)) *served {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	_, port, err := net.SplitHostPort(listener.Addr().String())
	require.NoError(t, err)
	s := &served{hub: &hub{in: in, sight: dispatcher}, address: "localhost:" + port}
	d := newDoor(t, "http://"+s.address)
	c := board.Config{
		Source: s.hub, Asset: d.Asset, Mark: d.Mark, Beat: 400 * time.Millisecond,
		Name: func(person string) string { return map[string]string{"p-4w6d": "Noor"}[person] },
	}
	if change != nil {
		change(&c)
	}
	s.pages, err = board.New(c)
	require.NoError(t, err)
	mux := http.NewServeMux()
	for _, route := range append(s.pages.Routes(), d.Routes()...) {
		if route.Pattern != api.PathMe {
			mux.Handle(route.Method+" "+route.Pattern, route.Handler)
		}
	}
	mux.HandleFunc("POST "+api.PathEntries, s.enter)
	mux.HandleFunc("GET "+api.PathMe, func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	mux.HandleFunc("GET /walls/{site}/{wall}", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		_, _ = w.Write([]byte("<!DOCTYPE html><title>wall</title><h1>the wall</h1>")) // a test's page
	})
	s.handler = d.Wrap(mux)
	server := &httptest.Server{Listener: listener, Config: &http.Server{Handler: s.handler}} // #nosec G112 -- a server of a test
	server.Start()
	t.Cleanup(func() {
		s.mu.Lock()
		s.ended = true // what streams ends
		s.mu.Unlock()
		server.Close()
	})
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
func (s *served) get(t testing.TB, path string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	s.handler.ServeHTTP(w, httptest.NewRequest("GET", "http://"+s.address+path, nil).WithContext(t.Context()))
	require.Equal(t, http.StatusOK, w.Code, "%s: %s", path, w.Body)
	return w
}
