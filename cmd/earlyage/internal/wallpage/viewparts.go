package wallpage

import (
	"cmp"
	"strconv"
	"strings"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/picture"
	"earlyage/scheduler"
	"earlyage/scheduler/concrete/unit"
)

// braces is the bracing register.
func (t tongue) braces(p Page) section {
	out := section{ID: "braces", Title: t.T("wall.part.braces")}
	if len(p.Braces) == 0 {
		out.Lead = []string{t.T("wall.braces.none")}
		return out
	}
	out.Picture = t.draw("bracing", func(o picture.Options) picture.SVG { return picture.Bracing(p.Bracing, o) })
	list := table{ID: "register", Caption: t.T("wall.table.braces"), Head: t.heads("brace", "station", "state", "set", "zero", "strip", "waits", "permit", "stripped"), Right: map[int]bool{1: true}}
	for _, b := range p.Braces {
		list.Rows = append(list.Rows, row{ID: "b-" + b.Name, Cells: []cell{
			{Text: b.Name}, {Text: t.length(b.AtM)}, t.braceState(p, b), {Text: t.by(b.Set, b.SetBy)}, {Text: t.either(b.ClockZero, t.up)},
			{Text: t.braceWindow(p, b)}, {Text: b.Waits}, {Text: strings.Join(trimmedOf(b.Permit, t.by(b.PermitAt, b.PermitBy)), ", ")}, t.off(b),
		}})
	}
	out.Tables = nonEmpty(list)
	for _, f := range p.Wall.Faces {
		say := t.T("wall.face", "face", t.value(f.Face), "state", t.own("state."+f.State, t.value(f.State)))
		if !f.Earliest.IsZero() {
			say += ", " + t.T("wall.face.earliest", "when", t.up(f.Earliest))
		}
		out.After = append(out.After, strings.Join(trimmedOf(say, f.Waits), ": "))
	}
	return out
}

// by writes when a thing was done, and who did it.
func (t tongue) by(at face.Time, who string) string {
	switch {
	case at.IsZero():
		return ""
	case who == "":
		return t.down(at)
	}
	return t.T("wall.by", "when", t.down(at), "who", t.person(who))
}

// off says when a brace was taken off, and whether that was early.
func (t tongue) off(b Brace) cell {
	out := cell{Text: t.by(b.Off, b.By)}
	if b.Early {
		out = cell{Text: t.T("wall.brace.off-early", "when", out.Text), Mark: "hold"}
	}
	if b.State != scheduler.BraceStripped && !b.Off.IsZero() {
		out.Text += "; " + t.T("wall.brace.again")
	}
	return out
}

func (t tongue) braceState(p Page, b Brace) cell {
	switch {
	case b.Early && b.State == scheduler.BraceStripped:
		return cell{Text: t.T("wall.brace.early"), Mark: "hold"}
	case b.State == scheduler.BraceStripped:
		return cell{Text: t.T("state.stripped"), Mark: "off"}
	case b.State == scheduler.BraceDisturbed:
		return cell{Text: t.T("wall.brace.disturbed"), Mark: "hold"}
	case b.State == scheduler.BracePlanned:
		return cell{Text: t.T("wall.brace.planned"), Mark: "planned"}
	case b.MayStrip && (p.AsOf || p.MayStrip):
		return cell{Text: t.T("wall.window-open"), Mark: "done", Fresh: p.MayStrip}
	case b.MayStrip:
		return cell{Text: t.T("wall.strip.ask"), Mark: "nolink"}
	}
	return cell{Text: t.T("wall.brace.standing"), Mark: "curing"}
}

// braceWindow says when a brace may come off, as far as it is known.
func (t tongue) braceWindow(p Page, b Brace) string {
	switch {
	case b.State == scheduler.BraceStripped:
		return ""
	case !b.Earliest.IsZero():
		return t.up(b.Earliest)
	case !b.CuredAt.IsZero():
		return t.T("wall.cured-at", "when", t.up(b.CuredAt))
	case b.Likely.After(p.At.Time):
		return t.T("wall.expected-at", "when", t.up(b.Likely))
	}
	return ""
}

