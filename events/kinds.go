package events

import (
	"reflect"
	"slices"
	"strings"
)

// Kind is thing.what, such as "lift.placed".
type Kind string

// Type returns the CloudEvents type attribute, earlyage.<thing>.<what>.v1.
func (k Kind) Type() string { return "earlyage." + string(k) + ".v1" }

type scope uint8

const (
	onWall   scope = iota // needs a wall
	onSite                // must not have one
	onEither              // a site's or a wall's
)

type definition struct {
	kind      Kind  // set by complete, as is plan
	plan      *plan // of the data
	scope     scope
	scheduler bool   // only the hub may say it
	person    bool   // by must be given
	by        []Role // who may record it, in the order of allRoles; none: only the hub
	make      func() Data
	doc       string
}

var (
	anyPerson = allRoles[:6]
	anyOnSite = allRoles[:5] // all people but the keeper, who keeps the hub and not the walls
	measuring = append(slices.Clone(anyOnSite), Probe)
)

func only(roles ...Role) []Role { return roles }

// vocabulary holds every kind that can be read. Old kinds stay for ever; a new
// meaning is a new version beside the old one.
var vocabulary = complete(map[Kind]*definition{
	"site.opened":       {scope: onSite, person: true, by: only(Officer, Keeper), make: func() Data { return new(SiteOpened) }, doc: "a site begins: its name, time zone, units and policy"},
	"site.amended":      {scope: onSite, person: true, by: only(Engineer, Officer), make: func() Data { return new(SiteAmended) }, doc: "a change of a site's policy; what makes a strip earlier waits for a second person"},
	"mix.approved":      {scope: onSite, person: true, by: only(Engineer, Officer), make: func() Data { return new(MixApproved) }, doc: "a concrete mix and what is known of its binder, setting and strength"},
	"criterion.set":     {scope: onEither, person: true, by: only(Engineer), make: func() Data { return new(CriterionSet) }, doc: "an engineer's criterion for stripping: for one wall, or for the site's walls of one mix"},
	"checklist.amended": {scope: onSite, person: true, by: only(Engineer, Officer), make: func() Data { return new(ChecklistAmended) }, doc: "a site adds an item to a check list, or waives one, by name and reason; a waiver waits for a second person"},
	// Everybody's outbox empties, whatever the person may say otherwise.
	"device.reported": {scope: onSite, by: allRoles, make: func() Data { return new(DeviceReported) }, doc: "a device's outbox is empty: its last number over all and by wall"},
	// What is missing may be a hold: the one who writes it off is not the one who
	// would have the window opened by it.
	"gap.written-off": {scope: onSite, person: true, by: only(Officer), make: func() Data { return new(GapWrittenOff) }, doc: "numbers of a device that will never come, by a named person"},
	// Only who keeps the store can know that it was healed.
	"hole.accepted": {scope: onSite, person: true, by: only(Keeper), make: func() Data { return new(HoleAccepted) }, doc: "a hole in the stream's own numbers, accepted after healing by a named keeper"},

	"wall.laid-out":    {scope: onWall, by: only(Foreman, Dispatcher, Engineer), make: func() Data { return new(WallLaidOut) }, doc: "a wall: its size, form, mix, braces"},
	"wall.amended":     {scope: onWall, by: only(Foreman, Dispatcher, Engineer), make: func() Data { return new(WallAmended) }, doc: "a change of what was laid out; only the members given change"},
	"wall.tied-in":     {scope: onWall, person: true, by: only(Foreman, Engineer, Officer), make: func() Data { return new(WallTiedIn) }, doc: "a floor or roof now holds the wall"},
	"wall.handed-over": {scope: onWall, person: true, by: only(Foreman, Dispatcher, Engineer, Officer), make: func() Data { return new(WallHandedOver) }, doc: "the wall is finished with: only what comes off it, and how, is still judged"},

	// The competent person who looked, and never the one who asked for it.
	"permit.issued": {scope: onWall, person: true, by: only(Engineer, Officer), make: func() Data { return new(PermitIssued) }, doc: "a permit to pour or to strip"},
	// The foreman may stop what he may not allow.
	"permit.withdrawn": {scope: onWall, person: true, by: only(Foreman, Engineer, Officer), make: func() Data { return new(PermitWithdrawn) }, doc: "a permit no longer stands"},
	"check.answered":   {scope: onWall, by: only(Crew, Foreman, Engineer, Officer), make: func() Data { return new(CheckAnswered) }, doc: "an item of a check list"},

	"line.read":       {scope: onWall, by: only(Crew, Foreman, Engineer, Officer), make: func() Data { return new(LineRead) }, doc: "string line readings along the wall"},
	"line.corrected":  {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(Moment) }, doc: "the wall was pulled straight with the brace adjusters"},
	"brace.set":       {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(BraceSet) }, doc: "braces set, by name and station"},
	"brace.inspected": {scope: onWall, by: only(Crew, Foreman, Engineer, Officer), make: func() Data { return new(BraceInspected) }, doc: "braces looked at"},
	"brace.disturbed": {scope: onWall, by: only(Crew, Foreman, Engineer, Officer), make: func() Data { return new(BraceDisturbed) }, doc: "braces knocked, moved by wind or thaw"},
	// Whoever sees a brace gone says so: an early strip must never go unrecorded.
	"brace.stripped":  {scope: onWall, by: anyOnSite, make: func() Data { return new(BraceStripped) }, doc: "braces taken off: by name, or all"},
	"form.moved":      {scope: onWall, by: only(Crew, Foreman, Engineer, Officer), make: func() Data { return new(FormMoved) }, doc: "a bulge or a blow-out"},
	"form.stripped":   {scope: onWall, by: only(Crew, Foreman, Engineer, Officer), make: func() Data { return new(FormStripped) }, doc: "a face of the form taken off"},
	"load.ordered":    {scope: onWall, by: only(Crew, Foreman, Dispatcher), make: func() Data { return new(LoadOrdered) }, doc: "a truckload ordered"},
	"load.batched":    {scope: onWall, by: only(Crew, Foreman, Dispatcher), make: func() Data { return new(LoadBatched) }, doc: "water met cement"},
	"load.arrived":    {scope: onWall, by: only(Crew, Foreman, Dispatcher), make: func() Data { return new(LoadArrived) }, doc: "a truck on site"},
	"load.discharged": {scope: onWall, by: only(Crew, Foreman, Dispatcher), make: func() Data { return new(LoadDischarged) }, doc: "a load placed from its truck"},
	"load.rejected":   {scope: onWall, by: only(Crew, Foreman, Dispatcher), make: func() Data { return new(LoadRejected) }, doc: "a load sent back"},
	"pump.reported":   {scope: onWall, by: only(Crew, Foreman, Dispatcher), make: func() Data { return new(PumpReported) }, doc: "the pump's rate"},
	"pour.started":    {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(Moment) }, doc: "placing begins"},
	"pour.stopped":    {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(PourStopped) }, doc: "placing stops, planned or not"},
	"pour.resumed":    {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(Moment) }, doc: "placing goes on"},
	"pour.finished":   {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(Moment) }, doc: "the last concrete of the wall is in"},
	// It makes a wall complete: not on the crew's word alone.
	"stretch.left-low": {scope: onWall, person: true, by: only(Foreman, Engineer), make: func() Data { return new(StretchLeftLow) }, doc: "a stretch left under its planned top on purpose"},

	"lift.placed":       {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(LiftPlaced) }, doc: "concrete placed from one station to another"},
	"lift.consolidated": {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(LiftConsolidated) }, doc: "a stretch vibrated"},
	"vibrator.declared": {scope: onEither, by: only(Crew, Foreman), make: func() Data { return new(VibratorDeclared) }, doc: "a crew's vibrators, said once for a site or a wall"},
	"joint.felt":        {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(JointFelt) }, doc: "does the running vibrator still sink under its own weight?"},
	"joint.treated":     {scope: onWall, person: true, by: only(Foreman, Engineer), make: func() Data { return new(JointTreated) }, doc: "a cold joint answered, and on whose word"},

	"temperature.read": {scope: onEither, by: measuring, make: func() Data { return new(TemperatureRead) }, doc: "one reading, a series, or a minimum and maximum"},
	// It says what a number is worth, and changes none.
	"probe.declared": {scope: onWall, person: true, by: only(Foreman, Engineer, Keeper), make: func() Data { return new(ProbeDeclared) }, doc: "where a probe of the wall sits, and its calibration"},
	// It is fetched or typed away from the wall.
	"weather.forecast":   {scope: onSite, by: only(Dispatcher, Keeper, Probe), make: func() Data { return new(WeatherForecast) }, doc: "a forecast by the hour"},
	"wind.read":          {scope: onEither, by: measuring, make: func() Data { return new(WindRead) }, doc: "a gust measured"},
	"protection.placed":  {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(Protection) }, doc: "covers, blankets or heat put on"},
	"protection.removed": {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(Protection) }, doc: "covers, blankets or heat taken off"},

	"specimen.made":      {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(SpecimenMade) }, doc: "a strength specimen, and where it cures"},
	"specimen.tested":    {scope: onWall, person: true, by: only(Engineer, Officer), make: func() Data { return new(SpecimenTested) }, doc: "a strength result"},
	"concrete.inspected": {scope: onWall, person: true, by: only(Foreman, Engineer, Officer), make: func() Data { return new(ConcreteInspected) }, doc: "what a person saw of the concrete"},
	"backfill.placed":    {scope: onWall, by: only(Crew, Foreman), make: func() Data { return new(Moment) }, doc: "earth against the wall"},

	// Anyone may stop; only an engineer lets go on.
	"hold.placed":       {scope: onWall, person: true, by: anyOnSite, make: func() Data { return new(HoldPlaced) }, doc: "a person holds the wall: nothing is stripped"},
	"hold.released":     {scope: onWall, person: true, by: only(Engineer), make: func() Data { return new(HoldReleased) }, doc: "the hold is over"},
	"engineer.released": {scope: onWall, person: true, by: only(Engineer), make: func() Data { return new(EngineerReleased) }, doc: "an engineer's word on one criterion, never on the floor or a hold"},
	"doubt.settled":     {scope: onEither, person: true, by: only(Foreman, Engineer, Officer), make: func() Data { return new(DoubtSettled) }, doc: "a named person answers a doubt"},

	// Whoever erred says so. What an amendment puts in is judged like the kind that
	// it names, and what it makes earlier waits for a second person.
	"record.amended":       {scope: onEither, person: true, by: anyOnSite, make: func() Data { return new(RecordAmended) }, doc: "new data for an earlier event; both stay visible"},
	"record.voided":        {scope: onEither, person: true, by: anyOnSite, make: func() Data { return new(RecordVoided) }, doc: "an earlier event taken out; it stays visible"},
	"record.countersigned": {scope: onEither, person: true, by: only(Engineer, Officer), make: func() Data { return new(RecordCountersigned) }, doc: "a second person lets a convenient change count"},

	// Who is who. Only the hub says it, so that no device can appoint or admit
	// anybody; by is the person who asked the hub for it.
	"person.appointed": {scope: onSite, scheduler: true, make: func() Data { return new(PersonAppointed) }, doc: "all roles of a person on a site, or with site _ on every site"},
	"person.retired":   {scope: onSite, scheduler: true, make: func() Data { return new(PersonRetired) }, doc: "a person has no role any more on a site; with site _ on none, and no device"},
	"device.enrolled":  {scope: onSite, scheduler: true, make: func() Data { return new(DeviceEnrolled) }, doc: "a device is admitted, or has a new key"},
	"device.revoked":   {scope: onSite, scheduler: true, make: func() Data { return new(DeviceRevoked) }, doc: "a device is admitted no more"},
	"passkey.made":     {scope: onSite, scheduler: true, make: func() Data { return new(PasskeyMade) }, doc: "a person has a new passkey to the hub's pages; by invited to it"},
	"passkey.ended":    {scope: onSite, scheduler: true, make: func() Data { return new(PasskeyEnded) }, doc: "a person's earlier passkeys have ended"},

	"window.stated": {scope: onWall, scheduler: true, make: func() Data { return new(WindowStated) }, doc: "what the hub said of the window"},
	"alert.raised":  {scope: onEither, scheduler: true, make: func() Data { return new(AlertRaised) }, doc: "something asks for a person"},
	"alert.cleared": {scope: onEither, scheduler: true, make: func() Data { return new(AlertCleared) }, doc: "the condition is over"},
	"sheet.issued":  {scope: onSite, scheduler: true, make: func() Data { return new(SheetIssued) }, doc: "a sheet of a site: the morning's and the evening's once a local day, the bracing register once a week"},
	"alert.told":    {scope: onEither, scheduler: true, make: func() Data { return new(AlertTold) }, doc: "who was told of an alert, by which channel, and what came of it"},
	// Which of them may answer an alert depends on its kind: Addressees.
	"alert.acknowledged": {scope: onEither, person: true, by: anyPerson, make: func() Data { return new(AlertAcknowledged) }, doc: "a person has seen an alert"},
	"alert.shelved":      {scope: onEither, person: true, by: anyPerson, make: func() Data { return new(AlertShelved) }, doc: "a person puts an alert off, with a reason, at most 8 h"},
	"alert.unshelved":    {scope: onEither, person: true, by: anyPerson, make: func() Data { return new(AlertUnshelved) }, doc: "a person ends the putting off before its time"},
	// Whose page it was stands in by; a page shows what its person may see.
	"alert.shown": {scope: onEither, person: true, by: anyPerson, make: func() Data { return new(AlertShown) }, doc: "a page showed an alert to its person"},
	// What is told to nobody is for the one who answers for it.
	"alert.out-of-service": {scope: onEither, person: true, by: only(Engineer, Officer), make: func() Data { return new(AlertOutOfService) }, doc: "a kind of alert is told to nobody while what makes it is being mended, at most 7 days"},
	"alert.in-service":     {scope: onEither, person: true, by: only(Dispatcher, Engineer, Officer, Keeper), make: func() Data { return new(AlertInService) }, doc: "a kind of alert is told again"},
})

