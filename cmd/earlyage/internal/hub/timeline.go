package hub

import (
	"bytes"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/projector"
	"earlyage/scheduler"
)

// timeline answers with every message about a wall and what came of it, narrowed by
// ?kind= and by ?q=; with ?as-of= as it stood then, by what was known then; with
// ?words=1 in words, the readings of one device together.
func (w *web) timeline(rw http.ResponseWriter, r *http.Request) {
	page, err := pagingOf(r)
	var after uint64
	if err == nil {
		after, err = page.number()
	}
	var out api.Messages
	var c wallpage.Chronicle
	if err == nil {
		out, c, err = w.chronicle(r)
	}
	if err != nil {
		w.fail(rw, err)
		return
	}
	out.Total = len(c.Entries)
	name := w.nameFor(r)
	worded := r.FormValue("words") == "1"
	list := c.Worded(words.Pick(r), name, r.FormValue("units"), wallpage.Filter{Kind: r.FormValue("kind"), Query: r.FormValue("q"), Single: !worded})
	if worded {
		shown := 0
		for _, x := range list {
			shown += x.Line.Count
		}
		out.Says = c.Head(words.Pick(r), shown)
	}
	for _, x := range list {
		if x.Seq <= after {
			continue
		}
		if page.limit > 0 && len(out.Messages) == page.limit {
			linkNext(rw, r, strconv.FormatUint(out.Messages[page.limit-1].Seq, 10))
			break
		}
		out.Messages = append(out.Messages, messageOf(x, worded, name))
	}
	w.tagged(rw, r, &out, &out.At, nil)
}

// chronicle reads a wall's timeline as it stands, or as it was known at ?as-of=.
func (w *web) chronicle(r *http.Request) (out api.Messages, c wallpage.Chronicle, err error) {
	ref := scheduler.Ref{Site: r.PathValue("site"), Wall: r.PathValue("wall")}
	out = api.Messages{Site: ref.Site, Wall: ref.Wall, Messages: []api.Message{}}
	if text := r.FormValue("as-of"); text != "" {
		at, err := w.moment(r, ref, text)
		if err != nil {
			return out, c, err
		}
		in, err := w.hub.wallAsOf(w.sight(r), ref, at)
		if err != nil {
			return out, c, err
		}
		c = wallpage.ChronicleOf(in)
		out.Head, out.AsOf, out.Window = headThen(in, w.hub.demo), face.Time{Time: at}, &c.Said
		return out, c, nil
	}
	err = w.hub.look(w.sight(r), func(p pictured) error {
		if p.Wall(projector.Ref(ref)) == nil {
			return errUnseen
		}
		in, err := p.input(ref, w.hub.demo)
		if err != nil {
			return err
		}
		out.Head, c = p.head(w.hub.demo), wallpage.ChronicleOf(in)
		return nil
	})
	return out, c, err
}

// moment reads a moment of a site: RFC 3339, or in the time of the site.
func (w *web) moment(r *http.Request, ref scheduler.Ref, text string) (time.Time, error) {
	zone, err := picturesOf{w.hub}.Zone(r.Context(), ref.Site)
	if err != nil {
		return time.Time{}, err
	}
	at, err := wallpage.ParseMoment(text, zone)
	if err != nil {
		return at, &events.Refusal{Field: "as-of", Value: text[:min(len(text), 40)], Allowed: "a moment, as 2026-06-01T09:00:00Z, or as 2026-06-01T11:00 in the time of the site"}
	}
	return at.UTC(), nil
}

// nameFor gives people's names to whom the hub knows, to others their ids.
func (w *web) nameFor(r *http.Request) func(person string) string {
	if !door.CallerOf(r.Context()).Known() {
		return func(person string) string { return person }
	}
	return w.hub.personName
}

// messageOf gives an entry as it is answered, in words where they are asked for.
func messageOf(x wallpage.Worded, worded bool, name func(person string) string) api.Message {
	e := x.Entry
	m := api.Message{
		Seq: e.Seq, Recorded: e.Recorded, Entered: e.Entered.Time, Began: e.Began.Time, Ended: e.Ended.Time, ID: e.ID, Kind: e.Kind, Device: e.Device, By: e.By,
		Number: e.Number, Signed: e.Signed, Repeats: e.Repeat, Of: e.Of, Changes: e.Changes,
		Waits: e.Waits, Shifts: e.Shifts, Alarm: e.Alarm,
	}
	if e.Data != "" { // of what could not be read there is none
		m.Data = jsontext.Value(e.Data)
	}
	if len(e.Doubts) > 0 {
		m.Doubts = e.Doubts
	}
	if who := name(e.By); who != e.By {
		m.Who = who
	}
	if e.Refused != "" {
		m.Refused = &api.Refused{Field: e.Field, Reason: e.Refused}
	}
	for _, c := range e.Changes {
		if c.Kind == "record.amended" || c.Kind == "record.voided" {
			m.ReplacedBy = append(m.ReplacedBy, c.Seq)
		}
	}
	if worded {
		m.Words = wordsOf(x)
	}
	return m
}

func wordsOf(x wallpage.Worded) *face.Entry {
	l := x.Line
	out := &face.Entry{
		Number: x.Seq, Count: l.Count, What: l.Kind.Text, Happened: l.Happened, Recorded: l.Recorded, Who: l.Who, Device: l.Device,
		Signature: l.Signature, Of: x.Of, Struck: l.Struck,
	}
	for _, f := range l.Facts {
		out.Facts = append(out.Facts, face.EntryFact(f))
	}
	for _, n := range l.Notes {
		text := n.Text
		if n.LinkText != "" {
			text += " (" + n.LinkText + ")"
		}
		out.Notes = append(out.Notes, text)
	}
	return out
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
		list, err := p.all(ref)
		for _, m := range list {
			if m.Refused != nil || m.Repeat != 0 {
				continue
			}
			line := jsontext.Value(bytes.Clone(m.Body))
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
