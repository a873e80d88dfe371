package register

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/face"
)

// Text writes the register for a terminal: a table for each wall, what is not as
// it should be below it, the sums, the caution. Units are si or us; empty: those
// of each site.
func (r *Register) Text(out io.Writer, units string) error {
	w := bufio.NewWriter(out)
	page := face.Page{Sites: map[string]face.Site{}, Units: units}
	for _, s := range r.Sites {
		page.Sites[s.Site.Site] = s.Site
	}
	fmt.Fprintf(w, "%s, %s\n", r.title(), r.period())
	for i := range r.Sites {
		for j := range r.Sites[i].Walls {
			if err := r.Sites[i].writeWall(w, page, &r.Sites[i].Walls[j]); err != nil {
				return err
			}
		}
	}
	if r.Total.Braces == 0 {
		fmt.Fprintln(w, "\nNo brace stood in it.")
	}
	fmt.Fprintln(w)
	if err := r.writeTotals(w); err != nil {
		return err
	}
	fmt.Fprintln(w)
	if c := r.Checkpoint; c != nil {
		fmt.Fprintf(w, "Record through message %d; checkpoint of %d messages, %s.\n\n", r.Through, c.Size, c.Root)
	}
	if err := face.Caution(w); err != nil {
		return err
	}
	return w.Flush()
}

func (s *Site) writeWall(w io.Writer, page face.Page, wall *Wall) error {
	if _, err := fmt.Fprintf(w, "\n%s/%s  %s\n\n", s.Site.Site, wall.Wall, wall.State); err != nil {
		return fmt.Errorf("write register: %w", err)
	}
	zone := s.Location()
	var rows [][]string
	for i := range wall.Rows {
		r := &wall.Rows[i]
		at := ""
		if r.AtMM >= 0 {
			at = page.Length(s.Site.Site, float64(r.AtMM)/1000)
		}
		rows = append(rows, []string{
			r.label(), at, moments(r.Set.At, zone), moments(r.Inspected.At, zone), moments(r.ClockZero, zone), opened(r, zone), permitWords(r),
			moments(r.Stripped.At, zone), r.Stripped.who(), keptWords(r, r.KeptS), keptWords(r, r.AgeS), marginWords(r.Margin), r.Governs, r.verdict(),
		})
	}
	head := []string{"BRACE", "AT", "SET", "FOUND SOUND", "LAST CONCRETE", "OPENED", "PERMIT", "STRIPPED", "BY", "KEPT", "AGE AT 20 °C", "MARGIN", "GOVERNS", ""}
	if err := face.Table(w, head, rows); err != nil {
		return err
	}
	return wall.writeExceptions(w)
}

// moments writes a moment that has been in the site's zone, rounded down.
func moments(t face.Time, zone *time.Location) string {
	if t.IsZero() {
		return "-"
	}
	return face.Past(t.Time, zone)
}

// opened rounds up, as every time to strip.
func opened(r *Row, zone *time.Location) string {
	if r.Opened.IsZero() {
		return "not open"
	}
	return face.Strip(r.Opened.Time, zone)
}

func permitWords(r *Row) string {
	switch p := r.Permit; {
	case p.Number == "":
		return "none"
	case !p.Stood:
		return p.Number + ", not in force"
	case p.Released != "":
		return p.Number + ", on the release of " + p.Released
	default:
		return p.Number
	}
}

func keptWords(r *Row, s int64) string {
	if r.ClockZero.IsZero() {
		return "-"
	}
	return hours(s)
}

func marginWords(m Margin) string {
	switch {
	case !m.Known:
		return "-"
	case m.AtMost:
		return hours(m.S) + " or less"
	default:
		return hours(m.S)
	}
}

// verdict is the row's end: what it is, the gravest first.
func (r *Row) verdict() string {
	switch {
	case r.Early:
		return "STRIPPED EARLY"
	case r.Unpermitted:
		return "WITHOUT PERMIT"
	case r.Stripped.At.IsZero():
		return strings.ReplaceAll(r.State, "-", " ")
	default:
		return "in time"
	}
}

// writeExceptions writes each once, with the braces that it holds for.
func (wall *Wall) writeExceptions(w io.Writer) error {
	var said []string
	of := map[string][]string{}
	note := func(text, brace string) {
		if of[text] == nil {
			said = append(said, text)
		}
		of[text] = append(of[text], brace)
	}
	for i := range wall.Rows {
		r := &wall.Rows[i]
		for _, x := range r.Exceptions {
			note(x.Sort+": "+x.Text, r.label())
		}
		if r.Said.Differs {
			note(fmt.Sprintf("stated then: %s (%s); by what is known now: %s", r.Said.words(), in(r.Said.At, time.UTC), r.Said.Now), r.label())
		}
	}
	if len(said) > 0 {
		fmt.Fprintln(w)
	}
	for _, text := range said {
		if err := face.Wrapped(w, strings.Join(of[text], ", ")+"  "+text, "  "); err != nil {
			return err
		}
	}
	return nil
}

func (r *Register) writeTotals(w io.Writer) error {
	var rows [][]string
	for _, s := range r.Sites {
		rows = append(rows, append(s.Total.cells(s.Site.Site), s.Clear.words()))
	}
	if len(r.Sites) != 1 {
		rows = append(rows, append(r.Total.cells("all"), ""))
	}
	return face.Table(w, []string{"SITE", "BRACES", "STRIPPED", "EARLY", "WITHOUT PERMIT", "STANDING", "WITH EXCEPTIONS", "KEPT, MEAN", "LEAST", "LEAST MARGIN", "DAYS WITHOUT AN EARLY STRIP"}, rows)
}

func (t Totals) cells(of string) []string {
	out := []string{of}
	for _, n := range []int{t.Braces, t.Stripped, t.Early, t.Unpermitted, t.Standing, t.Exceptions} {
		out = append(out, fmt.Sprint(n))
	}
	for _, s := range []*int64{t.KeptMeanS, t.KeptLeastS, t.MarginLeastS} {
		if s == nil {
			out = append(out, "-")
			continue
		}
		out = append(out, hours(*s))
	}
	return out
}

func (c Clear) words() string {
	switch {
	case c.Days < 0:
		return "nothing was stripped yet"
	case c.Early:
		return fmt.Sprintf("%d, since the last on %s", c.Days, c.Since)
	default:
		return fmt.Sprintf("%d, since the first strip on %s", c.Days, c.Since)
	}
}
