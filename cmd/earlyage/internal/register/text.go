package register

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/scheduler"
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

// writeWall writes when, then how long, how warm and by how much, then by whom:
// apart, so that no line is too long for a terminal.
func (s *Site) writeWall(w io.Writer, page face.Page, wall *Wall) error {
	if _, err := fmt.Fprintf(w, "\n%s/%s  %s\n\n", s.Site.Site, wall.Wall, wall.State); err != nil {
		return fmt.Errorf("write register: %w", err)
	}
	zone := s.Location()
	var when, much [][]string
	for i := range wall.Rows {
		r := &wall.Rows[i]
		at := ""
		if r.AtMM >= 0 {
			at = page.Length(s.Site.Site, float64(r.AtMM)/1000)
		}
		when = append(when, []string{r.label(), at, moments(r.Set.At, zone), moments(r.ClockZero, zone), opened(r, zone), moments(r.Stripped.At, zone)})
		much = append(much, []string{
			r.label(), keptWords(r, r.KeptS), keptWords(r, r.AgeS), r.Warmth.words(page, s.Site.Site), marginWords(r.Margin), r.Governs, r.verdict(),
		})
	}
	if err := face.Table(w, []string{"BRACE", "AT", "SET", "LAST CONCRETE", "OPENED", "STRIPPED"}, when); err != nil {
		return err
	}
	fmt.Fprintln(w)
	if err := face.Table(w, []string{"BRACE", "KEPT", "AGE AT 20 °C", "CONCRETE", "MARGIN", "GOVERNS", ""}, much); err != nil {
		return err
	}
	if err := wall.writeDeeds(w, zone); err != nil {
		return err
	}
	return wall.writeExceptions(w)
}

// words are the lowest and the highest, with the place where it is not the top.
func (m Warmth) words(page face.Page, site string) string {
	var low, high string
	if m.LowCC != nil {
		low = page.Lowest(site, float64(*m.LowCC)/100)
	}
	if m.HighCC != nil {
		high = page.Highest(site, float64(*m.HighCC)/100)
	}
	var out string
	switch {
	case m.Place == "":
		return notMeasured
	case low == "":
		out = "up to " + high
	case high == "":
		out = "down to " + low
	case low == high:
		out = low
	default:
		low, _, _ = strings.Cut(low, " ")
		out = low + " to " + high
	}
	if m.Place != scheduler.FromTop {
		out = m.Place + " " + out
	}
	return out
}

// said groups what is said of braces: each thing once, in the order in which it was
// first said, with the braces that it holds for.
type said struct {
	texts []string
	of    map[string][]string
}

func (s *said) note(text, brace string) {
	if s.of == nil {
		s.of = map[string][]string{}
	}
	if s.of[text] == nil {
		s.texts = append(s.texts, text)
	}
	s.of[text] = append(s.of[text], brace)
}

func (s *said) write(w io.Writer) error {
	if len(s.texts) > 0 {
		fmt.Fprintln(w)
	}
	for _, text := range s.texts {
		if err := face.Wrapped(w, strings.Join(s.of[text], ", ")+"  "+text, "  "); err != nil {
			return err
		}
	}
	return nil
}

// writeDeeds writes who set, looked at, permitted and stripped.
func (wall *Wall) writeDeeds(w io.Writer, zone *time.Location) error {
	var all said
	for i := range wall.Rows {
		r := &wall.Rows[i]
		words := []string{"set by " + r.Set.doer()}
		if r.Set.At.IsZero() {
			words[0] = "not recorded as set"
		}
		if r.Looks > 0 {
			words = append(words, "found sound "+moments(r.Inspected.At, zone)+" by "+r.Inspected.doer())
		}
		words = append(words, r.Permit.words())
		if !r.Stripped.At.IsZero() {
			words = append(words, "stripped by "+r.Stripped.doer())
		}
		all.note(strings.Join(words, "; "), r.label())
	}
	return all.write(w)
}

// doer is the person, by name where it is known.
func (d Deed) doer() string { return cmp.Or(d.Name, d.By, "a person not named") }

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

func (p Permit) words() string {
	if p.Number == "" {
		return "no permit"
	}
	out := "permit " + p.Number + " by " + cmp.Or(p.Name, p.By, "a person not named")
	switch {
	case !p.Stood:
		out += ", not in force"
	case p.Released != "":
		out += ", on the release of " + cmp.Or(p.Releaser, p.Released)
	}
	return out
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
	case m.AtMost && m.By != "":
		return hours(m.S) + " or less, to " + m.By
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
	var all said
	for i := range wall.Rows {
		r := &wall.Rows[i]
		for _, x := range r.Exceptions {
			all.note(x.Sort+": "+x.Text, r.label())
		}
		if r.Said.Differs {
			all.note(fmt.Sprintf("stated then: %s (%s); by what is known now: %s", r.Said.words(), in(r.Said.At, time.UTC), r.Said.Now), r.label())
		}
	}
	return all.write(w)
}

func (r *Register) writeTotals(w io.Writer) error {
	var rows [][]string
	for _, s := range r.Sites {
		rows = append(rows, s.Total.cells(s.Site.Site))
	}
	if len(r.Sites) != 1 {
		rows = append(rows, r.Total.cells("all"))
	}
	if err := face.Table(w, []string{"SITE", "BRACES", "STRIPPED", "EARLY", "UNPERMITTED", "STANDING", "EXCEPTIONS", "KEPT, MEAN", "LEAST", "LEAST MARGIN"}, rows); err != nil {
		return err
	}
	var days said
	for _, s := range r.Sites {
		days.note("days without an early strip: "+s.Clear.words(), s.Site.Site)
	}
	return days.write(w)
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
