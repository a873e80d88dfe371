// Package alertpage writes the page of the alerts from the one table of their
// kinds. It is pure.
package alertpage

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"earlyage/events"
	"earlyage/scheduler"
)

// width is where the lines of the page wrap.
const width = 128

// priorities, the most pressing first, with what each asks for.
var priorities = []struct{ name, asks string }{
	{scheduler.Urgent, "act now"}, {scheduler.High, "act within the hour"}, {scheduler.Medium, "act today"}, {scheduler.Low, "know of it"},
}

const intro = `# The alerts

Made by ` + "`go generate ./scheduler`" + ` from the table of kinds in ` + "`scheduler/kindtable.go`" + `. Do not edit it: a
test fails when it is stale.
`

const life = `An alert is raised when its condition has held for its on-delay, and cleared when the condition has been gone for its off-delay
(the terms are those of IEC 62682). A value that sits on its limit raises once: until it has come back by the deadband the alert
stands. Whoever may answer acknowledges it, or shelves it by name and with a reason for 8 hours at the most. A latched alert is
cleared by no recalculation before it is acknowledged; one that tells of a deed is cleared by its answer, and the same deed is
never told again.
`

// Page is the page.
func Page() []byte {
	var b strings.Builder
	b.WriteString(intro + "\n" + life + "\n" + wrap("", scheduler.Caution) + "\n")
	kinds := ordered()
	b.WriteString("| Priority | Kind | Acts first | Time to act |\n|---|---|---|---:|\n")
	for _, name := range kinds {
		k := scheduler.AlertKinds[name]
		fmt.Fprintf(&b, "| %s | [%s](#%s) | %s | %s |\n", k.Priority, k.Name, name, k.Who, span(k.Respond))
	}
	last := ""
	for _, name := range kinds {
		k := scheduler.AlertKinds[name]
		if k.Priority != last {
			last = k.Priority
			fmt.Fprintf(&b, "\n## %s: %s\n", strings.ToUpper(last[:1])+last[1:], asks(last))
		}
		section(&b, name, k)
	}
	return []byte(b.String())
}

// ordered lists the kinds by priority, then by name.
func ordered() []string {
	rank := func(name string) int {
		return slices.IndexFunc(priorities, func(p struct{ name, asks string }) bool {
			return p.name == scheduler.AlertKinds[name].Priority
		})
	}
	names := scheduler.AlertKindNames()
	slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(rank(a), rank(b)) })
	return names
}

func asks(priority string) string {
	for _, p := range priorities {
		if p.name == priority {
			return p.asks
		}
	}
	return ""
}

func section(b *strings.Builder, name string, k scheduler.AlertKind) {
	fmt.Fprintf(b, "\n### %s\n\n", name)
	item := func(what, text string) { b.WriteString(wrap("- ", "**"+what+"**: "+text)) }
	item("Name", k.Name)
	item("Cause", k.Cause)
	item("If nobody acts", k.Consequence)
	item("What to do", k.Action)
	item("In a short message", k.Do)
	item("Time to act", span(k.Respond))
	item("Acts first", k.Who)
	item("May answer", answering(name))
	item("Delays", fmt.Sprintf("on %s, off %s", span(k.OnDelay), span(k.OffDelay)))
	item("Deadband", k.Deadband)
	item("Latched", latched(k))
}

func answering(name string) string {
	var titles []string
	for _, r := range events.Addressees(name) {
		titles = append(titles, r.Title())
	}
	return strings.Join(titles, ", ")
}

func latched(k scheduler.AlertKind) string {
	switch {
	case k.Once:
		return "until it is acknowledged; then cleared, and never raised again for the same deed"
	case k.Latch:
		return "until it is acknowledged and its condition is gone"
	default:
		return "no"
	}
}

// span writes a time in the largest unit that gives a whole number.
func span(d time.Duration) string {
	switch {
	case d == 0:
		return "none"
	case d%time.Hour == 0:
		return fmt.Sprintf("%d h", d/time.Hour)
	case d%time.Minute == 0:
		return fmt.Sprintf("%d min", d/time.Minute)
	default:
		return d.String()
	}
}

// wrap breaks a paragraph into lines, indented under its mark.
func wrap(mark, text string) string {
	var b strings.Builder
	line := mark
	for i, word := range strings.Fields(text) {
		switch {
		case i == 0:
			line += word
		case len([]rune(line))+1+len([]rune(word)) > width:
			b.WriteString(line + "\n")
			line = strings.Repeat(" ", len(mark)) + word
		default:
			line += " " + word
		}
	}
	return b.String() + line + "\n"
}
