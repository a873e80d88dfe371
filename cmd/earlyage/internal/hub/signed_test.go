package hub_test

import (
	"bufio"
	"context"
	"encoding/base64"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/events/stream"
)

// company is a hub that knows who is who, and the people and devices that a test
// makes there.
type company struct {
	t     *testing.T
	hub   *hub.Hub
	cfg   hub.Config
	local api.Client // over the hub's own socket

	client *http.Client // of HTTP; nil: the default
}

func openCompany(t *testing.T, change func(*hub.Config)) *company {
	t.Helper()
	cfg := hub.Config{
		Dir: t.TempDir(), Client: "127.0.0.1:0", HTTP: "127.0.0.1:0", Metrics: "127.0.0.1:0", Limits: wide,
		Synchronised: func() bool { return true }, Log: logTo(t),
	}
	if change != nil {
		change(&cfg)
	}
	c := &company{t: t, cfg: cfg}
	c.start()
	t.Cleanup(c.stop)
	return c
}

func (c *company) start() {
	c.t.Helper()
	var err error
	c.hub, err = hub.Start(c.t.Context(), c.cfg)
	require.NoError(c.t, err)
	c.local, err = api.Dial(api.Where{Socket: c.hub.Socket()})
	require.NoError(c.t, err)
}

func (c *company) stop() {
	if c.hub != nil {
		c.local.HTTP.CloseIdleConnections()
		http.DefaultClient.CloseIdleConnections()
		require.NoError(c.t, c.hub.Stop())
		c.hub = nil
	}
}

// person adds a person over the socket.
func (c *company) person(name string, roles api.Roles) string {
	c.t.Helper()
	var p api.Person
	require.NoError(c.t, c.local.Post(c.t.Context(), api.PathPeople, api.NewPerson{Name: name, Roles: roles}, &p))
	return p.Person
}

// one adds a person with one role on a site, with a phone there.
func (c *company) one(role events.Role, site string) stream.Identity {
	c.t.Helper()
	return c.phone(c.person("A "+string(role), api.Roles{site: {role}}), site)
}

// phone lets a device join through HTTP, on an invitation that the socket gave.
func (c *company) phone(person, site string) stream.Identity {
	c.t.Helper()
	sort := "phone"
	if person == "" {
		sort = "station"
	}
	var ticket api.Ticket
	require.NoError(c.t, c.local.Post(c.t.Context(), api.PathInvitations, api.NewInvitation{Person: person, Site: site, Sort: sort}, &ticket))
	id, err := c.join(ticket.Code, site, person)
	require.NoError(c.t, err)
	return id
}

func (c *company) join(code, site, person string) (stream.Identity, error) {
	c.t.Helper()
	id, err := stream.NewIdentity(events.Source{Site: site, Device: "new"}, person)
	require.NoError(c.t, err)
	public, err := id.Public()
	require.NoError(c.t, err)
	var joined roster.Joined
	err = c.nobody().Post(c.t.Context(), api.PathJoin, roster.JoinRequest{Code: code, Key: public, Proof: proof(c.t, id, roster.JoinProof(code))}, &joined)
	id.Source = events.Source{Site: joined.Site, Device: joined.Device}
	return id, err
}

func proof(t *testing.T, id stream.Identity, text []byte) string {
	t.Helper()
	pair, err := nkeys.FromSeed([]byte(id.Seed))
	require.NoError(t, err)
	sig, err := pair.Sign(text)
	require.NoError(t, err)
	return base64.RawURLEncoding.EncodeToString(sig)
}

func (c *company) nobody() api.Client {
	c.t.Helper()
	client, err := api.Dial(api.Where{URL: c.hub.HTTPURL()})
	require.NoError(c.t, err)
	client.HTTP = c.client
	return client
}

func (c *company) as(id stream.Identity) api.Client {
	c.t.Helper()
	client, err := api.Dial(api.Where{URL: c.hub.HTTPURL(), Identity: &id})
	require.NoError(c.t, err)
	client.HTTP = c.client
	return client
}

func (c *company) connect(id stream.Identity, opts ...nats.Option) *nats.Conn {
	c.t.Helper()
	nc, err := stream.DialAs(c.hub.ClientURL(), id.Source.Device, nil, id, append([]nats.Option{nats.Timeout(patience)}, opts...)...)
	require.NoError(c.t, err)
	c.t.Cleanup(nc.Close)
	return nc
}

// made makes an event of a device, not numbered.
func made(id stream.Identity, kind events.Kind, wall string, data events.Data) events.Event {
	return events.Event{
		ID: uuid.NewString(), Source: id.Source, By: id.Person, Kind: kind, Wall: wall, Time: time.Now().UTC(), HasOffset: true, Data: data,
	}
}

