package api

import (
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
)

// What further stands under the path of one wall.
const (
	WallTimeline = "timeline" // every message about it
	WallRecord   = "record"   // its events as they were sent, one to a line
)

// Paths of what is made for a page.
const (
	PathBraces  = "/api/v1/braces"
	PathWeek    = "/api/v1/week"
	PathOpenAPI = "/api/v1/openapi.json"
)

// TaggedAt is the header of an answer 304: the moment at which what the caller has
// was found to be still so.
const TaggedAt = "Earlyage-At"

// Messages answers WallPath/timeline, in the order in which the messages came.
type Messages struct {
	Head
	Site     string     `json:"site"`
	Wall     string     `json:"wall"`
	AsOf     face.Time  `json:"as_of,omitzero"`  // with ?as-of=: nothing that was recorded later is in it
	Window   *face.Said `json:"window,omitzero"` // with ?as-of=: as the hub had stated it last
	Says     []string   `json:"says,omitempty"`  // with ?words=1: what the head says, in words
	Total    int        `json:"total"`           // messages, before they are narrowed
	Messages []Message  `json:"messages"`
}

// Message is one message of a wall, whatever came of it.
type Message struct {
	Seq      uint64    `json:"seq"`
	Recorded face.Time `json:"recorded"` // by the stream
	Entered  time.Time `json:"entered,omitzero"`
	// Began and Ended are when it happened: Entered where nothing else is said. All
	// three are by the device's clock, corrected by the offset that it knew. Missing
	// where the message could not be read.
	Began  time.Time      `json:"began,omitzero"`
	Ended  time.Time      `json:"ended,omitzero"`
	ID     string         `json:"id,omitzero"`
	Kind   events.Kind    `json:"kind,omitzero"`
	Device string         `json:"device,omitzero"`
	By     string         `json:"by,omitzero"`
	Who    string         `json:"who,omitzero"` // the name, where there is one to be seen
	Number uint64         `json:"number,omitzero"`
	Signed bool           `json:"signed,omitzero"`
	Data   jsontext.Value `json:"data,omitzero"`

	Repeats    uint64   `json:"repeats,omitzero"`     // the message that it says again
	ReplacedBy []uint64 `json:"replaced_by,omitzero"` // amendments and voids of it
	Doubts     []string `json:"doubts,omitzero"`      // that stand
	Refused    *Refused `json:"refused,omitzero"`     // it does not count

	Of      uint64        `json:"of,omitzero"`       // the message that it is about
	Changes []face.Change `json:"changes,omitempty"` // made to it, with who countersigned them
	Waits   bool          `json:"waits,omitzero"`    // both versions count, until a second person has countersigned
	Shifts  []face.Shift  `json:"shifts,omitempty"`  // of a statement: what it says otherwise than the one before
	Alarm   *face.Alarm   `json:"alarm,omitzero"`    // of an alert: who was told, and who answered

	Words *face.Entry `json:"words,omitzero"` // with ?words=1; readings of one device stand together then
}
