package stream

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"io"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"earlyage/events"
)

// meter measures the messages of a device over all its connections.
type meter struct {
	source events.Source
	limit  *rate.Limiter
	users  int // under the front's mu
	under  int // messages on their way into the stream; under the turns' mu

	mu  sync.Mutex
	day *allowance
}

// take takes from the day's measure.
func (m *meter) take(now time.Time, bytes, messages int) (ok, began bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.day.take(now, bytes, messages)
}

// full reports that the device has all of its measures.
func (m *meter) full(now time.Time) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.limit.TokensAt(now) >= float64(m.limit.Burst()) && m.day.full(now)
}

// counter counts the messages in what a client sends, piece by piece. It may
// count more than the server will find, never less: what the server would not
// take for a message ends the connection.
type counter interface {
	count(b []byte) int
}

// natsCounter counts the lines of the NATS protocol that ask for something, but
// skips bodies.
type natsCounter struct {
	line []byte
	skip int // bytes of a body that are still to come
}

// natsLine is more than a line may have: the server ends who sends more.
const natsLine = 8 << 10

func (c *natsCounter) count(b []byte) (n int) {
	for len(b) > 0 {
		if c.skip > 0 {
			k := min(c.skip, len(b))
			c.skip -= k
			b = b[k:]
			continue
		}
		line, rest, ended := bytes.Cut(b, []byte{'\n'})
		if room := natsLine - len(c.line); room > 0 {
			c.line = append(c.line, line[:min(room, len(line))]...)
		}
		if b = rest; !ended {
			return n
		}
		c.skip = bodyOf(string(c.line))
		c.line = c.line[:0]
		n++
	}
	return n
}

// bodyOf returns how many bytes follow a line, the line end after them included.
func bodyOf(line string) int {
	word := strings.FieldsFunc(line, func(r rune) bool { return r == ' ' || r == '\t' || r == '\r' })
	if len(word) < 2 || !strings.EqualFold(word[0], "PUB") && !strings.EqualFold(word[0], "HPUB") {
		return 0
	}
	size, err := strconv.Atoi(word[len(word)-1])
	if err != nil || size < 0 {
		return 0
	}
	return size + len("\r\n")
}

// mqttCounter counts the packets of MQTT.
type mqttCounter struct {
	head  bool // the first byte of a packet is read, its length not yet
	size  uint64
	shift uint
	skip  uint64 // bytes of the packet that are still to come
}

func (c *mqttCounter) count(b []byte) (n int) {
	for len(b) > 0 {
		switch {
		case c.skip > 0:
			k := min(c.skip, uint64(len(b)))
			c.skip -= k
			b = b[k:]
		case !c.head:
			*c = mqttCounter{head: true}
			b = b[1:]
			n++
		default:
			c.size |= uint64(b[0]&0x7f) << min(c.shift, 56)
			c.shift += 7
			if b[0]&0x80 == 0 {
				*c = mqttCounter{skip: c.size}
			}
			b = b[1:]
		}
	}
	return n
}

// websocketCounter counts the messages in the frames of a websocket, NATS or
// MQTT: the request's path says which one the server hears.
type websocketCounter struct {
	first []byte // the request's first line, until it is whole
	asked bool   // it is
	open  bool   // the request is over, frames follow
	line  int    // bytes of the request's line that is being read, without its end

	spoken protocol // speaksWebsocket: the first line was too long to tell

	head  []byte // of the frame that is being read
	mask  [4]byte
	skip  uint64 // bytes of the frame's body that are still to come
	place int    // in the mask
	data  bool   // the frame holds data, and not a ping or the end

	nats natsCounter
	mqtt mqttCounter
}

func (c *websocketCounter) count(b []byte) (n int) {
	for len(b) > 0 {
		switch {
		case !c.open:
			c.request(b[0])
			b = b[1:]
		case c.skip > 0:
			body := bytes.Clone(b[:min(c.skip, uint64(len(b)))])
			c.skip -= uint64(len(body))
			b = b[len(body):]
			n += c.body(body)
		default:
			c.head = append(c.head, b[0])
			b = b[1:]
			n += c.frame()
		}
	}
	return n
}

// requestLine is more than the first line of an honest request has.
const requestLine = 8 << 10

// request reads the first line, and looks for the empty line at the end of the
// request.
func (c *websocketCounter) request(b byte) {
	if !c.asked && len(c.first) <= requestLine {
		c.first = append(c.first, b)
	}
	if !c.asked && b == '\n' {
		c.spoken, c.first, c.asked = spokenAt(c.first), nil, true
	}
	switch b {
	case '\n':
		c.open, c.line = c.line == 0, 0
	case '\r':
	default:
		c.line++
	}
}

// spokenAt tells from the first line of a request what the server hears on the
// websocket: MQTT where the path ends in /mqtt, else NATS. It reads the line as
// the server does; where it cannot, the server refuses the request.
func spokenAt(line []byte) protocol {
	if len(line) > requestLine {
		return speaksWebsocket
	}
	r, err := http.ReadRequest(bufio.NewReader(io.MultiReader(bytes.NewReader(line), strings.NewReader("\r\n"))))
	if err == nil && strings.HasSuffix(r.URL.EscapedPath(), "/mqtt") {
		return speaksMQTT
	}
	return speaksNATS
}

// frame reads the head of a frame when it is whole. A frame that is not masked,
// or that is compressed, ends the connection.
func (c *websocketCounter) frame() int {
	h := c.head
	if len(h) < 2 {
		return 0
	}
	size, at := uint64(h[1]&0x7f), 2
	more := map[uint64]int{126: 2, 127: 8}[size]
	if len(h) < at+more+len(c.mask) {
		return 0
	}
	switch more {
	case 2:
		size = uint64(binary.BigEndian.Uint16(h[at:]))
	case 8:
		size = binary.BigEndian.Uint64(h[at:])
	}
	copy(c.mask[:], h[at+more:])
	c.skip, c.place, c.data, c.head = size, 0, h[0]&0x0f < 8, h[:0]
	if c.data {
		return 0
	}
	return 1 // a ping is answered: it counts
}

func (c *websocketCounter) body(b []byte) int {
	for i := range b {
		b[i] ^= c.mask[(c.place+i)%len(c.mask)]
	}
	c.place += len(b)
	if !c.data {
		return 0
	}
	switch c.spoken {
	case speaksNATS:
		return c.nats.count(b)
	case speaksMQTT:
		return c.mqtt.count(b)
	}
	return max(c.nats.count(b), c.mqtt.count(b))
}
