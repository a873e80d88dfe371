package stream_test

import (
	"context"
	"net"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

func allListeners(dir string) stream.ServerConfig {
	return stream.ServerConfig{Dir: dir, Client: "127.0.0.1:0", Websocket: "127.0.0.1:-1", MQTT: ":0", Monitor: "127.0.0.1:0"}
}

func TestServerListensOnLoopbackUnlessTold(t *testing.T) {
	srv := startServerOn(t, stream.ServerConfig{Dir: t.TempDir(), Client: ":0", Websocket: ":0", MQTT: ":0", Monitor: ":0"})
	for _, at := range []string{srv.ClientURL(), srv.WebsocketURL(), "mqtt://" + srv.MQTTAddr(), srv.MonitorURL()} {
		u, err := url.Parse(at)
		require.NoError(t, err)
		require.Equal(t, "127.0.0.1", u.Hostname(), at)
		c, err := net.Dial("tcp", u.Host)
		require.NoError(t, err, at)
		require.NoError(t, c.Close())
	}
}

func TestServerAddressesOff(t *testing.T) {
	srv := startServerOn(t, stream.ServerConfig{Dir: t.TempDir()})
	require.Empty(t, srv.ClientURL())
	require.Empty(t, srv.WebsocketURL())
	require.Empty(t, srv.MQTTAddr())
	require.Empty(t, srv.MonitorURL())
	st := openStream(t, connectHub(t, srv)) // in process
	publish(t, connectHub(t, srv), 5)
	require.Len(t, readAll(t, st), 5)
}

func TestServerRefusesABadConfiguration(t *testing.T) {
	for want, cfg := range map[string]stream.ServerConfig{
		"Dir is empty":       {},
		`Client "4222"`:      {Dir: t.TempDir(), Client: "4222"},
		`Websocket "a:b"`:    {Dir: t.TempDir(), Websocket: "a:b"},
		`MQTT ":70000"`:      {Dir: t.TempDir(), MQTT: ":70000"},
		`Monitor "x:y:z"`:    {Dir: t.TempDir(), Monitor: "x:y:z"},
		`Websocket ":-2"`:    {Dir: t.TempDir(), Websocket: ":-2"},
		"/dev/null/the-dir:": {Dir: "/dev/null/the-dir"},
	} {
		_, err := stream.StartServer(cfg, nil)
		require.ErrorContains(t, err, want)
	}
}

// A port that is taken is said at once, not after the time to get ready.
func TestServerSaysThatAPortIsTaken(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	_, err = stream.StartServer(stream.ServerConfig{Dir: t.TempDir(), Client: l.Addr().String(), Ready: time.Hour}, testLog(t))
	require.ErrorContains(t, err, "address already in use")
}

func TestServerGoesOnWhereItStopped(t *testing.T) {
	dir := t.TempDir()
	srv := startServer(t, dir)
	hub := connectHub(t, srv)
	openStream(t, hub)
	publish(t, hub, 7)
	hub.Close()
	srv.Stop()
	srv.Stop()
	srv = startServer(t, dir)
	require.Len(t, readAll(t, openStream(t, connectHub(t, srv))), 7)
}

// A client without a name may take part, but neither change the stream nor
// speak for the hub.
func TestServerKeepsTheHubsRights(t *testing.T) {
	r := run(t)
	publish(t, r.hub, 3)
	denied := make(chan error, 20)
	anyone, err := nats.Connect(r.srv.ClientURL(), nats.Timeout(patience), nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { denied <- err }))
	require.NoError(t, err)
	defer anyone.Close()

	st, err := stream.Open(testContext(t), anyone, stream.Config{})
	require.NoError(t, err, "a client may find and read the stream")
	require.Len(t, readAll(t, st), 3)
	_, _, err = stream.PublishOne(testContext(t), anyone, "pour.a.w.pour.started", []byte("x"), "")
	require.NoError(t, err, "a client may publish")

	for _, subject := range []string{
		"$JS.API.STREAM.UPDATE.POURS", "$JS.API.STREAM.DELETE.POURS", "$JS.API.STREAM.PURGE.POURS", "$JS.API.STREAM.CREATE.OTHER",
		"$JS.API.STREAM.MSG.DELETE.POURS", "receipt.a.phone", "alert.a.w", "told.a.phone", "$MQTT.sess.x",
	} {
		require.NoError(t, anyone.Publish(subject, nil))
		require.ErrorContains(t, <-denied, `Permissions Violation for Publish to "`+subject+`"`)
	}
	_, err = anyone.SubscribeSync("ask.receipt.>")
	require.NoError(t, err)
	require.ErrorContains(t, <-denied, `Permissions Violation for Subscription to "ask.receipt.>"`)
}

func mqttClient(t testing.TB, srv *stream.Server, set func(*mqtt.ClientOptions)) mqtt.Client {
	t.Helper()
	o := mqtt.NewClientOptions().AddBroker("tcp://" + srv.MQTTAddr()).SetClientID("probe-7").SetAutoReconnect(false)
	if set != nil {
		set(o)
	}
	c := mqtt.NewClient(o)
	wait(t, c.Connect())
	t.Cleanup(func() { c.Disconnect(0) })
	return c
}

func wait(t testing.TB, token mqtt.Token) {
	t.Helper()
	require.True(t, token.WaitTimeout(patience), "no answer from the MQTT listener")
	require.NoError(t, token.Error())
}

