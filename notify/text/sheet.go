package text

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"earlyage/events"
	"earlyage/notify/notice"
)

// The parts of a sheet, in the order of the record.
var sheetParts = []string{"overdue", "may-strip", "expected", "waiting"}

// Sheet makes the message of a sheet that was issued. It attaches nothing.
func Sheet(n notice.Notice, f Facts) notice.Message {
	t := newTeller(f)
	issued := n.Issued
	if issued == nil {
		issued = &events.SheetIssued{At: n.At}
	}
	var p page
	if issued.Name() == events.DailyBeat {
		p = t.page(t.say("sheet.beat", "site", t.siteName(n.Site), "at", t.minuteUp(issued.At)))
		p.Link = ""
	} else {
		p = t.page(t.sheetLine(n, issued))
		p.Parts = t.sheetParts(n.Site, issued)
		p.Caution = t.say("caution")
	}
	m := t.message(p)
	m.What, m.Site = sheet, n.Site
	return m
}

func (t teller) sheetLine(n notice.Notice, issued *events.SheetIssued) string {
	var counts []string
	for _, part := range sheetParts {
		if lines := inPart(issued, part); len(lines) > 0 {
			counts = append(counts, t.say("sheet.count."+part, "n", strconv.Itoa(len(lines))))
		}
	}
	if counts == nil {
		counts = []string{t.say("sheet.nothing")}
	}
	return t.say("sheet.first", "sheet", t.say("sheet."+issued.Name()), "site", t.siteName(n.Site),
		"date", t.localDate(issued), "counts", strings.Join(counts, ", "))
}

// localDate is the site's own date of the sheet.
func (t teller) localDate(issued *events.SheetIssued) string {
	d, err := time.Parse(time.DateOnly, issued.Date)
	if err != nil {
		return t.date(issued.At.In(t.zone))
	}
	return t.date(d)
}

func inPart(issued *events.SheetIssued, part string) []events.SheetWall {
	var out []events.SheetWall
	for _, w := range issued.Walls {
		if w.What == part {
			out = append(out, w)
		}
	}
	return out
}

// sheetParts lists the walls. In the evening the frost comes first.
func (t teller) sheetParts(site string, issued *events.SheetIssued) []part {
	var parts []part
	for _, name := range sheetParts {
		p := part{Head: t.partHead(issued, name)}
		for _, w := range inPart(issued, name) {
			p.Lines = append(p.Lines, t.sheetWall(site, w))
		}
		parts = append(parts, p)
	}
	parts = append(parts, part{Head: t.say("sheet.part.free"), Lines: t.freeBraces(issued)})
	frost := part{Head: t.partHead(issued, "frost"), Lines: t.frost(site, issued)}
	if issued.Name() == events.EveningSheet {
		parts = slices.Insert(parts, 0, frost)
	} else {
		parts = append(parts, frost)
	}
	for i := range parts {
		if len(parts[i].Lines) == 0 {
			parts[i].Lines = []string{t.say("sheet.none")}
		}
	}
	return parts
}

// partHead names a part. Only the morning's sheet speaks of the day that comes,
// and the week's not of a night.
func (t teller) partHead(issued *events.SheetIssued, name string) string {
	switch {
	case name == "may-strip" && issued.Name() != events.MorningSheet:
		name = "open"
	case name == "frost" && issued.Name() == events.WeeklySheet:
		name = "cold"
	}
	return t.say("sheet.part." + name)
}

func (t teller) sheetWall(site string, w events.SheetWall) string {
	wall := t.wallName(site, w.Wall)
	line := wall
	if !w.At.IsZero() {
		key := map[string]string{"overdue": "sheet.open", "may-strip": "sheet.open", "expected": "sheet.expect"}[w.What]
		if key == "" {
			key = "sheet.expect"
		}
		line = t.say(key, "wall", wall, "at", t.minuteUp(w.At))
	}
	switch {
	case w.Braces == 1:
		line += ", " + t.say("sheet.brace")
	case w.Braces > 1:
		line += ", " + t.say("sheet.braces", "n", strconv.FormatInt(w.Braces, 10))
	}
	if said := t.issued(Clean(w.Text)); said != "" {
		line += " (" + said + ")"
	}
	return line
}

// freeBraces counts what may be taken now, and what is expected.
func (t teller) freeBraces(issued *events.SheetIssued) []string {
	var now, due int64
	for _, w := range issued.Walls {
		switch w.What {
		case "overdue", "may-strip":
			now += w.Braces
		case "expected":
			due += w.Braces
		}
	}
	var out []string
	if now > 0 {
		out = append(out, t.say("sheet.free.now", "n", strconv.FormatInt(now, 10)))
	}
	if due > 0 {
		out = append(out, t.say("sheet.free.due", "n", strconv.FormatInt(due, 10)))
	}
	return out
}

func (t teller) frost(site string, issued *events.SheetIssued) []string {
	var out []string
	for _, w := range issued.Walls {
		if said := Clean(w.Frost); said != "" {
			out = append(out, t.say("sheet.frost", "wall", t.wallName(site, w.Wall), "frost", t.cold(said)))
		}
	}
	return out
}
