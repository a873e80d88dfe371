package board

import (
	"cmp"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/notify/text"
	"earlyage/projector/people"
	"earlyage/scheduler"
)

// alertLine is an alert on its page.
type alertLine struct {
	Alert
	Name, Place, Do, Who, Clock, Answer, Sum string
	Says, Record                             string // Record is empty where what is said is the record's own
	Left, Mark, Age                          Cell
	Words                                    []string // who was told and shown, in order
	Back                                     []string // the answers that were taken back
	MayAnswer, MayRest, Hidden               bool
}

// restLine is what is out of service, on the same page.
type restLine struct {
	Rest
	Name, Place, Says string
	May               bool // be taken back into service
}

func (p *Pages) alertLines(c *words.Catalogue, b Board, sight Sight, r *http.Request) (out []alertLine) {
	all, q := tongues(c, b), r.URL.Query()
	for _, a := range b.Alerts {
		t, ok := all[a.Site]
		if !ok {
			t = all[people.Company]
		}
		line := alertLine{
			Alert: a, Name: t.alert(a.Kind), Place: t.place(a.Wall, a.WallName), Do: t.todo(a.Kind), Who: t.who(a.Kind), Clock: t.down(a.Since) + " " + t.short(),
			Hidden:    q.Get("site") != "" && q.Get("site") != a.Site || q.Get("wall") != "" && q.Get("wall") != a.Wall,
			MayAnswer: sight.MayAnswer(a.Site, a.Kind), MayRest: a.Answered != Rested && events.MayRest(a.Kind) && sight.May(a.Site, "alert.out-of-service"),
			Mark: t.stands(a), Answer: p.answer(t, a),
		}
		if b.At.Sub(a.Since.Time) < day {
			line.Age = Cell{At: a.Since.UnixMilli(), Way: wayAge}
		}
		line.Sum, line.Words = p.told(t, a)
		line.Says, line.Record = t.says(a)
		line.Back = p.back(t, a)
		if a.Answered == "" {
			line.Left = Cell{At: a.Respond.UnixMilli(), Way: wayDown}
			if b.At.Sub(a.Respond.Time) >= day {
				line.Left = Cell{Text: c.T("board.over-since", "when", t.down(a.Respond)+" "+t.short())}
			}
		}
		out = append(out, line)
	}
	return out
}

// place names a wall on the tongue's site, or the site.
func (t tongue) place(wall, name string) string {
	if wall == "" {
		return t.name
	}
	return t.T("board.place", "wall", name, "site", t.name)
}

// stands words an alert's state, with its mark.
func (t tongue) stands(a Alert) Cell {
	mark := markOff
	switch a.Answered {
	case "":
		mark = alertMark(a.Priority)
	case Returned:
		mark = markWatch
	case Shelved, Rested:
		mark = markNoLink
	}
	state := own(t.Catalogue, "alarm."+strings.ReplaceAll(a.State, " ", "-"), a.State)
	return Cell{Text: t.T("board.alert.state", "state", state, "priority", t.T("board.priority."+a.Priority)), State: mark}
}

// answer says who brought an alert where it stands.
func (p *Pages) answer(t tongue, a Alert) string {
	who := cmp.Or(p.config.Name(a.By), a.By, t.T("board.told.anybody"))
	switch a.Answered {
	case Acknowledged:
		text := t.T("board.answered.by", "who", who, "when", t.down(a.At))
		if a.Why != "" {
			text += " " + t.T("board.answered.note", "note", a.Why)
		}
		return text
	case Returned:
		return t.T("board.answered.returned", "when", t.down(a.Cleared))
	case Shelved, Rested:
		return t.T("board.answered.until", "when", t.down(a.Until), "who", who, "why", a.Why)
	}
	return ""
}

// says gives what an alert says on its site's page, and what of it stands in the
// record.
func (t tongue) says(a Alert) (say, record string) {
	say, record = face.Says(t.Lang(), t.site, t.at, a.Kind, a.Text, a.About)
	if record != "" {
		record = text.InRecord(t.Lang(), record)
	}
	return say, record
}

// back says which answers were taken back, and why.
func (p *Pages) back(t tongue, a Alert) (out []string) {
	who := func(id string) string { return cmp.Or(p.config.Name(id), id, t.T("board.told.anybody")) }
	for _, y := range a.TakenBack {
		out = append(out, t.T("board.answered.taken-back", "who", who(y.By), "when", t.down(y.At), "by", who(y.VoidBy), "at", t.down(y.VoidAt), "why", y.Reason))
	}
	return out
}

