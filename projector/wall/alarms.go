package wall

import (
	"cmp"
	"encoding/binary"
	"maps"
	"slices"
	"sync/atomic"

	"earlyage/events"
)

// Statement is the last that the hub said of the window.
type Statement struct {
	Seq uint64
	ID  string
	events.WindowStated
}

// Words folds what the hub said, and who answered, in the order of the stream:
// the later word decides. Only what the hub itself said counts for raising,
// clearing, telling, stating and issuing. The zero Words is ready.
//
// One goroutine folds; what it gave out before it never changes.
type Words struct {
	book Book

	alarms []Alarm
	lent   atomic.Bool    // alarms were given out: a change begins with a copy
	index  map[string]int // of an alarm, by its id
	rests  []Rest         // the last of each kind and cause, in order
	stray  []stray        // told of alarms that were not raised here, the newest
	sheets map[SheetDay]uint64
	early  map[string][]*Fact // answers to alarms that are not raised yet, by alarm, in the order of the stream

	said    Statement
	hasSaid bool
	last    uint64 // stream sequence of the last word folded

	voided map[events.Key]*Fact // by the word that a void took back, the first void
	again  bool                 // one was: everything is folded again
}

// SheetDay names one sheet: which of them, and its local date.
type SheetDay struct{ Sheet, Date string }

// stray is what was told of an alarm that stands elsewhere, or is not raised yet.
type stray struct {
	alert string
	Telling
}

// Book returns where the words are put in.
func (w *Words) Book() *Book { return &w.book }

// Alarms returns the alerts ever raised, in the order of raising.
func (w *Words) Alarms() []Alarm { w.lent.Store(true); return w.alarms }

// Rests returns the kinds that are or were out of service.
func (w *Words) Rests() []Rest { return w.rests }

// Sheets returns the stream sequence of each sheet that was issued.
func (w *Words) Sheets() map[SheetDay]uint64 { return w.sheets }

// Strays returns what was told of alarms that were not raised here, by alert: one
// message may tell of the alarms of many walls.
func (w *Words) Strays() map[string][]Telling {
	out := map[string][]Telling{}
	for _, y := range w.stray {
		out[y.alert] = append(out[y.alert], y.Telling)
	}
	return out
}

// Settle folds on what came behind the rest, or everything again if a word is
// earlier in the stream than one that is folded, or was taken back since. Record is
// where the voids are kept.
func (w *Words) Settle(record *Book) {
	w.heed(record.resolved())
	fresh := w.book.fresh
	w.book.fresh, w.book.stale = nil, false
	if len(fresh) == 0 && !w.again {
		return
	}
	slices.SortFunc(fresh, compareSeqs)
	if w.again || fresh[0].Seq <= w.last {
		w.again = false
		fresh = w.inOrder()
		w.alarms, w.index, w.rests, w.stray, w.sheets, w.early = nil, nil, nil, nil, nil, nil
		w.said, w.hasSaid = Statement{}, false
		w.lent.Store(false)
	}
	if w.lent.Swap(false) {
		w.alarms = slices.Clone(w.alarms)
	}
	for _, f := range fresh {
		if w.book.facts[f.Key()] == f { // and not one with its key that was recorded before it
			w.hear(f)
		}
	}
	w.last = max(w.last, fresh[len(fresh)-1].Seq)
}

// heed finds the words that a void took back. More telling is the safe side: the
// void of an answer, of a shelving and of an out-of-service counts at once, whoever
// made it. That of any other word changes nothing, and stays visible.
func (w *Words) heed(c *Changes) {
	for key, list := range c.voided {
		f := w.book.facts[key]
		if f == nil || w.voided[key] != nil {
			continue
		}
		switch f.Kind {
		case "alert.acknowledged", "alert.shelved", "alert.out-of-service":
			if w.voided == nil {
				w.voided = map[events.Key]*Fact{}
			}
			w.voided[key], w.again = slices.MinFunc(list, compareSeqs), true
		}
	}
}

// Find returns the kind of a word.
func (w *Words) Find(k events.Key) (events.Kind, bool) {
	if f, ok := w.book.facts[k]; ok {
		return f.Kind, true
	}
	return "", false
}

func compareSeqs(x, y *Fact) int {
	return cmp.Or(cmp.Compare(x.Seq, y.Seq), cmp.Compare(x.Source.String(), y.Source.String()), cmp.Compare(x.ID, y.ID))
}

func (w *Words) inOrder() []*Fact {
	return slices.SortedFunc(maps.Values(w.book.facts), compareSeqs)
}

func (w *Words) hear(f *Fact) {
	if f.Trusted {
		w.hearHub(f)
	}
	if id := AnswerTo(f.Data); id != "" && w.alarm(id) == nil {
		// People may be told of it, and answer, before the stream has it.
		if w.early == nil {
			w.early = map[string][]*Fact{}
		}
		w.early[id] = append(w.early[id], f)
		return
	}
	void := w.voided[f.Key()]
	switch d := f.Data.(type) {
	case *events.AlertAcknowledged:
		switch a := w.alarm(d.Alert); {
		case !a.answeredBy(d.Kind):
		case void != nil:
			a.takeBack(f, void)
		case a.Acknowledged == 0:
			a.Acknowledged, a.AcknowledgedBy, a.AcknowledgedNote, a.AcknowledgedSeq = f.Time.UnixMilli(), f.By, d.Note, f.Seq
		}
	case *events.AlertShelved:
		if a := w.alarm(d.Alert); a.answeredBy(d.Kind) {
			a.shelve(f, d)
			if void != nil {
				a.unshelve(void)
			}
		}
	case *events.AlertUnshelved:
		if a := w.alarm(d.Alert); a.answeredBy(d.Kind) {
			a.unshelve(f)
		}
	case *events.AlertShown:
		if a := w.alarm(d.Alert); a.answeredBy(d.Kind) {
			a.shown(f, d)
		}
	case *events.AlertOutOfService:
		w.rest(f, d)
		if void != nil {
			w.resume(void, d.Kind, func(cause string) bool { return cause == d.Cause })
		}
	case *events.AlertInService:
		w.resume(f, d.Kind, func(cause string) bool { return d.Cause == "" || d.Cause == cause })
	}
}

