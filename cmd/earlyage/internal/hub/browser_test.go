package hub_test

import (
	"net"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
)

// named lets the hub be reached as localhost: a passkey belongs to a name, not to
// an address.
func named(t *testing.T) func(*hub.Config) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	_, port, err := net.SplitHostPort(l.Addr().String())
	require.NoError(t, err)
	require.NoError(t, l.Close())
	return func(cfg *hub.Config) { cfg.HTTP, cfg.Address = "127.0.0.1:"+port, "http://localhost:"+port }
}

// link invites a person and gives the link.
func (c *company) link(person, site, sort string) string {
	c.t.Helper()
	var ticket api.Ticket
	require.NoError(c.t, c.local.Post(c.t.Context(), api.PathInvitations, api.NewInvitation{Person: person, Site: site, Sort: sort}, &ticket))
	return ticket.Link
}

// page signs a person in with a passkey and opens a page.
func (c *company) page(b *browser.Browser, name, person, path string) *browser.Tab {
	c.t.Helper()
	tab := b.Tab(name, browser.Desk)
	tab.Passkeys()
	tab.Open(c.link(person, "_", "page"))
	tab.Press("#invited #passkey")
	tab.Until(`!location.pathname.startsWith("/join")`)
	tab.Open(c.cfg.Address + path)
	return tab
}

func press(tab *browser.Tab, key string) {
	tab.Until(`"still" in document.body.dataset`)
	tab.Press(`[data-k="` + key + `"]`)
}

// A lift that a crew's phone records is on the dispatcher's board without anybody
// loading anything anew; braces that come off too early are first on the safety
// officer's list.
func TestFromThePhoneToTheBoardAndTheOfficer(t *testing.T) {
	c := openCompany(t, named(t))
	officer := c.phone(c.person("An officer", api.Roles{"_": {events.Officer}}), "mill")
	c.record(c.connect(officer), officer, made(officer, "site.opened", "", &events.SiteOpened{Name: "Mill", Zone: "Europe/Oslo", Units: "si"}))
	foreman := c.one(events.Foreman, "mill")
	nc := c.connect(foreman)
	at := time.Now().UTC().Truncate(time.Second)
	p := func(x float64) *float64 { return &x }
	braces := []events.BracePlan{{Name: "b1", AtM: p(1)}, {Name: "b2", AtM: p(3)}, {Name: "b3", AtM: p(5)}}
	for _, e := range []events.Event{
		made(foreman, "wall.laid-out", "north", &events.WallLaidOut{Name: "north wall", LengthM: p(6), HeightM: p(2.4), CoreMM: p(150), Form: "insulating", Braces: braces}),
		made(foreman, "brace.set", "north", &events.BraceSet{Braces: braces}),
		made(foreman, "pour.started", "north", &events.Moment{At: at.Add(-20 * time.Minute)}),
		made(foreman, "lift.placed", "north", &events.LiftPlaced{FromM: p(0), ToM: p(3), TopM: p(0.6), Began: at.Add(-20 * time.Minute), Ended: at.Add(-10 * time.Minute), Vibrated: new(true)}),
	} {
		c.record(nc, foreman, e)
	}

	b := browser.Start(t)
	board := c.page(b, "board", c.person("A dispatcher", api.Roles{"_": {events.Dispatcher}}), "/board")
	board.SeeText("main", "north wall")
	board.SeeText("main", "0.3 of 2.2")
	list := c.page(b, "officer", officer.Person, "/exceptions")
	list.SeeText("main", "north wall")
	require.NotContains(t, strings.ToLower(list.Text("main")), "stripped early")

	phone := b.Tab("phone", browser.Phone)
	phone.Expect("401") // whether somebody is signed in is asked first
	phone.Open(c.link(foreman.Person, "mill", "phone"))
	phone.Until(`location.pathname === "/phone"`)
	// What is told stands over the screens; this person closes it each time.
	browser.Ask[int](phone, `setInterval(() => document.querySelector(".told[open][data-still] [data-k=told-close]")?.click(), 50)`)
	press(phone, "join")
	phone.SeeText("h1", "Choose the wall")
	press(phone, "wall-north")
	phone.See(`[data-k="lift.placed"]`)
	press(phone, "lift.placed")
	press(phone, "do-vibrated")
	phone.SeeText("#screen", "Recorded")
	board.SeeText("main", "0.5 of 2.2")
	phone.SeeText("#strip", "all sent")
	phone.Shot("placed")
	board.Shot("placed")

	browser.Ask[string](phone, `(location.hash = "#w/north/do/brace.stripped", "")`)
	phone.SeeText("h1", "Braces off")
	press(phone, "pick-braces")
	press(phone, "all")
	press(phone, "picked")
	press(phone, "do-record")
	phone.SeeText("#screen", "Recorded")
	phone.SeeText("#strip", "all sent")
	board.SeeText("main", "Brace stripped early")
	list.Reload()
	list.SeeText("main", "Brace stripped early")
	list.Shot("early")
}
