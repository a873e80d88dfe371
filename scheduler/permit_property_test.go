package scheduler_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// standingPermits are the numbers of the permits that stand.
func standingPermits(a scheduler.Assessment) (numbers []string) {
	for _, p := range a.Permits {
		if p.Stands {
			numbers = append(numbers, p.Number)
		}
	}
	return numbers
}

// drawPermitted draws a wall with permits of every sort. late: some are recorded long
// after they were entered.
func drawPermitted(rt *rapid.T, wild int, late bool) *world {
	w := newWorld(rt)
	w.sound()
	mean := one(w, 4, 12, 20, 25)
	w.series("top", 72, func(h float64) float64 { return float64(mean) + float64(int(h)%7) })
	w.openable(w.even(0, 3) > 0, false)
	w.reports()
	released, ok := w.say(w.zero.Add(time.Duration(w.even(1, 60))*time.Hour), 0, "office", "engineer", propertyWall, w.drawRelease(w.zero))
	for i := range w.even(2, 8) {
		at := w.zero.Add(time.Duration(w.even(40*60, 100*60)) * time.Minute)
		d := &events.PermitIssued{Number: fmt.Sprint("x-", i), For: "strip", RequestedBy: one(w, "", "crew"), ReviewedBy: one(w, "", "second")}
		switch w.even(0, 6) {
		case 0:
			d.Braces = []string{one(w, "b1", "b2")}
		case 1:
			d.FromM, d.ToM = p(0.0), p(3.0)
		case 2:
			d.Until = at.Add(time.Duration(w.even(1, 30)) * time.Hour)
		case 3, 4:
			if ok {
				d.Basis, d.Release = events.BasisRelease, events.Target{Source: released.Source.String(), ID: released.ID}
			}
		case 5:
			d.Basis = events.BasisAge
		}
		delay := time.Duration(0)
		if late && w.even(0, 3) == 0 {
			delay = 90 * time.Minute
		}
		w.say(at, delay, "office", "boss", propertyWall, d)
	}
	for range rapid.IntRange(0, wild).Draw(rt, "wild") {
		w.wild()
	}
	return w
}

// No permit opens what criteria 1 to 9 hold shut, on whatever release it stands: an
// open window has all of them met, and without permits they say the same.
func TestNoPermitOpensWhatTheRestHoldsShut(t *testing.T) {
	opened, stood := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		w := drawPermitted(rt, 4, false)
		bare := w.with()
		bare.rec.facts = slices.DeleteFunc(bare.rec.facts, func(f wall.Fact) bool { return f.Kind == "permit.issued" || f.Kind == "permit.withdrawn" })
		looks := w.looks()
		without := bare.assess(looks...)
		changed := slices.ContainsFunc(w.rec.facts, func(f wall.Fact) bool { return wall.IsChange(f.Kind) || f.Recorded.Sub(f.Time) > time.Minute })
		for i, a := range w.assess(looks...) {
			stood += len(standingPermits(a))
			requireAllMet(rt, a.Strip)
			for _, b := range a.Braces {
				requireAllMet(rt, b.Strip)
			}
			if a.Strip.Open {
				opened++
			}
			for j := range 9 {
				if changed {
					break // a change of a permit that is not there is a doubt, a late entry a gap by other numbers
				}
				require.Equal(rt, without[i].Strip.Criteria[j], a.Strip.Criteria[j])
			}
		}
	})
	require.Positive(t, opened)
	require.Positive(t, stood)
}

func requireAllMet(rt *rapid.T, s scheduler.Strip) {
	if s.Open {
		for _, c := range s.Criteria {
			require.True(rt, c.Met, "open, and %s is not met: %s", c.Name, c.Note)
		}
	}
}

// What makes a window later makes no permit stand that did not.
func TestWhatShutsMakesNoPermitStand(t *testing.T) {
	shaken := 0
	rapid.Check(t, func(rt *rapid.T) {
		w := drawPermitted(rt, 3, true)
		x := w.with()
		at := w.zero.Add(time.Duration(w.even(10*60, 100*60)) * time.Minute)
		back := at.Add(-time.Duration(w.even(1, 600)) * time.Minute)
		var data events.Data
		switch w.even(0, 4) {
		case 0:
			data = &events.HoldPlaced{Hold: "h9", Reason: "r", At: back}
		case 1:
			data = &events.LineRead{When: "after", At: back, Points: []events.LinePoint{{AtM: p(0.0), OffMM: p(0.0)}, {AtM: p(3.0), OffMM: p(30.0)}}}
		case 2:
			data = &events.ConcreteInspected{Finding: "frozen", At: w.zero.Add(2 * time.Hour)}
		case 3:
			data = &events.CriterionSet{FloorH: p(90.0), Role: "engineer"}
		default:
			data = &events.LiftPlaced{FromM: p(0.0), ToM: p(6.0), TopM: p(1.2), Began: back.Add(-5 * time.Minute), Ended: back}
		}
		x.say(at, 0, "office", "engineer", propertyWall, data)
		looks := w.looks()
		before := w.assess(looks...)
		for i, a := range x.assess(looks...) {
			if _, lift := data.(*events.LiftPlaced); lift && !before[i].Strip.Criteria[0].Met {
				continue // it may fill what was missing
			}
			require.Subset(rt, standingPermits(before[i]), standingPermits(a), "at %s, by %s at %s", a.At, kindOf(data), at)
			if len(standingPermits(a)) < len(standingPermits(before[i])) {
				shaken++
			}
		}
	})
	require.Positive(t, shaken)
}

