package hub

import (
	"bytes"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json/jsontext"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector"
)

// timeline answers with every message about a wall and what came of it, narrowed by
// ?kind= and by ?q=, words in its bytes.
func (w *web) timeline(rw http.ResponseWriter, r *http.Request) {
	ref := projector.Ref{Site: r.PathValue("site"), Wall: r.PathValue("wall")}
	page, err := pagingOf(r)
	var after uint64
	if err == nil {
		after, err = page.number()
	}
	var out api.Messages
	var list []message
	if err == nil {
		err = w.hub.look(w.sight(r), func(p pictured) (err error) {
			if p.Wall(ref) == nil {
				return errUnseen
			}
			out = api.Messages{Head: p.head(w.hub.demo), Site: ref.Site, Wall: ref.Wall, Messages: []api.Message{}}
			list, err = p.messages(ref)
			return err
		})
	}
	if err != nil {
		w.fail(rw, err)
		return
	}
	kind, words := r.FormValue("kind"), []byte(strings.ToLower(r.FormValue("q")))
	for _, m := range list {
		if m.Seq <= after || kind != "" && string(m.Kind) != kind || !bytes.Contains(bytes.ToLower(m.body), words) {
			continue
		}
		if page.limit > 0 && len(out.Messages) == page.limit {
			linkNext(rw, r, strconv.FormatUint(out.Messages[page.limit-1].Seq, 10))
			break
		}
		out.Messages = append(out.Messages, m.Message)
	}
	w.tagged(rw, r, &out, &out.At, nil)
}

// message is one of a wall's, with its bytes.
type message struct {
	api.Message
	key  events.Key
	body []byte
}

// messages lists what the record has of a wall: what stands under its name, and
// what else was refused and left a doubt there is among the wall's doubts.
func (p pictured) messages(ref projector.Ref) (list []message, err error) {
	first, replaced := map[events.Key]uint64{}, map[events.Key][]uint64{}
	err = p.Leaves(ref, func(l projector.Leaf) error {
		m := message{body: l.Body}
		m.Seq, m.Recorded = l.Seq, face.Time{Time: l.Recorded}
		if row, refused := p.RefusedAt(l.Seq); refused {
			m.Refused = &api.Refused{Field: row.Field, Reason: row.Reason}
		}
		e, err := events.Decode(l.Subject, l.Body)
		if err != nil {
			src, id, number := events.Peek(l.Body)
			m.ID, m.Device, m.Number = id, src.Device, number
			list = append(list, m)
			return nil
		}
		if err := m.read(e); err != nil {
			return fmt.Errorf("message %d of %s: %w", l.Seq, ref, err)
		}
		if m.Refused == nil {
			if m.Repeats = first[m.key]; m.Repeats == 0 {
				first[m.key] = m.Seq
			}
			if key, ok := replaces(e.Data); ok && m.Repeats == 0 {
				replaced[key] = append(replaced[key], m.Seq)
			}
		}
		list = append(list, m)
		return nil
	})
	doubts := map[uint64][]string{}
	for _, d := range p.Wall(ref).Doubts() {
		seq := d.Message
		if seq == 0 {
			seq = first[d.Key]
		}
		doubts[seq] = append(doubts[seq], d.What)
	}
	for i := range list {
		m := &list[i]
		m.Doubts = doubts[m.Seq]
		if m.Refused == nil && m.Repeats == 0 {
			m.ReplacedBy = replaced[m.key]
		}
	}
	return list, err
}

// read takes what an event says.
func (m *message) read(e events.Event) (err error) {
	m.key, m.ID, m.Kind, m.Device, m.By, m.Number = e.Key(), e.ID, e.Kind, e.Source.Device, e.By, e.Sequence
	m.Entered = e.Time
	m.Began, m.Ended = e.Span()
	m.Data, err = events.EncodeData(e.Data)
	return err
}

// replaces gives the event in whose place one stands.
func replaces(d events.Data) (key events.Key, ok bool) {
	switch d := d.(type) {
	case *events.RecordAmended:
		return d.Target.Key(), true
	case *events.RecordVoided:
		return d.Target.Key(), true
	}
	return key, false
}

// wire answers with a wall's events as their devices sent them, one to a line, in
// the order of the stream: what counts, each once.
func (w *web) wire(rw http.ResponseWriter, r *http.Request) {
	ref := projector.Ref{Site: r.PathValue("site"), Wall: r.PathValue("wall")}
	var out bytes.Buffer
	err := w.hub.look(w.sight(r), func(p pictured) error {
		if p.Wall(ref) == nil {
			return errUnseen
		}
		list, err := p.messages(ref)
		for _, m := range list {
			if m.Refused != nil || m.Repeats != 0 {
				continue
			}
			line := jsontext.Value(bytes.Clone(m.body))
			if bytes.ContainsAny(line, "\r\n") { // JSON has line breaks between its tokens only
				if err := line.Compact(); err != nil {
					return fmt.Errorf("message %d of %s: %w", m.Seq, ref, err)
				}
			}
			out.Write(line)
			out.WriteByte('\n')
		}
		return err
	})
	if err != nil {
		w.fail(rw, err)
		return
	}
	rw.Header().Set("Content-Type", "application/x-ndjson")
	rw.Header().Set("Cache-Control", "no-store")
	within(rw)
	if _, err := rw.Write(out.Bytes()); err != nil {
		w.hub.log.Debug("answer not read to its end", "error", err)
	}
}
