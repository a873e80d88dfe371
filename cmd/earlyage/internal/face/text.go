package face

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"

	"earlyage/scheduler"
	"earlyage/scheduler/concrete/unit"
)

const width = 100 // of running text

// Page writes for people: tables and sheets, times in each site's zone.
type Page struct {
	Sites map[string]Site   // by short name; one that is missing is shown in UTC
	Units string            // si or us; empty: what each site has set
	Names map[string]string // of people, by id; one that is missing is shown by the id
}

func (p Page) zone(site string) *time.Location { return p.Sites[site].Location() }

func (p Page) system(site string) unit.System {
	u := p.Units
	if u == "" {
		u = p.Sites[site].Units
	}
	if u == "us" {
		return unit.US
	}
	return unit.SI
}

// Walls writes one line for each wall and the caution.
func (p Page) Walls(out io.Writer, at time.Time, walls []Wall) error {
	w := bufio.NewWriter(out)
	if len(walls) == 0 {
		fmt.Fprintln(w, "No wall is in the record.")
		return w.Flush()
	}
	t := newTable("WALL", "STATE", "STRIP", "GOVERNS")
	for _, a := range walls {
		t.add(a.Place(), a.State, p.strip(at, a), p.governs(a))
	}
	if err := t.write(w); err != nil {
		return err
	}
	fmt.Fprintln(w)
	if err := Caution(w); err != nil {
		return err
	}
	return w.Flush()
}

// Caution writes the caution that stands wherever a time to strip is shown.
func Caution(w io.Writer) error { return wrapped(w, scheduler.Caution, "", width) }

// strip says in few words when the bracing may come off.
func (p Page) strip(at time.Time, a Wall) string {
	zone := p.zone(a.Site)
	s := a.Strip
	switch {
	case a.State == scheduler.StatePlanned:
		return "nothing placed"
	case a.State == scheduler.StateStripped, a.State == scheduler.StateHandedOver:
		return "bracing is off"
	case s.Open:
		return "may strip since " + Strip(s.Earliest.Time, zone)
	case s.Earliest.After(at):
		return "not before " + Strip(s.Earliest.Time, zone)
	case !s.CuredAt.IsZero() && !s.CuredAt.After(at):
		return "shut, cured since " + Strip(s.CuredAt.Time, zone)
	case s.Expected.Likely.After(at):
		return "shut, cured expected " + Strip(s.Expected.Likely.Time, zone)
	default:
		return "shut, no time to give"
	}
}

// governs names the criterion that decides, with what there is of it.
func (p Page) governs(a Wall) string {
	switch a.State {
	case scheduler.StatePlanned, scheduler.StateStripped, scheduler.StateHandedOver:
		return ""
	}
	for _, c := range a.Strip.Criteria {
		if c.Name == a.Strip.Governs {
			return c.Name + ": " + p.of(a.Site, c)
		}
	}
	return a.Strip.Governs
}

// of writes what a criterion has of what it needs: "31.2 of 48 h at 20 °C".
func (p Page) of(site string, c Criterion) string {
	have, need := p.haveNeed(site, c)
	if numeric(c.Have) && numeric(c.Need) {
		number, _, _ := strings.Cut(have, " ")
		return number + " of " + need
	}
	return have
}

// haveNeed writes both sides of a criterion in the site's units. A side that is
// no number stays as it was said, and then so does the other.
func (p Page) haveNeed(site string, c Criterion) (have, need string) {
	bound, most := strings.CutPrefix(c.Need, atMost)
	if !numeric(c.Have) && !numeric(bound) {
		return c.Have, c.Need
	}
	sys := unit.SI
	if numeric(bound) {
		sys = p.system(site)
	}
	have, need = quantity(c.Have, c.Unit, sys), quantity(bound, c.Unit, sys)
	if most {
		need = atMost + need
	}
	return have, need
}

// atMost stands before a need that is a greatest value.
const atMost = "at most "

// Wall writes all that is said of one wall.
func (p Page) Wall(out io.Writer, at time.Time, a Wall) error {
	w := bufio.NewWriter(out)
	zone := p.zone(a.Site)
	fmt.Fprintf(w, "%s  %s  as of %s\n\n", a.Place(), a.State, at.Truncate(time.Minute).In(zone).Format("Mon 2 Jan 2006 15:04 MST"))
	if err := p.verdict(w, at, a); err != nil {
		return err
	}
	for _, part := range []func(io.Writer, time.Time, Wall) error{p.criteria, p.placing, p.fronts, p.joints, p.braces, p.faces, p.wallAlerts, p.openPoints} {
		if err := part(w, at, a); err != nil {
			return err
		}
	}
	fmt.Fprintln(w)
	if err := Caution(w); err != nil {
		return err
	}
	return w.Flush()
}

