package events

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// WindowStated is what the hub said of a wall's window, with what it rests on.
type WindowStated struct {
	At        time.Time `json:"at" rule:"need" doc:"the moment that it speaks of"`
	Open      bool      `json:"open" doc:"true: by the record, every criterion is met at that moment"`
	State     string    `json:"state" rule:"need,token" doc:"state of the wall"`
	CuredAt   time.Time `json:"cured_at,omitzero" doc:"when the last criterion of time and temperature was met; not given: not yet"`
	Earliest  time.Time `json:"earliest,omitzero" doc:"earliest time to strip, as far as the record decides it; not given: not yet decided"`
	Early     time.Time `json:"early,omitzero" doc:"expected time to strip, if it stays as warm as may be"`
	Likely    time.Time `json:"likely,omitzero" doc:"expected time to strip, by the forecast"`
	Late      time.Time `json:"late,omitzero" doc:"expected time to strip, if it turns as cold as may be"`
	Governs   string    `json:"governs" rule:"need,token" doc:"which criterion governs"`
	Text      string    `json:"text" rule:"need,len 1..1000" doc:"in words, with the caution"`
	Rules     string    `json:"rules" rule:"need,len 1..40" doc:"version of the rule set"`
	Through   uint64    `json:"through" doc:"stream sequence that the record was read through"`
	Digest    string    `json:"digest" rule:"need,hex64" doc:"SHA-256 of the state that it was computed from"`
	Preceding uint64    `json:"preceding,omitzero" doc:"stream sequence of the statement before it"`

	Policy      Target       `json:"policy,omitzero" doc:"the event that last set the site's policy; not given: a statement of the time before, or a site that was never opened"`
	CriterionBy string       `json:"criterion_by,omitzero" rule:"len 1..40" doc:"who set the criterion; not given: nobody"`
	CriterionAt time.Time    `json:"criterion_at,omitzero" doc:"when it was set"`
	Drawing     string       `json:"drawing,omitzero" rule:"len 1..80" doc:"the criterion's drawing"`
	Clause      string       `json:"clause,omitzero" rule:"len 1..80" doc:"the criterion's clause, or that no engineer set one"`
	Probe       *StatedProbe `json:"probe,omitzero" doc:"the probe that was counted last; not given: none"`
}

// StatedProbe is the probe that a statement counted last.
type StatedProbe struct {
	Probe       string   `json:"probe" rule:"need,len 1..80" doc:"its mark"`
	Place       string   `json:"place" rule:"need,len 1..20" doc:"where it reads: top, core, face or air"`
	AtM         *float64 `json:"at_m,omitzero" rule:"0..2000" unit:"m" doc:"station, as declared"`
	HeightM     *float64 `json:"height_m,omitzero" rule:"0..15" unit:"m" doc:"height above the wall's foot, as declared or read"`
	Calibrated  string   `json:"calibrated,omitzero" rule:"yyyy-mm-dd" doc:"day of its calibration; not given: not recorded"`
	Certificate string   `json:"certificate,omitzero" rule:"len 1..80" doc:"certificate of the calibration"`
}

func (d *WindowStated) check() error           { return nil }
func (d *WindowStated) span() (b, e time.Time) { return d.At, d.At }

// About is what an alert is about, as numbers. A member that plays no part is
// not given.
type About struct {
	FromM   *float64  `json:"from_m,omitzero" rule:"0..2000" unit:"m" doc:"station at which the place begins"`
	ToM     *float64  `json:"to_m,omitzero" rule:"0..2000" unit:"m" doc:"station at which the place ends"`
	Until   time.Time `json:"until,omitzero" doc:"until when there is time to act"`
	Braces  []string  `json:"braces,omitzero" rule:"token,len 0..500" doc:"the braces"`
	Load    string    `json:"load,omitzero" rule:"len 1..80" doc:"the load"`
	Device  string    `json:"device,omitzero" rule:"len 1..80" doc:"the device"`
	Measure string    `json:"measure,omitzero" rule:"height|line|temperature|wind|pressure|age|slump" doc:"what have and limit measure: height in m, line in mm, temperature in °C, wind in m/s, pressure in kPa, age in min, slump in mm"`
	Have    *float64  `json:"have,omitzero" doc:"what it is"`
	Limit   *float64  `json:"limit,omitzero" doc:"what it may be"`
	ClearM  *float64  `json:"clear_m,omitzero" rule:"0..30" unit:"m" doc:"how far people stay out: the wall's height and 1.2 m"`
}

