package face

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"earlyage/events"
	"earlyage/scheduler"
	"earlyage/scheduler/concrete/unit"
)

// Sheet writes the calculation sheet of a wall, for paper: what was computed,
// from what, hour by hour, so that a person can follow it.
func (p Page) Sheet(out io.Writer, at time.Time, a Wall, s scheduler.Sheet) error {
	w := bufio.NewWriter(out)
	zone := p.zone(a.Site)
	fmt.Fprintf(w, "CALCULATION SHEET  %s  %s\n", a.Place(), a.State)
	fmt.Fprintf(w, "as of %s, by rule set %s, from record %.16s\n\n", at.Truncate(time.Minute).In(zone).Format("Mon 2 Jan 2006 15:04 MST"), s.Rules, s.Digest)
	if err := p.verdict(w, at, a); err != nil {
		return err
	}
	parts := []struct {
		title string
		write func(io.Writer) error
	}{
		{"CRITERIA", func(w io.Writer) error { return errors.Join(p.criteriaTable(w, at, a), permits(w, zone, s.Permits)) }},
		{"CLOCK ZERO", func(w io.Writer) error { return clockZero(w, zone, s.Zero) }},
		{"SETTINGS", func(w io.Writer) error { return p.settings(w, a.Site, s) }},
		{"MIXES", func(w io.Writer) error { return mixes(w, s.Mixes) }},
		{"SUM BY THE HOUR", func(w io.Writer) error { return p.hours(w, a.Site, s) }},
		{"WHAT EACH PUBLISHED RULE WOULD SAY", func(w io.Writer) error { return p.others(w, at, a.Site, s.Others) }},
		{"BY PLACE", func(w io.Writer) error { return p.byPlace(w, at, a) }},
	}
	for n, part := range parts {
		fmt.Fprintf(w, "\n%d  %s\n", n+1, part.title)
		if err := part.write(w); err != nil {
			return err
		}
	}
	fmt.Fprintln(w)
	if err := wrapped(w, s.Caution, "", width); err != nil {
		return err
	}
	return w.Flush()
}

// byPlace is what is said of stretches, joints, braces and faces.
func (p Page) byPlace(w io.Writer, at time.Time, a Wall) error {
	if len(a.Fronts)+len(a.Joints)+len(a.Braces)+len(a.Faces)+len(a.Open) == 0 && a.Placing == nil {
		_, err := fmt.Fprintln(w, "nothing: no brace is recorded, and no joint is open or cold")
		return err
	}
	for _, part := range []func(io.Writer, time.Time, Wall) error{p.placing, p.fronts, p.joints, p.braces, p.faces, p.openPoints} {
		if err := part(w, at, a); err != nil {
			return err
		}
	}
	return nil
}

func clockZero(w io.Writer, zone *time.Location, z scheduler.ClockZero) error {
	if z.At.IsZero() {
		fmt.Fprintln(w, "No concrete is recorded.")
		return nil
	}
	t := newTable()
	t.add("Last concrete", stripYear(z.At, zone))
	t.add("Said by", strings.TrimSpace(fmt.Sprintf("%s %s of %s %s", z.By, z.ID, z.Source, z.Person)))
	if !z.Entered.IsZero() {
		t.add("Entered", z.Entered.In(zone).Format("Mon 2 Jan 2006 15:04 MST"))
	}
	if !z.Early.IsZero() && !z.Early.Equal(z.At) {
		t.add("Not before", z.Early.In(zone).Format("Mon 2 Jan 2006 15:04 MST")+"; the later counts")
	}
	if z.Note != "" {
		t.add("Note", z.Note)
	}
	return t.write(w)
}

func (p Page) settings(w io.Writer, site string, s scheduler.Sheet) error {
	t := newTable("SETTING", "VALUE", "ON WHOSE WORD")
	for _, v := range s.Policy {
		word := "not set by an engineer"
		if !v.Default && s.PolicyBy != "" {
			word = "site policy, " + s.PolicyBy + "; not set by an engineer"
		}
		t.add(v.Name, quantity(v.Value, v.Unit, p.system(site)), word)
	}
	if y := s.Probe; y != nil {
		t.add("probe counted", probe(y), "as declared")
	}
	for _, c := range s.Criteria {
		t.add("criterion", c.Says, strings.TrimSpace(fmt.Sprintf("engineer %s %s %s", c.By, c.Drawing, c.Clause)))
	}
	return t.write(w)
}

// permits writes what became of the permits to strip that somebody may hold.
func permits(w io.Writer, zone *time.Location, list []scheduler.PermitState) error {
	if len(list) == 0 {
		return nil
	}
	fmt.Fprintln(w)
	t := newTable("PERMIT", "FOR", "STANDS", "WHY", "LACKS")
	for _, y := range list {
		stands, why := "no", y.Why
		switch {
		case y.Stands && y.Released != "":
			stands, why = "yes", "on the engineer's release by "+y.Released
		case y.Stands:
			stands = "yes"
		case !y.Since.IsZero():
			stands = "no, since " + y.Since.In(zone).Format("Mon 2 Jan 15:04 MST")
		}
		whose := strings.Join(y.Braces, ", ")
		if y.FromM != nil && y.ToM != nil {
			whose = strings.TrimSpace(fmt.Sprintf("%s %.1f to %.1f m", whose, *y.FromM, *y.ToM))
		}
		t.add(y.Number, cmp.Or(whose, "all"), stands, why, strings.Join(y.Lacks, ", "))
	}
	return t.write(w)
}

