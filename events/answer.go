package events

import "slices"

// latched lists the kinds of alert that stay until one of their addressees has
// answered, though what raised them is gone: what it left behind is not.
var latched = append([]string{"frozen", "joint-cold"}, deeds...)

// deeds are the kinds that tell of a deed: it is past when it is told, and
// nothing undoes it.
var deeds = []string{"face-early", "strip-early", "strip-unpermitted"}

// Latches reports whether an alert of the kind stays until it is acknowledged,
// whatever became of its condition.
func Latches(alertKind string) bool { return slices.Contains(latched, alertKind) }

// TellsOfDeed reports whether an alert of the kind tells of a deed, which is past
// when it is told. Every such kind latches.
func TellsOfDeed(alertKind string) bool { return slices.Contains(deeds, alertKind) }