// pour is how the wall was filled, and its loads.
func (t tongue) pour(p Page) section {
	out := section{ID: "pour", Title: t.T("wall.part.pour")}
	if len(p.Pour.Stretches) == 0 && len(p.Loads) == 0 || p.Identity.Started.IsZero() && len(p.Loads) == 0 {
		out.Lead = []string{t.T("wall.pour.none")}
		return out
	}
	out.Picture = t.draw("pour", func(o picture.Options) picture.SVG { return picture.Timeline(p.Pour, o) })
	loads := table{ID: "loads", Caption: t.T("wall.table.loads"), Head: t.heads("load", "state", "batched", "arrived", "discharged", "age", "volume", "measured"), Right: map[int]bool{5: true, 6: true}}
	for _, l := range p.Loads {
		age, volume := "", ""
		if l.AgeMin > 0 {
			age = t.ageUp(l.AgeMin)
		}
		if l.M3 > 0 {
			volume = t.quantity(unit.Volume, l.M3)
		}
		loads.Rows = append(loads.Rows, row{Cells: cells(strings.Join(trimmedOf(l.Name, ticket(l)), ", "), t.value(l.State), t.either(l.Batched, t.down),
			cmp.Or(t.either(l.Arrived, t.down), t.expectedLoad(l)), strings.Join(trimmedOf(t.either(l.Began, t.down), t.either(l.Ended, t.down)), " – "), age, volume, t.measured(l))})
	}
	out.Tables = nonEmpty(loads)
	return out
}

func ticket(l Load) string {
	if l.Ticket == l.Name {
		return ""
	}
	return l.Ticket
}

func (t tongue) expectedLoad(l Load) string {
	if l.Expected.IsZero() || l.State == scheduler.LoadRejected || l.State == scheduler.LoadDischarged {
		return ""
	}
	return t.T("wall.expected-at", "when", t.down(l.Expected))
}

func (t tongue) measured(l Load) string {
	var out []string
	if l.Measured {
		out = append(out, t.quantity(unit.Temperature, l.Celsius))
	}
	if l.SlumpMM >= 0 {
		out = append(out, t.T("wall.load.slump", "x", t.quantity(unit.Thickness, float64(l.SlumpMM)/1000)))
	}
	if l.WaterL > 0 {
		out = append(out, t.T("wall.load.water", "x", strconv.FormatFloat(l.WaterL, 'f', -1, 64)))
	}
	return strings.Join(out, ", ")
}

// checks are the check lists.
func (t tongue) checks(p Page) section {
	out := section{ID: "checks", Title: t.T("wall.part.checks")}
	lists := map[string]int{}
	for _, c := range p.Checks {
		i, ok := lists[c.List]
		if !ok {
			i = len(out.Tables)
			lists[c.List] = i
			out.Tables = append(out.Tables, table{ID: "checks-" + c.List, Caption: t.T("wall.checks." + c.List), Head: t.heads("item", "answer", "value", "who", "note")})
		}
		out.Tables[i].Rows = append(out.Tables[i].Rows, row{Cells: []cell{{Text: c.Text}, t.answer(c), {Text: t.checkValue(c)}, {Text: t.by(c.At, c.By)}, {Text: strings.Join(trimmedOf(c.Note, c.Open), "; ")}}})
	}
	if len(out.Tables) == 0 {
		out.Lead = []string{t.T("wall.checks.none")}
	}
	return out
}

func (t tongue) answer(c Check) cell {
	switch {
	case c.Answer == "waived":
		return cell{Text: t.value("waived"), Mark: "off"}
	case c.Answer == "no":
		return cell{Text: t.T("wall.no"), Mark: "hold"}
	case c.Answer == "yes" && c.Rest:
		return cell{Text: t.T("wall.yes-rest"), Mark: "done"}
	case c.Answer == "yes":
		return cell{Text: t.T("wall.yes"), Mark: "done"}
	case c.Open != "":
		return cell{Text: t.T("wall.open"), Mark: "watch"}
	}
	return cell{Text: t.T("wall.open"), Mark: "planned"}
}

