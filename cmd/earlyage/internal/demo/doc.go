// Package demo plays the scripts of an invented builder's week into a hub, by
// a clock that it steps itself.
//
// A script is a text file in the wall-clock time of its site. Lines:
//
//	site NAME ZONE [shift=K]                the air of the hourly normals, K kelvin warmer
//	device NAME outbox|mqtt                 how it takes part
//	offline DEVICE FROM UNTIL [twice]       without a signal; sends all it kept at UNTIL
//	DATE TIME DEVICE [PERSON] KIND WALL|- key=value ... [as=LABEL]
//	concrete WALL PLACED fresh= cement= ratio= core_mm= form= top=
//	probe DEVICE PLACE WALL FROM UNTIL      a reading per 15 minutes, a series per half hour
//	air DEVICE FROM UNTIL                   the same of the site's air, a series per hour
//	forecast DEVICE DATE DATE TIME hours=N  each day between the two dates
//	checks DEVICE PERSON WALL LIST MOMENT   the check list answered, as it should be
//	end MOMENT                              when the demo ends
//
// A moment is DATE@TIME, or @TIME on the day of the line. In values, $LABEL
// names the event that was labelled so.
//
// What the probes read is not measured: it is what a heat model of the wall and
// the air give, the top of the wall lying between the two (top= says where, 1
// being the core). Two runs publish the same data in the same order of demo
// time, so what the hub says is the same.
package demo
