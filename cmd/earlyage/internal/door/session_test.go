package door_test

import (
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
)

const cookie = "__Host-earlyage"

func TestTheCookieIsOutOfReach(t *testing.T) {
	h := newHouse(t)
	w := h.visitor().register(h.invite(h.foreman(), roster.Page), newPasskey(), false)
	var found *http.Cookie
	for _, c := range w.Result().Cookies() {
		if c.Name == cookie {
			found = c
		}
	}
	require.NotNil(t, found)
	require.True(t, found.HttpOnly)
	require.True(t, found.Secure)
	require.Equal(t, "/", found.Path)
	require.Empty(t, found.Domain)
	require.Equal(t, http.SameSiteLaxMode, found.SameSite)
	require.Equal(t, 7*24*60*60, found.MaxAge)
}

// A token that was there before the login is never the session's: not one that
// an attacker made up, and not one of the attacker's own session.
func TestASessionIsNotFixed(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	attacker, _ := h.enrolled(h.person("Joao Petrov", map[string][]events.Role{"north": {events.Crew}}))
	v, p := h.enrolled(amira)
	for _, planted := range []string{"AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA", attacker.cookies[cookie]} {
		v.cookies[cookie] = planted
		require.Equal(t, http.StatusOK, v.login(p).Code)
		require.NotEqual(t, planted, v.cookies[cookie])
		v.in(amira)
		thief := h.visitor()
		thief.cookies[cookie] = planted
		thief.out()
	}
}

func TestEachLoginHasATokenOfItsOwn(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	v, p := h.enrolled(amira)
	seen := map[string]bool{v.cookies[cookie]: true}
	for range 5 {
		before := v.cookies[cookie]
		require.Equal(t, http.StatusOK, v.login(p).Code)
		require.False(t, seen[v.cookies[cookie]])
		seen[v.cookies[cookie]] = true
		old := h.visitor()
		old.cookies[cookie] = before
		old.out()
	}
}

func TestASessionEndsByItself(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	idle, _ := h.enrolled(amira)
	h.after(12*time.Hour - time.Second)
	idle.in(amira)
	h.after(12*time.Hour - time.Second)
	idle.in(amira)
	h.after(12 * time.Hour)
	idle.out()

	busy, _ := h.enrolled(amira)
	for range 7*24 - 1 {
		h.after(time.Hour)
		busy.in(amira)
	}
	h.after(time.Hour)
	busy.out()
}

func TestSigningOutEndsTheToken(t *testing.T) {
	h := newHouse(t)
	v, _ := h.enrolled(h.foreman())
	token := v.cookies[cookie]
	require.Equal(t, http.StatusNoContent, v.ask("DELETE", api.PathSession, nil).Code)
	require.NotContains(t, v.cookies, cookie)
	v.cookies[cookie] = token
	v.out()
	require.Equal(t, http.StatusNoContent, h.visitor().ask("DELETE", api.PathSession, nil).Code, "nobody may sign out too")
}

// The register decides at each request, though the session is in the cabinet
// still: the events are said here without the clearing that goes with them.
func TestWhoIsNoLongerAdmittedIsNobodyAtOnce(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	page, p := h.enrolled(amira)
	phone := h.phone(amira, "phone-amira")
	device := h.visitor()
	device.bearer = device.loginDevice(phone).Token
	device.in(amira)

	h.say(events.Event{
		ID: "01890a5d-ac96-774b-bcce-b302099a8057", Source: events.Source{Site: "north", Device: events.HubDevice},
		Kind: "device.revoked", Time: h.now(), Data: &events.DeviceRevoked{Device: "phone-amira", Reason: "lost"},
	})
	device.out()
	refused(t, h.visitor().ask("POST", api.PathSession, phone.entry(h.visitor().nonce(), origin)), http.StatusUnauthorized, "signature")
	page.in(amira)

	h.say(events.Event{
		ID: "01890a5d-ac96-774b-bcce-b302099a8058", Source: events.Source{Site: "north", Device: events.HubDevice},
		Kind: "person.retired", Time: h.now(), Data: &events.PersonRetired{Person: amira, Reason: "left"},
	})
	page.out()
	refused(t, page.login(p), http.StatusForbidden, "no-role")
	page.out()
}