func (t tongue) checkValue(c Check) string {
	if len(c.Value) == 0 {
		return c.Need
	}
	f := func(x float64) string { return strings.TrimSpace(strconv.FormatFloat(x, 'f', -1, 64) + " " + c.Unit) }
	say := f(c.Value[0])
	if c.Value[0] != c.Value[1] {
		say += " – " + f(c.Value[1])
	}
	if c.Need != "" {
		say = t.T("wall.value-needs", "value", say, "need", c.Need)
	}
	return say
}

// lines are the readings of the string line.
func (t tongue) lines(p Page) section {
	out := section{ID: "line", Title: t.T("wall.part.line")}
	list := table{ID: "lines", Caption: t.T("wall.table.lines"), Head: t.heads("when", "kind", "worst", "whole", "lean", "points"), Right: map[int]bool{2: true, 3: true, 4: true}}
	for _, l := range p.Lines {
		what := t.T("wall.line.before")
		if l.After {
			what = t.T("wall.line.after")
		}
		if !l.Sure {
			what += ", " + t.T("wall.line.unsure")
		}
		mm := func(x float64) string { return t.quantity(unit.Thickness, x) }
		var points []string
		for _, x := range l.Points {
			points = append(points, t.length(x[0])+": "+mm(x[1]))
		}
		list.Rows = append(list.Rows, row{Cells: cells(t.down(l.At), what, mm(l.Worst), mm(l.Whole), mm(l.Lean), strings.Join(points, ", "))})
	}
	out.Tables = nonEmpty(list)
	if len(out.Tables) == 0 {
		out.Lead = []string{t.T("wall.line.none")}
	}
	return out
}

// alerts are those ever raised, and the doubts that are open.
func (t tongue) alerts(p Page) section {
	out := section{ID: "alerts", Title: t.T("wall.part.alerts")}
	doubts := table{ID: "doubts", Caption: t.T("wall.table.doubts"), Head: t.heads("doubt", "since", "message")}
	for _, d := range p.Open {
		n := strconv.FormatUint(d.Seq, 10)
		doubts.Rows = append(doubts.Rows, row{Cells: []cell{{Text: d.What, Mark: "watch"}, {Text: t.down(d.Since)}, {Text: n, Link: "#e" + n}}})
	}
	list := table{ID: "raised", Caption: t.T("wall.table.alerts"), Head: t.heads("alert", "state", "since", "what", "told", "answered", "cleared")}
	for _, a := range p.Alarms {
		list.Rows = append(list.Rows, row{Cells: []cell{
			{Text: t.alert(a.Kind)}, t.alarmState(a), {Text: t.down(a.Since)}, {Text: t.alertText(a.Kind, a.Text, a.About)}, {Text: t.told(a)}, {Text: t.answered(a)}, {Text: t.either(a.Cleared, t.down)},
		}})
	}
	out.Tables = nonEmpty(doubts, list)
	if len(out.Tables) == 0 {
		out.Lead = []string{t.T("wall.alerts.none")}
	}
	return out
}

// sheet is the calculation, hour by hour.
func (t tongue) sheet(p Page) section {
	s := p.Sheet
	out := section{ID: "sheet", Title: t.T("wall.part.sheet")}
	zero := table{ID: "zero", Caption: t.T("wall.table.zero"), Head: t.heads("word", "what")}
	if s.Zero.At.IsZero() {
		out.Lead = []string{t.T("wall.sheet.no-concrete")}
	} else {
		add := func(key, v string) {
			if v != "" {
				zero.Rows = append(zero.Rows, row{Cells: cells(t.T("wall.zero."+key), v)})
			}
		}
		add("at", t.up(face.Time{Time: s.Zero.At}))
		add("by", strings.Join(trimmedOf(t.own("kind."+s.Zero.By, s.Zero.By), s.Zero.ID, s.Zero.Source, t.person(s.Zero.Person)), ", "))
		add("entered", t.either(face.Time{Time: s.Zero.Entered}, t.down))
		if !s.Zero.Early.Equal(s.Zero.At) {
			add("early", t.either(face.Time{Time: s.Zero.Early}, t.down))
		}
		add("note", s.Zero.Note)
	}
	out.Tables = append(nonEmpty(zero), nonEmpty(t.settings(p), t.mixes(p), t.hours(p))...)
	return out
}

