package stream_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

// siege is a guarded server with everything on, a victim, and an attacker who is a
// device of the same site.
type siege struct {
	guarded
	victim, evil *nats.Conn
}

func besiege(t testing.TB) siege {
	t.Helper()
	g := guard(t, func(c *stream.ServerConfig) {
		c.MQTT, c.Websocket, c.Front = "127.0.0.1:0", "127.0.0.1:0", &stream.FrontConfig{}
	})
	victim, _ := g.as(t, g.reg.device(t, "a", "victim", events.Foreman))
	evil, _ := g.as(t, g.reg.device(t, "a", "evil", events.Crew))
	return siege{g, victim, evil}
}

const ours = "pour.a.w1.pour.started"

// Headers that the stream or the server obey, sent by a device: none deletes,
// replaces, hides or reroutes a message, none has one stored elsewhere.
func TestAttackHeaders(t *testing.T) {
	s := besiege(t)
	_, _, err := stream.PublishOne(testContext(t), s.victim, ours, []byte("true"), "")
	require.NoError(t, err)
	heard, err := s.hub.SubscribeSync("pour.b.>")
	require.NoError(t, err)
	traced, err := s.hub.SubscribeSync("alert.>")
	require.NoError(t, err)
	require.NoError(t, s.hub.Flush())
	for name, h := range map[string]nats.Header{
		"rollup of the subject": {"Nats-Rollup": {"sub"}},
		"rollup of all":         {"Nats-Rollup": {"all"}},
		"age":                   {"Nats-TTL": {"1s"}},
		"schedule":              {"Nats-Schedule": {"@every 1s"}, "Nats-Schedule-Target": {"pour.b.w1.permit.issued"}},
		"schedule once":         {"Nats-Schedule": {"@at 2020-01-01T00:00:00Z"}, "Nats-Schedule-Target": {"pour.a.w1.permit.issued"}},
		"counter":               {"Nats-Incr": {"1"}},
		"subject and sequence":  {"Nats-Subject": {"pour.b.w1.permit.issued"}, "Nats-Sequence": {"1"}, "Nats-Stream": {"POURS"}},
		"trace":                 {"Nats-Trace-Dest": {"alert.a.w1"}},
		"trace only":            {"Nats-Trace-Dest": {"_INBOX.a.victim.x"}, "Nats-Trace-Only": {"true"}},
		"trace parent":          {"traceparent": {"00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01"}},
		"marker":                {"Nats-Marker-Reason": {"Purge"}, "KV-Operation": {"PURGE"}},
		"source":                {"Nats-Stream-Source": {"POURS 1 > > pour.b.w1.permit.issued"}},
		"expected":              {"Nats-Expected-Last-Subject-Sequence": {"1"}, "Nats-Expected-Last-Subject-Sequence-Subject": {"pour.b.>"}},
		"status":                {"Status": {"503"}},
		"request information":   {"Nats-Request-Info": {`{"acc":"$G","svc":"x"}`}, "Nats-Server-Xkey": {"x"}},
	} {
		m := &nats.Msg{Subject: ours, Data: []byte(name), Header: h}
		require.NoError(t, s.evil.PublishMsg(m))
		m.Reply = stream.InboxPrefix(events.Source{Site: "a", Device: "evil"}) + ".x"
		require.NoError(t, s.evil.PublishMsg(m))
	}
	_, _, err = stream.PublishOne(testContext(t), s.evil, ours, []byte("last"), "")
	require.NoError(t, err)
	all := readAll(t, s.st)
	require.Equal(t, "true", string(all[0].Body), "the first message is gone")
	first, last, err := s.st.Head(testContext(t))
	require.NoError(t, err)
	require.EqualValues(t, 1, first)
	require.Len(t, all, int(last), "a message was taken out")
	for _, m := range all {
		require.Equal(t, ours, m.Subject)
	}
	require.NoError(t, s.hub.Flush())
	for _, sub := range []*nats.Subscription{heard, traced} {
		n, _, err := sub.Pending()
		require.NoError(t, err)
		require.Zero(t, n, "a header reached %s", sub.Subject)
	}
}

