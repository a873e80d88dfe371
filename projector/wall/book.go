package wall

import (
	"cmp"
	"slices"
	"strings"

	"earlyage/events"
)

// Book is a set of facts with their amendments, voids, countersignatures and
// settled doubts resolved. The zero Book is ready.
type Book struct {
	// Elsewhere finds the kind of an event that is kept outside the book (a
	// reading), or is nil.
	Elsewhere func(events.Key) (events.Kind, bool)

	facts   map[events.Key]*Fact
	refused refusals

	// Resolved from the two above.
	entries  []Entry
	doubts   []Doubt
	inDoubt  []Doubt // the ones about accepted events
	change   *Changes
	stale    bool
	doubting bool             // the doubts have to be read again
	whole    bool             // everything has to be resolved again
	fresh    []*Fact          // added since the book was last resolved
	newest   map[string]*Fact // by source: the highest number whose clock is known
	grown    int              // the entries before this one are as they were
}

// Entry is one event as it counts now. While a convenient change waits for its
// second person, both versions count, and each reader takes the safer.
type Entry struct {
	*Fact
	Began, Ended Interval // over all versions
	Versions     []events.Data
	Maybe        bool // voided, and the void waits for a second person
	Signed       bool // a second person let the first version count
}

// Last returns the newest version of the data.
func (e *Entry) Last() events.Data { return e.Versions[len(e.Versions)-1] }

// Doubt is something about the record that a named person has to answer.
type Doubt struct {
	Key     events.Key // the event; empty for refused messages
	Message uint64     // stream sequence of the message, of refused ones the first
	What    string
	Clock   bool  // about the time of the entry; false: about what it says
	Since   int64 // Unix milliseconds: when it was recorded

	// Of refused messages, which are answered together.
	Run   Run    // zero: of many runs, too many to be held apart
	Last  uint64 // stream sequence of the last
	Count int
	More  bool // there are more than Count, not held one by one
}

// Single reports whether the doubt is about one refused message.
func (d *Doubt) Single() bool { return d.Count == 1 && !d.More }

func compareDoubts(x, y Doubt) int {
	return cmp.Or(cmp.Compare(x.Message, y.Message), strings.Compare(x.Key.Source, y.Key.Source), strings.Compare(x.Key.ID, y.Key.ID), compareRuns(x.Run, y.Run))
}

// Add puts a fact into the set. It reports false if the fact was there.
// Of two with one key the one recorded first stands.
func (b *Book) Add(f Fact) bool {
	if b.facts == nil {
		b.facts = map[events.Key]*Fact{}
	}
	key := f.Key()
	old, had := b.facts[key]
	if had && f.Seq >= old.Seq {
		return false
	}
	b.facts[key] = &f
	b.fresh = append(b.fresh, &f)
	b.stale, b.whole = true, b.whole || had || isChange(f.Kind)
	return true
}

// Arrived tells the book of an event that is kept outside it. What the book says
// of the event is resolved again.
func (b *Book) Arrived(k events.Key) {
	if b.change != nil && b.change.bears(k) {
		b.stale, b.whole = true, true
	}
}

// Entries returns what counts, in canonical order: when it happened, then
// source, then the device's number, then id.
func (b *Book) Entries() []Entry { b.settle(); return b.entries }

// Doubts returns what nobody has answered yet, in order of their messages.
func (b *Book) Doubts() []Doubt { b.settle(); return b.doubts }

// Len returns how many facts the book holds.
func (b *Book) Len() int { return len(b.facts) }

// resolved returns the amendments, voids and countersignatures by target.
func (b *Book) resolved() *Changes {
	b.settle()
	return b.change
}

// Changes holds the amendments, voids and countersignatures by their target.
type Changes struct {
	amended map[events.Key][]*Fact
	voided  map[events.Key][]*Fact
	signed  map[events.Key][]*Fact
	settled map[events.Key][]*Fact
	message []*Fact // answers to refused messages
}

func (b *Book) changes() *Changes {
	c := &Changes{map[events.Key][]*Fact{}, map[events.Key][]*Fact{}, map[events.Key][]*Fact{}, map[events.Key][]*Fact{}, nil}
	for _, f := range b.facts {
		switch d := f.Data.(type) {
		case *events.RecordAmended:
			c.amended[d.Target.Key()] = append(c.amended[d.Target.Key()], f)
		case *events.RecordVoided:
			c.voided[d.Target.Key()] = append(c.voided[d.Target.Key()], f)
		case *events.RecordCountersigned:
			c.signed[d.Target.Key()] = append(c.signed[d.Target.Key()], f)
		case *events.DoubtSettled:
			if d.Message != 0 {
				c.message = append(c.message, f)
			} else {
				c.settled[d.Target.Key()] = append(c.settled[d.Target.Key()], f)
			}
		}
	}
	for _, lists := range []map[events.Key][]*Fact{c.amended, c.settled} {
		for _, list := range lists {
			slices.SortFunc(list, compareEntered)
		}
	}
	return c
}

