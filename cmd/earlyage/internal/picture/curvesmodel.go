package picture

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// Curing is how a wall cures, up to now and as it is expected to go on.
type Curing struct {
	Site, Name   string
	At           time.Time // now
	ClockZero    time.Time // the last concrete, from which the floor counts
	Temperatures []Series  // °C
	Thresholds   []Threshold
	Age          []Sample  // equivalent age up to now, hours
	AgeName      string    // by which rule; empty: "equivalent age"
	NeedH        float64   // what the age has to reach; 0: not asked for
	FloorH       float64   // hours from ClockZero that have to pass; 0: none
	Expected     []Band    // of the age, from now on
	Early        time.Time // when the need is expected to be reached
	Likely       time.Time
	Late         time.Time
	Met          time.Time // when the need was reached
}

// Place is where a temperature was taken.
type Place string

// Places. Any other is drawn in a style of its own order.
const (
	PlaceTop     Place = "top"
	PlaceCore    Place = "core"
	PlaceAir     Place = "air"
	PlaceCounted Place = "counted"
)

// Series is a curve. A value that is not finite is a gap.
type Series struct {
	Place  Place
	Name   string // empty: the place
	Points []Sample
}

// Sample is a value at a moment.
type Sample struct {
	At    time.Time
	Value float64
}

// Threshold is a temperature that matters.
type Threshold struct {
	Name string
	C    float64
}

// Band is what is expected for one moment.
type Band struct {
	At                time.Time
	Low, Likely, High float64
}

// clean returns the curing with plain names and finite numbers.
func (c Curing) clean() Curing {
	c.Site, c.Name, c.AgeName = plain(c.Site), plain(c.Name), plain(c.AgeName)
	sorted := func(in []Sample) []Sample {
		out := cleaned(in, func(s *Sample) bool { return !s.At.IsZero() && (math.IsNaN(s.Value) || abs(s.Value) <= 1e6) })
		slices.SortStableFunc(out, func(a, b Sample) int { return a.At.Compare(b.At) })
		return out
	}
	c.Temperatures = cleaned(c.Temperatures, func(s *Series) bool {
		s.Name, s.Points = cmp.Or(plain(s.Name), plain(string(s.Place)), "temperature"), sorted(s.Points)
		return slices.ContainsFunc(s.Points, func(p Sample) bool { return !math.IsNaN(p.Value) })
	})
	c.Thresholds = cleaned(c.Thresholds, func(t *Threshold) bool {
		t.Name = plain(t.Name)
		return finite(t.C) && abs(t.C) <= 1e3
	})
	c.Age = sorted(c.Age)
	c.Expected = cleaned(c.Expected, func(b *Band) bool {
		return !b.At.IsZero() && finite(b.Low, b.Likely, b.High) && abs(b.Low) <= 1e6 && abs(b.Likely) <= 1e6 && abs(b.High) <= 1e6
	})
	slices.SortStableFunc(c.Expected, func(a, b Band) int { return a.At.Compare(b.At) })
	for _, h := range [...]*float64{&c.NeedH, &c.FloorH} {
		if !finite(*h) || *h < 0 || *h > 1e5 {
			*h = 0
		}
	}
	return c
}
