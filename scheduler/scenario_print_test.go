package scheduler_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// show writes a moment in the site's zone, to the second where it has one.
func (s *stage) show(at time.Time) string {
	if at.IsZero() {
		return "-"
	}
	at = at.In(s.zone)
	if at.Nanosecond() != 0 {
		return at.Format("01-02 15:04:05.000")
	}
	if at.Second() != 0 {
		return at.Format("01-02 15:04:05")
	}
	return at.Format("01-02 15:04")
}

func (s *stage) runAssess(t *testing.T, w words, _ string) string {
	a := s.look(t, w.plain[0], s.at(t, w.get("at", "")))
	var out strings.Builder
	s.printWindow(&out, a)
	for _, j := range a.Joints {
		fmt.Fprintf(&out, "joint %.1f-%.1f m at %.2f m: %s, %.1f of %.1f min by %s until %s", j.FromM, j.ToM, j.TopM, j.State, j.AgeMin, j.LimitMin, j.LimitBy, s.show(j.Deadline))
		if j.Treated {
			out.WriteString(", treated")
		}
		out.WriteString("\n")
	}
	s.printAlerts(&out, a.Alerts)
	printNearing(&out, a.Nearing)
	fmt.Fprintf(&out, "next %s\n", s.show(a.Next))
	return out.String()
}

func (s *stage) runWindow(t *testing.T, w words, _ string) string {
	var out strings.Builder
	s.printWindow(&out, s.look(t, w.plain[0], s.at(t, w.get("at", ""))))
	return out.String()
}

func (s *stage) printWindow(out *strings.Builder, a scheduler.Assessment) {
	open := "shut"
	if a.Strip.Open {
		open = "OPEN since " + s.show(a.Strip.OpenedAt)
	}
	x := a.Strip.Expected
	fmt.Fprintf(out, "%s %s: %s, %s, governs %s\n", a.Wall, s.show(a.At), a.State, open, a.Strip.Governs)
	fmt.Fprintf(out, "cured %s, earliest %s, expected %s / %s / %s\n", s.show(a.Strip.CuredAt), s.show(a.Strip.Earliest), s.show(x.Early), s.show(x.Likely), s.show(x.Late))
	for _, c := range a.Strip.Criteria {
		sign := "-"
		if c.Met {
			sign = "+"
		}
		unit := c.Unit
		if unit != "" {
			unit = " " + unit
		}
		fmt.Fprintf(out, "%s %-11s %-11s | %s of %s%s", sign, c.Name, s.show(c.MetAt), c.Have, c.Need, unit)
		if c.Note != "" {
			fmt.Fprintf(out, " | %s", c.Note)
		}
		out.WriteString("\n")
	}
}

// runCriterion prints one line of the window.
func (s *stage) runCriterion(names ...string) func(*testing.T, words, string) string {
	return func(t *testing.T, w words, _ string) string {
		a := s.look(t, w.plain[0], s.at(t, w.get("at", "")))
		a.Strip.Criteria = slices.DeleteFunc(a.Strip.Criteria, func(c scheduler.Criterion) bool { return !slices.Contains(names, c.Name) })
		var out strings.Builder
		s.printWindow(&out, a)
		_, lines, _ := strings.Cut(out.String(), "\n")
		_, lines, _ = strings.Cut(lines, "\n")
		return lines
	}
}

func (s *stage) runBraces(t *testing.T, w words, _ string) string {
	var out strings.Builder
	for _, b := range s.look(t, w.plain[0], s.at(t, w.get("at", ""))).Braces {
		fmt.Fprintf(&out, "%s at %.1f m, %.1f to %.1f m, zero %s: %s %s\n", b.Name, b.AtM, b.FromM, b.ToM, s.show(b.ClockZero), b.State, b.Waits)
	}
	return out.String()
}

func (s *stage) printAlerts(out *strings.Builder, list []scheduler.Alert) {
	for _, a := range list {
		fmt.Fprintf(out, "alert %s [%s] since %s, %s: %s\n", a.Kind, a.Cause, s.show(a.Since), a.Priority, a.Text)
		if a.About != nil {
			fmt.Fprintf(out, "     %s\n", s.showNumbers(a.About))
		}
	}
}

