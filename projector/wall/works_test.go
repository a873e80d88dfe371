package wall_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/wall"
)

// works is a wall in the making: entries by one device, each recorded at once.
type works struct {
	*wall.State
	seq   uint64
	facts []wall.Fact
}

func newWorks(length float64) *works {
	w := &works{State: wall.New("s", "w")}
	w.add(pourDay, "wall.laid-out", &events.WallLaidOut{LengthM: &length, HeightM: new(3.0), CoreMM: new(150.0)})
	return w
}

func (w *works) add(at time.Time, kind events.Kind, data events.Data) events.Key {
	w.seq++
	e := events.Event{ID: fmt.Sprint("e", w.seq), Source: events.Source{Site: "s", Device: "d"}, Kind: kind, Wall: "w", Time: at, By: "p-1", Sequence: w.seq, HasOffset: true, Data: data}
	if kind == "record.amended" { // only decoding reads what replaces the data
		body, err := e.Encode()
		if err == nil {
			e, err = events.Decode(e.Subject(), body)
		}
		if err != nil {
			panic(err)
		}
	}
	f := wall.Fact{Event: e, Seq: w.seq, Recorded: at}
	w.facts = append(w.facts, f)
	w.Add(f)
	return f.Key()
}

// target names an entry, for what changes it.
func target(k events.Key) events.Target { return events.Target(k) }

func minutesOn(m int) time.Time { return pourDay.Add(time.Duration(m) * time.Minute) }

// known is what is known of the vibration of one decimetre of one lift.
type known struct{ said, not bool }

// What was said of vibration belongs to the concrete that lay on top when it was
// said: checked by decimetres, lift by lift.
func TestVibrationBelongsToTheConcreteOnTop(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := newWorks(4)
		type lift struct {
			from, to int
			ended    time.Time
			cells    map[int]known
		}
		var lifts []*lift
		clock := pourDay
		for range rapid.IntRange(1, 12).Draw(rt, "entries") {
			clock = clock.Add(time.Duration(rapid.IntRange(1, 50).Draw(rt, "wait")) * time.Minute)
			from := rapid.IntRange(0, 39).Draw(rt, "from")
			to := rapid.IntRange(from+1, 40).Draw(rt, "to")
			if rapid.Bool().Draw(rt, "lift") {
				w.add(clock, "lift.placed", &events.LiftPlaced{FromM: metresOf(100 * from), ToM: metresOf(100 * to), DepthM: new(0.1), Began: clock, Ended: clock})
				lifts = append(lifts, &lift{from, to, clock, map[int]known{}})
				continue
			}
			not := rapid.Bool().Draw(rt, "not")
			w.add(clock, "lift.consolidated", &events.LiftConsolidated{FromM: metresOf(100 * from), ToM: metresOf(100 * to), At: clock, Vibrated: new(!not)})
			for c := from; c < to; c++ {
				for i := len(lifts) - 1; i >= 0; i-- {
					if l := lifts[i]; l.from <= c && c < l.to && clock.Sub(l.ended) <= 5*time.Hour {
						if not || clock.Sub(l.ended) <= time.Hour {
							l.cells[c] = known{true, not}
						}
						break
					}
				}
			}
		}
		for i, l := range lifts {
			got := map[int]known{}
			for _, v := range w.Pour.Lifts[i].Vibration() {
				for c := v.From / 100; c < v.To/100 && v.Known; c++ {
					got[c] = known{true, v.Not}
				}
			}
			require.Equal(rt, l.cells, got, "lift %d", i)
			require.Equal(rt, len(l.cells) < l.to-l.from, w.Pour.Lifts[i].Unsaid(), "lift %d", i)
		}
		again := wall.New("s", "w") // all at once, in another order
		again.Add(rapid.Permutation(w.facts).Draw(rt, "order")...)
		for i := range lifts {
			require.Equal(rt, w.Pour.Lifts[i].Said, again.Pour.Lifts[i].Said, "lift %d in another order", i)
		}
	})
}

