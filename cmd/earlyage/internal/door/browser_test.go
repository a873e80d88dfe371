package door_test

import (
	"net"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
)

// open serves a house to a browser of this machine, as a hub without TLS does.
func open(t *testing.T, changes ...change) (h *house, address string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	_, port, err := net.SplitHostPort(l.Addr().String())
	require.NoError(t, err)
	address = "http://localhost:" + port
	h = newHouse(t, append(changes, func(c *door.Config) {
		c.Origin, c.TLS = address, false
		c.SiteName = func(site string) string {
			return map[string]string{"north": "North basement", "south-quay": "South quay, house 4"}[site]
		}
	})...)
	server := &httptest.Server{Listener: l, Config: &http.Server{Handler: h.handler}} // #nosec G112 -- a server of a test
	server.Start()
	t.Cleanup(server.Close)
	return h, address
}

// good looks at a page in the sizes of a phone and a desk.
func good(tab *browser.Tab, name string) {
	for _, at := range []struct {
		name string
		size browser.Size
	}{{"phone", browser.Phone}, {"desk", browser.Desk}} {
		tab.Resize(at.size)
		tab.Good()
		tab.Shot(name + "-" + at.name)
	}
}

// A person gets a link, makes a passkey, is in, goes out, and comes in again;
// and then ends a device that is lost.
func TestAPersonComesIn(t *testing.T) {
	h, address := open(t)
	keeper := h.person("Ines Vogel", map[string][]events.Role{"_": {events.Keeper}})
	amira := h.person("Amira Solano", map[string][]events.Role{"north": {events.Foreman, events.Crew}, "south-quay": {events.Crew}})
	h.phone(amira, "phone-amira")
	h.phone(amira, "phone-mixer-truck-yard")
	ticket, err := h.roster.Invite(t.Context(), keeper, amira, "north", roster.Page)
	require.NoError(t, err)
	h.secret(ticket.Code)

	tab := browser.Start(t).Tab("door", browser.Phone)
	tab.Passkeys()
	tab.Open(address + "/join#" + ticket.Code)
	tab.SeeText("#who", "Amira Solano")
	tab.SeeText("#by", "Ines Vogel")
	tab.SeeText("#site", "North basement")
	tab.SeeText("#roles", "crew, foreman")
	good(tab, "invited")
	tab.Press("#invited #passkey")
	tab.SeeText("h1", "Amira Solano")
	tab.Until(`location.pathname === "/" && !location.hash`)
	tab.SeeText("main", "phone-amira")
	good(tab, "own")

	tab.Press("#leave")
	tab.SeeText("h1", "Sign in")
	good(tab, "login")
	tab.Press("#passkey")
	tab.SeeText("h1", "Amira Solano")

	tab.Press(`button[data-device="phone-amira"]`)
	tab.SeeText("#sure-what", "End phone-amira?")
	good(tab, "sure")
	tab.Press("#sure-no")
	tab.Press(`button[data-device="phone-amira"]`)
	tab.Press("#sure-yes")
	tab.Until(`document.querySelectorAll("button[data-device]").length === 1`)
	d, _ := h.register.Load().Device(events.Source{Site: "north", Device: "phone-amira"})
	require.True(t, d.Revoked)

	// The link has ended with its use.
	tab.Expect("404")
	tab.Open(address + "/login")
	tab.SeeText("h1", "Amira Solano")
	tab.Open(address + "/join#" + ticket.Code)
	tab.See("#gone h1")
	good(tab, "gone")
}

