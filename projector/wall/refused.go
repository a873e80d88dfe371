package wall

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"time"

	"earlyage/events"
)

// Refused messages cost a person's answer, and whoever can reach the stream can
// send them. So those of one device that were refused for one field are one run,
// with one doubt, and a state holds a bounded number of either: the newest
// messages one by one, older ones as the extent of their run, and runs past a
// bound as one extent.
//
// What is held is a function of the set of refused messages, whatever order they
// came in and however often: the newest are the ones with the greatest
// sequences, the runs that are held apart are the first by name, and extents
// only grow.
const (
	keptRefused = 1000
	keptRuns    = 200
)

// Refused is a message that could not be accepted but names this wall.
type Refused struct {
	Seq      uint64
	Recorded time.Time
	ID       string // as far as it could be read
	Source   string // that it claims, /site/<site>/device/<device>; empty: not readable
	Field    string
	Reason   string

	// Instead is the sequence of the message that was accepted in its place: the
	// same bytes under the same key, proven this time. Nothing was lost, so it is
	// no doubt any more. 0: none was. Together with Seq alone it says so of a
	// message that was refused before, or will be.
	Instead uint64
}

// Run names the refused messages that are answered together: the ones that claim
// to be of one source and were refused for one field. The zero Run is none.
type Run struct{ Source, Field string }

// Run returns the run that a message is in.
func (r *Refused) Run() Run { return Run{r.Source, r.Field} }

// known reports whether the message itself has come.
func (r *Refused) known() bool { return r.Field != "" }

func compareRuns(a, b Run) int {
	return cmp.Or(cmp.Compare(a.Source, b.Source), cmp.Compare(a.Field, b.Field))
}

// extent is what is held of messages that are not held one by one.
type extent struct {
	first, last  uint64 // stream sequences; last 0: there are none
	since, until int64  // Unix ms: when they were recorded
	reason       string // of the first
}

func extentOf(r *Refused) extent {
	ms := r.Recorded.UnixMilli()
	return extent{r.Seq, r.Seq, ms, ms, r.Reason}
}

func (s extent) with(o extent) extent {
	switch {
	case s.last == 0:
		return o
	case o.last == 0:
		return s
	}
	if o.first < s.first {
		s.first, s.since, s.reason = o.first, o.since, o.reason
	}
	if o.last > s.last {
		s.last, s.until = o.last, o.until
	}
	return s
}

// refusals are the refused messages of one book.
type refusals struct {
	newest  []Refused // in order of their sequences
	extents map[Run]extent
	others  extent // of the runs that are not held apart

	dirty  map[uint64]bool // messages to store, or to take out of the store
	ranges map[Run]bool    // extents likewise; the zero Run: others
}

// add takes one message in.
func (x *refusals) add(r Refused) {
	i, found := slices.BinarySearchFunc(x.newest, r.Seq, func(m Refused, seq uint64) int { return cmp.Compare(m.Seq, seq) })
	switch {
	case found:
		x.newest[i] = x.newest[i].with(r)
	case i == 0 && len(x.newest) == keptRefused:
		x.drop(&r)
		return
	default:
		x.newest = slices.Insert(x.newest, i, r)
	}
	x.touch(r.Seq)
	if len(x.newest) > keptRefused {
		x.drop(&x.newest[0])
		x.touch(x.newest[0].Seq)
		x.newest = x.newest[1:]
	}
}

// with puts together what is said of one message.
func (r Refused) with(o Refused) Refused {
	instead := max(r.Instead, o.Instead)
	if !r.known() {
		r = o
	}
	r.Instead = instead
	return r
}

func (x *refusals) touch(seq uint64) {
	if x.dirty == nil {
		x.dirty = map[uint64]bool{}
	}
	x.dirty[seq] = true
}

// drop takes a message into the extent of its run. That another was accepted in
// its place is forgotten: it counts on, until a person answers.
func (x *refusals) drop(r *Refused) {
	if r.known() {
		x.widen(r.Run(), extentOf(r))
	}
}

func (x *refusals) widen(run Run, s extent) {
	if x.extents == nil {
		x.extents, x.ranges = map[Run]extent{}, map[Run]bool{}
	}
	if _, held := x.extents[run]; !held && len(x.extents) == keptRuns {
		last := slices.MaxFunc(slices.Collect(maps.Keys(x.extents)), compareRuns)
		if compareRuns(run, last) > 0 {
			last = run
		}
		x.others = x.others.with(x.extents[last])
		x.ranges[Run{}] = true
		if last == run {
			x.others = x.others.with(s)
			return
		}
		delete(x.extents, last)
		x.ranges[last] = true
	}
	x.extents[run] = x.extents[run].with(s)
	x.ranges[run] = true
}

// holds reports whether a message is in a run. Of one that is not held by itself
// it can only be said that it may be.
func (x *refusals) holds(run Run, message uint64) bool {
	if i, found := slices.BinarySearchFunc(x.newest, message, func(m Refused, seq uint64) int { return cmp.Compare(m.Seq, seq) }); found || i > 0 {
		return found && x.newest[i].known() && x.newest[i].Run() == run
	}
	s, held := x.extents[run]
	return held && s.first <= message && message <= s.last
}

// answer is a settled doubt about refused messages. It answers what its author
// can have seen: what was recorded before it in the stream, and not after it was
// entered.
type answer struct {
	before uint64 // in the stream
	until  int64  // Unix ms, late
}

func (a answer) covers(seq uint64, recorded int64) bool {
	return seq < a.before && recorded <= a.until
}

// answers are the settled doubts that stand, by run; the zero Run answers every
// run.
type answers map[Run][]answer

