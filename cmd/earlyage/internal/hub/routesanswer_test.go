package hub_test

import (
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
)

// A person changes how they are reached themselves, a keeper does for everybody,
// and nobody else does.
func TestContact(t *testing.T) {
	c := openCompany(t, nil)
	var ada api.Person
	require.NoError(t, c.local.Post(t.Context(), api.PathPeople, api.NewPerson{Name: "Ada Holm", Phone: "555 0101", Roles: api.Roles{"mill": {events.Crew}}}, &ada))
	word := func(s string) *string { return &s }
	path := api.PersonPath(ada.Person) + "/contact"
	require.NoError(t, c.as(c.phone(ada.Person, "mill")).Post(t.Context(), path, api.Contact{Mail: word("ada@site.example"), Lang: word("es"), Units: word("us")}, nil))
	seen := func() api.Person {
		var out api.People
		_, err := c.local.Get(t.Context(), api.PathPeople, nil, &out)
		require.NoError(t, err)
		for _, p := range out.People {
			if p.Person == ada.Person {
				return p
			}
		}
		return api.Person{}
	}
	ada.Mail, ada.Lang, ada.Units = "ada@site.example", "es", "us"
	require.Equal(t, ada, seen())
	require.NoError(t, c.as(c.one(events.Keeper, "_")).Post(t.Context(), path, api.Contact{Phone: word("")}, nil))
	ada.Phone = ""
	require.Equal(t, ada, seen())
	require.ErrorIs(t, c.as(c.one(events.Officer, "mill")).Post(t.Context(), path, api.Contact{Mail: word("x@site.example")}, nil), api.ErrNotAllowed)
	require.Error(t, c.local.Post(t.Context(), path, api.Contact{Units: word("furlong")}, nil))
	require.Equal(t, ada, seen())
}

// Who would be told, for whoever invites on the site; a file is judged by who there is.
func TestRoutesAnswer(t *testing.T) {
	c := openCompany(t, nil)
	foreman := c.as(c.one(events.Foreman, "mill"))
	var out api.Routes
	_, err := foreman.Get(t.Context(), api.PathRoutes, url.Values{"site": {"mill"}, "kind": {"joint-cold"}}, &out)
	require.NoError(t, err)
	require.Len(t, out.Told, 1)
	require.Equal(t, []string{"foreman"}, out.Told[0].Rungs[0].Whom[0].Roles)
	require.Equal(t, []string{"phone"}, out.Told[0].Rungs[0].Whom[0].Channels, "the device with which they ask")
	_, err = c.local.Get(t.Context(), api.PathRoutes, url.Values{"site": {"mill"}}, &out)
	require.NoError(t, err)
	require.Len(t, out.Told, len(events.AlertKinds()))
	for _, site := range []string{"_", "dock", ""} {
		_, err = foreman.Get(t.Context(), api.PathRoutes, url.Values{"site": {site}}, &out)
		require.Error(t, err, "out of sight: %q", site)
	}
	_, err = c.as(c.one(events.Crew, "mill")).Get(t.Context(), api.PathRoutes, url.Values{"site": {"mill"}}, &out)
	require.ErrorIs(t, err, api.ErrNotAllowed)

	var checked api.RoutesChecked
	check := func(text string) []api.RoutesMistake {
		require.NoError(t, c.local.Post(t.Context(), api.PathRoutesCheck, api.RoutesCheck{Name: "r.yaml", Text: text}, &checked))
		return checked.Mistakes
	}
	require.Empty(t, check("sheets: [{sheet: weekly, roles: [foreman]}]"))
	require.Equal(t, []api.RoutesMistake{
		{Line: 2, Field: "sheets[0]", Reason: "names nobody: safety officer, and on mill that is nobody"},
	}, check("sheets:\n  - {sheet: weekly, sites: [mill], roles: [officer]}"))
	require.ErrorIs(t, foreman.Post(t.Context(), api.PathRoutesCheck, api.RoutesCheck{}, nil), api.ErrNotAllowed)
}
