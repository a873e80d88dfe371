// Package events is the vocabulary of the record: one Go type for each event
// that a device, a person or the scheduler may publish, the CloudEvents
// envelope around it, its NATS subject, its validation, its JSON Schema, and who
// may record it.
//
// The package is pure: no clock, no goroutine, and no I/O but the look-up of a
// time zone's name. An Event that Decode returned is valid; whatever is wrong
// with a message is said by a *Refusal that names the field, the value and what
// is allowed. Values are in SI units, and the unit stands at the end of the
// field's name (top_m, gust_mps). Times are in UTC once decoded, whatever
// offset they were written with. In data a member that has no value is left
// out: null is refused, as is any member that the kind does not have, since a
// misspelt one would be lost.
//
// All functions are safe for concurrent use, all types for concurrent reading.
package events
