package desk

import "time"

// Shelving and rest are never longer, whatever the word says.
const (
	longestShelf = 8 * time.Hour
	longestRest  = 7 * 24 * time.Hour
)

// The last rung is told again: an alert is never silently given up. After that it
// is listed as trouble.
const (
	repeatEvery = 10 * time.Minute
	repeats     = 6
	lastStep    = 20 // events.AlertTold has no higher one
)

// A letter is tried again after 1 s, 2 s, 4 s, up to 5 minutes. It has failed for
// good an hour after it became due, but not before the tenth try: after a long
// stop each letter has its chance.
const (
	firstBackoff   = time.Second
	longestBackoff = 5 * time.Minute
	tryFor         = time.Hour
	leastTries     = 10
	anotherWay     = 5 * time.Minute // the person's next channel is tried beside it
	showWithin     = 6 * time.Minute // no page has shown it: so too
	answerWithin   = 5 * time.Minute // no answer: it is handed out again
)

// A flood: more alerts to one person within rateOver than floodOver; it ends under
// floodUnder. The figures are those which IEC 62682 uses for one operator (quoted
// from memory).
const (
	rateOver    = 10 * time.Minute
	floodOver   = 10
	floodUnder  = 5
	gatherFor   = time.Minute
	summaryHold = 500 // alerts; events.AlertTold has no more
)

// How long a case stays.
const (
	returnedFor = 24 * time.Hour      // over and not acknowledged
	knownFor    = 30 * 24 * time.Hour // ended: the same word tells nobody anything
	knownMost   = 100_000             // ended cases; of more the oldest are forgotten
)

// earlyMost is how many answers are kept of an alert that is not raised yet. Of more
// the first ones count.
const earlyMost = 20

// A sheet is told within sheetWithin, the week's within weekWithin.
const (
	sheetWithin = 12 * time.Hour
	weekWithin  = 3 * 24 * time.Hour
)

// longestQuiet is how far a quieter hour may lie ahead; then the rota is asked again.
const longestQuiet = 24 * time.Hour
