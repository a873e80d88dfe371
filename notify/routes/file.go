package routes

import (
	"time"

	"earlyage/events"
	"earlyage/notify/notice"
)

// Directory knows who there is.
type Directory interface {
	// People lists those who hold a role on a site, with their roles there, those
	// for every site among them; on site "_" those who hold a role on every site.
	// Nobody who has retired from it is among them.
	People(site string) []notice.Reader
}

// The sheets that are sent.
const (
	Morning = "morning"
	Evening = "evening"
	Weekly  = "weekly"
	Beat    = "beat"
)

// The channels that a file may name.
const (
	Phone = "phone"
	Push  = "push"
	Mail  = "mail"
	Hook  = "hook"
)

// File is a route file that was read and found good.
type File struct {
	Name   string // of the file; empty: there is none, and what is written here is the default
	Routes []Route
	Shifts []Shift
	Quiet  []Quiet
	Sheets []Sheet
	Hooks  []WebHook
	Mail   *MailServer // nil: no mail is sent
	Push   *PushSender // nil: no browser is reached
}

// Place is where in the file something stands.
type Place struct{ Line int }

// Route says who is told of the alerts that it matches. A member that is empty
// matches all.
type Route struct {
	Place
	Name     string
	Sites    []string
	Kinds    []string
	Priority string        // at least
	Acts     []events.Role // who acts first on the kind
	Hours    Hours         // in the site's zone
	Ladder   []Rung        // at least one; the last holds the dispatchers
}

// Rung is who is told together.
type Rung struct {
	After time.Duration // since the alert was raised; the first has 0
	Call
}

// Call names people and how to reach them.
type Call struct {
	Place
	Roles  []events.Role
	People []string // ids
	Shifts []string // names
	Hooks  []string // names
	By     []string // channels, the best first; none: all that there are
}

// Hours are a part of some days, in a site's zone. Both ends empty is the whole
// day; an end that is not after the beginning is on the next day.
type Hours struct {
	Days     []time.Weekday // on which they begin; none: every day
	Dates    []Date         // in the place of days
	From, To Clock
	Whole    bool // the whole day: From and To are not given
}

// Clock is a local time of day in minutes; 24:00 is 1440.
type Clock int

// Date is a local date.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// Shift is a line of a roster: who is on a site, and when. Several lines may bear
// one name: who is on the shift is everybody whose line holds.
type Shift struct {
	Place
	Name   string
	Site   string
	People []string
	Hours  Hours
}

// Quiet are hours in which what can wait is withheld, on sites or from people. It
// narrows what the desk lets wait and never widens it.
type Quiet struct {
	Place
	Sites    []string
	People   []string
	Kinds    []string // none: all that can wait
	Priority string   // at most; empty: all that can wait
	Hours    Hours
}

// Sheet says who gets a sheet. The first one that matches counts.
type Sheet struct {
	Sheet string
	Sites []string // none: all
	Call
}

// WebHook is an address that gets signed messages.
type WebHook struct {
	Place
	Name       string
	URL        string
	SecretFile string
}

// MailServer is where mail is handed in.
type MailServer struct {
	Place
	Server       string
	Port         int
	TLS          string // starttls or implicit
	User         string // empty: without a password
	PasswordFile string
	From         string
}

// PushSender is who answers for the messages to browsers (RFC 8292).
type PushSender struct {
	Place
	Contact string // mailto: or https:
}