// A site's phone ends with its person's last role on any site; a page too.
func TestARoleIsEnough(t *testing.T) {
	h := newHouse(t)
	amira := h.person("Amira Solano", map[string][]events.Role{"north": {events.Foreman}, "south": {events.Crew}})
	page, _ := h.enrolled(amira)
	require.NoError(t, h.roster.Retire(t.Context(), "", amira, "north", "moved"))
	page.in(amira)
	require.NoError(t, h.roster.Retire(t.Context(), "", amira, "south", "moved"))
	page.out()
}

func TestADeviceLogsInWithItsKey(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	phone := h.phone(amira, "phone-amira")
	v := h.visitor()
	s := v.loginDevice(phone)
	require.Equal(t, h.now().Add(7*24*time.Hour), s.Until)
	require.Equal(t, s.Token, v.cookies[cookie])
	me, _ := v.me()
	require.Equal(t, amira, me.Person)
	require.Equal(t, "phone-amira", me.Device.Device)

	program := h.visitor()
	program.bearer = s.Token
	program.in(amira)
	require.Equal(t, http.StatusNoContent, program.ask("DELETE", api.PathSession, nil).Code)
	program.out()
	v.out()
}

func TestAStationLogsInAsNobodysDevice(t *testing.T) {
	h := newHouse(t)
	ticket, err := h.roster.EnrolStation(t.Context(), "", "north", "logger-1", nil)
	require.NoError(t, err)
	station, w := h.visitor().join(ticket.Code, "logger-1")
	require.Equal(t, http.StatusOK, w.Code, w.Body.String())
	v := h.visitor()
	v.bearer = v.loginDevice(station).Token
	me, status := v.me()
	require.Equal(t, http.StatusOK, status)
	require.Empty(t, me.Person)
	require.Equal(t, "logger-1", me.Device.Device)
	require.Empty(t, me.Devices)
}

func TestADeviceLoginIsRefused(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	phone := h.phone(amira, "phone-amira")
	other := h.phone(amira, "phone-other")
	v := h.visitor()
	send := func(in api.DeviceLogin) *httptest.ResponseRecorder { return v.ask("POST", api.PathSession, in) }

	used := phone.entry(v.nonce(), origin)
	require.Equal(t, http.StatusOK, send(used).Code)
	refused(t, send(used), http.StatusUnauthorized, "stale")

	late := phone.entry(v.nonce(), origin)
	h.after(time.Minute)
	refused(t, send(late), http.StatusUnauthorized, "stale")

	early := phone.entry(v.nonce(), origin)
	h.after(time.Minute - time.Nanosecond)
	require.Equal(t, http.StatusOK, send(early).Code)

	require.Equal(t, http.StatusOK, newHouseBeside(t, h).loginStatus(phone), "the house beside takes its own nonce")
	refused(t, send(phone.entry(newHouseBeside(t, h).visitor().nonce(), origin)), http.StatusUnauthorized, "stale")

	for _, place := range []string{"https://other.example", "http://hub.example", "https://hub.example/", "https://hub.example:8443", ""} {
		refused(t, send(phone.entry(v.nonce(), place)), http.StatusUnauthorized, "signature")
	}
	for name, spoil := range map[string]func(*api.DeviceLogin){
		"the name of another": func(in *api.DeviceLogin) { in.Device = other.src.Device },
		"another site":        func(in *api.DeviceLogin) { in.Site = "south" },
		"unknown":             func(in *api.DeviceLogin) { in.Device = "phone-nobody" },
		"the hub":             func(in *api.DeviceLogin) { in.Device = events.HubDevice },
		"a desk":              func(in *api.DeviceLogin) { in.Device = "desk-" + amira },
		"no signature":        func(in *api.DeviceLogin) { in.Signature = "" },
		"no base64":           func(in *api.DeviceLogin) { in.Signature = "!" },
	} {
		in := phone.entry(v.nonce(), origin)
		spoil(&in)
		w := send(in)
		require.Equal(t, http.StatusUnauthorized, w.Code, name)
	}
	refused(t, send(api.DeviceLogin{Site: "north", Device: "phone-amira", Nonce: "AAAA", Signature: used.Signature}), http.StatusUnauthorized, "stale")
}

// newHouseBeside is another process over the same record: its nonces are its own.
func newHouseBeside(t *testing.T, h *house) *house {
	other := newHouse(t)
	other.register.Store(h.register.Load())
	other.clock.Store(h.clock.Load())
	return other
}

func (h *house) loginStatus(p *phone) int {
	h.t.Helper()
	v := h.visitor()
	return v.ask("POST", api.PathSession, p.entry(v.nonce(), h.origin)).Code
}

