package wallpage

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/wall"
)

// Entry is one message on the timeline.
type Entry struct {
	Seq      uint64      `json:"seq"`
	Recorded face.Time   `json:"recorded"`
	Began    face.Time   `json:"began"` // when it happened, the device's clock corrected by its last known offset
	Ended    face.Time   `json:"ended"`
	Entered  face.Time   `json:"entered"`
	Kind     events.Kind `json:"kind"` // empty: it could not be read
	ID       string      `json:"id"`
	Device   string      `json:"device"`
	Number   uint64      `json:"number"` // the device's own; 0: it does not number
	By       string      `json:"by"`
	Signed   bool        `json:"signed"`
	Data     string      `json:"data"`          // as JSON
	Unit     string      `json:"unit,omitzero"` // of the number that answers an item of a check list; empty: there is none, or it is not sure
	Of       uint64      `json:"of"`            // the entry that this one changes, countersigns, settles or answers; 0: none
	Changes  []Change    `json:"changes"`       // made to this entry
	Waits    bool        `json:"waits"`         // both versions count, until a second person has countersigned
	Doubts   []string    `json:"doubts"`
	Subject  string      `json:"subject"`
	Refused  string      `json:"refused"` // why
	Field    string      `json:"field"`   // of what is refused
	Repeat   uint64      `json:"repeat"`  // the message that it repeats

	Shifts []face.Shift `json:"shifts,omitzero"` // of a statement: what it says otherwise than the one before
	Alarm  *face.Alarm  `json:"-"`               // of an alert that was raised: all that became of it, as among the page's alarms
}

// Change is what a later entry did to an earlier one.
type Change = face.Change

// Kinds of entries that change others.
const (
	kindAmended       events.Kind = "record.amended"
	kindVoided        events.Kind = "record.voided"
	kindCountersigned events.Kind = "record.countersigned"
	kindSettled       events.Kind = "doubt.settled"
)

// changeOf reads what an entry does to another: its target, or the message.
func changeOf(d events.Data) (target events.Target, message uint64, reason string) {
	switch d := d.(type) {
	case *events.RecordAmended:
		return d.Target, 0, d.Reason
	case *events.RecordVoided:
		return d.Target, 0, d.Reason
	case *events.RecordCountersigned:
		return d.Target, 0, d.Note
	case *events.DoubtSettled:
		return d.Target, d.Message, d.Reason
	}
	return events.Target{}, 0, ""
}

// timelineOf lists every message in the order in which it became known.
func timelineOf(in Input) []Entry {
	out := make([]Entry, 0, len(in.Messages))
	place, seqs := map[events.Target]int{}, map[uint64]int{}
	for i := range in.Messages {
		m := &in.Messages[i]
		out = append(out, entryOf(m))
		seqs[m.Seq] = i
		if m.Refused == nil && m.Repeat == 0 && m.Event.Kind != "" {
			place[events.Target{Source: m.Event.Source.String(), ID: m.Event.ID}] = i
		}
	}
	for i := range in.Messages {
		m := &in.Messages[i]
		target, message, reason := changeOf(m.Event.Data)
		if m.Refused != nil || m.Repeat != 0 || target == (events.Target{}) && message == 0 {
			continue
		}
		at, ok := place[target]
		if message != 0 {
			at, ok = seqs[message]
		}
		if ok {
			out[i].Of = out[at].Seq
			out[at].Changes = append(out[at].Changes, changeBy(m, reason))
		}
	}
	seconded(out, seqs)
	measuredIn(in, out, seqs)
	stated(in.Messages, out)
	raised(in, out)
	marks(in.Wall, out, place, seqs)
	return out
}

func changeBy(m *Message, reason string) Change {
	c := Change{Seq: m.Seq, Kind: m.Event.Kind, By: m.Event.By, At: face.Time{Time: m.Recorded}, Reason: reason}
	if d, ok := m.Event.Data.(*events.RecordAmended); ok {
		c.Data = string(d.Data)
	}
	return c
}

// seconded puts beside a change who countersigned it.
func seconded(out []Entry, seqs map[uint64]int) {
	for i := range out {
		for j := range out[i].Changes {
			c := &out[i].Changes[j]
			for _, by := range out[seqs[c.Seq]].Changes {
				if c.Kind != kindCountersigned && by.Kind == kindCountersigned {
					c.Second = append(c.Second, face.Second{Seq: by.Seq, By: by.By, At: by.At, Note: by.Reason})
				}
			}
		}
	}
}

// shifting are the members of a statement that are news.
var shifting = []string{"open", "state", "governs", "cured_at", "earliest", "early", "likely", "late"}

