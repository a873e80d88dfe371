// Package events is the vocabulary of the record: one Go type for each event
// that a device, a person or the scheduler may publish, the CloudEvents
// envelope around it, its NATS subject, its validation and its JSON Schema.
//
// The package is pure: no I/O, no clock, no goroutine. An Event that Decode
// returned is valid; whatever is wrong with a message is said by a *Refusal
// that names the field, the value and what is allowed. Values are in SI units,
// and the unit stands at the end of the field's name (top_m, gust_mps).
//
// All types are safe for concurrent reading.
package events
