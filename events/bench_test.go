package events_test

import (
	"testing"
	"time"

	"earlyage/events"
)

// lift is a lift as a phone sends it.
func lift() events.Event {
	e := sample("lift.placed")
	e.Time = e.Time.Add(123 * time.Millisecond)
	e.Data = &events.LiftPlaced{FromM: new(0.0), ToM: new(6.5), TopM: new(0.6), Began: at(7, 51), Ended: at(8, 2), Load: "l3", Vibrated: new(true), Celsius: new(14.5)}
	return e
}

// series is a quarter of an hour of one probe.
func series() events.Event {
	e := sample("temperature.read")
	d := &events.TemperatureRead{Place: "top", Probe: "t1"}
	for i := range 15 {
		d.Series = append(d.Series, events.TimedTemperature{At: at(8, i), Celsius: new(14 + float64(i)/8)})
	}
	e.Data = d
	return e
}

func BenchmarkDecode(b *testing.B) {
	for name, e := range map[string]events.Event{"lift": lift(), "series of 15": series()} {
		b.Run(name, func(b *testing.B) {
			subject := e.Subject()
			body, err := e.Encode()
			if err != nil {
				b.Fatal(err)
			}
			b.SetBytes(int64(len(body)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := events.Decode(subject, body); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkEncode(b *testing.B) {
	for name, e := range map[string]events.Event{"lift": lift(), "series of 15": series()} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := e.Encode(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