func TestALiftThatSaysItselfWhetherItWasVibrated(t *testing.T) {
	w := newWorks(4)
	place := func(m int, vibrated *bool, topUp bool) *wall.Lift {
		w.add(minutesOn(m), "lift.placed", &events.LiftPlaced{FromM: new(0.0), ToM: new(4.0), DepthM: new(0.1), Began: minutesOn(m), Ended: minutesOn(m), Vibrated: vibrated, TopUp: topUp})
		return &w.Pour.Lifts[len(w.Pour.Lifts)-1]
	}
	yes := place(10, new(true), false)
	require.False(t, yes.Unsaid())
	require.False(t, yes.Unvibrated())
	no := place(20, new(false), false)
	require.False(t, no.Unsaid())
	require.True(t, no.Unvibrated())
	require.Equal(t, []wall.Vibration{{Span: wall.Span{From: 0, To: 4000}, Known: true, Not: true}}, no.Vibration())
	w.add(minutesOn(30), "lift.consolidated", &events.LiftConsolidated{FromM: new(1.0), ToM: new(2.0), At: minutesOn(30)})
	require.Equal(t, []wall.Vibration{
		{Span: wall.Span{From: 0, To: 1000}, Known: true, Not: true},
		{Span: wall.Span{From: 1000, To: 2000}, Known: true, At: minutesOn(30).UnixMilli()},
		{Span: wall.Span{From: 2000, To: 4000}, Known: true, Not: true}}, w.Pour.Lifts[1].Vibration())
	require.True(t, w.Pour.Consolidated[0].OnConcrete)
	require.False(t, place(40, nil, true).Unsaid(), "a top-up is worked in with what lies below it")
	require.True(t, place(50, nil, false).Unsaid())
}

// Until a second person let an amendment count, the worse of its versions does.
func TestOfTwoVersionsTheWorseIsVibrated(t *testing.T) {
	w := newWorks(4)
	lift := w.add(minutesOn(10), "lift.placed", &events.LiftPlaced{FromM: new(0.0), ToM: new(4.0), DepthM: new(0.1), Ended: minutesOn(10), Vibrated: new(false)})
	w.add(minutesOn(20), "record.amended", &events.RecordAmended{Target: target(lift), Kind: "lift.placed", Reason: "it was", Data: []byte(`{"from_m":0,"to_m":4,"depth_m":0.1,"vibrated":true}`)})
	require.True(t, w.Pour.Lifts[0].Unvibrated())
}

// Where the next concrete begins and ends, by hand: a window from 1 to 2 m, sill
// 0.9 m, head 2.1 m; a door from 3 to 4 m, head 2.0 m.
func TestWhereConcreteWaits(t *testing.T) {
	w := &works{State: wall.New("s", "w")}
	w.add(pourDay, "wall.laid-out", &events.WallLaidOut{LengthM: new(5.0), HeightM: new(3.0), TopM: new(2.6), CoreMM: new(150.0), Openings: []events.Opening{
		{FromM: new(1.0), ToM: new(2.0), SillM: new(0.9), HeadM: new(2.1)}, {FromM: new(3.0), ToM: new(4.0), SillM: new(0.0), HeadM: new(2.0)}}})
	type front struct {
		begin, end int
		waits      bool
	}
	at := func(station int) front {
		_, s := w.Pour.At(station)
		begin, end, waits := w.Pour.Waits(*s)
		return front{begin, end, waits}
	}
	require.Equal(t, []front{{0, 2600, true}, {0, 900, true}, {0, 2600, true}, {2000, 2600, true}}, []front{at(500), at(1500), at(2500), at(3500)})
	level := func(top float64, m int) {
		w.add(minutesOn(m), "lift.placed", &events.LiftPlaced{FromM: new(0.0), ToM: new(5.0), TopM: &top, Ended: minutesOn(m)})
	}
	level(0.86, 10) // within 50 mm of the sill: filled
	require.Equal(t, []front{{860, 2600, true}, {2100, 2600, true}, {2000, 2600, true}}, []front{at(500), at(1500), at(3500)})
	level(2.3, 20)
	require.Equal(t, []front{{2300, 2600, true}, {2300, 2600, true}, {2300, 2600, true}}, []front{at(500), at(1500), at(3500)})
	level(2.56, 30)
	require.False(t, at(500).waits, "within 50 mm of the planned top")
}

