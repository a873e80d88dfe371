package stream_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

func probeClient(srv *stream.Server, a stream.Admission, password string, set func(*mqtt.ClientOptions)) mqtt.Client {
	o := mqtt.NewClientOptions().AddBroker("tcp://" + srv.MQTTAddr()).SetAutoReconnect(false).SetConnectRetry(false).
		SetClientID(stream.MQTTClientID(a.Source)).SetUsername(a.Source.Site + "." + a.Source.Device).SetPassword(password)
	if set != nil {
		set(o)
	}
	return mqtt.NewClient(o)
}

// A probe publishes its own subject by MQTT; its password opens nothing else.
func TestGuardProbe(t *testing.T) {
	g := guard(t, func(c *stream.ServerConfig) { c.Websocket, c.MQTT = "127.0.0.1:0", "127.0.0.1:0" })
	a := g.reg.probe("a", "probe-7", "w1", "temperature.read")
	other := g.reg.probe("a", "probe-8", "w1", "temperature.read")
	c := probeClient(g.srv, a, "secret-of-probe-7", nil)
	wait(t, c.Connect())
	defer c.Disconnect(0)
	for _, topic := range []string{
		"probe/a/probe-7/w2/temperature/read", "probe/a/probe-7/w1/wind/read", "probe/a/probe-8/w1/temperature/read", "probe/b/probe-7/w1/temperature/read",
		"pour/a/w1/temperature/read", "alert/a/w1", "receipt/a/probe-7", "ask/receipt/a/probe-7", "$JS/API/STREAM/DELETE/POURS", "$MQTT/sess/x",
	} {
		wait(t, c.Publish(topic, 1, true, "forbidden")) // it is acknowledged; what counts is what is stored
	}
	wait(t, c.Publish("probe/a/probe-7/w1/temperature/read", 1, false, "reading"))
	require.Equal(t, []string{"probe.a.probe-7.w1.temperature.read"}, subjectsOf(t, g.st))
	require.Equal(t, "reading", string(waitFor(t, g.st, 1)[0].Body))
	for _, topic := range []string{"#", "pour/#", "probe/#", "alert/a/#", "probe/a/probe-7/w1/temperature/read"} {
		token := c.Subscribe(topic, 1, func(mqtt.Client, mqtt.Message) {})
		require.True(t, token.WaitTimeout(patience))
		require.EqualValues(t, 0x80, token.(*mqtt.SubscribeToken).Result()[topic], "a probe may hear %s", topic)
	}

	for name, refused := range map[string]mqtt.Client{
		"wrong password": probeClient(g.srv, a, "wrong", nil),
		"no password":    probeClient(g.srv, a, "", func(o *mqtt.ClientOptions) { o.SetUsername("").SetPassword("") }),
		"another's session": probeClient(g.srv, a, "secret-of-probe-7", func(o *mqtt.ClientOptions) {
			o.SetClientID(stream.MQTTClientID(other.Source))
		}),
	} {
		token := refused.Connect()
		require.True(t, token.WaitTimeout(patience), name)
		require.Error(t, token.Error(), name)
	}
	for _, url := range []string{g.srv.ClientURL(), g.srv.WebsocketURL()} {
		_, err := nats.Connect(url, nats.UserInfo("a.probe-7", "secret-of-probe-7"))
		require.Error(t, err, url)
	}
}

// A probe's last will is judged as what it publishes.
func TestGuardProbeWill(t *testing.T) {
	g := guard(t, func(c *stream.ServerConfig) { c.MQTT = "127.0.0.1:0" })
	for i, topic := range []string{"pour/b/w1/temperature/read", "probe/a/probe-1/w1/wind/read", "probe/a/probe-2/w1/temperature/read"} {
		a := g.reg.probe("a", fmt.Sprint("probe-", i), "", "temperature.read")
		c := probeClient(g.srv, a, "secret-of-"+a.Source.Device, func(o *mqtt.ClientOptions) { o.SetWill(topic, "will", 1, true) })
		wait(t, c.Connect())
		require.Equal(t, 1, g.srv.Disconnect(func(src events.Source) bool { return src == a.Source }))
	}
	require.Equal(t, "probe.a.probe-2.w1.temperature.read", waitFor(t, g.st, 1)[0].Subject)
	require.Len(t, readAll(t, g.st), 1)
}

