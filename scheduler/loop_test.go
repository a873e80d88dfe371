package scheduler_test

import (
	"context"
	"slices"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"earlyage/events"
	"earlyage/scheduler"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var (
	day   = time.Date(2026, 1, 15, 7, 0, 0, 0, time.UTC)
	north = scheduler.Ref{Site: "mill", Wall: "north"}
	south = scheduler.Ref{Site: "mill", Wall: "south"}
	mill  = scheduler.Ref{Site: "mill"}
)

// shut is a curing wall that is expected at a time.
func shut(governs string, likely time.Time) scheduler.Assessment {
	return scheduler.Assessment{State: scheduler.StateCuring, Strip: scheduler.Strip{
		Governs:  governs,
		Expected: scheduler.Expected{Early: likely, Likely: likely, Late: likely},
		Criteria: []scheduler.Criterion{{Name: governs, Layer: scheduler.LayerCured, Have: "30.5", Need: "48", Unit: "h"}},
	}}
}

// open is a wall whose window opened at a time.
func open(at time.Time) scheduler.Assessment {
	return scheduler.Assessment{State: scheduler.StateMayStrip, Strip: scheduler.Strip{
		Open: true, OpenedAt: at, CuredAt: at, Earliest: at, Governs: scheduler.Permit,
	}}
}

func with(a scheduler.Assessment, alerts ...scheduler.Alert) scheduler.Assessment {
	a.Alerts = alerts
	return a
}

func alert(kind, cause string, since time.Time) scheduler.Alert {
	return scheduler.Alert{Kind: kind, Cause: cause, Priority: scheduler.AlertKinds[kind].Priority, Since: since, Text: "look at " + cause}
}

// bubble runs a test in a synctest bubble: the pauses in which the loop waits
// for the stream cost nothing there.
func bubble(t *testing.T, f func(t *testing.T, h *fakeHub)) {
	synctest.Test(t, func(t *testing.T) { f(t, newFakeHub(t, day)) })
}

func TestNothingIsSaidWhileTheRecordIsNotLevel(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.behind = true
		h.askAlways(mill, scheduler.Assessment{})
		h.askAlways(north, shut(scheduler.Floor, day.Add(time.Hour)))
		r := h.begin()
		defer r.end()
		for range 5 {
			h.askAlways(north, shut(scheduler.Temperature, day.Add(5*time.Hour)))
			h.clock.Step(time.Hour)
			synctest.Wait()
		}
		require.Empty(t, h.words())
		require.Empty(t, h.looks(), "while catching up nothing is even assessed")
		h.set(func() { h.behind = false })
		r.settle()
		require.Len(t, h.statements(), 1)
		require.Equal(t, scheduler.Temperature, h.statements()[0].Governs)
		require.LessOrEqual(t, h.looks()[north], 3, "once for the catching up, once for the fold of its own word, once for the sheet")
	})
}

func TestAStatementIsMadeAgainOnlyWhenItSaysSomethingElse(t *testing.T) {
	likely := day.Add(4 * time.Hour)
	edge := func(f func(*scheduler.Strip)) scheduler.Assessment {
		a := shut(scheduler.Floor, likely)
		f(&a.Strip)
		return a
	}
	for name, c := range map[string]struct {
		next scheduler.Assessment
		news bool
	}{
		"the same":              {shut(scheduler.Floor, likely), false},
		"another rule governs":  {shut(scheduler.Temperature, likely), true},
		"open":                  {open(day), true},
		"cured":                 {edge(func(s *scheduler.Strip) { s.CuredAt = day }), true},
		"29 minutes later":      {edge(func(s *scheduler.Strip) { s.Expected.Late = likely.Add(29 * time.Minute) }), false},
		"late 30 minutes later": {edge(func(s *scheduler.Strip) { s.Expected.Late = likely.Add(30 * time.Minute) }), true},
		"early 30 min. earlier": {edge(func(s *scheduler.Strip) { s.Expected.Early = likely.Add(-30 * time.Minute) }), true},
		"likely not known":      {edge(func(s *scheduler.Strip) { s.Expected.Likely = time.Time{} }), true},
		"another earliest":      {edge(func(s *scheduler.Strip) { s.Earliest = likely.Add(9 * time.Hour) }), false},
		"stripped":              {func() scheduler.Assessment { a := open(day); a.State = scheduler.StateStripped; return a }(), false},
		"handed over":           {func() scheduler.Assessment { a := open(day); a.State = scheduler.StateHandedOver; return a }(), false},
		"nothing placed at all": {scheduler.Assessment{State: scheduler.StatePlanned, Strip: scheduler.Strip{Governs: scheduler.Complete}}, true},
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T, h *fakeHub) {
				h.askAlways(north, shut(scheduler.Floor, likely))
				r := h.begin()
				defer r.end()
				r.settle()
				require.Len(t, h.statements(), 1)
				h.askAlways(north, c.next)
				r.settle()
				r.settle()
				require.Len(t, h.statements(), map[bool]int{false: 1, true: 2}[c.news])
			})
		})
	}
}

