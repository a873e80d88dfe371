package wall_test

import (
	"fmt"
	"testing"
	"time"

	"earlyage/events"
	"earlyage/projector/wall"
)

// benchFact is one event of a device whose clock is right, as it is recorded.
func benchFact(n uint64, at time.Time, kind events.Kind, data events.Data) wall.Fact {
	return wall.Fact{Seq: n, Recorded: at, Event: events.Event{ID: fmt.Sprintf("e-%06d", n), Source: events.Source{Site: "north", Device: "phone-1"},
		Kind: kind, Wall: "w1", Time: at, Sequence: n, HasOffset: true, Data: data}}
}

// BenchmarkFoldReading puts one more series of 15 minutes in, one reading each five,
// on a wall that has been read for so many days: the ratio of the two is to be near 1.
func BenchmarkFoldReading(b *testing.B) {
	for _, days := range []int{1, 30} {
		b.Run(fmt.Sprint(days, " days old"), func(b *testing.B) {
			s, at, n := wall.New("north", "w1"), pourDay, uint64(1)
			series := func() wall.Fact {
				d := &events.TemperatureRead{Place: "top"}
				for range 3 {
					at = at.Add(5 * time.Minute)
					d.Series = append(d.Series, events.TimedTemperature{At: at, Celsius: new(15 + float64(n%7))})
				}
				n++
				return benchFact(n, at, "temperature.read", d)
			}
			s.Add(benchFact(1, at, "wall.laid-out", &events.WallLaidOut{LengthM: new(6.0), HeightM: new(2.4), CoreMM: new(200.0)}))
			for range days * 96 {
				s.Add(series())
			}
			s.Dirty()
			b.ReportAllocs()
			for b.Loop() {
				s.Add(series())
				s.Dirty()
			}
		})
	}
}

// BenchmarkFoldLift puts one more lift on a wall of so many, behind the rest and
// before them.
func BenchmarkFoldLift(b *testing.B) {
	for _, lifts := range []int{50, 5000} {
		for _, late := range []bool{false, true} {
			name := fmt.Sprint(lifts, " lifts")
			if late {
				name += ", late"
			}
			b.Run(name, func(b *testing.B) {
				s, at, n := wall.New("north", "w1"), pourDay, uint64(1)
				lift := func(at time.Time) wall.Fact {
					n++
					from := float64(n % 100)
					return benchFact(n, at, "lift.placed", &events.LiftPlaced{FromM: new(from), ToM: new(from + 1), DepthM: new(0.02), Began: at.Add(-time.Minute), Ended: at})
				}
				facts := []wall.Fact{benchFact(1, at, "wall.laid-out", &events.WallLaidOut{LengthM: new(101.0), HeightM: new(15.0), CoreMM: new(200.0)})}
				for range lifts {
					at = at.Add(time.Minute)
					facts = append(facts, lift(at))
				}
				s.Add(facts...)
				s.Dirty()
				b.ReportAllocs()
				for b.Loop() {
					at = at.Add(time.Minute)
					if late {
						s.Add(lift(pourDay.Add(time.Second)))
					} else {
						s.Add(lift(at))
					}
					s.Dirty()
				}
			})
		}
	}
}
