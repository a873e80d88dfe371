package hub_test

import (
	"context"
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/cloudevents/sdk-go/v2/event"
	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/hub"
)

// wide lets a test ask as fast as it can.
var wide = hub.Limits{Requests: door.Limits{Address: 1e6, AddressBurst: 1e6, Account: 1e6, AccountBurst: 1e6, Tries: 1e6, TriesBurst: 1e6}}

// start runs a hub on free ports of loopback until the test ends. Devices need
// no identity there.
func start(t *testing.T, change func(*hub.Config)) *hub.Hub {
	t.Helper()
	cfg := hub.Config{
		Dir: t.TempDir(), Client: "127.0.0.1:0", Websocket: "127.0.0.1:0", MQTT: "127.0.0.1:0", HTTP: "127.0.0.1:0",
		Metrics: "127.0.0.1:0", Unsigned: true, Limits: wide, Synchronised: func() bool { return true }, Log: logTo(t),
	}
	if change != nil {
		change(&cfg)
	}
	h, err := hub.Start(t.Context(), cfg)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, h.Stop()) })
	return h
}

func settle(t *testing.T, h *hub.Hub) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	require.NoError(t, h.Settle(ctx))
}

func get[T any](t *testing.T, h *hub.Hub, path string) T {
	t.Helper()
	var out T
	_, err := api.Client{Hub: h.HTTPURL(), HTTP: &http.Client{}}.Get(t.Context(), path, nil, &out)
	require.NoError(t, err)
	return out
}

// foreign makes an event with the CloudEvents SDK, as another program would.
func foreign(t *testing.T, id, source, kind, wall, by string, data map[string]any) []byte {
	t.Helper()
	e := event.New()
	e.SetID(id)
	e.SetSource(source)
	e.SetType("earlyage." + kind + ".v1")
	if wall != "" {
		e.SetSubject(wall)
	}
	e.SetTime(time.Now())
	if by != "" {
		e.SetExtension("by", by)
	}
	require.NoError(t, e.SetData(event.ApplicationJSON, data))
	body, err := e.MarshalJSON()
	require.NoError(t, err)
	return body
}

