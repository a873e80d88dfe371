package main

import "earlyage/cmd/earlyage/internal/calc"

// grammar is the whole command line.
type grammar struct {
	Demo       demoCmd       `cmd:"" help:"Play an invented builder's week through a hub of its own and show what is said."`
	Serve      serveCmd      `cmd:"" help:"Run the hub."`
	Record     recordCmd     `cmd:"" help:"Record an event, or a file of them, through an outbox."`
	Join       joinCmd       `cmd:"" help:"Join a hub with the link of an invitation: this machine makes a key of its own."`
	Rotate     rotateCmd     `cmd:"" help:"Give this machine's device a new key; the old one ends."`
	Whoami     whoamiCmd     `cmd:"" help:"Who this machine is to the hub, and what it may record."`
	People     peopleCmd     `cmd:"" help:"Who may do what: add, list, change, retire."`
	Routes     routesCmd     `cmd:"" help:"Who is told of an alert: check a route file, show who would be told."`
	Told       toldCmd       `cmd:"" help:"What was told to whom, and what came of it; --test tells somebody that this is a test."`
	Ack        ackCmd        `cmd:"" help:"Acknowledge an alert, as this machine's device."`
	Calendar   calendarCmd   `cmd:"" help:"Calendar feeds: when the bracing of each wall may come off."`
	Lookout    lookoutCmd    `cmd:"" help:"Watch a hub from another machine, and tell when its heartbeat stays away."`
	Invite     inviteCmd     `cmd:"" help:"Invite a person's phone or browser: link, code, and a picture for a camera."`
	Devices    devicesCmd    `cmd:"" help:"Devices: list them, shut one out, enrol a probe."`
	Deploy     deployCmd     `cmd:"" help:"Configurations for what runs beside the hub."`
	Walls      wallsCmd      `cmd:"" help:"All walls: state, when to strip, what governs."`
	Wall       wallCmd       `cmd:"" help:"One wall, criterion by criterion."`
	Timeline   timelineCmd   `cmd:"" help:"Everything that was recorded of a wall, in order, as it stands or as it was known at a moment."`
	Alerts     alertsCmd     `cmd:"" help:"Alerts that stand or ended unanswered, and messages that were refused."`
	Register   registerCmd   `cmd:"" help:"The bracing register of a site or of all: table, CSV, XLSX, JSON, PDF; the paper and the bundle of a wall."`
	Checkpoint checkpointCmd `cmd:"" help:"What the record is now, signed by the hub: a checkpoint to be kept elsewhere."`
	Watch      watchCmd      `cmd:"" help:"What changes, as it changes."`
	Assess     assessCmd     `cmd:"" help:"Assess a recorded stream, with no server at all."`
	Calc       calc.Command  `cmd:"" help:"Compute the numbers of early-age concrete, with working and sources."`
	Schema     schemaCmd     `cmd:"" help:"The JSON Schema of an event, or the list of all events."`
	Rebuild    rebuildCmd    `cmd:"" help:"Build the view anew beside the old one, and compare."`
	Verify     verifyCmd     `cmd:"" help:"Check a bundle of a wall's record, without a hub."`
	Backup     backupCmd     `cmd:"" help:"Copy all that a running hub keeps."`
	Restore    restoreCmd    `cmd:"" help:"Make a hub's folder of such a copy."`
	Health     healthCmd     `cmd:"" help:"Ask the hub how it is. The exit status says it too."`
}
