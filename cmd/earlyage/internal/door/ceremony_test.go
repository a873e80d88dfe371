package door_test

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/descope/virtualwebauthn"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
)

func TestAnInvitationMakesAPasskeyAndThePasskeyComesIn(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	v, p := h.enrolled(amira)
	v.in(amira)
	me, _ := v.me()
	require.Equal(t, "Amira Solano", me.Name)
	require.Equal(t, []events.Role{events.Foreman}, me.Roles["north"])
	require.Equal(t, 1, me.Passkeys)

	require.Equal(t, http.StatusNoContent, v.ask("DELETE", "/api/v1/session", nil).Code)
	v.out()

	other := h.visitor()
	for range 3 {
		w := other.login(p)
		require.Equal(t, http.StatusOK, w.Code, w.Body.String())
		require.NotContains(t, w.Body.String(), other.cookies["__Host-earlyage"], "a page's token is for its cookie alone")
		other.in(amira)
	}
}

// A counter that goes back is a second copy of the authenticator.
func TestACopiedPasskeyIsRefused(t *testing.T) {
	h := newHouse(t)
	v, p := h.enrolled(h.foreman())
	p.key.Counter = 40
	require.Equal(t, http.StatusOK, v.login(p).Code)
	p.key.Counter = 20
	refused(t, h.visitor().login(p), http.StatusUnauthorized, "copied")
	p.key.Counter = 60
	require.Equal(t, http.StatusOK, h.visitor().login(p).Code, "the counter that was proven stands")
}

func TestRegistrationIsRefused(t *testing.T) {
	for name, spoil := range map[string]func(*passkey){
		"nobody touched it":   func(p *passkey) { p.auth.Options.UserNotPresent = true },
		"nobody was verified": func(p *passkey) { p.auth.Options.UserNotVerified = true },
		"another site's name": func(p *passkey) { p.site.ID = "other.example" },
		"another site's page": func(p *passkey) { p.site.Origin = "https://other.example" },
		"without TLS":         func(p *passkey) { p.site.Origin = "http://hub.example" },
		"a name below":        func(p *passkey) { p.site.Origin = "https://sub.hub.example" },
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t)
			amira := h.foreman()
			code, v, p := h.invite(amira, roster.Page), h.visitor(), newPasskey()
			spoil(p)
			refused(t, v.register(code, p, false), http.StatusUnauthorized, "passkey")
			v.out()
			keys, err := h.cabinet.Passkeys(amira)
			require.NoError(t, err)
			require.Empty(t, keys)
			require.Equal(t, http.StatusOK, v.register(code, newPasskey(), false).Code, "the code is good still")
		})
	}
}

func TestRegistrationCountsOnce(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	code, v, p := h.invite(amira, roster.Page), h.visitor(), newPasskey()
	begin := v.ask("POST", passkeys+"register/begin", object{"code": code})
	ceremony := v.cookies["__Host-earlyage-try"]
	finish := `{"code":"` + code + `","credential":` + p.made(t, begin.Body.String()) + `}`
	require.Equal(t, http.StatusOK, v.ask("POST", passkeys+"register/finish", finish).Code)

	thief := h.visitor()
	thief.cookies["__Host-earlyage-try"] = ceremony
	refused(t, thief.ask("POST", passkeys+"register/finish", finish), http.StatusUnauthorized, "stale")
	refused(t, thief.ask("POST", passkeys+"register/begin", object{"code": code}), http.StatusNotFound, "no-invitation")

	again := strings.Replace(finish, code, h.invite(amira, roster.Page), 1)
	refused(t, thief.ask("POST", passkeys+"register/finish", again), http.StatusUnauthorized, "stale")
	thief.out()
}