// Any client of NATS or MQTT can take part: its events are folded like our own,
// and what is not acceptable is listed with its reason and stops nothing.
func TestForeignClients(t *testing.T) {
	h := start(t, nil)

	plain, err := nats.Connect(h.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer plain.Close()
	publish(t, plain, "pour.mill.a.wall.laid-out", foreign(t, "laid-1", "/site/mill/device/planner", "wall.laid-out", "a", "",
		map[string]any{"length_m": 6, "height_m": 2.4, "core_mm": 150}))
	publish(t, plain, "pour.mill._.site.opened", foreign(t, "site-1", "/site/mill/device/planner", "site.opened", "", "p-1",
		map[string]any{"name": "The Mill", "zone": "Europe/Oslo"}))

	web, err := nats.Connect(h.WebsocketURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer web.Close()
	publish(t, web, "pour.mill.a.hold.placed", foreign(t, "hold-1", "/site/mill/device/page", "hold.placed", "a", "p-2",
		map[string]any{"hold": "h-1", "reason": "engineer to look"}))

	// An MQTT acknowledgement says nothing of the stream. What a NATS client has
	// been handed stands in the stream before what it publishes next.
	arrived, err := plain.SubscribeSync("pour.mill.b.>")
	require.NoError(t, err)
	require.NoError(t, plain.Flush())
	probe := mqttClient(t, h.MQTTAddr())
	mqttPublish(t, probe, "pour/mill/b/temperature/read", foreign(t, "read-1", "/site/mill/device/probe", "temperature.read", "b", "",
		map[string]any{"place": "top", "celsius": 11.5}))
	mqttPublish(t, probe, "pour/mill/b/temperature/read", foreign(t, "read-2", "/site/mill/device/probe", "temperature.read", "b", "",
		map[string]any{"place": "top", "celsius": 900}))
	for range 2 {
		_, err := arrived.NextMsg(patience)
		require.NoError(t, err)
	}
	publish(t, plain, "pour.mill.c.wall.laid-out", foreign(t, "astray", "/site/mill/device/planner", "wall.laid-out", "a", "",
		map[string]any{"length_m": 6, "height_m": 2.4, "core_mm": 150}))
	publish(t, plain, "pour.mill.a.lift.placed", []byte("no JSON at all"))
	settle(t, h)

	walls := get[api.Walls](t, h, api.PathWalls)
	require.Equal(t, []string{"mill/a", "mill/b"}, places(walls.Walls), "the wall that only a refused event names is not shown")
	require.Equal(t, []face.Site{{Site: "mill", Name: "The Mill", Zone: "Europe/Oslo", Units: "si"}}, walls.Sites)
	hold := criterion(t, walls.Walls[0], "hold")
	require.Contains(t, hold.Note, "engineer to look", "the event over the websocket")
	require.Contains(t, hold.Note, "message", "the refused event is a doubt on the wall")

	alerts := get[api.Alerts](t, h, api.PathAlerts)
	refused := map[string]string{}
	for _, r := range alerts.Refused {
		refused[r.ID+" "+r.Field] = r.Reason
	}
	require.Len(t, refused, 3, "%v", refused)
	require.Contains(t, refused["read-2 data.celsius"], "-50..100")
	require.Contains(t, refused["astray subject"], "pour.mill.a.wall.laid-out")
	require.Contains(t, refused, " body")
}

// What the hub says is read back by the CloudEvents SDK.
func TestForeignReader(t *testing.T) {
	h := start(t, nil)
	nc, err := nats.Connect(h.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	publish(t, nc, "pour.mill.a.wall.laid-out", foreign(t, "laid-1", "/site/mill/device/planner", "wall.laid-out", "a", "",
		map[string]any{"length_m": 6, "height_m": 2.4, "core_mm": 150}))
	publish(t, nc, "pour.mill.a.lift.placed", foreign(t, "lift-1", "/site/mill/device/planner", "lift.placed", "a", "",
		map[string]any{"from_m": 0, "to_m": 6, "top_m": 0.6}))
	settle(t, h)

	js, err := jetstream.New(nc)
	require.NoError(t, err)
	cons, err := js.OrderedConsumer(t.Context(), "POURS", jetstream.OrderedConsumerConfig{FilterSubjects: []string{"pour.mill.a.window.stated"}})
	require.NoError(t, err)
	msg, err := cons.Next(jetstream.FetchMaxWait(patience))
	require.NoError(t, err)
	var e event.Event
	require.NoError(t, e.UnmarshalJSON(msg.Data()))
	require.NoError(t, e.Validate())
	require.Equal(t, "earlyage.window.stated.v1", e.Type())
	require.Equal(t, "/site/mill/device/hub", e.Source())
	require.Equal(t, "a", e.Subject())
	var data struct {
		Open    bool   `json:"open"`
		Governs string `json:"governs"`
	}
	require.NoError(t, e.DataAs(&data))
	require.False(t, data.Open)
	require.Equal(t, "complete", data.Governs)
}

func publish(t *testing.T, nc *nats.Conn, subject string, body []byte) {
	t.Helper()
	js, err := jetstream.New(nc)
	require.NoError(t, err)
	_, err = js.Publish(t.Context(), subject, body)
	require.NoError(t, err, "publish %s", subject)
}

func mqttClient(t *testing.T, addr string) mqtt.Client {
	t.Helper()
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("probe-1").SetConnectTimeout(patience))
	token := c.Connect()
	require.True(t, token.WaitTimeout(patience))
	require.NoError(t, token.Error())
	t.Cleanup(func() { c.Disconnect(0) })
	return c
}

func mqttPublish(t *testing.T, c mqtt.Client, topic string, body []byte) {
	t.Helper()
	token := c.Publish(topic, 1, false, body)
	require.True(t, token.WaitTimeout(patience))
	require.NoError(t, token.Error())
}

func places(walls []face.Wall) []string {
	var out []string
	for _, w := range walls {
		out = append(out, w.Place())
	}
	return out
}

func criterion(t *testing.T, w face.Wall, name string) face.Criterion {
	t.Helper()
	for _, c := range w.Strip.Criteria {
		if c.Name == name {
			return c
		}
	}
	require.FailNow(t, fmt.Sprintf("wall %s has no criterion %s", w.Place(), name))
	return face.Criterion{}
}
