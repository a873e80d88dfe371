package projector

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"earlyage/events/stream"
)

// foldVersion changes whenever the layout of view.db changes or messages are
// judged otherwise; wall.FoldVersion stands beside it for the folds. A view of
// another version is rebuilt.
const foldVersion = "3"

const (
	mostBatch       = 50_000
	defaultWallsMax = 12_000

	// batchBytes bounds the bodies in one transaction: 50,000 bodies of the
	// greatest size would not fit in memory.
	batchBytes = 64 << 20
)

// ErrGiveUp is wrapped by an error of Run after which trying again in the same
// process is of no use: the disk is full or failing, or a file is damaged.
var ErrGiveUp = errors.New("projector gives up")

// ErrLocked is wrapped by Open and Rebuild when another process has the folder.
var ErrLocked = errors.New("another hub has this folder open")

// ErrDamaged is wrapped when a file does not hold what was written to it.
var ErrDamaged = errors.New("file is damaged")

// Source is the stream as the projector reads it. *stream.Stream is one.
type Source interface {
	// Head returns the first and the last sequence of the stream, 0 and 0 if it
	// is empty and always was.
	Head(ctx context.Context) (first, last uint64, err error)
	// Read hands every message after a sequence to deliver, in order, many at a
	// time while catching up and at once when live. It returns when ctx ends,
	// with deliver's error, or with stream.ErrShort when the stream ends before
	// the sequence. The messages belong to deliver's callee.
	Read(ctx context.Context, after uint64, limits stream.Limits, deliver func([]stream.Message) error) error
}

// Config says where a projector keeps its files and what it reads.
type Config struct {
	Dir    string           // folder of keep.db and view.db; made if it is missing
	Log    *slog.Logger     // default: none
	Now    func() time.Time // default time.Now; stamps receipts, decides nothing
	Stream Source           // may be nil where only kept bytes are read

	// Key verifies what the scheduler says. Default: the public half of HubKey.
	Key ed25519.PublicKey

	// Demo honours the header of an invented recorded time. It is fixed when the
	// store is made: an existing store that is not a demo's refuses to open.
	Demo bool

	// Unsigned is for trials and tests: events need no signature and no enrolled
	// device. It is fixed when the store is made: an existing store whose events
	// are signed refuses to open, and one that was made unsigned stays so. A store
	// of the time before there were signatures may go on either way; without
	// Unsigned, all that comes after what it has kept must be signed.
	Unsigned bool

	// SignedFrom is, of a store that is made, the first message that must be
	// signed; default 1. An existing store knows its own.
	SignedFrom uint64

	// Receipts publishes what devices may forget. It is called after both
	// commits, never while catching up, from one goroutine. After an error the
	// same devices are tried again. Default: none are sent.
	Receipts func([]stream.Receipt) error

	BatchMax int // most messages in a transaction while catching up, 1 to 50,000, the default
	WallsMax int // walls kept in memory, at least 1; default 12,000

	open opener // default openFile
}

func (c Config) withDefaults() (Config, error) {
	if c.Dir == "" {
		return c, errors.New("projector config: Dir is empty")
	}
	if c.BatchMax == 0 {
		c.BatchMax = mostBatch
	}
	if c.BatchMax < 1 || c.BatchMax > mostBatch {
		return c, fmt.Errorf("projector config: BatchMax is %d, allowed 1 to %d", c.BatchMax, mostBatch)
	}
	if c.WallsMax == 0 {
		c.WallsMax = defaultWallsMax
	}
	if c.WallsMax < 1 {
		return c, fmt.Errorf("projector config: WallsMax is %d, allowed 1 or more", c.WallsMax)
	}
	if c.Key != nil && len(c.Key) != ed25519.PublicKeySize {
		return c, fmt.Errorf("projector config: Key has %d bytes, allowed %d", len(c.Key), ed25519.PublicKeySize)
	}
	c.SignedFrom = max(c.SignedFrom, 1)
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.open == nil {
		c.open = openFile
	}
	return c, nil
}
