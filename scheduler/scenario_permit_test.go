package scheduler_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"earlyage/scheduler"
)

// runPermits prints what becomes of the permits that somebody may hold, and the
// alerts about permits and strips.
func (s *stage) runPermits(t *testing.T, w words, _ string) string {
	a := s.look(t, w.plain[0], s.at(t, w.get("at", "")))
	var out strings.Builder
	for _, p := range a.Permits {
		fmt.Fprintf(&out, "%s stands %v", p.Number, p.Stands)
		if !p.Since.IsZero() {
			fmt.Fprintf(&out, ", since %s", s.show(p.Since))
		}
		fmt.Fprintf(&out, " | %s\n", strings.TrimSpace(p.Why+" "+p.Released))
	}
	s.printAlerts(&out, slices.DeleteFunc(a.Alerts, func(x scheduler.Alert) bool {
		return !strings.HasPrefix(x.Kind, "permit-") && !strings.HasPrefix(x.Kind, "strip-")
	}))
	return out.String()
}
