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
	zone := p.page.Sites[e.Source.Site].Location()
	place := e.Source.Site
	if e.Wall != "" {
		place += "/" + e.Wall
	}
	what := ""
	switch d := e.Data.(type) {
	case *events.WindowStated:
		if !p.news(place, d) {
			return ""
		}
		what = statement(d, zone)
	case *events.AlertRaised:
		what = "ALERT " + d.Priority + ", " + d.Kind + ": " + d.Text
	case *events.AlertCleared:
		what = "cleared: " + d.Kind
	case *events.SheetIssued:
		what = morning(d, zone)
	}
	return face.Past(e.said, zone) + "  " + pad(place) + "  " + what
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

func morning(d *events.SheetIssued, zone *time.Location) string {
	if len(d.Walls) == 0 {
		return "morning sheet: no wall is braced"
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
	return "morning sheet: " + strings.Join(parts, "; ")
}

// signal writes that a device has lost its signal, or has it again.
func (p *play) signal(d *deviceScript, what string) error {
	zone := p.page.Sites[d.site].Location()
	_, err := fmt.Fprintln(p.cfg.Out, face.Past(p.clock.Now(), zone)+"  "+pad(d.site)+"  "+d.device+" "+what)
	return err
}
