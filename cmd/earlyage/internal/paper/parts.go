package paper

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/events"
	"earlyage/notify/text"
)

// heads are the heads of columns.
func (p *press) heads(keys ...string) (out []string) {
	for _, k := range keys {
		out = append(out, p.t.T("paper.head."+k))
	}
	return out
}

// braces prints the bracing: its picture, the register's rows on a page that lies
// on its side, and what the page says beside it.
func (p *paper) braces(title string, part wallpage.Part) {
	p.printPart(title, part, nil)
	for _, site := range p.in.Register.Sites {
		for _, w := range site.Walls {
			if site.Site.Site == p.page.Site.Site && w.Wall == p.report.Wall && len(w.Rows) > 0 {
				p.turn(true)
				p.rows(p.t.T("paper.register"), w.Rows, p.tongue)
			}
		}
	}
	p.turn(false)
}

// probe is one place where temperatures were read.
type probe struct {
	Probe       string   `json:"probe"`
	Place       string   `json:"place"`
	AtM         *float64 `json:"at_m"`
	HeightM     *float64 `json:"height_m"`
	Calibrated  string   `json:"calibrated"`
	Certificate string   `json:"certificate"`
	device      string
	instrument  string
	readings    int
}

// probes prints where temperatures were read, and what was declared of the probes.
func (p *paper) probes() {
	type name struct{ mark, place string }
	all, order := map[name]*probe{}, []name{}
	at := func(mark, place string) *probe {
		n := name{mark, place}
		if all[n] == nil {
			all[n], order = &probe{Probe: mark, Place: place}, append(order, n)
		}
		return all[n]
	}
	p.eachData(func(e wallpage.Entry) {
		if d, ok := readingOf(e); ok {
			x := at(cmp.Or(d.Probe, e.Device), d.Place)
			x.device, x.instrument, x.readings = e.Device, cmp.Or(d.Instrument, x.instrument), x.readings+max(len(d.Series), 1)
			x.HeightM = cmp.Or(d.HeightM, x.HeightM)
		}
	})
	p.eachData(func(e wallpage.Entry) {
		var d probe
		if e.Kind == "probe.declared" && counts(e) && json.Unmarshal([]byte(e.Data), &d) == nil {
			x := at(d.Probe, d.Place)
			x.AtM, x.HeightM = cmp.Or(d.AtM, x.AtM), cmp.Or(d.HeightM, x.HeightM)
			x.Calibrated, x.Certificate = cmp.Or(d.Calibrated, x.Calibrated), cmp.Or(d.Certificate, x.Certificate)
		}
	})
	g := grid{head: p.heads("probe", "device", "place", "station", "height", "calibration", "instrument", "readings"), right: map[int]bool{7: true}}
	for _, n := range order {
		g.rows = append(g.rows, p.probeRow(all[n]))
	}
	slices.SortStableFunc(g.rows, slices.Compare[[]string])
	if len(g.rows) == 0 {
		p.paragraph(p.t.T("paper.probes.none"), plain, textSize)
	}
	p.table(g)
}

func (p *paper) probeRow(x *probe) []string {
	not := p.t.T("paper.not-recorded")
	length := func(m *float64) string {
		if m == nil {
			return not
		}
		return p.tongue.Length(*m)
	}
	calibration := cmp.Or(strings.Join(known(x.Calibrated, x.Certificate), ", "), not)
	return []string{x.Probe, x.device, p.tongue.Value(x.Place), length(x.AtM), length(x.HeightM), calibration, cmp.Or(p.tongue.Value(x.instrument), not), strconv.Itoa(x.readings)}
}

func readingOf(e wallpage.Entry) (d events.TemperatureRead, ok bool) {
	ok = e.Kind == "temperature.read" && counts(e) && json.Unmarshal([]byte(e.Data), &d) == nil
	return d, ok
}

// counts reports whether a message was taken in, once.
func counts(e wallpage.Entry) bool { return e.Refused == "" && e.Repeat == 0 }

