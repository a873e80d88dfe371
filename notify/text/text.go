package text

import (
	"time"

	"earlyage/notify/notice"
)

// Facts is what a message is made from, beside what it tells of.
type Facts struct {
	Now    time.Time
	Site   notice.Site
	Sites  map[string]notice.Site // of a summary over several sites, by token; one that is missing is called by its token
	Reader notice.Reader
	Wall   string    // the wall's name for people; empty: its token
	Link   string    // of the page to open, http or https; anything else is left out
	Told   []string  // names of the others who are told
	Next   string    // who is told next if nobody answers; empty: nobody
	NextAt time.Time // when
}

// Alert makes the message of one word of an alert's life. Its identity, channel,
// step and reason are for the caller to fill in.
func Alert(n notice.Notice, f Facts) notice.Message { return notice.Message{} }

// Summary makes one message of several alerts.
func Summary(list []notice.Notice, f Facts) notice.Message { return notice.Message{} }

// Sheet makes the message of a sheet that was issued.
func Sheet(n notice.Notice, f Facts) notice.Message { return notice.Message{} }

// Test makes a message that asks for nothing.
func Test(f Facts) notice.Message { return notice.Message{} }
