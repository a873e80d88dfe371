package door_test

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/descope/virtualwebauthn"
	"github.com/go-json-experiment/json"
	"github.com/nats-io/nkeys"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
	"earlyage/projector/wall"
)

const origin = "https://hub.example"

// house is a hub of which only the door is there: the real cabinet, register and
// roster, and a clock that the test winds.
type house struct {
	t       *testing.T
	cabinet *cabinet.Cabinet
	roster  *roster.Roster
	door    *door.Door
	handler http.Handler
	origin  string

	register atomic.Pointer[people.Register]
	clock    atomic.Int64 // nanoseconds
	said     uint64

	mu      sync.Mutex
	log     bytes.Buffer // guarded by mu
	secrets []string     // guarded by mu: what the log must not hold
}

type change func(*door.Config)

func newHouse(t *testing.T, changes ...change) *house {
	t.Helper()
	h := &house{t: t, origin: origin}
	h.clock.Store(time.Date(2026, 5, 4, 6, 0, 0, 0, time.UTC).UnixNano())
	h.register.Store(people.New())
	db, err := bbolt.Open(filepath.Join(t.TempDir(), "keep.db"), 0o600, &bbolt.Options{NoSync: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	h.cabinet, err = cabinet.New(db, h.now)
	require.NoError(t, err)
	log := slog.New(slog.NewTextHandler(h, &slog.HandlerOptions{Level: slog.LevelDebug}))
	h.roster, err = roster.New(roster.Config{
		Register: h.register.Load, Cabinet: h.cabinet, Now: h.now, Log: log, Address: origin,
		Say: func(_ context.Context, e events.Event) error { h.say(e); return nil },
	})
	require.NoError(t, err)
	c := door.Config{Roster: h.roster, Cabinet: h.cabinet, Register: h.register.Load, Origin: origin, Now: h.now, Log: log, TLS: true}
	for _, change := range changes {
		change(&c)
	}
	h.origin = c.Origin
	h.door, err = door.New(c)
	require.NoError(t, err)
	h.handler = h.door.Mux(append(h.door.Routes(), h.revoking())...)
	t.Cleanup(h.quiet)
	return h
}

// revoking is the hub's own route that the page about oneself asks for.
func (h *house) revoking() door.Route {
	return door.Route{
		Method: http.MethodPost, Pattern: api.PathDevices + "/{site}/{device}/revoke", Who: door.SignedIn,
		Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			src := events.Source{Site: r.PathValue("site"), Device: r.PathValue("device")}
			if err := h.roster.Revoke(r.Context(), door.CallerOf(r.Context()).Person, src, "lost"); err != nil {
				w.WriteHeader(http.StatusForbidden)
				return
			}
			w.WriteHeader(http.StatusNoContent)
		}),
	}
}

func (h *house) say(e events.Event) {
	h.said++
	h.register.Store(h.register.Load().With(wall.Fact{Event: e, Seq: h.said, Recorded: h.now(), Trusted: true}))
}

func (h *house) now() time.Time        { return time.Unix(0, h.clock.Load()).UTC() }
func (h *house) after(d time.Duration) { h.clock.Add(int64(d)) }
func (h *house) Write(b []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.log.Write(b)
}

func (h *house) secret(s string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(s) >= 16 {
		h.secrets = append(h.secrets, s)
	}
}

// quiet demands of every test that the log holds nothing that lets anybody in.
func (h *house) quiet() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.t.Failed() {
		h.t.Log(h.log.String())
	}
	for _, s := range h.secrets {
		require.NotContains(h.t, h.log.String(), s, "the log holds a secret")
		require.NotContains(h.t, h.log.String(), strings.ReplaceAll(s, "-", ""), "the log holds a secret")
	}
}

func (h *house) person(name string, roles map[string][]events.Role) string {
	h.t.Helper()
	p, err := h.roster.AddPerson(h.t.Context(), "", cabinet.Card{Name: name}, roles)
	require.NoError(h.t, err)
	return p
}

func (h *house) foreman() string {
	return h.person("Amira Solano", map[string][]events.Role{"north": {events.Foreman}})
}

func (h *house) invite(person, sort string) string {
	h.t.Helper()
	ticket, err := h.roster.Invite(h.t.Context(), "", person, "north", sort)
	require.NoError(h.t, err)
	h.secret(ticket.Code)
	return ticket.Code
}

// visitor is a browser or a program that asks.
type visitor struct {
	h       *house
	cookies map[string]string
	bearer  string
	remote  string
	header  http.Header
}

func (h *house) visitor() *visitor {
	return &visitor{h: h, cookies: map[string]string{}, remote: "192.0.2.7:50000", header: http.Header{}}
}