// A reading that an MQTT client publishes lands in the same stream under the
// subject that the topic says, with its exact body.
func TestMQTTPublishArrives(t *testing.T) {
	srv := startServerOn(t, allListeners(t.TempDir()))
	st := openStream(t, connectHub(t, srv))
	e := testEvent("probe-7", "w1")
	e.ID, e.Kind = "r-1", "temperature.read"
	c := 21.5
	e.Data = &events.TemperatureRead{Place: "top", Celsius: &c}
	body, err := e.Encode()
	require.NoError(t, err)

	client := mqttClient(t, srv, nil)
	for qos := range byte(2) {
		wait(t, client.Publish("pour/a/w1/temperature/read", qos, false, body))
	}
	all := waitFor(t, st, 2)
	for _, m := range all {
		require.Equal(t, "pour.a.w1.temperature.read", m.Subject)
		require.Equal(t, string(body), string(m.Body))
		require.Empty(t, m.Signature)
		_, err := events.Decode(m.Subject, m.Body)
		require.NoError(t, err)
	}
}

// An MQTT client can listen too: a statement reaches it at QoS 1.
func TestMQTTSubscribe(t *testing.T) {
	srv := startServerOn(t, allListeners(t.TempDir()))
	hub := connectHub(t, srv)
	openStream(t, hub)
	client := mqttClient(t, srv, nil)
	got := make(chan string, 1)
	wait(t, client.Subscribe("pour/a/+/window/stated", 1, func(_ mqtt.Client, m mqtt.Message) { got <- m.Topic() + " " + string(m.Payload()) }))
	_, _, err := stream.PublishOne(testContext(t), hub, "pour.a.w1.window.stated", []byte("said"), "")
	require.NoError(t, err)
	require.Equal(t, "pour/a/w1/window/stated said", <-got)
}

func TestWebsocketPublishArrives(t *testing.T) {
	srv := startServerOn(t, allListeners(t.TempDir()))
	st := openStream(t, connectHub(t, srv))
	page := dial(t, srv.WebsocketURL())
	seq, dup, err := stream.PublishOne(testContext(t), page, "pour.a.w1.pour.started", []byte("from a page"), "sig")
	require.NoError(t, err)
	require.False(t, dup)
	m := waitFor(t, st, 1)[0]
	require.Equal(t, seq, m.Seq)
	require.Equal(t, "pour.a.w1.pour.started", m.Subject)
	require.Equal(t, "from a page", string(m.Body))
}

// Which web pages may open a websocket: those of the origins given, or none but
// the listener's own. A program sends no origin.
func TestWebsocketOrigins(t *testing.T) {
	from := func(srv *stream.Server, origin string) error {
		nc, err := nats.Connect(srv.WebsocketURL(), nats.Timeout(patience), nats.WebSocketConnectionHeadersHandler(func() (http.Header, error) {
			return http.Header{"Origin": {origin}}, nil
		}))
		if err == nil {
			nc.Close()
		}
		return err
	}
	cfg := allListeners(t.TempDir())
	closed := startServerOn(t, cfg)
	require.Error(t, from(closed, "http://elsewhere.example"))
	require.NoError(t, from(closed, "http://"+strings.TrimPrefix(closed.WebsocketURL(), "ws://")))

	cfg = allListeners(t.TempDir())
	cfg.Origins = []string{"http://hub.example"}
	open := startServerOn(t, cfg)
	require.NoError(t, from(open, "http://hub.example"))
	require.Error(t, from(open, "http://elsewhere.example"))
}

// A message over the server's greatest size never reaches the stream, is told
// to its publisher, and harms no other.
func TestMessageTooLarge(t *testing.T) {
	r := run(t)
	_, _, err := stream.PublishOne(testContext(t), r.hub, "pour.a.w1.pour.started", make([]byte, 10<<20), "")
	require.ErrorIs(t, err, nats.ErrMaxPayload)
	publish(t, r.hub, 1)
	require.Len(t, readAll(t, r.st), 1)
}

// waitFor reads until the stream has delivered n messages.
func waitFor(t testing.TB, st stream.Reader, n int) []stream.Message {
	t.Helper()
	ctx, cancel := context.WithTimeout(testContext(t), patience)
	defer cancel()
	var all []stream.Message
	err := st.Read(ctx, 0, stream.Limits{}, func(batch []stream.Message) error {
		all = append(all, batch...)
		if len(all) >= n {
			return errEnough
		}
		return nil
	})
	require.ErrorIs(t, err, errEnough)
	return all
}

func testEvent(device, wall string) events.Event {
	return events.Event{
		Source: events.Source{Site: "a", Device: device}, Kind: "pour.started", Wall: wall,
		Time: time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC), Data: &events.Moment{},
	}
}

// What is published one by one outlives a forged header: the consumer's own
// metadata counts.
func TestForgedHeadersDecideNothing(t *testing.T) {
	r := run(t)
	js, err := jetstream.New(dial(t, r.srv.ClientURL()))
	require.NoError(t, err)
	m := nats.NewMsg("pour.a.w1.pour.started")
	m.Header["Nats-Sequence"], m.Header["Nats-Subject"] = []string{"77"}, []string{"pour.b.w9.pour.finished"}
	m.Header["Nats-Time-Stamp"] = []string{"2001-01-01T00:00:00Z"}
	m.Header[stream.SignatureHeader] = []string{"one", "two"}
	m.Data = []byte("x")
	_, err = js.PublishMsg(testContext(t), m)
	require.NoError(t, err)
	got := readAll(t, r.st)[0]
	require.EqualValues(t, 1, got.Seq)
	require.Equal(t, "pour.a.w1.pour.started", got.Subject)
	require.WithinDuration(t, time.Now(), got.Recorded, time.Minute)
	require.Empty(t, got.Signature, "of two signatures neither counts")
	same, err := r.st.Message(testContext(t), 1)
	require.NoError(t, err)
	require.Equal(t, got, same)
}
