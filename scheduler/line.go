package scheduler

import (
	"fmt"

	"earlyage/projector/wall"
)

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
				k.clockOnly(p.LastConcrete), k.correctBy())
		case k.past(p.LastConcrete + lineDue):
			c.point("string line: due since %s, 20 min after the last lift", k.clockOnly(p.LastConcrete+lineDue))
		}
		return
	}
	out := k.outOfLine(l)
	if out == "" {
		return
	}
	set := k.lastSet(0)
	if k.past(set) {
		c.point("string line: %s at %s; the last lift set at %s: it is too late to correct, the engineer decides", out, k.clockOnly(l.At), k.clockOnly(set))
		return
	}
	c.add(AlertLineOut, "reading "+moment(l.At).Format("2006-01-02T15:04Z"), l.At, "The wall is out of line: %s. Correct it by %s, before the last lift sets, and read again.", out, k.clockOnly(floorMinute(set)))
}

func (k *look) correctBy() string {
	set := k.lastSet(0)
	if k.past(set) {
		return "It is too late to correct: the last lift set at " + k.clockOnly(set) + "."
	}
	return "It can be corrected until " + k.clockOnly(floorMinute(set)) + "."
}

// lineBefore is the open point of a line that was out before placing, or not read.
func (k *look) lineBefore(c *collector) {
	lines := k.wall.Holding.Lines
	if len(lines) == 0 {
		return
	}
	if out := k.outOfLine(&lines[len(lines)-1]); out != "" {
		c.point("string line before placing: %s", out)
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

// outOfLine says how a reading is outside its tolerance, or "".
func (k *look) outOfLine(l *wall.Line) string {
	limit := k.policy.LineMM
	lean := max(limit, min(k.wall.Holding.Geometry.Height*3/1000, leanMost))
	switch {
	case l.WorstMM > limit:
		return fmt.Sprintf("%d mm in 3 m%s, at most %d mm", l.WorstMM, worstAt(l), limit)
	case l.WholeMM > 2*limit:
		return fmt.Sprintf("%d mm over the whole wall, at most %d mm", l.WholeMM, 2*limit)
	case l.LeanMM > lean:
		return fmt.Sprintf("%d mm out of plumb, at most %d mm", l.LeanMM, lean)
	default:
		return ""
	}
}

// worstAt names the neighbouring points between which a line is furthest out.
func worstAt(l *wall.Line) string {
	most, where := 0, ""
	for i := 1; i < len(l.Points); i++ {
		a, b := l.Points[i-1], l.Points[i]
		if gap := max(a.Off-b.Off, b.Off-a.Off); gap > most {
			most, where = gap, " at "+stretch(a.At, b.At)
		}
	}
	return where
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
