package demo

import (
	"fmt"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
)

// told is what has been shown of a wall's window.
type told struct {
	open          bool
	governs       string
	cured, likely time.Time
}

// movedMuch is how far an expected time must move to be worth a line. The hub
// states it again when it moves by half an hour.
const movedMuch = 12 * time.Hour

// news reports whether a statement says something else than the line before it,
// or all statements are asked for.
func (p *play) news(place string, d *events.WindowStated) bool {
	last, seen := p.told[place]
	now := told{open: d.Open, governs: d.Governs, cured: d.CuredAt, likely: d.Likely}
	moved := last.likely.IsZero() != now.likely.IsZero() || now.likely.Sub(last.likely).Abs() >= movedMuch
	if seen && !p.cfg.All && last.open == now.open && last.governs == now.governs && last.cured.Equal(now.cured) && (!now.cured.IsZero() || !moved) {
		p.held++
		return false
	}
	p.told[place] = now
	return true
}

// line puts what the hub said in one line, in the time of the site; empty: it
// says nothing new.
func (p *play) line(e word) string {
	what := ""
	switch d := e.Data.(type) {
	case *events.WindowStated:
		if !p.news(place(e.Source.Site, e.Wall), d) {
			return ""
		}
		what = statement(d, p.zone(e.Source.Site))
	case *events.AlertRaised:
		what = "ALERT " + d.Priority + ", " + d.Kind + ": " + d.Text
	case *events.AlertCleared:
		what = "cleared: " + d.Kind
	case *events.SheetIssued:
		what = sheet(d, p.zone(e.Source.Site))
	default:
		what = p.identity(e)
	}
	if what == "" {
		return ""
	}
	return p.row(e.said, e.Source.Site, e.Wall, what)
}

func (p *play) zone(site string) *time.Location { return p.page.Sites[site].Location() }

// row is a line of the demo, in the time of the site.
func (p *play) row(at time.Time, site, wall, what string) string {
	return face.Past(at, p.zone(site)) + "  " + pad(place(site, wall)) + "  " + what
}

func place(site, wall string) string {
	switch {
	case site == everySite:
		return "every site"
	case wall == "":
		return site
	}
	return site + "/" + wall
}

// tell writes a line that the demo itself has to say of an entry.
func (p *play) tell(e entry, what string) error {
	_, err := fmt.Fprintln(p.cfg.Out, p.row(p.clock.Now(), e.device.site, e.wall, what))
	return err
}

// identity puts what the hub says of people and devices in words; empty: it is
// something else.
func (p *play) identity(e word) string {
	switch d := e.Data.(type) {
	case *events.PersonAppointed:
		return d.Person + " appointed " + titles(d.Roles)
	case *events.DeviceEnrolled:
		if d.Person == "" {
			return d.Device + " (" + d.Sort + ") enrolled"
		}
		return d.Device + " of " + d.Person + " (" + titles(p.script.rolesOf(d.Person, e.Source.Site)) + ") enrolled"
	case *events.DeviceRevoked:
		return d.Device + " shut out: " + d.Reason
	}
	return ""
}

func titles(roles []events.Role) string {
	words := make([]string, len(roles))
	for i, r := range roles {
		words[i] = r.Title()
	}
	return strings.Join(words, ", ")
}

func statement(d *events.WindowStated, zone *time.Location) string {
	switch {
	case d.Open:
		return "may strip since " + face.Strip(d.Earliest, zone)
	case !d.CuredAt.IsZero():
		return "shut, " + d.Governs + " governs; cured " + face.Strip(d.CuredAt, zone)
	case !d.Likely.IsZero():
		return "shut, " + d.Governs + " governs; cured expected " + face.Strip(d.Likely, zone)
	default:
		return "shut, " + d.Governs + " governs"
	}
}

const placeWidth = 19

func pad(s string) string { return s + strings.Repeat(" ", max(0, placeWidth-len(s))) }

// sheetNames are the sheets that have something to say of walls.
var sheetNames = map[string]string{
	events.MorningSheet: "morning sheet: ", events.EveningSheet: "evening sheet: ", events.WeeklySheet: "register of the week: ",
}

// sheet puts a sheet in one line; empty: it is the beat, which says nothing new.
func sheet(d *events.SheetIssued, zone *time.Location) string {
	name := sheetNames[d.Name()]
	switch {
	case name == "":
		return ""
	case len(d.Walls) == 0:
		return name + "no wall is braced"
	}
	var parts []string
	for _, w := range d.Walls {
		part := w.Wall + " " + strings.ReplaceAll(w.What, "-", " ")
		switch {
		case w.Text != "":
			part = w.Wall + " " + w.Text
		case w.At.IsZero():
		case !w.At.After(d.At):
			part += " since " + face.Strip(w.At, zone)
		case w.What == "expected":
			part += " " + face.Strip(w.At, zone)
		default:
			part += ", expected " + face.Strip(w.At, zone)
		}
		parts = append(parts, part)
	}
	return name + strings.Join(parts, "; ")
}

// signal writes that a device has lost its signal, or has it again.
func (p *play) signal(d *deviceScript, what string) error {
	_, err := fmt.Fprintln(p.cfg.Out, p.row(p.clock.Now(), d.site, "", d.device+" "+what))
	return err
}