func layout() events.Data {
	length, height, core := 6.0, 2.4, 150.0
	return &events.WallLaidOut{LengthM: &length, HeightM: &height, CoreMM: &core}
}

// record publishes an event as its device does.
func (c *company) record(nc *nats.Conn, id stream.Identity, e events.Event) {
	c.t.Helper()
	body, err := e.Encode()
	require.NoError(c.t, err)
	ctx, cancel := context.WithTimeout(c.t.Context(), patience)
	defer cancel()
	_, _, err = stream.PublishOne(ctx, nc, e.Subject(), body, id.Sign(body))
	require.NoError(c.t, err)
	settle(c.t, c.hub)
}

func (c *company) walls(client api.Client) []string {
	c.t.Helper()
	var out api.Walls
	_, err := client.Get(c.t.Context(), api.PathWalls, nil, &out)
	require.NoError(c.t, err)
	return places(out.Walls)
}

// People are made over the socket, a phone joins through HTTP and records
// through NATS. Revoked, it is out within a second: its connections, its sessions
// and whatever it comes with.
func TestPhoneJoinsRecordsAndIsShutOut(t *testing.T) {
	c := openCompany(t, nil)
	var foreman stream.Identity
	soonest := patience // of three: the machine may have other work once, and not each time
	for i := range 3 {
		foreman = c.one(events.Foreman, "mill")
		nc := c.connect(foreman, nats.NoReconnect())
		if i == 0 {
			c.record(nc, foreman, made(foreman, "wall.laid-out", "a", layout()))
		}
		require.Equal(t, []string{"mill/a"}, c.walls(c.as(foreman)))
		require.Empty(t, c.refused())
		soonest = min(soonest, c.shutOut(foreman, nc))
	}
	require.Less(t, soonest, 2*time.Second, "a second after the fold")

	_, err := c.as(foreman).Get(t.Context(), api.PathWalls, nil, &api.Walls{})
	require.ErrorIs(t, err, api.ErrSignIn)
	_, err = stream.DialAs(c.hub.ClientURL(), "again", nil, foreman, nats.NoReconnect())
	require.Error(t, err)
	_, err = c.local.PostEvent(t.Context(), encodedBody(t, made(foreman, "hold.placed", "a", &events.HoldPlaced{Hold: "h", Reason: "x"})), "")
	require.ErrorIs(t, err, api.ErrNotAllowed)
}

// shutOut revokes a phone and tells how long its connection and its watching went on.
func (c *company) shutOut(id stream.Identity, nc *nats.Conn) time.Duration {
	c.t.Helper()
	closed := make(chan struct{})
	nc.SetClosedHandler(func(*nats.Conn) { close(closed) })
	watching := c.watch(id)
	began := time.Now()
	require.NoError(c.t, c.local.Post(c.t.Context(), api.DevicePath(id.Source)+"/revoke", api.Revocation{Reason: "lost"}, nil))
	for name, end := range map[string]<-chan struct{}{"connection": closed, "watching": watching} {
		select {
		case <-end:
		case <-time.After(patience):
			require.FailNow(c.t, "the "+name+" goes on")
		}
	}
	return time.Since(began)
}

// watch reads changes until the hub ends it. By itself it ends later than any test waits.
func (c *company) watch(id stream.Identity) <-chan struct{} {
	c.t.Helper()
	ended, first := make(chan struct{}), make(chan struct{})
	client := c.as(id)
	ctx, cancel := context.WithTimeout(context.Background(), 2*patience)
	c.t.Cleanup(cancel)
	go func() {
		defer close(ended)
		once := false
		_ = client.Watch(ctx, func(api.Changed, []byte) error {
			if !once {
				once = true
				close(first)
			}
			return nil
		})
	}()
	<-first
	return ended
}

func (c *company) refused() (ids []string) {
	c.t.Helper()
	var out api.Alerts
	_, err := c.local.Get(c.t.Context(), api.PathRefused, nil, &out)
	require.NoError(c.t, err)
	for _, r := range out.Refused {
		ids = append(ids, r.ID+" "+r.Field+": "+r.Reason)
	}
	return ids
}

func encodedBody(t *testing.T, e events.Event) []byte { t.Helper(); return []byte(encoded(t, e)) }

