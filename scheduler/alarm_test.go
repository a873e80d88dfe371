package scheduler_test

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler"
)

const (
	quick   = scheduler.AlertLoadOld    // off-delay of a minute
	latched = scheduler.AlertStripEarly // never cleared
)

func curing() scheduler.Assessment { return shut(scheduler.Floor, day.Add(30*time.Hour)) }

func TestAnAlertIsRaisedOnceAndClearedAfterItsDelay(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, with(curing(), alert(quick, "load 7", day), alert(quick, "load 7", day)))
		r := h.begin()
		defer r.end()
		r.settle()
		r.step(time.Hour)
		h.askAlways(north, with(curing(), alert(quick, "load 7", day)))
		r.settle()
		require.Len(t, h.raised(), 1)
		a := h.raised()[0]
		require.Equal(t, "load 7", a.Cause)
		require.Equal(t, scheduler.High, a.Priority)
		require.True(t, a.Since.Equal(day))
		require.Equal(t, scheduler.Rules, a.Rules)

		h.askAlways(north, curing())
		r.settle()
		r.step(59 * time.Second)
		require.Empty(t, h.cleared(), "the condition may come straight back")
		r.step(time.Second)
		require.Len(t, h.cleared(), 1)
		require.Equal(t, a.Alert, h.cleared()[0].Alert)
		r.step(time.Hour)
		require.Len(t, h.words(), 3)
	})
}

func TestAConditionThatFlickersIsOneAlert(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		r := h.begin()
		defer r.end()
		for range 20 {
			h.askAlways(north, with(curing(), alert(quick, "load 7", day)))
			r.step(30 * time.Second)
			h.askAlways(north, curing())
			r.step(30 * time.Second)
		}
		require.Len(t, h.raised(), 1)
		require.Empty(t, h.cleared())
	})
}

func TestAConditionThatComesBackIsANewAlert(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		r := h.begin()
		defer r.end()
		for range 3 {
			h.askAlways(north, with(curing(), alert(quick, "load 7", day)))
			r.settle()
			h.askAlways(north, curing())
			r.settle()
			r.step(time.Minute)
		}
		raised := h.raised()
		require.Len(t, raised, 3)
		require.Len(t, h.cleared(), 3)
		require.NotEqual(t, raised[0].Alert, raised[1].Alert)
		require.NotEqual(t, raised[1].Alert, raised[2].Alert)
		require.Zero(t, raised[0].Preceding)
		require.Less(t, raised[1].Preceding, raised[2].Preceding)
	})
}

func TestALatchedAlertIsNeverClearedByRecalculation(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, with(curing(), alert(latched, "strip a", day)))
		r := h.begin()
		r.settle()
		for _, a := range []scheduler.Assessment{curing(), open(day), {State: scheduler.StateHandedOver}, {}} {
			h.askAlways(north, a)
			r.step(24 * time.Hour)
		}
		h.askAlways(north, with(curing(), alert(latched, "strip a", day), alert(latched, "strip b", day)))
		r.settle()
		r.end()
		strips := 0
		for _, a := range h.raised() {
			if a.Kind == latched {
				strips++
			}
		}
		require.Equal(t, 2, strips, "another strip is another alert")
		require.Empty(t, h.cleared())
	})
}

func TestAnAlertWaitsForItsOnDelay(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, with(curing(), alert(scheduler.AlertClockDoubtful, "event x", day)))
		r := h.begin()
		defer r.end()
		r.settle()
		r.step(2*time.Minute - time.Millisecond)
		require.Empty(t, h.raised())
		r.step(time.Millisecond)
		require.Len(t, h.raised(), 1)
	})
}

func TestAlertsOfASiteAreRaisedOnTheSite(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(mill, scheduler.Assessment{Alerts: []scheduler.Alert{alert(scheduler.AlertRecordGap, "device a number 4", day)}})
		r := h.begin()
		defer r.end()
		r.settle()
		require.Len(t, h.words(), 1)
		e := h.words()[0]
		require.Equal(t, "pour.mill._.alert.raised", e.Subject())
		require.Equal(t, "/site/mill/device/hub", e.Source.String())
		require.True(t, e.Time.Equal(day))
	})
}

func TestARestartSaysNothingTwice(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, with(curing(), alert(quick, "load 7", day), alert(latched, "strip a", day)))
		h.askAlways(mill, scheduler.Assessment{Alerts: []scheduler.Alert{alert(scheduler.AlertRecordGap, "device a number 4", day)}})
		for range 5 {
			r := h.begin()
			r.settle()
			r.step(time.Hour)
			r.end()
		}
		require.Len(t, h.statements(), 1)
		require.Len(t, h.raised(), 3)
	})
}

// Two hubs over one record: whichever comes first has said it, and when both
// say it before either has heard the other, they say it with the same bytes.
func TestTwoHubsSayAThingOnce(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		a, b := h.begin(), h.begin()
		defer a.end()
		defer b.end()
		r := a
		for _, ought := range []scheduler.Assessment{
			curing(), with(curing(), alert(quick, "load 7", day)), open(day), shut(scheduler.Wind, time.Time{}), open(day),
		} {
			h.set(func() { h.holdBack = true })
			h.askAlways(north, ought)
			h.set(func() { h.holdBack = false; h.foldAll(); h.holdBack = true })
			synctest.Wait() // both have seen it, and neither has seen the other's word
			h.fold()
			a.settle()
			b.settle()
			h.clock.Step(time.Minute)
			a.settle()
			b.settle()
		}
		r.settle()
		require.Len(t, h.statements(), 4)
		later := 0
		for _, x := range h.raised() {
			if x.Kind == scheduler.AlertWindowLater {
				later++
			}
		}
		require.Equal(t, 1, later)
		require.Len(t, h.raised(), 2)
		said := a.Stats().Said + b.Stats().Said
		require.Greater(t, said, uint64(len(h.words())), "the two did speak at once")
	})
}