// known are the texts that say anything.
func known(parts ...string) []string {
	return slices.DeleteFunc(parts, func(s string) bool { return s == "" })
}

// eachData calls see with every message that could be read.
func (p *paper) eachData(see func(wallpage.Entry)) {
	for _, e := range p.page.Timeline {
		if e.Kind != "" && e.Data != "" {
			see(e)
		}
	}
}

// alerts prints every alert with its answers and who was told.
func (p *paper) alerts() {
	if len(p.page.Alarms) == 0 {
		p.paragraph(p.t.T("paper.alerts.none"), plain, textSize)
	}
	for _, a := range p.page.Alarms {
		p.caption(p.tongue.Alert(a.Kind) + ", " + p.t.T("board.priority."+a.Priority))
		p.facts([]wallpage.Fact{
			{Label: p.t.T("paper.head.times"), Value: p.alertTimes(a)}, {Label: p.t.T("paper.head.text"), Value: p.alertSays(a)},
			{Label: p.t.T("paper.head.answers"), Value: p.answers(a)},
		})
		p.told(a)
	}
}

// line writes a word and what it is, where it is anything.
func (p *paper) line(key, value string) string {
	if value == "" {
		return ""
	}
	return p.t.T("paper."+key, "x", value)
}

func lines(parts ...string) string {
	return strings.Join(known(parts...), "\n")
}

// alertSays is what an alert says in the site's units and the language, above what
// the record says.
func (p *paper) alertSays(a face.Alarm) string {
	say, record := p.tongue.AlertSays(a)
	if record == "" {
		return say
	}
	return lines(say, text.InRecord(p.t.Lang(), record))
}

func (p *paper) alertTimes(a face.Alarm) string {
	return strings.Join(known(p.line("alert.since", p.when(a.Since)), p.line("alert.raised", p.when(a.Raised)), p.line("alert.over", p.when(a.Cleared))), ", ")
}

// when writes a moment, to the minute; empty where there is none.
func (p *paper) when(at face.Time) string {
	if at.IsZero() {
		return ""
	}
	return p.tongue.Moment(at)
}

// who writes when a thing was done and by whom.
func (p *paper) who(at face.Time, person string) string {
	return strings.Join(known(p.when(at), p.tongue.Person(person)), ", ")
}

func (p *paper) answers(a face.Alarm) string {
	back := lines(p.tongue.TakenBack(a)...)
	if a.Acknowledged.IsZero() && a.ShelvedFrom.IsZero() && a.Unshelved.IsZero() {
		return lines(p.t.T("paper.alert.unanswered"), back)
	}
	return lines(back,
		p.line("alert.acknowledged", p.who(a.Acknowledged, a.AcknowledgedBy)), p.line("alert.note", a.Note),
		p.line("alert.shelved", p.who(a.ShelvedFrom, a.ShelvedBy)), p.line("alert.until", p.when(a.ShelvedUntil)), p.line("alert.note", a.ShelvedReason),
		p.line("alert.unshelved", p.who(a.Unshelved, a.UnshelvedBy)),
	)
}

// told prints who was told of an alert, and whose page showed it.
func (p *paper) told(a face.Alarm) {
	g := grid{head: p.heads("who", "how", "when", "outcome", "why")}
	for _, x := range a.Told {
		g.rows = append(g.rows, []string{
			cmp.Or(p.tongue.Person(x.Person), p.t.T("paper.nobody")), x.Channel, p.when(x.At), x.Outcome, strings.Join(known(x.What, x.Why, x.Error), "; "),
		})
	}
	if a.ToldMore > 0 {
		g.rows = append(g.rows, []string{p.t.T("paper.more", "n", a.ToldMore)})
	}
	for _, x := range a.Shown {
		g.rows = append(g.rows, []string{p.tongue.Person(x.Person), x.Device, p.when(x.At), p.t.T("paper.shown"), x.State})
	}
	if a.ShownMore > 0 {
		g.rows = append(g.rows, []string{p.t.T("paper.more", "n", a.ShownMore)})
	}
	if len(g.rows) == 0 {
		p.paragraph(p.t.T("paper.told.none"), plain, textSize)
	}
	p.table(g)
}

