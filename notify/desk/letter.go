package desk

import (
	"time"
)

// What a letter tells, as events.AlertTold has it.
const (
	TellRaised  = "raised"
	TellCleared = "cleared"
	TellSummary = "summary"
	TellSheet   = "sheet"
)

// What became of a letter.
const (
	Due      = "due"      // to be sent at Next
	Sending  = "sending"  // handed out by Desk.Due; never in a row: after a crash it is due
	Accepted = "accepted" // by the channel
	Shown    = "shown"    // by the page
	Failed   = "failed"   // for good
	Withheld = "withheld" // till Next: a quieter hour, or a summary
	Dropped  = "dropped"  // not sent, as Error says; or gathered Into a summary
)

// NoChannel is the channel of a letter to a person whom none reaches. It has
// failed from the beginning.
const NoChannel = "none"

// NeedsShowing reports whether a channel only carries a message to a device, so
// that its person counts as told when the page has shown it.
func NeedsShowing(channel string) bool { return channel == "phone" || channel == "push" }

// Letter is one message to one person by one channel. Its ID hangs on the alert,
// what is told, the person, the channel, the step and the round alone, so that it
// is the same after a crash.
type Letter struct {
	V        int      `json:"v"`
	ID       string   `json:"id"`
	Case     string   `json:"case,omitzero"` // id of its case; empty: a summary
	What     string   `json:"what"`
	Of       string   `json:"of,omitzero"` // of a summary: raised or cleared
	Alerts   []string `json:"alerts,omitzero"`
	Kind     string   `json:"kind,omitzero"` // empty: of several, or a sheet
	Site     string   `json:"site"`          // _: of several
	Wall     string   `json:"wall,omitzero"`
	Priority string   `json:"priority,omitzero"`
	Person   string   `json:"person"`
	Channel  string   `json:"channel"`
	Others   []string `json:"others,omitzero"` // further channels of the person, tried when this one does not work
	Step     int      `json:"step,omitzero"`
	Round    int      `json:"round,omitzero"`
	Why      string   `json:"why,omitzero"`

	State    string    `json:"state"`
	Tries    int       `json:"tries,omitzero"`
	Made     time.Time `json:"made"`
	Posted   time.Time `json:"posted,omitzero"`   // became due, or was gathered
	Next     time.Time `json:"next,omitzero"`     // due: when it is sent; withheld: till when; accepted: when the next channel is tried if no page has shown it
	Ended    time.Time `json:"ended,omitzero"`    // accepted, shown, failed or dropped
	Error    string    `json:"error,omitzero"`    // of the last try, or why it was dropped
	Text     string    `json:"text,omitzero"`     // in short, as sent
	Flood    bool      `json:"flood,omitzero"`    // it was posted in a flood
	Gathered bool      `json:"gathered,omitzero"` // it goes into a summary
	Into     string    `json:"into,omitzero"`     // the summary
}

// Over reports whether the letter will not be sent any more.
func (l Letter) Over() bool { return l.State != Due && l.State != Sending && l.State != Withheld }

// Outcome is a channel's answer to one try.
type Outcome string

// The answers.
const (
	Done    Outcome = "done"    // the carrier has accepted it
	Again   Outcome = "again"   // it has not, or may have: it is tried again under the same id
	Refused Outcome = "refused" // it never will
)

// Result is what came of one try.
type Result struct {
	Outcome Outcome
	Error   string // why not
	Text    string // what was sent, in short
}

// Change is what has to be written, in one transaction with the sequence of the
// word that brought it. What it holds are copies.
type Change struct {
	Cases   []Case   // rows to be put, by ID
	Closed  []string // ids of the cases whose rows are to be removed, 30 days after they ended
	Letters []Letter // rows to be put, by ID
	Gone    []string // ids of the letters that Load need not be given any more: they are history
}

// Empty reports whether there is nothing to write.
func (c Change) Empty() bool {
	return len(c.Cases)+len(c.Closed)+len(c.Letters)+len(c.Gone) == 0
}

// Trouble is somebody who ought to know of an alert and cannot be reached.
type Trouble struct {
	Site, Wall, Alert string
	Kind, Priority    string
	Person            string   // empty: nobody at all
	Channels          []string // that failed
	Since             time.Time
	Text              string
}
