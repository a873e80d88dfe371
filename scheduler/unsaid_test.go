package scheduler_test

import (
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler"
)

// handed is what a loop handed on.
type handed struct {
	h     *fakeHub
	words []events.Event
}

// take is for Config.Unsaid. It reads the record, which would not return if that
// were held.
func (u *handed) take(words []events.Event) {
	_ = u.h.Read(func(scheduler.Page) error { u.words = append(u.words, words...); return nil })
}

// alerts lists the ids of the alerts that were handed on.
func (u *handed) alerts() (ids []string) {
	u.h.set(func() {
		for _, d := range dataOf[*events.AlertRaised](u.words) {
			ids = append(ids, d.Alert)
		}
	})
	return ids
}

func beginUnsaid(h *fakeHub) (*running, *handed) {
	u := &handed{h: h}
	return h.beginAs(scheduler.Config{Unsaid: u.take}), u
}

// A publication that fails is one that did not arrive, one that arrived and was
// not acknowledged, or one of which a part arrived.
func TestAnAlertThatWasNotAcknowledgedIsHandedOnOnceAndSaidOnce(t *testing.T) {
	for name, fails := range map[string][]failure{
		"not stored": {notStored}, "not stored, thrice": {notStored, notStored, notStored},
		"stored and not answered": {storedUnanswered}, "half stored": {halfStored},
		"one after the other": {notStored, halfStored, storedUnanswered},
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T, h *fakeHub) {
				h.askAlways(north, with(curing(), alert(scheduler.AlertFrozen, "a", day), alert(scheduler.AlertLineOut, "b", day.Add(-time.Hour))))
				h.failures = fails
				r, u := beginUnsaid(h)
				defer r.end()
				r.settle()
				require.Len(t, u.alerts(), 2)
				var said []string
				for _, d := range h.raised() {
					said = append(said, d.Alert)
				}
				require.ElementsMatch(t, u.alerts(), said)
				require.Len(t, h.statements(), 1)
				for _, w := range u.words {
					require.NoError(t, w.Check())
					require.NotEmpty(t, w.ID)
					require.IsType(t, &events.AlertRaised{}, w.Data, "a statement waits for the stream")
				}
				require.Equal(t, uint64(2), r.Stats().Unsaid)
			})
		})
	}
}

func TestWhatWasSaidIsNotHandedOn(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(north, with(curing(), alert(scheduler.AlertFrozen, "a", day)))
		r, u := beginUnsaid(h)
		defer r.end()
		r.settle()
		require.Len(t, h.raised(), 1)
		require.Empty(t, u.words)
	})
}

// In other words it is the same alert; when it comes back after its end it is
// another.
func TestAnAlertIsHandedOnOnceHoweverItsTextChanges(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		minutes := 0
		h.ask(north, func(time.Time) scheduler.Assessment {
			minutes++
			x := alert(scheduler.AlertJointClosing, "2.0 m", day)
			x.Text = fmt.Sprintf("%d minutes", minutes)
			return with(curing(), x)
		})
		h.failures = []failure{notStored, notStored, notStored}
		r, u := beginUnsaid(h)
		defer r.end()
		r.settle()
		require.Len(t, u.alerts(), 1)
		h.askAlways(north, curing())
		r.settle()
		r.step(time.Hour)
		require.Len(t, h.cleared(), 1)
		h.failures = []failure{notStored}
		h.askAlways(north, with(curing(), alert(scheduler.AlertJointClosing, "2.0 m", day)))
		r.settle()
		require.Len(t, u.alerts(), 2)
		require.NotEqual(t, u.alerts()[0], u.alerts()[1])
		require.Len(t, h.raised(), 2)
	})
}

// closing is a wall whose joint closes at a moment.
func closing(at time.Time) func(time.Time) scheduler.Assessment {
	return func(now time.Time) scheduler.Assessment {
		if now.Before(at) {
			a := curing()
			a.Next = at
			return a
		}
		return with(curing(), alert(scheduler.AlertJointClosing, "2.0 m", at))
	}
}

// What time brings while the stream does not answer is handed on, whether the
// record still counts as level or not; and it is said, once, when the stream is
// back, for the moment at which it became true.
func TestWhileTheStreamIsAwayAlertsAreHandedOn(t *testing.T) {
	for _, behind := range []bool{false, true} {
		t.Run(fmt.Sprintf("behind %v", behind), func(t *testing.T) {
			bubble(t, func(t *testing.T, h *fakeHub) {
				due := day.Add(20 * time.Minute)
				h.askAlways(mill, scheduler.Assessment{})
				h.ask(north, closing(due))
				h.askAlways(south, curing())
				r, u := beginUnsaid(h)
				defer r.end()
				r.settle()
				before := len(h.words())
				h.set(func() { h.away, h.behind = true, behind })
				h.askAlways(south, open(day)) // what is to be said then cannot be
				time.Sleep(2 * time.Second)
				synctest.Wait()
				for range 40 {
					h.clock.Step(time.Minute)
					time.Sleep(2 * time.Second)
					synctest.Wait()
				}
				require.Len(t, u.alerts(), 1)
				require.True(t, r.Stats().Silent)
				require.Len(t, h.words(), before, "nothing was published")
				looks := h.looks()[north]
				for range 20 {
					h.clock.Step(time.Minute)
					time.Sleep(2 * time.Second)
					synctest.Wait()
				}
				require.Equal(t, looks, h.looks()[north], "it is not polled")

				h.set(func() { h.away, h.behind = false, false })
				r.settle()
				require.Len(t, h.raised(), 1)
				require.Equal(t, u.alerts()[0], h.raised()[0].Alert)
				require.True(t, h.raised()[0].Since.Equal(due))
				require.Len(t, u.alerts(), 1)
				require.True(t, h.statements()[len(h.statements())-1].Open)
			})
		})
	}
}

