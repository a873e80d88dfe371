package notify

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/notify/text"
)

// shortMost is how long a message's short form is at most, in characters.
const shortMost = 159

// useFor is how long a sheet, or that something is over, is worth reading.
const useFor = 24 * time.Hour

// compose puts a letter into words; ok is false if what it tells of is gone.
func (e *Engine) compose(l desk.Letter, to notice.Reader, now time.Time) (m notice.Message, ok bool) {
	f := text.Facts{Now: now, Site: e.cfg.Directory.Site(l.Site), Reader: to, Link: e.cfg.Link(l.Site, l.Wall, "")}
	c, known := e.desk.Case(l.Case)
	switch {
	case l.What == desk.TellSummary:
		list := e.notices(l)
		if len(list) == 0 {
			return m, false
		}
		f.Sites = e.sites(list)
		f.Walls = e.walls(list...)
		m = e.cfg.Compose.Summary(list, f)
	case !known:
		return m, false
	case l.What == desk.TellSheet:
		f.Walls = e.walls(c.Notice)
		m = e.cfg.Compose.Sheet(c.Notice, f)
	default:
		n := wordFor(l.What, c)
		if n.By != "" {
			n.By = e.name(n.By, n.Site)
		}
		f.Link, f.Walls = e.cfg.Link(l.Site, l.Wall, c.ID), e.walls(n)
		e.whoElse(&f, c, l.Person, now)
		m = e.cfg.Compose.Alert(n, f)
	}
	return fill(m, l, to, f.Link), true
}

// composed is compose, but for a defect in the putting into words: then the hub's
// own text is sent. It must neither end the telling nor come again at each start.
func (e *Engine) composed(l desk.Letter, to notice.Reader, now time.Time) (m notice.Message, ok bool) {
	defer func() {
		if p := recover(); p != nil {
			e.cfg.Log.Error("a message cannot be put into words: the hub's own text is sent", "message", l.ID, "err", fmt.Sprint(p))
			words := e.inShort(l)
			m, ok = fill(notice.Message{First: words, Short: clip(words, shortMost), Plain: words}, l, to, ""), true
		}
	}()
	return e.compose(l, to, now)
}

// wordFor is the word that a letter tells of a case. What is over by the time that
// it is told is told as being over.
func wordFor(what string, c desk.Case) notice.Notice {
	if what == desk.TellCleared || c.Returned() {
		return c.Word()
	}
	return c.Notice
}

// fill puts in what is the same of every message.
func fill(m notice.Message, l desk.Letter, to notice.Reader, link string) notice.Message {
	m.ID, m.What, m.Channel, m.To = l.ID, l.What, l.Channel, to
	m.Alerts, m.Kind, m.Site, m.Wall, m.Priority = slices.Clone(l.Alerts), l.Kind, l.Site, l.Wall, l.Priority
	m.Urgent, m.At, m.Step, m.Why = l.Priority == desk.Urgent, l.Made, l.Step, l.Why
	if m.Link == "" {
		m.Link = link
	}
	if m.Until.IsZero() && (l.What == desk.TellSheet || l.What == desk.TellCleared) {
		m.Until = l.Made.Add(useFor)
	}
	return m
}

// notices are the alerts of a summary that are still known.
func (e *Engine) notices(l desk.Letter) (list []notice.Notice) {
	for _, id := range l.Alerts {
		if c, ok := e.desk.Case(id); ok {
			what := desk.TellRaised
			if l.Of == desk.TellCleared {
				what = desk.TellCleared
			}
			list = append(list, wordFor(what, c))
		}
	}
	return list
}

func (e *Engine) sites(list []notice.Notice) map[string]notice.Site {
	sites := map[string]notice.Site{}
	for _, n := range list {
		if _, ok := sites[n.Site]; !ok {
			sites[n.Site] = e.cfg.Directory.Site(n.Site)
		}
	}
	return sites
}

// walls are the names of the walls that some notices are about.
func (e *Engine) walls(list ...notice.Notice) map[notice.Place]string {
	tokens := map[string][]string{}
	for _, n := range list {
		if n.Wall != "" {
			tokens[n.Site] = append(tokens[n.Site], n.Wall)
		}
		if n.Issued != nil {
			for _, w := range n.Issued.Walls {
				tokens[n.Site] = append(tokens[n.Site], w.Wall)
			}
		}
	}
	names := map[notice.Place]string{}
	for site, walls := range tokens {
		slices.Sort(walls)
		for wall, name := range e.cfg.Directory.Walls(site, slices.Compact(walls)) {
			names[notice.Place{Site: site, Wall: wall}] = name
		}
	}
	return names
}

// whoElse finds who was told beside a person, and who is told next.
func (e *Engine) whoElse(f *text.Facts, c desk.Case, person string, now time.Time) {
	for _, t := range c.Told {
		if name := e.name(t.Person, c.Notice.Site); t.Person != person && !slices.Contains(f.Told, name) {
			f.Told = append(f.Told, name)
		}
	}
	if c.Climb.IsZero() || !c.Acknowledged.IsZero() {
		return
	}
	ladder := e.cfg.Rota().Ladder(c.Notice, now)
	if c.Step >= len(ladder) {
		return
	}
	var names []string
	for _, choice := range ladder[c.Step].Choices {
		if choice.Person != person {
			names = append(names, e.name(choice.Person, c.Notice.Site))
		}
	}
	if len(names) > 0 {
		f.Next, f.NextAt = strings.Join(names, ", "), c.Climb
	}
}

func (e *Engine) name(person, site string) string {
	if r, ok := e.cfg.Directory.Reader(person, site); ok && r.Name != "" {
		return r.Name
	}
	return person
}
