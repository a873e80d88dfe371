// Package calendar writes the calendar of a site (RFC 5545): when the bracing of
// each wall may come off, as far as that is known.
//
// It is pure, and safe for concurrent use; equal input gives equal bytes.
package calendar

import (
	"time"

	"earlyage/notify/notice"
)

// States of a wall in the feed.
const (
	Expected = "expected" // the window is shut, and a time is expected
	Open     = "open"     // the window is open
	Shut     = "shut"     // the window is shut, and no time can be given
	Stripped = "stripped" // the bracing is off
)

// Wall is what the feed says of one wall.
type Wall struct {
	Wall     string
	State    string
	At       time.Time // expected: the expected time; open: since when; otherwise the time that was last said
	Said     time.Time // when the statement was made that this comes from
	Sequence uint64    // of that statement in the stream: it only grows
	Ended    time.Time // shut, stripped: when that was known
	Governs  string    // token of the criterion that governs; empty: not known
	Lang     string    // en, es; empty: en
}

// Feed writes the calendar of a site.
func Feed(site notice.Site, walls []Wall, now time.Time) []byte { return nil }
