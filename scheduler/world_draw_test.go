package scheduler_test

import (
	"strings"
	"time"

	"earlyage/events"
	"earlyage/projector/wall"
)

// wild adds one event of any kind, from any device, at any time, late or not.
func (w *world) wild() {
	at := w.moment()
	delay := time.Duration(one(w, 0, 0, 0, 0, 0, 0, 1, 30, 200, 3000, -10)) * time.Minute
	name := one(w, "phone-a", "phone-a", "phone-a", "phone-b", "phone-b", "office", "office", "strange")
	by := one(w, "crew", "boss", "second", "engineer")
	happened := at.Add(-time.Duration(one(w, 0, 0, 5, 20, 90, 600, -30)) * time.Minute)
	on := propertyWall
	data := w.draw(happened)
	if d := kindOf(data); d != "" && d.SiteWide() || isChangeOfSite(w, data) {
		on = ""
	}
	w.say(at, delay, name, by, on, data)
}

// isChangeOfSite reports whether a change names a site's event.
func isChangeOfSite(w *world, data events.Data) bool {
	var key events.Key
	switch d := data.(type) {
	case *events.RecordAmended:
		key = d.Target.Key()
	case *events.RecordVoided:
		key = d.Target.Key()
	case *events.RecordCountersigned:
		key = d.Target.Key()
	case *events.DoubtSettled:
		key = d.Target.Key()
	default:
		return false
	}
	for _, e := range w.sent {
		if e.Key() == key {
			return e.Wall == ""
		}
	}
	return false
}

// number draws a number with one decimal.
func (w *world) number(lo, hi int) *float64 { return p(float64(w.even(lo*10, hi*10)) / 10) }

func one[T any](w *world, list ...T) T { return list[w.even(0, len(list)-1)] }

func (w *world) yes() bool { return w.even(0, 1) == 1 }

// draw draws what an event says.
func (w *world) draw(at time.Time) events.Data {
	from, to := w.number(0, 6), w.number(0, 6)
	switch w.even(0, 27) {
	case 0, 1:
		return &events.LiftPlaced{FromM: from, ToM: to, TopM: w.number(1, 2), Began: at.Add(-10 * time.Minute), Ended: at, Load: one(w, "", "l1")}
	case 2:
		return &events.LoadBatched{Load: "l1", At: at, Mix: one(w, "", "w30", "other")}
	case 3:
		return &events.LoadDischarged{Load: "l1", Began: at, Ended: at}
	case 4:
		return &events.LiftConsolidated{FromM: from, ToM: to, At: at}
	case 5:
		return &moment{kind: one[events.Kind](w, "pour.started", "pour.resumed", "pour.finished", "line.corrected"), at: at}
	case 6:
		return &events.PourStopped{At: at, Planned: w.yes(), Reason: "r"}
	case 7:
		return &events.StretchLeftLow{At: at, FromM: from, ToM: to, TopM: w.number(0, 1), Reason: "r"}
	case 8:
		return &events.JointFelt{At: at, FromM: from, ToM: to, Sinks: p(w.yes())}
	case 9:
		return &events.JointTreated{At: at, FromM: from, ToM: to, How: []string{"keyed"}, WordOf: "engineer"}
	case 10:
		return &events.HoldPlaced{Hold: "h1", At: at, Reason: "r"}
	case 11:
		return &events.HoldReleased{Hold: "h1", At: at, Reason: "r"}
	case 12:
		return w.drawRelease(at)
	case 13:
		return &events.PermitIssued{Number: one(w, "s-1", "s-2"), For: one(w, "strip", "pour"), At: at}
	case 14:
		return &events.PermitWithdrawn{Number: "s-1", At: at, Reason: "r"}
	case 15:
		return &events.SpecimenMade{Specimen: one(w, "c1", "c2"), At: at, Cured: one(w, "wall", "laboratory")}
	case 16:
		return &events.SpecimenTested{Specimen: one(w, "", "c1", "c2"), At: at, StrengthMPa: w.number(0, 30)}
	case 17:
		return &events.WallLaidOut{LengthM: w.number(4, 8), HeightM: w.number(1, 2), CoreMM: p(200.0), Mix: one(w, "", "w30", "other")}
	case 18:
		return &events.WallAmended{TopM: w.number(1, 2), Mix: one(w, "", "w30", "other"), Reason: "r"}
	case 19:
		return w.drawReading(at)
	case 20:
		return &events.WindRead{At: at, GustMPS: w.number(0, 14)}
	case 21:
		return w.drawBrace(at)
	case 22:
		return w.drawPolicy()
	case 23:
		return &events.MixApproved{Mix: one(w, "w30", "other"), Binder: one(w, "portland", "blended"), Retarder: p(w.yes())}
	case 24:
		return &events.CriterionSet{FloorH: w.number(48, 60), CoreCounts: p(w.yes()), AgeSuffices: p(w.yes()), Role: "engineer"}
	case 25:
		return &events.ConcreteInspected{At: at, Finding: one(w, "sound", "frozen")}
	case 26:
		return &events.GapWrittenOff{Device: "phone-b", From: 1, To: 50, Reason: "r"}
	default:
		return w.drawChange()
	}
}