// AlertRaised asks for a person.
type AlertRaised struct {
	Alert     string    `json:"alert" rule:"need,len 1..64" doc:"the alert's id"`
	Kind      string    `json:"kind" rule:"need,token" doc:"kind of alert"`
	Cause     string    `json:"cause" rule:"need,len 1..200" doc:"what it is about: one standing alert for each kind and cause"`
	Priority  string    `json:"priority" rule:"need,urgent|high|medium|low" doc:"how urgent"`
	Since     time.Time `json:"since" rule:"need" doc:"since when the condition holds"`
	Text      string    `json:"text" rule:"need,len 1..1000" doc:"what, where, until when, what to do"`
	About     *About    `json:"about,omitzero" doc:"the same as numbers, for messages in a reader's own units; not given: a word of the time before"`
	Rules     string    `json:"rules" rule:"need,len 1..40" doc:"version of the rule set"`
	Preceding uint64    `json:"preceding,omitzero" doc:"stream sequence of the last word on this kind and cause"`
}

func (d *AlertRaised) check() error           { return nil }
func (d *AlertRaised) span() (b, e time.Time) { return d.Since, d.Since }

// AlertCleared says that the condition is over.
type AlertCleared struct {
	Alert string    `json:"alert" rule:"need,len 1..64" doc:"the alert's id"`
	Kind  string    `json:"kind" rule:"need,token" doc:"kind of alert"`
	Cause string    `json:"cause" rule:"need,len 1..200" doc:"what it was about"`
	At    time.Time `json:"at" rule:"need" doc:"when"`
	Rules string    `json:"rules" rule:"need,len 1..40" doc:"version of the rule set"`
}

func (d *AlertCleared) check() error           { return nil }
func (d *AlertCleared) span() (b, e time.Time) { return d.At, d.At }

// AlertAcknowledged says that a person has seen an alert.
type AlertAcknowledged struct {
	Alert string    `json:"alert" rule:"need,len 1..64" doc:"the alert's id"`
	Kind  string    `json:"kind,omitzero" rule:"token" doc:"kind of the alert, which says who may answer it; not given: an entry of the time before devices were enrolled"`
	At    time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Note  string    `json:"note,omitzero" doc:"what is being done"`
}

func (d *AlertAcknowledged) check() error           { return nil }
func (d *AlertAcknowledged) span() (b, e time.Time) { return d.At, d.At }

