// Package api is what a hub answers over HTTP: the shapes, and a client.
//
// Every answer says at which moment it was made, through which sequence of the
// stream the record was read, and whether that was its head. An answer that is
// not level shows every window shut, with the reason among Doubts.
package api

import (
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/scheduler"
)

// Paths of the hub.
const (
	PathHealth  = "/healthz"
	PathMetrics = "/metrics"
	PathWalls   = "/api/v1/walls"
	PathAlerts  = "/api/v1/alerts"
	PathRefused = "/api/v1/refused"
	PathWatch   = "/api/v1/watch"
	PathNATS    = "/nats" // websockets of NATS clients, which prove their keys there
)

// Pictures of a wall, under its own path; ?width= in pixels, ?units=si|us.
const (
	Unrolled = "unrolled.svg" // stations along, height up: layers, joints, braces
	Timeline = "timeline.svg" // height against time
	Bracing  = "bracing.svg"  // each brace from set to stripped
)

// Head begins every answer.
type Head struct {
	At      face.Time `json:"at"`
	Through uint64    `json:"through"`
	Level   bool      `json:"level"`
	// Doubts are the hub's own: they shut every window.
	Doubts []string `json:"doubts"`
	// Demo says that the hub runs on the clock of a demo.
	Demo  bool        `json:"demo,omitzero"`
	Sites []face.Site `json:"sites"`
}

// Page gives a page that writes in the zones and units of the answer's sites;
// units is si, us, or empty for what each site has set.
func (h Head) Page(units string) face.Page {
	p := face.Page{Sites: map[string]face.Site{}, Units: units}
	for _, s := range h.Sites {
		p.Sites[s.Site] = s
	}
	return p
}

// Walls answers PathWalls.
type Walls struct {
	Head
	Walls []face.Wall `json:"walls"`
}

// Wall answers PathWalls/{site}/{wall}.
type Wall struct {
	Head
	Wall   face.Wall        `json:"wall"`
	Alarms []face.Alarm     `json:"alarms,omitempty"` // raised and open, in the order of raising: who was told, and who answered
	Sheet  *scheduler.Sheet `json:"sheet,omitzero"`   // with ?sheet=1
	AsOf   face.Time        `json:"as_of,omitzero"`   // with ?as-of=: how it stood then, by what was known then; not how it stands
}

// Alerts answers PathAlerts.
type Alerts struct {
	Head
	Alerts  []face.Alarm      `json:"alerts"`
	Refused []face.RefusedRow `json:"refused"`
}

// Health answers PathHealth, with status 200 when OK and 503 when not.
type Health struct {
	OK       bool      `json:"ok"`
	At       face.Time `json:"at"`
	Through  uint64    `json:"through"`
	Level    bool      `json:"level"`
	Short    bool      `json:"short"`    // the stream is shorter than the store: nothing is published
	Holes    int       `json:"holes"`    // holes in the stream's sequence that nobody has accepted
	Problems []string  `json:"problems"` // in words

	// Undelivered counts the messages of alerts that are still told, which no channel
	// has accepted. It makes no hub unwell: alert-untold says what it means.
	Undelivered int `json:"undelivered,omitzero"`

	Demo bool `json:"demo,omitzero"`
}

// Changed is one message of PathWatch: what became different.
type Changed struct {
	Head
	Walls   []face.Wall  `json:"walls,omitzero"`
	Raised  []face.Alarm `json:"raised,omitzero"`
	Cleared []face.Alarm `json:"cleared,omitzero"`
}
