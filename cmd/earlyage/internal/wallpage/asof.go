package wallpage

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"time"

	"earlyage/events"
	"earlyage/projector"
	"earlyage/projector/people"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Messages reads leaves as the projector judged them: rows are what it refused,
// of these messages or of any others. They come out in the order of the stream.
func Messages(leaves []projector.Leaf, rows []projector.RefusedRow) []Message {
	refused := make(map[uint64]*projector.RefusedRow, len(rows))
	for i := range rows {
		refused[rows[i].Seq] = &rows[i]
	}
	out := make([]Message, 0, len(leaves))
	for _, l := range leaves {
		m := Message{Seq: l.Seq, Recorded: l.Recorded, Subject: l.Subject, Signed: l.Signature != "", Body: l.Body, Refused: refused[l.Seq]}
		if e, err := events.Decode(l.Subject, l.Body); err == nil {
			m.Event = e
		}
		out = append(out, m)
	}
	slices.SortStableFunc(out, func(a, b Message) int { return cmp.Compare(a.Seq, b.Seq) })
	first := map[events.Key]uint64{}
	for i := range out {
		m := &out[i]
		if m.Refused != nil || m.Event.Kind == "" {
			continue
		}
		if n := first[m.Event.Key()]; n != 0 {
			m.Repeat = n
		} else {
			first[m.Event.Key()] = m.Seq
		}
	}
	return out
}

// AsOf folds what was recorded of a site up to a moment, and assesses one wall at
// that moment. messages are all of the company, of the site itself and of each of
// its walls: the devices' numbers run through all of them. What the hub then knew
// of its own clock is not in the record and is not counted. The error wraps
// ErrNoWall where nothing was known of the wall yet.
func AsOf(messages []Message, ref scheduler.Ref, at time.Time) (Input, error) {
	f := folding{ref: ref, site: site.New(ref.Site), devices: site.NewDevices(ref.Site), wall: wall.New(ref.Site, ref.Wall), refused: map[events.Key][]*Message{}, rows: map[uint64]*projector.RefusedRow{}}
	in := Input{At: at, AsOf: true, Level: true}
	for i := range messages {
		m := &messages[i]
		if m.Recorded.After(at) {
			continue
		}
		in.Through = max(in.Through, m.Seq)
		f.take(m)
		if f.names(m) {
			in.Messages = append(in.Messages, *m)
		}
	}
	f.site.Add(f.ofSite...)
	f.wall.Add(f.ofWall...)
	if !f.wall.Known() {
		return Input{}, fmt.Errorf("wall %s/%s at %s: %w", ref.Site, ref.Wall, at.Format(time.RFC3339), ErrNoWall)
	}
	in.Site, in.Devices, in.Wall = f.site, f.devices, f.wall
	in.Sheet = scheduler.SheetOf(f.site, f.devices, f.wall, scheduler.Hub{}, at)
	return in, nil
}

// folding is a fold of one site in memory, of one of its walls.
type folding struct {
	ref            scheduler.Ref
	site           *site.State
	devices        *site.Devices
	wall           *wall.State
	ofSite, ofWall []wall.Fact
	refused        map[events.Key][]*Message
	rows           map[uint64]*projector.RefusedRow
}

// names reports whether a message is about the wall, or a doubt on it.
func (f *folding) names(m *Message) bool { return Names(*m, f.ref) }

// Names reports whether a message is about a wall, or names it and was refused.
func Names(m Message, ref scheduler.Ref) bool {
	at := projector.Ref{Site: ref.Site, Wall: ref.Wall}
	if m.Refused != nil {
		return slices.Contains(m.Refused.Doubts, at) || m.Refused.Site == ref.Site && m.Refused.Wall == ref.Wall
	}
	return m.Event.Source.Site == ref.Site && m.Event.Wall == ref.Wall
}

// take folds one message as the projector did.
func (f *folding) take(m *Message) {
	switch {
	case m.Refused != nil:
		f.refuse(m)
	case m.Repeat != 0 || m.Event.Kind == "":
	default:
		f.accept(m)
	}
}

func (f *folding) accept(m *Message) {
	e := m.Event
	fact := wall.Fact{Event: e, Seq: m.Seq, Recorded: m.Recorded.Truncate(time.Millisecond), Trusted: e.Kind.SchedulerOnly()}
	if d, ok := e.Data.(*events.DoubtSettled); ok && d.Message != 0 {
		if row := f.rows[d.Message]; row != nil {
			fact.Settles = wall.Run{Source: row.Source, Field: row.Field}
		}
	}
	for _, before := range f.refused[e.Key()] {
		if bytes.Equal(before.Body, m.Body) {
			f.doubt(before.Refused, wall.Refused{Seq: before.Seq, Instead: m.Seq})
		}
	}
	if e.Source.Site == f.ref.Site {
		f.devices.Add(fact)
	}
	switch {
	case people.IsIdentity(e.Kind):
	case e.Wall == "" && (e.Source.Site == f.ref.Site || e.Source.Site == scheduler.Company):
		f.ofSite = append(f.ofSite, fact)
	case e.Source.Site == f.ref.Site && e.Wall == f.ref.Wall:
		f.ofWall = append(f.ofWall, fact)
	}
}

// refuse puts the doubt where it was due, and holds the number of a message
// whose sender was not in question.
func (f *folding) refuse(m *Message) {
	row := m.Refused
	f.rows[m.Seq] = row
	f.doubt(row, wall.Refused{Seq: m.Seq, Recorded: row.Recorded, ID: row.ID, Source: row.Source, Field: row.Field, Reason: row.Reason})
	if m.Event.Kind == "" {
		return
	}
	f.refused[m.Event.Key()] = append(f.refused[m.Event.Key()], m)
	if src := m.Event.Source; m.Event.Sequence != 0 && src.Site == f.ref.Site && !slices.Contains([]string{"signature", "source", "by", "role"}, row.Field) {
		f.devices.Refuse(src.Device, m.Event.Sequence, m.Recorded)
	}
}

func (f *folding) doubt(row *projector.RefusedRow, r wall.Refused) {
	for _, at := range row.Doubts {
		switch at {
		case projector.Ref{Site: f.ref.Site, Wall: f.ref.Wall}:
			f.wall.AddRefused(r)
		case projector.Ref{Site: f.ref.Site}:
			f.site.AddRefused(r)
		}
	}
}