// A second link on a device that has a passkey: the browser is told, and the
// person; a fresh start ends what was there.
func TestAPersonComesBack(t *testing.T) {
	h, address := open(t)
	amira := h.foreman()
	tab := browser.Start(t).Tab("door-back", browser.Phone)
	tab.Passkeys()
	tab.Open(address + "/join#" + h.invite(amira, roster.Page))
	tab.Press("#invited #passkey")
	tab.SeeText("h1", "Amira Solano")
	before := h.sessions(amira)
	require.Len(t, before, 1)

	tab.Open(address + "/join#" + h.invite(amira, roster.Page))
	tab.See("#fresh")
	tab.Press("#invited #passkey")
	tab.SeeText("#said", "has your passkey already")
	tab.See("#has a")
	good(tab, "already")
	tab.Press("#fresh")
	tab.Press("#invited #passkey")
	tab.Until(`location.pathname === "/"`)
	tab.SeeText("h1", "Amira Solano")
	after := h.sessions(amira)
	require.Len(t, after, 1)
	require.NotEqual(t, before[0], after[0])
}

// sessions are the ids of a person's passkeys.
func (h *house) sessions(person string) [][]byte {
	h.t.Helper()
	list, err := h.cabinet.Passkeys(person)
	require.NoError(h.t, err)
	return list
}

// A link for a device's own key leads on to where that key is made.
func TestALinkForADevice(t *testing.T) {
	h, address := open(t)
	amira := h.foreman()
	tab := browser.Start(t).Tab("door-device", browser.Phone)
	tab.Expect("404")
	code := h.invite(amira, roster.Phone)
	tab.Open(address + "/join#" + code)
	tab.Until(`location.pathname === "/phone" && location.hash === "#join.` + code + `"`)

	ticket, err := h.roster.EnrolStation(t.Context(), "", "north", "logger-1", nil)
	require.NoError(t, err)
	h.secret(ticket.Code)
	tab.Open(address + "/join#" + ticket.Code)
	tab.See("#station pre")
	good(tab, "station")
	tab.Keys(kb.Tab)
	tab.Shot("focus")

	tab.Open(address + "/login")
	tab.Keys(kb.Tab)
	tab.Until(`document.activeElement.id === "passkey"`)
	tab.Shot("focus-login")
	tab.Open(address + "/join")
	tab.See("#gone h1")
}

// A passkey that another hub's page would make is no passkey here, and a login
// that nobody confirms says so.
func TestALoginThatIsNotConfirmed(t *testing.T) {
	_, address := open(t)
	tab := browser.Start(t).Tab("door-none", browser.Phone)
	tab.Passkeys()
	tab.Open(address + "/board")
	tab.SeeText("h1", "There is nothing at this address")
	tab.Expect("404")
	good(tab, "nothing")
	tab.Open(address + "/")
	tab.SeeText("h1", "Sign in")
	tab.Press("#passkey")
	tab.SeeText("#said", "Nothing was done")
	good(tab, "not-confirmed")
	tab.Open(address + "/login?lang=es")
	tab.SeeText("h1", "Entrar")
	tab.Press("#passkey")
	tab.SeeText("#said", "No se ha hecho nada")
	good(tab, "es")
	require.Equal(t, "false", browser.Ask[string](tab, `String(document.cookie.includes("earlyage"))`), "no script reads the cookie")
}

// Every document that the door writes is valid.
func TestPagesAreValid(t *testing.T) {
	h := newHouse(t)
	amira := h.foreman()
	v, _ := h.enrolled(amira)
	h.phone(amira, "phone-amira")
	v.header = http.Header{"Accept": {"text/html"}}
	pages := map[string]string{}
	for _, path := range []string{"/", "/join", "/nothing", "/?lang=es", "/join?lang=es"} {
		pages[path] = v.ask("GET", path, nil).Body.String()
	}
	pages["/login"] = h.visitor().ask("GET", "/login", nil).Body.String()
	plain := newHouse(t, func(c *door.Config) { c.Origin = "http://192.0.2.1:8480" })
	pages["/login without passkeys"] = plain.visitor().ask("GET", "/login", nil).Body.String()
	browser.ValidHTML(t, pages)
	require.Equal(t, http.StatusUnauthorized, h.visitor().ask("GET", api.PathMe, nil).Code)
}
