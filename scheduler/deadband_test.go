package scheduler_test

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/scheduler"
)

// Of every kind: a condition that goes on and off inside its deadband, however
// fast, is told once; and one that goes on and off altogether is told at most once
// in its off-delay.
func TestPropertyWhatJittersIsToldOnceInItsOffDelay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		rapid.Check(bubbled{t}, func(rt *rapid.T) {
			kind := rapid.SampledFrom(scheduler.AlertKindNames()).Draw(rt, "kind")
			banded := rapid.Bool().Draw(rt, "inside the deadband")
			h := newFakeHub(rt, day)
			r := h.begin()
			defer r.end()
			out := with(curing(), alert(kind, "here", day))
			near := curing()
			near.Nearing = []scheduler.Alert{{Kind: kind, Cause: "here", Near: true}}
			var told []time.Time
			for range rapid.IntRange(2, 30).Draw(rt, "steps") {
				now := rapid.SampledFrom([]scheduler.Assessment{out, near}).Draw(rt, "is")
				if !banded && rapid.Bool().Draw(rt, "gone") {
					now = curing()
				}
				h.askAlways(north, now)
				r.settle()
				r.step(time.Duration(rapid.IntRange(0, 400).Draw(rt, "seconds")) * time.Second)
				if n, _ := countOf(h, kind); n > len(told) {
					told = append(told, h.clock.Now())
				}
			}
			_, cleared := countOf(h, kind)
			if banded {
				require.LessOrEqual(rt, len(told), 1)
				require.Zero(rt, cleared)
			}
			requireApart(rt, h, kind)
		})
	})
}

// requireApart: between two alerts of a kind lies its off-delay at the least.
func requireApart(t require.TestingT, h *fakeHub, kind string) {
	defer h.lock()()
	last := time.Time{}
	for _, m := range h.stream {
		if m.event == nil || m.repeated {
			continue
		}
		if d, ok := m.event.Data.(*events.AlertRaised); !ok || d.Kind != kind {
			continue
		}
		if !last.IsZero() {
			require.GreaterOrEqual(t, m.recorded.Sub(last), scheduler.AlertKinds[kind].OffDelay, kind)
		}
		last = m.recorded
	}
}

// What is measured, with the real fold and the real assessment: a value that
// jitters about its limit and stays within the deadband is told once.
func TestPropertyAMeasurementOnItsLimitIsToldOnce(t *testing.T) {
	measures := map[string]func(rt *rapid.T, b *book, at time.Time){
		scheduler.AlertWindHigh: func(rt *rapid.T, b *book, at time.Time) { // over 8 and up to 10 m/s
			b.onSite(at, "wind.read", &events.WindRead{At: at, GustMPS: new(tenth(rt, 81, 100))})
		},
		scheduler.AlertLineOut: func(rt *rapid.T, b *book, at time.Time) { // 6 or 7 mm in 3 m
			off := float64(rapid.IntRange(6, 7).Draw(rt, "mm"))
			b.add(at, "line.read", &events.LineRead{When: "after", At: at, Points: []events.LinePoint{{AtM: new(0.0), OffMM: new(0.0)}, {AtM: new(3.0), OffMM: &off}, {AtM: new(6.0), OffMM: new(2.0)}}})
		},
	}
	for _, kind := range slices.Sorted(maps.Keys(measures)) {
		t.Run(kind, func(t *testing.T) {
			told := 0
			synctest.Test(t, func(t *testing.T) {
				rapid.Check(bubbled{t}, func(rt *rapid.T) {
					b := laidOut(events.WallLaidOut{LengthM: new(6.0), HeightM: new(2.4), CoreMM: new(200.0)})
					b.add(pourAt(7, 0), "brace.set", &events.BraceSet{Braces: []events.BracePlan{{Name: "b1", AtM: new(1.0)}, {Name: "b2", AtM: new(2.5)}, {Name: "b3", AtM: new(5.0)}}})
					b.lift(0, 6, 0.6, pourAt(7, 50), pourAt(8, 0))
					h := newFakeHub(rt, pourAt(8, 1))
					r := h.begin()
					defer r.end()
					for range rapid.IntRange(2, 12).Draw(rt, "readings") {
						at := h.clock.Now().Add(time.Duration(rapid.IntRange(1, 20).Draw(rt, "minutes")) * time.Minute)
						h.set(func() { measures[kind](rt, b, at) })
						h.clock.Step(at.Sub(h.clock.Now()) + 2*time.Second)
						h.ask(scheduler.Ref{Site: "s", Wall: "w"}, b.assess)
						r.settle()
					}
					raised, cleared := countOf(h, kind)
					require.LessOrEqual(rt, raised, 1)
					require.Zero(rt, cleared)
					told += raised
				})
			})
			require.Positive(t, told, "it was never over its limit")
		})
	}
}

func tenth(rt *rapid.T, lo, hi int) float64 {
	return float64(rapid.IntRange(lo, hi).Draw(rt, "tenths")) / 10
}

// Whatever the numbers of an alert are, the alert is said.
func TestOddNumbersDoNotHoldAnAlertUp(t *testing.T) {
	far, wide, none := 1e9, -3.0, math.NaN()
	for i, about := range []*events.About{
		{FromM: &far, ToM: &far}, {FromM: &wide, ToM: new(1.0)}, {FromM: new(1.0)}, {Measure: "age", Have: &none, Limit: new(1.0)}, {ClearM: &far},
		{Braces: []string{"Not a Token", "b1"}}, {Load: string(make([]byte, 500))}, {Device: "probe \xff 1"}, {Braces: make([]string, 600)},
		{Until: day.Add(time.Nanosecond)}, {},
	} {
		bubble(t, func(t *testing.T, h *fakeHub) {
			a := alert(quick, fmt.Sprint("load ", i), day)
			a.About = about
			h.askAlways(north, with(curing(), a))
			r := h.begin()
			defer r.end()
			r.settle()
			require.Len(t, h.raised(), 1, "numbers %d", i)
		})
	}
}

// The numbers that an alert carries say the same as its text.
func TestAnAlertsNumbersGoOutWithIt(t *testing.T) {
	bubble(t, func(t *testing.T, h *fakeHub) {
		a := alert(latched, "strip a", day)
		a.About = &events.About{FromM: new(1.0), ToM: new(4.6), Braces: []string{"b1", "b2"}, ClearM: new(3.6), Until: day.Add(time.Hour), Measure: "wind", Have: new(9.4), Limit: new(9.0)}
		h.askAlways(north, with(curing(), a))
		r := h.begin()
		defer r.end()
		r.settle()
		require.Equal(t, a.About, h.raised()[0].About)
	})
}
