package wallpage

import (
	"cmp"
	"slices"
	"strconv"
	"time"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// The sorts of exception, in the order in which an officer takes them.
const (
	ExceptionEarly   = "early"   // taken off before its time
	ExceptionDoubt   = "doubt"   // something that a named person has to answer
	ExceptionOverdue = "overdue" // braces that might have been off long ago
	ExceptionPermit  = "permit"  // cured, and no permit; or taken off without one
)

// sorts are they all, in that order.
var sorts = []string{ExceptionEarly, ExceptionDoubt, ExceptionOverdue, ExceptionPermit}

// List is all walls, those with an exception first.
type List struct {
	At      face.Time   `json:"at"`
	Through uint64      `json:"through"` // the stream's sequence up to which messages are counted
	Level   bool        `json:"level"`
	Doubts  []string    `json:"doubts"`
	Demo    bool        `json:"demo"`
	Sites   []face.Site `json:"sites"`
	Walls   []Standing  `json:"walls"`
}

// Standing is a wall, or with an empty name a whole site.
type Standing struct {
	Site       string      `json:"site"`
	Wall       string      `json:"wall"`
	Name       string      `json:"name"`
	State      string      `json:"state"`
	Strip      face.Window `json:"strip"`
	Open       bool        `json:"open"`   // braces stand, and the window is open
	Braces     int         `json:"braces"` // that stand
	Alerts     int         `json:"alerts"` // that stand
	Exceptions []Exception `json:"exceptions"`
}

// Exception is one thing that wants an officer.
type Exception struct {
	Sort     string        `json:"sort"`
	Kind     string        `json:"kind"` // of the alert; empty: none stands behind it
	Since    face.Time     `json:"since"`
	Text     string        `json:"text"`           // as the hub said it
	About    *events.About `json:"about,omitzero"` // of an alert, the text as numbers
	Seq      uint64        `json:"seq"`            // the message that it is about; 0: see Thing
	Thing    string        `json:"thing"`
	Answered bool          `json:"answered"` // somebody acknowledged it
}

// Exceptions gathers the safety officer's list. It is pure.
func Exceptions(in board.Input) List {
	out := List{At: face.Time{Time: in.At}, Through: in.Through, Level: in.Level, Doubts: slices.Clone(in.Doubts), Demo: in.Demo}
	for _, s := range in.Sites {
		out.Sites = append(out.Sites, s.Site)
		if s.State == nil {
			continue
		}
		line := Standing{Site: s.Site.Site, Exceptions: siteDoubts(s)}
		if len(line.Exceptions) > 0 {
			out.Walls = append(out.Walls, line)
		}
	}
	for _, w := range in.Walls {
		out.Walls = append(out.Walls, wallLine(in, w))
	}
	slices.SortFunc(out.Sites, func(a, b face.Site) int { return cmp.Compare(a.Site, b.Site) })
	slices.SortStableFunc(out.Walls, func(a, b Standing) int {
		return cmp.Or(cmp.Compare(a.rank(), b.rank()), a.since().Compare(b.since().Time), cmp.Compare(a.Site, b.Site), cmp.Compare(a.Wall, b.Wall))
	})
	return out
}

// rank is the place of the gravest exception.
func (l Standing) rank() int {
	least := len(sorts)
	for _, x := range l.Exceptions {
		least = min(least, slices.Index(sorts, x.Sort))
	}
	return least
}

func (l Standing) since() face.Time {
	if len(l.Exceptions) == 0 {
		return face.Time{}
	}
	return l.Exceptions[0].Since
}

// Narrow leaves the sites that are in sight.
func (l List) Narrow(sees func(site string) bool) List {
	l.Sites = slices.DeleteFunc(slices.Clone(l.Sites), func(s face.Site) bool { return !sees(s.Site) })
	l.Walls = slices.DeleteFunc(slices.Clone(l.Walls), func(w Standing) bool { return !sees(w.Site) })
	return l
}

func siteDoubts(s board.Site) []Exception {
	out := []Exception{}
	for _, d := range s.State.Doubts() {
		out = append(out, Exception{Sort: ExceptionDoubt, Since: ms(d.Since), Text: d.What, Seq: d.Message})
	}
	for _, a := range s.State.Alarms() {
		if a.Stands() && (a.Kind == scheduler.AlertRecordGap || a.Kind == scheduler.AlertClockDoubtful) {
			out = append(out, exceptionOf(ExceptionDoubt, a))
		}
	}
	return out
}

func exceptionOf(sort string, a wall.Alarm) Exception {
	return Exception{Sort: sort, Kind: a.Kind, Since: ms(a.Since), Text: a.Text, About: a.About, Answered: a.Acknowledged != 0}
}

func wallLine(in board.Input, w board.Wall) Standing {
	a := w.Assessment
	out := Standing{Site: a.Site, Wall: a.Wall, Name: cmp.Or(w.State.Holding.Name, a.Wall), State: a.State, Strip: face.FromAssessment(a).Strip, Exceptions: []Exception{}}
	for _, b := range a.Braces {
		if b.State != scheduler.BraceStripped && b.State != scheduler.BracePlanned {
			out.Braces++
		}
	}
	out.Open = a.Strip.Open && a.State == scheduler.StateMayStrip && in.Level && len(in.Doubts) == 0
	out.alarms(w)
	for _, d := range w.State.Doubts() {
		out.Exceptions = append(out.Exceptions, Exception{Sort: ExceptionDoubt, Since: ms(d.Since), Text: d.What, Seq: d.Message})
	}
	if at, missing := permitMissing(a); missing && out.Braces > 0 {
		out.Exceptions = append(out.Exceptions, Exception{Sort: ExceptionPermit, Since: face.Time{Time: at}, Thing: "permit"})
	}
	slices.SortStableFunc(out.Exceptions, func(x, y Exception) int {
		return cmp.Or(cmp.Compare(slices.Index(sorts, x.Sort), slices.Index(sorts, y.Sort)), x.Since.Compare(y.Since.Time))
	})
	return out
}

// alarms takes the alerts that stand on the wall, and what ought to stand and
// was not raised yet.
func (l *Standing) alarms(w board.Wall) {
	seen := map[string]bool{}
	for _, a := range w.State.Alarms() {
		if !a.Stands() {
			continue
		}
		seen[a.Kind+" "+a.Cause] = true
		l.alarm(w.State, a)
	}
	for _, a := range w.Assessment.Alerts {
		if !seen[a.Kind+" "+a.Cause] {
			l.alarm(w.State, wall.Alarm{Kind: a.Kind, Cause: a.Cause, Text: a.Text, About: a.About, Since: a.Since.UnixMilli()})
		}
	}
}

func (l *Standing) alarm(w *wall.State, a wall.Alarm) {
	l.Alerts++
	sort, thing := "", ""
	switch a.Kind {
	case scheduler.AlertStripEarly, scheduler.AlertFaceEarly, scheduler.AlertBackfillEarly:
		sort, thing = ExceptionEarly, "brace"
	case scheduler.AlertBraceOverdue:
		sort, thing = ExceptionOverdue, "brace"
	case scheduler.AlertStripUnpermitted:
		sort, thing = ExceptionPermit, "permit"
	case scheduler.AlertClockDoubtful, scheduler.AlertRecordGap:
		sort = ExceptionDoubt
	default:
		return
	}
	x := exceptionOf(sort, a)
	x.Thing = thing
	for _, s := range w.Holding.Strips {
		if a.Cause == "strip "+s.Key.ID {
			x.Seq = s.Seq
		}
	}
	switch a.Kind {
	case scheduler.AlertFaceEarly:
		x.Thing = "form"
	case scheduler.AlertBackfillEarly:
		x.Thing = "backfill"
	}
	l.Exceptions = append(l.Exceptions, x)
}

// permitMissing reports whether nothing but the permit keeps the window shut,
// and since when the wall is cured.
func permitMissing(a scheduler.Assessment) (cured time.Time, missing bool) {
	if a.Strip.CuredAt.IsZero() || a.Strip.CuredAt.After(a.At) {
		return time.Time{}, false
	}
	for _, c := range a.Strip.Criteria {
		switch {
		case c.Name == scheduler.Permit && !c.Met:
			missing = true
		case !c.Met:
			return time.Time{}, false
		}
	}
	return a.Strip.CuredAt, missing
}

// Link leads to the entry that an exception is about, or to those of its sort.
func (x Exception) Link(l Standing) string {
	if l.Wall == "" {
		return ""
	}
	at := Path(l.Site, l.Wall)
	switch {
	case x.Seq != 0:
		return at + "#e" + strconv.FormatUint(x.Seq, 10)
	case x.Thing != "":
		return at + "?kind=" + x.Thing + "#timeline"
	}
	return at + "#timeline"
}
