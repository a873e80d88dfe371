package text

import (
	"strings"
	"time"

	"earlyage/notify/notice"
	"earlyage/scheduler"
)

// Facts is what a message is made from, beside what it tells of.
type Facts struct {
	Now    time.Time
	Site   notice.Site
	Sites  map[string]notice.Site // of a summary over several sites, by token; one that is missing is called by its token
	Reader notice.Reader
	Walls  map[notice.Place]string // names of walls for people; one that is missing is called by its token
	Link   string                  // of the page to open, http or https; anything else is left out
	Told   []string                // names of the others who are told
	Next   string                  // who is told next if nobody answers; empty: nobody
	NextAt time.Time               // when
}

// What a message is (notice.Message.What).
const (
	raised  = "raised"
	cleared = "cleared"
	summary = "summary"
	sheet   = "sheet"
	test    = "test"
)

// Alert makes the message of one word of an alert's life. Of what was raised it
// says what to do; of the rest, what became of it. Its identity, channel, step
// and reason are for the caller to fill in.
func Alert(n notice.Notice, f Facts) notice.Message {
	t := newTeller(f)
	h := t.head(n)
	p := t.page(h.line())
	p.Parts = t.alertParts(n)
	p.Caution = t.say("caution")
	m := t.message(p)
	m.What = cleared
	if n.State == notice.Raised {
		m.What = raised
	}
	m.Alerts, m.Kind, m.Site, m.Wall = []string{n.Alert}, n.Kind, n.Site, n.Wall
	m.Priority, m.Urgent = n.Priority, n.Priority == scheduler.Urgent
	m.Short = t.short(h, shortest)
	return m
}

// Test makes a message that asks for nothing.
func Test(f Facts) notice.Message {
	t := newTeller(f)
	p := t.page(t.say("test.first", "site", t.siteName(""), "at", t.minute(f.Now)))
	p.Lead = t.say("test.body")
	m := t.message(p)
	m.What, m.Site = test, f.Site.Token
	return m
}

func (t teller) page(first string) page {
	return page{Lang: t.lang, Title: first, Link: webLink(t.facts.Link), Open: t.say("open")}
}

// message writes a page as a message to its reader.
func (t teller) message(p page) notice.Message {
	return notice.Message{
		To: t.facts.Reader, At: t.facts.Now, Link: p.Link,
		First: p.Title, Short: clip(plainer.Replace(p.Title), shortest),
		Plain: p.plain(t.say("link", "link", p.Link)), HTML: p.html(),
	}
}

// alertParts is the message below its first line.
func (t teller) alertParts(n notice.Notice) []part {
	w := t.kind(n.Kind)
	parts := []part{{Rows: t.matter(n, w)}}
	if n.State == notice.Raised {
		parts = append(parts, part{Head: t.say("part.do"), Lines: t.steps(n, w), Ordered: true})
	}
	rest := t.numbers(n)
	if said := Clean(n.Text); said != "" {
		rest = t.with(rest, "record", said)
	}
	parts = append(parts, part{Rows: append(rest, t.others()...)})
	return dropEmpty(parts)
}

func dropEmpty(parts []part) []part {
	var out []part
	for _, p := range parts {
		if len(p.Rows)+len(p.Lines) > 0 {
			out = append(out, p)
		}
	}
	return out
}

// with adds a row, unless it is empty.
func (t teller) with(rows []row, key, text string) []row {
	if text == "" {
		return rows
	}
	return append(rows, row{t.say("row." + key), text})
}

// matter is what it is, since when, and what comes of it.
func (t teller) matter(n notice.Notice, w words) []row {
	var rows []row
	if !n.Since.IsZero() {
		rows = t.with(rows, "since", t.minute(n.Since)+" ("+t.span(t.now.Sub(n.Since.Truncate(time.Minute)))+")")
	}
	if n.State != notice.Raised {
		if !n.At.IsZero() {
			rows = t.with(rows, "at", t.minute(n.At))
		}
		if !n.Until.IsZero() {
			rows = t.with(rows, "until", t.minute(n.Until))
		}
		rows = t.with(rows, "by", Clean(n.By))
		if n.State == notice.Cleared {
			rows = t.with(rows, "gone", t.say("gone"))
		}
		return t.with(rows, "cause", local(w.cause, t.sys))
	}
	if n.About != nil && !n.About.Until.IsZero() {
		key := "until"
		if !n.About.Until.After(t.now) {
			key = "past"
		}
		left := n.About.Until.Truncate(time.Minute).Sub(t.now)
		rows = t.with(rows, key, t.minute(n.About.Until)+" ("+t.span(max(left, -left))+")")
	}
	rows = t.with(rows, "cause", local(w.cause, t.sys))
	rows = t.with(rows, "consequence", local(w.consequence, t.sys))
	if k, known := scheduler.AlertKinds[n.Kind]; known {
		rows = t.with(rows, "respond", t.span(k.Respond))
	}
	return t.with(rows, "who", w.who)
}

// numbers is what the notice says in numbers, whole.
func (t teller) numbers(n notice.Notice) []row {
	a := n.About
	if a == nil {
		return nil
	}
	var rows []row
	rows = t.with(rows, "place", t.place(a))
	rows = t.with(rows, "braces", strings.Join(cleanAll(a.Braces), ", "))
	rows = t.with(rows, "load", Clean(a.Load))
	rows = t.with(rows, "device", Clean(a.Device))
	if _, known := measures[a.Measure]; known {
		var have, limit string
		switch {
		case a.Have != nil && a.Limit != nil:
			have, limit = against(a.Measure, *a.Have, *a.Limit, t.sys)
		case a.Have != nil:
			have = quantity(a.Measure, *a.Have, t.sys, up)
		case a.Limit != nil:
			limit = quantity(a.Measure, *a.Limit, t.sys, down)
		}
		rows = t.with(rows, "have."+a.Measure, have)
		rows = t.with(rows, "limit", limit)
	}
	return t.with(rows, "clear", t.clear(a))
}

// others is who else knows, and who will.
func (t teller) others() []row {
	rows := t.with(nil, "told", strings.Join(cleanAll(t.facts.Told), ", "))
	next := Clean(t.facts.Next)
	if next != "" && !t.facts.NextAt.IsZero() {
		next = t.say("next", "name", next, "at", t.minute(t.facts.NextAt))
	}
	return t.with(rows, "next", next)
}
