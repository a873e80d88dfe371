package hub_test

import (
	"fmt"
	"net"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/scheduler"
)

// elsewhere is a server that is not the hub's, and that goes away and comes back
// with what it has stored, under the same address.
type elsewhere struct {
	t       *testing.T
	options server.Options
	running *server.Server // nil: it is away
}

func runElsewhere(t *testing.T) *elsewhere {
	t.Helper()
	e := &elsewhere{t: t, options: server.Options{
		ServerName: "elsewhere", Host: "127.0.0.1", Port: -1, HTTPHost: "127.0.0.1", HTTPPort: -1,
		JetStream: true, StoreDir: t.TempDir(), SyncAlways: true, NoSigs: true, NoLog: true, AlwaysEnableNonce: true,
	}}
	e.comes()
	e.options.Port, e.options.HTTPPort = e.running.Addr().(*net.TCPAddr).Port, e.running.MonitorAddr().Port
	t.Cleanup(e.goes)
	return e
}

func (e *elsewhere) comes() {
	e.t.Helper()
	options := e.options
	var err error
	e.running, err = server.NewServer(&options)
	require.NoError(e.t, err)
	e.running.Start()
	require.True(e.t, e.running.ReadyForConnections(patience))
}

func (e *elsewhere) goes() {
	if e.running != nil {
		e.running.Shutdown()
		e.running.WaitForShutdown()
		e.running = nil
	}
}

// parted is a company with a server elsewhere, whose clock can be set forward, and
// on whose wall mill/a concrete was just placed.
type parted struct {
	*toldCompany
	server *elsewhere
	ahead  atomic.Int64 // ns
}

func openParted(t *testing.T) *parted {
	t.Helper()
	p := &parted{server: runElsewhere(t)}
	p.toldCompany = openTold(t, func(c *hub.Config) {
		c.NATS, c.Monitor = p.server.running.ClientURL(), "http://"+p.server.running.MonitorAddr().String()
		c.Clock = scheduler.NewReal(func() time.Time { return time.Now().Add(time.Duration(p.ahead.Load())) })
	})
	p.nc.Close() // of the foreman's phone: the web hook is what is counted
	p.say("wall.laid-out", "a", layout())
	p.say("pour.started", "a", &events.Moment{})
	top := 0.6
	p.say("lift.placed", "a", &events.LiftPlaced{FromM: new(0.0), ToM: new(6.0), TopM: &top})
	p.settle()
	return p
}

// closing is how far the clock has to be set for the joint to be closing by time
// alone: half of the last fifth of its limit, or of the last 15 minutes, is over.
func (p *parted) closing() int64 {
	p.t.Helper()
	var out api.Wall
	_, err := p.local.Get(p.t.Context(), api.WallPath("mill", "a"), nil, &out)
	require.NoError(p.t, err)
	require.Len(p.t, out.Wall.Joints, 1)
	limit := out.Wall.Joints[0].LimitMin
	return int64((limit - max(limit/5, 15)/2) * float64(time.Minute))
}

// told counts how often the web hook was told that the joint is closing.
func (p *parted) told() int {
	return p.out.had(&p.out.hooked, `"kind":"joint-closing"`, `"type":"earlyage.told.raised.v1"`)
}

// said counts the messages of the stream that raise the alert.
func (p *parted) said() (n int) {
	p.t.Helper()
	require.NoError(p.t, p.hub.Stored(func(m stream.Message) {
		if e, err := events.Decode(m.Subject, m.Body); err == nil {
			if d, ok := e.Data.(*events.AlertRaised); ok && d.Kind == scheduler.AlertJointClosing {
				n++
			}
		}
	}))
	return n
}

// health asks over the socket, where all of it is said.
func (p *parted) health() (status int, h api.Health) {
	p.t.Helper()
	resp, err := p.local.HTTP.Get(p.local.Hub + api.PathHealth)
	require.NoError(p.t, err)
	defer resp.Body.Close()
	require.NoError(p.t, json.UnmarshalRead(resp.Body, &h))
	return resp.StatusCode, h
}

// level waits until the hub is level with the stream.
func (p *parted) level() {
	p.t.Helper()
	p.eventually("level", func() bool {
		_, h := p.health()
		return h.Level
	})
	p.settle()
}