// probe says where a probe sits and when it was calibrated, as far as anybody said.
func probe(y *events.StatedProbe) string {
	parts := []string{y.Place + " " + y.Probe}
	if y.AtM != nil {
		parts = append(parts, fmt.Sprintf("at %.1f m", *y.AtM))
	}
	if y.HeightM != nil {
		parts = append(parts, fmt.Sprintf("%.2f m high", *y.HeightM))
	}
	if y.Calibrated == "" {
		return strings.Join(append(parts, "calibration not recorded"), ", ")
	}
	return strings.Join(append(parts, strings.TrimSpace("calibrated "+y.Calibrated+" "+y.Certificate)), ", ")
}

func mixes(w io.Writer, list []scheduler.SheetMix) error {
	t := newTable("MIX", "BINDER", "RETARDER", "APPROVED BY", "NOTE")
	for _, m := range list {
		name, by := m.Name, m.By
		if name == "" {
			name = "not said"
		}
		if !m.Known {
			by = strings.TrimSpace("not approved and countersigned " + by)
		}
		t.add(name, m.Binder, m.Retarder, by, m.Note)
	}
	return t.write(w)
}

// hours writes the sums. Each row is rounded down to a thousandth; the exact
// integers are in the JSON.
func (p Page) hours(w io.Writer, site string, s scheduler.Sheet) error {
	zone, sys := p.zone(site), p.system(site)
	for i, rule := range s.Weighed {
		fmt.Fprintf(w, "Rule %d: %s; needed %s h\n", i+1, oneLine(rule), thousandths(s.NeedNS, hourNS))
	}
	resets := s.Resets
	head := []string{"FROM", "COUNTED", "MEAN", "SOURCE"}
	for i := range s.Weighed {
		head = append(head, fmt.Sprintf("EARNED %d", i+1), fmt.Sprintf("SUM %d", i+1))
	}
	t := newTable(head...)
	for _, h := range s.Hours {
		for len(resets) > 0 && !resets[0].To.After(h.At) {
			t.add(resetRow(resets[0], zone, len(head))...)
			resets = resets[1:]
		}
		row := []string{h.At.In(zone).Format("Mon 2 Jan 15:04"), fmt.Sprintf("%d of %d min", h.Counted/60, h.Seconds/60), "", h.Source}
		if h.Counted > 0 {
			row[2] = unit.Format(unit.Temperature, float64(h.CentiC)/100, sys)
		}
		if h.Frozen {
			row[3] = strings.TrimSpace("frost, " + h.Source)
		}
		for i := range s.Weighed {
			row = append(row, at(h.Earned, i, secondNS)+" s", at(h.Sum, i, hourNS)+" h")
		}
		t.add(row...)
	}
	for _, r := range resets {
		t.add(resetRow(r, zone, len(head))...)
	}
	return t.write(w)
}

// resetRow says between the hours that the sums began again.
func resetRow(r scheduler.Reset, zone *time.Location, cells int) []string {
	how := "read"
	if r.Assumed {
		how = "assumed"
	}
	row := make([]string, cells)
	row[0] = r.From.In(zone).Format("Mon 2 Jan 15:04")
	row[3] = "frost " + how + " to " + r.To.In(zone).Format("Mon 2 Jan 15:04") + ", the sum begins again"
	return row
}

const (
	secondNS = int64(time.Second)
	hourNS   = int64(time.Hour)
)

func at(sums []int64, i int, of int64) string {
	if i >= len(sums) {
		return ""
	}
	return thousandths(sums[i], of)
}

// thousandths writes ns as a decimal of a unit, rounded down to 0.001 of it.
func thousandths(ns, of int64) string {
	whole, rest := ns/of, ns%of
	return strconv.FormatInt(whole, 10) + "." + fmt.Sprintf("%03d", rest/(of/1000))
}

func (p Page) others(w io.Writer, at time.Time, site string, list []scheduler.OtherRule) error {
	zone := p.zone(site)
	t := newTable("RULE", "HAVE", "NEED", "MET", "SOURCE", "NOTE")
	for _, r := range list {
		when := "not met"
		switch {
		case !r.MetAt.IsZero():
			when = Strip(r.MetAt, zone)
		case r.Met:
			when = "met"
		case r.Likely.After(at):
			when = "expected " + Strip(r.Likely, zone)
		}
		name := r.Name
		if r.Policy {
			name += " (the site's)"
		}
		sys := p.system(site)
		t.add(name, quantity(r.Have, r.Unit, sys), quantity(r.Need, r.Unit, sys), when, r.Source, r.Note)
	}
	return t.write(w)
}