// ask sends a request. Every answer has to carry the security headers.
func (v *visitor) ask(method, path string, body any) *httptest.ResponseRecorder {
	v.h.t.Helper()
	var raw []byte
	switch b := body.(type) {
	case nil:
	case string:
		raw = []byte(b)
	default:
		var err error
		raw, err = json.Marshal(b)
		require.NoError(v.h.t, err)
	}
	r := httptest.NewRequest(method, path, bytes.NewReader(raw))
	r.RemoteAddr = v.remote
	if raw != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	for name, value := range v.cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	if v.bearer != "" {
		r.Header.Set("Authorization", "Bearer "+v.bearer)
	}
	for name, values := range v.header {
		r.Header[name] = values
	}
	w := httptest.NewRecorder()
	v.h.handler.ServeHTTP(w, r)
	guarded(v.h.t, method+" "+path, w.Header(), strings.HasPrefix(v.h.origin, "https:"))
	for _, c := range w.Result().Cookies() {
		v.h.secret(c.Value)
		if c.MaxAge < 0 {
			delete(v.cookies, c.Name)
		} else {
			v.cookies[c.Name] = c.Value
		}
	}
	return w
}

func guarded(t *testing.T, what string, h http.Header, tls bool) {
	t.Helper()
	policy := h.Get("Content-Security-Policy")
	for _, part := range []string{"default-src 'none'", "script-src 'self'", "style-src 'self'", "frame-ancestors 'none'", "base-uri 'none'"} {
		require.Contains(t, policy, part, what)
	}
	require.NotContains(t, policy, "unsafe", what)
	require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"), what)
	require.Equal(t, "no-referrer", h.Get("Referrer-Policy"), what)
	require.Equal(t, "same-origin", h.Get("Cross-Origin-Opener-Policy"), what)
	if tls {
		require.Equal(t, "max-age=63072000", h.Get("Strict-Transport-Security"), what)
	}
	require.NotEmpty(t, h.Get("Cache-Control"), what)
}

// refused demands a problem with a status and a code.
func refused(t *testing.T, w *httptest.ResponseRecorder, status int, code string) {
	t.Helper()
	require.Equal(t, status, w.Code, w.Body.String())
	require.Equal(t, api.ProblemType, w.Header().Get("Content-Type"))
	var p api.Problem
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &p))
	require.Equal(t, code, p.Code)
	require.Equal(t, status, p.Status)
}

// passkey is an authenticator with one key.
type passkey struct {
	site virtualwebauthn.RelyingParty
	auth virtualwebauthn.Authenticator
	key  virtualwebauthn.Credential
}

func newPasskey() *passkey {
	p := &passkey{
		site: virtualwebauthn.RelyingParty{Name: "earlyage", ID: "hub.example", Origin: origin},
		auth: virtualwebauthn.NewAuthenticator(), key: virtualwebauthn.NewCredential(virtualwebauthn.KeyTypeEC2),
	}
	// The library writes a coordinate that begins with a zero byte too short.
	const whole = 77 // bytes of a P-256 key in COSE form
	for len(p.key.Key.AttestationData()) != whole {
		p.key = virtualwebauthn.NewCredential(virtualwebauthn.KeyTypeEC2)
	}
	return p
}

// made answers the begin of a registration.
func (p *passkey) made(t *testing.T, options string) string {
	t.Helper()
	o, err := virtualwebauthn.ParseAttestationOptions(options)
	require.NoError(t, err)
	p.auth.Options.UserHandle = handleIn(t, options)
	return virtualwebauthn.CreateAttestationResponse(p.site, p.auth, p.key, *o)
}

func handleIn(t *testing.T, options string) []byte {
	t.Helper()
	var o struct {
		PublicKey struct {
			User struct {
				ID string `json:"id"`
			} `json:"user"`
		} `json:"publicKey"`
	}
	require.NoError(t, json.Unmarshal([]byte(options), &o))
	handle, err := base64.RawURLEncoding.DecodeString(o.PublicKey.User.ID)
	require.NoError(t, err)
	require.Len(t, handle, 32)
	return handle
}

// proven answers the begin of a login; the counter goes on.
func (p *passkey) proven(t *testing.T, options string) string {
	t.Helper()
	o, err := virtualwebauthn.ParseAssertionOptions(options)
	require.NoError(t, err)
	p.key.Counter++
	return virtualwebauthn.CreateAssertionResponse(p.site, p.auth, p.key, *o)
}

const passkeys = "/api/v1/passkey/"

type object map[string]any