// Whoever asks for a permit does not issue it, not even by way of an amendment that
// two others let count.
func TestWhoAsksDoesNotIssue(t *testing.T) {
	for _, signed := range []bool{false, true} {
		rapid.Check(t, func(rt *rapid.T) {
			w := newWorld(rt)
			w.sound()
			w.series("top", 72, func(float64) float64 { return 22 })
			w.openable(true, false)
			w.reports()
			at := w.zero.Add(time.Duration(w.even(50, 70)) * time.Hour)
			_, taken := w.say(at, 0, "office", "boss", propertyWall, &events.PermitIssued{Number: "own", For: "strip", RequestedBy: "boss"})
			require.False(rt, taken, "the event itself is refused")
			e, _ := w.say(at, 0, "office", "boss", propertyWall, &events.PermitIssued{Number: "s", For: "strip", RequestedBy: "crew"})
			require.Equal(rt, []string{"s"}, standingPermits(w.assess(at.Add(time.Minute))[0]))
			_, amended := amendTo(&events.PermitIssued{Number: "s", For: "strip", RequestedBy: "boss"})(w, e)
			change, _ := w.say(at.Add(time.Minute), 0, "office", "second", propertyWall, amended)
			if signed {
				w.say(at.Add(2*time.Minute), 0, "office", "engineer", propertyWall, &events.RecordCountersigned{Target: events.Target{Source: change.Source.String(), ID: change.ID}, Role: "engineer"})
			}
			require.Empty(rt, standingPermits(w.assess(at.Add(3 * time.Minute))[0]))
			f := w.fold(at.Add(3 * time.Minute))
			against := scheduler.MayPermit(f.site, f.devices, f.wall(propertySite, propertyWall), scheduler.Hub{}, at.Add(3*time.Minute), &events.PermitIssued{Number: "n", For: "strip", RequestedBy: "boss"}, "boss")
			require.Equal(rt, []string{"who asks for a permit does not issue it"}, against)
		})
	}
}

// What may be issued stands once it is.
func TestAPermitThatMayBeIssuedStands(t *testing.T) {
	issued, refused := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		w := drawPermitted(rt, 4, false)
		for _, at := range w.looks()[:6] {
			d := &events.PermitIssued{Number: "new", For: "strip", Braces: one(w, nil, []string{"b1"})}
			f := w.fold(at)
			against := scheduler.MayPermit(f.site, f.devices, f.wall(propertySite, propertyWall), scheduler.Hub{}, at, d, "boss")
			if len(against) > 0 {
				refused++
				continue
			}
			if w.keeps("office", at) {
				continue // its number shows that one before it has not come
			}
			x := w.with()
			x.say(at, 0, "office", "boss", propertyWall, d)
			if a := x.assess(at)[0]; slices.ContainsFunc(a.Permits, func(p scheduler.PermitState) bool { return p.Number == "new" }) {
				require.Contains(rt, standingPermits(a), "new", "%v", a.Permits)
				issued++
			}
		}
	})
	require.Positive(t, issued)
	require.Positive(t, refused)
}

// keeps reports whether a device has made an entry that has not come at a moment.
func (w *world) keeps(device string, at time.Time) bool {
	return slices.ContainsFunc(w.rec.facts, func(f wall.Fact) bool {
		return f.Source.Device == device && !f.Time.After(at) && f.Recorded.After(at)
	})
}

// What is folded again as of a message is what was folded when it had come.
func TestUpToIsTheRecordOfThen(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := drawPermitted(rt, 12, true)
		facts := w.stream()
		all := (&record{facts: facts}).fold(propertySite)
		cut := w.even(1, len(facts))
		then := (&record{facts: facts[:cut]}).fold(propertySite)
		for range 2 { // the second is the one that was kept
			got := all.wall(propertySite, propertyWall).UpTo(uint64(cut)) // #nosec G115 -- a length
			require.Equal(rt, then.wall(propertySite, propertyWall).Digest(), got.Digest())
		}
	})
}