// AnswerTo is the alarm that a person's word is about; empty: it is about none.
func AnswerTo(data events.Data) string {
	switch d := data.(type) {
	case *events.AlertAcknowledged:
		return d.Alert
	case *events.AlertShelved:
		return d.Alert
	case *events.AlertUnshelved:
		return d.Alert
	case *events.AlertShown:
		return d.Alert
	}
	return ""
}

// hearHub takes in a word that only the hub says.
func (w *Words) hearHub(f *Fact) {
	switch d := f.Data.(type) {
	case *events.AlertRaised:
		if w.alarm(d.Alert) == nil {
			w.raise(f, d)
		}
	case *events.AlertCleared:
		if a := w.alarm(d.Alert); a != nil && a.ClearedSeq == 0 {
			a.ClearedSeq, a.ClearedAt, a.LastSeq = f.Seq, d.At.UnixMilli(), f.Seq
		}
	case *events.AlertTold:
		w.told(f, d)
	case *events.SheetIssued:
		w.issue(f, d)
	case *events.WindowStated:
		// Of two that cross, by two hubs side by side, the last counts too: it is
		// what everybody who reads the stream takes for the hub's word.
		w.said, w.hasSaid = Statement{Seq: f.Seq, ID: f.ID, WindowStated: *d}, true
	}
}

// alarm finds an alarm that was raised, or nil.
func (w *Words) alarm(id string) *Alarm {
	if i, ok := w.index[id]; ok {
		return &w.alarms[i]
	}
	return nil
}

func (w *Words) raise(f *Fact, d *events.AlertRaised) {
	if w.index == nil {
		w.index = map[string]int{}
	}
	a := Alarm{ID: d.Alert, Kind: d.Kind, Cause: d.Cause, Priority: d.Priority, Text: d.Text, About: d.About,
		Since: d.Since.UnixMilli(), Raised: f.Recorded.UnixMilli(), RaisedSeq: f.Seq, LastSeq: f.Seq}
	// An alert may be told before the stream has it.
	var rest []stray
	for _, y := range w.stray {
		if y.alert == d.Alert {
			a.tell(y.Telling)
		} else {
			rest = append(rest, y)
		}
	}
	w.stray = rest
	w.index[d.Alert] = len(w.alarms)
	w.alarms = append(w.alarms, a)
	answers := w.early[a.ID]
	delete(w.early, a.ID)
	for _, f := range answers {
		w.hear(f)
	}
}

func (w *Words) told(f *Fact, d *events.AlertTold) {
	y := Telling{f.Seq, d.At.UnixMilli(), d}
	for _, id := range d.Alerts {
		if a := w.alarm(id); a != nil {
			a.tell(y)
			continue
		}
		if w.stray = append(w.stray, stray{id, y}); len(w.stray) > strayKept {
			w.stray = w.stray[1:]
		}
	}
}

func (w *Words) issue(f *Fact, d *events.SheetIssued) {
	issued := maps.Clone(w.sheets)
	if issued == nil {
		issued = map[SheetDay]uint64{}
	}
	issued[SheetDay{d.Name(), d.Date}] = f.Seq
	w.sheets = issued
}

// rest takes a kind out of service: the last word on a kind and cause decides.
func (w *Words) rest(f *Fact, d *events.AlertOutOfService) {
	r := Rest{Kind: d.Kind, Cause: d.Cause, By: f.By, Reason: d.Reason}
	r.From, r.Until = aside(f, d.At, d.Until, restMS)
	w.rests = slices.DeleteFunc(slices.Clone(w.rests), func(x Rest) bool { return x.Kind == d.Kind && x.Cause == d.Cause })
	w.rests = append(w.rests, r)
}

// resume puts causes of a kind in service again, by a word of its own or a void.
func (w *Words) resume(f *Fact, kind string, cause func(string) bool) {
	known := f.Recorded.UnixMilli()
	w.rests = slices.Clone(w.rests)
	for i := range w.rests {
		r := &w.rests[i]
		if r.Kind == kind && cause(r.Cause) && known < r.Until {
			r.Until, r.From = known, min(r.From, known)
			r.Ended, r.EndedBy = known, f.By
		}
	}
}

// AppendDigest appends all that was said and answered, in the order of the stream.
func (w *Words) AppendDigest(out []byte) []byte {
	for _, f := range w.inOrder() {
		body, err := events.EncodeData(f.Data)
		if err != nil {
			panic("wall: accepted data cannot be encoded: " + err.Error())
		}
		out = appendText(appendText(out, f.Source.String()), f.ID)
		out = appendText(appendText(out, string(f.Kind)), string(body))
		seq := int64(f.Seq) // #nosec G115 -- for a digest
		for _, v := range []int64{seq, f.Recorded.UnixMilli(), f.Time.UnixMilli(), flag(f.Trusted)} {
			out = binary.AppendVarint(out, v)
		}
	}
	return out
}