// stated says of each statement of the hub what it says otherwise than the one
// before.
func stated(messages []Message, out []Entry) {
	var before map[string]string
	for i := range messages {
		m := &messages[i]
		if _, ok := m.Event.Data.(*events.WindowStated); !ok || m.Refused != nil || m.Repeat != 0 {
			continue
		}
		now := map[string]string{}
		for _, x := range members([]byte(out[i].Data)) {
			now[x.name] = string(x.value)
		}
		for _, name := range shifting {
			if before != nil && before[name] != now[name] {
				out[i].Shifts = append(out[i].Shifts, face.Shift{Member: name, Was: before[name], Is: now[name]})
			}
		}
		before = now
	}
}

// raised puts beside each alert what became of it, and says of the messages about
// an alert of which.
func raised(in Input, out []Entry) {
	alarms := map[string]*face.Alarm{}
	for _, a := range alarmsOf(in) {
		alarms[a.ID] = &a
	}
	at := map[string]int{}
	for i := range in.Messages {
		m := &in.Messages[i]
		d, ok := m.Event.Data.(*events.AlertRaised)
		if !ok || m.Refused != nil || m.Repeat != 0 {
			continue
		}
		if _, again := at[d.Alert]; !again {
			at[d.Alert] = i
			out[i].Alarm = alarms[d.Alert]
		}
	}
	for i := range in.Messages {
		if on, ok := at[alertOf(in.Messages[i].Event.Data)]; ok && on != i {
			out[i].Of = out[on].Seq
		}
	}
}

// alertOf is the alert that a message is about; of one that tells of several none.
func alertOf(d events.Data) string {
	switch d := d.(type) {
	case *events.AlertCleared:
		return d.Alert
	case *events.AlertTold:
		if len(d.Alerts) == 1 {
			return d.Alerts[0]
		}
	}
	return wall.AnswerTo(d)
}

func entryOf(m *Message) Entry {
	e := Entry{Seq: m.Seq, Recorded: face.Time{Time: m.Recorded}, Signed: m.Signed, Repeat: m.Repeat, Subject: m.Subject, Changes: []Change{}, Doubts: []string{}}
	if m.Refused != nil {
		e.Refused, e.Field, e.ID = m.Refused.Reason, m.Refused.Field, m.Refused.ID
		e.Device = strings.TrimPrefix(m.Refused.Source, "/site/"+m.Refused.Site+"/device/")
	}
	if m.Event.Kind == "" {
		src, id, number := events.Peek(m.Body)
		e.ID, e.Device, e.Number = id, src.Device, number
		return e
	}
	began, ended := m.Event.Span()
	offset := time.Duration(0)
	if m.Event.HasOffset {
		offset = m.Event.ClockOffset
	}
	e.Began, e.Ended, e.Entered = face.Time{Time: began.Add(offset)}, face.Time{Time: ended.Add(offset)}, face.Time{Time: m.Event.Time.Add(offset)}
	e.Kind, e.ID, e.Device, e.Number, e.By = m.Event.Kind, m.Event.ID, m.Event.Source.Device, m.Event.Sequence, m.Event.By
	if data, err := events.EncodeData(m.Event.Data); err == nil {
		e.Data = string(data)
	}
	return e
}

// marks puts what the fold says of entries beside them: open doubts, and what
// waits for a second person.
func marks(w *wall.State, out []Entry, place map[events.Target]int, seqs map[uint64]int) {
	for _, d := range w.Doubts() {
		i, ok := seqs[d.Message]
		if d.Message == 0 {
			i, ok = place[events.Target{Source: d.Key.Source, ID: d.Key.ID}]
		}
		if ok {
			out[i].Doubts = append(out[i].Doubts, d.What)
		}
	}
	for _, e := range w.Entries() {
		if i, ok := seqs[e.Seq]; ok && (e.Maybe || len(e.Versions) > 1) {
			out[i].Waits = true
		}
	}
}

// Voided reports whether an entry was taken out.
func (e Entry) Voided() bool { return e.changed(kindVoided) }

// Amended reports whether an entry was replaced.
func (e Entry) Amended() bool { return e.changed(kindAmended) }

func (e Entry) changed(by events.Kind) bool {
	return slices.ContainsFunc(e.Changes, func(c Change) bool { return c.Kind == by })
}

// Run is entries that stand together on the timeline: one, or the readings of
// one device between two other entries.
type Run struct {
	Entries []Entry
}

// runs puts the readings of each device together.
func runs(list []Entry) []Run {
	var out []Run
	open := map[string]int{}
	for _, e := range list {
		plain := e.Kind == "temperature.read" && e.By == "" && e.Refused == "" && e.Repeat == 0 && len(e.Changes) == 0 && len(e.Doubts) == 0
		if !plain {
			out, open = append(out, Run{[]Entry{e}}), map[string]int{}
			continue
		}
		if i, ok := open[e.Device]; ok {
			out[i].Entries = append(out[i].Entries, e)
			continue
		}
		open[e.Device] = len(out)
		out = append(out, Run{[]Entry{e}})
	}
	slices.SortStableFunc(out, func(a, b Run) int { return cmp.Compare(a.Entries[0].Seq, b.Entries[0].Seq) })
	return out
}