// once demands that the alert stands in the stream once and was told once.
func (p *parted) once() {
	p.t.Helper()
	p.level()
	p.eventually("published", func() bool { return p.said() > 0 })
	p.settle()
	require.Equal(p.t, 1, p.said())
	require.Equal(p.t, 1, p.told(), "told once")
}

// A hub whose server is away starts all the same: it says so, shows what it has as
// not level, records nothing, and hands on what becomes urgent. When the server
// comes it catches up.
func TestStartsWhileTheServerIsAway(t *testing.T) {
	p := openParted(t)
	closing := p.closing()
	p.stop()
	p.server.goes()
	p.ahead.Store(closing) // while it is down: a clock that jumps under it is a doubt of its own
	p.start()
	p.hub.LookAtRoutes()
	status, h := p.health()
	require.Equal(t, http.StatusServiceUnavailable, status)
	require.False(t, h.OK || h.Level)
	require.Contains(t, strings.Join(h.Problems, "; "), "the NATS server has not answered")
	var walls api.Walls
	_, err := p.local.Get(t.Context(), api.PathWalls, nil, &walls)
	require.NoError(t, err)
	require.Equal(t, []string{"mill/a"}, places(walls.Walls))
	require.False(t, walls.Level || walls.Walls[0].Strip.Open)
	require.Contains(t, p.text(p.token(p.id), "/walls/mill/a"), "NATS server has not answered")
	hold := encodedBody(t, made(p.id, "hold.placed", "a", &events.HoldPlaced{Hold: "h", Reason: "x"}))
	_, err = p.as(p.id).PostEvent(t.Context(), hold, p.id.Sign(hold))
	require.Equal(t, api.CodeUnavailable, code(err))
	require.ErrorContains(t, err, "the NATS server has not answered")

	p.eventually("handed on beside the stream", func() bool { return p.told() == 1 })
	p.server.comes()
	p.once()
	status, h = p.health()
	require.Equal(t, http.StatusOK, status, "%+v", h)
	_, err = p.as(p.id).PostEvent(t.Context(), hold, p.id.Sign(hold))
	require.NoError(t, err)
	require.Equal(t, 1, p.told())
}

// A server that comes and does not sync ends the hub, as it would have at its start.
func TestTheServerThatComesMustSync(t *testing.T) {
	p := openParted(t)
	p.stop()
	p.server.goes()
	ended := make(chan error, 1)
	go func() { ended <- hub.Run(t.Context(), p.cfg) }()
	p.server.options.SyncAlways = false
	p.server.comes()
	select {
	case err := <-ended:
		require.ErrorIs(t, err, stream.ErrNotSynced)
	case <-time.After(time.Minute):
		require.FailNow(t, "it goes on")
	}
}

// To know from where on it tells, a hub sees the stream once before anything else.
func TestFirstStartNeedsTheServer(t *testing.T) {
	s := runElsewhere(t)
	url, monitor := s.running.ClientURL(), "http://"+s.running.MonitorAddr().String()
	s.goes()
	_, err := hub.Start(t.Context(), hub.Config{Dir: t.TempDir(), NATS: url, Monitor: monitor, Log: logTo(t)})
	require.ErrorContains(t, err, "start the NATS server, then the hub")
}

// An alert that the stream did not take is told beside it, and when the stream is
// back it is published and told to nobody again: the hub going on, started anew
// while the stream is away, or started anew with it.
func TestToldBesideTheStream(t *testing.T) {
	returns := []func(p *parted){
		func(p *parted) { p.server.comes() },
		func(p *parted) {
			p.stop()
			p.start()
			p.hub.LookAtRoutes()
			p.server.comes()
		},
		func(p *parted) {
			p.stop()
			p.server.comes()
			p.start()
			p.hub.LookAtRoutes()
		},
	}
	hubs := make([]*parted, len(returns)) // side by side: it takes its time until a hub believes that its stream is away
	for i := range hubs {
		hubs[i] = openParted(t)
		hubs[i].server.goes()
		hubs[i].ahead.Store(hubs[i].closing())
	}
	for i, p := range hubs {
		p.eventually(fmt.Sprint("handed on beside the stream: ", i), func() bool { return p.told() == 1 })
	}
	for i, p := range hubs {
		returns[i](p)
	}
	for i, p := range hubs {
		t.Log("the stream is back: ", i)
		p.once()
	}
}
