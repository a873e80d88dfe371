package picture

import "time"

// Pour is how a wall was filled. Times that are zero are not known.
type Pour struct {
	Site, Name string
	At         time.Time // now
	TopM       float64   // where the concrete is to end, m
	Stretches  []Stretch
	Loads      []Load
	Stops      []Stop
}

// Stretch is a run of stations whose height rose in the same steps.
type Stretch struct {
	Name       string // empty: its stations name it
	FromM, ToM float64
	Steps      []Step // rising in time
}

// Step is concrete placed on a stretch.
type Step struct {
	At    time.Time
	TopM  float64   // where the concrete stood after it
	Limit time.Time // until when it must be covered; zero: no limit
}

// Load is a load of concrete.
type Load struct {
	Name             string
	Batched, Arrived time.Time
	Began, Ended     time.Time // discharge
	Rejected         time.Time
	Expected         time.Time // of a load that has not arrived
}

// Stop is a stop in placing.
type Stop struct {
	From, To time.Time // To zero: it still stands
	Reason   string
	Planned  bool
}