// says writes what an entry says.
func says(l wallpage.EntryLine) string {
	var out []string
	for _, f := range l.Facts {
		out = append(out, f.Label+": "+f.Value)
	}
	return strings.Join(out, "; ")
}

// permits prints the permits and what ended them, with all that they say.
func (p *paper) permits() {
	none := true
	for _, e := range p.report.Entries {
		if !strings.HasPrefix(string(e.Kind), "permit.") {
			continue
		}
		none = false
		p.caption(e.Line.Kind.Text + ", " + p.t.T("paper.message", "n", e.Line.Number))
		facts := []wallpage.Fact{
			{Label: p.t.T("paper.head.happened"), Value: e.Line.Happened}, {Label: p.t.T("paper.head.recorded"), Value: e.Line.Recorded},
			{Label: p.t.T("paper.head.by"), Value: strings.Join(known(e.Line.Who, e.Line.Device, e.Line.Signature), ", ")},
		}
		facts = append(facts, e.Line.Facts...)
		if notes := e.Line.NotesText(); notes != "" {
			facts = append(facts, wallpage.Fact{Label: p.t.T("paper.head.notes"), Value: notes})
		}
		p.facts(facts)
	}
	if none {
		p.paragraph(p.t.T("paper.permits.none"), plain, textSize)
	}
}

// designs are the drawings that permits and criteria name.
func (p *paper) designs() (out []wallpage.Fact) {
	seen := map[wallpage.Fact]bool{}
	add := func(f wallpage.Fact) {
		if f.Value != "" && !seen[f] {
			seen[f] = true
			out = append(out, f)
		}
	}
	for _, c := range p.page.Sheet.Criteria {
		add(wallpage.Fact{Label: p.t.T("paper.drawing"), Value: strings.Join(known(c.Drawing, c.Clause), ", ")})
	}
	for _, e := range p.report.Entries {
		if e.Kind == "permit.issued" && counts(e.Entry) {
			add(wallpage.Fact{Label: p.t.T("paper.drawing-of"), Value: strings.Join(known(e.Member("drawing"), e.Member("drawing_revision")), ", ")})
			add(wallpage.Fact{Label: p.t.T("paper.design"), Value: strings.Join(known(e.Member("bracing_design"), e.Member("bracing_revision")), ", ")})
		}
	}
	if len(out) == 0 {
		out = append(out, wallpage.Fact{Label: p.t.T("paper.drawing"), Value: p.t.T("paper.not-recorded")})
	}
	return out
}

// bySeq finds an entry by its message.
func (p *paper) bySeq() map[uint64]wallpage.Reported {
	out := map[uint64]wallpage.Reported{}
	for _, e := range p.report.Entries {
		out[e.Seq] = e
	}
	return out
}

// entered writes when an entry was made, and who made it.
func entered(p *press, e wallpage.Reported) string {
	return lines(e.Line.Kind.Text+", "+p.t.T("paper.message", "n", e.Line.Number), p.t.T("paper.recorded", "when", e.Line.Recorded), strings.Join(known(e.Line.Who, e.Line.Device), ", "))
}

// changes prints what was amended or voided beside what replaced it.
func (p *paper) changes() {
	all := p.bySeq()
	g := grid{head: p.heads("original", "said", "change", "says-now")}
	for _, e := range p.report.Entries {
		for _, c := range e.Changes {
			by := all[c.Seq]
			g.rows = append(g.rows, []string{entered(p.press, e), says(e.Line), entered(p.press, by), cmp.Or(says(by.Line), c.Reason)})
		}
	}
	if len(g.rows) == 0 {
		p.paragraph(p.t.T("paper.changes.none"), plain, textSize)
	}
	p.table(g)
}

