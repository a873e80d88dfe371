package scheduler

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"earlyage/events"
)

// mostSheetWalls keeps the morning sheet of the largest site within an event's size.
const mostSheetWalls = 1500

// The parts of the morning sheet, in its order.
var sheetParts = []string{"overdue", "may-strip", "expected", "waiting"}

// sheet makes the morning sheet of a site if one is due at a moment and not in
// the record, and says when the next one is. Which local dates have a sheet is
// read from the record alone: a restart, a late start, a repeated hour or a
// missing one leave exactly one a local day. A day whose sheet was missed gets
// it late, but only the last one; and a day before the site's first entry has none.
func (l *Loop) sheet(p Page, ref Ref, f Folded, hub Hub, at time.Time) (word *events.Event, next time.Time, err error) {
	cal, err := calendarIn(f.zone(), fmt.Sprintf("%02d:%02d", f.SheetMinute/60, f.SheetMinute%60))
	if err != nil {
		return nil, time.Time{}, err
	}
	due, next := cal.Last(at), cal.Next(at).At
	if _, issued := f.Sheets[due.Date]; issued {
		return nil, next, nil
	}
	walls := p.Refs(ref.Site)
	walls = slices.DeleteFunc(slices.Clone(walls), func(r Ref) bool { return r.Wall == "" })
	if !slices.ContainsFunc(walls, func(r Ref) bool { return begunBy(p.Look(r), due.At) }) {
		return nil, next, nil
	}
	var lines []events.SheetWall
	for _, w := range walls {
		if wf := p.Look(w); wf.Assess != nil {
			if line, ok := sheetLine(wf.Assess(hub, at), next); ok {
				lines = append(lines, line)
			}
		}
	}
	e := sheetWord(ref, due, lines)
	return &e, next, nil
}

func begunBy(w Folded, t time.Time) bool {
	if w.Begun == nil {
		return false
	}
	begun := w.Begun()
	return !begun.IsZero() && !begun.After(t)
}

// sheetLine is what the sheet says of one wall, if anything: until is when the
// next sheet comes.
func sheetLine(a Assessment, until time.Time) (events.SheetWall, bool) {
	line := events.SheetWall{Wall: a.Wall, What: "waiting", At: opens(a.Strip)}
	overdue := slices.ContainsFunc(a.Alerts, func(x Alert) bool { return x.Kind == AlertBraceOverdue })
	switch {
	case a.State == "" || a.State == StatePlanned || a.State == StateStripped || a.State == StateHandedOver:
		return line, false
	case overdue:
		line.What, line.At = "overdue", a.Strip.OpenedAt
	case a.Strip.Open:
		line.What, line.At = "may-strip", a.Strip.OpenedAt
	case !a.Strip.CuredAt.IsZero():
		line.At, line.Text = time.Time{}, "cured, waits for "+a.Strip.Governs
	case !line.At.IsZero() && line.At.Before(until):
		line.What = "expected"
	}
	return line, true
}

func sheetWord(ref Ref, due Due, lines []events.SheetWall) events.Event {
	slices.SortStableFunc(lines, func(a, b events.SheetWall) int {
		return cmp.Or(cmp.Compare(slices.Index(sheetParts, a.What), slices.Index(sheetParts, b.What)), cmp.Compare(a.Wall, b.Wall))
	})
	lines = lines[:min(len(lines), mostSheetWalls)]
	return word(Ref{Site: ref.Site}, "sheet.issued", due.At, &events.SheetIssued{Date: due.Date, At: due.At, Walls: lines, Rules: Rules})
}