// Other roles are another footing: a connection begins anew and may then do what
// the roles are good for, and no more.
func TestRolesChangeWhileConnected(t *testing.T) {
	c := openCompany(t, nil)
	crew := c.one(events.Crew, "mill")
	back := make(chan struct{}, 8)
	nc := c.connect(crew, nats.ReconnectHandler(func(*nats.Conn) { back <- struct{}{} }), nats.ReconnectWait(time.Millisecond))
	release := func(within time.Duration) error {
		body := encodedBody(t, made(crew, "hold.released", "a", &events.HoldReleased{Hold: "h", Reason: "x"}))
		ctx, cancel := context.WithTimeout(t.Context(), within)
		defer cancel()
		_, _, err := stream.PublishOne(ctx, nc, "pour.mill.a.hold.released", body, crew.Sign(body))
		return err
	}
	c.record(nc, crew, made(crew, "hold.placed", "a", &events.HoldPlaced{Hold: "h", Reason: "x"}))
	require.Error(t, release(time.Second), "who is crew releases no hold")
	require.NoError(t, c.local.Post(t.Context(), api.PersonPath(crew.Person)+"/roles", api.Appointment{Site: "mill", Roles: []events.Role{events.Engineer}}, nil))
	select {
	case <-back:
	case <-time.After(patience):
		require.FailNow(t, "the connection did not begin anew")
	}
	require.NoError(t, release(patience))
	settle(t, c.hub)
	require.Empty(t, c.refused())
}

// A new key ends the old one with its connections and sessions.
func TestRotate(t *testing.T) {
	c := openCompany(t, nil)
	old := c.one(events.Foreman, "mill")
	client, nc := c.as(old), c.connect(old, nats.NoReconnect())
	closed := make(chan struct{})
	nc.SetClosedHandler(func(*nats.Conn) { close(closed) })
	require.Empty(t, c.walls(client))
	renewed, err := stream.NewIdentity(old.Source, old.Person)
	require.NoError(t, err)
	public, err := renewed.Public()
	require.NoError(t, err)
	text := roster.RotateProof(old.Source, public)
	change := api.Rotation{Key: public, Old: proof(t, old, text), New: proof(t, renewed, text)}
	require.NoError(t, client.Post(t.Context(), api.DevicePath(old.Source)+"/rotate", change, nil))
	select {
	case <-closed:
	case <-time.After(patience):
		require.FailNow(t, "the connection of the old key goes on")
	}
	_, err = client.Get(t.Context(), api.PathWalls, nil, &api.Walls{})
	require.ErrorIs(t, err, api.ErrSignIn)
	require.Empty(t, c.walls(c.as(renewed)))
	c.record(c.connect(renewed), renewed, made(renewed, "wall.laid-out", "a", layout()))
	body := encodedBody(t, made(old, "wall.laid-out", "b", layout()))
	_, err = c.as(renewed).PostEvent(t.Context(), body, old.Sign(body))
	require.Equal(t, api.CodeSignature, code(err))
	require.Empty(t, c.refused())
}

// The sessions of a person who is retired end with the role, and so does the
// sight of the site.
func TestRetiredPersonIsOut(t *testing.T) {
	c := openCompany(t, nil)
	crew := c.one(events.Crew, "mill")
	client := c.as(crew)
	require.Empty(t, c.walls(client))
	require.NoError(t, c.local.Post(t.Context(), api.PersonPath(crew.Person)+"/retire", api.Retirement{Site: "_", Reason: "left"}, nil))
	_, err := client.Get(t.Context(), api.PathWalls, nil, &api.Walls{})
	require.ErrorIs(t, err, api.ErrSignIn)
}

// Who is who stands in the record: it survives a restart and a rebuild.
func TestIdentitiesSurvive(t *testing.T) {
	c := openCompany(t, nil)
	foreman, gone := c.one(events.Foreman, "mill"), c.one(events.Foreman, "mill")
	require.NoError(t, c.local.Post(t.Context(), api.DevicePath(gone.Source)+"/revoke", api.Revocation{Reason: "lost"}, nil))
	nc := c.connect(foreman)
	c.record(nc, foreman, made(foreman, "wall.laid-out", "a", layout()))
	nc.Close()
	for _, rebuild := range []func(){
		func() {},
		func() {
			report, err := hub.Rebuild(t.Context(), c.cfg.Dir, true, true, nil)
			require.NoError(t, err)
			require.True(t, report.Compared && report.Equal, "%v", report.Differences)
		},
		func() { require.NoError(t, os.Remove(c.cfg.Dir+"/view.db")) },
	} {
		c.stop()
		rebuild()
		c.start()
		require.Equal(t, []string{"mill/a"}, c.walls(c.as(foreman)))
		nc := c.connect(foreman)
		c.record(nc, foreman, made(foreman, "hold.placed", "a", &events.HoldPlaced{Hold: "h-" + uuid.NewString()[:4], Reason: "x"}))
		nc.Close()
		require.Empty(t, c.refused())
		_, err := stream.DialAs(c.hub.ClientURL(), "gone", nil, gone, nats.NoReconnect())
		require.Error(t, err)
	}
}

