package scheduler_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// world draws records. A sound one is a wall that opens by itself two or three days
// after its last concrete; a wild one has anything beside it.
type world struct {
	t       require.TestingT
	rec     record
	devices map[string]*device
	skipped map[string]uint64 // by event: numbers before it that never come
	sent    []events.Event    // what may be amended, voided or countersigned
	zero    time.Time         // end of the last lift
	n       int
	rng     *rand.Rand
}

const propertySite, propertyWall = "north", "w1"

var monday = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)

func newWorld(t *rapid.T) *world {
	return newWorldOf(t, rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "chance"), 7)))
}

func newWorldOf(t require.TestingT, rng *rand.Rand) *world {
	return &world{t: t, rng: rng, skipped: map[string]uint64{}, devices: map[string]*device{
		"phone-a":    {name: "phone-a", knows: true, numbered: true},
		"phone-b":    {name: "phone-b", knows: true, numbered: true, offset: -3 * time.Minute, fast: 3 * time.Minute},
		"office":     {name: "office", knows: true, numbered: true},
		"probe-top":  {name: "probe-top", numbered: true},
		"probe-core": {name: "probe-core", numbered: true},
		"probe-air":  {name: "probe-air", numbered: true},
		"strange":    {name: "strange", fast: -30 * time.Second},
	}}
}

// even draws evenly, where rapid would draw the small numbers more often.
func (w *world) even(lo, hi int) int { return lo + w.rng.IntN(hi-lo+1) }

// say records one event, made at a moment and recorded after a delay. What the
// vocabulary refuses is left out.
func (w *world) say(at time.Time, delay time.Duration, name, by, on string, data events.Data) (events.Event, bool) {
	d := w.devices[name]
	w.n++
	e := events.Event{ID: fmt.Sprintf("e%04d", w.n), Source: events.Source{Site: propertySite, Device: name}, Time: at.Add(d.fast), By: by, Wall: on, Kind: kindOf(data), Data: data}
	if m, ok := data.(*moment); ok {
		e.Kind, e.Data = m.kind, &events.Moment{At: m.at}
	}
	if d.numbered {
		e.Sequence = 1 // numbered for good by stream
	}
	if d.knows {
		e.ClockOffset, e.HasOffset = d.offset, true
	}
	body, err := e.Encode()
	if err != nil {
		return e, false
	}
	if e, err = events.Decode(e.Subject(), body); err != nil {
		return e, false
	}
	w.rec.take(e, at.Add(delay))
	w.sent = append(w.sent, e)
	return e, true
}

// moment stands for the kinds that only say when.
type moment struct {
	events.Moment
	kind events.Kind
	at   time.Time
}

func kindOf(d events.Data) events.Kind {
	switch d.(type) {
	case *events.SiteOpened:
		return "site.opened"
	case *events.SiteAmended:
		return "site.amended"
	case *events.MixApproved:
		return "mix.approved"
	case *events.CriterionSet:
		return "criterion.set"
	case *events.DeviceReported:
		return "device.reported"
	case *events.GapWrittenOff:
		return "gap.written-off"
	case *events.WallLaidOut:
		return "wall.laid-out"
	case *events.WallAmended:
		return "wall.amended"
	case *events.WallTiedIn:
		return "wall.tied-in"
	case *events.WallHandedOver:
		return "wall.handed-over"
	case *events.PermitIssued:
		return "permit.issued"
	case *events.PermitWithdrawn:
		return "permit.withdrawn"
	case *events.LineRead:
		return "line.read"
	case *events.BraceSet:
		return "brace.set"
	case *events.BraceStripped:
		return "brace.stripped"
	case *events.LoadBatched:
		return "load.batched"
	case *events.LoadDischarged:
		return "load.discharged"
	case *events.PourStopped:
		return "pour.stopped"
	case *events.StretchLeftLow:
		return "stretch.left-low"
	case *events.LiftPlaced:
		return "lift.placed"
	case *events.LiftConsolidated:
		return "lift.consolidated"
	case *events.JointFelt:
		return "joint.felt"
	case *events.JointTreated:
		return "joint.treated"
	case *events.TemperatureRead:
		return "temperature.read"
	case *events.WeatherForecast:
		return "weather.forecast"
	case *events.WindRead:
		return "wind.read"
	case *events.SpecimenMade:
		return "specimen.made"
	case *events.SpecimenTested:
		return "specimen.tested"
	case *events.ConcreteInspected:
		return "concrete.inspected"
	case *events.HoldPlaced:
		return "hold.placed"
	case *events.HoldReleased:
		return "hold.released"
	case *events.EngineerReleased:
		return "engineer.released"
	case *events.RecordAmended:
		return "record.amended"
	case *events.RecordVoided:
		return "record.voided"
	case *events.RecordCountersigned:
		return "record.countersigned"
	case *events.DoubtSettled:
		return "doubt.settled"
	}
	return ""
}