func TestADeclaredLowStretchWaitsForNothing(t *testing.T) {
	w := newWorks(4)
	w.add(minutesOn(10), "lift.placed", &events.LiftPlaced{FromM: new(0.0), ToM: new(4.0), TopM: new(1.0), Ended: minutesOn(10)})
	w.add(minutesOn(20), "stretch.left-low", &events.StretchLeftLow{FromM: new(0.0), ToM: new(4.0), TopM: new(1.4), Reason: "step"})
	_, _, waits := w.Pour.Waits(w.Pour.Stretches[0])
	require.True(t, waits, "it stands at 1.0 m and was to be left at 1.4 m")
	w.add(minutesOn(30), "lift.placed", &events.LiftPlaced{FromM: new(0.0), ToM: new(4.0), TopM: new(1.36), Ended: minutesOn(30)})
	_, _, waits = w.Pour.Waits(w.Pour.Stretches[0])
	require.False(t, waits)
}

func TestStretchesAtAStation(t *testing.T) {
	w := newWorks(4)
	w.add(minutesOn(10), "lift.placed", &events.LiftPlaced{FromM: new(1.0), ToM: new(2.0), TopM: new(1.0), Ended: minutesOn(10)})
	names := func(at int) string {
		before, after := w.Pour.At(at)
		name := func(s *wall.Stretch) string {
			if s == nil {
				return "-"
			}
			return fmt.Sprintf("%d", s.From)
		}
		return name(before) + " " + name(after)
	}
	require.Equal(t, []string{"- 0", "0 0", "0 1000", "1000 1000", "1000 2000", "2000 -"}, []string{names(0), names(999), names(1000), names(1999), names(2000), names(4000)})
	require.Len(t, w.Pour.Over(0, 4000), 3)
	require.Len(t, w.Pour.Over(0, 2000), 2)
	require.Len(t, w.Pour.Over(500, 2500), 1)
	require.Empty(t, w.Pour.Over(1200, 1800))
}

// An answer that waits for a second person counts at its worst.
func TestAnAnswerInDoubtIsNone(t *testing.T) {
	w := newWorks(4)
	item := wall.CheckItem{List: "before", Item: "form-plumb"}
	key := w.add(minutesOn(1), "check.answered", &events.CheckAnswered{List: "before", Item: "form-plumb", Answer: "yes", Value: new(5.5), Note: "by level"})
	require.Equal(t, wall.Answer{Answer: "yes", Lo: 5500, Hi: 5500, Valued: true, By: "p-1", At: minutesOn(1).UnixMilli(), Note: "by level"}, w.Holding.Checks[item])
	w.add(minutesOn(2), "record.amended", &events.RecordAmended{Target: target(key), Kind: "check.answered", Reason: "misread", Data: []byte(`{"list":"before","item":"form-plumb","answer":"yes","value":8}`)})
	a := w.Holding.Checks[item]
	require.Equal(t, []any{"yes", int64(5500), int64(8000)}, []any{a.Answer, a.Lo, a.Hi})
	w.add(minutesOn(3), "record.voided", &events.RecordVoided{Target: target(key), Reason: "another wall"})
	require.Empty(t, w.Holding.Checks[item].Answer)
}

func TestANoIsNotTakenBackByOne(t *testing.T) {
	w := newWorks(4)
	key := w.add(minutesOn(1), "check.answered", &events.CheckAnswered{List: "before", Item: "form-plumb", Answer: "no"})
	w.add(minutesOn(2), "record.voided", &events.RecordVoided{Target: target(key), Reason: "x"})
	require.Equal(t, "no", w.Holding.Checks[wall.CheckItem{List: "before", Item: "form-plumb"}].Answer)
}

func TestWhatAPersonSaw(t *testing.T) {
	w := newWorks(4)
	w.add(minutesOn(1), "concrete.inspected", &events.ConcreteInspected{Finding: "sound", FromM: new(3.0), ToM: new(1.0)})
	w.add(minutesOn(2), "concrete.inspected", &events.ConcreteInspected{Finding: "honeycomb", FromM: new(2.0)})
	w.add(minutesOn(3), "concrete.inspected", &events.ConcreteInspected{Finding: "crack"})
	seen := w.Holding.Seen
	require.Equal(t, []bool{true, false, true}, []bool{seen[0].Covers(1000, 3000), seen[0].Covers(900, 3000), seen[0].Covers(1500, 2000)})
	require.Equal(t, []bool{true, false}, []bool{seen[1].Covers(2000, 2000), seen[1].Covers(1999, 2000)})
	require.True(t, seen[2].Covers(0, 4000), "no station: the whole wall")
	key := w.add(minutesOn(4), "concrete.inspected", &events.ConcreteInspected{Finding: "sound", FromM: new(0.0), ToM: new(1.0)})
	w.add(minutesOn(5), "record.amended", &events.RecordAmended{Target: target(key), Kind: "concrete.inspected", Reason: "x", Data: []byte(`{"finding":"sound","from_m":2,"to_m":4}`)})
	require.Len(t, w.Holding.Seen, 3, "two versions that share no station saw nothing")
}

