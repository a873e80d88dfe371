package picture_test

import (
	"math"
	"strconv"
	"time"

	"earlyage/cmd/earlyage/internal/picture"
)

// The invented walls that are drawn in the tests.

var at = time.Date(2026, 11, 3, 9, 42, 30, 0, time.UTC)

func ago(min float64) time.Time { return at.Add(-time.Duration(min * float64(time.Minute))) }

func ahead(min float64) time.Time { return ago(-min) }

func opening(name string, from, to, sill, head float64) picture.Opening {
	return picture.Opening{Name: name, FromM: from, ToM: to, SillM: sill, HeadM: head}
}

func layer(from, to, bottom, top float64, began, ended time.Time) picture.Layer {
	return picture.Layer{FromM: from, ToM: to, BottomM: bottom, TopM: top, Began: began, Ended: ended}
}

func braces(n int, first, step float64, state func(i int) picture.BraceState) []picture.Brace {
	var out []picture.Brace
	for i := range n {
		out = append(out, picture.Brace{Name: "B" + strconv.Itoa(i+1), AtM: first + step*float64(i), State: state(i)})
	}
	return out
}

func always(s picture.BraceState) func(int) picture.BraceState {
	return func(int) picture.BraceState { return s }
}

// perimeter is a closed wall in the middle of its third pass.
func perimeter() picture.Wall {
	w := picture.Wall{
		Site: "Harbour Road", Name: "North house", State: "placing", At: at, LengthM: 40, Closed: true, FormTopM: 2.75, TopM: 2.65,
		Corners: []picture.Corner{{Name: "C1", AtM: 0}, {Name: "C2", AtM: 12}, {Name: "C3", AtM: 20}, {Name: "C4", AtM: 32}},
		Openings: []picture.Opening{
			opening("D1", 2.2, 3.2, 0, 2.1), opening("W1", 6, 7.8, 0.9, 2.1), opening("W2", 14.5, 16.9, 0.9, 2.1), opening("W3", 23, 24.2, 1.2, 2.1), opening("W4", 34.4, 37, 0.9, 2.1),
		},
		Bulkheads: []picture.Bulkhead{{Name: "BH1", AtM: 28}},
		Pilasters: []picture.Pilaster{{Name: "P1", FromM: 9.6, ToM: 10.2}},
		Braces:    braces(22, 0.9, 1.8, always(picture.BraceStanding)),
		Layers: []picture.Layer{
			layer(0, 12, 0, 0.6, ago(112), ago(96)), layer(12, 20, 0, 0.6, ago(95), ago(84)), layer(20, 32, 0, 0.6, ago(83), ago(70)), layer(32, 40, 0, 0.6, ago(69), ago(60)),
			layer(0, 12, 0.6, 1.2, ago(58), ago(44)), layer(12, 20, 0.6, 1.15, ago(43), ago(33)), layer(20, 26, 0.6, 1.2, ago(32), ago(26)),
			layer(0, 5, 1.2, 1.8, ago(18), ago(3)),
		},
		Fronts: []picture.Front{
			{FromM: 0, ToM: 5, TopM: 1.8, State: picture.FrontLive, MinutesLeft: 132.4, Room: &picture.Room{NowM: 0, Full: ahead(43)}},
			{FromM: 5, ToM: 12, TopM: 1.2, State: picture.FrontLive, MinutesLeft: 92, Room: &picture.Room{NowM: 0.25, Full: ahead(12)}},
			{FromM: 12, ToM: 20, TopM: 1.15, State: picture.FrontLive, MinutesLeft: 104},
			{FromM: 20, ToM: 26, TopM: 1.2, State: picture.FrontLive, MinutesLeft: 118},
			{FromM: 26, ToM: 26, BottomM: 0.6, TopM: 1.2, State: picture.FrontLive, MinutesLeft: 124},
			{FromM: 26, ToM: 32, TopM: 0.6, State: picture.FrontPastLimit, MinutesLeft: -7.5},
			{FromM: 32, ToM: 40, TopM: 0.6, State: picture.FrontClosing, MinutesLeft: 12.9, Room: &picture.Room{NowM: 0.6}},
		},
	}
	return w
}

