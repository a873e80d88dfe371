package scheduler_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler"
	"earlyage/scheduler/concrete"
)

// at is a moment of the pour's day, UTC.
func pourAt(hour, minute int) time.Time {
	return time.Date(2026, 5, 4, hour, minute, 0, 0, time.UTC)
}

// laidOut is a book with a wall laid out on it, in air of 15 °C.
func laidOut(d events.WallLaidOut) *book {
	b := newBook()
	b.add(pourAt(5, 0), "site.opened", &events.SiteOpened{Name: "S", Zone: "UTC"})
	b.add(pourAt(5, 1), "wall.laid-out", &d)
	for i := range 60 {
		at := pourAt(5, 30).Add(time.Duration(i) * 15 * time.Minute)
		b.onSite(at, "temperature.read", &events.TemperatureRead{Place: "air", At: at, Celsius: new(15.0)})
	}
	return b
}

// lift places concrete between two stations up to a height.
func (b *book) lift(from, to, top float64, began, ended time.Time) string {
	return b.add(ended, "lift.placed", &events.LiftPlaced{FromM: &from, ToM: &to, TopM: &top, Began: began, Ended: ended, Vibrated: new(true)})
}

// NUMBERS 6f and 13: 40 m round, a core of 150 mm, 1.2 m/h is 7.2 m³/h; common
// practice, no source, for the 1.2 m.
func TestARateOfOnePointTwoOnFortyMetresIsSevenPointTwo(t *testing.T) {
	b := laidOut(events.WallLaidOut{LengthM: new(40.0), HeightM: new(2.4), CoreMM: new(150.0), Closed: true})
	b.lift(0, 40, 0.6, pourAt(8, 0), pourAt(8, 30))
	b.lift(0, 40, 1.2, pourAt(8, 30), pourAt(9, 0))
	a := b.assess(pourAt(9, 0))
	require.InDelta(t, 7.2, a.Rate.M3H, 1e-9)
	require.InDelta(t, 1.2, a.Rate.RiseMPH, 1e-9)
	want, err := concrete.DeliveryForRise(concrete.CustomaryRise, 40, 0.15)
	require.NoError(t, err)
	require.InDelta(t, want, a.Rate.M3H, 1e-9)
}

// "Here 0.25 m now, 0.6 m not before 09:35": 0.95 m within the hour, of which 0.6
// was placed at 08:35.
func TestSaidBeforeTheLift(t *testing.T) {
	b := laidOut(events.WallLaidOut{LengthM: new(6.0), HeightM: new(3.0), CoreMM: new(150.0)})
	b.lift(0, 6, 0.6, pourAt(8, 35), pourAt(8, 35))
	b.lift(0, 6, 0.95, pourAt(9, 0), pourAt(9, 0))
	a := b.assess(pourAt(9, 1))
	require.Len(t, a.Fronts, 1)
	f := a.Fronts[0]
	require.InDelta(t, 0.95, f.RiseM, 1e-9)
	require.InDelta(t, 0.25, f.NowM, 1e-9)
	require.InDelta(t, 0.6, f.FullM, 1e-9)
	require.Equal(t, pourAt(9, 35), f.FullFrom)
	require.Equal(t, pourAt(11, 30), f.Deadline)
	require.InDelta(t, 149.0, f.LeftMin, 1e-9)
	require.Equal(t, pourAt(10, 55), f.BatchBy)
	require.Equal(t, pourAt(9, 20), a.Next, "the string line is due before anything else")
}

// At a planned stop the front still waits, but no joint closes.
func TestAPlannedStopHasNoDeadline(t *testing.T) {
	b := laidOut(events.WallLaidOut{LengthM: new(6.0), HeightM: new(3.0), CoreMM: new(150.0)})
	b.lift(0, 6, 0.6, pourAt(8, 0), pourAt(8, 10))
	b.add(pourAt(8, 20), "pour.stopped", &events.PourStopped{At: pourAt(8, 20), Planned: true, Reason: "day's end"})
	a := b.assess(pourAt(8, 21))
	require.NotEmpty(t, a.Fronts)
	for _, f := range a.Fronts {
		require.Zero(t, f.Deadline)
		require.Zero(t, f.BatchBy)
		require.Positive(t, f.NowM)
	}
}