// Disconnect ends what is connected, whatever it speaks, and nobody else.
func TestDisconnect(t *testing.T) {
	g := guard(t, func(c *stream.ServerConfig) { c.Websocket, c.MQTT = "127.0.0.1:0", "127.0.0.1:0" })
	gone, stays := g.reg.device(t, "a", "phone-1", events.Crew), g.reg.device(t, "a", "phone-2", events.Crew)
	a := g.reg.probe("a", "probe-7", "", "temperature.read")
	ended := make(chan string, 10)
	tell := func(what string) nats.Option {
		return nats.ClosedHandler(func(*nats.Conn) { ended <- what })
	}
	dialAs(t, g.srv.ClientURL(), gone, tell("nats"), nats.NoReconnect())
	dialAs(t, g.srv.WebsocketURL(), gone, tell("websocket"), nats.NoReconnect())
	rest, _ := dialAs(t, g.srv.ClientURL(), stays, tell("other"), nats.NoReconnect())
	c := probeClient(g.srv, a, "secret-of-probe-7", func(o *mqtt.ClientOptions) {
		o.SetConnectionLostHandler(func(mqtt.Client, error) { ended <- "mqtt" })
	})
	wait(t, c.Connect())
	n := g.srv.Disconnect(func(src events.Source) bool { return src == gone.Source || src == a.Source })
	require.Equal(t, 3, n)
	got := []string{<-ended, <-ended, <-ended}
	slices.Sort(got)
	require.Equal(t, []string{"mqtt", "nats", "websocket"}, got)
	require.NoError(t, rest.Flush())
	require.Zero(t, g.srv.Disconnect(func(src events.Source) bool { return src == gone.Source }))
	rest.Close()
}

// A device that is revoked while it is being let in is ended: Disconnect waits
// for every answer that the guard gave before.
func TestDisconnectWaitsForWhoIsBeingAdmitted(t *testing.T) {
	g := guard(t, nil)
	id := g.reg.device(t, "a", "phone-1", events.Crew)
	asked, goOn := make(chan struct{}), make(chan struct{})
	g.reg.onAsk(func(stream.Claim) {
		close(asked)
		<-goOn
	})
	own, err := id.Options()
	require.NoError(t, err)
	closed := make(chan struct{})
	tried := make(chan error, 1)
	go func() {
		nc, err := nats.Connect(g.srv.ClientURL(), append(own, nats.NoReconnect(), nats.Timeout(patience), nats.ClosedHandler(func(*nats.Conn) { close(closed) }))...)
		if err == nil {
			<-closed
			nc.Close()
		}
		tried <- err
	}()
	<-asked
	n := make(chan int, 1)
	go func() { n <- g.srv.Disconnect(func(events.Source) bool { return true }) }()
	select {
	case <-n:
		close(goOn)
		t.Fatal("it did not wait for the answer of the guard")
	case <-time.After(50 * time.Millisecond): // it waits; were it not to, it would be done by now
	}
	close(goOn)
	ended := <-n
	if err := <-tried; err != nil {
		return // it was ended before it heard that it was in
	}
	require.Equal(t, 1, ended)
}

// A device over its limit loses its oldest connection; others lose none.
func TestGuardConnectionsOfADevice(t *testing.T) {
	g := guard(t, func(c *stream.ServerConfig) { c.MaxPerDevice = 2 })
	id, other := g.reg.device(t, "a", "phone-1", events.Crew), g.reg.device(t, "a", "phone-2", events.Crew)
	ended := make(chan int, 10)
	open := func(i int, id stream.Identity) *nats.Conn {
		nc, _ := g.as(t, id, nats.NoReconnect(), nats.ClosedHandler(func(*nats.Conn) { ended <- i }))
		return nc
	}
	bystander := open(0, other)
	open(1, id)
	second := open(2, id)
	open(3, id)
	require.Equal(t, 1, <-ended)
	second.Close() // leaves room: the fourth ends nobody
	require.Equal(t, 2, <-ended)
	fourth := open(4, id)
	open(5, id)
	require.Equal(t, 3, <-ended)
	require.NoError(t, fourth.Flush())
	require.NoError(t, bystander.Flush())
	require.Empty(t, ended)
}

// A device that begins batches and ends none takes all the room that the server
// has for them: the others' outboxes go on without batches.
func TestGuardUnfinishedBatches(t *testing.T) {
	g := guard(t, nil)
	wild, _ := g.as(t, g.reg.device(t, "a", "wild", events.Crew))
	id := g.reg.device(t, "a", "calm", events.Crew)
	nc, _ := g.as(t, id)
	for i := range 100 {
		m := nats.NewMsg("pour.a.w1.pour.started")
		m.Header.Set("Nats-Batch-Id", fmt.Sprint("b", i))
		m.Header.Set("Nats-Batch-Sequence", "1")
		require.NoError(t, wild.PublishMsg(m))
	}
	require.NoError(t, wild.Flush())
	box, err := stream.OutboxConfig{Dir: t.TempDir(), Source: id.Source, Sign: id.Sign, Log: testLog(t)}.Open()
	require.NoError(t, err)
	defer func() { require.NoError(t, box.Close()) }()
	stop, err := stream.AnswerReceipts(g.hub, func(events.Source) (stream.Receipt, bool, error) {
		return stream.Receipt{At: testEvent("a", "b").Time}, false, nil
	})
	require.NoError(t, err)
	defer stop()
	_, err = box.AddAll(moments(5))
	require.NoError(t, err)
	_, err = stream.PublishBatch(testContext(t), nc, []stream.Post{{Subject: "pour.a.w1.pour.started"}, {Subject: "pour.a.w1.pour.started"}})
	require.ErrorContains(t, err, "server takes no such atomic batch", "the server has room for more batches than this test takes")
	require.NoError(t, box.Drain(testContext(t), nc))
	require.Len(t, readAll(t, g.st), 6)
}
