package roster_test

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector/cabinet"
)

func TestAddPerson(t *testing.T) {
	h := newHub(t)
	card := cabinet.Card{Name: "Aino Ä", Mail: "aino@site.example", Phone: "+1 555 0100"}
	person, err := h.AddPerson(t.Context(), "", card, map[string][]events.Role{"a": {events.Crew}, "_": {events.Keeper}})
	require.NoError(t, err)
	require.Regexp(t, `^p-[a-z2-7]{8}$`, person)
	got, err := h.cabinet.Card(person)
	require.NoError(t, err)
	require.Equal(t, card, got)
	require.Equal(t, []events.Role{events.Crew, events.Keeper}, h.reg.Load().RolesOf(person, "a"))
	require.NotContains(t, h.bodies.String(), "Aino")
	require.NotContains(t, h.log.String(), "Aino")
	other, err := h.AddPerson(t.Context(), person, cabinet.Card{Name: "Bo"}, map[string][]events.Role{"a": {events.Crew}})
	require.NoError(t, err)
	require.NotEqual(t, person, other)
	require.Contains(t, h.bodies.String(), `"by":"`+person+`"`)
}

func TestAddPersonRefuses(t *testing.T) {
	crew := map[string][]events.Role{"a": {events.Crew}}
	for _, tc := range []struct {
		name  string
		card  cabinet.Card
		roles map[string][]events.Role
		field string
	}{
		{"no name", cabinet.Card{Name: " "}, crew, "name"},
		{"a name of two lines", cabinet.Card{Name: "secret\nname"}, crew, "name"},
		{"a long name", cabinet.Card{Name: strings.Repeat("secret", 20)}, crew, "name"},
		{"bytes", cabinet.Card{Name: "secret\xff"}, crew, "name"},
		{"no address", cabinet.Card{Name: "A", Mail: "secret"}, crew, "mail"},
		{"more than an address", cabinet.Card{Name: "A", Mail: "A <secret@site.example>"}, crew, "mail"},
		{"another language", cabinet.Card{Name: "A", Lang: "secret"}, crew, "lang"},
		{"other units", cabinet.Card{Name: "A", Units: "secret"}, crew, "units"},
		{"no roles", cabinet.Card{Name: "A"}, nil, "roles"},
		{"an empty list", cabinet.Card{Name: "A"}, map[string][]events.Role{"a": nil}, "data.roles"},
		{"a role twice", cabinet.Card{Name: "A"}, map[string][]events.Role{"a": {events.Crew, events.Crew}}, "data.roles"},
		{"a probe's role", cabinet.Card{Name: "A"}, map[string][]events.Role{"a": {events.Probe}}, "data.roles.0"},
		{"keeper of a site", cabinet.Card{Name: "A"}, map[string][]events.Role{"a": {events.Keeper}}, "data.roles"},
		{"no site", cabinet.Card{Name: "A"}, map[string][]events.Role{"no site": {events.Crew}}, "source"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			h := newHub(t)
			_, err := h.AddPerson(t.Context(), "", tc.card, tc.roles)
			var refused *events.Refusal
			require.ErrorAs(t, err, &refused)
			require.Equal(t, tc.field, refused.Field)
			require.NotContains(t, err.Error(), "secret")
			require.Zero(t, h.seq)
			cards, err := h.cabinet.Cards()
			require.NoError(t, err)
			require.Empty(t, cards)
		})
	}
}

func TestAddPersonOverABadLine(t *testing.T) {
	h := newHub(t)
	h.next(true)
	person, err := h.AddPerson(t.Context(), "", cabinet.Card{Name: "A"}, map[string][]events.Role{"a": {events.Crew}, "b": {events.Crew}})
	require.ErrorIs(t, err, roster.ErrUnsure)
	require.Equal(t, []string{"a"}, h.reg.Load().SitesOf(person), "told which person it was")
	require.NoError(t, h.Appoint(t.Context(), "", person, "b", []events.Role{events.Crew}))
}

