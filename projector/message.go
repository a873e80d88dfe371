package projector

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"fmt"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector/people"
	"earlyage/projector/wall"
)

// item is one message on its way through the projector.
type item struct {
	seq      uint64
	recorded time.Time
	subject  string
	entry    []byte // as it is stored; the entries of a chunk lie one behind another
	leaf     []byte // a part of entry
	body     []byte // a part of leaf

	at     Ref // from the subject; Wall empty: the whole site
	placed bool
	probe  string // the device whose connection the subject proves; empty: a signature does
	named  Ref    // of a refused message: the wall that its body names beside

	event   events.Event
	trusted bool
	people  bool            // the hub's word on people and devices: the register has judged it
	refusal *events.Refusal // nil: acceptable by itself

	// As far as they can be read, also of a refused message.
	id     string
	source events.Source // an empty Device: not readable
	device string        // its device, if it is of the subject's own site
	number uint64        // of that device; 0: none

	// Set by the keep: the first message with this key. 0: it has no key.
	first   uint64
	other   bool // the first has other bytes
	firstAt Ref
	refused uint64 // the refused message that this one is, proven now; 0: none
}

func (it *item) fact() wall.Fact {
	return wall.Fact{Event: it.event, Seq: it.seq, Recorded: it.recorded, Trusted: it.trusted}
}

// reader turns messages into items. It is safe for concurrent use.
type reader struct {
	key        ed25519.PublicKey // the hub's
	demo       bool
	unsigned   bool   // no message needs a signature
	signedFrom uint64 // else: the first that does
}

// decode reads a batch on all processors and judges who says it. The batch
// follows on the messages that the register is of; the one returned is of the
// batch too. The items stand in the order of the messages, their bytes in arenas
// of their own.
//
// Verdicts depend on nothing but the messages before: the register is advanced
// in the order of the stream, between the reading and the verifying.
func (r reader) decode(batch []stream.Message, register *people.Register) ([]item, *people.Register) {
	items := r.readAll(batch)
	proofs, register := r.examineAll(items, batch, register)
	inChunks(len(items), func(from, to int) {
		for i := from; i < to; i++ {
			items[i].settle(&proofs[i], batch[i].Signature)
		}
	})
	return items, register
}

// readAll reads a batch and judges of each message what it shows by itself.
func (r reader) readAll(batch []stream.Message) []item {
	items := make([]item, len(batch))
	inChunks(len(batch), func(from, to int) { r.decodeChunk(batch[from:to], items[from:to]) })
	return items
}

const decodeChunk = 64

// inChunks calls f with all of n things, some at a time, on all processors.
func inChunks(n int, f func(from, to int)) {
	workers := min((n+decodeChunk-1)/decodeChunk, runtime.GOMAXPROCS(0))
	if workers <= 1 {
		f(0, n)
		return
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for {
				from := int(next.Add(1)-1) * decodeChunk
				if from >= n {
					return
				}
				f(from, min(from+decodeChunk, n))
			}
		})
	}
	wg.Wait()
}

func (r reader) decodeChunk(batch []stream.Message, items []item) {
	size := 0
	for i := range batch {
		size += len(batch[i].Body) + len(batch[i].Subject) + len(batch[i].Signature) + 48
	}
	arena := make([]byte, 0, size)
	for i := range batch {
		arena = r.read(&items[i], &batch[i], arena)
	}
}

func (r reader) read(it *item, m *stream.Message, arena []byte) []byte {
	it.seq, it.subject = m.Seq, m.Subject
	it.recorded = r.recorded(m)
	arena = it.keep(m.Signature, m.Body, arena)
	it.at, it.probe, it.placed = placeOf(m.Subject)
	it.event, it.refusal = decodeEvent(m.Subject, it.body)
	if it.refusal == nil {
		it.id, it.source, it.device, it.number = it.event.ID, it.event.Source, it.event.Source.Device, it.event.Sequence
		it.trusted, it.refusal = r.trust(it, m.Signature)
	} else {
		it.peek()
	}
	if it.refusal != nil && it.device == events.HubDevice {
		it.number = 0 // a stranger holds no number of the hub
	}
	return arena
}

// keep encodes the entry of the leaf into the arena: the only copy of the body
// that is made.
func (it *item) keep(signature string, body, arena []byte) []byte {
	start := len(arena)
	l := Leaf{it.seq, it.recorded, it.subject, signature, body}
	arena = appendEntry(arena, l)
	it.entry = arena[start:]
	it.leaf = it.entry[uvarintLen(uint64(l.size())) : len(it.entry)-4 : len(it.entry)-4]
	it.body = it.leaf[len(it.leaf)-len(body):]
	return arena
}

// key returns the sequence as keys are written.
func (it *item) key() []byte { return it.leaf[1:9] }

// follows reports whether the item's entry lies behind another one in the arena.
func (it *item) follows(before *item) bool {
	n := len(before.entry)
	return cap(before.entry) > n && &before.entry[:n+1][n] == &it.entry[0]
}