func TestOfTwoWithOneCodeOneWins(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	code := h.invite(amira, roster.Page)
	const n = 8
	var all sync.WaitGroup
	won := make(chan string, n)
	bodies := map[*visitor]string{}
	for range n {
		v := h.visitor()
		begin := v.ask("POST", passkeys+"register/begin", object{"code": code})
		bodies[v] = `{"code":"` + code + `","credential":` + newPasskey().made(t, begin.Body.String()) + `}`
	}
	for v, finish := range bodies {
		all.Go(func() {
			if w := v.ask("POST", passkeys+"register/finish", finish); w.Code == http.StatusOK {
				won <- w.Body.String()
			}
		})
	}
	all.Wait()
	require.Len(t, won, 1)
	keys, err := h.cabinet.Passkeys(amira)
	require.NoError(t, err)
	require.Len(t, keys, 1)
}

func TestTimeRunsOut(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()

	code, v, p := h.invite(amira, roster.Page), h.visitor(), newPasskey()
	begin := v.ask("POST", passkeys+"register/begin", object{"code": code})
	h.after(5 * time.Minute)
	refused(t, v.ask("POST", passkeys+"register/finish", `{"code":"`+code+`","credential":`+p.made(t, begin.Body.String())+`}`), http.StatusUnauthorized, "stale")
	h.after(10 * time.Minute)
	refused(t, v.register(code, p, false), http.StatusNotFound, "no-invitation")
	refused(t, v.ask("POST", "/api/v1/invitation", object{"code": code}), http.StatusNotFound, "no-invitation")

	_, p = h.enrolled(amira)
	begin = v.ask("POST", passkeys+"login/begin", object{})
	h.after(5 * time.Minute)
	refused(t, v.ask("POST", passkeys+"login/finish", `{"credential":`+p.proven(t, begin.Body.String())+`}`), http.StatusUnauthorized, "stale")
}

// A fresh invitation is the way back, and ends whatever was lost.
func TestAFreshInvitationIsTheRecovery(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	lost, old := h.enrolled(amira)
	found := newPasskey()
	v := h.visitor()
	require.Equal(t, http.StatusOK, v.register(h.invite(amira, roster.Page), found, true).Code)
	v.in(amira)
	lost.out()
	refused(t, lost.login(old), http.StatusUnauthorized, "passkey")
	require.Equal(t, http.StatusOK, h.visitor().login(found).Code)

	// Without it a second device is one more.
	second, w := newPasskey(), h.visitor()
	require.Equal(t, http.StatusOK, w.register(h.invite(amira, roster.Page), second, false).Code)
	v.in(amira)
	require.Equal(t, http.StatusOK, h.visitor().login(found).Code)
	require.Equal(t, http.StatusOK, h.visitor().login(second).Code)
}

// A passkey stands on the record before it lets anybody in: whose it is, who
// invited to it, and that earlier ones have ended. Where it cannot be put there,
// there is none, and the invitation is good still.
func TestAPasskeyStandsOnTheRecord(t *testing.T) {
	var words []string
	down := true
	h := newHouse(t, func(c *door.Config) { c.Roster = &notes{c.Roster, &words, &down} })
	keeper := h.person("Ines Vogel", map[string][]events.Role{"_": {events.Keeper}})
	amira := h.foreman()
	ticket, err := h.roster.Invite(t.Context(), keeper, amira, "north", roster.Page)
	require.NoError(t, err)
	v := h.visitor()
	require.Equal(t, http.StatusInternalServerError, v.register(ticket.Code, newPasskey(), false).Code)
	v.out()
	keys, err := h.cabinet.Passkeys(amira)
	require.NoError(t, err)
	require.Empty(t, keys)

	down = false
	require.Equal(t, http.StatusOK, v.register(ticket.Code, newPasskey(), false).Code, "the code is good still")
	ticket, err = h.roster.Invite(t.Context(), keeper, amira, "north", roster.Page)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, h.visitor().register(ticket.Code, newPasskey(), true).Code)
	require.Equal(t, []string{"made " + keeper + " " + amira, "ended " + keeper + " " + amira, "made " + keeper + " " + amira}, words)
}