func TestRetireTakesAllWithIt(t *testing.T) {
	h := newHub(t)
	h.appoint(t, "p-crew", "a", events.Crew)
	h.appoint(t, "p-crew", "b", events.Crew)
	require.NoError(t, h.cabinet.SetCard("p-crew", cabinet.Card{Name: "Aino"}))
	onA, keyA := h.phone(t, "p-crew", "a", "")
	_, keyB := h.phone(t, "p-crew", "b", "")
	page, err := h.cabinet.Begin(cabinet.Session{Person: "p-crew"})
	require.NoError(t, err)
	device, err := h.cabinet.Begin(cabinet.Session{Person: "p-crew", Device: onA})
	require.NoError(t, err)
	require.NoError(t, h.cabinet.PutPasskey("p-crew", []byte("id"), []byte("record")))
	code := h.invite(t, "p-crew", "b")

	require.NoError(t, h.Retire(t.Context(), "", "p-crew", "a", "moved"))
	_, err = h.Admit(stream.Claim{Key: keyA.public})
	require.ErrorIs(t, err, stream.ErrNotAdmitted)
	_, err = h.Admit(stream.Claim{Key: keyB.public})
	require.NoError(t, err)
	_, err = h.cabinet.Session(device)
	require.ErrorIs(t, err, cabinet.ErrNoSession)
	_, err = h.cabinet.Session(page)
	require.NoError(t, err)
	_, err = h.cabinet.Peek(code)
	require.ErrorIs(t, err, cabinet.ErrNoInvitation)

	require.ErrorIs(t, h.Forget(t.Context(), "", "p-crew"), roster.ErrNotAllowed)
	require.NoError(t, h.Retire(t.Context(), "", "p-crew", "_", "left"))
	_, err = h.Admit(stream.Claim{Key: keyB.public})
	require.ErrorIs(t, err, stream.ErrNotAdmitted)
	_, err = h.cabinet.Session(page)
	require.ErrorIs(t, err, cabinet.ErrNoSession)
	records, err := h.cabinet.Passkeys("p-crew")
	require.NoError(t, err)
	require.Empty(t, records)
	card, err := h.cabinet.Card("p-crew")
	require.NoError(t, err)
	require.Equal(t, "Aino", card.Name, "the record is still read")
	require.NoError(t, h.Forget(t.Context(), "", "p-crew"))
	card, err = h.cabinet.Card("p-crew")
	require.NoError(t, err)
	require.Zero(t, card)
}

// Two keepers retire each other at once: one stays.
func TestOneKeeperStays(t *testing.T) {
	h := newHub(t)
	h.appoint(t, "p-one", "_", events.Keeper)
	h.appoint(t, "p-two", "_", events.Keeper)
	var all sync.WaitGroup
	results := make([]error, 2)
	for i, who := range [][2]string{{"p-one", "p-two"}, {"p-two", "p-one"}} {
		all.Go(func() { results[i] = h.Retire(t.Context(), who[0], who[1], "_", "left") })
	}
	all.Wait()
	require.True(t, (results[0] == nil) != (results[1] == nil), "%v", results)
	for _, err := range results {
		if err != nil {
			require.ErrorIs(t, err, roster.ErrNotAllowed)
		}
	}
	for _, p := range h.reg.Load().People() {
		if !p.Retired {
			require.ErrorIs(t, h.Retire(t.Context(), "", p.ID, "_", "left"), roster.ErrNotAllowed, "not even at the hub")
			require.ErrorIs(t, h.Appoint(t.Context(), "", p.ID, "_", []events.Role{events.Crew}), roster.ErrNotAllowed)
			require.NoError(t, h.Appoint(t.Context(), "", p.ID, "_", []events.Role{events.Crew, events.Keeper}))
		}
	}
}