// showNumbers writes an alert's numbers, those that play no part left out.
func (s *stage) showNumbers(n *events.About) string {
	var parts []string
	say := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	if n.FromM != nil {
		say("%.2f-%.2f m", *n.FromM, *n.ToM)
	}
	if !n.Until.IsZero() {
		say("until %s", s.show(n.Until))
	}
	if len(n.Braces) > 0 {
		say("braces %s", strings.Join(n.Braces, " "))
	}
	if n.Load != "" {
		say("load %s", n.Load)
	}
	if n.Device != "" {
		say("device %s", n.Device)
	}
	if n.Measure != "" {
		say("%s %.4g of %.4g", n.Measure, *n.Have, *n.Limit)
	}
	if n.ClearM != nil {
		say("clear %.2f m", *n.ClearM)
	}
	return "(" + strings.Join(parts, ", ") + ")"
}

func printNearing(out *strings.Builder, list []scheduler.Alert) {
	for _, a := range list {
		fmt.Fprintf(out, "near %s [%s]\n", a.Kind, a.Cause)
	}
}

// watch looks at a wall at every step, as its record was known then.
func (s *stage) watch(t *testing.T, w words, see func(scheduler.Assessment)) {
	from, to, _ := s.span(t, w)
	step, err := time.ParseDuration(w.get("step", "1m"))
	require.NoError(t, err)
	facts := slices.Clone(s.facts.facts)
	slices.SortStableFunc(facts, func(a, b wall.Fact) int { return a.Recorded.Compare(b.Recorded) })
	f, i := (&record{}).fold(s.site), 0
	seen := map[events.Key]bool{}
	for at := from; !at.After(to); at = at.Add(step) {
		for ; i < len(facts) && !facts[i].Recorded.After(at); i++ {
			f.take(s.site, facts[i], seen)
		}
		if x := f.walls[w.plain[0]]; x != nil {
			see(scheduler.Assess(f.site, f.devices, x, s.hub, at))
		}
	}
}

// runWhen tells when the window's answer changes.
func (s *stage) runWhen(t *testing.T, w words, _ string) string {
	var out strings.Builder
	last := ""
	s.watch(t, w, func(a scheduler.Assessment) {
		now := fmt.Sprintf("%s governs %s", map[bool]string{true: "OPEN", false: "shut"}[a.Strip.Open], a.Strip.Governs)
		if now != last {
			fmt.Fprintf(&out, "%s %s\n", s.show(a.At), now)
		}
		last = now
	})
	return out.String()
}

// runCured tells when a criterion of the cured layer is met, and what it then says.
func (s *stage) runCured(t *testing.T, w words, _ string) string {
	var out strings.Builder
	last := map[string]bool{}
	s.watch(t, w, func(a scheduler.Assessment) {
		for _, c := range a.Strip.Criteria {
			if before, seen := last[c.Name]; c.Layer == scheduler.LayerCured && seen && before != c.Met {
				fmt.Fprintf(&out, "%s %s met=%v at %s: %s of %s %s\n", s.show(a.At), c.Name, c.Met, s.show(c.MetAt), c.Have, c.Need, c.Unit)
			}
			last[c.Name] = c.Met
		}
	})
	return out.String()
}

// runTold tells which alerts come to stand and go.
func (s *stage) runTold(t *testing.T, w words, _ string) string {
	var out strings.Builder
	last := map[string]bool{}
	s.watch(t, w, func(a scheduler.Assessment) {
		now := map[string]bool{}
		for _, x := range a.Alerts {
			key := x.Kind + " [" + x.Cause + "]"
			if now[key] = true; !last[key] {
				fmt.Fprintf(&out, "%s %s\n", s.show(a.At), key)
			}
		}
		for _, key := range slices.Sorted(maps.Keys(last)) {
			if !now[key] {
				fmt.Fprintf(&out, "%s over: %s\n", s.show(a.At), key)
			}
		}
		last = now
	})
	return out.String()
}