// Any reports whether there is any change at all.
func (c *Changes) Any() bool {
	return len(c.amended)+len(c.voided)+len(c.signed)+len(c.settled) > 0
}

// bears reports whether a change names the event.
func (c *Changes) bears(k events.Key) bool {
	return len(c.amended[k])+len(c.voided[k])+len(c.signed[k])+len(c.settled[k]) > 0
}

// answered returns the last answer of a list that stands, or nil.
func (c *Changes) answered(list []*Fact) *Fact {
	for _, f := range slices.Backward(list) {
		if c.stands(f) {
			return f
		}
	}
	return nil
}

func compareEntered(a, b *Fact) int {
	return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Source.Site, b.Source.Site), cmp.Compare(a.Source.Device, b.Source.Device), cmp.Compare(a.Sequence, b.Sequence), cmp.Compare(a.ID, b.ID))
}

// stands reports whether a change of the record stands itself: a void takes a
// countersignature or a settled doubt out at once, since that is the safe side.
func (c *Changes) stands(f *Fact) bool { return len(c.voided[f.Key()]) == 0 }

// countersigned reports whether a second person, who did not make f, let it count.
func (c *Changes) countersigned(f *Fact) bool {
	for _, s := range c.signed[f.Key()] {
		if s.By != "" && s.By != f.By && c.stands(s) {
			return true
		}
	}
	return false
}

// fate resolves what became of f.
func (c *Changes) fate(f *Fact) (told []telling, maybe, gone bool) {
	told = []telling{{f.Data, f, c.countersigned(f)}}
	for _, a := range c.amended[f.Key()] {
		d := a.Data.(*events.RecordAmended)
		if d.Kind != f.Kind {
			continue // a doubt of its own
		}
		undone, final := c.undone(a)
		switch signed := c.countersigned(a); {
		case final:
		case signed && !undone:
			told = []telling{{d.Replacement(), a, true}}
		default:
			told = append(told, telling{d.Replacement(), a, false})
		}
	}
	maybe, gone = c.undone(f)
	return told, maybe && !gone, gone
}

// undone reports whether f is voided, and whether the void is countersigned.
func (c *Changes) undone(f *Fact) (voided, final bool) {
	for _, v := range c.voided[f.Key()] {
		voided = true
		final = final || c.countersigned(v)
	}
	return voided, final
}

// settle resolves everything again. It is called once after a batch of facts.
func (b *Book) settle() {
	if !b.stale {
		if b.change == nil {
			b.change = b.changes()
		}
		b.doubtRefused()
		return
	}
	b.stale = false
	fresh := b.fresh
	b.fresh = nil
	if !b.whole && b.newest != nil && b.goOn(fresh) {
		b.doubtRefused()
		return
	}
	b.whole, b.grown = false, 0
	c := b.changes()
	b.change = c
	b.entries, b.inDoubt = b.entries[:0], nil
	clocks := b.clocks(c)
	for _, f := range b.facts {
		if d := b.doubtOf(f, c, clocks[f]); d.What != "" {
			b.inDoubt = append(b.inDoubt, d)
		}
		if isChange(f.Kind) {
			continue
		}
		told, maybe, gone := c.fate(f)
		if gone {
			continue
		}
		b.entries = append(b.entries, entryOf(f, told, clocks, maybe))
	}
	slices.SortFunc(b.entries, compareEntries)
	b.doubting = true
	b.doubtRefused()
}

// goOn puts fresh facts behind the entries that are there. It reports false where
// that is not enough: one is late, is about to be changed, or its clock is in doubt.
func (b *Book) goOn(fresh []*Fact) bool {
	start := len(b.entries)
	for _, f := range fresh {
		c := clockOf(f)
		if c.doubt != "" || b.change.bears(f.Key()) || !b.steady(f) {
			return false
		}
		e := entryOf(f, []telling{{f.Data, f, false}}, map[*Fact]clock{f: c}, false)
		if n := len(b.entries); n > 0 && compareEntries(b.entries[n-1], e) >= 0 {
			return false
		}
		b.entries = append(b.entries, e)
	}
	b.grown = start
	return true
}

// steady reports whether a fact's clock agrees with its device's last number,
// and takes it as the last.
func (b *Book) steady(f *Fact) bool {
	if f.Sequence == 0 || !f.HasOffset {
		return true
	}
	src := f.Source.String()
	if last := b.newest[src]; last != nil {
		step := f.ClockOffset.Milliseconds() - last.ClockOffset.Milliseconds()
		if f.Sequence <= last.Sequence || step < -clockTolerance || step > clockTolerance {
			return false
		}
	}
	b.newest[src] = f
	return true
}