func TestTheOldKeyEndsWithTheRotation(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	phone := h.phone(amira, "phone-amira")
	v := h.visitor()
	v.bearer = v.loginDevice(phone).Token
	pair := newPair(t)
	key := public(t, pair)
	text := roster.RotateProof(phone.src, key)
	require.NoError(t, h.roster.Rotate(t.Context(), phone.src, key, roster.Proofs{Old: signed(t, phone.pair, text), New: signed(t, pair, text)}))
	v.out()
	require.Equal(t, http.StatusUnauthorized, h.loginStatus(phone))
	phone.pair = pair
	require.Equal(t, http.StatusOK, h.loginStatus(phone))
}

// On this machine alone the names of the place are one; elsewhere none is.
func TestLoopbackHasThreeNames(t *testing.T) {
	h := newHouse(t, func(c *door.Config) { c.Origin = "http://127.0.0.1:8480" })
	phone := h.phone(h.foreman(), "phone-amira")
	for place, status := range map[string]int{
		"http://127.0.0.1:8480": 200, "http://localhost:8480": 200, "http://[::1]:8480": 200,
		"http://localhost:8481": 401, "https://localhost:8480": 401, "http://127.0.0.2:8480": 401,
	} {
		v := h.visitor()
		require.Equal(t, status, v.ask("POST", api.PathSession, phone.entry(v.nonce(), place)).Code, place)
	}
}

func TestOriginsThatAreNone(t *testing.T) {
	h := newHouse(t)
	for _, bad := range []string{"", "hub.example", "https://", "https://hub.example/", "https://hub.example/path", "ftp://hub.example", "https://u@hub.example", "https://hub.example?q"} {
		_, err := door.New(door.Config{Roster: h.roster, Cabinet: h.cabinet, Register: h.register.Load, Origin: bad})
		require.Error(t, err, bad)
	}
}

// By a bare address, or without TLS, there are no passkeys; it is said, and the
// rest works.
func TestWherePasskeysCannotBe(t *testing.T) {
	for _, place := range []string{"http://hub.example", "https://192.0.2.1:8443"} {
		h := newHouse(t, func(c *door.Config) { c.Origin = place })
		amira := h.foreman()
		v := h.visitor()
		refused(t, v.ask("POST", passkeys+"login/begin", object{}), http.StatusConflict, "no-passkeys")
		refused(t, v.ask("POST", passkeys+"login/finish", object{"credential": object{}}), http.StatusConflict, "no-passkeys")
		refused(t, v.ask("POST", passkeys+"register/begin", object{"code": h.invite(amira, roster.Page)}), http.StatusConflict, "no-passkeys")
		require.Equal(t, http.StatusOK, h.loginStatus(h.phone(amira, "phone-amira")))
	}
}

func TestJoiningTellsWhatTheRosterSays(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	phone, w := h.visitor().join(h.invite(amira, roster.Phone), "phone-amira")
	require.Equal(t, http.StatusOK, w.Code, w.Body.String())
	require.Equal(t, http.StatusOK, h.loginStatus(phone))

	_, w = h.visitor().join(h.invite(amira, roster.Phone), "phone-amira")
	refused(t, w, http.StatusConflict, api.CodeExists)
	_, w = h.visitor().join(h.invite(amira, roster.Phone), "desk-x")
	refused(t, w, http.StatusBadRequest, api.CodeRefused)
	_, w = h.visitor().join("00000-00000-00000-00000-000000", "phone-x")
	refused(t, w, http.StatusNotFound, "no-invitation")
	w = h.visitor().ask("POST", api.PathJoin, roster.JoinRequest{Code: "x", Key: "U", Proof: "x"})
	refused(t, w, http.StatusBadRequest, api.CodeRefused)
}

func TestTheOwnSocketIsTheHub(t *testing.T) {
	h := newHouse(t)
	r := httptest.NewRequest("GET", api.PathMe, nil)
	r = r.WithContext(door.Local(r.Context()))
	w := httptest.NewRecorder()
	h.handler.ServeHTTP(w, r)
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Body.String(), `"local":true`)
}

func TestConfigIsChecked(t *testing.T) {
	_, err := door.New(door.Config{Origin: origin})
	require.ErrorContains(t, err, "roster, cabinet and register")
	require.Equal(t, door.Caller{}, door.CallerOf(t.Context()))
	require.False(t, door.Caller{}.Known())
	require.True(t, door.Caller{Device: events.Source{Site: "north", Device: "logger-1"}}.Known())
}
