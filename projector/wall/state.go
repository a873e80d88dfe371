package wall

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"slices"
	"sync/atomic"

	"earlyage/events"
)

// FoldVersion is the version of the fold. A stored state of another version is
// folded again from the kept bytes.
const FoldVersion = 5

// State is one wall as the record has it. Equal sets of events give equal states.
type State struct {
	Site, Wall string

	Pour     Pour
	Holding  Holding
	Readings Readings

	record Book  // what happened to the wall
	words  Words // what the hub said, and who answered: never read by an assessment

	folded  int                // how many entries of the record are folded
	placers map[string]*Device // by name
	devices []Device
	rows    Rows
	earlier atomic.Pointer[[]earlier] // kept by UpTo until this changes
}

// Device is a device that recorded placing on this wall.
type Device struct {
	Name     string
	Numbered bool   // it numbers its events
	Last     uint64 // its last number on this wall
}

// New returns an empty wall.
func New(site, wall string) *State {
	s := &State{Site: site, Wall: wall, Pour: Pour{Hottest: None}, Holding: newHolding()}
	s.record.Elsewhere = s.elsewhere
	return s
}

// elsewhere finds the kind of a reading or of a word.
func (s *State) elsewhere(k events.Key) (events.Kind, bool) {
	if kind, ok := s.words.Find(k); ok {
		return kind, true
	}
	return s.Readings.Find(k)
}

// Load builds a state from the chunks that Dirty returned.
func Load(site, wall string, chunks func(yield func(key, value []byte) bool)) (*State, error) {
	s := New(site, wall)
	for key, value := range chunks {
		if err := LoadRow(key, value, s.book, &s.record, &s.Readings); err != nil {
			return nil, fmt.Errorf("load wall %s/%s: %w", site, wall, err)
		}
	}
	s.settle(true)
	return s, nil
}

// book returns the lane that a kind belongs to.
func (s *State) book(k events.Kind) *Book {
	switch k {
	case "window.stated", "alert.raised", "alert.cleared", "alert.acknowledged", "alert.shelved", "alert.unshelved",
		"alert.out-of-service", "alert.in-service", "alert.shown", "alert.told":
		return s.words.Book()
	}
	return &s.record
}

// Add takes facts in, in any order; one that is there already is ignored.
func (s *State) Add(facts ...Fact) {
	changed, amends := false, false
	for i := range facts {
		f := &facts[i]
		if IsReading(f.Kind) {
			if s.Readings.add(f) {
				changed = true
				s.record.Arrived(f.Key())
			}
			continue
		}
		if !s.book(f.Kind).Add(*f) {
			continue
		}
		changed = true
		amends = amends || isChange(f.Kind)
		s.record.Arrived(f.Key()) // a void may have named it before it came
		s.rows.Fact(f)
	}
	if changed {
		s.settle(amends)
	}
}

// AddRefused notes messages that name this wall and could not be accepted.
func (s *State) AddRefused(list ...Refused) {
	s.record.AddRefused(list...)
	s.settle(false)
}

// settle folds again what changed.
func (s *State) settle(amends bool) {
	s.earlier.Store(nil)
	if s.record.stale {
		s.foldRecord()
	}
	s.words.Settle(&s.record)
	s.Readings.settle(s.record.resolved(), amends)
}

// foldRecord folds on what came behind the rest, or everything again.
func (s *State) foldRecord() {
	s.record.settle()
	entries := s.record.entries
	from := s.record.grown
	if from == 0 || from != s.folded || reshapes(entries[from:]) {
		from = 0
		s.Pour, s.Holding = Pour{Hottest: None}, newHolding()
		s.placers = map[string]*Device{}
	}
	lifts := len(s.Pour.Lifts)
	for i := from; i < len(entries); i++ {
		e := &entries[i]
		s.Holding.fold(e)
		s.Pour.fold(e)
		if isPlacing(e.Kind) {
			noteDevice(s.placers, e)
		}
	}
	s.folded = len(entries)
	s.Holding.finish()
	s.Pour.raise(&s.Holding.Geometry, lifts)
	s.devices = s.devices[:0]
	for _, d := range s.placers {
		s.devices = append(s.devices, *d)
	}
	slices.SortFunc(s.devices, func(a, b Device) int { return cmp.Compare(a.Name, b.Name) })
}

// reshapes reports whether an entry changes the wall's shape, on which every
// lift lies.
func reshapes(entries []Entry) bool {
	return slices.ContainsFunc(entries, func(e Entry) bool { return e.Kind == "wall.laid-out" || e.Kind == "wall.amended" })
}

// isPlacing reports whether an event of this kind, not yet delivered, could
// move the wall's clock zero or its surface.
func isPlacing(k events.Kind) bool {
	switch k {
	case "lift.placed", "lift.consolidated", "load.discharged", "load.arrived", "line.corrected",
		"pour.started", "pour.stopped", "pour.resumed", "pour.finished", "stretch.left-low", "joint.felt", "form.moved":
		return true
	}
	return false
}

func noteDevice(devices map[string]*Device, e *Entry) {
	d := devices[e.Source.Device]
	if d == nil {
		d = &Device{Name: e.Source.Device, Numbered: true}
		devices[e.Source.Device] = d
	}
	d.Last = max(d.Last, e.Sequence)
	d.Numbered = d.Numbered && e.Sequence != 0
}

