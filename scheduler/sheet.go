package scheduler

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/events"
	"earlyage/projector/site"
)

const (
	// mostSheetWalls and mostSheetBytes keep the sheet of the largest site within
	// an event's size.
	mostSheetWalls = 1500
	mostSheetBytes = events.MaxBody - 4096
	mostLineText   = 300 // bytes, of what is said of one wall
	mostFrostText  = 200
)

// The parts of a sheet, in its order.
var sheetParts = []string{"overdue", "may-strip", "expected", "waiting"}

// dueSheet is a sheet that is due and not in the record.
type dueSheet struct {
	sheet string
	Due
	until time.Time // when the next one like it comes
}

// walled is a wall as the sheets look at it.
type walled struct {
	Folded
	now func() Assessment // made once, when it is first asked for
}

// sheets makes the sheets of a site that are due at a moment and not in the
// record, and says when the next one is. Which local dates have one is read from
// the record alone: a restart, a late start, a repeated hour or a missing one
// leave exactly one morning sheet, one evening sheet and one beat a local day,
// and one register a week, on its Monday. What was missed is made late, but only
// the last of each; and before the site's first entry there is none.
//
// The morning sheet goes on for as long as the site has walls. The others are
// for a site that has begun and has a wall that is not handed over.
func sheets(p Page, ref Ref, f Folded, hub Hub, at time.Time) (words []events.Event, next time.Time, err error) {
	due, next, err := missing(f, at)
	if err != nil || len(due) == 0 {
		return nil, next, err
	}
	walls := wallsOf(p, ref.Site, hub, at)
	for _, d := range due {
		if slices.ContainsFunc(walls, d.concerns) {
			lines := d.lines(walls, f.zone())
			words = append(words, word(ref, "sheet.issued", d.At, &events.SheetIssued{Sheet: d.sheet, Date: d.Date, At: d.At, Walls: lines, Rules: Rules}))
		}
	}
	return words, next, nil
}

// missing lists the sheets that were due last and are not in the record.
func missing(f Folded, at time.Time) (due []dueSheet, next time.Time, err error) {
	morning, evening := clockTime(f.SheetMinute), DefaultEveningAt
	if f.SheetMinute >= 12*60 {
		evening = clockTime((f.SheetMinute + 6*60) % (24 * 60))
	}
	for _, s := range [...]struct{ sheet, at string }{
		{events.MorningSheet, morning}, {events.EveningSheet, evening}, {events.WeeklySheet, morning}, {events.DailyBeat, morning},
	} {
		cal, err := calendarIn(f.zone(), s.at, s.sheet == events.WeeklySheet)
		if err != nil {
			return nil, time.Time{}, fmt.Errorf("%s sheet: %w", s.sheet, err)
		}
		d := dueSheet{s.sheet, cal.Last(at), cal.Next(at).At}
		next = earlier(next, d.until)
		if _, issued := f.Sheets[site.SheetDay{Sheet: s.sheet, Date: d.Date}]; !issued {
			due = append(due, d)
		}
	}
	return due, next, nil
}

func clockTime(minute int) string { return fmt.Sprintf("%02d:%02d", minute/60, minute%60) }

func wallsOf(p Page, name string, hub Hub, at time.Time) (walls []walled) {
	for _, r := range p.Refs(name) {
		if r.Wall == "" {
			continue
		}
		f := p.Look(r)
		walls = append(walls, walled{f, sync.OnceValue(func() Assessment {
			if f.Assess == nil {
				return Assessment{}
			}
			return f.Assess(hub, at)
		})})
	}
	return walls
}

// concerns reports whether a wall is one for which the sheet is made at all.
func (d dueSheet) concerns(w walled) bool {
	if w.Begun == nil {
		return false
	}
	begun := w.Begun()
	return !begun.IsZero() && !begun.After(d.At) && (d.sheet == events.MorningSheet || w.now().State != StateHandedOver)
}

// lines is what a sheet says of the walls: nothing in a beat, which says only
// that the hub is alive.
func (d dueSheet) lines(walls []walled, zone *time.Location) []events.SheetWall {
	if d.sheet == events.DailyBeat {
		return nil
	}
	var lines []events.SheetWall
	for _, w := range walls {
		a := w.now()
		line := sheetLine(a, d.until, zone)
		switch {
		case d.sheet == events.WeeklySheet:
			if line.Braces == 0 {
				continue
			}
			line.Text = registerText(w, a, zone)
		case a.State == "" || a.State == StatePlanned || a.State == StateStripped || a.State == StateHandedOver:
			continue
		case d.sheet == events.EveningSheet:
			line.Text = nightText(a, line.Text)
		}
		line.Text = clipText(line.Text, mostLineText)
		lines = append(lines, line)
	}
	slices.SortStableFunc(lines, func(a, b events.SheetWall) int {
		return cmp.Or(cmp.Compare(slices.Index(sheetParts, a.What), slices.Index(sheetParts, b.What)), cmp.Compare(a.Wall, b.Wall))
	})
	return withinRoom(lines)
}

