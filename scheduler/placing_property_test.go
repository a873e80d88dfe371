package scheduler_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

var pourDay = time.Date(2026, 5, 4, 7, 0, 0, 0, time.UTC)

// drawPour lays out a wall and places some of it, and says when it is looked at.
func drawPour(t *rapid.T) (*book, time.Time) {
	b := newBook()
	b.add(pourDay, "site.opened", &events.SiteOpened{Name: "S", Zone: "Europe/London"})
	b.signed(pourDay.Add(time.Minute), "mix.approved", &events.MixApproved{Mix: "w30", Binder: rapid.SampledFrom([]string{"portland", "unknown"}).Draw(t, "binder"), Retarder: new(false)})
	length := float64(rapid.IntRange(4, 30).Draw(t, "length"))
	laid := &events.WallLaidOut{LengthM: &length, HeightM: new(3.0), CoreMM: new(200.0), Closed: rapid.Bool().Draw(t, "closed"), Mix: "w30", Form: "plywood"}
	if rapid.Bool().Draw(t, "rated") {
		laid.RatedKPa = new(float64(rapid.IntRange(20, 70).Draw(t, "kPa")))
	}
	if length > 8 && rapid.Bool().Draw(t, "opening") {
		laid.Openings = []events.Opening{{FromM: new(3.0), ToM: new(4.5), SillM: new(0.9), HeadM: new(2.1), Name: "n-1"}}
	}
	b.add(pourDay.Add(2*time.Minute), "wall.laid-out", laid)
	if rapid.Bool().Draw(t, "air read") {
		drawAir(t, b)
	}
	clock := pourDay.Add(30 * time.Minute)
	for i := range rapid.IntRange(0, 8).Draw(t, "lifts") {
		clock = drawEntry(t, b, clock, length, fmt.Sprint("l", i))
	}
	return b, clock.Add(time.Duration(rapid.IntRange(1, 180).Draw(t, "after")) * time.Minute)
}

// drawAir has the air read every half hour all day.
func drawAir(t *rapid.T, b *book) {
	celsius := float64(rapid.IntRange(-5, 24).Draw(t, "air"))
	for i := range 40 {
		at := pourDay.Add(time.Duration(i)*30*time.Minute - 2*time.Hour)
		b.onSite(at, "temperature.read", &events.TemperatureRead{Place: "air", At: at, Celsius: &celsius})
	}
}

// drawEntry lets a load come, or places a lift, some time on.
func drawEntry(t *rapid.T, b *book, clock time.Time, length float64, load string) time.Time {
	began := clock.Add(time.Duration(rapid.IntRange(0, 70).Draw(t, "wait")) * time.Minute)
	ended := began.Add(time.Duration(rapid.IntRange(0, 40).Draw(t, "took")) * time.Minute)
	l := &events.LiftPlaced{FromM: new(float64(rapid.IntRange(0, int(length)).Draw(t, "from"))), ToM: new(float64(rapid.IntRange(0, int(length)).Draw(t, "to"))),
		DepthM: new(float64(rapid.IntRange(1, 12).Draw(t, "dm")) / 10), Began: began, Ended: ended}
	if *l.FromM == *l.ToM {
		*l.FromM, *l.ToM = 0, length
	}
	switch rapid.IntRange(0, 3).Draw(t, "load") {
	case 0:
		b.add(began, "load.batched", &events.LoadBatched{Load: load, At: began.Add(-time.Duration(rapid.IntRange(5, 45).Draw(t, "age")) * time.Minute)})
		b.add(began, "load.arrived", &events.LoadArrived{Load: load, SlumpMM: new(float64(rapid.IntRange(100, 200).Draw(t, "slump"))), Celsius: new(float64(rapid.IntRange(5, 30).Draw(t, "celsius")))})
		l.Load = load
	case 1:
		b.add(began, "load.ordered", &events.LoadOrdered{Load: load + "-x", Expected: ended.Add(time.Duration(rapid.IntRange(0, 200).Draw(t, "expected")) * time.Minute), VolumeM3: new(5.0)})
	}
	b.add(ended, "lift.placed", l)
	return ended
}