func isChange(k events.Kind) bool {
	switch k {
	case "record.amended", "record.voided", "record.countersigned", "doubt.settled":
		return true
	}
	return false
}

func entryOf(f *Fact, told []telling, clocks map[*Fact]clock, maybe bool) Entry {
	e := Entry{Fact: f, Maybe: maybe, Signed: told[0].signed}
	for i, t := range told {
		v := versionOf(f, t, clocks)
		e.Versions = append(e.Versions, t.data)
		if i == 0 {
			e.Began, e.Ended = v.began, v.ended
			continue
		}
		e.Began, e.Ended = e.Began.hull(v.began), e.Ended.hull(v.ended)
	}
	return e
}

func compareEntries(a, b Entry) int {
	return cmp.Or(cmp.Compare(a.Began.Early, b.Began.Early), cmp.Compare(a.Source.Site, b.Source.Site), cmp.Compare(a.Source.Device, b.Source.Device),
		cmp.Compare(a.Sequence, b.Sequence), cmp.Compare(a.ID, b.ID))
}

// doubtOf says what is doubtful about one fact and not yet answered.
func (b *Book) doubtOf(f *Fact, c *Changes, k clock) Doubt {
	d := Doubt{Key: f.Key(), Message: f.Seq, Since: f.Recorded.UnixMilli(), What: k.doubt, Clock: k.doubt != ""}
	target := func(t events.Target, kind events.Kind) {
		was := d.What
		switch on, ok := b.kindOf(t.Key()); {
		case !ok:
			d.What = string(f.Kind) + " names an event that is not on this record"
		case kind != "" && on != kind:
			d.What = string(f.Kind) + " says " + string(kind) + " but the event is " + string(on)
		case f.Kind == "record.voided" && on == "record.voided":
			d.What = "a void is final: enter the event again"
		}
		d.Clock = d.Clock && d.What == was
	}
	switch x := f.Data.(type) {
	case *events.RecordAmended:
		target(x.Target, x.Kind)
	case *events.RecordVoided:
		target(x.Target, "")
	}
	if d.What != "" && c.answered(c.settled[f.Key()]) != nil {
		d.What = ""
	}
	return d
}

func (b *Book) kindOf(k events.Key) (events.Kind, bool) {
	if f, ok := b.facts[k]; ok {
		return f.Kind, true
	}
	if b.Elsewhere != nil {
		return b.Elsewhere(k)
	}
	return "", false
}

// clocks judges every fact's clock: by itself, and against the same device's
// neighbours by number, since an offset that jumps makes both sides doubtful.
func (b *Book) clocks(c *Changes) map[*Fact]clock {
	out := make(map[*Fact]clock, len(b.facts))
	byDevice := map[string][]*Fact{}
	for _, f := range b.facts {
		out[f] = clockOf(f)
		if f.Sequence != 0 && f.HasOffset {
			byDevice[f.Source.String()] = append(byDevice[f.Source.String()], f)
		}
	}
	b.newest = make(map[string]*Fact, len(byDevice))
	for src, list := range byDevice {
		jumps(list, out)
		b.newest[src] = list[len(list)-1]
	}
	for key, list := range c.settled {
		f := b.facts[key]
		if s := c.answered(list); f != nil && s != nil && c.countersigned(s) {
			settleClock(f, s, out)
		}
	}
	return out
}

func jumps(list []*Fact, out map[*Fact]clock) {
	slices.SortFunc(list, func(x, y *Fact) int { return cmp.Or(cmp.Compare(x.Sequence, y.Sequence), cmp.Compare(x.ID, y.ID)) })
	own := make([]clock, len(list))
	for i, f := range list {
		own[i] = out[f]
	}
	for i := 1; i < len(list); i++ {
		a, z := list[i-1], list[i]
		step := z.ClockOffset.Milliseconds() - a.ClockOffset.Milliseconds()
		if step >= -clockTolerance && step <= clockTolerance {
			continue
		}
		for f, o := range map[*Fact]clock{a: own[i], z: own[i-1]} {
			k := out[f].with(o)
			k.doubt = "the device's clock jumped"
			out[f] = k
		}
	}
}

// settleClock applies a countersigned answer to a clock doubt: the correction
// that a named person found, instead of the interval.
func settleClock(f, s *Fact, out map[*Fact]clock) {
	d := s.Data.(*events.DoubtSettled)
	k := out[f]
	if d.OffsetMS != nil {
		k.lo, k.hi = int64(*d.OffsetMS), int64(*d.OffsetMS)
	} else {
		k.lo, k.hi = f.ClockOffset.Milliseconds(), f.ClockOffset.Milliseconds()
	}
	out[f] = k
}
