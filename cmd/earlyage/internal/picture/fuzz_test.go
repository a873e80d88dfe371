package picture_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"earlyage/cmd/earlyage/internal/picture"
)

// Models of any kind: mostly such as occur, now and then with what must not.

var odd = []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1, 0, 1e300, -1e300, 5e-324, 1e9}

func number(lo, hi float64) *rapid.Generator[float64] {
	return rapid.Custom(func(t *rapid.T) float64 {
		if rapid.IntRange(0, 24).Draw(t, "odd") == 0 {
			return rapid.SampledFrom(odd).Draw(t, "value")
		}
		return math.Round(rapid.Float64Range(lo, hi).Draw(t, "value")*100) / 100
	})
}

func anyName() *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.StringMatching(`[A-Z][0-9]{1,3}`),
		rapid.SampledFrom([]string{"", "Retaining wall behind the old harbour store, second leg from the gate", "<&>\"'", "\u202eabc", "柱の角", "🏗️", "\x00\xff", "WWWWWWWWWWWWWWWWWWWW"}),
		rapid.String(),
	)
}

func moment() *rapid.Generator[time.Time] {
	return rapid.Custom(func(t *rapid.T) time.Time {
		switch rapid.IntRange(0, 20).Draw(t, "kind") {
		case 0:
			return time.Time{}
		case 1:
			return rapid.SampledFrom([]time.Time{time.Unix(0, 0), time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC), time.Date(-5000, 1, 1, 0, 0, 0, 0, time.UTC)}).Draw(t, "far")
		}
		return ago(rapid.Float64Range(-2000, 6000).Draw(t, "minutes ago"))
	})
}

func some[T any](t *rapid.T, label string, most int, one func() T) []T {
	var out []T
	for range rapid.IntRange(0, most).Draw(t, label) {
		out = append(out, one())
	}
	return out
}

func drawWall(t *rapid.T) picture.Wall {
	long, high := rapid.SampledFrom([]float64{0.4, 3, 12, 40, 130, 2000}).Draw(t, "length"), rapid.SampledFrom([]float64{0.2, 1.2, 2.7, 6, 15}).Draw(t, "height")
	along, up := number(-1, long*1.1), number(-0.2, high*1.1)
	w := picture.Wall{Site: anyName().Draw(t, "site"), Name: anyName().Draw(t, "name"), State: rapid.SampledFrom([]string{"", "placing", "may strip"}).Draw(t, "state"),
		At: moment().Draw(t, "at"), LengthM: long, FormTopM: high, TopM: up.Draw(t, "top"), Closed: rapid.Bool().Draw(t, "closed")}
	w.Layers = some(t, "layers", 12, func() picture.Layer {
		return layer(along.Draw(t, "from"), along.Draw(t, "to"), up.Draw(t, "bottom"), up.Draw(t, "top"), moment().Draw(t, "began"), moment().Draw(t, "ended"))
	})
	w.Openings = some(t, "openings", 5, func() picture.Opening {
		return opening(anyName().Draw(t, "name"), along.Draw(t, "from"), along.Draw(t, "to"), up.Draw(t, "sill"), up.Draw(t, "head"))
	})
	w.Corners = some(t, "corners", 6, func() picture.Corner {
		return picture.Corner{Name: anyName().Draw(t, "name"), AtM: along.Draw(t, "at")}
	})
	w.Bulkheads = some(t, "bulkheads", 3, func() picture.Bulkhead {
		return picture.Bulkhead{Name: anyName().Draw(t, "name"), AtM: along.Draw(t, "at")}
	})
	w.Pilasters = some(t, "pilasters", 3, func() picture.Pilaster {
		return picture.Pilaster{Name: anyName().Draw(t, "name"), FromM: along.Draw(t, "from"), ToM: along.Draw(t, "to")}
	})
	w.Braces = some(t, "braces", 30, func() picture.Brace {
		return picture.Brace{Name: anyName().Draw(t, "name"), AtM: along.Draw(t, "at"), State: braceState().Draw(t, "state")}
	})
	w.Fronts = some(t, "fronts", 10, func() picture.Front { return drawFront(t, along, up) })
	w.Joints = some(t, "joints", 6, func() picture.Joint {
		from := along.Draw(t, "from")
		return picture.Joint{Name: anyName().Draw(t, "name"), FromM: from, ToM: rapid.OneOf(rapid.Just(from), along).Draw(t, "to"), LevelM: up.Draw(t, "level"), TopM: up.Draw(t, "top"),
			State: rapid.SampledFrom([]picture.JointState{picture.JointCold, picture.JointTreated, "?"}).Draw(t, "state"), AgeMin: number(0, 900).Draw(t, "age"), LimitMin: number(0, 300).Draw(t, "limit")}
	})
	return w
}

func braceState() *rapid.Generator[picture.BraceState] {
	return rapid.SampledFrom([]picture.BraceState{picture.BracePlanned, picture.BraceStanding, picture.BraceMayStrip, picture.BraceStripped, picture.BraceHeld, picture.BraceDisturbed, "gone <away>"})
}

func drawFront(t *rapid.T, along, up *rapid.Generator[float64]) picture.Front {
	from := along.Draw(t, "from")
	f := picture.Front{FromM: from, ToM: rapid.OneOf(rapid.Just(from), along).Draw(t, "to"), BottomM: up.Draw(t, "bottom"), TopM: up.Draw(t, "top"),
		State: rapid.SampledFrom([]picture.FrontState{picture.FrontLive, picture.FrontClosing, picture.FrontPastLimit, "?"}).Draw(t, "state"), MinutesLeft: number(-300, 300).Draw(t, "left")}
	if rapid.Bool().Draw(t, "room") {
		f.Room = &picture.Room{NowM: number(0, 1.2).Draw(t, "now"), Full: moment().Draw(t, "full")}
	}
	return f
}

