package scheduler

import (
	"slices"
	"time"

	"earlyage/events"
)

// The kinds of alert.
const (
	AlertJointClosing     = "joint-closing"
	AlertJointCold        = "joint-cold"
	AlertJointAtRisk      = "joint-at-risk"
	AlertRiseFast         = "rise-fast"
	AlertPressureHigh     = "pressure-high"
	AlertNotVibrated      = "not-vibrated"
	AlertSillUnfilled     = "sill-unfilled"
	AlertOpeningUneven    = "opening-uneven"
	AlertStopMisplaced    = "stop-misplaced"
	AlertLoadOld          = "load-old"
	AlertLoadTemperature  = "load-temperature"
	AlertLoadSlump        = "load-slump"
	AlertLineDue          = "line-due"
	AlertLineOut          = "line-out"
	AlertLineLate         = "line-late"
	AlertFormMoved        = "form-moved"
	AlertChecksOpen       = "checks-open"
	AlertBraceSpacing     = "brace-spacing"
	AlertBraceDisturbed   = "brace-disturbed"
	AlertFaceEarly        = "face-early"
	AlertBackfillEarly    = "backfill-early"
	AlertStripEarly       = "strip-early"
	AlertStripUnpermitted = "strip-unpermitted"
	AlertBraceOverdue     = "brace-overdue"
	AlertWindowLater      = "window-later"
	AlertProbeSilent      = "probe-silent"
	AlertFrostAhead       = "frost-ahead"
	AlertFrozen           = "frozen"
	AlertWindHigh         = "wind-high"
	AlertRecordGap        = "record-gap"
	AlertClockDoubtful    = "clock-doubtful"
	AlertEventRefused     = "event-refused"
	AlertStreamHole       = "stream-hole"
	AlertStreamShort      = "stream-short"
)

// Priorities of an alert, the most pressing first.
const (
	Urgent = "urgent" // act now
	High   = "high"   // act within the hour
	Medium = "medium" // act today
	Low    = "low"    // know of it
)

// AlertKind is what is known beforehand of one kind of alert. The texts are for
// people on a site and in the office.
type AlertKind struct {
	Name        string // as a heading
	Priority    string
	Cause       string        // what makes it
	Consequence string        // what happens if nobody acts
	Action      string        // what to do
	Respond     time.Duration // time there is to act
	Who         string        // who acts first: the title of events.ActsFirst

	// Latch: once raised, no recalculation clears it; only people close the matter.
	Latch bool
	// OnDelay is how long the alert must have been called for before it is raised,
	// beside any time that belongs to the condition itself (45 minutes of silence).
	OnDelay time.Duration
	// OffDelay is how long the condition must be gone before the alert is cleared.
	OffDelay time.Duration
}

