package main

import "earlyage/cmd/earlyage/internal/calc"

// grammar is the whole command line.
type grammar struct {
	Demo    demoCmd      `cmd:"" help:"Play an invented builder's week through a hub of its own and show what is said."`
	Serve   serveCmd     `cmd:"" help:"Run the hub."`
	Record  recordCmd    `cmd:"" help:"Record an event, or a file of them, through an outbox."`
	Walls   wallsCmd     `cmd:"" help:"All walls: state, when to strip, what governs."`
	Wall    wallCmd      `cmd:"" help:"One wall, criterion by criterion."`
	Alerts  alertsCmd    `cmd:"" help:"Alerts that stand, and messages that were refused."`
	Watch   watchCmd     `cmd:"" help:"What changes, as it changes."`
	Assess  assessCmd    `cmd:"" help:"Assess a recorded stream, with no server at all."`
	Calc    calc.Command `cmd:"" help:"Compute the numbers of early-age concrete, with working and sources."`
	Schema  schemaCmd    `cmd:"" help:"The JSON Schema of an event, or the list of all events."`
	Rebuild rebuildCmd   `cmd:"" help:"Build the view anew beside the old one, and compare."`
	Health  healthCmd    `cmd:"" help:"Ask the hub how it is. The exit status says it too."`
}
