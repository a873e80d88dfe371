package wallpage

import (
	"cmp"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/picture"
	"earlyage/scheduler"
	"earlyage/scheduler/concrete/unit"
)

// cell is one place of a table.
type cell struct {
	Text  string
	Mark  string // a state's mark, with its colour
	Link  string
	Fresh bool // holds for a minute only
}

// row is a line of a table.
type row struct {
	ID    string
	Class string
	Cells []cell
}

// table stands beside a picture, or by itself. On a phone it becomes cards, or,
// where it is one of numbers, scrolls within its own box.
type table struct {
	ID, Caption string
	Head        []string
	Right       map[int]bool // columns of numbers
	Rows        []row
	Scroll      bool
}

// drawn is a picture in the widths of a phone, of paper and of a desk.
type drawn struct{ Small, Middle, Wide template.HTML }

// section is a part of the page.
type section struct {
	ID, Title string
	Lead      []string
	Picture   *drawn
	Fresh     bool // of the picture: it says that something may be stripped
	Tables    []table
	After     []string
}

// view is all that the template shows.
type view struct {
	Title, Name, Site, SiteName, Wall string
	When, WhenInput, WhenExact        string
	Said                              []string // of a past moment: the window as it was stated, and by the record
	AsOf, Demo                        bool
	Wrong                             []string
	State, Verdict                    cell
	Fresh                             bool // what the verdict says holds for a minute only
	Governs                           string
	Three                             []fact
	Identity                          []fact
	Due                               []fact
	Open                              []string
	Sections                          []section
	Timeline                          timelineView
	Digest                            string
}

// Widths of the pictures in CSS px.
const (
	widthSmall, widthMiddle, widthWide = 342, 760, 1090
)

// draw makes a picture in its three widths.
func (t tongue) draw(id string, f func(picture.Options) picture.SVG) *drawn {
	if t.paper {
		return &drawn{}
	}
	one := func(suffix string, width int) template.HTML {
		svg := f(picture.Options{WidthPX: width, Zone: t.zone, US: t.units == unit.US, OnPage: true, ID: id + suffix})
		return template.HTML(svg.String()) // #nosec G203 -- drawn by the program, its texts escaped there
	}
	return &drawn{one("-s", widthSmall), one("-m", widthMiddle), one("-w", widthWide)}
}

func viewOf(t tongue, p Page, f filter) view {
	say, state := t.verdict(p)
	out := view{
		Name: p.Identity.Name, Site: p.Site.Site, SiteName: t.name, Wall: p.Wall.Wall, When: t.long(p.At.Time), AsOf: p.AsOf, Demo: p.Demo,
		WhenInput: p.At.In(t.zone).Format("2006-01-02T15:04"), WhenExact: p.At.UTC().Format(time.RFC3339Nano),
		State:   cell{Text: t.own("state."+p.Wall.State, p.Wall.State), Mark: stateMark(p.Wall.State)},
		Verdict: cell{Text: say, Mark: state}, Fresh: p.MayStrip, Identity: t.identity(p), Open: p.Wall.Open,
		Digest: t.T("wall.digest", "through", p.Through, "digest", p.Sheet.Digest, "rules", p.Sheet.Rules, "when", t.long(p.At.Time)),
	}
	out.Title = t.T("wall.title", "wall", out.Name, "site", t.name)
	switch {
	case p.Wall.State != scheduler.StateMayStrip:
	case p.MayStrip, p.AsOf:
		out.State = cell{Text: t.T("wall.window-open"), Mark: "done", Fresh: p.MayStrip}
	default:
		out.State = cell{Text: t.T("wall.strip.ask"), Mark: "nolink"}
	}
	if !p.Level && !p.AsOf {
		out.Wrong = append(out.Wrong, t.T("board.not-level"))
	}
	out.Wrong = append(out.Wrong, p.Doubts...)
	out.Governs = t.governs(p)
	if e := p.Wall.Strip.Expected; p.Wall.Strip.CuredAt.IsZero() && e.Likely.After(p.At.Time) {
		out.Three = []fact{{t.T("board.braces.early"), t.orNot(e.Early)}, {t.T("board.braces.likely"), t.orNot(e.Likely)}, {t.T("board.braces.late"), t.orNot(e.Late)}}
	}
	for _, d := range p.Due {
		out.Due = append(out.Due, t.due(d))
	}
	out.Sections = []section{t.surface(p), t.window(p), t.curves(p), t.braces(p), t.pour(p), t.checks(p), t.lines(p), t.alerts(p), t.sheet(p)}
	for i, s := range out.Sections {
		out.Sections[i].Fresh = p.MayStrip && (s.ID == "surface" || s.ID == "window" || s.ID == "braces")
	}
	if p.AsOf {
		out.Said = t.said(p.Said, p.Wall, p.At.Time)
	}
	out.Timeline = t.timeline(p, f)
	return out
}

