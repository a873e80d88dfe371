package text

import (
	"strings"

	"earlyage/notify/notice"
	"earlyage/scheduler/concrete/unit"
)

// Gist says in one line, in a reader's language and units, what an alert is about:
// what makes one of its kind, then its numbers. It says nothing of when it is read,
// so that it stays true on a page that stands open. It is "" of an alert without
// numbers, or of a kind that is not known.
func Gist(n notice.Notice, f Facts) string {
	t := newTeller(f)
	cause, rows := t.kind(n.Kind).cause, t.numbers(n)
	if n.About != nil && !n.About.Until.IsZero() {
		rows = t.with(rows, "until", t.minute(n.About.Until))
	}
	if cause == "" || len(rows) == 0 {
		return ""
	}
	said := make([]string, len(rows))
	for i, r := range rows {
		said[i] = r.Label + ": " + r.Text
	}
	return local(cause, t.sys) + " " + strings.Join(said, "; ")
}

// InUnits puts the quantities in a text of the kinds, as "1.2 m", into the units of
// a system: si or us.
func InUnits(said, units string) string {
	if units == unit.US.String() {
		return local(said, unit.US)
	}
	return said
}

// InRecord puts what the record says behind a word for it, in a language.
func InRecord(lang, said string) string {
	return in(lang).texts["row.record"] + ": " + Clean(said)
}