// runJoints tells when the state of an open joint or its limit changes.
func (s *stage) runJoints(t *testing.T, w words, _ string) string {
	var out strings.Builder
	last := ""
	s.watch(t, w, func(a scheduler.Assessment) {
		now := ""
		for _, j := range a.Joints {
			now += fmt.Sprintf(" %.1f-%.1f m at %.2f m: %s, limit %.1f min by %s;", j.FromM, j.ToM, j.TopM, j.State, j.LimitMin, j.LimitBy)
		}
		if now != last {
			fmt.Fprintf(&out, "%s%s\n", s.show(a.At), now)
		}
		last = now
	})
	return out.String()
}

func (s *stage) runAlerts(t *testing.T, w words, _ string) string {
	at := s.at(t, w.get("at", ""))
	f := s.facts.known(at).fold(s.site)
	list, next := scheduler.AlertsOfSite(f.site, f.devices, s.hub, at)
	var out strings.Builder
	s.printAlerts(&out, list)
	fmt.Fprintf(&out, "next %s\n", s.show(next))
	return out.String()
}

// runSheet prints the sums, and checks that the rows add up to them exactly.
func (s *stage) runSheet(t *testing.T, w words, _ string) string {
	at := s.at(t, w.get("at", ""))
	f := s.facts.known(at).fold(s.site)
	x := scheduler.SheetOf(f.site, f.devices, f.walls[w.plain[0]], s.hub, at)
	addUp(t, x)
	var out strings.Builder
	fmt.Fprintf(&out, "zero %s by %s of %s, not before %s", s.show(x.Zero.At), x.Zero.By, x.Zero.Person, s.show(x.Zero.Early))
	if x.Zero.Note != "" {
		fmt.Fprintf(&out, " | %s", x.Zero.Note)
	}
	out.WriteString("\n")
	for _, m := range x.Mixes {
		fmt.Fprintf(&out, "mix %q known %v, binder %s, retarder %s, by %s %s\n", m.Name, m.Known, m.Binder, m.Retarder, m.By, m.Note)
	}
	for _, c := range x.Criteria {
		fmt.Fprintf(&out, "criterion by %s %s %s: %s\n", c.By, c.Drawing, c.Clause, c.Says)
	}
	fmt.Fprintf(&out, "by %s, need %.3f h\n", strings.Join(x.Weighed, " and "), float64(x.NeedNS)/3.6e12)
	for i, h := range x.Hours {
		if n := len(x.Hours); w.has("short") && i >= 3 && i < n-3 {
			continue
		}
		fmt.Fprintf(&out, "%s %2d of %2d min at %6.2f °C, %s:", s.show(h.At), h.Counted/60, h.Seconds/60, float64(h.CentiC)/100, h.Source)
		for j := range h.Earned {
			fmt.Fprintf(&out, " +%.6f = %.6f h", float64(h.Earned[j])/3.6e12, float64(h.Sum[j])/3.6e12)
		}
		if h.Frozen {
			out.WriteString(" frozen")
		}
		out.WriteString("\n")
	}
	for _, r := range x.Resets {
		fmt.Fprintf(&out, "reset %s to %s, assumed %v, lost %.6f h\n", s.show(r.From), s.show(r.To), r.Assumed, float64(r.Lost[0])/3.6e12)
	}
	for _, r := range x.Others {
		if !w.has("others") {
			break
		}
		fmt.Fprintf(&out, "rule %s: %s of %s %s, met %s, likely %s\n", r.Name, r.Have, r.Need, r.Unit, s.show(r.MetAt), s.show(r.Likely))
	}
	return out.String()
}

// addUp follows a sheet by hand: each sum is the one before it and what was
// earned, less what a freeze within the hour took.
func addUp(t *testing.T, x scheduler.Sheet) {
	t.Helper()
	for i := range x.Weighed {
		sum, resets := int64(0), x.Resets
		for _, h := range x.Hours {
			sum += h.Earned[i]
			for len(resets) > 0 && resets[0].From.Before(h.At.Truncate(time.Hour).Add(time.Hour)) && h.Sum[i] != sum {
				sum -= resets[0].Lost[i]
				resets = resets[1:]
			}
			require.Equal(t, sum, h.Sum[i], "rule %d, hour %s", i, h.At)
		}
		require.Equal(t, sum, x.Sum[i], "rule %d, in all", i)
	}
}