// register makes a passkey with a code.
func (v *visitor) register(code string, p *passkey, fresh bool) *httptest.ResponseRecorder {
	v.h.t.Helper()
	w := v.ask("POST", passkeys+"register/begin", object{"code": code, "fresh": fresh})
	if w.Code != http.StatusOK {
		return w
	}
	return v.ask("POST", passkeys+"register/finish", `{"code":"`+code+`","credential":`+p.made(v.h.t, w.Body.String())+`}`)
}

func (v *visitor) login(p *passkey) *httptest.ResponseRecorder {
	v.h.t.Helper()
	w := v.ask("POST", passkeys+"login/begin", object{})
	require.Equal(v.h.t, http.StatusOK, w.Code, w.Body.String())
	return v.ask("POST", passkeys+"login/finish", `{"credential":`+p.proven(v.h.t, w.Body.String())+`}`)
}

// enrolled is a person whose browser is signed in by a passkey.
func (h *house) enrolled(person string) (*visitor, *passkey) {
	h.t.Helper()
	v, p := h.visitor(), newPasskey()
	w := v.register(h.invite(person, roster.Page), p, false)
	require.Equal(h.t, http.StatusOK, w.Code, w.Body.String())
	return v, p
}

func (v *visitor) me() (me door.Me, status int) {
	v.h.t.Helper()
	w := v.ask("GET", api.PathMe, nil)
	if w.Code == http.StatusOK {
		require.NoError(v.h.t, json.Unmarshal(w.Body.Bytes(), &me))
	}
	return me, w.Code
}

// in demands that the visitor is a person; out that the visitor is nobody.
func (v *visitor) in(person string) {
	v.h.t.Helper()
	me, status := v.me()
	require.Equal(v.h.t, http.StatusOK, status)
	require.Equal(v.h.t, person, me.Person)
}

func (v *visitor) out() {
	v.h.t.Helper()
	refused(v.h.t, v.ask("GET", api.PathMe, nil), http.StatusUnauthorized, api.CodeSignIn)
}

// phone is a device with a key of its own.
type phone struct {
	h    *house
	pair nkeys.KeyPair
	src  events.Source
}

func newPair(t *testing.T) nkeys.KeyPair {
	t.Helper()
	_, private, err := ed25519.GenerateKey(nil)
	require.NoError(t, err)
	pair, err := nkeys.FromRawSeed(nkeys.PrefixByteUser, private.Seed())
	require.NoError(t, err)
	return pair
}

func public(t *testing.T, pair nkeys.KeyPair) string {
	t.Helper()
	key, err := pair.PublicKey()
	require.NoError(t, err)
	return key
}

func signed(t *testing.T, pair nkeys.KeyPair, text []byte) string {
	t.Helper()
	b, err := pair.Sign(text)
	require.NoError(t, err)
	return base64.RawURLEncoding.EncodeToString(b)
}

func (v *visitor) join(code, name string) (*phone, *httptest.ResponseRecorder) {
	v.h.t.Helper()
	pair := newPair(v.h.t)
	w := v.ask("POST", api.PathJoin, roster.JoinRequest{
		Code: code, Key: public(v.h.t, pair), Device: name, Proof: signed(v.h.t, pair, roster.JoinProof(code)),
	})
	return &phone{v.h, pair, events.Source{Site: "north", Device: name}}, w
}

func (h *house) phone(person, name string) *phone {
	h.t.Helper()
	p, w := h.visitor().join(h.invite(person, roster.Phone), name)
	require.Equal(h.t, http.StatusOK, w.Code, w.Body.String())
	return p
}

func (v *visitor) nonce() string {
	v.h.t.Helper()
	w := v.ask("GET", api.PathNonce, nil)
	require.Equal(v.h.t, http.StatusOK, w.Code)
	var n api.Nonce
	require.NoError(v.h.t, json.Unmarshal(w.Body.Bytes(), &n))
	v.h.secret(n.Nonce)
	return n.Nonce
}

// entry is what a phone sends to log in.
func (p *phone) entry(nonce, origin string) api.DeviceLogin {
	p.h.t.Helper()
	in := api.DeviceLogin{Site: p.src.Site, Device: p.src.Device, Nonce: nonce, Signature: signed(p.h.t, p.pair, api.SessionProof(nonce, origin))}
	p.h.secret(in.Signature)
	return in
}

func (v *visitor) loginDevice(p *phone) api.Session {
	v.h.t.Helper()
	w := v.ask("POST", api.PathSession, p.entry(v.nonce(), v.h.origin))
	require.Equal(v.h.t, http.StatusOK, w.Code, w.Body.String())
	var s api.Session
	require.NoError(v.h.t, json.Unmarshal(w.Body.Bytes(), &s))
	v.h.secret(s.Token)
	return s
}