// What the page says may be placed here now never makes the wall rise over the
// site's limit in any 60 minutes, and never loads the form over its rating if it
// was within it.
func TestPropertyNowIsNeverTooMuch(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b, now := drawPour(rt)
		a := b.assess(now)
		if len(a.Fronts) == 0 {
			return
		}
		f := a.Fronts[rapid.IntRange(0, len(a.Fronts)-1).Draw(rt, "front")]
		if f.NowM < 0.01 {
			return
		}
		wait := time.Duration(rapid.IntRange(0, 30).Draw(rt, "later")) * time.Minute
		at := now.Add(wait)
		was := b.assess(at).Pressure
		top := f.TopM + f.NowM
		load := "" // of the load before: what is known of it is known of this
		if n := len(b.wall.Pour.Lifts); n > 0 {
			load = b.wall.Pour.Lifts[n-1].Load
		}
		b.add(at, "lift.placed", &events.LiftPlaced{FromM: &f.FromM, ToM: &f.ToM, TopM: &top, Began: at, Ended: at, Load: load})
		last := b.wall.Pour.Lifts[len(b.wall.Pour.Lifts)-1]
		require.LessOrEqual(rt, last.Rise, 1200, "front %+v", f)
		is := b.assess(at.Add(time.Second)).Pressure
		if is.RatedKPa > 0 && was.KPa <= is.RatedKPa {
			require.LessOrEqual(rt, is.KPa, is.RatedKPa+0.005, "front %+v: %+v", f, is)
		}
	})
}

// A full lift may really be placed when the page says so.
func TestPropertyAFullLiftMayComeWhenItIsSaid(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b, now := drawPour(rt)
		for _, f := range b.assess(now).Fronts {
			if f.FullFrom.IsZero() {
				continue
			}
			for _, g := range b.assess(f.FullFrom.Add(time.Second)).Fronts {
				if g.TopM == f.TopM && g.FromM < f.ToM && f.FromM < g.ToM && g.FromM >= f.FromM && g.ToM <= f.ToM {
					require.GreaterOrEqual(rt, g.NowM, f.FullM-1e-9, "at %s: %+v", f.FullFrom, g)
				}
			}
		}
	})
}

// deadlines are those of the fronts, by station in decimetres: the earliest.
func deadlines(a scheduler.Assessment) map[int]time.Time {
	out := map[int]time.Time{}
	for _, f := range a.Fronts {
		for at := int(math.Ceil(f.FromM * 10)); float64(at) <= f.ToM*10; at++ {
			if old, seen := out[at]; !f.Deadline.IsZero() && (!seen || f.Deadline.Before(old)) {
				out[at] = f.Deadline
			}
		}
	}
	return out
}

// Heat, doubt and time alone never lengthen a front's deadline.
func TestPropertyNoDeadlineLengthensWithDoubtOrHeat(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b, now := drawPour(rt)
		before := deadlines(b.assess(now))
		worse := b.copy()
		switch rapid.IntRange(0, 5).Draw(rt, "what") {
		case 0: // at least as hot as nothing known is taken to be
			worse.add(now, "temperature.read", &events.TemperatureRead{Place: "air", At: now.Add(-time.Duration(rapid.IntRange(0, 200).Draw(rt, "back")) * time.Minute), Celsius: new(float64(rapid.IntRange(30, 45).Draw(rt, "hotter")))})
		case 1:
			worse.add(now, "temperature.read", &events.TemperatureRead{Place: "core", At: now, Celsius: new(float64(rapid.IntRange(5, 60).Draw(rt, "core")))})
		case 2:
			worse = b.without("load.batched") // a load of unknown age; those drawn are under 90 minutes old
		case 3: // clocks that nobody checked, and entries that came late
			worse = b.doubtful(func(f *wall.Fact) { f.HasOffset, f.Recorded = false, f.Recorded.Add(30*time.Minute) })
		case 4: // entered long after: remembered
			worse = b.doubtful(func(f *wall.Fact) {
				if f.Kind == "lift.placed" {
					f.Time, f.Recorded = f.Time.Add(20*time.Minute), f.Recorded.Add(20*time.Minute)
				}
			})
		case 5:
			now = now.Add(time.Duration(rapid.IntRange(0, 240).Draw(rt, "later")) * time.Minute)
		}
		after := deadlines(worse.assess(now))
		for at, was := range before {
			if is, stands := after[at]; stands {
				require.False(rt, is.After(was), "at %.1f m: %s, before %s", float64(at)/10, is, was)
			}
		}
	})
}

// doubtful is the book with what the stream says of its entries changed.
func (b *book) doubtful(change func(*wall.Fact)) *book {
	c := newBook()
	for _, f := range b.facts {
		change(&f)
		c.devices.Add(f)
		if f.Wall == "" {
			c.site.Add(f)
		} else {
			c.wall.Add(f)
		}
	}
	return c
}