// orNot writes a time to strip, or that there is none.
func (t tongue) orNot(at face.Time) string {
	return cmp.Or(t.either(at, t.up), t.T("board.not-known"))
}

func (t tongue) governs(p Page) string {
	switch p.Wall.State {
	case scheduler.StatePlanned, scheduler.StateStripped, scheduler.StateHandedOver:
		return ""
	}
	for _, c := range p.Wall.Strip.Criteria {
		if c.Name == p.Wall.Strip.Governs {
			return t.T("wall.governs", "what", t.criterion(c.Name), "of", t.of(c))
		}
	}
	return ""
}

// of writes what a criterion has of what it needs.
func (t tongue) of(c face.Criterion) string {
	have, need := t.haveNeed(c)
	if numeric(c.Have) && numeric(c.Need) {
		number, _, _ := strings.Cut(have, " ")
		return t.T("board.of", "have", number, "all", need)
	}
	return have
}

func (t tongue) identity(p Page) []fact {
	i := p.Identity
	out := []fact{{t.T("wall.id.site"), t.name}, {t.T("wall.id.wall"), p.Wall.Wall}}
	add := func(key, value string) {
		if value != "" {
			out = append(out, fact{t.T("wall.id." + key), value})
		}
	}
	add("crew", i.Crew)
	if i.Laid {
		size := t.T("wall.id.size-of", "length", t.length(i.Length), "height", t.length(i.Height), "core", t.quantity(unit.Thickness, i.Core))
		if i.Closed {
			size += ", " + t.T("wall.id.closed")
		}
		add("size", size)
		add("top", t.length(i.Top))
		add("volume", t.quantity(unit.Volume, i.NeedM3))
	}
	form := t.value(i.Form)
	if i.Rated > 0 {
		form += ", " + t.T("wall.id.rated", "x", t.quantity(unit.Pressure, i.Rated))
	}
	add("form", form)
	add("mix", i.Mix)
	add("poured", strings.Join(trimmedOf(t.either(i.Started, t.down), t.either(i.Ended, t.down)), " – "))
	add("tied-in", t.either(i.TiedIn, t.down))
	return out
}

func trimmedOf(parts ...string) (out []string) {
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return out
}

func (t tongue) due(d Due) fact {
	name := d.Name
	switch d.What {
	case "criterion":
		name = t.criterion(d.Name)
	case "shelved":
		name = t.alert(d.Name)
	case "face":
		name = t.value(d.Name)
	}
	when := t.down(d.At)
	if d.Up {
		when = t.up(d.At)
	}
	return fact{when, t.T("wall.due."+d.What, "name", name, "where", t.between(d.FromM, d.ToM))}
}

func (t tongue) heads(keys ...string) (out []string) {
	for _, k := range keys {
		out = append(out, t.T("wall.head."+k))
	}
	return out
}

func cells(texts ...string) (out []cell) {
	for _, s := range texts {
		out = append(out, cell{Text: s})
	}
	return out
}

