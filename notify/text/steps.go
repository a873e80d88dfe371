package text

import (
	"cmp"
	"strings"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/scheduler"
)

// lostSupport are the kinds after which a wall may stand without what held it:
// nobody goes near it, and nothing is put back, before an engineer has said so.
var lostSupport = map[string]bool{
	scheduler.AlertStripEarly:       true,
	scheduler.AlertStripUnpermitted: true,
	scheduler.AlertFaceEarly:        true,
}

// clear writes how far people stay out; "" where it is not said.
func (t teller) clear(a *events.About) string {
	if a == nil || a.ClearM == nil {
		return ""
	}
	return quantity("station", *a.ClearM, t.sys, up)
}

// margin is what is kept beyond the wall's height.
func (t teller) margin() string { return local("1.2 m", t.sys) }

// doBriefly says in a few words what to do.
func (t teller) doBriefly(n notice.Notice, w words) string {
	if lostSupport[n.Kind] {
		if clear := t.clear(n.About); clear != "" {
			return t.say("do.early", "clear", clear)
		}
		return t.say("do.early-height", "margin", t.margin())
	}
	first, _, _ := strings.Cut(w.action, ". ")
	return strings.TrimSuffix(local(cmp.Or(w.do, clip(first, 60)), t.sys), ".")
}

// steps says in order what to do.
func (t teller) steps(n notice.Notice, w words) []string {
	var out []string
	switch clear := t.clear(n.About); {
	case clear != "":
		out = append(out, t.say("do.out", "clear", clear, "margin", t.margin()))
	case lostSupport[n.Kind]:
		out = append(out, t.say("do.out-height", "margin", t.margin()))
	}
	if lostSupport[n.Kind] {
		return append(out, t.say("do.engineer"), t.say("do.word"), t.say("do.record"))
	}
	return append(out, sentences(local(w.action, t.sys))...)
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