// A week ahead half an hour is no news: it takes a tenth of the time that is left.
func TestAFarEdgeIsStatedAgainWhenItMovedByATenth(t *testing.T) {
	for move, statements := range map[time.Duration]int{30 * time.Minute: 1, 299 * time.Minute: 1, 300 * time.Minute: 2, -300 * time.Minute: 2} {
		bubble(t, func(t *testing.T, h *fakeHub) {
			likely := day.Add(50 * time.Hour)
			h.askAlways(north, shut(scheduler.Temperature, likely))
			r := h.begin()
			defer r.end()
			r.settle()
			h.askAlways(north, shut(scheduler.Temperature, likely.Add(move)))
			r.settle()
			require.Len(t, h.statements(), statements, "moved by %s", move)
		})
	}
}

func TestAPlannedWallHasNoStatement(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, scheduler.Assessment{State: scheduler.StatePlanned, Strip: scheduler.Strip{Governs: scheduler.Complete}})
		r := h.begin()
		defer r.end()
		r.settle()
		require.Empty(t, h.words())
	})
}

// An edge that creeps is compared with what was said, not with the last look.
func TestACreepingEdgeIsStatedWhenItHasMovedHalfAnHour(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		likely := day.Add(4 * time.Hour)
		h.askAlways(north, shut(scheduler.Temperature, likely))
		r := h.begin()
		defer r.end()
		r.settle()
		for range 6 {
			likely = likely.Add(10 * time.Minute)
			h.askAlways(north, shut(scheduler.Temperature, likely))
			r.settle()
		}
		require.Len(t, h.statements(), 3)
	})
}

func TestOpenShutOpenAreThreeStatements(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, open(day))
		r := h.begin()
		defer r.end()
		r.settle()
		h.askAlways(north, shut(scheduler.Wind, time.Time{}))
		r.settle()
		h.askAlways(north, open(day))
		r.settle()
		words := h.statements()
		require.Len(t, words, 3)
		require.Equal(t, []bool{true, false, true}, []bool{words[0].Open, words[1].Open, words[2].Open})
		require.Zero(t, words[0].Preceding)
		require.NotZero(t, words[1].Preceding)
		require.Greater(t, words[2].Preceding, words[1].Preceding)
	})
}

func TestAStatementSaysItInWordsWithTheCaution(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.zone = location(t, "America/New_York")
		a := shut(scheduler.Temperature, day.Add(30*time.Hour+time.Millisecond))
		a.Strip.Criteria[0].Note = "coldest of all sources"
		h.askAlways(north, a)
		r := h.begin()
		defer r.end()
		r.settle()
		w := h.statements()[0]
		require.Equal(t, "The window is shut. What governs: equivalent age, 30.5 of 48 h (coldest of all sources). "+
			"Cured is expected Fri 16 Jan 08:01 EST, early Fri 16 Jan 08:01 EST, late Fri 16 Jan 08:01 EST. "+scheduler.Caution, w.Text)
		require.Equal(t, scheduler.Rules, w.Rules)
		require.Equal(t, uint64(1), w.Through)
		require.Len(t, w.Digest, 64)
		require.True(t, w.At.Equal(day))
	})
}

