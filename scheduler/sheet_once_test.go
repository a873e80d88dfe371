package scheduler_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler"
)

// A day has one sheet whatever becomes of the walls after it was made: that it
// was issued is read from the record, not told by its bytes, and nothing is
// tried again for the rest of the day.
func TestADayHasOneSheetThoughItsWallsChange(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.begun = day.Add(-48 * time.Hour)
		h.askAlways(mill, scheduler.Assessment{})
		h.askAlways(north, shut(scheduler.Floor, day.Add(3*time.Hour)))
		r := h.begin()
		defer func() { r.end() }()
		r.settle()
		require.Len(t, h.sheets(), 1)
		require.Equal(t, "expected", h.sheets()[0].Walls[0].What)

		for i, a := range []scheduler.Assessment{open(day.Add(time.Hour)), shut(scheduler.Hold, time.Time{}), open(day)} {
			h.askAlways(north, a)
			h.askAlways(mill, scheduler.Assessment{}) // the site is looked at again
			r.step(2 * time.Hour)
			if i == 1 {
				r.end()
				r = h.begin()
				r.settle()
			}
		}
		require.Len(t, h.sheets(), 1, "one of the day, after changes and a restart")
		h.set(func() {
			dates := map[string]int{}
			for _, m := range h.stream {
				if m.event != nil && m.event.Kind == "sheet.issued" {
					d := m.event.Data.(*events.SheetIssued)
					dates[d.Sheet+" "+d.Date]++
				}
			}
			require.Equal(t, map[string]int{"morning 2026-01-15": 1, "beat 2026-01-15": 1, "evening 2026-01-14": 1}, dates)
		})
		r.step(20 * time.Hour)
		require.Len(t, h.sheets(), 2, "the next day's")
		require.Equal(t, "may-strip", h.sheets()[1].Walls[0].What)
	})
}