// Message ids and batch ids are the stream's and not the device's: whoever knows
// one could suppress another's message or spoil its batch. They are not to be
// known: each is random, and no device hears another's.
func TestAttackForeignIDs(t *testing.T) {
	s := besiege(t)
	// All that the attacker may listen to, while the victim publishes.
	var subs []*nats.Subscription
	for _, subject := range []string{"alert.a.>", "receipt.a.evil", "told.a.evil", "_INBOX.a.evil.>"} {
		sub, err := s.evil.SubscribeSync(subject)
		require.NoError(t, err)
		subs = append(subs, sub)
	}
	require.NoError(t, s.evil.Flush())
	posts := []stream.Post{{Subject: ours, MsgID: stream.NewMsgID()}, {Subject: ours, MsgID: stream.NewMsgID()}}
	_, err := stream.PublishBatch(testContext(t), s.victim, posts)
	require.NoError(t, err)

	// Guesses of both: all kinds of short and of earlier ones.
	for i := range 100 {
		for _, id := range []string{fmt.Sprint(i), fmt.Sprintf("b%d", i), stream.NewMsgID()} {
			m := nats.NewMsg(ours)
			m.Header.Set("Nats-Msg-Id", id)
			m.Header.Set("Nats-Batch-Id", id)
			m.Header.Set("Nats-Batch-Sequence", "2")
			require.NoError(t, s.evil.PublishMsg(m))
		}
	}
	require.NoError(t, s.evil.Flush())
	for range 5 {
		posts := []stream.Post{{Subject: ours, MsgID: stream.NewMsgID()}, {Subject: ours, MsgID: stream.NewMsgID()}}
		_, err := stream.PublishBatch(testContext(t), s.victim, posts)
		require.NoError(t, err)
		_, dup, err := stream.PublishOne(testContext(t), s.victim, ours, []byte("x"), "")
		require.NoError(t, err)
		require.False(t, dup)
	}
	for _, sub := range subs {
		n, _, err := sub.Pending()
		require.NoError(t, err)
		require.Zero(t, n, "%s told the attacker something", sub.Subject)
	}
}

// The server shares what is imported among the members of a queue group of one
// name, whatever accounts they are in: who joins another's group takes from it. So
// no device may join any, and each hears every alert.
func TestAttackQueueGroups(t *testing.T) {
	s := besiege(t)
	nc, said := s.as(t, s.reg.device(t, "a", "evil-2", events.Crew))
	for _, subject := range []string{"alert.a.>", "receipt.a.evil-2", "told.a.evil-2", "_INBOX.a.evil-2.>"} {
		for _, group := range []string{"q", "a.b", ">", "*"} {
			_, err := nc.QueueSubscribeSync(subject, group)
			require.NoError(t, err)
			require.ErrorContains(t, next(t, said), "Permissions Violation for Subscription", "group %s on %s", group, subject)
		}
	}
	heard := map[string]*nats.Subscription{}
	for name, nc := range map[string]*nats.Conn{"victim": s.victim, "evil": s.evil} {
		sub, err := nc.SubscribeSync("alert.a.>")
		require.NoError(t, err)
		require.NoError(t, nc.Flush())
		heard[name] = sub
	}
	for i := range 50 {
		require.NoError(t, s.hub.Publish("alert.a.w1", []byte(fmt.Sprint(i))))
		for name, sub := range heard {
			m, err := sub.NextMsg(patience)
			require.NoError(t, err, "%s did not hear alert %d", name, i)
			require.Equal(t, fmt.Sprint(i), string(m.Data))
		}
	}
}

// Over MQTT: retained messages, wildcards, shared subscriptions, the server's own
// topics, a session that outlives its connection. A probe hears nothing, and
// leaves nothing behind that another hears.
func TestAttackMQTT(t *testing.T) {
	s := besiege(t)
	evil := s.reg.probe("a", "probe-evil", "w1", "temperature.read")
	other := s.reg.probe("a", "probe-7", "w1", "temperature.read")
	keep := func(o *mqtt.ClientOptions) { o.SetCleanSession(false) }
	c := probeClient(s.srv, evil, "secret-of-probe-evil", keep)
	wait(t, c.Connect())
	heard := make(chan string, 1000)
	hear := func(_ mqtt.Client, m mqtt.Message) { heard <- m.Topic() }
	topics := []string{
		"#", "+/+/+/+/+/+", "+/a/#", "probe/a/+/w1/temperature/read", "$share/g/probe/#", "$share/g/#", "$MQTT/#", "$MQTT/rmsgs/#", "$MQTT/sess/#",
		"$SYS/#", "$JS/API/#", "$JS/#", "_INBOX/#", "/#", "//#", "alert/a/w1", "receipt/a/victim", "probe/a/probe-evil/#",
	}
	for _, topic := range topics {
		for qos := range byte(2) {
			token := c.Subscribe(topic, qos, hear)
			require.True(t, token.WaitTimeout(patience))
			result := token.(*mqtt.SubscribeToken).Result() // the client leaves $share/g/ out of its keys
			require.Len(t, result, 1)
			for _, code := range result {
				require.EqualValues(t, 0x80, code, "a probe may hear %s", topic)
			}
		}
	}
	mine := "probe/a/probe-evil/w1/temperature/read"
	stored := 0
	for qos := range byte(3) {
		wait(t, c.Publish(mine, qos, true, fmt.Sprint("kept ", qos)))
		stored++
	}
	for _, topic := range []string{
		"$MQTT/sess/x", "$MQTT/rmsgs/x", "$MQTT/msgs/probe.a.probe-7.w1.temperature.read", "$MQTT/JSA/x", "$MQTT/qos2/in/x/1", "$MQTT/out/x",
		"probe/a/probe-7/w1/temperature/read", "probe//a/probe-evil/w1/temperature/read", "probe/a/probe-evil/w1//temperature/read", "$JS/API/STREAM/PURGE/$MQTT_sess",
		"$SYS/REQ/SERVER/PING", "pour/a/w1/permit/issued", "probe.a.probe-7.w1.temperature.read", "probe/a/probe-evil.w1.temperature.read/x",
	} {
		c.Publish(topic, 1, true, "forged").WaitTimeout(patience)
	}
	c2 := probeClient(s.srv, other, "secret-of-probe-7", keep)
	wait(t, c2.Connect())
	wait(t, c2.Publish("probe/a/probe-7/w1/temperature/read", 1, false, "reading"))
	stored++
	all := waitFor(t, s.st, stored)
	require.Len(t, readAll(t, s.st), stored)
	for _, m := range all {
		require.Contains(t, []string{"probe.a.probe-evil.w1.temperature.read", "probe.a.probe-7.w1.temperature.read"}, m.Subject)
		require.NotEqual(t, "forged", string(m.Body))
	}
	require.Empty(t, heard)
	c.Disconnect(0)
	c2.Disconnect(0)
}

