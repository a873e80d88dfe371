package notice

import "time"

// Body is a message as JSON, for the channels that carry data and not a letter.
// A receiver passes over an id that it has had, and members that it does not know.
type Body struct {
	ID       string    `json:"id"`
	What     string    `json:"what"` // raised, cleared, summary, sheet, test
	Alerts   []string  `json:"alerts,omitzero"`
	Kind     string    `json:"kind,omitzero"`
	Site     string    `json:"site,omitzero"`
	Wall     string    `json:"wall,omitzero"`
	Priority string    `json:"priority,omitzero"`
	Urgent   bool      `json:"urgent,omitzero"`
	At       time.Time `json:"at"`             // when it was made, UTC
	Until    time.Time `json:"until,omitzero"` // after which it is of no use, UTC
	Step     int       `json:"step"`
	First    string    `json:"first"`
	Short    string    `json:"short,omitzero"`
	Plain    string    `json:"plain,omitzero"`
	Link     string    `json:"link,omitzero"`
}

// Body returns what of the message a machine is told. The reader is not in it.
func (m Message) Body() Body {
	b := Body{
		ID: m.ID, What: m.What, Alerts: m.Alerts, Kind: m.Kind, Site: m.Site, Wall: m.Wall, Priority: m.Priority, Urgent: m.Urgent,
		At: m.At.UTC(), Step: m.Step, First: m.First, Short: m.Short, Plain: m.Plain, Link: m.Link,
	}
	if !m.Until.IsZero() {
		b.Until = m.Until.UTC()
	}
	return b
}