// AlertShelved puts an alert off.
type AlertShelved struct {
	Alert  string    `json:"alert" rule:"need,len 1..64" doc:"the alert's id"`
	Kind   string    `json:"kind,omitzero" rule:"token" doc:"kind of the alert, which says who may answer it; not given: an entry of the time before devices were enrolled"`
	At     time.Time `json:"at" rule:"need" doc:"from when"`
	Until  time.Time `json:"until" rule:"need" doc:"to when, at most 8 h"`
	Reason string    `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *AlertShelved) check() error {
	if !d.Until.After(d.At) || d.Until.Sub(d.At) > 8*time.Hour {
		return refuse("data.until", d.Until.Format(time.RFC3339), "after at, by at most 8 h")
	}
	return nil
}
func (d *AlertShelved) span() (b, e time.Time) { return d.At, d.At }

// AlertUnshelved ends the putting off before its time.
type AlertUnshelved struct {
	Alert  string    `json:"alert" rule:"need,len 1..64" doc:"the alert's id"`
	Kind   string    `json:"kind" rule:"need,token" doc:"kind of the alert, which says who may answer it"`
	At     time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Reason string    `json:"reason,omitzero" rule:"len 1..500" doc:"why"`
}

func (d *AlertUnshelved) check() error           { return nil }
func (d *AlertUnshelved) span() (b, e time.Time) { return d.At, d.At }

// AlertOutOfService says that a kind of alert is told to nobody on a wall or a
// site while what makes it is being mended. It is raised, shown and kept as ever.
type AlertOutOfService struct {
	Kind   string    `json:"kind" rule:"need,token" doc:"kind of alert"`
	Cause  string    `json:"cause,omitzero" rule:"len 1..200" doc:"what it is about; not given: every cause"`
	At     time.Time `json:"at" rule:"need" doc:"from when"`
	Until  time.Time `json:"until" rule:"need" doc:"to when, at most 7 days"`
	Reason string    `json:"reason" rule:"need,len 1..500" doc:"what is being mended"`
}

func (d *AlertOutOfService) check() error {
	if !d.Until.After(d.At) || d.Until.Sub(d.At) > 7*24*time.Hour {
		return refuse("data.until", d.Until.Format(time.RFC3339), "after at, by at most 7 days")
	}
	if !MayRest(d.Kind) {
		return refuse("data.kind", clip(d.Kind), "a kind of alert that may go out of service: "+strings.Join(mayRest, ", "))
	}
	return nil
}
func (d *AlertOutOfService) span() (b, e time.Time) { return d.At, d.At }

// AlertInService ends it before its time.
type AlertInService struct {
	Kind   string    `json:"kind" rule:"need,token" doc:"kind of alert"`
	Cause  string    `json:"cause,omitzero" rule:"len 1..200" doc:"what it is about, as it was given"`
	At     time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Reason string    `json:"reason,omitzero" rule:"len 1..500" doc:"why"`
}

func (d *AlertInService) check() error           { return nil }
func (d *AlertInService) span() (b, e time.Time) { return d.At, d.At }

// mayRest lists the kinds that may go out of service: what a broken sensor or a
// broken clock makes. What concerns a joint, a form, a freeze or a brace never does.
var mayRest = []string{"alert-untold", "clock-doubtful", "event-refused", "probe-silent", "record-gap"}

// MayRest reports whether a kind of alert may go out of service.
func MayRest(alertKind string) bool { return slices.Contains(mayRest, alertKind) }

// AlertShown says that a page showed an alert to its person.
type AlertShown struct {
	Alert   string    `json:"alert" rule:"need,len 1..64" doc:"the alert's id"`
	Kind    string    `json:"kind" rule:"need,token" doc:"kind of the alert"`
	State   string    `json:"state" rule:"need,raised|cleared" doc:"what was shown of it"`
	Message string    `json:"message,omitzero" rule:"len 1..64" doc:"id of the message that brought it"`
	At      time.Time `json:"at" rule:"need" doc:"when"`
}

func (d *AlertShown) check() error           { return nil }
func (d *AlertShown) span() (b, e time.Time) { return d.At, d.At }

// AlertTold is what came of telling one person by one channel.
type AlertTold struct {
	Message string    `json:"message" rule:"need,len 1..64" doc:"id of the message: the same for every try"`
	Alerts  []string  `json:"alerts,omitzero" rule:"len 0..500" doc:"ids of the alerts that it tells of; a sheet has none"`
	What    string    `json:"what" rule:"need,raised|cleared|summary|sheet|test" doc:"what it tells"`
	Kind    string    `json:"kind,omitzero" rule:"token" doc:"kind of the alert; not given: of several, or none"`
	Person  string    `json:"person,omitzero" rule:"token" doc:"who was told; not given: nobody in particular"`
	Channel string    `json:"channel" rule:"need,token" doc:"by which channel"`
	Step    int64     `json:"step" rule:"0..20" doc:"how far it had climbed: 0 is who is told first"`
	Why     string    `json:"why,omitzero" rule:"len 1..200" doc:"which route or step chose the person"`
	Outcome string    `json:"outcome" rule:"need,accepted|failed|withheld" doc:"accepted by the channel; failed for good; withheld till a quieter hour"`
	Tries   int64     `json:"tries,omitzero" rule:"0..1000" doc:"how often it was tried"`
	Text    string    `json:"text" rule:"need,len 1..200" doc:"what was said, in short"`
	Error   string    `json:"error,omitzero" rule:"len 1..300" doc:"why it failed"`
	At      time.Time `json:"at" rule:"need" doc:"when"`
}

func (d *AlertTold) check() error           { return nil }
func (d *AlertTold) span() (b, e time.Time) { return d.At, d.At }

// SheetWall is one line of a sheet.
type SheetWall struct {
	Wall   string    `json:"wall" rule:"need,token" doc:"the wall"`
	What   string    `json:"what" rule:"need,may-strip|expected|overdue|waiting" doc:"in which part of the sheet"`
	At     time.Time `json:"at,omitzero" doc:"open since, or expected at"`
	Text   string    `json:"text,omitzero" doc:"in words, with what governs"`
	Braces int64     `json:"braces,omitzero" rule:"0..500" doc:"how many braces stand on it"`
	Frost  string    `json:"frost,omitzero" rule:"len 1..200" doc:"the frost that is forecast before it can stand it"`
}

// The sheets.
const (
	MorningSheet = "morning" // what may be stripped today
	EveningSheet = "evening" // what the night brings
	WeeklySheet  = "weekly"  // the bracing register of the week
	DailyBeat    = "beat"    // the hub is alive
)

// SheetIssued is a sheet of a site.
type SheetIssued struct {
	Sheet string      `json:"sheet,omitzero" rule:"morning|evening|weekly|beat" doc:"which sheet; not given: the morning's"`
	Date  string      `json:"date" rule:"need,yyyy-mm-dd" doc:"the site's local date"`
	At    time.Time   `json:"at" rule:"need" doc:"when it was due"`
	Walls []SheetWall `json:"walls,omitzero" rule:"len 0..2000" doc:"one line for each wall"`
	Rules string      `json:"rules" rule:"need,len 1..40" doc:"version of the rule set"`
}

// Name is which sheet it is.
func (d *SheetIssued) Name() string { return cmp.Or(d.Sheet, MorningSheet) }

func (d *SheetIssued) check() error           { return nil }
func (d *SheetIssued) span() (b, e time.Time) { return d.At, d.At }