func p[T any](v T) *T { return &v }

// sign lets a second person countersign an event.
func (w *world) sign(at time.Time, e events.Event) {
	w.say(at, 0, "office", "second", e.Wall, &events.RecordCountersigned{Target: events.Target{Source: e.Source.String(), ID: e.ID}, Role: "officer"})
}

// sound pours a wall whose record is whole, at a drawn temperature.
func (w *world) sound() {
	opened, _ := w.say(monday, 0, "office", "boss", "", &events.SiteOpened{Name: "North", Zone: "Europe/Oslo"})
	w.sign(monday, opened)
	mix, _ := w.say(monday, 0, "office", "boss", "", &events.MixApproved{Mix: "w30", Binder: "portland", Retarder: p(false)})
	w.sign(monday, mix)
	w.say(monday, 0, "phone-a", "crew", propertyWall, &events.WallLaidOut{LengthM: p(6.0), HeightM: p(1.2), CoreMM: p(200.0), Mix: "w30"})
	w.say(monday, 0, "phone-a", "crew", propertyWall, &events.BraceSet{Braces: []events.BracePlan{{Name: "b1", AtM: p(1.0)}, {Name: "b2", AtM: p(5.0)}}})
	at := monday.Add(time.Duration(w.even(10, 60)) * time.Minute)
	lifts := w.even(1, 3)
	for i := range lifts {
		ended := at.Add(20 * time.Minute)
		w.say(ended, 0, "phone-a", "crew", propertyWall, &events.LiftPlaced{FromM: p(0.0), ToM: p(6.0), TopM: p(1.2 * float64(i+1) / float64(lifts)), Began: at, Ended: ended})
		w.zero, at = ended, ended.Add(30*time.Minute)
	}
	w.say(w.zero.Add(time.Minute), 0, "phone-a", "crew", propertyWall, &events.LineRead{When: "after", Points: []events.LinePoint{{AtM: p(0.0), OffMM: p(0.0)}, {AtM: p(3.0), OffMM: p(1.0)}}})
	w.say(w.zero.Add(2*time.Minute), 0, "phone-a", "crew", propertyWall, &moment{kind: "pour.finished"})
	w.say(w.zero.Add(3*time.Minute), 0, "phone-a", "", "", &events.DeviceReported{})
}

// reports lets every device say now and then that its outbox is empty.
func (w *world) reports() {
	for _, name := range []string{"phone-a", "phone-b", "office"} {
		for h := range 20 {
			w.say(w.zero.Add(time.Duration(h*6+1)*time.Hour), 0, name, "", "", &events.DeviceReported{})
		}
	}
}

// series adds readings every 15 minutes for some hours, sent one by one or every
// three hours.
func (w *world) series(place string, hours int, celsius func(h float64) float64) {
	each := 1
	if hours > 72 {
		each = 12
	}
	var list []events.TimedTemperature
	for i := 0; i*15 <= hours*60; i++ {
		at := w.zero.Add(time.Duration(i*15-15) * time.Minute)
		if list = append(list, events.TimedTemperature{At: at, Celsius: p(celsius(float64(i) / 4))}); len(list) < each && i*15 < hours*60 {
			continue
		}
		w.say(at, 0, "probe-"+place, "", propertyWall, &events.TemperatureRead{Place: place, Probe: place + "-1", Series: list})
		if list = nil; each > 1 { // so that one series goes on where the one before ended
			list = []events.TimedTemperature{{At: at.Add(time.Minute), Celsius: p(celsius(float64(i) / 4))}}
		}
	}
}

