package wallpage

import (
	"slices"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler/checks"
)

// units finds the unit of an item of a check list as the record had it at a
// message.
type units struct {
	in      Input
	changed []int64 // when a change of a list was recorded, Unix ms
	lists   map[uint64][]checks.Change
}

func unitsOf(in Input) *units {
	u := &units{in: in, lists: map[uint64][]checks.Change{}}
	in.Site.After(0, 0, func(k events.Kind, recorded int64) {
		if k == "checklist.amended" {
			u.changed = append(u.changed, recorded)
		}
	})
	return u
}

// listed are the site's changes of its lists as they counted at a message.
func (u *units) listed(seq uint64) []checks.Change {
	if len(u.changed) == 0 {
		return nil
	}
	have, ok := u.lists[seq]
	if !ok {
		have = changesOf(u.in.Site.UpTo(seq))
		u.lists[seq] = have
	}
	return have
}

func changesOf(s *site.State) (out []checks.Change) {
	for _, c := range s.Checklist {
		out = append(out, checks.Change{List: c.List, Item: c.Item, Waive: c.Change == "waive", Unit: c.Unit})
	}
	return out
}

func (u *units) unit(seq uint64, d *events.CheckAnswered) (string, bool) {
	for _, i := range checks.Items(d.List, u.listed(seq)) {
		if i.ID == d.Item {
			return i.Unit, true
		}
	}
	return "", false
}

// of is the unit in which a message gives an answer's number: that of its item when
// the message was recorded. Where the item had another when the answer was entered
// on a device without a link, none is said.
func (u *units) of(m *Message, d *events.CheckAnswered) string {
	now, _ := u.unit(m.Seq, d)
	entered, recorded := m.Event.Time.Add(m.Event.ClockOffset).UnixMilli(), m.Recorded.UnixMilli()
	if !slices.ContainsFunc(u.changed, func(at int64) bool { return entered <= at && at <= recorded }) {
		return now
	}
	if then, there := u.unit(u.before(entered), d); there && then != now {
		return ""
	}
	return now
}

// before is the last message of the wall that was recorded by a moment.
func (u *units) before(at int64) (seq uint64) {
	for i := range u.in.Messages {
		if m := &u.in.Messages[i]; m.Recorded.UnixMilli() < at {
			seq = m.Seq
		}
	}
	return seq
}

// measuredIn puts beside each answer that is a number its unit, and beside what
// amends one. Where the two would differ the amendment has none.
func measuredIn(in Input, out []Entry, seqs map[uint64]int) {
	u := unitsOf(in)
	for i := range in.Messages {
		if d, ok := in.Messages[i].Event.Data.(*events.CheckAnswered); ok && d.Value != nil {
			out[i].Unit = u.of(&in.Messages[i], d)
		}
	}
	for i := range in.Messages {
		m := &in.Messages[i]
		d, ok := amendedAnswer(m)
		on, known := seqs[out[i].Of]
		if !ok || !known {
			continue
		}
		was, _ := in.Messages[on].Event.Data.(*events.CheckAnswered)
		if unit := u.of(m, d); was == nil || was.Value == nil || unit == out[on].Unit {
			out[i].Unit = unit
		}
		for j := range out[on].Changes {
			if c := &out[on].Changes[j]; c.Seq == m.Seq {
				c.Unit = out[i].Unit
			}
		}
	}
}

// amendedAnswer is the answer with a number that an amendment puts in the place of
// another.
func amendedAnswer(m *Message) (*events.CheckAnswered, bool) {
	a, ok := m.Event.Data.(*events.RecordAmended)
	if !ok || a.Kind != "check.answered" {
		return nil, false
	}
	data, err := events.DecodeData(a.Kind, a.Data)
	if err != nil {
		return nil, false
	}
	d, ok := data.(*events.CheckAnswered)
	return d, ok && d.Value != nil
}

// checkUnits gives the answers of the check lists the unit in which they were
// given; none where it was not always the same.
func (p *Page) checkUnits(in Input) {
	said := map[wall.CheckItem][]string{}
	for i := range in.Messages {
		m := &in.Messages[i]
		d, ok := m.Event.Data.(*events.CheckAnswered)
		if !ok {
			d, ok = amendedAnswer(m)
		}
		if ok && d.Value != nil && m.Refused == nil && m.Repeat == 0 {
			item := wall.CheckItem{List: d.List, Item: d.Item}
			said[item] = append(said[item], p.Timeline[i].Unit)
		}
	}
	for i := range p.Checks {
		c := &p.Checks[i]
		units := slices.Compact(said[wall.CheckItem{List: c.List, Item: c.Item}])
		switch {
		case len(c.Value) == 0 || len(units) == 0:
		case len(units) == 1:
			c.Unit = units[0]
		default:
			c.Unit = ""
		}
	}
}
