package wall

import (
	"slices"

	"earlyage/events"
)

// UpTo returns the wall as the record had it up to a message of the stream: by the
// entries that had come, and by what amended them until then. Messages that were
// refused are left out. The state is only read; it is kept until this one changes.
// It may be asked for by several goroutines at once.
func (s *State) UpTo(seq uint64) *State {
	kept := s.earlier.Load()
	if kept != nil {
		for _, e := range *kept {
			if e.seq == seq {
				return e.state
			}
		}
	}
	out := s.upTo(seq)
	list := []earlier{{seq, out}}
	if kept != nil {
		list = append(list, (*kept)[:min(len(*kept), earlierKept-1)]...)
	}
	s.earlier.Store(&list)
	return out
}

// earlier is a wall as it was known at a message of the stream.
type earlier struct {
	seq   uint64
	state *State
}

// earlierKept is how many of them are kept: one for each permit that somebody may
// hold in vain.
const earlierKept = 4

func (s *State) upTo(seq uint64) *State {
	out := New(s.Site, s.Wall)
	for _, f := range s.record.facts {
		if f.Seq <= seq {
			out.record.Add(*f)
		}
	}
	out.Readings = s.Readings.upTo(seq)
	out.record.Elsewhere = func(k events.Key) (events.Kind, bool) {
		if f := s.words.book.facts[k]; f != nil && f.Seq <= seq {
			return f.Kind, true
		}
		return out.Readings.Find(k)
	}
	out.settle(true)
	return out
}

// upTo holds the readings that had come, still to be settled.
func (r *Readings) upTo(seq uint64) Readings {
	out := Readings{tracks: make(map[string]*Track, len(r.tracks))}
	for key, t := range r.tracks {
		x, any := &Track{Place: t.Place, Probe: t.Probe, days: make(map[int64]*day, len(t.days))}, false
		for n, y := range t.days {
			z := &day{stale: true}
			for i := range y.groups {
				if y.groups[i].seq <= seq {
					z.groups, any = append(z.groups, y.groups[i]), true
				}
			}
			x.days[n] = z
		}
		if any { // a probe that had not spoken was not there
			out.tracks[key] = x
		}
	}
	return out
}

// After yields what the record took in after a message of the stream, in no set
// order: of a change the kind that it changes, and when it was recorded (Unix ms).
// Of readings only those that were measured up to a moment, which is late.
func (s *State) After(seq uint64, measured int64, yield func(k events.Kind, recorded int64)) {
	s.record.After(seq, yield)
	s.Readings.After(seq, measured, yield)
}

// After yields what the book took in after a message of the stream, as
// State.After does; of a change of what is not in it temperature.read.
func (b *Book) After(seq uint64, yield func(k events.Kind, recorded int64)) {
	for _, f := range b.facts {
		if f.Seq > seq {
			yield(b.concerns(f), f.Recorded.UnixMilli())
		}
	}
}

// concerns follows changes of changes to what they bear on.
func (b *Book) concerns(f *Fact) events.Kind {
	for range 3 { // a countersignature of a void of an amendment
		var on events.Target
		switch d := f.Data.(type) {
		case *events.RecordAmended:
			return d.Kind
		case *events.RecordVoided:
			on = d.Target
		case *events.RecordCountersigned:
			on = d.Target
		case *events.DoubtSettled:
			on = d.Target
		default:
			return f.Kind
		}
		next, known := b.facts[on.Key()]
		if !known {
			if kind, ok := b.kindOf(on.Key()); ok {
				return kind
			}
			return "temperature.read"
		}
		f = next
	}
	return f.Kind
}

// After yields the readings that came after a message of the stream and were
// measured up to a moment.
func (r *Readings) After(seq uint64, measured int64, yield func(k events.Kind, recorded int64)) {
	for _, t := range r.tracks {
		kind := events.Kind("temperature.read")
		if t.Place == PlaceWind {
			kind = "wind.read"
		}
		for n, y := range t.days {
			if n > floorDiv(measured, dayMS)+1 {
				continue
			}
			for i := range y.groups {
				if g := &y.groups[i]; g.seq > seq && g.last()+g.lo <= measured {
					yield(kind, g.recorded)
				}
			}
		}
	}
}

// Facts yields what the book holds up to a message of the stream, in no set order.
func (b *Book) Facts(seq uint64, yield func(Fact)) {
	for _, f := range b.facts {
		if f.Seq <= seq {
			yield(*f)
		}
	}
}

// ProbeOf returns what was declared last of a probe at a place, up to a moment.
func (h *Holding) ProbeOf(place, probe string, at int64) (Probe, bool) {
	for _, p := range slices.Backward(h.Probes) {
		if p.Place == place && p.Probe == probe && p.At <= at {
			return p, true
		}
	}
	return Probe{}, false
}
