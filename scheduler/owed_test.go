package scheduler_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler"
)

// pass lets machine time go by, while nothing can be settled.
func pass(h *fakeHub, minutes int) {
	for range minutes {
		h.clock.Step(time.Minute)
		time.Sleep(12 * time.Second) // longer than the longest pause
		synctest.Wait()
	}
}

func (h *fakeHub) lose(away bool) { h.set(func() { h.away, h.behind = away, away }) }

func closingNow(at time.Time) scheduler.Assessment {
	return with(curing(), alert(scheduler.AlertJointClosing, "2.0 m", at))
}

// Who was told of it is told of its end; the condition that comes back is another
// alert.
func TestWhatWasHandedOnAndIsOverIsSaidAndCleared(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, curing())
		r, u := beginUnsaid(h)
		defer r.end()
		r.settle()
		h.lose(true)
		h.askAlways(north, closingNow(h.clock.Now()))
		pass(h, 2)
		require.Len(t, u.alerts(), 1)
		h.askAlways(north, curing())
		pass(h, 2)
		h.lose(false)
		r.settle()
		require.Len(t, h.raised(), 1)
		require.Equal(t, u.alerts()[0], h.raised()[0].Alert)
		require.Equal(t, dataOf[*events.AlertRaised](u.words)[0], h.raised()[0], "word for word")
		r.step(scheduler.AlertKinds[scheduler.AlertJointClosing].OffDelay + time.Second)
		require.Len(t, h.cleared(), 1)
		require.Equal(t, u.alerts()[0], h.cleared()[0].Alert)
		r.step(time.Hour)
		require.Len(t, h.raised(), 1)
		h.askAlways(north, closingNow(h.clock.Now()))
		r.settle()
		require.Len(t, h.raised(), 2)
		require.NotEqual(t, h.raised()[0].Alert, h.raised()[1].Alert)
		require.Len(t, u.words, 1)
	})
}

// after starts a loop that is told what an earlier one had handed on.
func after(h *fakeHub, old ...events.Event) (*running, *handed) {
	u := &handed{h: h}
	return h.beginAs(scheduler.Config{Unsaid: u.take, Handed: func() []events.Event { return old }}), u
}

func TestWhatAnEarlierLoopHandedOnIsSaidOrEnds(t *testing.T) {
	for _, stands := range []bool{true, false} {
		t.Run(fmt.Sprintf("stands %v", stands), func(t *testing.T) {
			bubble(t, func(t *testing.T, h *fakeHub) {
				h.askAlways(north, curing())
				r, u := beginUnsaid(h)
				r.settle()
				h.lose(true)
				since := h.clock.Now()
				h.askAlways(north, closingNow(since))
				pass(h, 2)
				r.end()
				require.Len(t, u.words, 1)
				if !stands {
					h.askAlways(north, curing())
				}
				again, other := after(h, u.words...)
				defer again.end()
				pass(h, 2)
				h.lose(false)
				again.settle()
				require.Len(t, h.raised(), 1)
				require.Equal(t, u.alerts()[0], h.raised()[0].Alert)
				again.step(5 * time.Minute)
				require.Equal(t, !stands, len(h.cleared()) == 1)
				require.Empty(t, other.words, "nobody is told twice")
			})
		})
	}
}

// An alert of which the record can have no more, under that id, is ended beside the
// stream: no later one bears its id.
func TestWhatCanNeverBeSaidIsEndedBesideTheStream(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, closingNow(day))
		strange := events.Event{Source: events.Source{Site: north.Site, Device: scheduler.HubDevice}, Wall: north.Wall, Kind: "alert.raised", Data: &events.AlertRaised{
			Alert: "alert-of-old-rules", Kind: scheduler.AlertJointClosing, Cause: "2.0 m", Priority: scheduler.Urgent, Since: day, Text: "t",
		}}
		r, u := after(h, strange)
		defer r.end()
		r.settle()
		r.step(time.Hour)
		require.Len(t, u.words, 1)
		require.NoError(t, u.words[0].Check())
		require.NotEmpty(t, u.words[0].ID)
		require.Equal(t, "alert-of-old-rules", u.words[0].Data.(*events.AlertCleared).Alert)
		require.Equal(t, north, scheduler.Ref{Site: u.words[0].Source.Site, Wall: u.words[0].Wall})
		require.Len(t, h.raised(), 1, "what stands is said as ever")
	})
}

