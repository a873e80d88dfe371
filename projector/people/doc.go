// Package people is the register of who may do what: persons with their roles
// on each site, and devices with their keys.
//
// Order: a register is a function of the hub's identity events in the order of
// the stream, each counted once by its key. Neither an event's own time nor how
// the stream was cut plays a part. A key of a device holds for messages after
// the one that gave it, up to and including the one that ended it.
//
// Doubt: what the register does not know may do nothing. A device that was
// revoked never comes back, and no key ever counts for two devices.
//
// Concurrency: the package is pure. A Register never changes and may be shared;
// a Draft belongs to one goroutine.
package people