// A yes of the running vibrator gives 15 minutes where it was felt, and nowhere else.
func TestFeltGivesTimeOnlyWhereItWasFelt(t *testing.T) {
	b := laidOut(events.WallLaidOut{LengthM: new(6.0), HeightM: new(3.0), CoreMM: new(150.0)})
	b.lift(0, 6, 0.6, pourAt(8, 0), pourAt(8, 0))
	b.add(pourAt(10, 0), "joint.felt", &events.JointFelt{FromM: new(2.0), ToM: new(4.0), At: pourAt(10, 0), Sinks: new(true)})
	a := b.assess(pourAt(10, 1))
	require.Len(t, a.Fronts, 3)
	require.Equal(t, []time.Time{pourAt(10, 30), pourAt(10, 45), pourAt(10, 30)}, []time.Time{a.Fronts[0].Deadline, a.Fronts[1].Deadline, a.Fronts[2].Deadline})
	require.Equal(t, []float64{0, 2, 4}, []float64{a.Fronts[0].FromM, a.Fronts[1].FromM, a.Fronts[2].FromM})
	require.Equal(t, pourAt(10, 30), a.Joints[0].Deadline)
}

// Above a window the lintel waits from its head on; what was declared low waits
// for nothing.
func TestFrontsAboutOpeningsAndLowStretches(t *testing.T) {
	b := laidOut(events.WallLaidOut{LengthM: new(10.0), HeightM: new(3.0), CoreMM: new(150.0),
		Openings: []events.Opening{{FromM: new(4.0), ToM: new(6.0), SillM: new(0.9), HeadM: new(2.1)}}})
	b.lift(0, 10, 0.9, pourAt(8, 0), pourAt(8, 0))
	b.add(pourAt(8, 5), "stretch.left-low", &events.StretchLeftLow{FromM: new(6.0), ToM: new(10.0), TopM: new(0.9), Reason: "step"})
	a := b.assess(pourAt(8, 6))
	require.Len(t, a.Fronts, 2)
	require.Equal(t, []float64{0, 4, 0.9, 3}, []float64{a.Fronts[0].FromM, a.Fronts[0].ToM, a.Fronts[0].TopM, a.Fronts[0].EndM})
	require.Equal(t, []float64{4, 6, 2.1, 3}, []float64{a.Fronts[1].FromM, a.Fronts[1].ToM, a.Fronts[1].TopM, a.Fronts[1].EndM})
	require.Zero(t, a.Fronts[1].Deadline, "nothing lies under the lintel")
	require.InDelta(t, 0.3, a.Fronts[1].NowM, 1e-9, "0.9 m rose below the window in this hour")
	require.InDelta(t, 0.15*(4*2.1+2*0.9), a.Take.ToGoM3, 1e-3)
}

// NUMBERS 6b: 10 °C, 1.2 m/h, 41.1 kPa; with a retarder (Cc 1.2) 49.3; ACI 347,
// constants from memory. The wall is 2.4 m high, so the head of 57.6 is above both.
func TestThePressureOnTheFormIsThatOfACI347(t *testing.T) {
	for _, c := range []struct {
		retarder bool
		kPa      float64
	}{{false, 41.1}, {true, 49.3}} {
		b := laidOut(events.WallLaidOut{LengthM: new(6.0), HeightM: new(2.4), CoreMM: new(150.0), Mix: "w30", RatedKPa: new(45.0)})
		b.signed(pourAt(6, 0), "mix.approved", &events.MixApproved{Mix: "w30", Binder: "portland", Retarder: &c.retarder})
		b.add(pourAt(7, 58), "load.arrived", &events.LoadArrived{Load: "l1", At: pourAt(7, 58), SlumpMM: new(150.0), Celsius: new(10.0)})
		for i := range 4 {
			began := pourAt(8, 0).Add(time.Duration(i) * 30 * time.Minute)
			from, to, top := 0.0, 6.0, 0.6*float64(i+1)
			b.add(began, "lift.placed", &events.LiftPlaced{FromM: &from, ToM: &to, TopM: &top, Began: began, Ended: began, Load: "l1", Vibrated: new(true)})
		}
		a := b.assess(pourAt(9, 31))
		require.InDelta(t, 1.2, a.Pressure.RateMPH, 1e-9)
		require.InDelta(t, c.kPa, a.Pressure.KPa, 0.05)
		require.InDelta(t, 57.6, a.Pressure.HeadKPa, 1e-9)
		require.Equal(t, c.kPa > 45, len(alertsOf(a, scheduler.AlertPressureHigh)) == 1)
		require.Len(t, a.Pressure.Levels, 3)
		require.InDelta(t, 2.4-c.kPa/24, a.Pressure.Levels[1].HeightM, 0.01)
	}
}