// A caller sees the sites where they have a role; what they may not see and what
// is not there are answered alike.
func TestSight(t *testing.T) {
	c := openCompany(t, nil)
	mill, yard := c.one(events.Foreman, "mill"), c.one(events.Foreman, "yard")
	for _, id := range []stream.Identity{mill, yard} {
		nc := c.connect(id)
		c.record(nc, id, made(id, "wall.laid-out", "a", layout()))
	}
	all := c.one(events.Dispatcher, "_")
	require.Equal(t, []string{"mill/a"}, c.walls(c.as(mill)))
	require.Equal(t, []string{"yard/a"}, c.walls(c.as(yard)))
	require.Equal(t, []string{"mill/a", "yard/a"}, c.walls(c.as(all)))
	require.Equal(t, []string{"mill/a", "yard/a"}, c.walls(c.local))
	var head api.Walls
	_, err := c.as(mill).Get(t.Context(), api.PathWalls, nil, &head)
	require.NoError(t, err)
	require.Len(t, head.Sites, 1)

	client := c.as(mill)
	body := func(path string, query url.Values) string {
		_, err := client.Get(t.Context(), path, query, &struct{}{})
		require.ErrorIs(t, err, api.ErrNotFound, path)
		return strings.ReplaceAll(err.Error(), path, "")
	}
	require.Equal(t, body(api.WallPath("nowhere", "a"), nil), body(api.WallPath("yard", "a"), nil))
	require.Equal(t, body(api.WallPath("nowhere", "a")+"/unrolled.svg", nil), body(api.WallPath("yard", "a")+"/unrolled.svg", nil))
	for _, path := range []string{api.PathWalls, api.PathAlerts} {
		require.Equal(t, body(path, url.Values{"site": {"nowhere"}}), body(path, url.Values{"site": {"yard"}}))
	}
	unknown := client.Post(t.Context(), api.DevicePath(events.Source{Site: "nowhere", Device: "x"})+"/revoke", api.Revocation{Reason: "x"}, nil)
	foreign := client.Post(t.Context(), api.DevicePath(yard.Source)+"/revoke", api.Revocation{Reason: "x"}, nil)
	require.ErrorIs(t, unknown, api.ErrNotFound)
	require.ErrorIs(t, foreign, api.ErrNotFound)

	var devices api.Devices
	_, err = client.Get(t.Context(), api.PathDevices, nil, &devices)
	require.NoError(t, err)
	require.Len(t, devices.Devices, 1)
	var known api.People
	_, err = client.Get(t.Context(), api.PathPeople, nil, &known)
	require.NoError(t, err)
	var ids []string
	for _, p := range known.People {
		ids = append(ids, p.Person)
	}
	require.ElementsMatch(t, []string{mill.Person, all.Person}, ids)
}

// A stranger learns whether the hub is well, and no more; metrics are elsewhere.
func TestStrangers(t *testing.T) {
	c := openCompany(t, nil)
	resp, err := http.Get(c.hub.HTTPURL() + api.PathHealth)
	require.NoError(t, err)
	defer resp.Body.Close()
	lines := bufio.NewScanner(resp.Body)
	var text string
	for lines.Scan() {
		text += strings.TrimSpace(lines.Text())
	}
	require.Equal(t, `{"ok": true}`, text)
	var full api.Health
	_, err = c.local.Get(t.Context(), api.PathHealth, nil, &full)
	require.NoError(t, err)
	require.False(t, full.At.IsZero())
	for _, path := range []string{api.PathWalls, api.PathAlerts, api.PathRefused, api.PathWatch, api.PathPeople, api.PathDevices} {
		_, err := c.nobody().Get(t.Context(), path, nil, &struct{}{})
		require.ErrorIs(t, err, api.ErrSignIn, path)
	}
	_, err = c.nobody().Get(t.Context(), api.PathMetrics, nil, &struct{}{})
	require.ErrorIs(t, err, api.ErrNotFound)
	_, err = nats.Connect(c.hub.ClientURL())
	require.Error(t, err)
	info, err := os.Stat(c.hub.Socket())
	require.NoError(t, err)
	require.Equal(t, "Srw-------", fmt.Sprint(info.Mode()))
}