// surface is the wall unrolled.
func (t tongue) surface(p Page) section {
	out := section{ID: "surface", Title: t.T("wall.part.surface"), Picture: t.draw("surface", func(o picture.Options) picture.SVG { return picture.Unrolled(p.Surface, o) })}
	layers := table{ID: "layers", Caption: t.T("wall.table.layers"), Head: t.heads("where", "height", "placed")}
	for _, l := range p.Surface.Layers {
		layers.Rows = append(layers.Rows, row{Cells: cells(t.between(l.FromM, l.ToM), t.between(l.BottomM, l.TopM), t.span2(face.Time{Time: l.Began}, face.Time{Time: l.Ended}))})
	}
	joints := table{ID: "joints", Caption: t.T("wall.table.joints"), Head: t.heads("from", "to", "top", "age", "limit", "state"), Right: map[int]bool{0: true, 1: true, 2: true, 3: true, 4: true}}
	for _, j := range p.Wall.Joints {
		joints.Rows = append(joints.Rows, row{Cells: []cell{{Text: t.length(j.FromM)}, {Text: t.length(j.ToM)}, {Text: t.length(j.TopM)},
			{Text: t.ageUp(j.AgeMin)}, {Text: t.ageDown(j.LimitMin)}, {Text: t.value(j.State), Mark: jointMark(j.State)}}})
	}
	out.Tables = nonEmpty(layers, joints)
	return out
}

func jointMark(state string) string {
	switch state {
	case scheduler.JointLive:
		return "placing"
	case scheduler.JointClosing:
		return "watch"
	}
	return "hold"
}

func nonEmpty(all ...table) (out []table) {
	for _, t := range all {
		if len(t.Rows) > 0 {
			out = append(out, t)
		}
	}
	return out
}

// window is the cure window, criterion by criterion, and the other rules.
func (t tongue) window(p Page) section {
	out := section{ID: "window", Title: t.T("wall.part.window"), Lead: trimmedOf(t.governs(p)),
		Picture: t.draw("window", func(o picture.Options) picture.SVG { return picture.ProgressOf(t.progress(p), o) })}
	criteria := table{ID: "criteria", Caption: t.T("wall.table.criteria"), Head: t.heads("criterion", "state", "met", "have", "need", "note")}
	for i, c := range p.Wall.Strip.Criteria {
		have, need := t.haveNeed(c)
		state := cell{Text: t.T("wall.not-met"), Mark: "hold"}
		when := ""
		switch {
		case p.Met[i]:
			state, when = cell{Text: t.T("wall.met"), Mark: "done"}, t.either(c.MetAt, t.up)
		case !c.MetAt.IsZero():
			state, when = cell{Text: t.T("wall.will-be-met"), Mark: "curing"}, t.up(c.MetAt)
		}
		name := t.criterion(c.Name)
		r := row{ID: "c-" + c.Name, Cells: []cell{{Text: name}, state, {Text: when}, {Text: have}, {Text: need}, {Text: c.Note}}}
		if c.Name == p.Wall.Strip.Governs && t.governs(p) != "" {
			r.Class, r.Cells[0].Text = "governs", name+" ("+t.T("wall.it-governs")+")"
		}
		criteria.Rows = append(criteria.Rows, r)
	}
	out.Tables = append(nonEmpty(criteria), nonEmpty(t.others(p))...)
	return out
}

// progress is the picture's model in the page's words and units.
func (t tongue) progress(p Page) picture.Progress {
	out := p.Progress
	out.Rows = slices.Clone(out.Rows)
	for i, c := range p.Wall.Strip.Criteria {
		out.Rows[i].Name, out.Rows[i].Say = t.criterion(c.Name), t.of(c)
		if have, need := t.haveNeed(c); !p.Met[i] && need != "" && !(numeric(c.Have) && numeric(c.Need)) {
			out.Rows[i].Say = t.T("wall.has-needs", "have", have, "need", need)
		}
	}
	if out.Governs != "" {
		out.Governs = t.criterion(out.Governs)
	}
	return out
}

