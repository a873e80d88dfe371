package scheduler_test

import (
	"fmt"
	"testing"
	"time"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// A long wall of 1,000 lifts and 100 loads, two probes read every 15 minutes for
// 30 days.
func longWall(b *testing.B, days, braces int, finished bool) (*site.State, *site.Devices, *wall.State, time.Time) {
	at := time.Date(2026, 5, 4, 5, 0, 0, 0, time.UTC)
	s, d, w := site.New("s"), site.NewDevices("s"), wall.New("s", "w")
	seq, by := uint64(0), "p-1"
	add := func(kind events.Kind, at time.Time, data events.Data) {
		seq++
		e := events.Event{ID: fmt.Sprint("e", seq), Source: events.Source{Site: "s", Device: "phone"}, Kind: kind, Wall: "w", Time: at, By: by, Sequence: seq, HasOffset: true, Data: data}
		if kind.SiteWide() || kind == "record.countersigned" {
			e.Wall = ""
		}
		f := wall.Fact{Event: e, Seq: seq, Recorded: at.Add(time.Second)}
		d.Add(f)
		if e.Wall == "" {
			s.Add(f)
		} else {
			w.Add(f)
		}
	}
	add("site.opened", at, &events.SiteOpened{Name: "S", Zone: "Europe/London"})
	add("mix.approved", at.Add(10*time.Second), &events.MixApproved{Mix: "w30", Binder: "portland", Retarder: new(false), SlumpMM: new(150.0)})
	by = "p-2"
	add("record.countersigned", at.Add(20*time.Second), &events.RecordCountersigned{Target: events.Target{Source: "/site/s/device/phone", ID: fmt.Sprint("e", seq)}, Role: "engineer"})
	laid := &events.WallLaidOut{LengthM: new(40.0), HeightM: new(3.0), CoreMM: new(150.0), Form: "plywood", RatedKPa: new(60.0), Mix: "w30"}
	set := &events.BraceSet{}
	for i := range braces {
		set.Braces = append(set.Braces, events.BracePlan{Name: fmt.Sprint("b", i), AtM: new(0.9 + 1.8*float64(i))})
	}
	add("wall.laid-out", at.Add(time.Minute), laid)
	if braces > 0 {
		add("brace.set", at.Add(2*time.Minute), set)
	}
	clock := at.Add(time.Hour)
	for i := range 1000 {
		if i%10 == 0 {
			add("load.batched", clock.Add(-20*time.Minute), &events.LoadBatched{Load: fmt.Sprint("l", i/10), At: clock.Add(-20 * time.Minute), VolumeM3: new(7.5)})
		}
		from := 0.4 * float64(i%100)
		add("lift.placed", clock.Add(time.Minute), &events.LiftPlaced{FromM: new(from), ToM: new(from + 0.4), DepthM: new(0.3), Began: clock, Ended: clock.Add(time.Minute), Load: fmt.Sprint("l", i/10), Vibrated: new(true)})
		clock = clock.Add(time.Minute)
		if i%10 == 9 {
			add("load.discharged", clock, &events.LoadDischarged{Load: fmt.Sprint("l", i/10), Began: clock.Add(-10 * time.Minute), Ended: clock})
		}
	}
	if finished {
		add("line.read", clock, &events.LineRead{When: "after", At: clock, Points: []events.LinePoint{{AtM: new(0.0), OffMM: new(1.0)}}})
		add("pour.finished", clock.Add(time.Minute), &events.Moment{At: clock.Add(time.Minute)})
		add("device.reported", clock.Add(2*time.Minute), &events.DeviceReported{Last: seq})
	}
	for _, place := range []string{"top", "core"} {
		for day := range days {
			data := &events.TemperatureRead{Place: place, Probe: place}
			for i := range 96 {
				data.Series = append(data.Series, events.TimedTemperature{At: clock.Add(time.Duration(day)*24*time.Hour + time.Duration(i)*15*time.Minute), Celsius: new(12 + float64(i%20)/10)})
			}
			add("temperature.read", data.Series[95].At, data)
		}
	}
	now := clock.Add(time.Duration(days)*24*time.Hour - 10*time.Minute)
	if days == 0 {
		now = clock.Add(5 * time.Minute)
	}
	return s, d, w, now
}

func BenchmarkAssess(b *testing.B) {
	for _, c := range []struct {
		name     string
		days     int
		braces   int
		finished bool
	}{{"placing", 0, 0, false}, {"one day", 1, 0, true}, {"30 days", 30, 0, true}, {"placing with 22 braces", 0, 22, false}, {"30 days with 22 braces", 30, 22, true}} {
		b.Run(c.name, func(b *testing.B) {
			s, d, w, now := longWall(b, c.days, c.braces, c.finished)
			b.ReportAllocs()
			for b.Loop() {
				scheduler.Assess(s, d, w, scheduler.Hub{}, now)
			}
		})
	}
}