// Who became an officer after the invitation is not invited by an officer.
func TestAnInvitationIsJudgedWhenThePasskeyIsMade(t *testing.T) {
	h := newHouse(t)
	officer := h.person("Ines Vogel", map[string][]events.Role{"north": {events.Officer}})
	amira := h.foreman()
	ticket, err := h.roster.Invite(t.Context(), officer, amira, "north", roster.Page)
	require.NoError(t, err)
	require.NoError(t, h.roster.Appoint(t.Context(), "", amira, "north", []events.Role{events.Officer}))
	v := h.visitor()
	require.Equal(t, http.StatusForbidden, v.register(ticket.Code, newPasskey(), false).Code)
	v.out()
}

// notes is a roster of which is written down what it puts on the record.
type notes struct {
	door.Roster
	words *[]string
	down  *bool
}

func (n *notes) PasskeyMade(ctx context.Context, by, person string) error {
	if *n.down {
		return errors.New("the stream is down")
	}
	*n.words = append(*n.words, "made "+by+" "+person)
	return n.Roster.PasskeyMade(ctx, by, person)
}

func (n *notes) PasskeysEnded(ctx context.Context, by, person, reason string) error {
	*n.words = append(*n.words, "ended "+by+" "+person)
	return n.Roster.PasskeysEnded(ctx, by, person, reason)
}

func TestADeviceThatHasAPasskeyIsNamedToTheBrowser(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	_, p := h.enrolled(amira)
	options := func(fresh bool) *virtualwebauthn.AttestationOptions {
		w := h.visitor().ask("POST", passkeys+"register/begin", object{"code": h.invite(amira, roster.Page), "fresh": fresh})
		o, err := virtualwebauthn.ParseAttestationOptions(w.Body.String())
		require.NoError(t, err)
		return o
	}
	require.True(t, p.key.IsExcludedForAttestation(*options(false)))
	require.False(t, p.key.IsExcludedForAttestation(*options(true)))
}

func TestAPasskeyBelongsToOnePerson(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	joao := h.person("Joao Petrov", map[string][]events.Role{"north": {events.Engineer}})
	v, p := h.enrolled(amira)
	mine := p.auth.Options.UserHandle

	code := h.invite(joao, roster.Page)
	refused(t, h.visitor().register(code, p, false), http.StatusUnauthorized, "passkey")

	// The key of one with the handle of the other.
	_, q := h.enrolled(joao)
	p.auth.Options.UserHandle = q.auth.Options.UserHandle
	refused(t, h.visitor().login(p), http.StatusUnauthorized, "passkey")
	p.auth.Options.UserHandle = mine
	require.Equal(t, http.StatusOK, v.login(p).Code)
	v.in(amira)

	// The code of one in the ceremony of the other.
	other, fresh := h.visitor(), newPasskey()
	begin := other.ask("POST", passkeys+"register/begin", object{"code": h.invite(amira, roster.Page)})
	refused(t, other.ask("POST", passkeys+"register/finish", `{"code":"`+code+`","credential":`+fresh.made(t, begin.Body.String())+`}`), http.StatusNotFound, "no-invitation")
}

func TestLoginIsRefused(t *testing.T) {
	h := newHouse(t)
	_, good := h.enrolled(h.foreman())
	for name, spoil := range map[string]func(*passkey){
		"nobody touched it":   func(p *passkey) { p.auth.Options.UserNotPresent = true },
		"nobody was verified": func(p *passkey) { p.auth.Options.UserNotVerified = true },
		"another site's name": func(p *passkey) { p.site.ID = "other.example" },
		"another site's page": func(p *passkey) { p.site.Origin = "https://other.example" },
		"no handle":           func(p *passkey) { p.auth.Options.UserHandle = nil },
		"another handle":      func(p *passkey) { p.auth.Options.UserHandle = make([]byte, 32) },
		"another key":         func(p *passkey) { p.key.Key = newPasskey().key.Key },
		"an unknown passkey":  func(p *passkey) { p.key.ID = []byte("0123456789abcdef") },
	} {
		t.Run(name, func(t *testing.T) {
			p := *good
			spoil(&p)
			v := h.visitor()
			v.remote = "198.51.100.9:1"
			refused(t, v.login(&p), http.StatusUnauthorized, "passkey")
			v.out()
		})
	}
	require.Equal(t, http.StatusOK, h.visitor().login(good).Code)
}

