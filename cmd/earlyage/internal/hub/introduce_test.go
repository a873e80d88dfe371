package hub_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
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
