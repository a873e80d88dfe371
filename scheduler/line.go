package scheduler

import "earlyage/projector/wall"

const (
	// lineDue is when the string line should be read after the last concrete, and
	// lineLate when its absence is an alert.
	lineDue  = 20 * minuteMS
	lineLate = 45 * minuteMS
)

// lineAlerts tell of a string line that is due, out, or was corrected too late.
func (k *look) lineAlerts(c *collector, a *Assessment) {
	p := &k.wall.Pour
	if len(p.Lifts) == 0 {
		k.lineBefore(c)
		return
	}
	k.correctedLate(c)
	if a.State != StatePlacing && a.State != StateCuring {
		return
	}
	l := k.lineRead()
	if l == nil {
		switch {
		case k.past(p.LastConcrete + lineLate):
			c.add(AlertLineDue, "last lift "+moment(p.LastConcrete).Format("2006-01-02T15:04Z"), p.LastConcrete+lineLate, "The string line was not read since the last lift at %s. Read it. %s",
				k.clockOnly(p.LastConcrete), k.correctBy()).until(k.toCome(floorMinute(k.lastSet(0))))
		case k.past(p.LastConcrete + lineDue):
			c.point("string line: due since %s, 20 min after the last lift", k.clockOnly(p.LastConcrete+lineDue))
		}
		return
	}
	k.lineOut(c, l)
}

// lineBand is by how much a line has to be within its tolerance for the matter to
// be over, mm.
const lineBand = 1

// lineOut: the last reading is outside the tolerance. The alert goes by the first
// of the readings that were so without one well within it between.
func (k *look) lineOut(c *collector, l *wall.Line) {
	if k.outOfLine(l, lineBand) == nil {
		return
	}
	out, set := k.outOfLine(l, 0), floorMinute(k.lastSet(0))
	cause := "reading " + moment(k.outSince(l)).Format("2006-01-02T15:04Z")
	switch {
	case out != nil && k.past(set):
		c.point("string line: %s at %s; the last lift set at %s: it is too late to correct, the engineer decides", out.why, k.clockOnly(l.At), k.clockOnly(set))
	case out != nil:
		a := c.add(AlertLineOut, cause, l.At, "The wall is out of line: %s. Correct it by %s, before the last lift sets, and read again.", out.why, k.clockOnly(set)).
			until(set).measured("line", out.have, out.limit)
		if out.to > 0 {
			a.place(metres(out.from), metres(out.to))
		}
	case !k.past(set):
		c.nearing(AlertLineOut, cause)
	}
}

// outSince is when the first of the readings was made that were out of line, or
// nearly, up to one of them and since the last concrete and correction.
func (k *look) outSince(l *wall.Line) int64 {
	p, since, broken := &k.wall.Pour, l.At, true
	for i := range k.wall.Holding.Lines {
		x := &k.wall.Holding.Lines[i]
		if !x.After || x.At < max(p.LastConcrete, p.Corrected) || x.At > l.At {
			continue
		}
		switch {
		case k.outOfLine(x, lineBand) == nil:
			broken = true
		case broken:
			since, broken = x.At, false
		}
	}
	return since
}

// toCome is a moment that is still to come, or 0.
func (k *look) toCome(at int64) int64 {
	if k.past(at) {
		return 0
	}
	return at
}

func (k *look) correctBy() string {
	set := floorMinute(k.lastSet(0))
	if k.past(set) {
		return "It is too late to correct: the last lift set at " + k.clockOnly(set) + "."
	}
	return "It can be corrected until " + k.clockOnly(set) + "."
}

// lineBefore is the open point of a line that was out before placing, or not read.
func (k *look) lineBefore(c *collector) {
	lines := k.wall.Holding.Lines
	if len(lines) == 0 {
		return
	}
	if out := k.outOfLine(&lines[len(lines)-1], 0); out != nil {
		c.point("string line before placing: %s", out.why)
	}
}

// lineRead is the last reading since the last concrete and correction; nil: none.
func (k *look) lineRead() *wall.Line {
	p := &k.wall.Pour
	var last *wall.Line
	for i := range k.wall.Holding.Lines {
		l := &k.wall.Holding.Lines[i]
		if l.After && l.At >= max(p.LastConcrete, p.Corrected) && k.past(l.At) {
			last = l
		}
	}
	return last
}

// bow is a reading that is outside its tolerance.
type bow struct {
	outside
	from, to int // mm: where; 0 and 0: over the whole wall
}

// outOfLine says how a reading is outside its tolerance, each limit taken so much
// narrower, mm; nil: it is within.
func (k *look) outOfLine(l *wall.Line, narrower int) *bow {
	limit := k.policy.LineMM
	lean := max(limit, min(k.wall.Holding.Geometry.Height*3/1000, leanMost))
	out := func(have, limit int, format string, args ...any) *bow {
		return &bow{outside: *off(float64(have), float64(limit), format, args...)}
	}
	switch {
	case l.WorstMM > limit-narrower:
		from, to, found := worstAt(l)
		where := ""
		if found {
			where = " at " + stretch(from, to)
		}
		b := out(l.WorstMM, limit, "%d mm in 3 m%s, at most %d mm", l.WorstMM, where, limit)
		b.from, b.to = from, to
		return b
	case l.WholeMM > 2*limit-narrower:
		return out(l.WholeMM, 2*limit, "%d mm over the whole wall, at most %d mm", l.WholeMM, 2*limit)
	case l.LeanMM > lean-narrower:
		return out(l.LeanMM, lean, "%d mm out of plumb, at most %d mm", l.LeanMM, lean)
	default:
		return nil
	}
}

// worstAt names the neighbouring points between which a line is furthest out.
func worstAt(l *wall.Line) (from, to int, found bool) {
	most := 0
	for i := 1; i < len(l.Points); i++ {
		a, b := l.Points[i-1], l.Points[i]
		if gap := max(a.Off-b.Off, b.Off-a.Off); gap > most {
			most, from, to, found = gap, a.At, b.At, true
		}
	}
	return from, to, found
}

// lastSet is the initial set of the last lift that ended by a moment (0: of all),
// by what it is known to be at the earliest; 0: there is none.
func (k *look) lastSet(by int64) int64 {
	p := &k.wall.Pour
	var last *wall.Lift
	for i := range p.Lifts {
		l := &p.Lifts[i]
		if by != 0 && l.Ended.Late > by {
			continue
		}
		if last == nil || l.Ended.Late >= last.Ended.Late {
			last = l
		}
	}
	if last == nil {
		return 0
	}
	placed := last.Began.Early
	until := k.now
	if by != 0 {
		until = min(until, by)
	}
	return placed + k.limitAt(last, placed, max(placed, until)).set
}

// correctedLate: the wall was moved after the last lift had begun to set. It
// stands until a person has looked at the concrete since.
func (k *look) correctedLate(c *collector) {
	at := k.wall.Pour.Corrected
	if at == 0 || !k.past(at) || k.lookedAnywhere(at) {
		return
	}
	if set := k.lastSet(at); set != 0 && at > set {
		c.add(AlertLineLate, "correction "+moment(at).Format("2006-01-02T15:04Z"), at, "The wall was corrected at %s, after the last lift's initial set at %s. Move nothing more, and have the concrete looked at.", k.clockOnly(at), k.clockOnly(set))
	}
}

// lookedAnywhere reports whether a person has looked at any of the concrete at
// or after a moment.
func (k *look) lookedAnywhere(after int64) bool {
	for _, s := range k.wall.Holding.Seen {
		if s.At >= after && k.past(s.At) {
			return true
		}
	}
	return false
}