func (t tongue) others(p Page) table {
	out := table{ID: "others", Caption: t.T("wall.table.others"), Head: t.heads("rule", "have", "need", "met", "source", "note")}
	for _, r := range p.Sheet.Others {
		name, when := r.Name, t.T("wall.not-met")
		switch {
		case !r.MetAt.IsZero():
			when = t.up(face.Time{Time: r.MetAt})
		case r.Met:
			when = t.T("wall.met")
		case r.Likely.After(p.At.Time):
			when = t.T("wall.expected-at", "when", t.up(face.Time{Time: r.Likely}))
		}
		if r.Policy {
			name = t.T("wall.the-sites", "rule", name)
		}
		out.Rows = append(out.Rows, row{Cells: cells(name, t.side(r.Have, r.Unit), t.side(r.Need, r.Unit), when, r.Source, r.Note)})
	}
	return out
}

// curves are temperatures and equivalent age.
func (t tongue) curves(p Page) section {
	out := section{ID: "curves", Title: t.T("wall.part.curves"), Lead: []string{t.T("wall.curves.lead")}}
	if p.Curing.ClockZero.IsZero() && len(p.Curing.Temperatures) == 0 {
		out.Lead = []string{t.T("wall.curves.none")}
		return out
	}
	out.Picture = t.draw("curves", func(o picture.Options) picture.SVG { return picture.Curves(p.Curing, o) })
	series := table{ID: "series", Caption: t.T("wall.table.series"), Head: t.heads("series", "from", "to", "lowest", "highest", "last"), Right: map[int]bool{3: true, 4: true, 5: true}}
	for _, s := range p.Curing.Temperatures {
		if r, ok := t.series(s); ok {
			series.Rows = append(series.Rows, r)
		}
	}
	sums := table{ID: "sums", Caption: t.T("wall.table.sums"), Head: t.heads("rule", "sum", "need", "cured", "early", "likely", "late"), Right: map[int]bool{1: true, 2: true}}
	for i, rule := range p.Sheet.Weighed {
		if i >= len(p.Sheet.Sum) {
			break
		}
		e, cured := p.Wall.Strip.Expected, t.T("wall.not-yet")
		if !p.Wall.Strip.CuredAt.IsZero() {
			e, cured = face.Expected{}, t.up(p.Wall.Strip.CuredAt)
		}
		sums.Rows = append(sums.Rows, row{Cells: cells(rule, thousandths(p.Sheet.Sum[i], hourNS)+" h", thousandths(p.Sheet.NeedNS, hourNS)+" h", cured,
			t.either(e.Early, t.up), t.either(e.Likely, t.up), t.either(e.Late, t.up))})
	}
	out.Tables = nonEmpty(sums, series)
	out.After = []string{t.T("wall.curves.hours")}
	return out
}

func (t tongue) series(s picture.Series) (row, bool) {
	var first, last picture.Sample
	low, high, n := 0.0, 0.0, 0
	for _, x := range s.Points {
		if x.Value != x.Value {
			continue
		}
		if n == 0 {
			first, low, high = x, x.Value, x.Value
		}
		low, high, last, n = min(low, x.Value), max(high, x.Value), x, n+1
	}
	c := func(v float64) string { return t.quantity(unit.Temperature, v) }
	return row{Cells: cells(s.Name, t.down(face.Time{Time: first.At}), t.down(face.Time{Time: last.At}), c(low), c(high), c(last.Value))}, n > 0
}

const hourNS, secondNS = int64(3600e9), int64(1e9)

// thousandths writes ns as a decimal of a unit, rounded down to 0.001 of it.
func thousandths(ns, of int64) string {
	rest := strconv.FormatInt(ns%of/(of/1000), 10)
	return strconv.FormatInt(ns/of, 10) + "." + strings.Repeat("0", 3-len(rest)) + rest
}
