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

	// Settles is, of a settled doubt that names a refused message, the run that
	// the message was in. The projector looks it up.
	Settles Run
}

// Chunk is one part of a state as it is stored. A nil value deletes the key.
type Chunk struct{ Key, Value []byte }
