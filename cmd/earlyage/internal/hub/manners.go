package hub

import (
	"sync"
	"time"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
	"earlyage/projector/people"
)

const (
	// refusedMost is how many refused messages of a device are borne in a minute.
	refusedMost   = 60
	refusedWithin = time.Minute
	// shunnedFor is how long a device that sends more is kept out.
	shunnedFor = time.Minute
)

// manners keeps out, for a minute, a device whose messages are refused again and
// again: each costs the record a row, and the wall that it names a doubt.
//
// Only what is proven to come from a device counts against it: a message under its
// own probe subject, or one that bears the signature of its present key. Whoever
// writes another's name into a message does it no harm.
type manners struct {
	mu   sync.Mutex
	seen map[events.Source]*refusals // mu
	out  map[events.Source]time.Time // mu: until when
}

// refusals are those of one device within the minute that began with the first.
type refusals struct {
	from time.Time
	n    int
}

// add counts a refused message, and reports whether it was one too many.
func (m *manners) add(src events.Source, now time.Time) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.seen == nil {
		m.seen, m.out = map[events.Source]*refusals{}, map[events.Source]time.Time{}
	}
	r := m.seen[src]
	if r == nil || now.Sub(r.from) >= refusedWithin {
		r = &refusals{from: now}
		m.seen[src] = r
	}
	if r.n++; r.n <= refusedMost {
		return false
	}
	delete(m.seen, src)
	m.out[src] = now.Add(shunnedFor)
	return true
}

// shuns reports whether a device is kept out now.
func (m *manners) shuns(src events.Source, now time.Time) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	return now.Before(m.out[src])
}

// forget drops what is over.
func (m *manners) forget(now time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for src, r := range m.seen {
		if now.Sub(r.from) >= refusedWithin {
			delete(m.seen, src)
		}
	}
	for src, until := range m.out {
		if !now.Before(until) {
			delete(m.out, src)
		}
	}
}

// refusedSince counts what was refused after a sequence against its devices, ends
// the connections of those that send too much of it, and returns up to where it
// has looked. Of a great many it looks at the newest.
func (h *Hub) refusedSince(after uint64, register *people.Register) (upTo uint64, err error) {
	var rows []projector.RefusedRow
	var leaves []projector.Leaf
	err = h.projector.Read(func(v projector.View) error {
		upTo = v.Through()
		v.EachRefused(0, func(row projector.RefusedRow) bool {
			if row.Seq > after {
				rows = append(rows, row)
			}
			return row.Seq > after && len(rows) < refusedShown
		})
		for _, row := range rows {
			leaf, err := pictured{View: v}.kept(row.Seq)
			if err != nil {
				return err
			}
			leaves = append(leaves, leaf)
		}
		return nil
	})
	if err != nil {
		return after, err
	}
	now := time.Now()
	h.gate.manners.forget(now)
	for i, leaf := range leaves {
		src, ok := senderOf(register, leaf)
		if !ok || !h.gate.manners.add(src, now) {
			continue
		}
		h.log.Warn("device is kept out for a minute: its messages are refused again and again",
			"device", src.String(), "most", refusedMost, "field", rows[i].Field, "reason", rows[i].Reason)
		h.server.Disconnect(func(s events.Source) bool { return s == src })
	}
	return upTo, nil
}

// senderOf is the device that surely sent a message.
func senderOf(register *people.Register, leaf projector.Leaf) (src events.Source, ok bool) {
	if s, err := events.ParseSubject(leaf.Subject); err == nil && s.Probe != "" {
		return events.Source{Site: s.Site, Device: s.Probe}, true
	}
	src, _, _ = events.Peek(leaf.Body)
	d, ok := register.Device(src)
	if !ok {
		return src, false
	}
	key, ok := d.Current()
	return src, ok && stream.Verify(key.Ed25519(), leaf.Signature, leaf.Body)
}
