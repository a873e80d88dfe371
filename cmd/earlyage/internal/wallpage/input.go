package wallpage

import (
	"context"
	"errors"
	"time"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/events"
	"earlyage/projector"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Input is all that is known of one wall at one moment. Whoever makes it may take
// the states back as soon as Make has returned.
type Input struct {
	At      time.Time // what is shown, and for when it is assessed
	AsOf    bool      // At is a past moment that was asked for
	Through uint64    // the stream's sequence up to which messages are counted
	Level   bool      // the record is level with the stream
	Doubts  []string  // what now shuts every window
	Demo    bool

	Site    *site.State
	Devices *site.Devices
	Wall    *wall.State
	Hub     scheduler.Hub
	Sheet   scheduler.Sheet // with its assessment, at At

	// Messages are those of this wall up to At, in the order of the stream, and
	// those that only name it (refused ones).
	Messages []Message
}

// Message is what came of one message of the stream.
type Message struct {
	Seq      uint64
	Recorded time.Time
	Subject  string
	Signed   bool // it came with a signature
	Body     []byte

	Event   events.Event // Kind is empty where it could not be read
	Refused *projector.RefusedRow
	Repeat  uint64 // the message that it repeats; 0: none
}

// ErrNoWall is wrapped where there is no such wall, or not in sight.
var ErrNoWall = errors.New("no such wall")

// Reader is where the pages look: the hub. Its methods are safe for concurrent
// use.
type Reader interface {
	// Sight says what whoever asks may see now.
	Sight(ctx context.Context) (board.Sight, error)
	// Look shows a picture of all sites to see and returns see's error. Nothing
	// of the picture's states is kept after see has returned.
	Look(ctx context.Context, see func(board.Input) error) error
	// Zone is the time zone of a site in sight; the error wraps ErrNoWall where
	// there is no such site.
	Zone(ctx context.Context, site string) (*time.Location, error)
	// Wall shows one wall to see, as it stands or, where asOf is not zero, as it
	// was known then (see AsOf), and returns see's error. Nothing of the input's
	// states is kept after see has returned. The error wraps ErrNoWall where
	// nothing is or was known of the wall.
	Wall(ctx context.Context, ref scheduler.Ref, asOf time.Time, see func(Input) error) error
}
