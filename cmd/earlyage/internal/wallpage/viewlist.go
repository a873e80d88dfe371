package wallpage

import (
	"cmp"
	"strconv"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/words"
	telling "earlyage/notify/text"
	"earlyage/scheduler"
)

// listed is what the officer's page shows.
type listed struct {
	Title  string
	When   string
	Demo   bool
	Wrong  []string
	Counts []count
	Lines  []listedWall // with an exception
	Quiet  []listedWall
	Digest string
}

// count is how many exceptions of a sort there are.
type count struct {
	Sort, Name, Mark string
	N                int
	Link             string
}

type listedWall struct {
	ID, Name, Site, Link string
	State, Window        cell
	Fresh                bool // what the window says holds for a minute only
	Braces               string
	Alerts               string
	Exceptions           []listedException
}

type listedException struct {
	Sort, Name, Mark, Text, Since, Link, Do string
	Record                                  string // what the record says, where Text is not that
	Answered                                bool
}

var sortMarks = map[string]string{ExceptionEarly: "hold", ExceptionDoubt: "watch", ExceptionOverdue: "watch", ExceptionPermit: "hold"}

func listView(c *words.Catalogue, l List, who func(string) string) listed {
	out := listed{Title: c.T("wall.list.title"), Demo: l.Demo, Wrong: l.Doubts}
	tongues := map[string]tongue{}
	zone := time.UTC
	for _, s := range l.Sites {
		tongues[s.Site] = tongueOf(c, s, l.At.Time, who)
		zone = s.Location()
	}
	if len(l.Sites) != 1 {
		zone = time.UTC
	}
	out.When = tongue{Catalogue: c, at: l.At.Time, zone: zone}.long(l.At.Time)
	out.Digest = c.T("wall.list.digest", "through", l.Through, "rules", scheduler.Rules, "when", out.When)
	if !l.Level {
		out.Wrong = append([]string{c.T("board.not-level")}, out.Wrong...)
	}
	counts := map[string]int{}
	first := map[string]string{}
	for i, w := range l.Walls {
		t, ok := tongues[w.Site]
		if !ok {
			t = tongueOf(c, face.Site{Site: w.Site}, l.At.Time, who)
		}
		line := t.listed(w, l, "w"+strconv.Itoa(i+1))
		if len(w.Exceptions) == 0 {
			out.Quiet = append(out.Quiet, line)
			continue
		}
		out.Lines = append(out.Lines, line)
		for _, x := range w.Exceptions {
			counts[x.Sort]++
			first[x.Sort] = cmp.Or(first[x.Sort], "#"+line.ID)
		}
	}
	for _, s := range sorts {
		out.Counts = append(out.Counts, countOf(c, s, counts[s], first[s]))
	}
	return out
}

func countOf(c *words.Catalogue, sort string, n int, link string) count {
	mark := sortMarks[sort]
	if n == 0 {
		mark = "done"
	}
	return count{sort, c.T("wall.sort." + sort), mark, n, link}
}

func (t tongue) listed(w Standing, l List, id string) listedWall {
	out := listedWall{ID: id, Name: cmp.Or(w.Name, t.T("wall.list.site")), Site: t.name}
	for _, x := range w.Exceptions {
		y := listedException{Sort: x.Sort, Name: t.T("wall.sort." + x.Sort), Mark: sortMarks[x.Sort], Text: x.Text, Since: t.either(x.Since, t.down), Link: x.Link(w), Answered: x.Answered}
		if x.Kind != "" {
			y.Name, y.Do = t.alert(x.Kind), t.todo(x.Kind)
			y.Text, y.Record = t.alertSays(x.Kind, x.Text, x.About)
			if y.Record != "" {
				y.Record = telling.InRecord(t.Lang(), y.Record)
			}
		}
		if x.Sort == ExceptionPermit && x.Kind == "" {
			y.Since, y.Text = "", t.T("wall.list.no-permit", "when", t.up(x.Since))
		}
		out.Exceptions = append(out.Exceptions, y)
	}
	if w.Wall == "" {
		return out
	}
	out.Link = Path(w.Site, w.Wall)
	p := Page{At: l.At, Level: l.Level, MayStrip: w.Open, Wall: face.Wall{State: w.State, Strip: w.Strip}}
	say, mark := t.verdict(p)
	out.Window, out.Fresh = cell{Text: say, Mark: mark}, w.Open
	out.State = cell{Text: t.own("state."+w.State, w.State), Mark: stateMark(w.State)}
	if w.State == scheduler.StateMayStrip {
		out.State = cell{Text: t.T("wall.window-open"), Mark: "done"}
	}
	if w.State == scheduler.StateMayStrip && !w.Open {
		out.State = cell{Text: t.T("state.curing"), Mark: "curing"}
	}
	if w.Braces > 0 {
		out.Braces = t.T("board.braces.stand", "n", w.Braces)
	}
	if w.Alerts > 0 {
		out.Alerts = t.T("wall.list.alerts", "n", w.Alerts)
	}
	return out
}
