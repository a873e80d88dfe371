package events

import "time"

// WindowStated is what the hub said of a wall's window, with what it rests on.
type WindowStated struct {
	At        time.Time `json:"at" rule:"need" doc:"the moment that it speaks of"`
	Open      bool      `json:"open" doc:"true: by the record, every criterion is met at that moment"`
	State     string    `json:"state" rule:"need,token" doc:"state of the wall"`
	CuredAt   time.Time `json:"cured_at,omitzero" doc:"when the last criterion of time and temperature was met; not given: not yet"`
	Earliest  time.Time `json:"earliest,omitzero" doc:"earliest time to strip, as far as the record decides it; not given: not yet decided"`
	Early     time.Time `json:"early,omitzero" doc:"expected time to strip, if it stays as warm as may be"`
	Likely    time.Time `json:"likely,omitzero" doc:"expected time to strip, by the forecast"`
	Late      time.Time `json:"late,omitzero" doc:"expected time to strip, if it turns as cold as may be"`
	Governs   string    `json:"governs" rule:"need,token" doc:"which criterion governs"`
	Text      string    `json:"text" rule:"need,len 1..1000" doc:"in words, with the caution"`
	Rules     string    `json:"rules" rule:"need,len 1..40" doc:"version of the rule set"`
	Through   uint64    `json:"through" doc:"stream sequence that the record was read through"`
	Digest    string    `json:"digest" rule:"need,hex64" doc:"SHA-256 of the state that it was computed from"`
	Preceding uint64    `json:"preceding,omitzero" doc:"stream sequence of the statement before it"`
}

func (d *WindowStated) check() error           { return nil }
func (d *WindowStated) span() (b, e time.Time) { return d.At, d.At }

// AlertRaised asks for a person.
type AlertRaised struct {
	Alert     string    `json:"alert" rule:"need,len 1..64" doc:"the alert's id"`
	Kind      string    `json:"kind" rule:"need,token" doc:"kind of alert"`
	Cause     string    `json:"cause" rule:"need,len 1..200" doc:"what it is about: one standing alert for each kind and cause"`
	Priority  string    `json:"priority" rule:"need,urgent|high|medium|low" doc:"how urgent"`
	Since     time.Time `json:"since" rule:"need" doc:"since when the condition holds"`
	Text      string    `json:"text" rule:"need,len 1..1000" doc:"what, where, until when, what to do"`
	Rules     string    `json:"rules" rule:"need,len 1..40" doc:"version of the rule set"`
	Preceding uint64    `json:"preceding,omitzero" doc:"stream sequence of the last word on this kind and cause"`
}

func (d *AlertRaised) check() error           { return nil }
func (d *AlertRaised) span() (b, e time.Time) { return d.Since, d.Since }

// AlertCleared says that the condition is over.
type AlertCleared struct {
	Alert string    `json:"alert" rule:"need,len 1..64" doc:"the alert's id"`
	Kind  string    `json:"kind" rule:"need,token" doc:"kind of alert"`
	Cause string    `json:"cause" rule:"need,len 1..200" doc:"what it was about"`
	At    time.Time `json:"at" rule:"need" doc:"when"`
	Rules string    `json:"rules" rule:"need,len 1..40" doc:"version of the rule set"`
}

func (d *AlertCleared) check() error           { return nil }
func (d *AlertCleared) span() (b, e time.Time) { return d.At, d.At }

// AlertAcknowledged says that a person has seen an alert.
type AlertAcknowledged struct {
	Alert string    `json:"alert" rule:"need,len 1..64" doc:"the alert's id"`
	Kind  string    `json:"kind,omitzero" rule:"token" doc:"kind of the alert, which says who may answer it; not given: an entry of the time before devices were enrolled"`
	At    time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Note  string    `json:"note,omitzero" doc:"what is being done"`
}

func (d *AlertAcknowledged) check() error           { return nil }
func (d *AlertAcknowledged) span() (b, e time.Time) { return d.At, d.At }

// AlertShelved puts an alert off.
type AlertShelved struct {
	Alert  string    `json:"alert" rule:"need,len 1..64" doc:"the alert's id"`
	Kind   string    `json:"kind,omitzero" rule:"token" doc:"kind of the alert, which says who may answer it; not given: an entry of the time before devices were enrolled"`
	At     time.Time `json:"at" rule:"need" doc:"from when"`
	Until  time.Time `json:"until" rule:"need" doc:"to when, at most 8 h"`
	Reason string    `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *AlertShelved) check() error {
	if !d.Until.After(d.At) || d.Until.Sub(d.At) > 8*time.Hour {
		return refuse("data.until", d.Until.Format(time.RFC3339), "after at, by at most 8 h")
	}
	return nil
}
func (d *AlertShelved) span() (b, e time.Time) { return d.At, d.At }

// SheetWall is one line of the morning sheet.
type SheetWall struct {
	Wall string    `json:"wall" rule:"need,token" doc:"the wall"`
	What string    `json:"what" rule:"need,may-strip|expected|overdue|waiting" doc:"in which part of the sheet"`
	At   time.Time `json:"at,omitzero" doc:"open since, or expected at"`
	Text string    `json:"text,omitzero" doc:"in words, with what governs"`
}

// SheetIssued is the morning sheet of a site.
type SheetIssued struct {
	Date  string      `json:"date" rule:"need,yyyy-mm-dd" doc:"the site's local date"`
	At    time.Time   `json:"at" rule:"need" doc:"when it was due"`
	Walls []SheetWall `json:"walls,omitzero" rule:"len 0..2000" doc:"one line for each wall"`
	Rules string      `json:"rules" rule:"need,len 1..40" doc:"version of the rule set"`
}

func (d *SheetIssued) check() error           { return nil }
func (d *SheetIssued) span() (b, e time.Time) { return d.At, d.At }
