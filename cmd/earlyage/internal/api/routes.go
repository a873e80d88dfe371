package api

import (
	"time"

	"earlyage/notify/routes"
)

// Paths of who is told of an alert.
const (
	PathRoutes      = "/api/v1/routes"
	PathRoutesCheck = PathRoutes + "/check"
)

// Routes answers GET PathRoutes: who would be told of alerts on a site at a
// moment. Each kind has its usual priority.
type Routes struct {
	Site    string        `json:"site"`
	At      time.Time     `json:"at"`
	File    string        `json:"file,omitzero"`    // in force; empty: none, and all is by default
	Refused string        `json:"refused,omitzero"` // why what the file holds now is not in force
	Told    []routes.Told `json:"told"`
}

// RoutesCheck is the body of POST PathRoutesCheck.
type RoutesCheck struct {
	Name string `json:"name"` // of the file, for the mistakes
	Text string `json:"text"`
}

// RoutesChecked is the answer; no mistakes: the file is good.
type RoutesChecked struct {
	Mistakes []RoutesMistake `json:"mistakes"`
}

// RoutesMistake is one mistake in a route file.
type RoutesMistake struct {
	Line   int    `json:"line"`
	Field  string `json:"field,omitzero"`
	Reason string `json:"reason"`
}
