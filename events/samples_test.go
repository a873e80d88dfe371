package events_test

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"earlyage/events"
)

// at is a moment of an invented January day.
func at(hour, minute int) time.Time {
	return time.Date(2026, 1, 12, hour, minute, 0, 0, time.UTC)
}

var target = events.Target{Source: "/site/north/device/phone-7", ID: "0195f1c0-8a5e-7cc0-9d3b-0a1b2c3d4e5f"}

// stationKey is the public key of an invented seed.
const stationKey = "UDVEU3DD4KOFECV66VIHWEZOYX4ZKR3WV27L464SIIPOU2IUI3JCYSJF"

var policy = events.Policy{
	FloorH: new(60.0), EquivalentH: new(48.0), Rule: new("arrhenius"), QK: new(5000.0), DatumC: new(0.0),
	JointMin: new(120.0), JointHotMin: new(90.0), GustMPS: new(9.0), PermitNeeded: new(true), TieInNeeded: new(false),
	OverdueH: new(72.0), RiseM: new(1.2), LoadMin: new(90.0), LineMM: new(6.0), StrengthMPa: new(10.0),
	SheetAt: new("05:30"), FaceH: new(24.0), ChecksNeeded: new(true), TravelMin: new(25.0), PermitWhole: new(true)}

// sampleData holds data of every kind, with all members where that can be.
var sampleData = map[events.Kind]events.Data{
	"site.opened":  &events.SiteOpened{Name: "North yard", Zone: "America/New_York", Units: "us", Policy: policy},
	"site.amended": &events.SiteAmended{Name: "North yard 2", Units: "si", Zone: "Australia/Lord_Howe", Policy: policy, Reason: "wrong zone"},
	"mix.approved": &events.MixApproved{Mix: "c25-w", Binder: "blended", Slag: 30, Ash: 5, Retarder: new(false), StrengthC: 25, WaterRatio: 0.5,
		SlumpMM: new(150.0), WeightKNM3: 24, Set: []events.InitialSet{{Minutes: new(360.0), Celsius: new(20.0)}},
		Relation: &events.Relation{SuMPa: new(40.0), KPerD: new(0.35), T0D: new(0.2)}},
	"criterion.set": &events.CriterionSet{Mix: "c25-w", FloorH: new(72.0), EquivalentH: new(60.0), StrengthMPa: new(7.5),
		CoreCounts: new(false), AgeSuffices: new(true), Role: "engineer", Drawing: "S-101", Clause: "3.2"},
	"checklist.amended": &events.ChecklistAmended{List: "before", Item: "neighbour-told", Change: "add", Text: "neighbour told of the pour", Least: new(1.0), Most: new(3.0),
		Unit: "d", Stop: true, Reason: "by the lease"},
	"device.reported": &events.DeviceReported{Last: 41, Walls: []events.WallLast{{Wall: "w1", Last: 40}}},
	"gap.written-off": &events.GapWrittenOff{Device: "phone-7", From: 12, To: 13, Reason: "phone fell into the form"},
	"hole.accepted":   &events.HoleAccepted{From: 1000, To: 1000, Reason: "healed from the devices"},

	"wall.laid-out": &events.WallLaidOut{Name: "North wall", LengthM: new(12.5), HeightM: new(2.75), TopM: new(2.7), CoreMM: new(150.0), Closed: false,
		Legs:     []events.Leg{{LengthM: new(8.0), TurnDeg: new(90.0)}, {LengthM: new(4.5), CoreMM: new(200.0)}},
		Openings: []events.Opening{{FromM: new(2.0), ToM: new(3.2), SillM: new(0.9), HeadM: new(2.1), Name: "w-3"}},
		Form:     "insulating", RatedKPa: new(30.0), Mix: "c25-w", Crew: "crew-a",
		Braces: []events.BracePlan{{Name: "b1", AtM: new(0.9)}, {Name: "b2", AtM: new(2.7)}}, CourseMM: new(400.0),
		Bulkheads: []events.Bulkhead{{Name: "k1", AtM: new(8.0)}}, Pilasters: []events.Pilaster{{FromM: new(5.0), ToM: new(5.4), DepthMM: new(100.0)}},
		InnerR: new(1.9), OuterR: new(1.9), BraceFace: "inner", TieInNeeded: new(true)},
	"wall.amended": &events.WallAmended{Name: "North wall", LengthM: new(12.6), HeightM: new(2.75), TopM: new(2.75), CoreMM: new(150.0), RatedKPa: new(35.0),
		Mix: "c30-w", Crew: "crew-b", Reason: "measured again"},
	"wall.tied-in":     &events.WallTiedIn{At: at(9, 0), By: "floor", Note: "joists nailed"},
	"wall.handed-over": &events.WallHandedOver{At: at(9, 0), To: "framing crew", Note: "clean"},

	"permit.issued": &events.PermitIssued{Number: "P-17", For: "strip", At: at(8, 0), Until: at(18, 0), Braces: []string{"b1", "b2"},
		RequestedBy: "p-31cc", ReviewedBy: "p-77aa", Statement: "w1-window-9", Conditions: "only while the gust is under 6 m/s",
		FromM: new(0.0), ToM: new(4.5), Drawing: "S-101", DrawingRevision: "C", BracingDesign: "TW-7", BracingRevision: "2", Basis: "release", Release: target,
		Evidence: &events.Evidence{LastConcrete: at(7, 40), Mix: "c25-w", Temperatures: "top 6 to 11 °C since placing", Specimens: []string{"s1", "s2"}},
		GustMPS:  new(8.0), Loads: "no storage against the wall", Support: "tied-in", SupportSeen: new(true),
		InspectedBefore: &events.Inspected{Done: new(true), By: "p-31cc"}, InspectedDuring: &events.Inspected{Done: new(true), By: "p-31cc"},
		InspectedAfter: &events.Inspected{Done: new(true), By: "p-77aa"}, Method: "one at a time, by hand", Sequence: "b2, b1", ClearM: new(4.0)},
	"permit.withdrawn": &events.PermitWithdrawn{Number: "P-17", At: at(10, 0), Reason: "storm"},
	"check.answered": &events.CheckAnswered{List: "before", Item: "ties-tight", Answer: "yes", Value: new(-1.5), At: at(7, 0), Note: "all rows",
		Photos: []events.Photo{{Name: "row-1.jpg", SHA256: fmt.Sprintf("%064x", 0xfee)}}},

	"line.read": &events.LineRead{At: at(11, 0), When: "after", Points: []events.LinePoint{{AtM: new(0.0), OffMM: new(2.0)}, {AtM: new(3.0), OffMM: new(-1.0)}},
		LeanMM: new(-3.0)},
	"line.corrected":  &events.Moment{At: at(11, 10), Note: "pulled 4 mm"},
	"brace.set":       &events.BraceSet{At: at(6, 0), Braces: []events.BracePlan{{Name: "b1", AtM: new(0.9)}}},
	"brace.inspected": &events.BraceInspected{At: at(6, 30), Braces: []string{"b1"}, Sound: new(false), Note: "foot loose"},
	"brace.disturbed": &events.BraceDisturbed{At: at(12, 0), Braces: []string{"b2"}, Cause: "knocked", Note: "by a barrow"},
	"brace.stripped":  &events.BraceStripped{At: at(15, 0), All: true, Permit: "P-17", Note: "to the east wall"},
	"form.moved":      &events.FormMoved{At: at(9, 20), AtM: new(4.0), What: "bulge", MM: new(12.0), Note: "strapped"},
	"form.stripped":   &events.FormStripped{At: at(15, 30), Face: "inner", Note: "panels cleaned"},

	"load.ordered": &events.LoadOrdered{Load: "l3", At: at(6, 0), Expected: at(8, 0), VolumeM3: new(7.5), Mix: "c25-w"},
	"load.batched": &events.LoadBatched{Load: "l3", Ticket: "T 4711/3", At: at(7, 20), VolumeM3: new(7.5), Mix: "c25-w"},
	"load.arrived": &events.LoadArrived{Load: "l3", At: at(7, 50), SlumpMM: new(150.0), Celsius: new(14.0), WaterL: new(10.0)},
	"load.discharged": &events.LoadDischarged{Load: "l3", Ticket: "T 4711/3", Batched: at(7, 20), Began: at(7, 55), Ended: at(8, 20),
		VolumeM3: new(7.5), SlumpMM: new(160.0), Celsius: new(14.5), WaterL: new(0.0)},
	"load.rejected": &events.LoadRejected{Load: "l4", At: at(9, 0), Reason: "over 90 minutes old"},
	"pump.reported": &events.PumpReported{At: at(8, 0), RateM3H: new(18.0), Stopped: true, NoteText: "hose blocked"},

	"pour.started":     &events.Moment{At: at(7, 51), Note: "at the north corner"},
	"pour.stopped":     &events.PourStopped{At: at(9, 0), AtM: new(6.5), Planned: true, Reason: "no truck"},
	"pour.resumed":     &events.Moment{At: at(9, 30), Note: "truck came"},
	"pour.finished":    &events.Moment{At: at(10, 40), Note: "top screeded"},
	"stretch.left-low": &events.StretchLeftLow{At: at(10, 45), FromM: new(2.0), ToM: new(3.2), TopM: new(2.4), Reason: "beam pocket"},

	"lift.placed": &events.LiftPlaced{FromM: new(0.0), ToM: new(6.5), TopM: new(0.6), Began: at(7, 51), Ended: at(8, 2), Load: "l3",
		Vibrated: new(true), Celsius: new(14.5), TopUp: true, Way: "forward"},
	"lift.consolidated": &events.LiftConsolidated{FromM: new(6.5), ToM: new(0.0), At: at(8, 4), Vibrated: new(true), HeadMM: new(38.0),
		IntoMM: new(150.0), SpacingMM: new(200.0), WithdrawMS: new(75.0)},
	"vibrator.declared": &events.VibratorDeclared{Crew: "crew-a", At: at(7, 0), HeadMM: new(38.0), RadiusMM: new(130.0), Count: 2},
	"joint.felt":        &events.JointFelt{FromM: new(0.0), ToM: new(2.0), At: at(9, 30), Sinks: new(true)},
	"joint.treated":     &events.JointTreated{FromM: new(0.0), ToM: new(2.0), At: at(13, 0), How: []string{"cleaned", "dowels"}, WordOf: "p-77aa"},

	"temperature.read": &events.TemperatureRead{Place: "top", Probe: "t1", Instrument: "logger", HeightM: new(2.6),
		Series: []events.TimedTemperature{{At: at(8, 0), Celsius: new(14.25)}, {At: at(8, 5), Celsius: new(0.0)}}},
	"probe.declared": &events.ProbeDeclared{Probe: "t1", Place: "top", At: at(7, 0), AtM: new(3.0), HeightM: new(2.6), Calibrated: "2025-11-03", Certificate: "K-204"},
	"weather.forecast": &events.WeatherForecast{Issued: at(6, 0), Origin: "typed from the radio",
		Hours: []events.ForecastHour{{At: at(7, 0), Celsius: new(-4.0), GustMPS: new(8.0)}, {At: at(8, 0), Celsius: new(-3.5)}}},
	"wind.read":          &events.WindRead{At: at(8, 0), GustMPS: new(0.0)},
	"protection.placed":  &events.Protection{At: at(11, 0), What: "blanket", Note: "two layers"},
	"protection.removed": &events.Protection{At: at(16, 0), What: "blanket", Note: "one corner first"},

	"specimen.made":      &events.SpecimenMade{Specimen: "s1", At: at(8, 10), Cured: "wall", Load: "l3"},
	"specimen.tested":    &events.SpecimenTested{Specimen: "s1", At: at(16, 0), StrengthMPa: new(8.4), Method: "cylinder"},
	"concrete.inspected": &events.ConcreteInspected{At: at(16, 0), Finding: "honeycomb", FromM: new(1.0), ToM: new(1.4), Note: "under the sill"},
	"backfill.placed":    &events.Moment{At: at(17, 0), Note: "by the digger"},

	"hold.placed":       &events.HoldPlaced{Hold: "h1", At: at(12, 0), Reason: "frost tonight"},
	"hold.released":     &events.HoldReleased{Hold: "h1", At: at(18, 0), Reason: "blankets on"},
	"engineer.released": &events.EngineerReleased{Releases: "frost", At: at(12, 0), Freeze: at(3, 0), GustMPS: new(6.0), StrengthMPa: new(5.0), Role: "engineer", Reason: "cores taken", Drawing: "C-7"},
	"doubt.settled":     &events.DoubtSettled{Target: target, OffsetMS: new(-420000.0), Reason: "phone's clock was seven minutes ahead"},

	"record.amended": &events.RecordAmended{Target: target, Kind: "lift.placed", Reason: "typed the wrong station",
		Data: []byte(`{"from_m":0,"to_m":7.5,"top_m":0.6}`)},
	"record.voided":        &events.RecordVoided{Target: target, Reason: "another wall"},
	"record.countersigned": &events.RecordCountersigned{Target: target, Role: "officer", Note: "seen on site"},

	"person.appointed": &events.PersonAppointed{Person: "p-4f2a", Roles: []events.Role{events.Foreman, events.Officer}},
	"person.retired":   &events.PersonRetired{Person: "p-77aa", Reason: "gone to another trade"},
	"device.enrolled": &events.DeviceEnrolled{Device: "logger-2", Sort: "station", Key: stationKey,
		Kinds: []events.Kind{"temperature.read", "device.reported"}},
	"device.revoked": &events.DeviceRevoked{Device: "phone-7", Reason: "lost in the fresh concrete"},
	"passkey.made":   &events.PasskeyMade{Person: "p-4f2a"},
	"passkey.ended":  &events.PasskeyEnded{Person: "p-4f2a", Reason: "a new phone"},

	"window.stated": &events.WindowStated{At: at(12, 0), Open: false, State: "curing", CuredAt: at(20, 0), Earliest: at(21, 0), Early: at(21, 0),
		Likely: at(22, 0), Late: at(23, 0), Governs: "temperature", Text: "Not before 21:00. A guide for planning; the engineer governs.", Rules: "1",
		Through: 991, Digest: fmt.Sprintf("%064x", 0xabc), Preceding: 880, Policy: target, CriterionBy: "p-4f2a", CriterionAt: at(6, 0), Drawing: "S-101", Clause: "3.2",
		Probe: &events.StatedProbe{Probe: "t1", Place: "top", AtM: new(3.0), HeightM: new(2.6), Calibrated: "2025-11-03", Certificate: "K-204"}},
	"alert.raised": &events.AlertRaised{Alert: "a-1", Kind: "joint-closing", Cause: "w1 0..2 m", Priority: "urgent", Since: at(9, 0),
		Text: "Joint 0 to 2 m closes at 09:21.", Rules: "1", Preceding: 17,
		About: &events.About{FromM: new(0.0), ToM: new(2.0), Until: at(9, 21), Braces: []string{"b1"}, Load: "L1", Device: "probe-1", Measure: "age", Have: new(131.0), Limit: new(150.0), ClearM: new(3.6)}},
	"alert.cleared":        &events.AlertCleared{Alert: "a-1", Kind: "joint-closing", Cause: "w1 0..2 m", At: at(9, 15), Rules: "1"},
	"alert.acknowledged":   &events.AlertAcknowledged{Alert: "a-1", Kind: "joint-closing", At: at(9, 2), Note: "truck is at the gate"},
	"alert.shelved":        &events.AlertShelved{Alert: "a-1", Kind: "joint-closing", At: at(9, 2), Until: at(17, 2), Reason: "probe is being changed"},
	"alert.unshelved":      &events.AlertUnshelved{Alert: "a-1", Kind: "joint-closing", At: at(9, 5), Reason: "the probe is in again"},
	"alert.out-of-service": &events.AlertOutOfService{Kind: "probe-silent", Cause: "probe-1", At: at(9, 2), Until: at(17, 2), Reason: "its gateway is being changed"},
	"alert.in-service":     &events.AlertInService{Kind: "probe-silent", Cause: "probe-1", At: at(9, 5), Reason: "the gateway is in"},
	"alert.shown":          &events.AlertShown{Alert: "a-1", Kind: "joint-closing", State: "raised", Message: "m-1", At: at(9, 1)},
	"alert.told": &events.AlertTold{Message: "m-1", Alerts: []string{"a-1"}, What: "raised", Kind: "joint-closing", Person: "p-4f2a", Channel: "mail", Step: 1,
		Why: "after 2 min: foreman", Outcome: "failed", Tries: 3, Text: "w1, 0 to 2 m: joint closes 09:21", Error: "no such mailbox", At: at(9, 3)},
	"sheet.issued": &events.SheetIssued{Sheet: "morning", Date: "2026-01-12", At: at(11, 0), Rules: "1",
		Walls: []events.SheetWall{{Wall: "w1", What: "expected", At: at(21, 0), Text: "temperature governs", Braces: 5, Frost: "from 21:00, -1.0 °C"}}},
}

// sample returns an event of the kind with every attribute that it can have.
func sample(kind events.Kind) events.Event {
	e := events.Event{
		ID: "0195f1c0-8a5e-7cc0-9d3b-000000000030", Source: events.Source{Site: "north", Device: "phone-7"}, Kind: kind,
		Wall: "w1", Time: at(18, 3), Sequence: 32, WallSequence: 31, By: "p-4f2a",
		ClockOffset: -420 * time.Millisecond, HasOffset: true, Data: sampleData[kind],
	}
	if kind.SiteWide() {
		e.Wall, e.WallSequence = "", 0
	}
	if kind.SchedulerOnly() {
		e.Source.Device = events.HubDevice
		if !slices.ContainsFunc([]string{"person.", "device.", "passkey."}, func(of string) bool { return strings.HasPrefix(string(kind), of) }) {
			e.By = "" // nobody asked for it
		}
	}
	return e
}

// sampleBody is sample as it is published.
func sampleBody(kind events.Kind) []byte {
	body, err := sample(kind).Encode()
	if err != nil {
		panic(err)
	}
	return body
}