func TestAStatementPutsInWordsWhatIsNoNumber(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		a := shut(scheduler.Support, time.Time{})
		a.Strip.Criteria[0] = scheduler.Criterion{Name: scheduler.Support, Have: "not tied in", Need: "tied in, or an engineer's word"}
		h.askAlways(north, a)
		r := h.begin()
		defer r.end()
		r.settle()
		require.Equal(t, "The window is shut. What governs: what holds the wall up once the braces are off: not tied in, needed: tied in, or an engineer's word. "+
			scheduler.Caution, h.statements()[0].Text)
	})
}

// Only the wall that is due, or that changed, is looked at.
func TestTheLoopNeverPollsTheWalls(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		due := day.Add(5 * time.Hour)
		h.askAlways(south, shut(scheduler.Floor, day.Add(40*time.Hour)))
		h.ask(north, func(now time.Time) scheduler.Assessment {
			if !now.Before(due) {
				return open(due)
			}
			a := shut(scheduler.Floor, due)
			a.Next = due
			return a
		})
		r := h.begin()
		defer r.end()
		r.settle()
		before := h.looks()
		require.Equal(t, due, r.Stats().NextDue)
		for range 100 {
			r.step(time.Minute)
		}
		require.Equal(t, before, h.looks(), "before the moment nothing is looked at")
		r.step(due.Sub(h.clock.Now()))
		require.Equal(t, before[south], h.looks()[south])
		require.Len(t, h.statements(), 3)
		last := h.statements()[2]
		require.True(t, last.Open)
		require.True(t, last.At.Equal(due), "%v", last.At)
	})
}

// The loop comes late: it goes through the moments that have passed, and says
// each thing for the moment at which it became true.
func TestALateLoopSpeaksOfTheMomentsThemselves(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		due := day.Add(5*time.Hour + 17*time.Millisecond)
		h.ask(north, func(now time.Time) scheduler.Assessment {
			if !now.Before(due) {
				return open(due)
			}
			a := shut(scheduler.Floor, due)
			a.Next = due
			return a
		})
		r := h.begin()
		defer r.end()
		r.settle()
		r.step(9 * time.Hour)
		words := h.statements()
		require.True(t, words[len(words)-1].At.Equal(due), "%v", words[len(words)-1].At)
	})
}

// A moment that never moves on costs one look a second, and holds up nobody.
func TestANextThatDoesNotMoveOnDoesNotHoldTheLoop(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.ask(north, func(now time.Time) scheduler.Assessment {
			a := shut(scheduler.Floor, day.Add(40*time.Hour))
			a.Next = day
			return a
		})
		r := h.begin()
		defer r.end()
		r.settle()
		r.step(365 * 24 * time.Hour)
		require.Less(t, h.looks()[north], 300)
	})
}

func TestAChangeThatWasLostIsMadeUpForByAWholeLook(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, shut(scheduler.Floor, day.Add(time.Hour)))
		r := h.begin()
		defer r.end()
		r.settle()
		h.set(func() {
			for s := range h.subs { // nobody hears of what follows
				delete(h.subs, s)
				defer close(s)
			}
			h.ought[north] = func(time.Time) scheduler.Assessment { return open(day) }
			h.append(stored{refs: []scheduler.Ref{north}})
		})
		time.Sleep(time.Second)
		synctest.Wait()
		require.Len(t, h.statements(), 2)
	})
}

// A message about no wall and no site makes no change, and Settle does not wait for one.
func TestSettleDoesNotWaitForAChangeThatNeverComes(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, shut(scheduler.Floor, day.Add(time.Hour)))
		r := h.begin()
		defer r.end()
		r.settle()
		h.set(func() { h.append(stored{}) })
		r.settle()
		require.Len(t, h.words(), 1)
	})
}

func TestSettleWaitsForTheFold(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, shut(scheduler.Floor, day.Add(time.Hour)))
		r := h.begin()
		defer r.end()
		r.settle()
		h.set(func() { h.holdBack = true })
		h.askAlways(north, open(day))
		settled := make(chan struct{})
		go func() { r.settle(); close(settled) }()
		synctest.Wait()
		require.False(t, rang(settled))
		h.fold()
		<-settled
		require.Len(t, h.statements(), 2)
	})
}