// drawBrace takes a brace off, or sets one, again or at another place.
func (w *world) drawBrace(at time.Time) events.Data {
	name := one(w, "b1", "b2", "b9")
	switch w.even(0, 3) {
	case 0:
		return &events.BraceSet{At: at, Braces: []events.BracePlan{{Name: name, AtM: w.number(0, 6)}}}
	case 1:
		return &events.BraceStripped{At: at, All: true}
	}
	return &events.BraceStripped{At: at, Braces: []string{name}}
}

func (w *world) drawRelease(at time.Time) events.Data {
	r := &events.EngineerReleased{Releases: one(w, "support", "strength", "frost", "straight", "age"), At: at, Role: "engineer", Reason: "r"}
	if r.Releases == "frost" {
		r.Freeze = w.moment()
	}
	if r.Releases == "support" {
		r.GustMPS = w.number(1, 9)
	}
	return r
}

func (w *world) drawReading(at time.Time) events.Data {
	r := &events.TemperatureRead{Place: one(w, "top", "core", "air"), Probe: one(w, "top-1", "p2")}
	c := w.number(-5, 40)
	switch w.even(0, 2) {
	case 0:
		r.At, r.Celsius = at, c
	case 1:
		for i := range 6 {
			r.Series = append(r.Series, events.TimedTemperature{At: at.Add(time.Duration(i*20-120) * time.Minute), Celsius: p(*c + float64(i))})
		}
	default:
		r.Instrument, r.From, r.To, r.MinC, r.MaxC = "min-max", at.Add(-8*time.Hour), at, c, p(*c+3)
	}
	return r
}

func (w *world) drawPolicy() events.Data {
	d := &events.SiteAmended{Reason: "r"}
	x := &d.Policy
	switch w.even(0, 7) {
	case 0:
		x.FloorH = w.number(48, 72)
	case 1:
		x.EquivalentH = w.number(48, 72)
	case 2:
		x.Rule = p(one(w, "arrhenius", "fhp", "en-1992", "sadgrove", "nurse-saul"))
	case 3:
		x.PermitNeeded = p(w.yes())
	case 4:
		x.TieInNeeded = p(w.yes())
	case 5:
		x.GustMPS = w.number(1, 20)
	case 6:
		x.StrengthMPa = w.number(1, 20)
	default:
		x.LineMM = w.number(1, 12)
	}
	return d
}

// drawChange amends, voids, countersigns or settles something that was said.
func (w *world) drawChange() events.Data {
	e := w.drawTarget()
	target := events.Target{Source: e.Source.String(), ID: e.ID}
	switch w.even(0, 5) {
	case 0, 1:
		return &events.RecordVoided{Target: target, Reason: "r"}
	case 2:
		return &events.RecordCountersigned{Target: target, Role: "officer"}
	case 3:
		return &events.DoubtSettled{Target: target, Reason: "r"}
	default:
		return w.amend(e)
	}
}

// drawTarget draws an event that was said, a reading only now and then.
func (w *world) drawTarget() events.Event {
	for range 50 {
		e := one(w, w.sent...)
		if wall.IsReading(e.Kind) && w.even(0, 9) > 0 || e.Kind == "device.reported" {
			continue
		}
		return e
	}
	return w.sent[0]
}

// amend changes what an event says, mostly to something more convenient.
func (w *world) amend(e events.Event) events.Data {
	data := w.tweak(e.Data)
	body, err := events.EncodeData(data)
	target := events.Target{Source: e.Source.String(), ID: e.ID}
	if err != nil || strings.HasPrefix(string(e.Kind), "record.") {
		return &events.RecordVoided{Target: target, Reason: "r"}
	}
	return &events.RecordAmended{Target: target, Kind: e.Kind, Data: body, Reason: "r"}
}

