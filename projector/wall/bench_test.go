package wall_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/wall"
)

// longPour is a closed wall of 40 m placed in many short lifts, one after the other.
func longPour(b require.TestingT, lifts int) []wall.Fact {
	core := 150.0
	facts := []wall.Fact{benchFact(b, 1, pourDay, "wall.laid-out", &events.WallLaidOut{LengthM: metresOf(40000), HeightM: metresOf(15000), CoreMM: &core, Closed: true})}
	for i := range lifts {
		facts = append(facts, shortLift(b, i))
	}
	return facts
}

func shortLift(b require.TestingT, i int) wall.Fact {
	from, at := i%80*500, pourDay.Add(time.Duration(i+1)*time.Minute)
	return benchFact(b, uint64(i+2), at, "lift.placed", &events.LiftPlaced{FromM: metresOf(from), ToM: metresOf(from + 500), DepthM: metresOf(200), Began: at.Add(-time.Minute), Ended: at})
}

func benchFact(b require.TestingT, n uint64, at time.Time, kind events.Kind, d events.Data) wall.Fact {
	e := events.Event{ID: fmt.Sprintf("e-%06d", n), Source: events.Source{Site: "north", Device: "phone-1"}, Kind: kind, Wall: "w1", Time: at, Sequence: n, HasOffset: true, Data: d}
	require.NoError(b, e.Check())
	return wall.Fact{Event: e, Seq: n, Recorded: at}
}

// BenchmarkOneMoreLift folds one more lift on a wall that holds a few and on one
// that holds many: the two figures of one run are to be compared.
func BenchmarkOneMoreLift(b *testing.B) {
	for _, lifts := range []int{50, 500, 5000} {
		b.Run(fmt.Sprint("on ", lifts), func(b *testing.B) {
			facts := longPour(b, lifts+1000)
			for b.Loop() {
				b.StopTimer()
				s := wall.New("north", "w1")
				s.Add(facts[:lifts+1]...)
				b.StartTimer()
				for _, f := range facts[lifts+1:] {
					s.Add(f)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/1000, "µs/lift")
		})
	}
}

// BenchmarkFoldWhole folds a whole wall at once, as when an entry comes late.
func BenchmarkFoldWhole(b *testing.B) {
	for _, lifts := range []int{50, 5000} {
		b.Run(fmt.Sprint(lifts, " lifts"), func(b *testing.B) {
			facts := longPour(b, lifts)
			for b.Loop() {
				wall.New("north", "w1").Add(facts...)
			}
		})
	}
}