func TestSettleEndsWithTheLoopAndWithItsContext(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.behind = true
		r := h.begin()
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		require.ErrorIs(t, r.Settle(ctx), context.DeadlineExceeded)
		waiting := make(chan error, 1)
		go func() { waiting <- r.Settle(context.Background()) }()
		synctest.Wait()
		r.end()
		require.ErrorIs(t, <-waiting, scheduler.ErrStopped)
		require.ErrorIs(t, r.Settle(context.Background()), scheduler.ErrStopped)
	})
}

// One event of a wall moves its site's devices on; when that opens or closes a
// gap, every wall of the site is looked at, and none of another site.
func TestAGapInADevicesNumbersConcernsTheWholeSite(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		yard := scheduler.Ref{Site: "yard", Wall: "east"}
		for _, r := range []scheduler.Ref{mill, north, south, {Site: "yard"}, yard} {
			h.askAlways(r, scheduler.Assessment{})
		}
		r := h.begin()
		defer r.end()
		r.settle()
		before := h.looks()
		h.set(func() { h.append(stored{refs: []scheduler.Ref{north}}) })
		r.settle()
		require.Equal(t, before[south], h.looks()[south])
		h.set(func() { h.gaps["mill"] = "phone 3"; h.append(stored{refs: []scheduler.Ref{north}}) })
		r.settle()
		require.Greater(t, h.looks()[south], before[south])
		require.Equal(t, before[yard], h.looks()[yard])
	})
}

func TestAWordOfTheCompanyConcernsEverySite(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		yard := scheduler.Ref{Site: "yard", Wall: "east"}
		h.askAlways(north, curing())
		h.askAlways(yard, curing())
		r := h.begin()
		defer r.end()
		r.settle()
		before := h.looks()
		h.set(func() { h.append(stored{sites: []string{scheduler.Company}}) })
		r.settle()
		require.Greater(t, h.looks()[north], before[north])
		require.Greater(t, h.looks()[yard], before[yard])
	})
}

// What was said is not said again while the record has not come to it, however
// long that takes.
func TestTheLoopWaitsForItsOwnWordToBeFolded(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, curing())
		h.set(func() { h.holdBack = true })
		r := h.begin()
		defer r.end()
		for range 20 {
			time.Sleep(time.Minute)
			h.clock.Step(time.Minute)
			synctest.Wait()
		}
		require.Equal(t, 1, h.tries)
		require.True(t, r.Stats().Silent)
		h.fold()
		r.settle()
		require.Equal(t, 1, h.tries)
		require.False(t, r.Stats().Silent)
	})
}

func TestALoopTellsWhatItLacks(t *testing.T) {
	h := newFakeHub(t, day)
	for want, c := range map[string]scheduler.Config{
		"scheduler config: Record is missing": {Voice: h, Stream: h},
		"scheduler config: Voice is missing":  {Record: h, Stream: h},
		"scheduler config: Stream is missing": {Record: h, Voice: h},
	} {
		_, err := scheduler.NewLoop(c)
		require.EqualError(t, err, want)
	}
}

// The machine's own clock: a due moment is met within a second, also when the
// wall clock jumped over it meanwhile.
func TestARealClockThatJumpsLosesNoDeadline(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var ahead atomic.Int64
		start := time.Now()
		h := newFakeHub(t, start)
		due := start.Add(3 * time.Hour).UTC()
		h.ask(north, func(now time.Time) scheduler.Assessment {
			if !now.Before(due) {
				return open(due)
			}
			a := shut(scheduler.Floor, due)
			a.Next = due
			return a
		})
		clock := scheduler.NewReal(func() time.Time { return time.Now().Add(time.Duration(ahead.Load())) })
		r := h.beginAs(scheduler.Config{Clock: clock})
		defer r.end()
		r.settle()
		require.Len(t, h.statements(), 1)
		time.Sleep(time.Hour)
		synctest.Wait()
		require.Len(t, h.statements(), 1)
		ahead.Store(int64(2*time.Hour + time.Minute))
		time.Sleep(time.Second)
		synctest.Wait()
		words := h.statements()
		require.True(t, slices.ContainsFunc(words, func(w *events.WindowStated) bool { return w.Open }), "%v", words)
	})
}