func TestAFailedPublicationIsTriedAgainAndSaysNothingTwice(t *testing.T) {
	for name, fails := range map[string][]failure{
		"not stored":            {notStored},
		"stored, unanswered":    {storedUnanswered},
		"half of it stored":     {halfStored},
		"again and again":       {notStored, storedUnanswered, notStored, halfStored, notStored, notStored, notStored},
		"half, then unanswered": {halfStored, storedUnanswered},
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T, h *fakeHub) {
				h.failures = fails
				h.askAlways(north, with(curing(), alert(quick, "load 7", day), alert(latched, "strip a", day)))
				h.askAlways(south, with(curing(), alert(quick, "load 8", day)))
				r := h.begin()
				defer r.end()
				r.settle()
				require.Len(t, h.statements(), 2)
				require.Len(t, h.raised(), 3)
				require.Len(t, h.bodies, 5, "no word in two forms")
				require.NotZero(t, r.Stats().Failed)
				require.False(t, r.Stats().Silent)
			})
		})
	}
}

// An answer was lost: the loop looks how far the stream is, and waits until the
// record has come so far, before it decides that its word is not there.
func TestAWordWhoseAnswerWasLostIsLookedFor(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, curing())
		h.set(func() { h.holdBack, h.failures = true, []failure{storedUnanswered} })
		r := h.begin()
		defer r.end()
		time.Sleep(10 * time.Minute)
		synctest.Wait()
		require.Equal(t, 1, h.tries)
		h.fold()
		r.settle()
		require.Equal(t, 1, h.tries)
	})
}

// While the stream is away the loop does not hammer at it.
func TestFailedPublicationsAreSpacedOut(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		for range 1000 {
			h.failures = append(h.failures, notStored)
		}
		h.askAlways(north, curing())
		r := h.begin()
		defer r.end()
		time.Sleep(time.Minute)
		synctest.Wait()
		require.Less(t, h.tries, 20)
		require.Greater(t, h.tries, 5)
	})
}

// A word that is stored and yet never in the record (refused: a wrong key) is
// not said over and over.
func TestAWordThatTheRecordRefusesIsHeldBack(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, curing())
		deaf := &deafVoice{h: h}
		r := h.beginAs(scheduler.Config{Voice: deaf})
		defer r.end()
		r.settle()
		require.Equal(t, 1, deaf.n)
		for range 10 {
			r.step(30 * time.Second)
		}
		require.Equal(t, 6, deaf.n, "once a minute")
	})
}

func TestAnAlertOfAnOddShapeIsNotPublishedAndHoldsNobodyUp(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		long := alert(quick, string(make([]byte, 5000)), day)
		h.askAlways(north, with(curing(), long))
		h.askAlways(south, with(curing(), alert(quick, "load 8", day)))
		r := h.begin()
		defer r.end()
		r.settle()
		r.step(10 * time.Minute)
		require.Len(t, h.raised(), 1)
		require.Len(t, h.statements(), 2)
	})
}

func TestALongTextIsCutToWhatAnEventHolds(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		a := alert(quick, "load 7", day)
		for range 400 {
			a.Text += "ß°m"
		}
		ought := with(curing(), a)
		ought.Strip.Criteria[0].Note = a.Text
		h.askAlways(north, ought)
		r := h.begin()
		defer r.end()
		r.settle()
		require.Len(t, h.raised(), 1)
		require.LessOrEqual(t, len(h.raised()[0].Text), 1000)
		require.Contains(t, h.statements()[0].Text, scheduler.Caution, "the caution is never cut")
	})
}

// deafVoice stores what the record then refuses.
type deafVoice struct {
	h *fakeHub
	n int
}

func (v *deafVoice) Say(_ context.Context, words []events.Event) (uint64, error) {
	defer v.h.lock()()
	v.n++
	var last uint64
	for _, e := range words {
		last = v.h.append(stored{refs: []scheduler.Ref{{Site: e.Source.Site, Wall: e.Wall}}})
	}
	return last, nil
}

// A stream that hangs does not hang the loop: what is said in the end is what
// then is so.
func TestAPublicationThatHangsIsGivenUp(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, open(day))
		hanging := &hangingVoice{fakeHub: h}
		r := h.beginAs(scheduler.Config{Voice: hanging})
		defer r.end()
		time.Sleep(time.Second)
		h.askAlways(north, shut(scheduler.Hold, time.Time{}))
		r.settle()
		require.Len(t, h.statements(), 1)
		require.False(t, h.statements()[0].Open)
	})
}

// hangingVoice never answers its first call.
type hangingVoice struct {
	*fakeHub
	hung bool
}

func (v *hangingVoice) Say(ctx context.Context, words []events.Event) (uint64, error) {
	if !v.hung {
		v.hung = true
		<-ctx.Done()
		return 0, ctx.Err()
	}
	return v.fakeHub.Say(ctx, words)
}