func (r reader) recorded(m *stream.Message) time.Time {
	if r.demo && m.DemoRecorded != "" {
		if t, err := time.Parse(time.RFC3339Nano, m.DemoRecorded); err == nil {
			return t.UTC().Truncate(time.Millisecond)
		}
	}
	return m.Recorded.UTC().Truncate(time.Millisecond)
}

// decodeEvent reads an event. A decoder that panics on a body is a defect, but
// one message must not stop every wall.
func decodeEvent(subject string, body []byte) (e events.Event, refusal *events.Refusal) {
	defer func() {
		if p := recover(); p != nil {
			e, refusal = events.Event{}, &events.Refusal{Field: "body", Allowed: "an event that can be read", Cause: fmt.Errorf("%v", p)}
		}
	}()
	e, err := events.Decode(subject, body)
	if err != nil && !errors.As(err, &refusal) {
		refusal = &events.Refusal{Field: "body", Allowed: "an event", Cause: err}
	}
	return e, refusal
}

// placeOf reads where a subject points, and whose connection it proves. Of one
// that is not an event's the site alone counts: by it NATS lets a device publish
// or not.
func placeOf(subject string) (at Ref, probe string, ok bool) {
	if sub, err := events.ParseSubject(subject); err == nil {
		return Ref{sub.Site, sub.Wall}, sub.Probe, true
	}
	kind, rest, _ := strings.Cut(subject, ".")
	site, _, _ := strings.Cut(rest, ".")
	if kind != "pour" && kind != "probe" || site != "_" && !events.IsToken(site) {
		return Ref{}, "", false
	}
	return Ref{Site: site}, "", true
}

// trust judges what the hub alone may say. What comes from its device must carry
// its signature in every record: an unsigned message with a guessed id could
// otherwise take the place of a statement or an alert.
func (r reader) trust(it *item, signature string) (bool, *events.Refusal) {
	e := &it.event
	hub := e.Source.Device == events.HubDevice
	switch {
	case e.Kind.SchedulerOnly() && !hub:
		return false, &events.Refusal{Field: "source", Value: e.Source.String(), Allowed: "the device " + events.HubDevice + ": it alone says " + string(e.Kind)}
	case hub && it.probe != "":
		return false, &events.Refusal{Field: "subject", Value: clip(it.subject, 60), Allowed: e.Subject() + ": the hub signs what it says"}
	case hub && !stream.Verify(r.key, signature, it.body):
		return false, &events.Refusal{Field: "signature", Value: clip(signature, 60), Allowed: "the hub's own signature, for all that comes from the device " + events.HubDevice}
	case e.Kind == "hole.accepted" && e.Source.Site != "_":
		return false, &events.Refusal{Field: "source", Value: e.Source.String(), Allowed: "/site/_/device/<device>: a hole in the stream concerns every site"}
	}
	return hub, nil
}

// reason says in words why a message was refused. The decoder's own words are
// left out: they differ from one process to the next, and the view must not.
func reason(r *events.Refusal) string {
	value := "nothing"
	if r.Value != "" {
		value = strconv.Quote(r.Value)
	}
	return clip(value+"; allowed: "+r.Allowed, 300)
}

func clip(s string, most int) string {
	if len(s) > most {
		return strings.ToValidUTF8(s[:most-3], "") + "..."
	}
	return strings.ToValidUTF8(s, "")
}

// peek reads id, source, number and wall of a body that was refused, as far as
// they can be read. A device may forget a refused event too, so its number must
// be held; and the wall that it is about is in doubt, whatever the subject says.
// Both count only within the subject's own site.
func (it *item) peek() {
	wall := ""
	dec := jsontext.NewDecoder(bytes.NewBuffer(it.body))
	if t, err := dec.ReadToken(); err != nil || t.Kind() != '{' {
		return
	}
	for dec.PeekKind() == '"' {
		t, err := dec.ReadToken()
		if err != nil {
			break
		}
		name := t.String()
		v, err := dec.ReadValue()
		if err != nil {
			break
		}
		switch name {
		case "id":
			it.id = readID(v)
		case "source":
			it.peekSource(v)
		case "sequence":
			it.number = readNumber(v)
		case "subject":
			wall, _ = readText(v)
		}
	}
	switch {
	case it.device == "":
		it.number = 0
	case events.IsToken(wall) && wall != it.at.Wall:
		it.named = Ref{it.at.Site, wall}
	}
}

func (it *item) peekSource(v jsontext.Value) {
	text, ok := readText(v)
	src, err := events.ParseSource(text)
	if !ok || err != nil {
		return
	}
	it.source = src
	if it.placed && src.Site == it.at.Site {
		it.device = src.Device
	}
}

func readText(v jsontext.Value) (string, bool) {
	if v.Kind() != '"' {
		return "", false
	}
	raw, err := jsontext.AppendUnquote(nil, v)
	return string(raw), err == nil
}

func readID(v jsontext.Value) string {
	s, _ := readText(v)
	if len(s) > 64 || strings.ContainsFunc(s, func(c rune) bool { return c <= ' ' || c > '~' }) {
		return ""
	}
	return s
}

func readNumber(v jsontext.Value) uint64 {
	s, quoted := readText(v)
	if !quoted {
		s = string(v)
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < 0 {
		return 0
	}
	return uint64(n)
}
