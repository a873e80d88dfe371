package desk_test

import (
	"fmt"
	"testing"
	"time"

	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

// A word costs as much with 10,000 cases open as with 100.
func BenchmarkTakeAndTick(b *testing.B) {
	for _, open := range []int{100, 10_000} {
		b.Run(fmt.Sprint(open), func(b *testing.B) {
			d := desk.New(fourRungs())
			now := noon
			raise := func(i int) notice.Notice {
				return notice.Notice{State: notice.Raised, Alert: fmt.Sprintf("b%d", i), Kind: "line-due", Priority: desk.High, Site: "north", Recorded: now}
			}
			answer := func() {
				for _, l := range d.Due(now) {
					d.Came(l.ID, desk.Result{Outcome: desk.Done}, now)
				}
			}
			for i := range open {
				now = now.Add(time.Minute)
				d.Take(raise(i), now)
				answer()
				d.Take(notice.Notice{State: notice.Acknowledged, Alert: fmt.Sprintf("b%d", i), Site: "north", Recorded: now}, now)
			}
			b.ResetTimer()
			for i := range b.N {
				now = now.Add(time.Second)
				d.Take(raise(open+i), now)
				answer()
				d.Take(notice.Notice{State: notice.Cleared, Alert: fmt.Sprintf("b%d", open+i), Site: "north", At: now}, now)
				d.Take(notice.Notice{State: notice.Acknowledged, Alert: fmt.Sprintf("b%d", open+i), Site: "north", Recorded: now}, now)
				d.Tick(now)
			}
		})
	}
}