// Form faces at a constant temperature: BS 8110-1:1997 Table 6.2, vertical faces
// (from memory), to the quarter of an hour at which the wall is read.
func TestFacesAreOldEnoughWhenTheTableSays(t *testing.T) {
	for _, c := range []struct {
		celsius float64
		hours   float64
	}{{1, 27.27}, {5, 20}, {7, 18}, {10, 15}, {15, 12}, {16, 12}, {20, 12}, {24, 12}, {30, 12}} {
		table, err := concrete.BS8110Hours(concrete.VerticalFaces, c.celsius)
		require.NoError(t, err)
		require.InDelta(t, c.hours, table, 0.01)
		b := laidOut(events.WallLaidOut{LengthM: new(6.0), HeightM: new(2.4), CoreMM: new(150.0), Form: "steel"})
		b.lift(0, 6, 2.4, pourAt(8, 0), pourAt(8, 0))
		b.add(pourAt(8, 1), "pour.finished", &events.Moment{At: pourAt(8, 1)})
		for i := range 130 {
			at := pourAt(8, 0).Add(time.Duration(i) * 15 * time.Minute)
			b.add(at, "temperature.read", &events.TemperatureRead{Place: "top", Probe: "t", At: at, Celsius: &c.celsius})
		}
		a := b.assess(pourAt(8, 0).Add(32 * time.Hour))
		require.Len(t, a.Faces, 2)
		for _, f := range a.Faces {
			require.InDelta(t, table, f.MetAt.Sub(pourAt(8, 0)).Hours(), 1.0/60, "%v °C", c.celsius)
		}
	}
}

// A freeze begins the count again.
func TestAFrozenFaceBeginsAgain(t *testing.T) {
	b := laidOut(events.WallLaidOut{LengthM: new(6.0), HeightM: new(2.4), CoreMM: new(150.0), Form: "steel"})
	b.lift(0, 6, 2.4, pourAt(8, 0), pourAt(8, 0))
	for i := range 130 {
		at, c := pourAt(8, 0).Add(time.Duration(i)*15*time.Minute), 15.0
		if i == 16 {
			c = -0.1 // at 12:00
		}
		b.add(at, "temperature.read", &events.TemperatureRead{Place: "top", Probe: "t", At: at, Celsius: &c})
	}
	a := b.assess(pourAt(8, 0).Add(32 * time.Hour))
	require.GreaterOrEqual(t, a.Faces[0].MetAt, pourAt(12, 0).Add(12*time.Hour))
	require.Contains(t, a.Faces[0].Waits, scheduler.Frost)
}

// The least of what is known of the loads counts: the coldest, the wettest, and a
// load into which water was put without a slump measured is of unknown slump.
func TestWhatPressesIsTheWorstOfTheLoads(t *testing.T) {
	b := laidOut(events.WallLaidOut{LengthM: new(6.0), HeightM: new(2.4), CoreMM: new(150.0), Mix: "w30", RatedKPa: new(40.0)})
	b.signed(pourAt(6, 0), "mix.approved", &events.MixApproved{Mix: "w30", Binder: "portland", Retarder: new(false), SlumpMM: new(120.0)})
	by := func() string { return b.assess(pourAt(7, 59)).Fronts[0].RiseBy }
	require.Equal(t, string(concrete.FormulaACIFirst), by(), "5 °C is taken for what nobody measured: 0.95 m/h")
	require.InDelta(t, 0.95, b.assess(pourAt(7, 59)).Fronts[0].NowM, 0.005)
	for i, c := range []struct {
		arrived events.LoadArrived
		now     float64 // NUMBERS 6b, inverse: 40 kPa 1.37 at 15 °C, 1.16 at 10 °C
	}{
		{events.LoadArrived{Celsius: new(15.0), SlumpMM: new(150.0)}, 1.2},
		{events.LoadArrived{Celsius: new(10.0), SlumpMM: new(150.0)}, 1.16},
		{events.LoadArrived{Celsius: new(12.0)}, 1.16},                   // of the mix's slump
		{events.LoadArrived{Celsius: new(12.0), WaterL: new(20.0)}, 1.2}, // full head: 1.67 m of it, the site's 1.2
	} {
		c.arrived.Load, c.arrived.At = fmt.Sprint("l", i), pourAt(7, 50)
		b.add(pourAt(7, 50), "load.arrived", &c.arrived)
		require.InDelta(t, c.now, b.assess(pourAt(7, 59)).Fronts[0].NowM, 0.005, "load %d", i)
	}
	require.Equal(t, string(concrete.FormulaFullHead), by())
}

