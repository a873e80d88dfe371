package scheduler

import (
	"slices"
	"time"
)

// The kinds of alert.
const (
	AlertJointClosing     = "joint-closing"
	AlertJointCold        = "joint-cold"
	AlertRiseFast         = "rise-fast"
	AlertLoadOld          = "load-old"
	AlertStripEarly       = "strip-early"
	AlertStripUnpermitted = "strip-unpermitted"
	AlertBraceOverdue     = "brace-overdue"
	AlertWindowLater      = "window-later"
	AlertProbeSilent      = "probe-silent"
	AlertFrostAhead       = "frost-ahead"
	AlertFrozen           = "frozen"
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
	Who         string        // who acts first

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
var AlertKinds = map[string]AlertKind{
	AlertJointClosing: {
		Name: "Joint closing", Priority: Urgent,
		Cause:       "The open top of the concrete is close to the age at which new concrete no longer knits into it.",
		Consequence: "Past the limit the next lift makes a cold joint: a weak plane, and a leak.",
		Action:      "Place on this stretch now. If no load can reach it in time, stop at a planned place and say so in the record.",
		Respond:     10 * time.Minute, Who: "crew", OffDelay: time.Minute,
	},
	AlertJointCold: {
		Name: "Cold joint", Priority: High,
		Cause:       "Concrete was placed on a surface past its limit.",
		Consequence: "The wall may not act as one piece there. The bracing stays until the joint is answered.",
		Action:      "Mark the stretch. Ask the engineer what is to be done, do it, and record how the joint was treated and on whose word.",
		Respond:     4 * time.Hour, Who: "foreman", Latch: true,
	},
	AlertRiseFast: {
		Name: "Rising too fast", Priority: Urgent,
		Cause:       "More concrete was placed here within 60 minutes than the site allows.",
		Consequence: "The form carries more pressure than planned: it can bulge or burst.",
		Action:      "Move the hose on. Look at the form and its ties here before the next lift.",
		Respond:     5 * time.Minute, Who: "crew", OffDelay: 5 * time.Minute,
	},
	AlertLoadOld: {
		Name: "Load too old", Priority: High,
		Cause:       "A load is older than the site allows and is not yet all placed.",
		Consequence: "It stiffens, fills badly and shortens the life of the joint it leaves.",
		Action:      "Check the slump and the temperature. Place it at once or send it back. Never add water to win time.",
		Respond:     10 * time.Minute, Who: "foreman", OffDelay: time.Minute,
	},
	AlertStripEarly: {
		Name: "Brace stripped early", Priority: Urgent,
		Cause:       "Braces were taken off before the window was open.",
		Consequence: "The wall can lean, crack or fall.",
		Action:      "Keep everyone clear of both sides, put the braces back, and have a competent person look at the wall.",
		Respond:     5 * time.Minute, Who: "foreman", Latch: true,
	},
	AlertStripUnpermitted: {
		Name: "Brace stripped without a permit", Priority: High,
		Cause:       "Braces were taken off and no permit to strip covers them.",
		Consequence: "Nobody is known to have looked before the wall lost its support.",
		Action:      "Have a competent person look at the wall now, and record what was seen.",
		Respond:     30 * time.Minute, Who: "safety officer", Latch: true,
	},
	AlertBraceOverdue: {
		Name: "Brace overdue", Priority: Medium,
		Cause:       "The window has been open for longer than the site's limit and braces still stand.",
		Consequence: "The next wall waits for them.",
		Action:      "Ask for the permit and strip, or record why the braces stay.",
		Respond:     24 * time.Hour, Who: "dispatcher", OffDelay: time.Minute,
	},
	AlertWindowLater: {
		Name: "Window moved later", Priority: High,
		Cause:       "The time that was stated for this wall no longer holds: it is over 30 minutes later, or an open window is shut again.",
		Consequence: "A permit or a plan made on the earlier word would strip too soon.",
		Action:      "Tell whoever plans to strip. Withdraw the permit, or wait for the new time.",
		Respond:     30 * time.Minute, Who: "dispatcher", OffDelay: 10 * time.Minute,
	},
	AlertProbeSilent: {
		Name: "Probe silent", Priority: Medium,
		Cause:       "A temperature probe on a curing wall has sent nothing for 45 minutes.",
		Consequence: "The wall is reckoned by the coldest other source: its window comes later.",
		Action:      "Look at the probe and its gateway, or read a thermometer at the top of the wall and enter it.",
		Respond:     2 * time.Hour, Who: "crew", OffDelay: 5 * time.Minute,
	},
	AlertFrostAhead: {
		Name: "Frost ahead", Priority: High,
		Cause:       "Frost is forecast before this concrete can stand it.",
		Consequence: "Concrete that freezes young loses strength for good.",
		Action:      "Cover the top, put blankets on, or bring heat before the cold comes.",
		Respond:     2 * time.Hour, Who: "foreman", OffDelay: 30 * time.Minute,
	},
	AlertFrozen: {
		Name: "Frozen young", Priority: Urgent,
		Cause:       "The concrete was at or below freezing before it had 3.5 MPa.",
		Consequence: "It may never reach its strength. The window stays shut until an engineer answers.",
		Action:      "Keep the braces. Warm the wall. Call the engineer.",
		Respond:     time.Hour, Who: "engineer", Latch: true,
	},
	AlertRecordGap: {
		Name: "Record gap", Priority: High,
		Cause:       "Entries of a device are missing: its numbers have a gap.",
		Consequence: "A lift or a hold may be unknown here. Every window of the site stays shut.",
		Action:      "Bring the device into coverage and open its page until its outbox is empty. If it is lost, have the numbers written off by name.",
		Respond:     time.Hour, Who: "dispatcher", OffDelay: time.Minute,
	},
	AlertClockDoubtful: {
		Name: "Clock doubtful", Priority: High,
		Cause:       "A clock that the answers rest on has jumped, disagrees with the others, or was never checked.",
		Consequence: "No age and no time to strip can be trusted. Windows stay shut, and joints count as older.",
		Action:      "Set the clock right from a time server. Compare the phones of the site with a clock that you trust.",
		Respond:     time.Hour, Who: "keeper", OnDelay: 2 * time.Minute, OffDelay: time.Minute,
	},
	AlertEventRefused: {
		Name: "Entry refused", Priority: Medium,
		Cause:       "An entry came in that cannot be accepted.",
		Consequence: "What it meant to say is not in the record. It stands as a doubt on its wall until a person answers it.",
		Action:      "Read the reason, enter the matter again rightly, and settle the doubt by name.",
		Respond:     4 * time.Hour, Who: "dispatcher", OffDelay: time.Minute,
	},
	AlertStreamHole: {
		Name: "Entries lost in the store", Priority: Urgent,
		Cause:       "Numbers are missing in the stream itself: entries that were taken in are gone.",
		Consequence: "Anything may be missing. All windows stay shut.",
		Action:      "Bring the entries back from the devices or from a copy, then accept the hole by name.",
		Respond:     time.Hour, Who: "keeper", OffDelay: time.Minute,
	},
	AlertStreamShort: {
		Name: "Stream shorter than the record", Priority: Urgent,
		Cause:       "The stream ends before what was already read from it.",
		Consequence: "Nothing is stated and nobody is told until it is mended. What the pages show is stale.",
		Action:      "Strip nothing by this record. Restore the stream from a copy.",
		Respond:     15 * time.Minute, Who: "keeper", OffDelay: time.Minute,
	},
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
