// Package demo plays the scripts of an invented builder's week into a hub, by
// a clock that it steps itself.
//
// A script is a text file in the wall-clock time of its site. Lines:
//
//	site NAME ZONE [shift=K]                the air of the hourly normals, K kelvin warmer; _: every site
//	person ID ROLE[,ROLE] NAME              who has a role there
//	device NAME phone PERSON                a device that signs for a person
//	device NAME station                     one that signs and belongs to nobody: a logger, a weather station
//	device NAME probe [wall=WALL]           one that cannot sign, and comes over MQTT with a password
//	       [joins=MOMENT]                   of any of them; not given: before the first entry of the site
//	       [shows=no]                       of a phone: nobody looks at it
//	       [answers=DURATION]               its person acknowledges what is urgent so long after it was shown
//	offline DEVICE FROM UNTIL [twice]       without a signal; sends all it kept at UNTIL
//	lost DEVICE MOMENT REASON               the keeper shuts it out
//	DATE TIME DEVICE KIND WALL|- key=value ... [as=LABEL] [say=WORDS]
//	tries DATE TIME DEVICE KIND WALL|- ...  what must be refused: it is written why, or the demo ends
//	look WALL MOMENT CRITERION WORDS        how a wall stands; if it is not shut by that, the demo ends
//	concrete WALL PLACED fresh= cement= ratio= core_mm= form= top=
//	probe DEVICE PLACE WALL FROM UNTIL      a reading per 15 minutes, a series per half hour
//	air DEVICE FROM UNTIL                   the same of the site's air, a series per hour
//	forecast DEVICE DATE DATE TIME hours=N  each day between the two dates
//	checks DEVICE WALL LIST MOMENT          the check list answered, as it should be
//	live MOMENT                             how far it is played at once; what follows, while people look on
//	end MOMENT                              when the scripts end
//
// A moment is DATE@TIME, or @TIME on the day of the line. In values, $LABEL
// names the event that was labelled so.
//
// Every device has joined as any other does, with a key of its own or a
// password, and records in the name of the one person whose device it is. Only
// the ids of the people are the script's: a hub that is no demo gives random ones.
//
// People are told as they would be: by their phones, which say what they have
// shown, and by mail, which a mail server of the demo's own takes.
//
// What the probes read is not measured: it is what a heat model of the wall and
// the air give, the top of the wall lying between the two (top= says where, 1
// being the core). Two runs publish the same data in the same order of demo
// time, so what the hub says is the same.
package demo
