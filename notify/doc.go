// Package notify tells alerts: each alert that the hub raised or cleared goes to
// the log and to the NATS subject alert.<site>.<wall> ("_" for a whole site).
//
// Order and silence: it reads the stream from a place of its own, which it keeps
// in a small file. What was recorded before it was first switched on is never
// told, and neither a rebuilt record nor a replayed stream moves its place: a
// replay tells nothing. Alerts are told in the order of the stream, one at a time.
//
// Durability: the place moves after an alert was told. A stop between the two
// has the alert told again with the same id; a clean stop, or a stop at any other
// moment, tells nothing twice and loses nothing.
//
// Trust: only words signed with the hub's key are told.
//
// Concurrency: a Notifier is run by one goroutine; its file is locked.
package notify