func (w *world) tweak(data events.Data) events.Data {
	shift := time.Duration(w.even(-600, 60)) * time.Minute
	switch d := data.(type) {
	case *events.LiftPlaced:
		x := *d
		x.Began, x.Ended = d.Began.Add(shift), d.Ended.Add(shift)
		if w.yes() {
			x.Began, x.Ended = d.Began, d.Ended
		}
		x.FromM, x.ToM, x.TopM = one(w, d.FromM, p(0.0)), one(w, d.ToM, p(6.0)), one(w, d.TopM, p(1.2))
		return &x
	case *events.LoadDischarged:
		return &events.LoadDischarged{Load: d.Load, Began: d.Began.Add(shift), Ended: d.Ended.Add(shift)}
	case *events.LoadBatched:
		return &events.LoadBatched{Load: d.Load, At: d.At.Add(-shift), Mix: "w30"}
	case *events.LiftConsolidated:
		return &events.LiftConsolidated{FromM: d.FromM, ToM: d.ToM, At: d.At.Add(shift)}
	case *events.Moment:
		return &events.Moment{At: w.zero.Add(shift)}
	case *events.LineRead:
		return &events.LineRead{When: "after", At: d.At, Points: []events.LinePoint{{AtM: p(0.0), OffMM: p(0.0)}}}
	case *events.SpecimenTested:
		return &events.SpecimenTested{Specimen: d.Specimen, At: d.At, StrengthMPa: p(25.0)}
	case *events.SpecimenMade:
		return &events.SpecimenMade{Specimen: d.Specimen, At: d.At, Cured: "wall"}
	case *events.ConcreteInspected:
		return &events.ConcreteInspected{At: d.At, Finding: "sound"}
	case *events.WallLaidOut:
		return &events.WallLaidOut{LengthM: p(4.0), HeightM: p(1.0), CoreMM: p(200.0), Mix: "w30"}
	case *events.HoldPlaced:
		return &events.HoldPlaced{Hold: "h7", At: d.At.Add(-shift), Reason: "r"}
	case *events.PermitIssued:
		return &events.PermitIssued{Number: d.Number, For: "strip", At: d.At.Add(-shift)}
	case *events.PermitWithdrawn:
		return &events.PermitWithdrawn{Number: "s-99", At: d.At, Reason: "r"}
	case *events.WindRead:
		return &events.WindRead{At: d.At, GustMPS: p(1.0)}
	case *events.TemperatureRead:
		x := *d
		if d.Celsius != nil {
			x.Celsius = p(*d.Celsius + 8)
		}
		x.Series = nil
		for _, r := range d.Series {
			x.Series = append(x.Series, events.TimedTemperature{At: r.At, Celsius: p(*r.Celsius + 8)})
		}
		if d.MinC != nil {
			x.MinC, x.MaxC = p(*d.MinC+8), p(*d.MaxC+8)
		}
		return &x
	case *events.MixApproved:
		return &events.MixApproved{Mix: d.Mix, Binder: "portland", Retarder: p(false)}
	case *events.CriterionSet:
		return &events.CriterionSet{CoreCounts: p(true), AgeSuffices: p(true), Role: "engineer"}
	case *events.SiteAmended:
		return w.drawPolicy()
	case *events.StretchLeftLow:
		return &events.StretchLeftLow{At: d.At, FromM: p(0.0), ToM: p(6.0), TopM: p(0.1), Reason: "r"}
	case *events.BraceSet:
		return &events.BraceSet{At: d.At, Braces: []events.BracePlan{{Name: one(w, "b1", "b2", "b9"), AtM: w.number(0, 6)}}}
	case *events.BraceStripped:
		return &events.BraceStripped{At: d.At, Braces: []string{one(w, "b1", "b2", "b9")}}
	}
	return data
}

// lack takes something from a sound record, or adds something that holds it, so
// that a convenient change could matter. It draws before openable and after sound.
func (w *world) lack() (tie, permits bool) {
	tie, permits = w.even(0, 7) > 0, w.even(0, 7) > 0
	at := w.zero.Add(time.Duration(w.even(1, 30)) * time.Hour)
	on := func(n int, add func()) {
		if w.even(0, n) == 0 {
			add()
		}
	}
	on(7, func() {
		e, _ := w.say(monday, 0, "office", "boss", "", &events.SiteAmended{Policy: events.Policy{FloorH: p(72.0), GustMPS: p(2.0)}, Reason: "r"})
		w.sign(monday, e)
	})
	on(9, func() {
		e, _ := w.say(monday, 0, "office", "boss", "", &events.MixApproved{Mix: "w30", Binder: "blended", Retarder: p(false)})
		w.sign(monday, e)
	})
	on(9, func() {
		w.say(at, 0, "office", "boss", propertyWall, &events.HoldPlaced{Hold: "h1", Reason: "r"})
	})
	on(9, func() {
		w.say(at, 0, "phone-a", "crew", propertyWall, &events.ConcreteInspected{Finding: "frozen"})
	})
	on(9, func() {
		w.say(at, 0, "phone-a", "crew", propertyWall, &events.LineRead{When: "after", Points: []events.LinePoint{{AtM: p(0.0), OffMM: p(0.0)}, {AtM: p(3.0), OffMM: p(9.0)}}})
	})
	on(9, func() {
		w.say(monday, 0, "phone-a", "crew", propertyWall, &events.WallAmended{TopM: p(1.4), Reason: "r"})
	})
	on(9, func() {
		w.say(at, 0, "phone-a", "crew", propertyWall, &events.LiftPlaced{FromM: p(0.0), ToM: p(2.0), TopM: p(1.22), Ended: at})
	})
	on(9, func() {
		e, _ := w.say(monday, 0, "office", "engineer", propertyWall, &events.CriterionSet{StrengthMPa: p(10.0), Role: "engineer"})
		w.sign(monday, e)
		w.say(at, 0, "phone-a", "lab", propertyWall, &events.SpecimenTested{StrengthMPa: p(8.0)})
	})
	return tie, permits
}
