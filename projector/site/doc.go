// Package site folds what is known of a whole site: its policy, mixes,
// engineer's criteria, weather and wind (State), and its devices with their
// numbers, gaps and reports (Devices).
//
// The package is pure, like package wall beside it. A State is a function of
// the set of its events; Devices follow the order of the stream, since a gap
// begins when it becomes known. Neither may be read while it is added to.
package site
