package api

import (
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/notify"
)

// Paths of telling.
const (
	PathTold        = "/api/v1/told"
	PathToldMeasure = PathTold + "/measure"
	PathToldTest    = PathTold + "/test"
	PathPush        = "/api/v1/push"
	PathPushKey     = PathPush + "/key"
	PathCalendars   = "/api/v1/calendars"
	PathCalendar    = "/calendar/" // and SITE.ics
)

// Told answers GET PathTold: the messages of the last 90 days that the caller may
// see, the newest first, at most 1,000.
type Told struct {
	At    face.Time   `json:"at"`
	Sites []face.Site `json:"sites"`
	Told  []ToldRow   `json:"told"`
}

// ToldRow is one message to one person by one channel, and what came of it.
type ToldRow struct {
	notify.Told
	Name string `json:"name,omitzero"` // of the person
}

// ToldTest is the body of POST PathToldTest.
type ToldTest struct {
	Person string `json:"person"`
	Site   string `json:"site,omitzero"` // in whose time and units; empty: one where the person has a role
}

// ToldMeasure answers GET PathToldMeasure: how fast and how much was told.
type ToldMeasure struct {
	From         time.Time `json:"from"`
	To           time.Time `json:"to"`
	Known        Spread    `json:"known"`        // from the condition to when the record had what it rests on
	Raised       Spread    `json:"raised"`       // from there, or from when it had held for as long as its kind asks for, to its alert in the stream
	Told         Spread    `json:"told"`         // from there to the first channel that accepted it
	Reached      Spread    `json:"reached"`      // from the condition to the first channel, of what was known in time
	Shown        Spread    `json:"shown"`        // from the alert to the first page that showed it
	Acknowledged Spread    `json:"acknowledged"` // to its acknowledgement
	Reader       string    `json:"reader,omitzero"`
	Name         string    `json:"name,omitzero"`
	Most         int       `json:"most"` // alerts to that reader within 10 minutes; no other was told of more
	Mean         float64   `json:"mean"` // alerts in 10 minutes to the reader who was told of most in all
}

// Spread is how long something took, in seconds.
type Spread struct {
	Count int     `json:"count"`
	P50   float64 `json:"p50_s"`
	P99   float64 `json:"p99_s"`
	Max   float64 `json:"max_s"`
}

// SpreadOf gives a spread in seconds.
func SpreadOf(s notify.Spread) Spread {
	return Spread{s.Count, s.P50.Seconds(), s.P99.Seconds(), s.Max.Seconds()}
}

// PushKey answers GET PathPushKey: the key that a page subscribes with (RFC 8292),
// base64url.
type PushKey struct {
	Key string `json:"key"`
}

// PushSubscription is the body of POST PathPush: where a browser is reached (RFC
// 8030) and with which keys (RFC 8291), base64url.
type PushSubscription struct {
	Endpoint string `json:"endpoint"`
	P256DH   string `json:"p256dh"`
	Auth     string `json:"auth"`
}

// PushEnd is the body of DELETE PathPush.
type PushEnd struct {
	Endpoint string `json:"endpoint"`
}

// NewCalendar is the body of POST PathCalendars.
type NewCalendar struct {
	Site   string `json:"site"`
	Person string `json:"person,omitzero"` // only the walls on which this person has recorded; empty: all of the site
}

// Calendar is a calendar feed. Whoever knows its address may read it.
type Calendar struct {
	ID     string    `json:"id"`
	Site   string    `json:"site"`
	Person string    `json:"person,omitzero"`
	By     string    `json:"by,omitzero"` // who made it; empty: whoever runs the hub
	Made   time.Time `json:"made"`
	URL    string    `json:"url,omitzero"` // shown once, when it is made
}

// Calendars answers GET PathCalendars, without addresses.
type Calendars struct {
	Calendars []Calendar `json:"calendars"`
}