// Dirty returns what changed since the last call, to be stored under the wall's prefix.
func (s *State) Dirty() []Chunk {
	return slices.Concat(s.rows.Take(), s.record.TakeRefused(), s.Readings.takeDirty())
}

// Known reports whether an accepted event stands on the wall.
func (s *State) Known() bool { return s.record.Len() > 0 || len(s.Readings.tracks) > 0 }

// Entries returns what counts of the record, in canonical order, readings and
// the hub's own words left out.
func (s *State) Entries() []Entry { return s.record.entries }

// Doubts returns what a named person has to answer.
func (s *State) Doubts() []Doubt { return s.record.doubts }

// Refused returns the messages on this wall that were not accepted: the newest
// of them.
func (s *State) Refused() []Refused { return s.record.Refused() }

// Devices lists the devices that recorded placing on this wall, by name.
func (s *State) Devices() []Device { return s.devices }

// Alarms returns the alerts ever raised on this wall, in the order of raising.
func (s *State) Alarms() []Alarm { return s.words.Alarms() }

// Rests returns the kinds of alert that are or were out of service on this wall
// alone.
func (s *State) Rests() []Rest { return s.words.Rests() }

// Said returns the hub's last statement on this wall's window.
func (s *State) Said() (Statement, bool) { return s.words.said, s.words.hasSaid }

// Digest returns the SHA-256 of all that the wall's record says; the hub's own
// words are left out, so that a statement can carry the digest that it rests on.
func (s *State) Digest() [32]byte {
	b := appendText(appendText([]byte{FoldVersion}, s.Site), s.Wall)
	b = s.record.appendDigest(b)
	b = s.Pour.appendDigest(b)
	b = s.Holding.appendDigest(b)
	b = s.Readings.appendDigest(b)
	return sha256.Sum256(b)
}

// WordsDigest covers what the hub said and who answered.
func (s *State) WordsDigest() [32]byte {
	return sha256.Sum256(s.words.AppendDigest(nil))
}

func (b *Book) appendDigest(out []byte) []byte {
	for i := range b.entries {
		e := &b.entries[i]
		out = appendText(appendText(out, e.Source.String()), e.ID)
		out = appendText(out, string(e.Kind))
		seq := int64(e.Seq) // #nosec G115 -- for a digest
		for _, v := range []int64{e.Began.Early, e.Began.Late, e.Ended.Early, e.Ended.Late, e.Recorded.UnixMilli(), seq, flag(e.Maybe), flag(e.Signed)} {
			out = binary.AppendVarint(out, v)
		}
		for _, v := range e.Versions {
			body, err := events.EncodeData(v)
			if err != nil {
				panic("wall: accepted data cannot be encoded: " + err.Error())
			}
			out = appendText(out, string(body))
		}
	}
	for _, d := range b.doubts {
		out = appendText(appendText(out, d.Key.String()), d.What)
		for _, v := range []uint64{d.Message, d.Last, uint64(d.Count)} { // #nosec G115 -- for a digest
			out = binary.AppendUvarint(out, v)
		}
	}
	return out
}

func flag(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

func (p *Pour) appendDigest(b []byte) []byte {
	for _, v := range []int64{p.Started, p.Finished, p.ClockZero, p.LastConcrete, flag(p.Stopped), flag(p.Planned), p.PumpML} {
		b = binary.AppendVarint(b, v)
	}
	for i := range p.Lifts {
		l := &p.Lifts[i]
		b = fmt.Appendf(b, "%d %d %d %d %v|", l.From, l.To, l.Rise, l.Rise55, l.Marks)
	}
	for _, s := range p.Stretches {
		b = fmt.Appendf(b, "%d %d", s.From, s.To)
		for y := s.Top; y != nil; y = y.Below {
			b = fmt.Appendf(b, " %d:%d-%d", y.Lift, y.Bottom, y.Top)
		}
	}
	for _, c := range p.Contacts {
		b = fmt.Appendf(b, "%v", c)
	}
	for _, y := range p.Loads {
		b = fmt.Appendf(b, "%v", *y)
	}
	return fmt.Appendf(b, "%v%v%v%v%v%v", p.Felt, p.Treated, p.Stops, p.LeftLow, heights(p.Low), heights(p.High))
}

func heights(list []Stretch) (out [][3]int) {
	for _, s := range list {
		out = append(out, [3]int{s.From, s.To, s.Height()})
	}
	return out
}

func (h *Holding) appendDigest(b []byte) []byte {
	for _, x := range h.Braces {
		b = fmt.Appendf(b, "%v", *x)
	}
	for _, x := range h.Permits {
		b = x.appendDigest(b)
	}
	for _, x := range h.Holds {
		b = fmt.Appendf(b, "%v", *x)
	}
	return fmt.Appendf(b, "%q %v %d %s %d %v %s %v %v %v %v %v %v %v %v %d %d %v", h.Name, h.Geometry, h.CoreMM, h.Form,
		h.RatedPa, h.Mixes, h.Crew, h.LaidOut, h.TieInNeeded, h.Strips, h.Lines, h.Releases, h.Tests, h.Criteria, h.Works, h.TiedIn, h.HandedOver, h.FrozenSeen)
}
