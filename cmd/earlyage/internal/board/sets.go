package board

import (
	"cmp"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Set is braces of one wall that come free together. A brace comes free with its
// own window, and not before those of the braces beside it.
type Set struct {
	Site    string    `json:"site"`
	Wall    string    `json:"wall"`
	Name    string    `json:"name"` // of the wall
	N       int       `json:"n"`
	Braces  []string  `json:"braces"` // their names, in order of station
	Free    bool      `json:"free"`   // they may be stripped now
	Early   face.Time `json:"early"`
	Likely  face.Time `json:"likely"`
	Late    face.Time `json:"late"`
	Waits   string    `json:"waits"`    // the criterion, where no time can be given
	CountOn int       `json:"count_on"` // braces of the site that are free by Late, these included; 0: not to be counted on
}

// setsOf gives the braces that stand at a wall, those together that come free
// together.
func setsOf(w Wall, r Row) []Set {
	standing := slices.DeleteFunc(slices.Clone(w.Assessment.Braces), func(b scheduler.BraceWindow) bool { return !stands(b) })
	closed := w.State != nil && w.State.Holding.Geometry.Closed
	var out []Set
	for i, b := range standing {
		free := r.ownSet(b, standing, beside(len(standing), i, closed), w.Assessment.At)
		at := slices.IndexFunc(out, func(s Set) bool { return s.together(free) })
		if at < 0 {
			at = len(out)
			out = append(out, free)
		}
		out[at].N++
		out[at].Braces = append(out[at].Braces, b.Name)
	}
	return out
}

// ownSet says when a brace comes free: with its own window, and not before the
// braces beside it. It is free only where the assessment says that it may go.
func (r Row) ownSet(b scheduler.BraceWindow, standing []scheduler.BraceWindow, besides []int, at time.Time) Set {
	set := r.setOf(b, at)
	if b.MayStrip {
		return set
	}
	for _, n := range besides {
		if !openButPermit(standing[n]) {
			set = set.withBeside(r.setOf(standing[n], at))
		}
	}
	if set.Free {
		set.Free, set.Waits = false, cmp.Or(r.Window.Governs, scheduler.Complete)
	}
	return set
}

// stands reports whether a brace is in use.
func stands(b scheduler.BraceWindow) bool {
	switch b.State {
	case scheduler.BraceStanding, scheduler.BraceMayStrip, scheduler.BraceDisturbed:
		return true
	}
	return false
}

// beside gives the places of the braces on both sides of one of n.
func beside(n, i int, closed bool) (out []int) {
	if i > 0 || closed && n > 1 {
		out = append(out, (i+n-1)%n)
	}
	if i < n-1 || closed && n > 1 {
		out = append(out, (i+1)%n)
	}
	return out
}

// setOf says when a brace comes free by its window alone.
func (r Row) setOf(b scheduler.BraceWindow, at time.Time) Set {
	set := Set{Site: r.Site, Wall: r.Wall, Name: r.Name}
	switch win := b.Strip; {
	case b.MayStrip || win.Open:
		set.Free = true
	case r.State != scheduler.StateCuring && r.State != scheduler.StateMayStrip:
		set.Waits = scheduler.Complete
	case win.Earliest.After(at):
		set.Early = face.Time{Time: win.Earliest}
		set.Likely, set.Late = set.Early, set.Early
	case win.CuredAt.IsZero() && !win.Expected.Likely.IsZero():
		set.Early, set.Likely, set.Late = face.Time{Time: win.Expected.Early}, face.Time{Time: win.Expected.Likely}, face.Time{Time: win.Expected.Late}
	default:
		set.Waits = cmp.Or(win.Governs, r.Window.Governs, scheduler.Complete)
	}
	return set
}

// openButPermit reports whether nothing but a permit is missing for a brace: the
// permit is for one brace, what holds the wall up is for those beside it too.
func openButPermit(b scheduler.BraceWindow) bool {
	return len(b.Strip.Criteria) > 0 && !slices.ContainsFunc(b.Strip.Criteria, func(c scheduler.Criterion) bool { return !c.Met && c.Name != scheduler.Permit })
}

// withBeside puts a brace off until the one beside it may go as well. What cannot
// be given a time is not given one.
func (s Set) withBeside(o Set) Set {
	switch {
	case o.Free || s.Waits != "":
		return s
	case s.Free || o.Waits != "":
		s.Waits, s.Early, s.Likely, s.Late = o.Waits, o.Early, o.Likely, o.Late
	default:
		s.Early, s.Likely, s.Late = later(s.Early, o.Early), later(s.Likely, o.Likely), later(s.Late, o.Late)
	}
	s.Free = false
	return s
}

// later is the later of two moments; not known if one is not.
func later(x, y face.Time) face.Time {
	switch {
	case x.IsZero() || y.IsZero():
		return face.Time{}
	case x.Before(y.Time):
		return y
	}
	return x
}

// together reports whether braces come free together.
func (s Set) together(o Set) bool {
	return s.Free == o.Free && s.Waits == o.Waits && s.Early == o.Early && s.Likely == o.Likely && s.Late == o.Late
}

// bySite is the order of the braces: by site, those that are free first, then by
// when they surely are.
func bySite(x, y Set) int {
	return cmp.Or(cmp.Compare(x.Site, y.Site), cmp.Compare(truth(!x.Free), truth(!y.Free)), byTime(x.Late.Time, y.Late.Time),
		byTime(x.Likely.Time, y.Likely.Time), byTime(x.Early.Time, y.Early.Time), cmp.Compare(x.Wall, y.Wall), cmp.Compare(x.Waits, y.Waits))
}

// countOn adds up what the next wall of a site can count on.
func countOn(sets []Set) {
	site, sum := "", 0
	for i := range sets {
		s := &sets[i]
		if s.Site != site {
			site, sum = s.Site, 0
		}
		if s.Free || !s.Late.IsZero() {
			sum += s.N
			s.CountOn = sum
		}
	}
}

// Frost is a night for which frost is forecast.
type Frost struct {
	Date     string    `json:"date"` // the local date on which the night begins
	From     face.Time `json:"from"`
	To       face.Time `json:"to"`
	ColdestC float64   `json:"coldest_c"`
}

const (
	daysShown = 8 // of the week, today included
	noon      = 12 * time.Hour
)

// frosts gives the nights of frost by the coldest forecast issued, from noon to
// noon, of the days that the week shows.
func frosts(s Site, at time.Time) []Frost {
	out := []Frost{}
	if s.State == nil {
		return out
	}
	zone := s.Location()
	for _, h := range s.State.Hours {
		from := time.UnixMilli(h.At).UTC()
		if h.Coldest == wall.None || h.Coldest > 0 || from.Before(at.Add(-24*time.Hour)) || from.After(at.Add(daysShown*24*time.Hour)) {
			continue
		}
		date := from.In(zone).Add(-noon).Format(time.DateOnly)
		if n := len(out); n == 0 || out[n-1].Date != date {
			out = append(out, Frost{Date: date, From: face.Time{Time: from}, ColdestC: float64(h.Coldest) / 100})
		}
		night := &out[len(out)-1]
		night.To, night.ColdestC = face.Time{Time: from.Add(time.Hour)}, min(night.ColdestC, float64(h.Coldest)/100)
	}
	return out
}