// cured is a short wall two days on, its braces in every state.
func cured() picture.Wall {
	states := []picture.BraceState{
		picture.BraceStripped, picture.BraceMayStrip, picture.BraceMayStrip, picture.BraceStanding,
		picture.BraceHeld, picture.BraceHeld, picture.BraceDisturbed, picture.BracePlanned,
	}
	w := picture.Wall{
		Site: "Harbour Road", Name: "Garden wall", State: "curing", At: at, LengthM: 14, FormTopM: 2.4, TopM: 2.4,
		Corners:  []picture.Corner{{Name: "C1", AtM: 8.2}},
		Openings: []picture.Opening{opening("W1", 3, 4.6, 0.8, 2.0)},
		Braces:   braces(8, 0.7, 1.8, func(i int) picture.BraceState { return states[i] }),
		Joints: []picture.Joint{
			{FromM: 8.2, ToM: 12, LevelM: 1.2, State: picture.JointCold, AgeMin: 171.2, LimitMin: 150},
			{FromM: 0, ToM: 3, LevelM: 0.6, State: picture.JointTreated, AgeMin: 158, LimitMin: 150},
			{FromM: 12, ToM: 12, LevelM: 0.6, TopM: 1.2, State: picture.JointCold, AgeMin: 163, LimitMin: 120},
		},
	}
	h := 60.0
	w.Layers = []picture.Layer{
		layer(0, 14, 0, 0.6, ago(53*h), ago(52.2*h)), layer(0, 12, 0.6, 1.2, ago(50.3*h), ago(49.8*h)), layer(14, 12, 0.6, 1.2, ago(47.2*h), ago(47*h)),
		layer(0, 8.2, 1.2, 1.8, ago(49.6*h), ago(49.3*h)), layer(14, 8.2, 1.2, 1.8, ago(46.9*h), ago(46.5*h)),
		layer(0, 14, 1.8, 2.35, ago(45.9*h), ago(45.1*h)), layer(0, 5, 2.35, 2.4, ago(20*h), ago(19.8*h)), layer(5, 14, 2.35, 2.4, ago(0.4*h), ago(0.2*h)),
	}
	return w
}

// planned has no concrete and no names.
func planned() picture.Wall {
	return picture.Wall{Name: "W7", State: "planned", At: at, LengthM: 7.3, FormTopM: 3, TopM: 2.9,
		Openings: []picture.Opening{opening("", 2, 2.5, 1, 2)}, Corners: []picture.Corner{{Name: "", AtM: 4}}, Braces: braces(4, 0.8, 1.8, always(picture.BracePlanned))}
}

// long is drawn in several rows even on a desk.
func long() picture.Wall {
	w := picture.Wall{Site: "Mill Lane", Name: "Retaining wall", State: "placing", At: at, LengthM: 131, FormTopM: 3.6, TopM: 3.5,
		Corners: []picture.Corner{{Name: "C1", AtM: 31}, {Name: "C2", AtM: 66.2}, {Name: "C3", AtM: 99}}, Braces: braces(72, 1, 1.8, func(i int) picture.BraceState {
			return []picture.BraceState{picture.BraceStanding, picture.BraceHeld, picture.BraceStanding, picture.BraceStanding, "lost"}[i%17%5]
		})}
	for i := range 26 {
		from := float64(i) * 5
		w.Layers = append(w.Layers, layer(from, from+5, 0, 0.5, ago(200-float64(i)*4), ago(196-float64(i)*4)))
		if i < 13 {
			w.Layers = append(w.Layers, layer(from, from+5, 0.5, 1.1, ago(90-float64(i)*4), ago(86-float64(i)*4)))
		}
		w.Fronts = append(w.Fronts, picture.Front{FromM: from, ToM: from + 5, TopM: 0.5, State: picture.FrontClosing, MinutesLeft: float64(i*3) - 8})
	}
	return w
}

// pour is the pour of the perimeter wall, with a stop and a rejected load.
func pour() picture.Pour {
	limit := func(placed float64) time.Time { return ago(placed - 150) }
	p := picture.Pour{Site: "Harbour Road", Name: "North house", At: at, TopM: 2.65,
		Stretches: []picture.Stretch{
			{Name: "Front", FromM: 0, ToM: 12, Steps: []picture.Step{{At: ago(104), TopM: 0.6, Limit: limit(104)}, {At: ago(51), TopM: 1.2, Limit: limit(51)}, {At: ago(10), TopM: 1.8, Limit: limit(10)}}},
			{Name: "", FromM: 12, ToM: 20, Steps: []picture.Step{{At: ago(90), TopM: 0.6, Limit: limit(90)}, {At: ago(38), TopM: 1.15, Limit: limit(38)}}},
			{Name: "Back", FromM: 20, ToM: 26, Steps: []picture.Step{{At: ago(176), TopM: 0.6, Limit: limit(196)}, {At: ago(29), TopM: 1.2, Limit: limit(29)}}},
			{Name: "Back", FromM: 26, ToM: 32, Steps: []picture.Step{{At: ago(158), TopM: 0.6, Limit: limit(158)}}},
			{Name: "Yard side", FromM: 32, ToM: 40, Steps: nil},
		},
		Stops: []picture.Stop{{From: ago(84), To: ago(58), Reason: "pump blocked"}, {From: ago(3)}},
	}
	for i := range 7 {
		batched := 227 - float64(i)*31
		p.Loads = append(p.Loads, picture.Load{Name: "T" + strconv.Itoa(1401+i), Batched: ago(batched), Arrived: ago(batched - 25), Began: ago(batched - 31), Ended: ago(batched - 52)})
	}
	p.Loads[3].Began, p.Loads[3].Ended, p.Loads[3].Rejected = time.Time{}, time.Time{}, ago(103)
	p.Loads[6].Ended = time.Time{}
	p.Loads = append(p.Loads, picture.Load{Name: "T1408", Batched: ago(12), Expected: ahead(18)}, picture.Load{Name: "T1409", Expected: ahead(50)})
	return p
}

