package notify_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify"
)

// What goes out calls walls by the names that people gave them: single alerts, the
// summary of a flood, what is over, and sheets.
func TestMessagesNameTheWall(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.cfg.Compose = notify.Words{}
		r.begin()
		for i := range 14 {
			r.put(sealed(hubKey, raisedEvent(t, fmt.Sprintf("a%02d", i), "high")))
		}
		wait(15 * time.Minute)
		r.put(cleared(t, "a00"))
		wait(2 * time.Minute)
		walls := []events.SheetWall{{Wall: "north", What: "waiting"}, {Wall: "south", What: "waiting"}}
		r.put(sealed(hubKey, eventBy(t, "hub", "", "", "sheet.issued", &events.SheetIssued{Sheet: "morning", Date: "2026-01-15", At: time.Now(), Walls: walls, Rules: "rules-1"})))
		wait(2 * time.Minute)
		whats := map[string]int{}
		for _, m := range r.mail.got {
			if whats[m.What]++; m.What == "sheet" {
				require.Contains(t, m.Plain, "North 2")
				require.Contains(t, m.Plain, "south", "it has no name")
				continue
			}
			require.Contains(t, m.First, "mill, North 2", m.What)
			require.Contains(t, m.Short, "mill, North 2", m.What)
			require.NotContains(t, m.Plain, "north", m.What)
		}
		for _, what := range []string{"raised", "summary", "cleared", "sheet"} {
			require.Positive(t, whats[what], what)
		}
	})
}
