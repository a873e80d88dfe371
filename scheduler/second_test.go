package scheduler_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
)

// convenience is a record in which one thing keeps the window shut, and a change by
// one person that would open it.
type convenience struct {
	name   string
	hold   func(w *world) events.Event // what keeps it shut; nil: what is missing
	change func(w *world, held events.Event) (on string, data events.Data)
	tie    bool
	permit bool
	top    float64 // °C; 0: 25
}

func target(e events.Event) events.Target {
	return events.Target{Source: e.Source.String(), ID: e.ID}
}

func void(w *world, held events.Event) (string, events.Data) {
	return held.Wall, &events.RecordVoided{Target: target(held), Reason: "r"}
}

// amendTo replaces what was held by other data.
func amendTo(data events.Data) func(w *world, held events.Event) (string, events.Data) {
	return func(w *world, held events.Event) (string, events.Data) {
		body, err := events.EncodeData(data)
		require.NoError(w.t, err)
		return held.Wall, &events.RecordAmended{Target: target(held), Kind: held.Kind, Data: body, Reason: "r"}
	}
}

func policy(p events.Policy) func(w *world, held events.Event) (string, events.Data) {
	return func(*world, events.Event) (string, events.Data) {
		return "", &events.SiteAmended{Policy: p, Reason: "r"}
	}
}

func onWall(data events.Data) func(w *world, held events.Event) (string, events.Data) {
	return func(*world, events.Event) (string, events.Data) { return propertyWall, data }
}

// says records what holds the wall, ten hours after its last lift.
func says(data events.Data) func(w *world) events.Event {
	return func(w *world) events.Event {
		e, ok := w.say(w.zero.Add(10*time.Hour), 0, "phone-a", "crew", propertyWall, data)
		require.True(w.t, ok)
		return e
	}
}

// signedPolicy is a strict policy that two persons set.
func signedPolicy(p events.Policy) func(w *world) events.Event {
	return func(w *world) events.Event {
		e, ok := w.say(monday, 0, "office", "boss", "", &events.SiteAmended{Policy: p, Reason: "r"})
		require.True(w.t, ok)
		w.sign(monday, e)
		return e
	}
}

var line = func(off float64) *events.LineRead {
	return &events.LineRead{When: "after", Points: []events.LinePoint{{AtM: p(0.0), OffMM: p(0.0)}, {AtM: p(3.0), OffMM: p(off)}}}
}

// lateLift tops the wall up two days and a half after the pour.
func lateLift(w *world) events.Event {
	at := w.zero.Add(60 * time.Hour)
	e, _ := w.say(at, 0, "phone-a", "crew", propertyWall, &events.LiftPlaced{FromM: p(0.0), ToM: p(2.0), TopM: p(1.22), Ended: at})
	w.say(at.Add(time.Minute), 0, "phone-a", "crew", propertyWall, line(1))
	return e
}