func TestAdmit(t *testing.T) {
	h := newHub(t)
	h.appoint(t, "p-crew", "a", events.Crew)
	src, key := h.phone(t, "p-crew", "a", "")
	user, password, err := h.EnrolProbe(t.Context(), "", "a", "probe", "w-1", []events.Kind{"temperature.read"})
	require.NoError(t, err)
	require.Equal(t, "a.probe", user)
	require.Len(t, password, 43)

	a, err := h.Admit(stream.Claim{Key: key.public, Remote: "192.0.2.1:4"})
	require.NoError(t, err)
	require.Equal(t, stream.Admission{Source: src, Kinds: events.KindsOf(events.Crew)}, a)
	h.appoint(t, "p-crew", "b", events.Engineer)
	a, err = h.Admit(stream.Claim{Key: key.public})
	require.NoError(t, err)
	require.Equal(t, events.KindsOf(events.Crew), a.Kinds, "a role on another site")
	h.appoint(t, "p-crew", "_", events.Officer)
	a, err = h.Admit(stream.Claim{Key: key.public})
	require.NoError(t, err)
	require.Equal(t, events.KindsOf(events.Crew, events.Officer), a.Kinds, "from this moment on")

	probe := events.Source{Site: "a", Device: "probe"}
	a, err = h.Admit(stream.Claim{User: user, Password: password})
	require.NoError(t, err)
	require.Equal(t, stream.Admission{Source: probe, Kinds: []events.Kind{"device.reported", "temperature.read"}, Probe: true, Wall: "w-1"}, a)

	require.NoError(t, h.cabinet.SetSecret(src, password)) // no password opens what has a key
	for name, c := range map[string]stream.Claim{
		"nobody": {}, "a wrong password": {User: user, Password: password[1:] + "x"}, "no password": {User: user},
		"another user": {User: "a.other", Password: password}, "no user": {Password: password}, "no device": {User: "a", Password: password},
		"three parts": {User: "a.probe.x", Password: password}, "a phone by password": {User: roster.UserOf(src), Password: password},
		"an unknown key": {Key: newPair(t).public}, "no key": {Key: "x"}, "two ways at once": {Key: key.public, User: user, Password: password},
		"a bad way beside a good one": {Key: key.public, User: user},
	} {
		a, err := h.Admit(c)
		require.ErrorIs(t, err, stream.ErrNotAdmitted, name)
		require.Zero(t, a, name)
		require.NotContains(t, err.Error(), password[1:], name)
	}

	_, again, err := h.NewPassword(t.Context(), "", probe)
	require.NoError(t, err)
	_, err = h.Admit(stream.Claim{User: user, Password: password})
	require.ErrorIs(t, err, stream.ErrNotAdmitted, "the old password")
	_, err = h.Admit(stream.Claim{User: user, Password: again})
	require.NoError(t, err)
	require.NoError(t, h.Revoke(t.Context(), "", probe, "lost"))
	_, err = h.Admit(stream.Claim{User: user, Password: again})
	require.ErrorIs(t, err, stream.ErrNotAdmitted, "revoked")
	require.NoError(t, h.cabinet.SetSecret(probe, again)) // as a crash could leave it
	_, err = h.Admit(stream.Claim{User: user, Password: again})
	require.ErrorIs(t, err, stream.ErrNotAdmitted, "revoked, the password still there")

	require.NoError(t, h.Revoke(t.Context(), "", src, "lost"))
	_, err = h.Admit(stream.Claim{Key: key.public})
	require.ErrorIs(t, err, stream.ErrNotAdmitted)
	before := h.seq
	require.NoError(t, h.Revoke(t.Context(), "", src, "lost"), "once more")
	require.Equal(t, before, h.seq)
}

// No role left is no admission, though nobody revoked the device.
func TestAdmitWithoutRoles(t *testing.T) {
	h := newHub(t)
	h.appoint(t, "p-crew", "a", events.Crew)
	_, key := h.phone(t, "p-crew", "a", "")
	h.retire(t, "p-crew", "a")
	d, ok := h.reg.Load().ByKey(key.public)
	require.True(t, ok && !d.Revoked)
	_, err := h.Admit(stream.Claim{Key: key.public})
	require.ErrorIs(t, err, stream.ErrNotAdmitted)
	h.appoint(t, "p-crew", "a", events.Foreman)
	a, err := h.Admit(stream.Claim{Key: key.public})
	require.NoError(t, err)
	require.Equal(t, events.KindsOf(events.Foreman), a.Kinds)
}

