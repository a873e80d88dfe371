// Package routes says who is told of an alert, in which order and by which
// channels: a file in YAML, who is on shift, quiet hours, and the ladder that an
// alert climbs while nobody answers it.
//
// Guarantees: a file is taken whole or not at all, and every mistake in it is
// said with its line. No file makes a ladder slower than 2, 5 and 10 minutes,
// takes the dispatchers off its end, or keeps what was taken off too early from
// those who may answer it. Where a file leads to nobody, the ladder that needs no
// file is used, and in the end everybody who works on the site.
//
// Nothing here sends anything. A File and a Rota never change and may be shared
// by any number of goroutines; only Watch has a goroutine, that of its caller.
package routes