func TestALoginCountsOnceAndOnlyWhereItWasBegun(t *testing.T) {
	h := newHouse(t)
	_, p := h.enrolled(h.foreman())
	v := h.visitor()
	begin := v.ask("POST", passkeys+"login/begin", object{})
	ceremony := v.cookies["__Host-earlyage-try"]
	finish := `{"credential":` + p.proven(t, begin.Body.String()) + `}`

	stranger := h.visitor()
	refused(t, stranger.ask("POST", passkeys+"login/finish", finish), http.StatusUnauthorized, "stale")
	stranger.ask("POST", passkeys+"login/begin", object{})
	refused(t, stranger.ask("POST", passkeys+"login/finish", finish), http.StatusUnauthorized, "passkey")

	require.Equal(t, http.StatusOK, v.ask("POST", passkeys+"login/finish", finish).Code)
	stranger.cookies["__Host-earlyage-try"] = ceremony
	refused(t, stranger.ask("POST", passkeys+"login/finish", finish), http.StatusUnauthorized, "stale")
	stranger.cookies["__Host-earlyage-try"] = ceremony[:len(ceremony)-2] + "AA"
	refused(t, stranger.ask("POST", passkeys+"login/finish", finish), http.StatusUnauthorized, "stale")

	// A registration's ceremony is none of a login.
	w := h.visitor()
	w.ask("POST", passkeys+"register/begin", object{"code": h.invite(h.foreman(), roster.Page)})
	refused(t, w.ask("POST", passkeys+"login/finish", finish), http.StatusUnauthorized, "stale")
}

func TestAnInvitationShowsWhoInvitesToWhat(t *testing.T) {
	h := newHouse(t)
	keeper := h.person("Ines Vogel", map[string][]events.Role{"_": {events.Keeper}})
	amira := h.foreman()
	ticket, err := h.roster.Invite(t.Context(), keeper, amira, "north", roster.Page)
	require.NoError(t, err)
	w := h.visitor().ask("POST", "/api/v1/invitation", object{"code": ticket.Code})
	require.JSONEq(t, `{"person":"Amira Solano","by":"Ines Vogel","site":"north","site_name":"north","sort":"page",
		"roles":["foreman"],"until":"2026-05-04T06:15:00Z"}`, w.Body.String())

	// Who invited has gone meanwhile; or who was invited.
	second := h.person("Ana Lind", map[string][]events.Role{"_": {events.Keeper}})
	require.NoError(t, h.roster.Retire(t.Context(), second, keeper, "_", "left"))
	refused(t, h.visitor().register(ticket.Code, newPasskey(), false), http.StatusNotFound, "no-invitation")
	code := h.invite(amira, roster.Page)
	require.NoError(t, h.roster.Retire(t.Context(), second, amira, "_", "left"))
	refused(t, h.visitor().register(code, newPasskey(), false), http.StatusNotFound, "no-invitation")
}

func TestAnInvitationOfAnotherSortMakesNoPasskey(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	code := h.invite(amira, roster.Phone)
	refused(t, h.visitor().register(code, newPasskey(), false), http.StatusConflict, "other-sort")
	_, w := h.visitor().join(code, "phone-amira")
	require.Equal(t, http.StatusOK, w.Code)
	_, w = h.visitor().join(h.invite(amira, roster.Page), "phone-two")
	refused(t, w, http.StatusForbidden, "not-allowed")
}