// A hub that is started while the stream is away hands on what is urgent and was
// brought by time alone since the record's last message, where that is not old.
func TestAHubStartedWhileTheStreamIsAwayHandsOnWhatIsUrgent(t *testing.T) {
	for name, c := range map[string]struct {
		kind  string
		after time.Duration // of the start
		since time.Duration // of the condition
		told  bool
	}{
		"urgent": {scheduler.AlertJointClosing, 30 * time.Minute, 20 * time.Minute, true}, "less than urgent": {scheduler.AlertLoadOld, 30 * time.Minute, 20 * time.Minute, false},
		"an old record":                 {scheduler.AlertJointClosing, 3 * time.Hour, 20 * time.Minute, false},
		"before the last message of it": {scheduler.AlertJointClosing, 30 * time.Minute, -20 * time.Minute, false},
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T, h *fakeHub) {
				h.askAlways(north, curing())
				due := h.clock.Now().Add(c.since)
				h.lose(true)
				h.clock.Step(c.after)
				h.set(func() {
					h.ought[north] = func(time.Time) scheduler.Assessment { return with(curing(), alert(c.kind, "2.0 m", due)) }
				})
				r, u := beginUnsaid(h)
				pass(h, 3)
				require.Equal(t, c.told, len(u.alerts()) == 1)
				r.end()
				again, other := after(h, u.words...)
				defer again.end()
				pass(h, 2)
				require.Empty(t, other.words)
				h.lose(false)
				again.settle()
				require.Len(t, h.raised(), 1)
				if c.told {
					require.Equal(t, u.alerts()[0], h.raised()[0].Alert)
					require.Empty(t, other.words, "nobody is told twice")
				}
			})
		})
	}
}

func TestAShortStreamIsOverAfterItsDelay(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, curing())
		r, u := beginUnsaid(h)
		r.settle()
		set := func(short bool, d time.Duration) {
			h.set(func() { h.short = short })
			time.Sleep(2 * time.Second)
			h.clock.Step(d)
			time.Sleep(2 * time.Second)
			synctest.Wait()
		}
		set(true, time.Second)
		set(false, 30*time.Second)
		set(true, time.Second)
		set(false, 30*time.Second)
		require.Len(t, u.words, 1, "a stream that comes and goes is one alert")
		set(true, time.Second)
		r.end()

		h.set(func() { h.behind, h.short = true, false })
		again, other := after(h, u.words...)
		defer again.end()
		pass(h, 3)
		require.Empty(t, other.words, "it is not compared with the stream yet")
		h.set(func() { h.behind = false })
		pass(h, 3)
		require.Len(t, other.words, 1)
		require.Equal(t, u.alerts()[0], other.words[0].Data.(*events.AlertCleared).Alert)
	})
}

// Whatever fails, comes, goes, and ends: what was handed on is in the record or its
// end was handed on, once; of one condition one alert stands; none is told under two ids.
func TestWhatIsHandedOnAlwaysEnds(t *testing.T) {
	total := 0
	for seed := range uint64(25) {
		bubble(t, func(t *testing.T, h *fakeHub) {
			rng := rand.New(rand.NewPCG(seed, 7))
			h.askAlways(north, curing())
			var words []events.Event
			r, u := beginUnsaid(h)
			r.settle()
			for range 25 {
				switch rng.IntN(7) {
				case 0, 1:
					h.askAlways(north, closingNow(h.clock.Now()))
				case 2:
					h.askAlways(north, curing())
				case 3:
					h.lose(true)
				case 4:
					h.lose(false)
				case 5:
					h.set(func() { h.failures = []failure{failure(1 + rng.IntN(3))} })
				case 6:
					r.end()
					words = append(words, u.words...)
					r, u = after(h, stillOpen(words, h)...)
				}
				pass(h, rng.IntN(3))
			}
			h.lose(false)
			h.set(func() { h.failures = nil })
			h.askAlways(north, curing())
			r.settle()
			r.step(time.Hour)
			r.end()
			words = append(words, u.words...)
			require.Empty(t, stillOpen(words, h))
			seen := map[string]bool{}
			for _, d := range dataOf[*events.AlertRaised](words) {
				require.False(t, seen[d.Alert], "handed on twice")
				seen[d.Alert] = true
			}
			total += len(seen)
			standing := map[string]bool{}
			for _, e := range h.words() {
				switch d := e.Data.(type) {
				case *events.AlertRaised:
					require.Empty(t, standing, "one alert of one condition")
					standing[d.Alert] = true
				case *events.AlertCleared:
					require.True(t, standing[d.Alert])
					delete(standing, d.Alert)
				}
			}
			require.Empty(t, standing)
		})
	}
	require.Greater(t, total, 20)
}

// stillOpen are the alerts among words that are neither in the stream nor over, as the
// ledger of telling has them.
func stillOpen(words []events.Event, h *fakeHub) []events.Event {
	said := h.raised()
	return slices.DeleteFunc(slices.Clone(words), func(e events.Event) bool {
		d, ok := e.Data.(*events.AlertRaised)
		return !ok || slices.ContainsFunc(said, func(s *events.AlertRaised) bool { return s.Alert == d.Alert }) ||
			slices.ContainsFunc(dataOf[*events.AlertCleared](words), func(c *events.AlertCleared) bool { return c.Alert == d.Alert })
	})
}