var conveniences = []convenience{
	{name: "no permit is asked for", tie: true, change: policy(events.Policy{PermitNeeded: p(false)})},
	{name: "no tie-in is asked for", permit: true, change: policy(events.Policy{TieInNeeded: p(false)})},
	{name: "the floor is lowered", tie: true, permit: true, hold: signedPolicy(events.Policy{FloorH: p(200.0)}), change: policy(events.Policy{FloorH: p(48.0)})},
	{name: "equivalent age is lowered", tie: true, permit: true, hold: signedPolicy(events.Policy{EquivalentH: p(300.0)}), change: policy(events.Policy{EquivalentH: p(48.0)})},
	{name: "a milder rule is chosen", tie: true, permit: true, top: 9, change: policy(events.Policy{Rule: p("nurse-saul"), DatumC: p(-10.0)})},
	{name: "the gust limit is raised", tie: true, permit: true, hold: signedPolicy(events.Policy{GustMPS: p(2.0)}), change: policy(events.Policy{GustMPS: p(12.0)})},
	{name: "a strict policy is voided", tie: true, permit: true, hold: signedPolicy(events.Policy{FloorH: p(200.0)}), change: void},
	{name: "the mix is approved anew", tie: true, permit: true, hold: blended, change: func(*world, events.Event) (string, events.Data) {
		return "", &events.MixApproved{Mix: "w30", Binder: "portland", Retarder: p(false)}
	}},
	{name: "the mix's approval is amended", tie: true, permit: true, hold: blended, change: amendTo(&events.MixApproved{Mix: "w30", Binder: "portland", Retarder: p(false)})},
	{name: "equivalent age suffices", tie: true, permit: true, hold: blended, change: onWall(&events.CriterionSet{AgeSuffices: p(true), Role: "engineer"})},
	{name: "another mix is said to be in the wall", tie: true, permit: true, hold: func(w *world) events.Event {
		e, _ := w.say(monday.Add(time.Minute), 0, "phone-a", "crew", propertyWall, &events.WallAmended{Mix: "other", Reason: "r"})
		w.sign(monday.Add(time.Minute), e)
		return e
	}, change: onWall(&events.WallAmended{Mix: "w30", Reason: "r"})},
	{name: "a load's mix is amended", tie: true, permit: true, hold: says(&events.LoadBatched{Load: "l1", At: monday, Mix: "other"}), change: amendTo(&events.LoadBatched{Load: "l1", At: monday, Mix: "w30"})},
	{name: "a load is voided", tie: true, permit: true, hold: says(&events.LoadBatched{Load: "l1", At: monday, Mix: "other"}), change: void},
	{name: "a hold is voided", tie: true, permit: true, hold: says(&events.HoldPlaced{Hold: "h1", Reason: "r"}), change: void},
	{name: "frost that was seen is amended", tie: true, permit: true, hold: says(&events.ConcreteInspected{Finding: "frozen"}), change: amendTo(&events.ConcreteInspected{Finding: "sound"})},
	{name: "frost that was seen is voided", tie: true, permit: true, hold: says(&events.ConcreteInspected{Finding: "frozen"}), change: void},
	{name: "a line reading is amended", tie: true, permit: true, hold: says(line(9)), change: amendTo(line(1))},
	{name: "a line reading is voided", tie: true, permit: true, hold: says(line(9)), change: void},
	{name: "the planned top is lowered", tie: true, permit: true, hold: higher, change: onWall(&events.WallAmended{TopM: p(1.2), Reason: "r"})},
	{name: "a raised top is voided", tie: true, permit: true, hold: higher, change: void},
	{name: "the last lift is amended to end earlier", tie: true, permit: true, hold: lateLift, change: func(w *world, held events.Event) (string, events.Data) {
		return amendTo(&events.LiftPlaced{FromM: p(0.0), ToM: p(2.0), TopM: p(1.22), Ended: w.zero})(w, held)
	}},
	{name: "the last lift is voided", tie: true, permit: true, hold: lateLift, change: void},
	{name: "a consolidation is amended to be earlier", tie: true, permit: true, hold: consolidated, change: func(w *world, held events.Event) (string, events.Data) {
		return amendTo(&events.LiftConsolidated{FromM: p(0.0), ToM: p(2.0), At: w.zero})(w, held)
	}},
	{name: "a consolidation is voided", tie: true, permit: true, hold: consolidated, change: void},
	{name: "a line correction is voided", tie: true, permit: true, hold: func(w *world) events.Event {
		e, _ := w.say(w.zero.Add(60*time.Hour), 0, "phone-a", "crew", propertyWall, &moment{kind: "line.corrected"})
		w.say(w.zero.Add(61*time.Hour), 0, "phone-a", "crew", propertyWall, line(1))
		return e
	}, change: void},
	{name: "a line reading is said to be from before", tie: true, permit: true, hold: says(line(9)), change: amendTo(&events.LineRead{When: "before", Points: []events.LinePoint{{AtM: p(0.0), OffMM: p(9.0)}}})},
	{name: "a gust is voided", tie: true, permit: true, hold: gusts, change: void},
	{name: "a low test is voided", tie: true, permit: true, hold: lowTest, change: void},
	{name: "a low test is said to be of the laboratory", tie: true, permit: true, hold: lowTest, change: amendTo(&events.SpecimenTested{Specimen: "lab", StrengthMPa: p(8.0)})},
	{name: "a specimen is said to be of the laboratory", tie: true, permit: true, hold: func(w *world) events.Event {
		made := says(&events.SpecimenMade{Specimen: "c9", Cured: "wall"})(w)
		says(&events.CriterionSet{StrengthMPa: p(10.0), Role: "engineer"})(w)
		says(&events.SpecimenTested{StrengthMPa: p(18.0)})(w)
		says(&events.SpecimenTested{Specimen: "c9", StrengthMPa: p(8.0)})(w)
		return made
	}, change: amendTo(&events.SpecimenMade{Specimen: "c9", Cured: "laboratory"})},
	{name: "the layout is amended to a shorter wall", tie: true, permit: true, hold: longer, change: amendTo(&events.WallLaidOut{LengthM: p(6.0), HeightM: p(1.2), CoreMM: p(200.0), Mix: "w30"})},
	{name: "a longer layout is voided", tie: true, permit: true, hold: longer, change: void},
	{name: "an engineer's no is voided", tie: true, permit: true, hold: func(w *world) events.Event {
		blended(w)
		yes := says(&events.CriterionSet{AgeSuffices: p(true), Role: "engineer"})(w)
		w.sign(w.zero.Add(11*time.Hour), yes)
		e, _ := w.say(w.zero.Add(12*time.Hour), 0, "office", "engineer", propertyWall, &events.CriterionSet{AgeSuffices: p(false), Role: "engineer"})
		return e
	}, change: void},
	{name: "a cold top reading is amended", tie: true, permit: true, hold: coldTop, change: amendTo(&events.TemperatureRead{Place: "top", Probe: "top-1", Celsius: p(22.0)})},
	{name: "a cold top reading is voided", tie: true, permit: true, hold: coldTop, change: void},
	{name: "a gust is amended", tie: true, permit: true, hold: gusts, change: amendTo(&events.WindRead{GustMPS: p(1.0)})},
	{name: "a test result is amended", tie: true, permit: true, hold: func(w *world) events.Event {
		says(&events.CriterionSet{StrengthMPa: p(10.0), Role: "engineer"})(w)
		return says(&events.SpecimenTested{StrengthMPa: p(8.0)})(w)
	}, change: amendTo(&events.SpecimenTested{StrengthMPa: p(18.0)})},
	{name: "a criterion is voided", tie: true, permit: true, hold: says(&events.CriterionSet{FloorH: p(200.0), Role: "engineer"}), change: void},
	{name: "a criterion is amended", tie: true, permit: true, hold: says(&events.CriterionSet{FloorH: p(200.0), Role: "engineer"}), change: amendTo(&events.CriterionSet{FloorH: p(48.0), Role: "engineer"})},
	{name: "a permit to pour becomes one to strip", tie: true, hold: func(w *world) events.Event {
		e, _ := w.say(w.zero.Add(70*time.Hour), 0, "office", "boss", propertyWall, &events.PermitIssued{Number: "s-1", For: "pour"})
		return e
	}, change: amendTo(&events.PermitIssued{Number: "s-1", For: "strip"})},
	{name: "a withdrawal is voided", tie: true, hold: func(w *world) events.Event {
		w.say(w.zero.Add(70*time.Hour), 0, "office", "boss", propertyWall, &events.PermitIssued{Number: "s-1", For: "strip"})
		e, _ := w.say(w.zero.Add(71*time.Hour), 0, "office", "boss", propertyWall, &events.PermitWithdrawn{Number: "s-1", Reason: "r"})
		return e
	}, change: void},
	{name: "a cold reading is amended", tie: true, permit: true, hold: says(&events.TemperatureRead{Place: "core", Probe: "c", Celsius: p(-1.0)}), change: amendTo(&events.TemperatureRead{Place: "core", Probe: "c", Celsius: p(5.0)})},
	{name: "a cold reading is voided", tie: true, permit: true, hold: says(&events.TemperatureRead{Place: "core", Probe: "c", Celsius: p(-1.0)}), change: void},
	{name: "a pour that goes on is voided", tie: true, permit: true, hold: says(&moment{kind: "pour.resumed"}), change: void},
}