// refused prints what did not count, and what is in doubt.
func (p *paper) refused() {
	g := grid{caption: p.t.T("paper.refused"), head: p.heads("message", "recorded", "kind", "by", "why")}
	for _, e := range p.report.Entries {
		if e.Refused == "" && e.Repeat == 0 && len(e.Doubts) == 0 && !e.Waits {
			continue
		}
		g.rows = append(g.rows, []string{e.Line.Number, e.Line.Recorded, e.Line.Kind.Text, strings.Join(known(e.Line.Who, e.Line.Device), ", "), e.Line.NotesText()})
	}
	doubts := grid{caption: p.t.T("wall.table.doubts"), head: p.heads("doubt", "since", "message")}
	for _, d := range p.page.Open {
		doubts.rows = append(doubts.rows, []string{d.What, p.when(d.Since), strconv.FormatUint(d.Seq, 10)})
	}
	if len(g.rows)+len(doubts.rows) == 0 {
		p.paragraph(p.t.T("paper.refused.none"), plain, textSize)
	}
	p.table(doubts)
	p.table(g)
}

// statements prints what the hub stated, and when that changed.
func (p *paper) statements() {
	g := grid{head: p.heads("message", "stated", "window", "cured", "earliest", "governs", "rests", "digest")}
	for _, e := range p.report.Entries {
		var d events.WindowStated
		if e.Kind == "window.stated" && counts(e.Entry) && json.Unmarshal([]byte(e.Data), &d) == nil {
			g.rows = append(g.rows, p.statement(e, d))
		}
	}
	if len(g.rows) == 0 {
		p.paragraph(p.t.T("paper.statements.none"), plain, textSize)
		return
	}
	p.paragraph(p.t.T("paper.statements.lead"), plain, textSize)
	p.table(g)
}

// statement is a line of what was stated, with what it rests on.
func (p *paper) statement(e wallpage.Reported, d events.WindowStated) []string {
	window := p.t.T("paper.shut")
	if d.Open {
		window = p.t.T("paper.open")
	}
	earliest := p.up(d.Earliest)
	if earliest == "" && !d.Likely.IsZero() {
		earliest = p.t.T("wall.expected-at", "when", p.up(d.Likely))
	}
	var rests []string
	for _, f := range e.Members {
		switch f.Label {
		case "policy", "criterion_by", "criterion_at", "drawing", "clause", "probe":
			rests = append(rests, f.Value)
		}
	}
	return []string{
		e.Line.Number, e.Line.Recorded, window + ", " + p.tongue.Own("state."+d.State, d.State), p.up(d.CuredAt), earliest,
		p.tongue.Criterion(d.Governs), strings.Join(known(rests...), ", "), d.Digest[:min(len(d.Digest), 16)] + "\n" + d.Rules,
	}
}

// up writes a time to strip, rounded up to the minute.
func (p *paper) up(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return p.tongue.Strip(face.Time{Time: at})
}

// timeline prints every message, those of one probe together.
func (p *paper) timeline() {
	p.paragraph(p.t.T("wall.timeline.lead"), plain, textSize)
	g := grid{head: p.heads("message", "happened", "recorded", "what", "by")}
	for _, e := range p.report.Entries {
		number, what := e.Line.Number, e.Line.Kind.Text
		if e.Line.Of != "" {
			what += " " + p.t.T("wall.timeline.of", "n", e.Line.OfNumber)
		}
		if e.Line.Count > 1 {
			what += " (" + p.t.T("wall.timeline.together", "n", e.Line.Count) + ")"
		}
		if say := p.brief(e); say != "" {
			what += ": " + say
		}
		g.rows = append(g.rows, []string{number, e.Line.Happened, e.Line.Recorded, lines(what, e.Line.NotesText()), lines(e.Line.Who, e.Line.Device, e.Line.Signature)})
	}
	p.table(g)
}

// brief is what an entry says, less what the part on the alerts has of telling.
func (p *paper) brief(e wallpage.Reported) string {
	if e.Kind != "alert.told" && e.Kind != "alert.shown" {
		return says(e.Line)
	}
	return strings.Join(known(e.Member("kind"), e.Member("person"), e.Member("channel"), e.Member("what"), e.Member("state"), e.Member("outcome")), ", ")
}
