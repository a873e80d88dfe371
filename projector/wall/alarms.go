package wall

import (
	"cmp"
	"slices"

	"earlyage/events"
)

// Alarm is one alert that was raised, and what became of it.
type Alarm struct {
	ID, Kind, Cause, Priority, Text string
	Since                           int64 // Unix ms
	RaisedSeq, ClearedSeq           uint64
	ClearedAt                       int64
	Acknowledged                    int64 // Unix ms; 0: not
	AcknowledgedBy                  string
	ShelvedUntil                    int64  // Unix ms; 0: not
	LastSeq                         uint64 // the last word of the hub on this kind and cause
}

// Stands reports whether the alarm was not cleared.
func (a Alarm) Stands() bool { return a.ClearedSeq == 0 }

// Statement is the last that the hub said of the window.
type Statement struct {
	Seq uint64
	ID  string
	events.WindowStated
}

// Alarms folds the alert events of a book. Only what the hub itself said counts
// for raising and clearing, in the order of the stream.
func (b *Book) Alarms() []Alarm {
	var words []*Fact
	for _, f := range b.facts {
		switch f.Data.(type) {
		case *events.AlertRaised, *events.AlertCleared, *events.AlertAcknowledged, *events.AlertShelved:
			words = append(words, f)
		}
	}
	slices.SortFunc(words, func(x, y *Fact) int { return cmp.Compare(x.Seq, y.Seq) })
	byID := map[string]*Alarm{}
	var order []*Alarm
	for _, f := range words {
		order = foldAlarm(byID, order, f)
	}
	out := make([]Alarm, len(order))
	for i, a := range order {
		out[i] = *a
	}
	slices.SortFunc(out, func(x, y Alarm) int { return cmp.Or(cmp.Compare(x.RaisedSeq, y.RaisedSeq), cmp.Compare(x.ID, y.ID)) })
	return out
}

func foldAlarm(byID map[string]*Alarm, order []*Alarm, f *Fact) []*Alarm {
	switch d := f.Data.(type) {
	case *events.AlertRaised:
		if f.Trusted && byID[d.Alert] == nil {
			a := &Alarm{ID: d.Alert, Kind: d.Kind, Cause: d.Cause, Priority: d.Priority, Text: d.Text,
				Since: d.Since.UnixMilli(), RaisedSeq: f.Seq, LastSeq: f.Seq}
			byID[d.Alert] = a
			return append(order, a)
		}
	case *events.AlertCleared:
		if a := byID[d.Alert]; f.Trusted && a != nil && a.ClearedSeq == 0 {
			a.ClearedSeq, a.ClearedAt, a.LastSeq = f.Seq, d.At.UnixMilli(), f.Seq
		}
	case *events.AlertAcknowledged:
		if a := byID[d.Alert]; a != nil && a.Acknowledged == 0 {
			a.Acknowledged, a.AcknowledgedBy = f.Time.UnixMilli(), f.By
		}
	case *events.AlertShelved:
		if a := byID[d.Alert]; a != nil {
			a.ShelvedUntil = d.Until.UnixMilli()
		}
	}
	return order
}

// said finds the hub's last statement in the order of the stream. One that was
// made without knowing the statement before it does not count: two hubs side by
// side then say one thing, and whoever has more to say says it again.
func (b *Book) said() (Statement, bool) {
	var list []*Fact
	for _, f := range b.facts {
		if _, ok := f.Data.(*events.WindowStated); ok && f.Trusted {
			list = append(list, f)
		}
	}
	slices.SortFunc(list, func(x, y *Fact) int { return cmp.Compare(x.Seq, y.Seq) })
	var last Statement
	for _, f := range list {
		if d := f.Data.(*events.WindowStated); d.Preceding >= last.Seq {
			last = Statement{Seq: f.Seq, ID: f.ID, WindowStated: *d}
		}
	}
	return last, last.Seq != 0
}