func consolidated(w *world) events.Event {
	e, _ := w.say(w.zero.Add(60*time.Hour), 0, "phone-a", "crew", propertyWall, &events.LiftConsolidated{FromM: p(0.0), ToM: p(2.0)})
	return e
}

func lowTest(w *world) events.Event {
	says(&events.SpecimenMade{Specimen: "lab", Cured: "laboratory"})(w)
	says(&events.CriterionSet{StrengthMPa: p(10.0), Role: "engineer"})(w)
	says(&events.SpecimenTested{StrengthMPa: p(18.0)})(w)
	return says(&events.SpecimenTested{StrengthMPa: p(8.0)})(w)
}

func longer(w *world) events.Event {
	e, _ := w.say(monday.Add(time.Minute), 0, "phone-a", "crew", propertyWall, &events.WallLaidOut{LengthM: p(8.0), HeightM: p(1.2), CoreMM: p(200.0), Mix: "w30"})
	return e
}

// coldTop is a reading of frost at the top between two that are warm.
func coldTop(w *world) events.Event {
	e, _ := w.say(w.zero.Add(20*time.Hour+5*time.Minute), 0, "phone-a", "crew", propertyWall, &events.TemperatureRead{Place: "top", Probe: "top-1", Celsius: p(-1.0)})
	return e
}