// AlertKinds is the one table of alert kinds, shared by the code, the pages and
// the papers. It is never changed while the program runs.
var AlertKinds = addressed(map[string]AlertKind{
	AlertJointClosing: {
		Name: "Joint closing", Priority: Urgent,
		Cause:       "The open top of the concrete is close to the age at which new concrete no longer knits into it.",
		Consequence: "Past the limit the next lift makes a cold joint: a weak plane, and a leak.",
		Action:      "Place on this stretch now. If no load can reach it in time, stop at a planned place and say so in the record.",
		Respond:     10 * time.Minute, OffDelay: time.Minute,
	},
	AlertJointCold: {
		Name: "Cold joint", Priority: High,
		Cause:       "Concrete was placed on a surface past its limit.",
		Consequence: "The wall may not act as one piece there. The bracing stays until the joint is answered.",
		Action:      "Mark the stretch. Ask the engineer what is to be done, do it, and record how the joint was treated and on whose word.",
		Respond:     4 * time.Hour, Latch: true,
	},
	AlertJointAtRisk: {
		Name: "Joint at risk", Priority: Urgent,
		Cause:       "No load that is on the road, on site or ordered can be placed on this concrete before it no longer knits.",
		Consequence: "The next lift makes a cold joint there, and the bracing stays until an engineer has answered it.",
		Action:      "Have a load batched now, or bring one forward. If none can come in time, carry the pass to a planned place, stop there, and say so in the record.",
		Respond:     15 * time.Minute, OffDelay: time.Minute,
	},
	AlertPressureHigh: {
		Name: "Form loaded over its rating", Priority: Urgent,
		Cause:       "Concrete stands so high and so fresh that it presses harder on the form than the form is rated for.",
		Consequence: "The form can bulge or burst, with people beside it.",
		Action:      "Stop placing there and clear the people from both sides. Look at ties, corners and bucks. Go on elsewhere, and come back when the page says so.",
		Respond:     10 * time.Minute, OffDelay: 5 * time.Minute,
	},
	AlertNotVibrated: {
		Name: "Not vibrated", Priority: High,
		Cause:       "Concrete was declared not vibrated.",
		Consequence: "Voids and honeycomb, and no bond to the layer below.",
		Action:      "Vibrate it while the head still sinks in by itself. After that mark the stretch, look at it when the form comes off or a panel is opened, and enter what was seen.",
		Respond:     30 * time.Minute, OffDelay: time.Minute,
	},
	AlertSillUnfilled: {
		Name: "Void under an opening", Priority: High,
		Cause:       "The concrete beside an opening stands above its sill, and below the opening it does not.",
		Consequence: "The buck is pushed up and in, and air stays caught under the sill.",
		Action:      "Fill below the opening from one side until the concrete shows on the other, before anything more is placed beside it.",
		Respond:     20 * time.Minute, OffDelay: time.Minute,
	},
	AlertOpeningUneven: {
		Name: "Uneven beside an opening", Priority: High,
		Cause:       "On one side of an opening the concrete has stood over 0.3 m higher than on the other for 10 minutes.",
		Consequence: "The buck is pushed sideways, and the opening is no longer square.",
		Action:      "Place on the low side next. Look at the buck's bracing and measure both diagonals.",
		Respond:     20 * time.Minute, OffDelay: time.Minute,
	},
	AlertStopMisplaced: {
		Name: "Stop in a bad place", Priority: High,
		Cause:       "Placing stands still with the end of the concrete at a corner or against an opening.",
		Consequence: "The joint lies where the wall is weakest and the form is loaded on one side only.",
		Action:      "Carry the lift on to at least 0.6 m past the corner, or clear of the opening, while it is soft. If no concrete can come, cut the end back to such a place, key it, and set the dowels.",
		Respond:     20 * time.Minute, OffDelay: time.Minute,
	},
	AlertRiseFast: {
		Name: "Rising too fast", Priority: Urgent,
		Cause:       "More concrete was placed here within 60 minutes than the site allows.",
		Consequence: "The form carries more pressure than planned: it can bulge or burst.",
		Action:      "Move the hose on. Look at the form and its ties here before the next lift.",
		Respond:     5 * time.Minute, OffDelay: 5 * time.Minute,
	},
	AlertLoadOld: {
		Name: "Load too old", Priority: High,
		Cause:       "A load is older than the site allows and is not yet all placed.",
		Consequence: "It stiffens, fills badly and shortens the life of the joint it leaves.",
		Action:      "Check the slump and the temperature. Place it at once or send it back. Never add water to win time.",
		Respond:     10 * time.Minute, OffDelay: time.Minute,
	},
	AlertLoadTemperature: {
		Name: "Load too hot or too cold", Priority: High,
		Cause:       "The concrete of a load was measured outside the limits for its temperature.",
		Consequence: "Hot concrete sets before it is placed and joined. Cold concrete does not gain strength, and freezes.",
		Action:      "Measure again. Send the load back, or use it on the foreman's word and shorten the joint, or cover and heat the stretch. Tell the plant before the next load.",
		Respond:     15 * time.Minute, OffDelay: time.Minute,
	},
	AlertLoadSlump: {
		Name: "Load outside its slump", Priority: High,
		Cause:       "The slump of a load was measured outside the tolerance for what was ordered.",
		Consequence: "Too stiff, it leaves voids. Too wet, it presses harder on the form and is weaker.",
		Action:      "Measure again. Water is added once, on arrival and within the mix's limit, or the load goes back. Over 175 mm take the form as full of liquid.",
		Respond:     15 * time.Minute, OffDelay: time.Minute,
	},
	AlertLineDue: {
		Name: "String line not read", Priority: High,
		Cause:       "Forty-five minutes after the last concrete nobody has read the string line.",
		Consequence: "A wall that is out can be pushed straight only before it sets.",
		Action:      "Read the line at every brace, correct with the adjusters, and enter both.",
		Respond:     20 * time.Minute, OffDelay: time.Minute,
	},
	AlertLineOut: {
		Name: "Wall out of line", Priority: Urgent,
		Cause:       "The last reading of the string line is outside its tolerance, and the concrete can still be moved.",
		Consequence: "After initial set the wall stays as it stands, and the window stays shut until an engineer has said something to it.",
		Action:      "Turn the adjusters evenly, from the middle of the bow outwards, before the time given. Read again and enter it.",
		Respond:     15 * time.Minute, OffDelay: time.Minute,
	},
	AlertLineLate: {
		Name: "Wall moved after initial set", Priority: High,
		Cause:       "The wall was corrected with the adjusters when the last lift had begun to set.",
		Consequence: "Young concrete cracks when it is bent, and the crack may not show.",
		Action:      "Move nothing more. Have the concrete looked at where it was moved, and enter what was seen.",
		Respond:     4 * time.Hour, OffDelay: time.Minute,
	},
	AlertFormMoved: {
		Name: "Form moved", Priority: Urgent,
		Cause:       "A bulge, a blow-out or a form that rose was entered.",
		Consequence: "More concrete there makes it worse, and people stand beside it.",
		Action:      "Stop placing there and clear both sides. Strap and brace it, let the concrete stiffen, then have it looked at and enter what was seen.",
		Respond:     10 * time.Minute, OffDelay: time.Minute,
	},
	AlertChecksOpen: {
		Name: "Checks open at the pour", Priority: High,
		Cause:       "Concrete was placed before the check list was complete.",
		Consequence: "What nobody looked at is found by the concrete: ties, bucks, braces, bars.",
		Action:      "Answer the open items now, those with a number first. What cannot be seen any more is said so, with a note.",
		Respond:     30 * time.Minute, OffDelay: time.Minute,
	},
	AlertBraceSpacing: {
		Name: "Braces too far apart", Priority: High,
		Cause:       "Braces stand over 1.8 m apart, or none stands by a corner or an opening, and concrete is in the form.",
		Consequence: "The wall bows or leans between them while it is soft, and wind has a hold on it.",
		Action:      "Set a brace at each place named. If the form's documentation allows more, have the engineer say so.",
		Respond:     30 * time.Minute, OffDelay: time.Minute,
	},
	AlertBraceDisturbed: {
		Name: "Brace disturbed", Priority: Urgent,
		Cause:       "A brace was knocked, or moved by wind or thaw, and nobody has found it sound since.",
		Consequence: "What holds the wall up may not hold it.",
		Action:      "Keep people out to the wall's height + 1.2 m. Look at feet, adjuster and fixings, make it sound, and enter the inspection.",
		Respond:     30 * time.Minute, OffDelay: time.Minute,
	},
	AlertFaceEarly: {
		Name: "Form face off too early", Priority: High,
		Cause:       "A face of the form was taken off before its time, or while it carried braces.",
		Consequence: "Corners and faces break off, the surface dries and cools too fast, and with the braces the wall loses its support.",
		Action:      "Put the braces back on if any went with it, and keep people out to the wall's height + 1.2 m until they stand. Cover the face against cold and drying. Have the concrete looked at.",
		Respond:     time.Hour, Latch: true,
	},
	AlertBackfillEarly: {
		Name: "Backfill without release", Priority: Urgent,
		Cause:       "Earth was placed against the wall, and no engineer has released it.",
		Consequence: "Earth pushes a wall over that no floor holds yet. Most walls that fail, fail so.",
		Action:      "Stop filling, keep machines a wall's height away and people out. Ask the engineer.",
		Respond:     30 * time.Minute, OffDelay: time.Minute,
	},
	AlertStripEarly: {
		Name: "Brace stripped early", Priority: Urgent,
		Cause:       "Braces were taken off before the window was open.",
		Consequence: "The wall can lean, crack or fall.",
		Action:      "Keep everyone clear of both sides, put the braces back, and have a competent person look at the wall.",
		Respond:     5 * time.Minute, Latch: true,
	},
	AlertStripUnpermitted: {
		Name: "Brace stripped without a permit", Priority: High,
		Cause:       "Braces were taken off and no permit to strip covers them.",
		Consequence: "Nobody is known to have looked before the wall lost its support.",
		Action:      "Have a competent person look at the wall now, and record what was seen.",
		Respond:     30 * time.Minute, Latch: true,
	},
	AlertBraceOverdue: {
		Name: "Brace overdue", Priority: Medium,
		Cause:       "The window has been open for longer than the site's limit and braces still stand.",
		Consequence: "The next wall waits for them.",
		Action:      "Ask for the permit and strip, or record why the braces stay.",
		Respond:     24 * time.Hour, OffDelay: time.Minute,
	},
	AlertWindowLater: {
		Name: "Window moved later", Priority: High,
		Cause:       "The time that was stated for this wall no longer holds: it is over 30 minutes later, or an open window is shut again.",
		Consequence: "A permit or a plan made on the earlier word would strip too soon.",
		Action:      "Tell whoever plans to strip. Withdraw the permit, or wait for the new time.",
		Respond:     30 * time.Minute, OffDelay: 10 * time.Minute,
	},
	AlertProbeSilent: {
		Name: "Probe silent", Priority: Medium,
		Cause:       "A temperature probe on a curing wall has sent nothing for 45 minutes.",
		Consequence: "The wall is reckoned by the coldest other source: its window comes later.",
		Action:      "Look at the probe and its gateway, or read a thermometer at the top of the wall and enter it.",
		Respond:     2 * time.Hour, OffDelay: 5 * time.Minute,
	},
	AlertFrostAhead: {
		Name: "Frost ahead", Priority: High,
		Cause:       "Frost is forecast before this concrete can stand it.",
		Consequence: "Concrete that freezes young loses strength for good.",
		Action:      "Cover the top, put blankets on, or bring heat before the cold comes.",
		Respond:     2 * time.Hour, OffDelay: 30 * time.Minute,
	},
	AlertFrozen: {
		Name: "Frozen young", Priority: Urgent,
		Cause:       "The concrete was at or below freezing before it had 3.5 MPa.",
		Consequence: "It may never reach its strength. The window stays shut until an engineer answers.",
		Action:      "Keep the braces. Warm the wall. Call the engineer.",
		Respond:     time.Hour, Latch: true,
	},
	AlertWindHigh: {
		Name: "Gust over the limit", Priority: Urgent,
		Cause:       "A gust over the site's limit was measured, and only its braces hold the wall or its empty form.",
		Consequence: "An empty form is a sail: the bracing can slip or fail, and the wall can fall.",
		Action:      "Keep out to the wall's height + 1.2 m. Strip nothing, place nothing. When it is over, look at every brace and record it.",
		Respond:     5 * time.Minute, OffDelay: 5 * time.Minute,
	},
	AlertRecordGap: {
		Name: "Record gap", Priority: High,
		Cause:       "Entries of a device are missing: its numbers have a gap.",
		Consequence: "A lift or a hold may be unknown here. Every window of the site stays shut.",
		Action:      "Bring the device into coverage and open its page until its outbox is empty. If it is lost, have the numbers written off by name.",
		Respond:     time.Hour, OffDelay: time.Minute,
	},
	AlertClockDoubtful: {
		Name: "Clock doubtful", Priority: High,
		Cause:       "A clock that the answers rest on has jumped, disagrees with the others, or was never checked.",
		Consequence: "No age and no time to strip can be trusted. Windows stay shut, and joints count as older.",
		Action:      "Set the clock right from a time server. Compare the phones of the site with a clock that you trust.",
		Respond:     time.Hour, OnDelay: 2 * time.Minute, OffDelay: time.Minute,
	},
	AlertEventRefused: {
		Name: "Entry refused", Priority: Medium,
		Cause:       "An entry came in that cannot be accepted.",
		Consequence: "What it meant to say is not in the record. It stands as a doubt on its wall until a person answers it.",
		Action:      "Read the reason, enter the matter again rightly, and settle the doubt by name.",
		Respond:     4 * time.Hour, OffDelay: time.Minute,
	},
	AlertStreamHole: {
		Name: "Entries lost in the store", Priority: Urgent,
		Cause:       "Numbers are missing in the stream itself: entries that were taken in are gone.",
		Consequence: "Anything may be missing. All windows stay shut.",
		Action:      "Bring the entries back from the devices or from a copy, then accept the hole by name.",
		Respond:     time.Hour, OffDelay: time.Minute,
	},
	AlertStreamShort: {
		Name: "Stream shorter than the record", Priority: Urgent,
		Cause:       "The stream ends before what was already read from it.",
		Consequence: "Nothing is stated and nobody is told until it is mended. What the pages show is stale.",
		Action:      "Strip nothing by this record. Restore the stream from a copy.",
		Respond:     15 * time.Minute, OffDelay: time.Minute,
	},
})

// addressed takes from the vocabulary who acts first on each kind of alert, so
// that it and who may answer (events.Addressees) come from one table.
func addressed(kinds map[string]AlertKind) map[string]AlertKind {
	for name, kind := range kinds {
		kind.Who = events.ActsFirst(name).Title()
		kinds[name] = kind
	}
	return kinds
}

// AlertKindNames lists the kinds in alphabetical order.
func AlertKindNames() []string {
	names := make([]string, 0, len(AlertKinds))
	for k := range AlertKinds {
		names = append(names, k)
	}
	slices.Sort(names)
	return names
}
