package scheduler_test

import (
	"fmt"
	"testing"
	"time"

	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// A long wall of 1,000 lifts and 100 loads, two probes read every 15 minutes.
func longWall(days, braces int, finished bool) (*book, time.Time) {
	b, at := newBook(), time.Date(2026, 5, 4, 5, 0, 0, 0, time.UTC)
	b.add(at, "site.opened", &events.SiteOpened{Name: "S", Zone: "Europe/London"})
	b.signed(at.Add(10*time.Second), "mix.approved", &events.MixApproved{Mix: "w30", Binder: "portland", Retarder: new(false), SlumpMM: new(150.0)})
	set := &events.BraceSet{}
	for i := range braces {
		set.Braces = append(set.Braces, events.BracePlan{Name: fmt.Sprint("b", i), AtM: new(0.9 + 1.8*float64(i))})
	}
	b.add(at.Add(time.Minute), "wall.laid-out", &events.WallLaidOut{LengthM: new(40.0), HeightM: new(3.0), CoreMM: new(150.0), Form: "plywood", RatedKPa: new(60.0), Mix: "w30"})
	if braces > 0 {
		b.add(at.Add(2*time.Minute), "brace.set", set)
	}
	clock := at.Add(time.Hour)
	for i := range 1000 {
		load := fmt.Sprint("l", i/10)
		if i%10 == 0 {
			b.add(clock, "load.batched", &events.LoadBatched{Load: load, At: clock.Add(-20 * time.Minute), VolumeM3: new(7.5)})
		}
		from := 0.4 * float64(i%100)
		b.add(clock.Add(time.Minute), "lift.placed", &events.LiftPlaced{FromM: new(from), ToM: new(from + 0.4), DepthM: new(0.3), Began: clock, Ended: clock.Add(time.Minute), Load: load, Vibrated: new(true)})
		clock = clock.Add(time.Minute)
		if i%10 == 9 {
			b.add(clock, "load.discharged", &events.LoadDischarged{Load: load, Began: clock.Add(-10 * time.Minute), Ended: clock})
		}
	}
	if finished {
		b.add(clock, "line.read", &events.LineRead{When: "after", At: clock, Points: []events.LinePoint{{AtM: new(0.0), OffMM: new(1.0)}}})
		b.add(clock.Add(time.Minute), "pour.finished", &events.Moment{At: clock.Add(time.Minute)})
		b.add(clock.Add(2*time.Minute), "device.reported", &events.DeviceReported{Last: b.seq})
	}
	b.read(clock, days)
	if days == 0 {
		return b, clock.Add(5 * time.Minute)
	}
	return b, clock.Add(time.Duration(days)*24*time.Hour - 10*time.Minute)
}

// BenchmarkAssessRefused assesses a wall on which so many messages were refused:
// it is to cost the same.
func BenchmarkAssessRefused(b *testing.B) {
	for _, n := range []int{0, 10_000} {
		b.Run(fmt.Sprint(n, " refused"), func(b *testing.B) {
			book, now := longWall(1, 10, true)
			var list []wall.Refused
			for i := range n {
				list = append(list, wall.Refused{Seq: book.seq + uint64(i) + 1, Recorded: now, Source: "/site/north/device/phone-9", Field: "signature", Reason: "nothing"})
			}
			book.wall.AddRefused(list...)
			b.ReportAllocs()
			for b.Loop() {
				scheduler.Assess(book.site, book.devices, book.wall, scheduler.Hub{}, now)
			}
		})
	}
}

// read adds series of two probes, a day at a time.
func (b *book) read(from time.Time, days int) {
	for _, place := range []string{"top", "core"} {
		for day := range days {
			data := &events.TemperatureRead{Place: place, Probe: place, Instrument: "logger"}
			for i := range 96 {
				at := from.Add(time.Duration(day)*24*time.Hour + time.Duration(i)*15*time.Minute)
				data.Series = append(data.Series, events.TimedTemperature{At: at, Celsius: new(12 + float64(i%20)/10)})
			}
			b.add(data.Series[95].At, "temperature.read", data)
		}
	}
}

func BenchmarkAssess(b *testing.B) {
	for _, c := range []struct {
		name     string
		days     int
		braces   int
		finished bool
	}{{"placing", 0, 0, false}, {"one day", 1, 0, true}, {"30 days", 30, 0, true}, {"placing with 22 braces", 0, 22, false}, {"30 days with 22 braces", 30, 22, true}} {
		b.Run(c.name, func(b *testing.B) {
			x, now := longWall(c.days, c.braces, c.finished)
			b.ReportAllocs()
			for b.Loop() {
				scheduler.Assess(x.site, x.devices, x.wall, scheduler.Hub{}, now)
			}
		})
	}
}

// BenchmarkAssessPermit assesses a wall without a permit, with one that stands, and
// with one that a late entry shook: what is asked of them beside the window.
func BenchmarkAssessPermit(b *testing.B) {
	for _, what := range []string{"none", "standing", "shaken"} {
		b.Run(what, func(b *testing.B) {
			x, now := longWall(3, 22, true)
			issued := now.Add(-2 * time.Hour)
			x.add(issued.Add(-24*time.Hour), "wall.tied-in", &events.WallTiedIn{By: "floor"})
			x.add(issued.Add(-time.Minute), "wind.read", &events.WindRead{GustMPS: new(3.0)})
			if what != "none" {
				x.add(issued, "permit.issued", &events.PermitIssued{Number: "s-1", For: "strip"})
			}
			if what == "shaken" {
				x.add(issued.Add(time.Hour), "line.read", &events.LineRead{When: "after", Points: []events.LinePoint{{AtM: new(0.0), OffMM: new(40.0)}}})
			}
			b.ReportAllocs()
			for b.Loop() {
				scheduler.Assess(x.site, x.devices, x.wall, scheduler.Hub{}, now)
			}
		})
	}
}