// mqttConnect writes a CONNECT of MQTT 3.1.1 as it is given.
func mqttConnect(client, user, password string) []byte {
	var b bytes.Buffer
	text := func(s string) {
		_ = binary.Write(&b, binary.BigEndian, uint16(len(s)))
		b.WriteString(s)
	}
	text("MQTT")
	b.Write([]byte{4, 0xc2, 0, 60})
	text(client)
	text(user)
	text(password)
	return append(binary.AppendUvarint([]byte{0x10}, uint64(b.Len())), b.Bytes()...)
}

// Client ids that are huge, hold wildcards, or are another's, open no session.
func TestAttackClientIDs(t *testing.T) {
	s := besiege(t)
	a := s.reg.probe("a", "probe-7", "w1", "temperature.read")
	want := stream.MQTTClientID(a.Source)
	for name, client := range map[string]string{
		"huge": strings.Repeat("x", 65_000), "its own, longer": want + strings.Repeat("x", 60_000), "wildcard": "a/*", "all": ">", "empty": "",
		"another's": "a/probe-8", "a dot": "a.probe-7", "a null": want + "\x00", "a space": want + " ", "a line": want + "\r\nPUB x 0\r\n\r\n",
	} {
		conn, err := net.Dial("tcp", hostOf(t, s.srv.MQTTAddr()))
		require.NoError(t, err)
		_, err = conn.Write(mqttConnect(client, "a.probe-7", "secret-of-probe-7"))
		require.NoError(t, err)
		require.NoError(t, conn.SetReadDeadline(time.Now().Add(patience)))
		answer, err := io.ReadAll(conn)
		if err != nil {
			require.NotErrorIs(t, err, io.ErrUnexpectedEOF, name)
			var late net.Error
			require.False(t, errors.As(err, &late) && late.Timeout(), "%s: the connection stays", name)
		}
		if len(answer) >= 4 {
			require.NotZero(t, answer[3], "%s: let in", name)
		}
		require.NoError(t, conn.Close())
	}
	c := probeClient(s.srv, a, "secret-of-probe-7", nil)
	wait(t, c.Connect())
	c.Disconnect(0)
}

// What a device says of itself when it connects decides nothing: account, verbose,
// another's name, no echo, a JWT, headers switched off.
func TestAttackConnectOptions(t *testing.T) {
	s := besiege(t)
	for name, opts := range map[string][]nats.Option{
		"another's inbox": {nats.CustomInboxPrefix("_INBOX.a.victim")},
		"the hub's name":  {nats.Name("hub")},
		"no echo":         {nats.NoEcho()},
		"verbose":         {func(o *nats.Options) error { o.Verbose = true; return nil }},
	} {
		nc, said := s.as(t, s.reg.device(t, "a", "evil-2", events.Crew), append(opts, nats.NoReconnect())...)
		require.NoError(t, nc.Publish("pour.a.w1.permit.issued", nil), name)
		require.ErrorContains(t, next(t, said), "Permissions Violation", name)
		sub, err := nc.SubscribeSync("_INBOX.a.victim.>")
		require.NoError(t, err)
		require.ErrorContains(t, next(t, said), "Permissions Violation", name)
		_ = sub.Unsubscribe()
		nc.Close()
	}
	require.Empty(t, readAll(t, s.st))
}

// A device that sends nothing but what it may not does not fill the hub's log.
func TestAttackTheLog(t *testing.T) {
	said := &countingHandler{}
	reg := newRegister()
	srv, err := stream.StartServer(stream.ServerConfig{Dir: t.TempDir(), Client: "127.0.0.1:0", Guard: reg}, slog.New(said))
	require.NoError(t, err)
	defer srv.Stop()
	nc, _ := dialAs(t, srv.ClientURL(), reg.device(t, "a", "evil", events.Crew))
	for range 5000 {
		require.NoError(t, nc.Publish("pour.a.w1.permit.issued", nil))
	}
	require.NoError(t, nc.FlushTimeout(patience))
	nc.Close()
	srv.Stop()
	require.NotZero(t, said.of(slog.LevelError), "it is not said at all")
	require.Less(t, said.of(slog.LevelError), 10+int(2*patience.Seconds()))
}