func TestProbeOverABadLine(t *testing.T) {
	for _, applied := range []bool{false, true} {
		h := newHub(t)
		h.next(applied)
		user, password, err := h.EnrolProbe(t.Context(), "", "a", "probe", "", nil)
		require.ErrorIs(t, err, roster.ErrUnsure)
		require.Empty(t, user+password)
		if applied {
			user, password, err = h.NewPassword(t.Context(), "", events.Source{Site: "a", Device: "probe"})
		} else {
			user, password, err = h.EnrolProbe(t.Context(), "", "a", "probe", "", nil)
		}
		require.NoError(t, err)
		_, err = h.Admit(stream.Claim{User: user, Password: password})
		require.NoError(t, err)
	}
	h := newHub(t)
	_, _, err := h.EnrolProbe(t.Context(), "", "_", "probe", "", nil)
	require.Equal(t, "refused", verdict(err))
}

// One change at a time; who waits can give up.
func TestGivesUpWaiting(t *testing.T) {
	h := newHub(t)
	gate, entered := make(chan struct{}), make(chan struct{})
	r, err := roster.New(roster.Config{Register: h.reg.Load, Cabinet: h.cabinet, Say: func(ctx context.Context, e events.Event) error {
		close(entered)
		<-gate
		return h.say(ctx, e)
	}})
	require.NoError(t, err)
	done := make(chan error, 1)
	go func() {
		_, err := r.AddPerson(context.Background(), "", cabinet.Card{Name: "A"}, map[string][]events.Role{"a": {events.Crew}})
		done <- err
	}()
	<-entered
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = r.AddPerson(ctx, "", cabinet.Card{Name: "B"}, map[string][]events.Role{"a": {events.Crew}})
	require.ErrorIs(t, err, context.Canceled)
	close(gate)
	require.NoError(t, <-done)
	_, err = roster.New(roster.Config{})
	require.Error(t, err)
}

// What lets in is in no event, no log line, no error and no print of a type.
func TestSecretsStayOut(t *testing.T) {
	h := newHub(t)
	h.appoint(t, "p-crew", "a", events.Crew)
	ticket, err := h.Invite(t.Context(), "", "p-crew", "a", roster.Phone)
	require.NoError(t, err)
	key, next := newPair(t), newPair(t)
	ask := key.join(ticket.Code, "phone-1")
	bad := newPair(t).join(ticket.Code, "hub")
	var out bytes.Buffer
	note := func(err error) {
		require.Error(t, err)
		_, _ = fmt.Fprintf(&out, "%v %+v %#v\n", err, err, err)
	}
	_, err = h.Join(t.Context(), bad)
	note(err)
	wrong := ask
	wrong.Proof = bad.Proof
	_, err = h.Join(t.Context(), wrong)
	note(err)
	_, err = h.Join(t.Context(), ask)
	require.NoError(t, err)
	_, err = h.Join(t.Context(), newPair(t).join(ticket.Code, ""))
	note(err)
	src := events.Source{Site: "a", Device: "phone-1"}
	with := proofs(src, key, next)
	note(h.Rotate(t.Context(), src, next.public, roster.Proofs{Old: with.New, New: with.New}))
	user, password, err := h.EnrolProbe(t.Context(), "", "a", "probe", "", nil)
	require.NoError(t, err)
	_, err = h.Admit(stream.Claim{User: user + "x", Password: password})
	note(err)
	h.next(false)
	_, _, err = h.EnrolProbe(t.Context(), "", "a", "probe-2", "", nil)
	note(err)

	for _, v := range []any{ticket, ask, with, []any{ticket, ask, with}, struct{ T roster.Ticket }{ticket}} {
		_, _ = fmt.Fprintf(&out, "%v %+v %#v %s\n", v, v, v, v)
	}
	slog.New(slog.NewTextHandler(&out, nil)).Info("x", "ticket", ticket, "ask", ask, "proofs", with)
	slog.New(slog.NewJSONHandler(&out, nil)).Info("x", "ticket", ticket, "ask", ask, "proofs", with)
	seen := out.String() + h.log.String() + h.bodies.String()
	for name, text := range map[string]string{
		"code": ticket.Code, "code in one": strings.ReplaceAll(ticket.Code, "-", ""), "password": password,
		"proof": ask.Proof, "another proof": bad.Proof, "old": with.Old, "new": with.New,
	} {
		require.NotContains(t, seen, text, name)
	}
	require.Contains(t, seen, key.public, "the search finds what is there")
}

