package scheduler_test

import (
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/scheduler"
)

// Whatever is to be said, however often hubs stop, start and run side by side,
// whatever publication fails and however late the record folds: of one
// condition one alert stands, a condition that comes back is a new alert, a
// latched one stays, and in the end what stands is what ought to stand.
func TestPropertyNothingIsSaidTwice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		rapid.Check(bubbled{t}, func(rt *rapid.T) {
			m := &machine{rt: rt, h: newFakeHub(rt, day), ought: map[string]bool{}}
			defer m.abandon()
			m.ask()
			rt.Repeat(map[string]func(*rapid.T){
				"": func(*rapid.T) {}, "ask": func(*rapid.T) { m.ask() }, "start": func(*rapid.T) { m.start() }, "stop": func(*rapid.T) { m.stop() },
				"step": func(*rapid.T) { m.step() }, "fail": func(*rapid.T) { m.fail() }, "fold": func(*rapid.T) { m.fold() }, "wait": func(*rapid.T) { m.wait() },
			})
			m.finish()
		})
	})
}

// bubbled hides the test's deadline, which may not be asked for in a bubble.
type bubbled struct{ rapid.TB }

type machine struct {
	rt    *rapid.T
	h     *fakeHub
	loops []*running
	ought map[string]bool
	is    scheduler.Assessment
}

// ask draws what ought to be said from now on.
func (m *machine) ask() {
	a := rapid.SampledFrom([]scheduler.Assessment{
		curing(), shut(scheduler.Temperature, day.Add(36*time.Hour)), open(day), shut(scheduler.Wind, time.Time{}),
	}).Draw(m.rt, "window")
	m.ought = map[string]bool{}
	for _, kind := range []string{quick, latched, scheduler.AlertClockDoubtful, scheduler.AlertProbeSilent} {
		for _, cause := range []string{"one", "two"} {
			if rapid.Bool().Draw(m.rt, kind+" "+cause) {
				a = with(a, append(a.Alerts, alert(kind, cause, m.h.clock.Now()))...)
				m.ought[kind+" "+cause] = true
			}
		}
	}
	m.is = a
	m.h.askAlways(north, a)
}

func (m *machine) start() {
	if len(m.loops) < 3 {
		m.loops = append(m.loops, m.h.begin())
	}
}

func (m *machine) stop() {
	if len(m.loops) > 0 {
		i := rapid.IntRange(0, len(m.loops)-1).Draw(m.rt, "which")
		m.loops[i].end()
		m.loops = append(m.loops[:i], m.loops[i+1:]...)
	}
}

func (m *machine) step() {
	m.h.clock.Step(time.Duration(rapid.IntRange(0, 700).Draw(m.rt, "s")) * time.Second)
}

func (m *machine) fail() {
	f := rapid.SampledFrom([]failure{notStored, storedUnanswered, halfStored}).Draw(m.rt, "how")
	m.h.set(func() { m.h.failures = append(m.h.failures, f) })
}

// fold switches whether the record folds at once or waits.
func (m *machine) fold() {
	if rapid.Bool().Draw(m.rt, "wait") {
		m.h.set(func() { m.h.holdBack = true })
		return
	}
	m.h.fold()
}

func (m *machine) wait() { synctest.Wait() }

// finish lets everything come to rest and compares what stands with what ought to.
// A publication that fails is tried again later, so that every failure that was
// drawn and not met yet takes a round.
func (m *machine) finish() {
	m.h.fold()
	m.start()
	for range 8 {
		for _, l := range m.loops {
			l.settle()
		}
		m.h.clock.Step(time.Hour)
	}
	for _, l := range m.loops {
		l.settle()
	}
	for len(m.loops) > 0 {
		m.loops[0].end()
		m.loops = m.loops[1:]
	}
	m.check()
}

// abandon ends what a failed check left running.
func (m *machine) abandon() {
	for _, l := range m.loops {
		l.cancel()
	}
	synctest.Wait()
}

func (m *machine) check() {
	stands := map[string]string{} // kind and cause: the alert
	ended := map[string]bool{}
	raised := map[string]bool{}
	var stated *events.WindowStated
	for i, e := range m.h.words() {
		switch d := e.Data.(type) {
		case *events.AlertRaised:
			key := d.Kind + " " + d.Cause
			if raised[d.Alert] {
				continue // in other words, by another hub: the same alert
			}
			require.Empty(m.rt, stands[key], "word %d: a second alert of %s", i, key)
			require.False(m.rt, ended[d.Alert], "word %d: an alert that ended was raised again", i)
			stands[key], raised[d.Alert] = d.Alert, true
		case *events.AlertCleared:
			key := d.Kind + " " + d.Cause
			require.False(m.rt, scheduler.AlertKinds[d.Kind].Latch, "word %d: %s was cleared", i, key)
			require.True(m.rt, raised[d.Alert], "word %d", i)
			if stands[key] == d.Alert {
				delete(stands, key)
			}
			ended[d.Alert] = true
		case *events.WindowStated:
			stated = d
		}
	}
	for key, id := range stands {
		kind := key[:len(key)-len(" one")]
		if scheduler.AlertKinds[kind].Latch || len(key) > len(scheduler.AlertWindowLater) && key[:len(scheduler.AlertWindowLater)] == scheduler.AlertWindowLater {
			continue
		}
		require.True(m.rt, m.ought[key], "%s (%s) stands and ought not to", key, id)
	}
	for key := range m.ought {
		require.NotEmpty(m.rt, stands[key], "%s ought to stand", key)
	}
	require.NotNil(m.rt, stated)
	require.Equal(m.rt, fmt.Sprint(m.is.Strip.Open, m.is.Strip.Governs), fmt.Sprint(stated.Open, stated.Governs))
}
