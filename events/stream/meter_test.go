package stream_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events/stream"
)

// drawNATS draws what a client sends: whole lines, some with bodies that look
// like lines themselves.
func drawNATS(t *rapid.T) (sent []byte, messages int) {
	for range rapid.IntRange(1, 20).Draw(t, "messages") {
		body := rapid.SampledFrom([]string{"", "x", "PUB a 3\r\nabc\r\n", strings.Repeat("PING\r\n", 200), "\n\n\n"}).Draw(t, "body")
		sent = append(sent, rapid.SampledFrom([]string{
			fmt.Sprintf("PUB a.b %d\r\n%s\r\n", len(body), body),
			fmt.Sprintf("pub\ta.b  reply\t%d \r\n%s\r\n", len(body), body),
			fmt.Sprintf("HPUB a.b 12 %d\r\nNATS/1.0\r\n\r\n%s\r\n", 12+len(body), body),
			"PING\r\n", "SUB a 1\r\n", "UNSUB 1\r\n", "PONG\n",
		}).Draw(t, "line")...)
		messages++
	}
	return sent, messages
}

// countPieces counts in pieces of any size.
func countPieces(t *rapid.T, count func([]byte) int, sent []byte) (n int) {
	for len(sent) > 0 {
		k := rapid.IntRange(1, len(sent)).Draw(t, "piece")
		piece := bytes.Clone(sent[:k])
		n += count(piece)
		require.Equal(t, sent[:k], piece, "what is passed on was changed")
		sent = sent[k:]
	}
	return n
}

func TestNATSCounter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sent, messages := drawNATS(t)
		require.Equal(t, messages, countPieces(t, stream.NATSCounter(), sent))
	})
}

// frames puts bytes into masked frames of any size.
func frames(t *rapid.T, target string, sent []byte) (out []byte, pings int) {
	out = []byte("GET " + target + " HTTP/1.1\r\nHost: a\r\nUpgrade: websocket\r\n\r\n")
	for len(sent) > 0 {
		k := rapid.IntRange(1, len(sent)).Draw(t, "frame")
		out = append(out, frame(t, 0x82, sent[:k])...)
		sent = sent[k:]
		if rapid.Bool().Draw(t, "ping") {
			out = append(out, frame(t, 0x89, []byte("PUB a 0\r\n\r\n"))...)
			pings++
		}
	}
	return out, pings
}

func frame(t *rapid.T, first byte, body []byte) []byte {
	out := []byte{first}
	switch {
	case len(body) < 126:
		out = append(out, 0x80|byte(len(body)))
	case len(body) > math.MaxUint16 || rapid.Bool().Draw(t, "long"):
		out = binary.BigEndian.AppendUint64(append(out, 0x80|127), uint64(len(body)))
	default:
		out = binary.BigEndian.AppendUint16(append(out, 0x80|126), uint16(len(body)))
	}
	mask := rapid.SliceOfN(rapid.Byte(), 4, 4).Draw(t, "mask")
	out = append(out, mask...)
	for i, b := range body {
		out = append(out, b^mask[i%4])
	}
	return out
}

// What a websocket's request can be for, by what the server then hears; that it
// does, TestServerHearsByThePath says.
var (
	natsTargets = []string{"/", "/mqtt/", "/?to=/mqtt", "/%6dqtt", "/mqtt%2f", "http://a/nats", "/mqttx", "/MQTT"}
	mqttTargets = []string{"/mqtt", "/a/mqtt", "/mqtt?x=1", "http://a/mqtt", "/mqtt?to=/nats"}
)

// Through a websocket the messages are counted as they are, by the protocol that
// the request's path asks for.
func TestWebsocketCounter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sent, messages := drawNATS(t)
		targets := natsTargets
		if rapid.Bool().Draw(t, "mqtt") {
			sent, messages = drawMQTT(t)
			targets = mqttTargets
		}
		out, pings := frames(t, rapid.SampledFrom(targets).Draw(t, "target"), sent)
		require.Equal(t, messages+pings, countPieces(t, stream.WebsocketCounter(), out))
	})
}

// Where the path is too long to be read, no message is overlooked.
func TestWebsocketCounterLongRequest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sent, messages := drawNATS(t)
		target := "/" + strings.Repeat("a", 9000)
		if rapid.Bool().Draw(t, "mqtt") {
			sent, messages = drawMQTT(t)
			target += "/mqtt"
		}
		out, pings := frames(t, target, sent)
		require.GreaterOrEqual(t, countPieces(t, stream.WebsocketCounter(), out), messages+pings)
	})
}

func drawMQTT(t *rapid.T) (sent []byte, packets int) {
	for range rapid.IntRange(1, 20).Draw(t, "packets") {
		body := make([]byte, rapid.SampledFrom([]int{0, 1, 127, 128, 20_000}).Draw(t, "size"))
		sent = append(sent, 0x30)
		sent = binary.AppendUvarint(sent, uint64(len(body)))
		sent = append(sent, body...)
		packets++
	}
	return sent, packets
}

func TestMQTTCounter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sent, packets := drawMQTT(t)
		require.Equal(t, packets, countPieces(t, stream.MQTTCounter(), sent))
	})
}

// Nothing that a stranger sends makes a counter panic.
func FuzzCounters(f *testing.F) {
	f.Add([]byte("PUB a 99999999999999999999\r\n"))
	f.Add([]byte("PUB a -1\r\n\r\n"))
	f.Add([]byte("\r\n\r\n\x82\xff\xff\xff\xff\xff\xff\xff\xff\xff\x00\x00\x00\x00abc"))
	f.Add([]byte("\x30\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\x7f"))
	f.Fuzz(func(t *testing.T, sent []byte) {
		for _, count := range []func([]byte) int{stream.NATSCounter(), stream.WebsocketCounter(), stream.MQTTCounter()} {
			n := count(bytes.Clone(sent[:len(sent)/2])) + count(bytes.Clone(sent[len(sent)/2:]))
			require.GreaterOrEqual(t, n, 0)
			require.LessOrEqual(t, n, 2*len(sent))
		}
	})
}