// A keeper may change how anybody is reached, and everybody their own; what is not
// given stays.
func TestSetContact(t *testing.T) {
	h := newHub(t)
	add := func(name, site string, role events.Role) string {
		person, err := h.AddPerson(t.Context(), "", cabinet.Card{Name: name, Phone: "555 0100"}, map[string][]events.Role{site: {role}})
		require.NoError(t, err)
		return person
	}
	kim, ada, bo := add("Kim", "_", events.Keeper), add("Ada", "a", events.Crew), add("Bo", "a", events.Officer)
	word := func(s string) *string { return &s }
	for i, by := range []string{"", kim, ada} {
		mail := fmt.Sprintf("ada%d@site.example", i)
		require.NoError(t, h.SetContact(t.Context(), by, ada, roster.Contact{Mail: &mail, Lang: word("es")}))
		card, err := h.cabinet.Card(ada)
		require.NoError(t, err)
		require.Equal(t, cabinet.Card{Name: "Ada", Phone: "555 0100", Mail: mail, Lang: "es"}, card)
	}
	require.NoError(t, h.SetContact(t.Context(), ada, ada, roster.Contact{Mail: word(""), Units: word("us")}))
	card, err := h.cabinet.Card(ada)
	require.NoError(t, err)
	require.Equal(t, cabinet.Card{Name: "Ada", Phone: "555 0100", Lang: "es", Units: "us"}, card)

	require.ErrorIs(t, h.SetContact(t.Context(), bo, ada, roster.Contact{Mail: word("x@site.example")}), roster.ErrNotAllowed)
	require.ErrorIs(t, h.SetContact(t.Context(), kim, "p-nobody", roster.Contact{}), roster.ErrUnknown)
	var refused *events.Refusal
	require.ErrorAs(t, h.SetContact(t.Context(), ada, ada, roster.Contact{Mail: word("secret")}), &refused)
	require.Equal(t, "mail", refused.Field)
	require.NotContains(t, refused.Error(), "secret")
	require.NotContains(t, h.bodies.String(), "site.example", "none of it is in the record")
	require.NoError(t, h.Retire(t.Context(), kim, ada, "_", "left"))
	require.ErrorIs(t, h.SetContact(t.Context(), ada, ada, roster.Contact{}), roster.ErrUnknown, "who has retired changes nothing")
}

// Whoever has retired is told nothing by a browser, and whoever is forgotten has none.
func TestRetiredPersonsBrowsersAreDropped(t *testing.T) {
	h := newHub(t)
	_, err := h.AddPerson(t.Context(), "", cabinet.Card{Name: "Kim"}, map[string][]events.Role{"_": {events.Keeper}})
	require.NoError(t, err)
	ada, err := h.AddPerson(t.Context(), "", cabinet.Card{Name: "Ada"}, map[string][]events.Role{"a": {events.Crew}})
	require.NoError(t, err)
	// Keys as in the worked example of RFC 8291 (from memory).
	push := cabinet.Push{
		Endpoint: "https://push.site.example/a", Auth: "BTBZMqHH6r4Tts7J_aSIgg",
		P256DH: "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4",
	}
	require.NoError(t, h.cabinet.AddPush(ada, push))
	require.NoError(t, h.Retire(t.Context(), "", ada, "_", "left"))
	list, err := h.cabinet.Pushes(ada)
	require.NoError(t, err)
	require.Empty(t, list)
}