func complete(all map[Kind]*definition) map[Kind]*definition {
	for k, def := range all {
		def.kind, def.plan = k, planOf(reflect.TypeOf(def.make()).Elem())
	}
	return all
}

// none stands for a kind that is not known.
var none definition

func (k Kind) definition() *definition {
	if def, ok := vocabulary[k]; ok {
		return def
	}
	return &none
}

// Kinds lists every kind in alphabetical order.
func Kinds() []Kind {
	all := make([]Kind, 0, len(vocabulary))
	for k := range vocabulary {
		all = append(all, k)
	}
	slices.Sort(all)
	return all
}

// Known reports whether the kind can be read.
func (k Kind) Known() bool { _, ok := vocabulary[k]; return ok }

// SchedulerOnly reports whether only the hub says it: what its scheduler states,
// and who may do what. No role may record it.
func (k Kind) SchedulerOnly() bool { return k.definition().scheduler }

// NeedsPerson reports whether an event of this kind must name the person who
// answers for it.
func (k Kind) NeedsPerson() bool { return k.definition().person }

// SiteWide reports whether the kind can only be about a whole site.
func (k Kind) SiteWide() bool { return k.definition().scope == onSite }

// WallOnly reports whether the kind can only be about one wall.
func (k Kind) WallOnly() bool { return k.Known() && k.definition().scope == onWall }

// Doc says what the kind means, in one line.
func (k Kind) Doc() string { return k.definition().doc }

// parseType returns the definition of the kind that a CloudEvents type names.
func parseType(s string) (*definition, error) {
	rest, ours := strings.CutPrefix(s, "earlyage.")
	name, v1 := strings.CutSuffix(rest, ".v1")
	if def, known := vocabulary[Kind(name)]; known && ours && v1 {
		return def, nil
	}
	return nil, refuse("type", clip(s), "earlyage.<thing>.<what>.v1 of "+knownKind(name))
}

// knownKind says which kind was probably meant.
func knownKind(name string) string {
	var names []string
	for _, k := range Kinds() {
		names = append(names, string(k))
	}
	if best := closest(name, names); best != "" {
		return "a known kind: " + best + "?"
	}
	return "a known kind"
}
