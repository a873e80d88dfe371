package hub_test

import (
	"encoding/base64"
	"net/http"
	"testing"

	"github.com/nats-io/nkeys"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/projector/cabinet"
	"earlyage/scheduler"
)

// A demo names its people itself; no other hub does. Its devices sign, and when
// it goes on they still have to.
func TestIntroduce(t *testing.T) {
	card, foreman := cabinet.Card{Name: "Ada Holm"}, []events.Role{events.Foreman}
	h := start(t, nil)
	require.ErrorContains(t, h.Introduce(t.Context(), "p-2m8w", card, "mill", foreman), "no demo")

	dir := t.TempDir()
	h, err := hub.Start(t.Context(), demoConfig(t, func(c *hub.Config) {
		c.Dir, c.Demo, c.Clock = dir, true, scheduler.NewStepped(demoMorning)
	}))
	require.NoError(t, err)
	require.NoError(t, h.Introduce(t.Context(), "p-2m8w", card, "mill", foreman))
	require.Error(t, h.Introduce(t.Context(), "p-2m8w", card, "mill", nil), "no role")
	require.Equal(t, []api.Person{{Person: "p-2m8w", Name: "Ada Holm", Roles: api.Roles{"mill": foreman}}}, peopleOf(t, h))
	require.NoError(t, h.Stop())

	require.NoError(t, hub.WriteMark(dir, hub.Mark{At: demoMorning, Signed: true}))
	h, err = hub.Start(t.Context(), demoConfig(t, func(c *hub.Config) { c.Dir = dir }))
	require.NoError(t, err)
	require.Len(t, peopleOf(t, h), 1)
	_, err = api.Client{Hub: h.HTTPURL()}.Get(t.Context(), api.PathWalls, nil, nil)
	require.ErrorIs(t, err, api.ErrSignIn)
	require.NoError(t, h.Stop())
	mark, _, err := hub.ReadMark(dir)
	require.NoError(t, err)
	require.True(t, mark.Signed)
}

// A demo's links are used again and again, and lead to its pages without a
// passkey; elsewhere a link is good once, and there is no such way in.
func TestDemoLinks(t *testing.T) {
	for _, demo := range []bool{true, false} {
		h, err := hub.Start(t.Context(), demoConfig(t, func(c *hub.Config) { c.Dir, c.Demo = t.TempDir(), demo }))
		require.NoError(t, err)
		local, err := api.Dial(api.Where{Socket: h.Socket()})
		require.NoError(t, err)
		var p api.Person
		require.NoError(t, local.Post(t.Context(), api.PathPeople, api.NewPerson{Name: "Ada Holm", Roles: api.Roles{"mill": {events.Foreman}}}, &p))
		code := func(sort string) string {
			var ticket api.Ticket
			require.NoError(t, local.Post(t.Context(), api.PathInvitations, api.NewInvitation{Person: p.Person, Site: "mill", Sort: sort}, &ticket))
			return ticket.Code
		}
		nobody := api.Client{Hub: h.HTTPURL(), HTTP: &http.Client{Transport: &http.Transport{}}}
		page, phone := code(roster.Page), code(roster.Phone)
		require.NoError(t, joinWith(t, nobody, phone))
		if demo {
			require.NoError(t, joinWith(t, nobody, phone))
			require.NoError(t, nobody.Post(t.Context(), door.PathDemo, map[string]string{"code": page}, nil))
			require.NoError(t, nobody.Post(t.Context(), door.PathDemo, map[string]string{"code": page}, nil))
		} else {
			require.ErrorIs(t, joinWith(t, nobody, phone), api.ErrNotFound)
			require.ErrorIs(t, nobody.Post(t.Context(), door.PathDemo, map[string]string{"code": page}, nil), api.ErrNotFound)
		}
		nobody.HTTP.CloseIdleConnections()
		local.HTTP.CloseIdleConnections()
		require.NoError(t, h.Stop())
	}
}

func joinWith(t *testing.T, c api.Client, code string) error {
	t.Helper()
	pair, err := nkeys.CreateUser()
	require.NoError(t, err)
	key, err := pair.PublicKey()
	require.NoError(t, err)
	proof, err := pair.Sign(roster.JoinProof(code))
	require.NoError(t, err)
	q := roster.JoinRequest{Code: code, Key: key, Proof: base64.RawURLEncoding.EncodeToString(proof)}
	return c.Post(t.Context(), api.PathJoin, q, &roster.Joined{})
}

func peopleOf(t *testing.T, h *hub.Hub) []api.Person {
	t.Helper()
	client, err := api.Dial(api.Where{Socket: h.Socket()})
	require.NoError(t, err)
	defer client.HTTP.CloseIdleConnections()
	var out api.People
	_, err = client.Get(t.Context(), api.PathPeople, nil, &out)
	require.NoError(t, err)
	return out.People
}
