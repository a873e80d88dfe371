package door_test

import (
	"net/http"
	"slices"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
)

func invitedBy(t *testing.T, h *house, code string) (out door.Invited) {
	t.Helper()
	w := h.visitor().ask("POST", door.PathInvitation, object{"code": code})
	require.Equal(t, http.StatusOK, w.Code, w.Body.String())
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &out))
	return out
}

// In a demo a link to a page is enough. Without a role it opens nothing, and a
// link to a device is none to a page.
func TestInADemoALinkIsEnough(t *testing.T) {
	h := newHouse(t, func(c *door.Config) { c.Demo = true })
	amira := h.foreman()
	code := h.invite(amira, roster.Page)
	require.True(t, invitedBy(t, h, code).Demo)
	for range 2 {
		v := h.visitor()
		require.Equal(t, http.StatusOK, v.ask("POST", door.PathDemo, object{"code": code}).Code)
		v.in(amira)
	}
	v := h.visitor()
	refused(t, v.ask("POST", door.PathDemo, object{"code": h.invite(amira, roster.Phone)}), http.StatusConflict, "other-sort")
	refused(t, v.ask("POST", door.PathDemo, object{"code": "nothing"}), http.StatusNotFound, "no-invitation")
	refused(t, v.ask("POST", door.PathDemo, `{`), http.StatusBadRequest, api.CodeRefused)
	require.NoError(t, h.roster.Retire(t.Context(), "", amira, "_", "left"))
	refused(t, v.ask("POST", door.PathDemo, object{"code": code}), http.StatusNotFound, "no-invitation")
	v.out()
}

// Any other hub has no such way in, and says nothing of it.
func TestNoOtherHubIsADemo(t *testing.T) {
	h := newHouse(t)
	code := h.invite(h.foreman(), roster.Page)
	require.False(t, slices.ContainsFunc(h.door.Routes(), func(r door.Route) bool { return r.Pattern == door.PathDemo }))
	require.False(t, invitedBy(t, h, code).Demo)
	v := h.visitor()
	refused(t, v.ask("POST", door.PathDemo, object{"code": code}), http.StatusNotFound, api.CodeNotFound)
	v.out()
}

// The page of the link says that it is a demo's, and one press is enough.
func TestADemoIsEntered(t *testing.T) {
	h, address := open(t, func(c *door.Config) { c.Demo = true })
	code := h.invite(h.person("Amira Solano", map[string][]events.Role{"north": {events.Foreman}}), roster.Page)
	tab := browser.Start(t).Tab("demo", browser.Phone)
	tab.Open(address + "/join#" + code)
	tab.SeeText("#who", "Amira Solano")
	tab.SeeText("#invited", "This is a demo")
	good(tab, "demo")
	tab.Press("#enter")
	tab.SeeText("h1", "Amira Solano")
}