// without is the book with the entries of a kind left out.
func (b *book) without(kind events.Kind) *book {
	c := newBook()
	for _, f := range b.facts {
		if f.Kind != kind {
			c.seq = f.Seq
			c.take(f.Event, f.Recorded.Add(-time.Second))
		}
	}
	return c
}

// The earliest deadline of a lift's fronts is that of its joint.
func TestPropertyFrontsAndJointsAgree(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b, now := drawPour(rt)
		a := b.assess(now)
		for _, j := range a.Joints {
			if j.State == scheduler.JointCold || j.Nose() {
				continue
			}
			var first time.Time
			for _, f := range a.Fronts {
				if f.TopM == j.TopM && f.FromM >= j.FromM && f.ToM <= j.ToM && !f.Deadline.IsZero() && (first.IsZero() || f.Deadline.Before(first)) {
					first = f.Deadline
				}
			}
			require.Equal(rt, j.Deadline, first, "joint %+v", j)
		}
	})
}

// Until the moment that an assessment names as its next, time alone changes no
// alert and no open point.
func TestPropertyNothingChangesBeforeNext(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b, now := drawPour(rt)
		drawWorks(rt, b, now)
		now = now.Add(time.Duration(rapid.IntRange(0, 600).Draw(rt, "then")) * time.Minute)
		a := b.assess(now)
		for _, x := range a.Alerts {
			requireSayable(rt, x)
		}
		ahead := 36 * time.Hour
		if !a.Next.IsZero() {
			ahead = min(ahead, a.Next.Sub(now))
		}
		if ahead < 2*time.Millisecond {
			return
		}
		at := now.Add(time.Duration(rapid.Int64Range(1, ahead.Milliseconds()-1).Draw(rt, "at")) * time.Millisecond)
		z := b.assess(at)
		require.Equal(rt, causes(a), causes(z), "from %s to %s, next %s: %+v then %+v", now, at, a.Next, a.Joints, z.Joints)
		require.Equal(rt, a.Open, z.Open, "from %s to %s, next %s", now, at, a.Next)
		require.Equal(rt, faceStates(a), faceStates(z), "from %s to %s, next %s", now, at, a.Next)
	})
}

func faceStates(a scheduler.Assessment) (out []string) {
	for _, f := range a.Faces {
		out = append(out, f.Face+" "+f.State+" waits for "+f.Waits)
	}
	return out
}

// drawWorks enters some of what else is done about a wall.
func drawWorks(t *rapid.T, b *book, now time.Time) {
	works := []struct {
		kind events.Kind
		data events.Data
	}{
		{"line.read", &events.LineRead{When: "after", At: now, Points: []events.LinePoint{{AtM: new(0.0), OffMM: new(0.0)}, {AtM: new(2.0), OffMM: new(9.0)}}}},
		{"line.corrected", &events.Moment{At: now}},
		{"pour.stopped", &events.PourStopped{At: now, AtM: new(2.0), Reason: "pump"}},
		{"lift.consolidated", &events.LiftConsolidated{FromM: new(0.0), ToM: new(3.0), At: now, Vibrated: new(false)}},
		{"brace.set", &events.BraceSet{At: now, Braces: []events.BracePlan{{Name: "b1", AtM: new(1.0)}, {Name: "b2", AtM: new(2.5)}}}},
		{"brace.disturbed", &events.BraceDisturbed{At: now, Cause: "knocked"}},
		{"temperature.read", &events.TemperatureRead{Place: "top", At: now, Celsius: new(15.0)}},
		{"pour.finished", &events.Moment{At: now}},
		{"form.stripped", &events.FormStripped{At: now, Face: "inner"}},
		{"backfill.placed", &events.Moment{At: now}},
	}
	for _, w := range works {
		if rapid.Bool().Draw(t, string(w.kind)) {
			b.add(now, w.kind, w.data)
		}
	}
	if rapid.Bool().Draw(t, "forecast") {
		f := &events.WeatherForecast{Issued: now}
		for i := range 30 {
			f.Hours = append(f.Hours, events.ForecastHour{At: now.Truncate(time.Hour).Add(time.Duration(i) * time.Hour), Celsius: new(float64(10 + i%12))})
		}
		b.add(now, "weather.forecast", f)
	}
}

func causes(a scheduler.Assessment) (out []string) {
	for _, x := range a.Alerts {
		out = append(out, x.Kind+" ["+x.Cause+"]")
	}
	for _, x := range a.Nearing {
		out = append(out, "near "+x.Kind+" ["+x.Cause+"]")
	}
	return out
}