func blended(w *world) events.Event {
	e, _ := w.say(monday, 0, "office", "boss", "", &events.MixApproved{Mix: "w30", Binder: "blended", Retarder: p(false)})
	w.sign(monday, e)
	return e
}

func higher(w *world) events.Event {
	e, _ := w.say(monday.Add(time.Minute), 0, "phone-a", "crew", propertyWall, &events.WallAmended{TopM: p(1.5), HeightM: p(1.6), Reason: "r"})
	return e
}

// gusts blow half an hour before the looks of the test.
func gusts(w *world) events.Event {
	e, _ := w.say(w.zero.Add(89*time.Hour+30*time.Minute), 0, "phone-a", "crew", propertyWall, &events.WindRead{GustMPS: p(14.0)})
	return e
}

// TestASecondPersonLetsItCount: by kind, a change that would open the window does
// nothing while one person alone stands behind it, nor when that person
// countersigns, and opens it once a second one has.
func TestASecondPersonLetsItCount(t *testing.T) {
	for _, c := range conveniences {
		t.Run(c.name, func(t *testing.T) {
			w := soundWorld(t)
			celsius := c.top
			if celsius == 0 {
				celsius = 25
			}
			w.series("top", 90, func(float64) float64 { return celsius })
			var held events.Event
			if c.hold != nil {
				held = c.hold(w)
			}
			w.openable(c.tie, c.permit)
			w.reports()
			look := w.zero.Add(90 * time.Hour)
			require.False(t, w.assess(look)[0].Strip.Open, "something keeps it shut")
			on, data := c.change(w, held)
			change, ok := w.say(w.zero.Add(80*time.Hour), 0, "office", "boss", on, data)
			if held.Time.After(change.Time) {
				change, ok = w.say(held.Time.Add(time.Minute), 0, "office", "boss", on, data)
			}
			require.True(t, ok, "the change is an event")
			require.False(t, w.assess(look)[0].Strip.Open, "one person alone")
			again := &events.RecordCountersigned{Target: target(change), Role: "officer"}
			w.say(w.zero.Add(89*time.Hour+50*time.Minute), 0, "office", "boss", on, again)
			require.False(t, w.assess(look)[0].Strip.Open, "the same person twice")
			w.say(w.zero.Add(89*time.Hour+51*time.Minute), 0, "office", "second", on, again)
			a := w.assess(look)[0]
			require.True(t, a.Strip.Open, "two persons: %+v", a.Strip.Criteria)
		})
	}
}

// soundWorld is a sound wall without chance.
func soundWorld(t *testing.T) *world {
	w := newWorldOf(t, rand.New(rand.NewPCG(1, 1)))
	w.sound()
	return w
}

// TestAVoidOpensNothing: whoever voids a hold, its release, an engineer's release
// or a permit, and be it the one who made it, makes no answer earlier; nor does the
// same person's countersignature. A second release that is stricter than the first
// is among what is voided, and so is a permit for some braces after one for all.
func TestAVoidOpensNothing(t *testing.T) {
	shut := 0
	rapid.Check(t, func(rt *rapid.T) {
		w := drawWorld(rt, 2)
		var words []events.Event
		for range w.even(1, 6) {
			at, data := w.zero.Add(time.Duration(w.even(0, 80*60))*time.Minute), w.drawWord()
			e, ok := w.say(at, 0, "office", one(w, "boss", "engineer"), propertyWall, data)
			if words = append(words, e); ok && w.yes() {
				w.sign(at.Add(time.Minute), e)
			}
			require.True(rt, ok)
		}
		x, e := w.with(), one(w, words...)
		at := w.zero.Add(time.Duration(w.even(0, 85*60)) * time.Minute)
		by := one(w, e.By, e.By, "another")
		void, ok := x.say(at, 0, "office", by, e.Wall, &events.RecordVoided{Target: target(e), Reason: "r"})
		require.True(rt, ok)
		x.say(at.Add(time.Minute), 0, "office", by, e.Wall, &events.RecordCountersigned{Target: target(void), Role: "officer"})
		requireNoEarlier(rt, w, x)
		if e.Kind == "hold.placed" {
			shut++
		}
	})
	require.Positive(t, shut, "no hold was ever voided")
}