func drawOptions(t *rapid.T) picture.Options {
	return picture.Options{WidthPX: rapid.SampledFrom([]int{-5, 0, 280, 390, 599, 600, 900, 1200, 4000}).Draw(t, "width"), US: rapid.Bool().Draw(t, "us"), OnPage: rapid.Bool().Draw(t, "on a page"),
		Zone: rapid.SampledFrom([]*time.Location{nil, time.FixedZone("NPT", 20700)}).Draw(t, "zone")}
}

func TestAnyWallCanBeDrawn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) { checkDrawing(t, picture.DrawUnrolled(drawWall(t), drawOptions(t))) })
}

func TestAnyPourCanBeDrawn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := picture.Pour{Site: anyName().Draw(t, "site"), Name: anyName().Draw(t, "name"), At: moment().Draw(t, "at"), TopM: number(0, 5).Draw(t, "top")}
		p.Stretches = some(t, "stretches", 30, func() picture.Stretch {
			return picture.Stretch{Name: anyName().Draw(t, "name"), FromM: number(0, 50).Draw(t, "from"), ToM: number(0, 50).Draw(t, "to"), Steps: some(t, "steps", 6, func() picture.Step {
				return picture.Step{At: moment().Draw(t, "at"), TopM: number(0, 5).Draw(t, "top"), Limit: moment().Draw(t, "limit")}
			})}
		})
		p.Loads = some(t, "loads", 12, func() picture.Load {
			return picture.Load{Name: anyName().Draw(t, "name"), Batched: moment().Draw(t, "batched"), Arrived: moment().Draw(t, "arrived"), Began: moment().Draw(t, "began"),
				Ended: moment().Draw(t, "ended"), Rejected: moment().Draw(t, "rejected"), Expected: moment().Draw(t, "expected")}
		})
		p.Stops = some(t, "stops", 4, func() picture.Stop {
			return picture.Stop{From: moment().Draw(t, "from"), To: moment().Draw(t, "to"), Reason: anyName().Draw(t, "reason"), Planned: rapid.Bool().Draw(t, "planned")}
		})
		checkDrawing(t, picture.DrawTimeline(p, drawOptions(t)))
	})
}

func TestAnyCuringCanBeDrawn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		samples := func(label string, lo, hi float64) []picture.Sample {
			return some(t, label, 30, func() picture.Sample {
				return picture.Sample{At: moment().Draw(t, "at"), Value: number(lo, hi).Draw(t, "value")}
			})
		}
		c := picture.Curing{Site: anyName().Draw(t, "site"), Name: anyName().Draw(t, "name"), At: moment().Draw(t, "at"), ClockZero: moment().Draw(t, "zero"), AgeName: anyName().Draw(t, "rule"),
			NeedH: number(0, 100).Draw(t, "need"), FloorH: number(0, 100).Draw(t, "floor"), Age: samples("age", 0, 80), Early: moment().Draw(t, "early"), Likely: moment().Draw(t, "likely"),
			Late: moment().Draw(t, "late"), Met: moment().Draw(t, "met")}
		c.Temperatures = some(t, "series", 10, func() picture.Series {
			place := rapid.SampledFrom([]picture.Place{picture.PlaceTop, picture.PlaceCore, picture.PlaceAir, picture.PlaceCounted, "face"}).Draw(t, "place")
			return picture.Series{Place: place, Name: anyName().Draw(t, "name"), Points: samples("points", -30, 70)}
		})
		c.Thresholds = some(t, "thresholds", 3, func() picture.Threshold {
			return picture.Threshold{Name: anyName().Draw(t, "name"), C: number(-10, 40).Draw(t, "at")}
		})
		c.Expected = some(t, "expected", 20, func() picture.Band {
			return picture.Band{At: moment().Draw(t, "at"), Low: number(0, 60).Draw(t, "low"), Likely: number(0, 60).Draw(t, "likely"), High: number(0, 60).Draw(t, "high")}
		})
		checkDrawing(t, picture.DrawCurves(c, drawOptions(t)))
	})
}

func TestAnyBracingCanBeDrawn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := picture.Register{Site: anyName().Draw(t, "site"), Name: anyName().Draw(t, "name"), At: moment().Draw(t, "at")}
		r.Bars = some(t, "bars", 25, func() picture.Bar {
			return picture.Bar{Name: anyName().Draw(t, "name"), AtM: number(0, 50).Draw(t, "at"), State: braceState().Draw(t, "state"), Set: moment().Draw(t, "set"), ClockZero: moment().Draw(t, "zero"),
				Opened: moment().Draw(t, "opened"), Expected: moment().Draw(t, "expected"), Permit: moment().Draw(t, "permit"), Disturbed: moment().Draw(t, "disturbed"), Inspected: moment().Draw(t, "inspected"),
				HeldFrom: moment().Draw(t, "held"), HeldUntil: moment().Draw(t, "released"), Stripped: moment().Draw(t, "stripped"), Early: rapid.Bool().Draw(t, "early")}
		})
		checkDrawing(t, picture.DrawBracing(r, drawOptions(t)))
	})
}
