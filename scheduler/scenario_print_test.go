package scheduler_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

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

func (s *stage) printAlerts(out *strings.Builder, list []scheduler.Alert) {
	for _, a := range list {
		fmt.Fprintf(out, "alert %s [%s] since %s, %s: %s\n", a.Kind, a.Cause, s.show(a.Since), a.Priority, a.Text)
	}
}

// runWhen looks at the window at every step and tells when its answer changes.
func (s *stage) runWhen(t *testing.T, w words, _ string) string {
	from, to, _ := s.span(t, w)
	step, err := time.ParseDuration(w.get("step", "1m"))
	require.NoError(t, err)
	var out strings.Builder
	last, held := "", -1
	var f *folded
	for at := from; !at.After(to); at = at.Add(step) {
		if known := s.facts.known(at); len(known.facts)+len(known.refused) != held {
			f, held = known.fold(s.site), len(known.facts)+len(known.refused)
		}
		a := scheduler.Assess(f.site, f.devices, f.walls[w.plain[0]], s.hub, at)
		now := fmt.Sprintf("%s governs %s", map[bool]string{true: "OPEN", false: "shut"}[a.Strip.Open], a.Strip.Governs)
		if now != last {
			fmt.Fprintf(&out, "%s %s\n", s.show(at), now)
		}
		last = now
	}
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

func (s *stage) runSheet(t *testing.T, w words, _ string) string {
	return ""
}
