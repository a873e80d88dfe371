package text

import (
	"cmp"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/scheduler"
)

// clear writes how far people stay out; "" where it is not said.
func (t teller) clear(a *events.About) string {
	if a == nil || a.ClearM == nil {
		return ""
	}
	return quantity("station", *a.ClearM, t.sys, up)
}

// doBriefly says in a few words what to do, and how far to stay out.
func (t teller) doBriefly(n notice.Notice, w words) string {
	first, _, _ := strings.Cut(w.action, ". ")
	do := local(cmp.Or(w.do, clip(first, 60)), t.sys)
	if clear := t.clear(n.About); clear != "" {
		far := t.say("do.far", "clear", clear)
		if stayOut.MatchString(do) {
			do = stayOut.ReplaceAllLiteralString(do, far)
		} else if utf8.RuneCountInString(far+do) <= mostDo {
			do = far + ". " + do
		}
	}
	return strings.TrimSuffix(do, ".")
}

// mostDo is how long the few words may get by the number that is put before them.
const mostDo = 64

// stayOut is how the table says it where there is no room for a number.
var stayOut = regexp.MustCompile(`^(Stay out|Keep out|Todos fuera)\b`)

// steps says in order what to do. Where the wall lost braces that nobody had
// permitted to take, the engineer's word is asked for as after an early strip.
func (t teller) steps(n notice.Notice, w words) []string {
	action, height := w.action, t.say("do.height")
	var out []string
	switch clear := t.clear(n.About); {
	case clear == "":
	case strings.Contains(action, height):
		action = strings.Replace(action, height, t.say("do.both", "clear", clear, "height", height), 1)
	default:
		out = append(out, t.say("do.out", "clear", clear, "height", local(height, t.sys)))
	}
	out = append(out, sentences(local(action, t.sys))...)
	if n.Kind == scheduler.AlertStripUnpermitted {
		out = slices.Insert(out, 1, t.say("do.engineer"), t.say("do.word"))
	}
	return out
}

// sentences cuts a text of the table into its sentences.
func sentences(s string) []string {
	var out []string
	for s != "" {
		one, rest, more := strings.Cut(s, ". ")
		if more {
			one += "."
		}
		out = append(out, one)
		s = rest
	}
	return out
}
