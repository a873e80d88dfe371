package roster_test

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"log/slog"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nkeys"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
	"go.uber.org/goleak"

	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
	"earlyage/projector/wall"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var (
	start   = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	hubSeed = ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, ed25519.SeedSize))
	errLine = errors.New("the line is down")
)

// hub folds what is said into a real register, as the projector does.
type hub struct {
	*roster.Roster
	cabinet *cabinet.Cabinet
	reg     atomic.Pointer[people.Register]
	now     atomic.Pointer[time.Time]

	mu     sync.Mutex
	seq    uint64
	bodies bytes.Buffer // of all that was said
	log    bytes.Buffer
	fail   bool // the next word does not get through
	after  bool // it does, but nobody hears of it
}

func (h *hub) Write(b []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.log.Write(b)
}

func (h *hub) say(_ context.Context, e events.Event) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.fail && !h.after {
		h.fail = false
		return errLine
	}
	body, err := e.Encode()
	if err != nil {
		return err
	}
	read, err := events.Decode(e.Subject(), body)
	if err != nil {
		return err
	}
	h.seq++
	_, _ = h.bodies.Write(append(body, '\n'))
	d := h.reg.Load().Draft()
	if counts, refused := d.Add(wall.Fact{Event: read, Seq: h.seq, Recorded: e.Time, Trusted: true}); !counts {
		return refused
	}
	h.reg.Store(d.Result())
	if h.fail {
		h.fail = false
		return errLine
	}
	return nil
}

func (h *hub) next(applied bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.fail, h.after = true, applied
}

func (h *hub) at(t time.Time) { h.now.Store(&t) }

func newHub(t *testing.T) *hub {
	t.Helper()
	h := &hub{}
	h.at(start)
	h.reg.Store(people.New())
	now := func() time.Time { return *h.now.Load() }
	db, err := bbolt.Open(filepath.Join(t.TempDir(), "keep.db"), 0o600, &bbolt.Options{Timeout: time.Second, NoSync: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	h.cabinet, err = cabinet.New(db, now)
	require.NoError(t, err)
	h.Roster, err = roster.New(roster.Config{
		Register: h.reg.Load, Cabinet: h.cabinet, Say: h.say, Now: now, Address: "https://hub.example/",
		Log:    slog.New(slog.NewJSONHandler(h, &slog.HandlerOptions{Level: slog.LevelDebug})),
		HubKey: hubSeed.Public().(ed25519.PublicKey),
	})
	require.NoError(t, err)
	return h
}

// tell says what the hub has said before the test begins.
func (h *hub) tell(t *testing.T, site string, kind events.Kind, data events.Data) {
	t.Helper()
	h.mu.Lock()
	id := "t-" + string(rune('a'+h.seq/26)) + string(rune('a'+h.seq%26))
	h.mu.Unlock()
	require.NoError(t, h.say(t.Context(), events.Event{
		ID: id, Source: events.Source{Site: site, Device: events.HubDevice}, Kind: kind, Time: start, Data: data,
	}))
}

func (h *hub) appoint(t *testing.T, person, site string, roles ...events.Role) {
	t.Helper()
	h.tell(t, site, "person.appointed", &events.PersonAppointed{Person: person, Roles: roles})
}

func (h *hub) retire(t *testing.T, person, site string) {
	t.Helper()
	h.tell(t, site, "person.retired", &events.PersonRetired{Person: person, Reason: "left"})
}

// pair is a device's own key.
type pair struct {
	nkeys.KeyPair
	public string
}

func newPair(t *testing.T) pair {
	t.Helper()
	kp, err := nkeys.CreateUser()
	require.NoError(t, err)
	public, err := kp.PublicKey()
	require.NoError(t, err)
	return pair{kp, public}
}

func (p pair) prove(text []byte) string {
	sig, err := p.Sign(text)
	if err != nil {
		panic(err)
	}
	return base64.RawURLEncoding.EncodeToString(sig)
}

func (p pair) join(code, device string) roster.JoinRequest {
	return roster.JoinRequest{Code: code, Key: p.public, Device: device, Proof: p.prove(roster.JoinProof(code))}
}

func (h *hub) invite(t *testing.T, person, site string) string {
	t.Helper()
	ticket, err := h.Invite(t.Context(), "", person, site, roster.Phone)
	require.NoError(t, err)
	return ticket.Code
}

// phone enrols a phone of a person.
func (h *hub) phone(t *testing.T, person, site, device string) (events.Source, pair) {
	t.Helper()
	key := newPair(t)
	out, err := h.Join(t.Context(), key.join(h.invite(t, person, site), device))
	require.NoError(t, err)
	return events.Source{Site: out.Site, Device: out.Device}, key
}
