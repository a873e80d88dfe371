package wall

import (
	"time"

	"earlyage/events"
)

// Fact is an accepted event with what the stream says of it.
type Fact struct {
	events.Event
	Seq      uint64    // the stream's sequence: the order in which things became known
	Recorded time.Time // the stream's timestamp (UTC, millisecond)
	Trusted  bool      // signed by the hub's own key: the scheduler's word
}

// Refused is a message that could not be accepted but names this wall.
type Refused struct {
	Seq      uint64
	Recorded time.Time
	ID       string // as far as it could be read
	Field    string
	Reason   string
}

// Chunk is one part of a state as it is stored. A nil value deletes the key.
type Chunk struct{ Key, Value []byte }
