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
		if a := byID[d.Alert]; a.answeredBy(d.Kind) && a.Acknowledged == 0 {
			a.Acknowledged, a.AcknowledgedBy = f.Time.UnixMilli(), f.By
		}
	case *events.AlertShelved:
		if a := byID[d.Alert]; a.answeredBy(d.Kind) {
			a.ShelvedUntil = d.Until.UnixMilli()
		}
	}
	return order
}

// answeredBy reports whether an answer that names a kind of alert answers this
// one. Who may answer goes by the kind, so that an answer which names another is
// none; one without a kind is of the time before it was asked for.
func (a *Alarm) answeredBy(kind string) bool {
	return a != nil && (kind == "" || kind == a.Kind)
}

// said finds the hub's last statement in the order of the stream. Of two that
// cross, by two hubs side by side, the last counts too: it is what everybody who
// reads the stream takes for the hub's word.
func (b *Book) said() (Statement, bool) {
	var last *Fact
	for _, f := range b.facts {
		if _, ok := f.Data.(*events.WindowStated); ok && f.Trusted && (last == nil || f.Seq > last.Seq) {
			last = f
		}
	}
	if last == nil {
		return Statement{}, false
	}
	return Statement{Seq: last.Seq, ID: last.ID, WindowStated: *last.Data.(*events.WindowStated)}, true
}