// drawWord draws what one person says for or against a strip.
func (w *world) drawWord() events.Data {
	switch w.even(0, 5) {
	case 0:
		return &events.HoldPlaced{Hold: one(w, "h1", "h2"), Reason: "r"}
	case 1:
		return &events.HoldReleased{Hold: one(w, "h1", "h2"), Reason: "r"}
	case 2:
		return &events.EngineerReleased{Releases: "support", GustMPS: w.number(1, 12), StrengthMPa: p(0.5), Role: "engineer", Reason: "r"}
	case 3:
		return &events.EngineerReleased{Releases: "straight", Role: "engineer", Reason: "r"}
	case 4:
		return &events.PermitWithdrawn{Number: fmt.Sprint("s-", w.even(20, 117)), Reason: "r"}
	}
	return &events.PermitIssued{Number: one(w, "s-50", "s-60", "x"), For: "strip", Braces: one(w, nil, []string{"b1"})}
}

// TestWhatLetsItOpenIsGoneAtOnce: what a strip rests on needs no second person to be
// taken back.
func TestWhatLetsItOpenIsGoneAtOnce(t *testing.T) {
	of := func(kind events.Kind, nth int) func(w *world) events.Event {
		return func(w *world) events.Event {
			for _, e := range w.sent {
				if e.Kind == kind {
					if nth == 0 {
						return e
					}
					nth--
				}
			}
			require.Fail(t, "no such event", kind)
			return events.Event{}
		}
	}
	for _, c := range []struct {
		name string
		add  func(w *world) // beside the sound record
		of   func(w *world) events.Event
	}{
		{"the permit", nil, of("permit.issued", 0)},
		{"the tie-in", nil, of("wall.tied-in", 0)},
		{"the finish", nil, of("pour.finished", 0)},
		{"the first lift", nil, of("lift.placed", 0)},
		{"the line reading", nil, of("line.read", 0)},
		{"the mix's approval", nil, of("mix.approved", 0)},
		{"its countersignature", nil, of("record.countersigned", 1)},
		{"a relaxed policy's countersignature", func(w *world) {
			signedPolicy(events.Policy{GustMPS: p(20.0)})(w)
			w.say(w.zero.Add(89*time.Hour), 0, "phone-a", "crew", propertyWall, &events.WindRead{GustMPS: p(15.0)})
		}, of("record.countersigned", 2)},
		{"a relaxed policy", func(w *world) {
			signedPolicy(events.Policy{GustMPS: p(20.0)})(w)
			w.say(w.zero.Add(89*time.Hour), 0, "phone-a", "crew", propertyWall, &events.WindRead{GustMPS: p(15.0)})
		}, of("site.amended", 0)},
		{"a hold's release", func(w *world) {
			says(&events.HoldPlaced{Hold: "h1", Reason: "r"})(w)
			w.say(w.zero.Add(11*time.Hour), 0, "office", "boss", propertyWall, &events.HoldReleased{Hold: "h1", Reason: "r"})
		}, of("hold.released", 0)},
		{"an engineer's release", func(w *world) {
			says(line(9))(w)
			w.say(w.zero.Add(11*time.Hour), 0, "office", "engineer", propertyWall, &events.EngineerReleased{Releases: "straight", Role: "engineer", Reason: "r"})
		}, of("engineer.released", 0)},
		{"a doubt's answer", func(w *world) {
			e := says(&events.RecordVoided{Target: events.Target{Source: "/site/north/device/x", ID: "nowhere"}, Reason: "r"})(w)
			w.say(w.zero.Add(11*time.Hour), 0, "office", "boss", propertyWall, &events.DoubtSettled{Target: target(e), Reason: "r"})
		}, of("doubt.settled", 0)},
		{"a test result", func(w *world) {
			says(&events.CriterionSet{StrengthMPa: p(10.0), Role: "engineer"})(w)
			says(&events.SpecimenTested{StrengthMPa: p(12.0)})(w)
		}, of("specimen.tested", 0)},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := soundWorld(t)
			w.series("top", 90, func(float64) float64 { return 25 })
			if c.add != nil {
				c.add(w)
			}
			w.openable(true, false)
			w.say(w.zero.Add(50*time.Hour), 0, "office", "boss", propertyWall, &events.PermitIssued{Number: "s-1", For: "strip"})
			w.reports()
			look := w.zero.Add(90 * time.Hour)
			a := w.assess(look)[0]
			require.True(t, a.Strip.Open, "%+v", a.Strip.Criteria)
			e := c.of(w)
			_, ok := w.say(w.zero.Add(89*time.Hour), 0, "office", "boss", e.Wall, &events.RecordVoided{Target: target(e), Reason: "r"})
			require.True(t, ok)
			require.False(t, w.assess(look)[0].Strip.Open)
		})
	}
}