// verdict says what the window is and what it hangs on.
func (p Page) verdict(w io.Writer, at time.Time, a Wall) error {
	zone := p.zone(a.Site)
	head := newTable()
	head.add("Strip", p.strip(at, a))
	if e := a.Strip.Expected; a.Strip.CuredAt.IsZero() && e.Likely.After(at) {
		head.add("Cured", fmt.Sprintf("expected early %s, likely %s, late %s", orUnknown(e.Early, zone), orUnknown(e.Likely, zone), orUnknown(e.Late, zone)))
	}
	if !a.Strip.CuredAt.IsZero() {
		head.add("Cured", Strip(a.Strip.CuredAt.Time, zone))
	}
	if governs := p.governs(a); governs != "" {
		head.add("Governs", governs)
	}
	return head.write(w)
}

func orUnknown(t Time, zone *time.Location) string {
	if t.IsZero() {
		return "not known"
	}
	return Strip(t.Time, zone)
}

func (p Page) criteria(w io.Writer, at time.Time, a Wall) error {
	if len(a.Strip.Criteria) == 0 {
		return nil
	}
	fmt.Fprintln(w)
	return p.criteriaTable(w, at, a)
}

func (p Page) criteriaTable(w io.Writer, at time.Time, a Wall) error {
	t := newTable("LAYER", "CRITERION", "MET", "HAVE", "NEED", "NOTE")
	for _, c := range a.Strip.Criteria {
		have, need := p.haveNeed(a.Site, c)
		t.add(c.Layer, c.Name, met(at, c, p.zone(a.Site)), have, need, c.Note)
	}
	return t.write(w)
}

// met says when a criterion was met, or will be.
func met(at time.Time, c Criterion, zone *time.Location) string {
	switch {
	case c.MetAt.IsZero():
		return "not met"
	case c.MetAt.After(at):
		return "at " + Strip(c.MetAt.Time, zone)
	default:
		return Strip(c.MetAt.Time, zone)
	}
}

func (p Page) joints(w io.Writer, _ time.Time, a Wall) error {
	if len(a.Joints) == 0 {
		return nil
	}
	fmt.Fprintln(w)
	sys := p.system(a.Site)
	t := newTable("JOINT FROM", "TO", "TOP", "AGE", "LIMIT", "LEFT", "STATE")
	for _, j := range a.Joints {
		t.add(unit.Format(unit.Length, j.FromM, sys), unit.Format(unit.Length, j.ToM, sys), unit.Format(unit.Length, j.TopM, sys),
			minutesUp(j.AgeMin), minutesDown(j.LimitMin), minutesLeft(j), j.State)
	}
	return t.write(w)
}

func (p Page) wallAlerts(w io.Writer, _ time.Time, a Wall) error {
	if len(a.Alerts) == 0 {
		return nil
	}
	fmt.Fprintln(w)
	t := newTable("ALERT", "PRIORITY", "SINCE", "WHAT")
	for _, al := range a.Alerts {
		t.add(al.Kind, al.Priority, Past(al.Since.Time, p.zone(a.Site)), al.Text)
	}
	return t.write(w)
}

// WallLine writes one wall in one line, as it changes.
func (p Page) WallLine(at time.Time, a Wall) string {
	text := fmt.Sprintf("%s  %s  %s: %s", Past(at, p.zone(a.Site)), a.Place(), a.State, p.strip(at, a))
	if governs := p.governs(a); governs != "" {
		text += "; governed by " + governs
	}
	return oneLine(text)
}

// HeldByCold says of a wall that temperature held it past its floor; empty: it
// did not. What it compares are the moments of the two criteria.
func (p Page) HeldByCold(at time.Time, a Wall) string {
	var floor, warmth Criterion
	for _, c := range a.Strip.Criteria {
		switch c.Name {
		case scheduler.Floor:
			floor = c
		case scheduler.Temperature:
			warmth = c
		}
	}
	zone := p.zone(a.Site)
	switch {
	case floor.MetAt.IsZero() || floor.MetAt.After(at):
		return ""
	case warmth.MetAt.IsZero() || warmth.MetAt.After(at):
		return fmt.Sprintf("%s is held past its %s hours by the cold: they were over %s, and the equivalent age is %s.",
			a.Place(), floor.Need, Strip(floor.MetAt.Time, zone), p.of(a.Site, warmth))
	case warmth.MetAt.After(floor.MetAt.Time):
		return fmt.Sprintf("%s was held past its %s hours by the cold: they were over %s, and the equivalent age was reached %s.",
			a.Place(), floor.Need, Strip(floor.MetAt.Time, zone), Strip(warmth.MetAt.Time, zone))
	default:
		return ""
	}
}