func (t tongue) settings(p Page) table {
	out := table{ID: "settings", Caption: t.T("wall.table.settings"), Head: t.heads("setting", "value", "word-of")}
	for _, v := range p.Sheet.Policy {
		word := t.T("wall.not-by-engineer")
		if !v.Default && p.Sheet.PolicyBy != "" {
			word = t.T("wall.by-policy", "who", t.person(p.Sheet.PolicyBy))
		}
		out.Rows = append(out.Rows, row{Cells: cells(v.Name, t.side(v.Value, v.Unit), word)})
	}
	for _, c := range p.Sheet.Criteria {
		out.Rows = append(out.Rows, row{Cells: cells(t.T("wall.criterion"), c.Says, strings.Join(trimmedOf(t.T("role.engineer"), t.person(c.By), c.Drawing, c.Clause), ", "))})
	}
	return out
}

func (t tongue) mixes(p Page) table {
	out := table{ID: "mixes", Caption: t.T("wall.table.mixes"), Head: t.heads("mix", "binder", "retarder", "approved", "note")}
	for _, m := range p.Sheet.Mixes {
		by := t.person(m.By)
		if !m.Known {
			by = strings.TrimSpace(t.T("wall.mix.not-known") + " " + by)
		}
		out.Rows = append(out.Rows, row{Cells: cells(cmp.Or(m.Name, t.T("wall.not-said")), t.value(m.Binder), t.value(m.Retarder), by, m.Note)})
	}
	return out
}

// hours are the sums, each row rounded down to a thousandth.
func (t tongue) hours(p Page) table {
	s := p.Sheet
	out := table{ID: "hours", Caption: t.T("wall.table.hours", "need", thousandths(s.NeedNS, hourNS), "rules", strings.Join(s.Weighed, "; ")), Head: t.heads("hour", "counted", "mean", "source"), Scroll: true, Right: map[int]bool{1: true, 2: true}}
	for i := range s.Weighed {
		out.Right[len(out.Head)], out.Right[len(out.Head)+1] = true, true
		out.Head = append(out.Head, t.T("wall.head.earned", "n", i+1), t.T("wall.head.sum-of", "n", i+1))
	}
	resets := s.Resets
	reset := func(r scheduler.Reset) {
		how := t.T("wall.frost.read", "from", t.down(face.Time{Time: r.From}), "to", t.up(face.Time{Time: r.To}))
		if r.Assumed {
			how = t.T("wall.frost.assumed", "from", t.down(face.Time{Time: r.From}), "to", t.up(face.Time{Time: r.To}))
		}
		line := make([]string, len(out.Head))
		line[0], line[3] = t.down(face.Time{Time: r.To}), how
		out.Rows = append(out.Rows, row{Class: "reset", Cells: cells(line...)})
	}
	for _, h := range s.Hours {
		for len(resets) > 0 && !resets[0].To.After(h.At) {
			reset(resets[0])
			resets = resets[1:]
		}
		mean, source := "", h.Source
		if h.Counted > 0 {
			mean = t.quantity(unit.Temperature, float64(h.CentiC)/100)
		}
		if h.Frozen {
			source = t.T("wall.frost.hour", "source", h.Source)
		}
		line := []string{t.down(face.Time{Time: h.At}), t.T("wall.minutes-of", "n", h.Counted/60, "all", h.Seconds/60), mean, source}
		for i := range s.Weighed {
			line = append(line, nth(h.Earned, i, secondNS, " s"), nth(h.Sum, i, hourNS, " h"))
		}
		out.Rows = append(out.Rows, row{Cells: cells(line...)})
	}
	for _, r := range resets {
		reset(r)
	}
	return out
}

func nth(sums []int64, i int, of int64, symbol string) string {
	if i >= len(sums) {
		return ""
	}
	return thousandths(sums[i], of) + symbol
}