// openable adds what the window needs beside the concrete: wind each half day,
// and a permit that comes late enough.
func (w *world) openable(tie, permits bool) {
	if tie {
		w.say(w.zero.Add(5*time.Hour), 0, "office", "boss", propertyWall, &events.WallTiedIn{By: "floor"})
	}
	for i := range 10 {
		at := w.zero.Add(time.Duration(i*12) * time.Hour)
		w.say(at, 0, "phone-a", "crew", "", &events.WindRead{GustMPS: p(3.0)})
	}
	// A permit every hour: one that came too early does not count.
	for h := 20; permits && h < 118; h++ {
		at := w.zero.Add(time.Duration(h) * time.Hour)
		w.say(at, 0, "office", "boss", propertyWall, &events.PermitIssued{Number: fmt.Sprint("s-", h), For: "strip"})
	}
}

// stream is the record in the order of the stream: that of recording. Each device
// numbers its events in the order in which it made them.
func (w *world) stream() []wall.Fact {
	facts := append([]wall.Fact(nil), w.rec.facts...)
	slices.SortStableFunc(facts, func(a, b wall.Fact) int { return a.Time.Compare(b.Time) })
	last := map[string]uint64{}
	for i := range facts {
		f := &facts[i]
		if f.Sequence == 0 {
			continue
		}
		last[f.Source.Device] += 1 + w.skipped[f.ID]
		f.Sequence = last[f.Source.Device]
		if r, ok := f.Data.(*events.DeviceReported); ok {
			x := *r
			x.Last = f.Sequence - 1
			f.Data = &x
		}
	}
	slices.SortStableFunc(facts, func(a, b wall.Fact) int { return a.Recorded.Compare(b.Recorded) })
	for i := range facts {
		facts[i].Seq = uint64(i + 1)
	}
	return facts
}

// fold plays the record as it was known at a moment.
func (w *world) fold(at time.Time) *folded {
	r := record{facts: w.stream(), refused: w.rec.refused}
	return r.known(at).fold(propertySite)
}

// assess looks at the wall at some moments, as it was known at each.
func (w *world) assess(moments ...time.Time) []scheduler.Assessment {
	moments = append([]time.Time(nil), moments...)
	slices.SortFunc(moments, time.Time.Compare)
	facts, seen := w.stream(), map[events.Key]bool{}
	f, i, refused := (&record{}).fold(propertySite), 0, slices.Clone(w.rec.refused)
	var out []scheduler.Assessment
	for _, at := range moments {
		for ; i < len(facts) && !facts[i].Recorded.After(at); i++ {
			f.take(propertySite, facts[i], seen)
		}
		refused = slices.DeleteFunc(refused, func(r refusal) bool {
			if !r.Recorded.After(at) {
				f.wall(propertySite, r.wall).AddRefused(r.Refused)
			}
			return !r.Recorded.After(at)
		})
		out = append(out, scheduler.Assess(f.site, f.devices, f.wall(propertySite, propertyWall), scheduler.Hub{}, at))
	}
	return out
}

// with returns a copy of the record that can be added to.
func (w *world) with() *world {
	c := *w
	c.rec.facts = append([]wall.Fact(nil), w.rec.facts...)
	c.rec.refused = append([]refusal(nil), w.rec.refused...)
	c.devices = map[string]*device{}
	for n, d := range w.devices {
		x := *d
		c.devices[n] = &x
	}
	c.sent = append([]events.Event(nil), w.sent...)
	c.skipped = maps.Clone(w.skipped)
	return &c
}

func (w *world) moment() time.Time {
	return w.zero.Add(time.Duration(w.even(-60, 100*60)) * time.Minute)
}

// refuse adds a message that could not be accepted.
func (w *world) refuse(at time.Time) {
	w.rec.seq++
	w.rec.refused = append(w.rec.refused, refusal{wall: propertyWall, device: "phone-a", Refused: wall.Refused{Seq: w.rec.seq, Recorded: at, Source: "/site/north/device/phone-a", Field: one(w, "data", "signature"), Reason: "wrong"}})
}

func requireOrder(t *rapid.T, a scheduler.Assessment) {
	x := a.Strip.Expected
	floor := time.Time{}
	for _, c := range a.Strip.Criteria {
		if c.Name == scheduler.Floor {
			floor = c.MetAt
		}
	}
	last := floor
	for _, at := range []time.Time{x.Early, x.Likely, x.Late} {
		if at.IsZero() {
			last = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC) // none later may be known
			continue
		}
		require.False(t, at.Before(last), "%v %v", floor, x)
		last = at
	}
}
