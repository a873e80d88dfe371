// Package wall is the fold: a set of events in, the state of one wall out.
//
// A wall's state is a function of the set of its events, whatever order they
// arrived in, however often, and however they were split into batches. The
// package is pure: no clock, no NATS, no disk, no goroutine. Sums and states
// are integers (milliseconds, millimetres, hundredths of a degree), so that the
// same record gives the same digits on every machine.
//
// Every time is an Interval: the earliest and the latest moment at which the
// thing can have happened, given what is known of the device's clock, of a late
// entry and of amendments that wait for a second person. A strip window reads
// the late end, a joint the early one.
//
// A State is not safe for concurrent use while Add or AddRefused runs; between
// those calls any number of readers may read it.
package wall
