package desk

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strconv"
	"strings"
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
	Returned bool      `json:"returned,omitzero"` // it says already that the condition is over
}

// Over reports whether the letter will not be sent any more.
func (l Letter) Over() bool { return l.State != Due && l.State != Sending && l.State != Withheld }

func (l Letter) clone() Letter {
	l.Alerts, l.Others = slices.Clone(l.Alerts), slices.Clone(l.Others)
	return l
}

// tells reports whether the letter tells what, alone or in a summary.
func (l Letter) tells(what string) bool {
	return l.What == what || l.What == TellSummary && l.Of == what
}

// cases lists the ids of the cases that the letter belongs to.
func (l Letter) cases() []string {
	if l.Case != "" {
		return []string{l.Case}
	}
	return l.Alerts
}

// struggles reports whether the letter does not get through: it has failed, or has
// been tried for so long that another way is looked for.
func (l Letter) struggles() bool {
	return l.State == Failed || l.State == Due && l.Tries > 0 && l.Next.Sub(l.Posted) >= anotherWay
}

// byUrgency orders letters as they are sent.
func byUrgency(x, y Letter) int {
	return cmp.Or(cmp.Compare(rank(x.Priority), rank(y.Priority)), x.Posted.Compare(y.Posted), cmp.Compare(x.ID, y.ID))
}

// identity is the id of what is said in these words, the same for ever.
func identity(words ...string) string {
	h := sha256.New()
	for _, w := range words {
		h.Write([]byte(strconv.Itoa(len(w)) + ":" + w))
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
}

// name gives a letter its id.
func (l *Letter) name() {
	about := cmp.Or(l.Case, strings.Join(l.Alerts, " "))
	l.ID = identity(about, l.What, l.Person, l.Channel, strconv.Itoa(l.Step), strconv.Itoa(l.Round))
}

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
