package scheduler

import (
	"cmp"
	"slices"
	"time"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// Stand is one time that a brace stood, from when it was set to when it was
// stripped, judged by what is known now, at the moment of the strip, or where it
// stands at the moment of the look. Entries point into the wall's state. A zero
// time is not known.
type Stand struct {
	Brace string // empty: an entry took all braces off, and none was recorded
	AtMM  int    // station; -1: not said
	State string // as of a BraceWindow

	Set       *wall.Entry // nil: nobody recorded it
	Stripped  *wall.Entry // nil: it stands; also a set at another place
	Undone    *wall.Entry // a strip whose void, or amendment to other braces, waits for a second person: the brace counts as standing, and is judged as stripped
	Inspected *wall.Entry // the last that found it sound while it stood
	Looks     int         // how many did
	Zero      time.Time   // the last concrete within its reach
	ZeroBy    *wall.Entry // what set that

	KeptS int64  // seconds from the later of Zero and the set to the strip, rounded down to the minute
	AgeS  int64  // equivalent age then, whole seconds at 20 °C, by the rule that gives the least
	Rule  string // that rule

	Cured   time.Time // when the cured criteria of what it answers for were all met
	Opened  time.Time // when its window and both its neighbours' were open, the permit and wind that nobody measured left out
	Governs string    // the criterion that was met last; of a strip before, the one that was met last after it, or is not met yet
	Margin  Margin    // of a brace that is stripped

	Early       string // why the entry that took it off was too early, as the alert says it; empty: it was not
	Unpermitted string // how the entry that took it off had no permit that stood, as the alert says it; empty: it had, or none was asked for
	Permit      *wall.Permit
	Stood       bool   // the permit stood for the brace, then
	Released    string // on whose release; empty: on its own
	Others      bool   // permits to strip were there for other braces

	Said    *wall.Statement // the hub's last on the wall, then
	Now     Strip           // of the wall then, by what is known now
	Differs bool            // of a strip: the two are not the same
}

// Margin is the strip less the opening.
type Margin struct {
	S      int64 // seconds, rounded down to the minute; under zero: early
	Known  bool
	AtMost bool   // what was not met then is not met yet: it is this or less
	By     string // of an early strip, the criterion that it counts to; empty: none is foreseen
}

// Bracing is every brace that ever stood on a wall, in order of station, then of
// time.
type Bracing struct {
	Assessment Assessment
	Stands     []Stand
}

// BracingOf judges every brace that stood or stands. It is as pure as Assess, and
// a strip is early, or without a permit, exactly where Assess says so of the entry
// that made it; that a wall is handed over makes none of it undone.
func BracingOf(s *site.State, d *site.Devices, w *wall.State, hub Hub, now time.Time) Bracing {
	b := bracing{look: lookAt(s, d, w, hub, now), now: Assess(s, d, w, hub, now), strips: map[events.Key]*strip{}}
	b.said = w.Statements()
	stands := b.stands()
	for _, y := range stands {
		b.judgeStand(y)
	}
	slices.SortStableFunc(stands, func(x, y *Stand) int {
		return cmp.Or(cmp.Compare(x.AtMM, y.AtMM), cmp.Compare(x.Brace, y.Brace), cmp.Compare(x.began(), y.began()))
	})
	out := Bracing{Assessment: b.now, Stands: make([]Stand, len(stands))}
	for i, y := range stands {
		out.Stands[i] = *y
	}
	return out
}

func (y *Stand) began() int64 {
	switch {
	case y.Set != nil:
		return y.Set.Ended.Late
	case y.Stripped != nil:
		return y.Stripped.Began.Early
	}
	return 0
}

// off is the entry that took the brace off, also where its void waits.
func (y *Stand) off() *wall.Entry {
	if y.Stripped != nil {
		return y.Stripped
	}
	return y.Undone
}

// bracing is the work of BracingOf.
type bracing struct {
	*look
	now    Assessment
	said   []wall.Statement
	strips map[events.Key]*strip
}

// stands reads from the entries, in their order, which braces stood from when to
// when, as the fold does.
func (b *bracing) stands() (all []*Stand) {
	up := map[string]*Stand{}
	entries := b.wall.Entries()
	for i := range entries {
		e := &entries[i]
		switch d := e.Last().(type) {
		case *events.BraceSet:
			for _, p := range d.Braces {
				y := up[p.Name]
				if y != nil && b.moved(e, p.Name) {
					y.Stripped, y = e, nil
				}
				if y == nil {
					y = &Stand{Brace: p.Name}
					up[p.Name], all = y, append(all, y)
				}
				y.Set, y.AtMM = e, stationOf(p)
			}
		case *events.BraceInspected:
			if !e.Maybe && foundSound(e) {
				for _, y := range among(up, d.Braces) {
					y.Inspected, y.Looks = e, y.Looks+1
				}
			}
		case *events.BraceStripped:
			all = append(all, takeOff(up, e, len(all) > 0)...)
		}
	}
	return all
}

// moved reports whether an entry set a brace at another place, and so took it off.
func (b *bracing) moved(e *wall.Entry, name string) bool {
	return slices.ContainsFunc(b.taken, func(s taken) bool { return s.moved && s.Key == e.Key() && slices.Contains(s.Braces, name) })
}

func foundSound(e *wall.Entry) bool {
	return !slices.ContainsFunc(e.Versions, func(v events.Data) bool {
		d, ok := v.(*events.BraceInspected)
		return !ok || d.Sound == nil || !*d.Sound
	})
}

// among gives those of the standing braces that are named; of no names all.
func among(up map[string]*Stand, names []string) (out []*Stand) {
	for name, y := range up {
		if len(names) == 0 || slices.Contains(names, name) {
			out = append(out, y)
		}
	}
	return out
}

// takeOff ends what an entry took off, and returns what it took off that nobody
// had set. Where no brace was ever set, all of them are one. What only some of its
// versions name is judged as taken off, and counts as standing.
func takeOff(up map[string]*Stand, e *wall.Entry, any bool) (unset []*Stand) {
	sure, said := wall.TakenOff(e)
	off := map[string]bool{}
	for name, y := range up {
		switch {
		case sure.Has(name):
			y.Stripped = e
			delete(up, name)
		case said.Has(name):
			y.Undone = e
		default:
			continue
		}
		off[name] = true
	}
	names := said.Braces
	if said.All && !any {
		names = []string{""}
	}
	for _, name := range names {
		if !off[name] && !e.Maybe {
			unset = append(unset, &Stand{Brace: name, AtMM: -1, Stripped: e})
		}
	}
	return unset
}