// A record that is coming up to the stream raises nothing: what it holds is old.
func TestARecordThatIsBehindHandsNothingOn(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.ask(north, closing(day.Add(time.Minute)))
		r, u := beginUnsaid(h)
		defer r.end()
		r.settle()
		h.set(func() { h.behind = true })
		h.clock.Step(time.Hour)
		time.Sleep(time.Minute)
		synctest.Wait()
		require.Empty(t, u.words)
		h.set(func() { h.behind = false })
		r.settle()
		require.Len(t, h.raised(), 1)
	})
}

// A stream that was never reached says nothing of the walls as they are.
func TestAStreamThatIsAwayFromTheStartHandsNothingOn(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.behind, h.away = true, true
		h.set(func() { h.ought[north] = closing(day.Add(-time.Hour)) })
		r, u := beginUnsaid(h)
		defer r.end()
		time.Sleep(time.Minute)
		synctest.Wait()
		require.Empty(t, u.words)
	})
}

func TestThatTheStreamIsShortIsHandedOnAndNeverPublished(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.ask(north, closing(day.Add(time.Minute)))
		r, u := beginUnsaid(h)
		r.settle()
		before := len(h.words())
		fall := func(short bool) {
			h.set(func() { h.short = short })
			for range 5 {
				h.clock.Step(time.Minute)
				time.Sleep(2 * time.Second)
				synctest.Wait()
			}
		}
		fall(true)
		require.Len(t, h.words(), before)
		require.Len(t, u.words, 1, "once, and nothing but that")
		w := u.words[0]
		d := w.Data.(*events.AlertRaised)
		require.NoError(t, w.Check())
		require.Equal(t, scheduler.Company, w.Source.Site)
		require.Empty(t, w.Wall)
		require.Equal(t, scheduler.AlertStreamShort, d.Kind)
		require.Equal(t, scheduler.Urgent, d.Priority)

		r.end()
		again, other := beginUnsaid(h)
		time.Sleep(2 * time.Second)
		synctest.Wait()
		require.Equal(t, []string{d.Alert}, other.alerts(), "a hub that is started meanwhile raises the same")
		fall(false)
		require.Len(t, other.words, 2)
		require.Equal(t, d.Alert, other.words[1].Data.(*events.AlertCleared).Alert)
		fall(true)
		require.Len(t, other.words, 3)
		require.NotEqual(t, d.Alert, other.words[2].Data.(*events.AlertRaised).Alert, "another fall")
		fall(false)
		again.settle()
		again.end()
		for _, a := range h.raised() {
			require.NotEqual(t, scheduler.AlertStreamShort, a.Kind)
		}
		for _, a := range h.cleared() {
			require.NotEqual(t, scheduler.AlertStreamShort, a.Kind)
		}
	})
}

// beside is a condition outside the record, of every site by itself.
type beside map[string][]scheduler.Alert

func TestAConditionBesideTheRecordIsRaisedOnItsSite(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		yard := scheduler.Ref{Site: "yard"}
		for _, ref := range []scheduler.Ref{mill, yard} {
			h.askAlways(ref, scheduler.Assessment{})
		}
		h.askAlways(north, curing())
		b := beside{}
		r := h.beginAs(scheduler.Config{Beside: func(site string) []scheduler.Alert { return b[site] }})
		defer r.end()
		r.settle()
		poke := func(site string, list ...scheduler.Alert) {
			h.set(func() { b[site] = list })
			done := make(chan struct{})
			go func() { r.Poke(site); close(done) }()
			<-done
			r.settle()
			kind := scheduler.AlertKinds[scheduler.AlertUntold]
			r.step(kind.OnDelay + kind.OffDelay + time.Second)
		}
		before := h.looks()
		poke("mill")
		require.Greater(t, h.looks()[mill], before[mill])
		require.Equal(t, before[yard], h.looks()[yard], "no other site is looked at")
		require.Equal(t, before[north], h.looks()[north], "and no wall")
		poke("mill", alert(scheduler.AlertUntold, "alert-1 p-7", day))
		require.Len(t, h.raised(), 1)
		require.Equal(t, "pour.mill._.alert.raised", subjectOf(h, h.raised()[0].Alert))
		poke(scheduler.Company, alert(scheduler.AlertUntold, "alert-2 p-8", day))
		require.Equal(t, "pour._._.alert.raised", subjectOf(h, h.raised()[1].Alert))
		poke("mill")
		require.Len(t, h.cleared(), 1)
		require.Len(t, h.raised(), 2)
	})
}

func subjectOf(h *fakeHub, alert string) string {
	for _, e := range h.words() {
		if d, ok := e.Data.(*events.AlertRaised); ok && d.Alert == alert {
			return e.Subject()
		}
	}
	return ""
}

// A poke while nothing can be said is not lost.
func TestAPokeWaitsForTheRecord(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		h.askAlways(mill, scheduler.Assessment{})
		b := beside{"mill": {alert(scheduler.AlertUntold, "alert-1 p-7", day.Add(-time.Hour))}}
		on := false
		u := &handed{h: h}
		r := h.beginAs(scheduler.Config{Unsaid: u.take, Beside: func(site string) []scheduler.Alert {
			if !on {
				return nil
			}
			return b[site]
		}})
		defer r.end()
		r.settle()
		h.set(func() { on, h.behind, h.away = true, true, true })
		r.Poke("mill")
		time.Sleep(10 * time.Second)
		synctest.Wait()
		require.Empty(t, h.raised())
		require.Len(t, u.alerts(), 1, "it is told beside the stream")
		h.set(func() { h.behind, h.away = false, false })
		r.settle()
		require.Len(t, h.raised(), 1)
	})
}
