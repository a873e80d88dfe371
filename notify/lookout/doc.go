// Package lookout watches the hub from outside. The hub sends a signed heartbeat
// every minute (Beat); on another machine a Lookout expects it, and tells its own
// readers by its own channels when none comes, or when the hub itself says that
// it is not well.
//
// A heartbeat is a Standard Webhook: it counts if it is signed with the shared
// secret, if its timestamp is within five minutes of the lookout's clock and if
// its id is new. Silence is measured by a clock that does not jump. Nothing is
// kept over a restart: a Lookout that has just begun gives the hub the time of a
// silence, and then tells.
//
// What to tell and when is decided by a state machine without clock or network
// (watch); Run owns the time and the deliveries, ServeHTTP may be called by any
// goroutine.
package lookout

import "time"

// Health is what a hub says of itself.
type Health struct {
	OK          bool   `json:"ok"`
	Why         string `json:"why,omitzero"` // not ok: why
	Undelivered int    `json:"undelivered"`  // messages that nobody has had
	// NextDue is when the hub has something to do next, UTC; zero: nothing. A hub
	// whose next thing is over five minutes late is not well, whatever it says.
	NextDue time.Time `json:"next_due,omitzero"`
}

const kindOfBeat = "earlyage.hub.beat.v1"

// payload is the body of a heartbeat.
type payload struct {
	Type      string    `json:"type"`
	Timestamp time.Time `json:"timestamp"`
	Data      Health    `json:"data"`
}

const (
	beatEvery  = time.Minute
	beatWithin = 20 * time.Second // one heartbeat: the next one must not wait for it
	silentLong = 150 * time.Second
	unwellLong = 5 * time.Minute
	againAfter = 15 * time.Minute
	againMost  = 4 * time.Hour
	againTimes = 8
	fresh      = 5 * time.Minute // between the clocks; as the specification's libraries have it
)
