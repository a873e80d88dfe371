// Package notice holds what passes between the parts of telling: the words of an
// alert's life, the readers, the messages made for them, and what a channel is.
// It is pure.
package notice

import (
	"context"
	"errors"
	"time"

	"earlyage/events"
)

// What became of an alert. Raised and cleared are the hub's words; the others
// are people's.
const (
	Raised       = "raised"
	Cleared      = "cleared"
	Acknowledged = "acknowledged"
	Shelved      = "shelved"
	Unshelved    = "unshelved"
	OutOfService = "out-of-service"
	InService    = "in-service"
	Shown        = "shown"  // a page showed it to its person
	Voided       = "voided" // an earlier word of a person was taken out of the record
	Sheet        = "sheet"  // a sheet was issued
)

// Notice is one word of an alert's life, or a sheet, as the stream holds it. Its
// alert and state together are its identity: a reader that has had them may pass
// it over.
type Notice struct {
	State    string        `json:"state"`
	Alert    string        `json:"alert,omitzero"` // the alert's id
	Kind     string        `json:"kind,omitzero"`
	Cause    string        `json:"cause,omitzero"`
	Site     string        `json:"site"`
	Wall     string        `json:"wall,omitzero"` // empty: the whole site
	Priority string        `json:"priority,omitzero"`
	Since    time.Time     `json:"since,omitzero"` // raised: since when the condition holds
	Known    time.Time     `json:"known,omitzero"` // raised: when the record had what it rests on; zero: not seen
	At       time.Time     `json:"at,omitzero"`    // otherwise: when
	Until    time.Time     `json:"until,omitzero"` // shelved, out of service: to when
	By       string        `json:"by,omitzero"`    // the person
	Text     string        `json:"text,omitzero"`  // the hub's text, or the person's reason
	About    *events.About `json:"about,omitzero"`
	Message  string        `json:"message,omitzero"` // shown: the message that brought it
	Of       string        `json:"of,omitzero"`      // shown: what of it, raised or cleared; empty: raised
	Seq      uint64        `json:"seq,omitzero"`     // in the stream; 0: its publication was not acknowledged
	Recorded time.Time     `json:"recorded"`         // by the stream's clock; by the hub's where Seq is 0

	Issued *events.SheetIssued `json:"issued,omitzero"` // of a sheet

	Key    events.Key `json:"key,omitzero"`    // of a person's word: its own
	Target events.Key `json:"target,omitzero"` // voided: of the word that was taken out
}

// Subject is where the notice is published.
func (n Notice) Subject() string {
	wall := n.Wall
	if wall == "" {
		wall = "_"
	}
	return "alert." + n.Site + "." + wall
}

// Site is what a message must know of a site.
type Site struct {
	Token string // "_": the company
	Name  string // for people
	Zone  *time.Location
	Units string // si or us
}

// Place is a wall of a site, both by their tokens.
type Place struct{ Site, Wall string }

// Reader is who is told, and how to reach them.
type Reader struct {
	Person  string // id
	Name    string
	Roles   []events.Role // on the site that is spoken of
	Mail    string        // address; empty: none
	Lang    string        // en, es; empty: en
	Units   string        // si, us; empty: the site's
	Devices []events.Source
	Pushes  []Push
	Hooks   []string // names of web hooks in the route file
}

// Push is where a browser is reached (RFC 8030), and with which keys (RFC 8291).
type Push struct {
	Device   events.Source `json:"device"`
	Endpoint string        `json:"endpoint"`
	P256DH   string        `json:"p256dh"` // base64url
	Auth     string        `json:"auth"`   // base64url
}

// Message is what one reader is told by one channel. Its ID is the idempotency
// key: the same for every try, and for the same alert, state, step, reader and
// channel after a crash as well.
type Message struct {
	ID       string
	What     string // raised, cleared, summary, sheet, test
	Channel  string
	To       Reader
	Alerts   []string // ids
	Kind     string   // of the alert; empty: several, or none
	Site     string
	Wall     string
	Priority string
	Urgent   bool
	At       time.Time // when it was made
	Until    time.Time // after which it is of no use; zero: never
	Step     int       // how far it had climbed: 0 is who is told first
	Why      string    // which route or step chose the reader

	First  string // first line: what, where, until when
	Short  string // under 160 characters
	Plain  string // whole, plain text
	HTML   string // whole; empty: there is only the plain text
	Link   string // of the page to open; empty: none
	Attach []Attachment
}

// Attachment is a file that goes with a message.
type Attachment struct {
	Name string
	Type string // media type
	Body []byte
}

// ErrRefused is wrapped by an error of Send after which no try will ever succeed:
// the address is gone or the message is refused.
var ErrRefused = errors.New("refused for good")

// A Channel hands messages on to what carries them.
type Channel interface {
	// Name is a token, such as mail.
	Name() string
	// Reaches reports whether the channel has an address of the reader.
	Reaches(Reader) bool
	// Send returns nil once the carrier has accepted the message. An error that
	// wraps ErrRefused is final; after any other the same message is sent again,
	// under the same ID, whether the carrier had accepted it or not. Send returns
	// when ctx ends and is safe for concurrent use.
	Send(ctx context.Context, m Message) error
}
