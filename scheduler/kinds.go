package scheduler

import (
	"slices"
	"time"

	"earlyage/events"
)

//go:generate go run ./internal/alertpage/write

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
	AlertPermitEarly      = "permit-early"
	AlertPermitShaken     = "permit-shaken"
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
	AlertUntold           = "alert-untold"
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
	Do          string        // the same for a short message: imperative, at most 60 characters
	Deadband    string        // how far a value has to come back before the alert may clear, or why none
	Respond     time.Duration // time there is to act
	Who         string        // who acts first: the title of events.ActsFirst

	// Latch: once raised, no recalculation clears it before one of its addressees
	// has acknowledged it. Then it is cleared once the condition is gone.
	Latch bool
	// Once is of a latched kind that tells of a deed, which nothing undoes: it is
	// cleared once it is acknowledged, and the same cause is never raised again.
	Once bool
	// OnDelay is how long the alert must have been called for before it is raised,
	// beside any time that belongs to the condition itself (45 minutes of silence).
	OnDelay time.Duration
	// OffDelay is how long the condition must be gone before the alert is cleared.
	OffDelay time.Duration
}

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