// sheetLine is what every sheet says of one wall: until is when the next sheet
// comes.
func sheetLine(a Assessment, until time.Time, zone *time.Location) events.SheetWall {
	line := events.SheetWall{Wall: a.Wall, What: "waiting", At: opens(a.Strip), Braces: bracesUp(a), Frost: frostText(a, zone)}
	overdue := slices.ContainsFunc(a.Alerts, func(x Alert) bool { return x.Kind == AlertBraceOverdue })
	switch {
	case overdue:
		line.What, line.At = "overdue", a.Strip.OpenedAt
	case a.Strip.Open:
		line.What, line.At = "may-strip", a.Strip.OpenedAt
	case !a.Strip.CuredAt.IsZero():
		line.At, line.Text = time.Time{}, "cured, waits for "+a.Strip.Governs
	case !line.At.IsZero() && line.At.Before(until):
		line.What = "expected"
	}
	return line
}

// bracesUp counts the braces that stand.
func bracesUp(a Assessment) (n int64) {
	for _, b := range a.Braces {
		switch b.State {
		case BraceStanding, BraceMayStrip, BraceDisturbed:
			n++
		}
	}
	return n
}

// frostText is the frost that is forecast before the wall can stand it, as the
// assessment has it: short where it gives the figures.
func frostText(a Assessment, zone *time.Location) string {
	i := slices.IndexFunc(a.Alerts, func(x Alert) bool { return x.Kind == AlertFrostAhead })
	if i < 0 {
		return ""
	}
	if b := a.Alerts[i].About; b != nil && b.Measure == "temperature" && b.Have != nil && !b.Until.IsZero() {
		return fmt.Sprintf("from %s, %s °C", b.Until.In(zone).Format("Mon 2 Jan 15:04 MST"), formatFixed(*b.Have, 1))
	}
	return clipText(a.Alerts[i].Text, mostFrostText)
}

// coverWords name the items of the check list after placing that are about covers.
var coverWords = map[string]string{"top-cured": "cover of the top", "cold-covered": "cover against the cold"}

// nightText is what bears on a wall in the coming night: that it is still being
// placed, who holds it, which covers are missing.
func nightText(a Assessment, text string) string {
	var parts []string
	if a.State == StatePlacing {
		parts = append(parts, "still being placed")
	}
	if text != "" {
		parts = append(parts, text)
	}
	for _, c := range a.Strip.Criteria {
		if c.Name == Hold && !c.Met && c.Note != "" {
			parts = append(parts, c.Note)
		}
	}
	for _, l := range a.Checks {
		for _, m := range l.Open {
			if words := coverWords[m.ID]; words != "" {
				parts = append(parts, words+": "+m.Why)
			}
		}
	}
	return strings.Join(parts, "; ")
}

// registerText is a wall's line in the register of the week: since when braces
// stand, and how the wall is.
func registerText(w walled, a Assessment, zone *time.Location) string {
	text := "braced"
	if w.Braced != nil {
		if since := w.Braced(a.At); !since.IsZero() {
			text += " since " + since.In(zone).Format("Mon 2 Jan 15:04 MST")
		}
	}
	state := strings.ReplaceAll(a.State, "-", " ")
	switch a.State {
	case StateCuring, StatePlacing:
		state += ", waits for " + a.Strip.Governs
	case StateMayStrip:
		state = "window open"
	}
	return text + "; " + state
}

// withinRoom leaves off at the end what an event has no room for, and says so in the
// last line that is left.
func withinRoom(lines []events.SheetWall) []events.SheetWall {
	room, n := mostSheetBytes, 0
	for _, l := range lines[:min(len(lines), mostSheetWalls)] {
		body, err := json.Marshal(l)
		if room -= len(body) + 1; err != nil || room < 0 {
			break
		}
		n++
	}
	if left := len(lines) - n; left > 0 && n > 0 {
		lines = lines[:n]
		lines[n-1].Text = clipText(fmt.Sprintf("%d more walls are not on this sheet; %s", left, lines[n-1].Text), mostLineText)
	}
	return lines
}