// told says in one line how far an alert has reached, and then one by one.
func (p *Pages) told(t tongue, a Alert) (sum string, lines []string) {
	type word struct {
		at   time.Time
		text string
	}
	var list []word
	failed, seen := 0, map[string]bool{}
	for _, x := range a.Told {
		who, outcome := cmp.Or(p.config.Name(x.Person), x.Person, t.T("board.told.anybody")), own(t.Catalogue, "board.outcome."+x.Outcome, x.Outcome)
		if x.Outcome == "failed" {
			failed++
			outcome = strings.TrimSuffix(outcome+", "+x.Error, ", ")
		}
		text := t.T("board.told.line", "when", t.down(x.At), "who", who, "channel", own(t.Catalogue, "board.channel."+x.Channel, x.Channel),
			"what", own(t.Catalogue, "board.what."+x.What, x.What)+t.step(x.Step), "outcome", outcome)
		list = append(list, word{x.At.Time, text})
	}
	for _, x := range a.Shown {
		seen[x.Person] = true
		list = append(list, word{x.At.Time, t.T("board.told.shown", "when", t.down(x.At), "who", cmp.Or(p.config.Name(x.Person), x.Person), "device", x.Device)})
	}
	if len(list) == 0 {
		return t.T("board.told.none"), nil
	}
	slices.SortStableFunc(list, func(x, y word) int { return x.at.Compare(y.at) })
	if n := a.ToldMore + a.More; n > 0 {
		lines = append(lines, t.T("board.told.more", "n", n))
	}
	for _, x := range list {
		lines = append(lines, x.text)
	}
	return t.T("board.told.sum", "told", len(a.Told)+a.ToldMore, "shown", len(seen), "failed", failed), lines
}

func (t tongue) step(n int64) string {
	if n == 0 {
		return ""
	}
	return ", " + t.T("board.told.step", "n", n)
}

func (p *Pages) restLines(c *words.Catalogue, b Board, sight Sight) (out []restLine) {
	all := tongues(c, b)
	for _, r := range b.Rests {
		t, ok := all[r.Site]
		if !ok {
			t = all[people.Company]
		}
		out = append(out, restLine{
			Rest: r, Name: t.alert(r.Kind), Place: t.place(r.Wall, r.WallName), May: sight.May(r.Site, "alert.in-service"),
			Says: t.T("board.answered.until", "when", t.down(r.Until), "who", cmp.Or(p.config.Name(r.By), r.By, t.T("board.told.anybody")), "why", r.Reason),
		})
	}
	return out
}

// measured words how fast and how much is told; nothing was: nothing.
func measured(c *words.Catalogue, m api.ToldMeasure) []string {
	if m.Raised.Count+m.Told.Count+m.Acknowledged.Count == 0 {
		return nil
	}
	out := []string{}
	for _, s := range []struct {
		name string
		api.Spread
	}{{"known", m.Known}, {"raised", m.Raised}, {"told", m.Told}, {"reached", m.Reached}, {"acknowledged", m.Acknowledged}} {
		if s.Count > 0 {
			out = append(out, c.T("board.measured."+s.name, "p", seconds(c, s.P50), "q", seconds(c, s.P99)))
		}
	}
	if m.Most > 0 {
		out = append(out, c.T("board.measured.most", "n", m.Most))
	}
	return out
}

// seconds writes a measured time, rounded up.
func seconds(c *words.Catalogue, s float64) string {
	if s < 100 {
		return c.T("board.seconds", "n", math.Ceil(s*10)/10)
	}
	return span(c, int64(math.Ceil(s/60)))
}

// kindLine is a kind of alert on the page of all kinds.
type kindLine struct {
	ID, Name, Cause, Consequence, Do, Respond, Who string
	Mark                                           Cell
}

// kindLines lists all kinds, the most pressing first.
func kindLines(c *words.Catalogue) (out []kindLine) {
	names, t := scheduler.AlertKindNames(), tongue{Catalogue: c}
	slices.SortStableFunc(names, func(x, y string) int {
		return cmp.Compare(priority(scheduler.AlertKinds[x].Priority), priority(scheduler.AlertKinds[y].Priority))
	})
	for _, name := range names {
		k := scheduler.AlertKinds[name]
		cause, consequence := text.Cause(c.Lang(), name)
		out = append(out, kindLine{
			ID: name, Name: t.alert(name), Cause: cause, Consequence: consequence, Do: t.todo(name), Respond: span(c, int64(k.Respond/time.Minute)), Who: t.who(name),
			Mark: Cell{Text: c.T("board.priority." + k.Priority), State: alertMark(k.Priority)},
		})
	}
	return out
}
