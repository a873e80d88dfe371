package scheduler_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"earlyage/scheduler"
)

// runPlacing prints what is said of the placing: all of it, or the parts named.
func (s *stage) runPlacing(t *testing.T, w words, _ string) string {
	a := s.look(t, w.plain[0], s.at(t, w.get("at", "")))
	parts := []struct {
		name  string
		print func(*strings.Builder, *scheduler.Assessment)
	}{
		{"fronts", s.printFronts}, {"rate", printRate}, {"pressure", printPressure}, {"loads", s.printLoads}, {"take", s.printTake},
		{"faces", s.printFaces}, {"checks", printChecks}, {"points", printOpen},
	}
	var out strings.Builder
	for _, p := range parts {
		if len(w.plain) == 1 || slices.Contains(w.plain[1:], p.name) {
			p.print(&out, &a)
		}
	}
	if len(w.plain) == 1 {
		s.printAlerts(&out, a.Alerts)
		printNearing(&out, a.Nearing)
		fmt.Fprintf(&out, "next %s\n", s.show(a.Next))
	}
	return out.String()
}

func (s *stage) printFronts(out *strings.Builder, a *scheduler.Assessment) {
	for _, f := range a.Fronts {
		fmt.Fprintf(out, "front %.2f-%.2f m at %.2f m to %.2f m:", f.FromM, f.ToM, f.TopM, f.EndM)
		if !f.Deadline.IsZero() {
			fmt.Fprintf(out, " %.1f of %.1f min by %s, until %s, %.1f left, batch by %s;", f.AgeMin, f.LimitMin, f.LimitBy, s.show(f.Deadline), f.LeftMin, s.show(f.BatchBy))
		}
		fmt.Fprintf(out, " rose %.3f, now %.3f, %.3f from %s (%s)\n", f.RiseM, f.NowM, f.FullM, s.show(f.FullFrom), f.RiseBy)
	}
}

func printRate(out *strings.Builder, a *scheduler.Assessment) {
	fmt.Fprintf(out, "rate %.3f m/h, %.3f m³/h\n", a.Rate.RiseMPH, a.Rate.M3H)
}

func printPressure(out *strings.Builder, a *scheduler.Assessment) {
	p := a.Pressure
	fmt.Fprintf(out, "pressure %.2f kPa of %.2f rated, head %.2f", p.KPa, p.RatedKPa, p.HeadKPa)
	if p.KPa > 0 {
		fmt.Fprintf(out, " at %.1f-%.1f m: %s, %.2f m/h, %.1f °C %v, levels %v", p.FromM, p.ToM, p.By, p.RateMPH, p.Celsius, p.Notes, p.Levels)
	}
	out.WriteString("\n")
}

func (s *stage) printLoads(out *strings.Builder, a *scheduler.Assessment) {
	for _, l := range a.Loads {
		fmt.Fprintf(out, "load %s %s: %.1f min old, %.1f m³, expected %s, slump %d mm, %.1f °C %v, water %.0f l\n", l.Name, l.State, l.AgeMin, l.VolumeM3, s.show(l.Expected), l.SlumpMM, l.Celsius, l.Measured, l.WaterL)
	}
	fmt.Fprintf(out, "spacing planned %.1f, actual %.1f, longest %.1f min\n", a.Spacing.PlannedMin, a.Spacing.ActualMin, a.Spacing.LongestMin)
}

func (s *stage) printTake(out *strings.Builder, a *scheduler.Assessment) {
	k := a.Take
	fmt.Fprintf(out, "take: need %.3f, ordered %.3f, delivered %.3f, placed %.3f, to go %.3f, coming %.3f m³; balance %.3f m³ by %s\n",
		k.NeedM3, k.OrderedM3, k.DeliveredM3, k.PlacedM3, k.ToGoM3, k.ComingM3, k.BalanceM3, s.show(k.BalanceAt))
}

func (s *stage) printFaces(out *strings.Builder, a *scheduler.Assessment) {
	for _, f := range a.Faces {
		fmt.Fprintf(out, "face %s: %s, old enough %s, earliest %s, waits for %q\n", f.Face, f.State, s.show(f.MetAt), s.show(f.Earliest), f.Waits)
		for _, c := range f.Criteria {
			sign := "-"
			if c.Met {
				sign = "+"
			}
			fmt.Fprintf(out, "%s %-8s %-11s | %s of %s %s | %s\n", sign, c.Name, s.show(c.MetAt), c.Have, c.Need, c.Unit, c.Note)
		}
	}
}

func printChecks(out *strings.Builder, a *scheduler.Assessment) {
	for _, l := range a.Checks {
		fmt.Fprintf(out, "checks %s version %s: %d items, %d open\n", l.Name, l.Version, len(l.Items), len(l.Open))
		for _, m := range l.Open {
			fmt.Fprintf(out, "- %s: %s\n", m.ID, m.Why)
		}
	}
}

func printOpen(out *strings.Builder, a *scheduler.Assessment) {
	for _, p := range a.Open {
		fmt.Fprintf(out, "open: %s\n", p)
	}
}