func TestWhichFaceCarriesTheBraces(t *testing.T) {
	lay := func(w *works, face string) {
		w.add(minutesOn(int(w.seq)), "wall.laid-out", &events.WallLaidOut{LengthM: new(4.0), HeightM: new(3.0), CoreMM: new(150.0), BraceFace: face})
	}
	w := &works{State: wall.New("s", "w")}
	lay(w, "")
	require.Equal(t, "both", w.Holding.BraceFace)
	w = &works{State: wall.New("s", "w")}
	lay(w, "outer")
	require.Equal(t, "outer", w.Holding.BraceFace)
	lay(w, "inner")
	require.Equal(t, "both", w.Holding.BraceFace, "the second layout waits for a second person")
}

func TestOfAVibratorTheLeastCounts(t *testing.T) {
	w := newWorks(4)
	key := w.add(minutesOn(1), "vibrator.declared", &events.VibratorDeclared{HeadMM: new(50.0), RadiusMM: new(250.0), Count: 2})
	require.Equal(t, wall.Vibrator{At: minutesOn(1).UnixMilli(), HeadMM: 50, RadiusMM: 250, Count: 2}, w.Holding.Vibrators[0])
	w.add(minutesOn(2), "record.amended", &events.RecordAmended{Target: target(key), Kind: "vibrator.declared", Reason: "x", Data: []byte(`{"head_mm":38}`)})
	require.Equal(t, wall.Vibrator{At: minutesOn(1).UnixMilli(), HeadMM: 38, RadiusMM: 0, Count: 1}, w.Holding.Vibrators[0])
}

// What the loads were measured at: the coldest, the hottest, the last slump.
func TestWhatWasMeasuredOfALoad(t *testing.T) {
	w := newWorks(4)
	w.add(minutesOn(1), "load.arrived", &events.LoadArrived{Load: "l1", At: minutesOn(1), Celsius: new(12.0), SlumpMM: new(150.0), WaterL: new(10.0)})
	w.add(minutesOn(9), "load.discharged", &events.LoadDischarged{Load: "l1", Began: minutesOn(2), Ended: minutesOn(9), Celsius: new(14.0), SlumpMM: new(170.0), WaterL: new(20.0)})
	y := w.Pour.Loads[0]
	require.Equal(t, []any{int16(1200), int16(1400), 170, int64(20_000), minutesOn(9).UnixMilli(), true}, []any{y.Coldest, y.Centi, y.SlumpMM, y.WaterML, y.MeasuredAt, y.Announced})
	w.add(minutesOn(10), "load.discharged", &events.LoadDischarged{Load: "l2", Ended: minutesOn(10)})
	require.False(t, w.Pour.Loads[1].Announced, "nobody told of it before")
}

func TestTheColdestOfAPlace(t *testing.T) {
	w := newWorks(4)
	at := func(m int, c float64) {
		w.add(minutesOn(m), "temperature.read", &events.TemperatureRead{Place: "air", At: minutesOn(m), Celsius: &c})
	}
	at(0, 9)
	at(10, 7.5)
	at(20, 8)
	got := func(from, to int) []any {
		c, ok := w.Readings.Coldest("air", minutesOn(from).UnixMilli(), minutesOn(to).UnixMilli())
		return []any{c, ok}
	}
	require.Equal(t, []any{int16(750), true}, got(0, 20))
	require.Equal(t, []any{int16(800), true}, got(11, 30))
	require.Equal(t, []any{int16(0), false}, got(21, 30))
	w.add(minutesOn(60), "temperature.read", &events.TemperatureRead{Place: "air", Probe: "mm", Instrument: "min-max", From: minutesOn(30), To: minutesOn(60), MinC: new(3.0), MaxC: new(9.0)})
	require.Equal(t, []any{int16(300), true}, got(40, 45))
}