// curing is a wall at its second night.
func curing() picture.Curing {
	zero := ago(31.5 * 60)
	c := picture.Curing{Site: "Harbour Road", Name: "Garden wall", At: at, ClockZero: zero, NeedH: 48, FloorH: 48,
		Thresholds: []picture.Threshold{{Name: "frost", C: 0}},
		Early:      ahead(27.6 * 60), Likely: ahead(35.6 * 60), Late: ahead(49 * 60)}
	var top, core, air, counted []picture.Sample
	age := 0.0
	for m := 0.0; m <= 31.5*60; m += 5 {
		t, h := zero.Add(time.Duration(m)*time.Minute), m/60
		day := math.Sin((h - 6) / 24 * 2 * math.Pi)
		a := 3 + 5*day
		warm := 22 * h / 9 * math.Exp(1-h/9)
		core = append(core, picture.Sample{At: t, Value: a + 9 + warm})
		air = append(air, picture.Sample{At: t, Value: a})
		v := a + 5 + warm*0.6
		if h > 20 && h < 23 {
			top = append(top, picture.Sample{At: t, Value: math.NaN()})
			v = a - 2
		} else {
			top = append(top, picture.Sample{At: t, Value: v})
		}
		counted = append(counted, picture.Sample{At: t, Value: v})
		age += 5.0 / 60 * math.Exp(-5000*(1/(v+273)-1/293.0))
		c.Age = append(c.Age, picture.Sample{At: t, Value: age})
	}
	c.Temperatures = []picture.Series{{Place: picture.PlaceCore, Name: "core", Points: core}, {Place: picture.PlaceTop, Name: "top", Points: top}, {Place: picture.PlaceAir, Name: "air", Points: air}, {Place: picture.PlaceCounted, Name: "counted", Points: counted}}
	for h := 0.0; h <= 54; h++ {
		c.Expected = append(c.Expected, picture.Band{At: ahead(h * 60), Low: age + h*0.45, Likely: age + h*0.62, High: age + h*0.8})
	}
	return c
}

// register is the bracing of the garden wall.
func register() picture.Register {
	h := 60.0
	set, zero := ago(75*h), ago(50*h)
	return picture.Register{Site: "Harbour Road", Name: "Garden wall", At: at, Bars: []picture.Bar{
		{Name: "B1", AtM: 0.7, State: picture.BraceStripped, Set: set, ClockZero: zero, Opened: ago(2 * h), Permit: ago(1.6 * h), Stripped: ago(0.8 * h)},
		{Name: "B2", AtM: 2.5, State: picture.BraceMayStrip, Set: set, ClockZero: zero, Opened: ago(2 * h), Permit: ago(1.6 * h)},
		{Name: "B3", AtM: 4.3, State: picture.BraceStripped, Set: set, ClockZero: zero, Stripped: ago(9 * h), Early: true},
		{Name: "B4", AtM: 6.1, State: picture.BraceStanding, Set: set, ClockZero: ago(20 * h), Expected: ahead(30 * h)},
		{Name: "B5", AtM: 7.9, State: picture.BraceHeld, Set: set, ClockZero: ago(47 * h), HeldFrom: ago(30 * h)},
		{Name: "B6", AtM: 9.7, State: picture.BraceStanding, Set: set, ClockZero: ago(47 * h), HeldFrom: ago(40 * h), HeldUntil: ago(12 * h), Disturbed: ago(33 * h), Inspected: ago(24 * h), Expected: ahead(11 * h)},
		{Name: "B7", AtM: 11.5, State: picture.BraceDisturbed, Set: set, ClockZero: ago(47 * h), Disturbed: ago(3 * h)},
		{Name: "B8", AtM: 13.3, State: picture.BracePlanned},
	}}
}
