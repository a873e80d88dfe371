package hub_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
)

// A keeper makes people and probes, who runs a site invites onto it, and nobody
// gives more than they have. What goes wrong is told by a code.
func TestPeopleOverHTTP(t *testing.T) {
	c := openCompany(t, nil)
	keeperID := c.one(events.Keeper, "_")
	keeper := c.as(keeperID)
	var added api.Person
	require.NoError(t, keeper.Post(t.Context(), api.PathPeople, api.NewPerson{
		Name: "Ada Holm", Mail: "ada@site.example", Phone: "555 0101", Roles: api.Roles{"mill": {events.Crew}},
	}, &added))
	require.Regexp(t, `^p-[a-z2-7]{8}$`, added.Person)
	foreman, crew := c.one(events.Foreman, "mill"), c.phone(added.Person, "mill")
	engineer := c.person("An engineer", api.Roles{"mill": {events.Engineer}})

	var ticket api.Ticket
	invite := func(client api.Client, person, site string) error {
		return client.Post(t.Context(), api.PathInvitations, api.NewInvitation{Person: person, Site: site, Sort: "phone"}, &ticket)
	}
	require.NoError(t, invite(c.as(foreman), added.Person, "mill"))
	require.Equal(t, c.hub.HTTPURL()+"/join#"+ticket.Code, ticket.Link)
	joined, err := c.join(ticket.Code, "mill", added.Person)
	require.NoError(t, err)
	require.Equal(t, "mill", joined.Source.Site)
	_, err = c.join(ticket.Code, "mill", added.Person)
	require.ErrorIs(t, err, api.ErrNotFound, "a code is good once")

	for name, try := range map[string]struct {
		err  error
		want string
	}{
		"a foreman invites an engineer": {invite(c.as(foreman), engineer, "mill"), api.CodeNotAllowed},
		"onto another site":             {invite(c.as(foreman), added.Person, "yard"), api.CodeNotFound},
		"a crew invites":                {invite(c.as(crew), added.Person, "mill"), api.CodeNotAllowed},
		"somebody unknown":              {invite(keeper, "p-nobody", "mill"), api.CodeNotFound},
		"the last keeper":               {keeper.Post(t.Context(), api.PersonPath(keeperID.Person)+"/retire", api.Retirement{Site: "_", Reason: "x"}, nil), api.CodeNotAllowed},
		"no role at all":                {keeper.Post(t.Context(), api.PathPeople, api.NewPerson{Name: "x"}, nil), api.CodeRefused},
		"an unknown member":             {keeper.Post(t.Context(), api.PathPeople, map[string]any{"name": "x", "admin": true}, nil), api.CodeRefused},
		"another's device":              {c.as(crew).Post(t.Context(), api.DevicePath(foreman.Source)+"/revoke", api.Revocation{Reason: "x"}, nil), api.CodeNotAllowed},
	} {
		require.Equal(t, try.want, code(try.err), "%s: %v", name, try.err)
	}
	require.NoError(t, c.as(crew).Post(t.Context(), api.DevicePath(joined.Source)+"/revoke", api.Revocation{Reason: "found another"}, nil), "one's own")

	probe := api.NewProbe{Site: "mill", Device: "core-1", Kinds: []events.Kind{"temperature.read"}}
	var secret, second api.ProbeSecret
	require.NoError(t, keeper.Post(t.Context(), api.PathProbes, probe, &secret))
	require.Equal(t, "mill.core-1", secret.User)
	require.Equal(t, api.CodeExists, code(keeper.Post(t.Context(), api.PathProbes, probe, nil)))
	require.NoError(t, keeper.Post(t.Context(), api.DevicePath(events.Source{Site: "mill", Device: "core-1"})+"/password", struct{}{}, &second))
	require.NotEqual(t, secret.Password, second.Password)
}

// A name is for whoever shares a site; mail and telephone are for whoever invites
// there, and for oneself.
func TestCards(t *testing.T) {
	c := openCompany(t, nil)
	var ada api.Person
	require.NoError(t, c.local.Post(t.Context(), api.PathPeople, api.NewPerson{
		Name: "Ada Holm", Mail: "ada@site.example", Phone: "555 0101", Roles: api.Roles{"mill": {events.Crew}, "yard": {events.Foreman}},
	}, &ada))
	sees := func(client api.Client) *api.Person {
		var out api.People
		_, err := client.Get(t.Context(), api.PathPeople, nil, &out)
		require.NoError(t, err)
		for _, p := range out.People {
			if p.Person == ada.Person {
				return &p
			}
		}
		return nil
	}
	require.Equal(t, &ada, sees(c.local))
	require.Equal(t, &ada, sees(c.as(c.one(events.Keeper, "_"))))
	require.Equal(t, &ada, sees(c.as(c.phone(ada.Person, "mill"))))
	require.Equal(t, &api.Person{Person: ada.Person, Name: "Ada Holm", Roles: api.Roles{"mill": {events.Crew}}}, sees(c.as(c.one(events.Crew, "mill"))))
	require.Equal(t, &api.Person{Person: ada.Person, Name: "Ada Holm", Mail: ada.Mail, Phone: ada.Phone, Roles: api.Roles{"mill": {events.Crew}}},
		sees(c.as(c.one(events.Foreman, "mill"))))
	require.Nil(t, sees(c.as(c.one(events.Officer, "dock"))))

	require.NoError(t, c.local.Post(t.Context(), api.PersonPath(ada.Person)+"/retire", api.Retirement{Site: "_", Reason: "left"}, nil))
	require.NoError(t, c.local.Post(t.Context(), api.PersonPath(ada.Person)+"/forget", struct{}{}, nil))
	require.Equal(t, &api.Person{Person: ada.Person, Roles: api.Roles{}, Retired: true}, sees(c.local))
}