func (x *refusals) answers(c *Changes) answers {
	out := answers{}
	for _, f := range c.message {
		d := f.Data.(*events.DoubtSettled)
		a := answer{f.Seq, f.Time.UnixMilli() + clockOf(f).hi + clockTolerance}
		switch {
		case !c.stands(f):
		case d.All:
			a.before = min(a.before, d.Message+1)
			out[Run{}] = append(out[Run{}], a)
		case f.Settles != (Run{}) && x.holds(f.Settles, d.Message):
			out[f.Settles] = append(out[f.Settles], a)
		}
	}
	return out
}

func (a answers) cover(run Run, seq uint64, recorded int64) bool {
	if len(a) == 0 {
		return false
	}
	covers := func(a answer) bool { return a.covers(seq, recorded) }
	return slices.ContainsFunc(a[Run{}], covers) || run != (Run{}) && slices.ContainsFunc(a[run], covers)
}

// open is what nobody has answered yet of a run.
type open struct {
	run Run
	extent
	count int  // of the messages that are held one by one
	more  bool // others are not
}

// open lists the runs that wait for an answer, in order of their first messages:
// at most one for each of keptRuns, and one of all others.
func (x *refusals) open(c *Changes) []*open {
	a, runs := x.answers(c), map[Run]*open{}
	for run, s := range x.extents {
		if !a.cover(run, s.last, s.until) {
			runs[run] = &open{run, s, 0, true}
		}
	}
	o := &open{}
	for i := range x.newest {
		m := &x.newest[i]
		run := m.Run()
		if !m.known() || m.Instead != 0 || a.cover(run, m.Seq, m.Recorded.UnixMilli()) {
			continue
		}
		if o.run != run {
			if o = runs[run]; o == nil {
				o = &open{run: run}
				runs[run] = o
			}
		}
		o.extent, o.count = o.with(extentOf(m)), o.count+1
	}
	list := slices.SortedFunc(maps.Values(runs), func(a, b *open) int {
		return cmp.Or(cmp.Compare(a.first, b.first), compareRuns(a.run, b.run))
	})
	rest := &open{}
	if x.others.last != 0 && !a.cover(Run{}, x.others.last, x.others.until) {
		rest.extent, rest.more = x.others, true
	}
	if len(list) > keptRuns {
		for _, o := range list[keptRuns:] {
			rest.extent, rest.count, rest.more = rest.with(o.extent), rest.count+o.count, rest.more || o.more
		}
		list = list[:keptRuns]
	}
	if rest.last != 0 {
		list = append(list, rest)
	}
	return list
}

// doubt puts an open run in words.
func (o *open) doubt() Doubt {
	d := Doubt{Message: o.first, Last: o.last, Run: o.run, Count: o.count, More: o.more, Since: o.since}
	n := strconv.Itoa(o.count)
	switch {
	case o.count == 0:
		n = "older"
	case o.more:
		n = "over " + n
	}
	of := "an unknown device"
	if src, err := events.ParseSource(o.run.Source); err == nil {
		of = src.Device
	}
	switch {
	case o.run == (Run{}):
		d.What = fmt.Sprintf("refused: %s messages of many devices; the first: %s", n, o.reason)
	case d.Single():
		d.What = "refused: " + o.run.Field + " " + o.reason
	default:
		d.What = fmt.Sprintf("refused: %s messages of %s; the first: %s %s", n, of, o.run.Field, o.reason)
	}
	return d
}

// doubtRefused reads again what nobody has answered of the refused messages. It
// costs the same however many there were.
func (b *Book) doubtRefused() {
	if !b.doubting {
		return
	}
	b.doubting = false
	b.doubts = slices.Clone(b.inDoubt)
	for _, o := range b.refused.open(b.change) {
		b.doubts = append(b.doubts, o.doubt())
	}
	slices.SortFunc(b.doubts, compareDoubts)
}

// Refused returns the messages that were not accepted, by stream sequence: the
// newest of them.
func (b *Book) Refused() []Refused {
	return slices.DeleteFunc(slices.Clone(b.refused.newest), func(r Refused) bool { return !r.known() })
}

// AddRefused notes messages that could not be accepted.
func (b *Book) AddRefused(list ...Refused) {
	for _, r := range list {
		b.refused.add(r)
	}
	b.doubting = b.doubting || len(list) > 0
}

// TakeRefused returns what changed of the refused messages as it is stored, and
// forgets that it did.
func (b *Book) TakeRefused() []Chunk {
	x := &b.refused
	out := make([]Chunk, 0, len(x.dirty)+len(x.ranges))
	for seq := range x.dirty {
		c := Chunk{Key: refusedKey(seq)}
		if i, held := slices.BinarySearchFunc(x.newest, seq, func(m Refused, seq uint64) int { return cmp.Compare(m.Seq, seq) }); held {
			c.Value = x.newest[i].append(nil)
		}
		out = append(out, c)
	}
	for run := range x.ranges {
		c := Chunk{Key: extentKey(run)}
		if s := x.extents[run]; run == (Run{}) {
			c.Value = x.others.append(nil)
		} else if s.last != 0 {
			c.Value = s.append(nil)
		}
		out = append(out, c)
	}
	x.stored()
	return out
}

// stored forgets that what was added has to be stored.
func (x *refusals) stored() {
	clear(x.dirty)
	clear(x.ranges)
}

func refusedKey(seq uint64) []byte { return binary.BigEndian.AppendUint64([]byte{'r'}, seq) }

// extentKey names where the extent of a run is stored; all others share a place.
func extentKey(run Run) []byte {
	if run == (Run{}) {
		return []byte{'o'}
	}
	return append(append(append([]byte{'s'}, run.Source...), 0), run.Field...)
}