// An order is a promise, a load on the road a truck, and one on site concrete:
// each can be placed so much later.
func TestWhenTheNextLoadCanBePlaced(t *testing.T) {
	ordered := func(expected time.Time) func(*book) {
		return func(b *book) {
			b.add(pourAt(8, 1), "load.ordered", &events.LoadOrdered{Load: "x", VolumeM3: new(5.0), Expected: expected})
		}
	}
	batched := func(at time.Time) func(*book) {
		return func(b *book) {
			b.add(at.Add(time.Minute), "load.batched", &events.LoadBatched{Load: "x", At: at})
		}
	}
	arrived := func(b *book) {
		b.add(pourAt(9, 0), "load.arrived", &events.LoadArrived{Load: "x", At: pourAt(9, 0)})
	}
	// The joint closes at 10:30. Travel is 30 minutes, and 5 are needed on site.
	for name, c := range map[string]struct {
		with []func(*book)
		at   time.Time // from when it is at risk
	}{
		"ordered without a time":        {[]func(*book){ordered(time.Time{})}, pourAt(9, 55)},
		"expected in time":              {[]func(*book){ordered(pourAt(10, 0))}, pourAt(9, 55)},
		"expected too late":             {[]func(*book){ordered(pourAt(10, 25))}, pourAt(8, 1)},
		"on the road":                   {[]func(*book){ordered(time.Time{}), batched(pourAt(9, 40))}, pourAt(10, 25)},
		"on the road, batched too late": {[]func(*book){ordered(time.Time{}), batched(pourAt(9, 56))}, pourAt(9, 55)},
		"on site until it is too old":   {[]func(*book){ordered(time.Time{}), batched(pourAt(8, 35)), arrived}, pourAt(10, 5)},
		"on site, nobody knows how old": {[]func(*book){arrived}, pourAt(10, 0)},
		"on site, and too old at 09:30": {[]func(*book){batched(pourAt(8, 0)), arrived}, pourAt(9, 30)},
	} {
		b := laidOut(events.WallLaidOut{LengthM: new(6.0), HeightM: new(3.0), CoreMM: new(150.0)})
		b.add(pourAt(7, 50), "load.batched", &events.LoadBatched{Load: "l0", At: pourAt(7, 40)})
		from, to, top := 0.0, 6.0, 0.6
		b.add(pourAt(8, 0), "lift.placed", &events.LiftPlaced{FromM: &from, ToM: &to, TopM: &top, Began: pourAt(8, 0), Ended: pourAt(8, 0), Load: "l0", Vibrated: new(true)})
		b.add(pourAt(8, 0), "load.discharged", &events.LoadDischarged{Load: "l0", Ended: pourAt(8, 0)})
		for _, add := range c.with {
			add(b)
		}
		latest := pourAt(8, 2)
		for _, f := range b.facts {
			if f.Time.After(latest) && f.Kind != "temperature.read" {
				latest = f.Time
			}
		}
		first := time.Time{}
		for at := latest; at.Before(pourAt(10, 30)) && first.IsZero(); at = at.Add(time.Minute) {
			if len(alertsOf(b.assess(at), scheduler.AlertJointAtRisk)) > 0 {
				first = at
			}
		}
		require.Equal(t, later(c.at, latest), first, name)
		require.Empty(t, alertsOf(b.assess(pourAt(10, 30)), scheduler.AlertJointAtRisk), name)
	}
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}
