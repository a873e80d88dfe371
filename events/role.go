package events

import (
	"maps"
	"slices"
	"strings"
)

// Role is what a person may do on a site, or on site "_" on every site. A person
// may hold several.
type Role string

// The roles. All but Probe are people's.
const (
	Crew       Role = "crew"       // places, vibrates, braces, reads
	Foreman    Role = "foreman"    // runs the pour
	Dispatcher Role = "dispatcher" // sends loads, watches all sites from the office
	Engineer   Role = "engineer"   // sets criteria and releases them
	Officer    Role = "officer"    // safety officer: issues permits, countersigns
	Keeper     Role = "keeper"     // keeps the hub: people, devices, the store
	Probe      Role = "probe"      // a device in nobody's hand: a logger, a gateway, a weather station
)

var allRoles = []Role{Crew, Foreman, Dispatcher, Engineer, Officer, Keeper, Probe}

// Roles lists every role, from the wall to the hub, the probe last.
func Roles() []Role { return slices.Clone(allRoles) }

// IsRole reports whether s is the name of a role.
func IsRole(s string) bool { return slices.Contains(allRoles, Role(s)) }

// Title is the role's name for people.
func (r Role) Title() string {
	if r == Officer {
		return "safety officer"
	}
	return string(r)
}

// Recorders lists the roles that may record the kind, in the order of Roles. It
// is empty for a kind that is not known and for one that only the hub says.
func (k Kind) Recorders() []Role { return slices.Clone(k.definition().by) }

// MayRecord reports whether any of the roles may record the kind. No role may
// record what only the hub says.
func (k Kind) MayRecord(roles ...Role) bool { return overlap(k.definition().by, roles) }

// KindsOf lists the kinds that any of the roles may record, in alphabetical order.
func KindsOf(roles ...Role) []Kind {
	return slices.DeleteFunc(Kinds(), func(k Kind) bool { return !k.MayRecord(roles...) })
}

func overlap(allowed, roles []Role) bool {
	return slices.ContainsFunc(roles, func(r Role) bool { return slices.Contains(allowed, r) })
}

// alertsTo says to which role each kind of alert is addressed: who acts first.
var alertsTo = map[string]Role{
	"alert-untold":      Dispatcher,
	"backfill-early":    Engineer,
	"brace-disturbed":   Officer,
	"brace-overdue":     Dispatcher,
	"brace-spacing":     Crew,
	"checks-open":       Foreman,
	"clock-doubtful":    Keeper,
	"event-refused":     Dispatcher,
	"face-early":        Foreman,
	"form-moved":        Crew,
	"frost-ahead":       Foreman,
	"frozen":            Engineer,
	"joint-at-risk":     Dispatcher,
	"joint-closing":     Crew,
	"joint-cold":        Foreman,
	"line-due":          Foreman,
	"line-late":         Foreman,
	"line-out":          Foreman,
	"load-old":          Foreman,
	"load-slump":        Foreman,
	"load-temperature":  Foreman,
	"not-vibrated":      Crew,
	"opening-uneven":    Crew,
	"permit-early":      Officer,
	"permit-shaken":     Officer,
	"pressure-high":     Foreman,
	"probe-silent":      Crew,
	"record-gap":        Dispatcher,
	"rise-fast":         Crew,
	"sill-unfilled":     Crew,
	"stop-misplaced":    Foreman,
	"stream-hole":       Keeper,
	"stream-short":      Keeper,
	"strip-early":       Foreman,
	"strip-unpermitted": Officer,
	"wind-high":         Foreman,
	"window-later":      Dispatcher,
}

// AlertKinds lists the kinds of alert in alphabetical order.
func AlertKinds() []string { return slices.Sorted(maps.Keys(alertsTo)) }

// ActsFirst returns the role that an alert of the kind is addressed to, or ""
// for a kind of alert that is not known.
func ActsFirst(alertKind string) Role { return alertsTo[alertKind] }

// Addressees lists the roles that may answer an alert of the kind: acknowledge
// or shelve it. They are the one that acts first; the foreman beside the crew;
// and the dispatcher, who sees every wall. What was taken off too early is
// answered by an officer or an engineer alone: whoever took it off does not
// close the matter. It is empty for a kind of alert that is not known.
func Addressees(alertKind string) []Role {
	first, known := alertsTo[alertKind]
	if !known {
		return nil
	}
	if TellsOfDeed(alertKind) {
		return []Role{Officer, Engineer}
	}
	roles := []Role{first}
	if first == Crew {
		roles = append(roles, Foreman)
	}
	if first != Dispatcher {
		roles = append(roles, Dispatcher)
	}
	return roles
}

// MayBeBy judges whether a person or device that holds the roles may say what
// the event says, and returns nil or why not:
//
//   - the kind is one that one of the roles may record, and none that only the
//     hub says;
//   - a role that the data declares is one of the roles;
//   - an answer to an alert names the alert's kind, and one of the roles is an
//     addressee of that kind;
//   - who issues a permit is not who asked for it;
//   - an amendment may be recorded, and so may what it puts in the place of the
//     earlier event, by all of the above.
//
// A void names an event by its key alone, so that the kind which it takes out is
// not judged here: what makes an answer earlier by it waits for the
// countersignature of a second person. Nor does MayBeBy compare e.By with the
// person whose roles these are.
func (e Event) MayBeBy(roles ...Role) *Refusal {
	if e.Kind.SchedulerOnly() {
		return refuse("source", e.Source.String(), "the hub: it alone says "+string(e.Kind))
	}
	if ref := judge(e.Kind, e.Data, e.By, roles); ref != nil {
		return ref
	}
	d, ok := e.Data.(*RecordAmended)
	if !ok {
		return nil
	}
	if !d.Kind.MayRecord(roles...) {
		return refuse("role", rolesText(roles), mayRecord(d.Kind)+", which this amends")
	}
	replacement := d.decoded
	if replacement == nil {
		var err error
		if replacement, err = DecodeData(d.Kind, d.Data); err != nil {
			return refuse("data.data", "", "the whole data of "+string(d.Kind))
		}
	}
	if ref := judge(d.Kind, replacement, e.By, roles); ref != nil {
		return inner(ref)
	}
	return nil
}

// inner moves a refusal of data into the data of an amendment.
func inner(ref *Refusal) *Refusal {
	if strings.HasPrefix(ref.Field, "data.") {
		ref.Field = "data." + ref.Field
	}
	return ref
}

// judge judges one kind and its data by the roles of who says it.
func judge(k Kind, d Data, by string, roles []Role) *Refusal {
	if !k.MayRecord(roles...) {
		return refuse("role", rolesText(roles), mayRecord(k))
	}
	if declared := declaredRole(d); declared != "" && !slices.Contains(roles, Role(declared)) {
		return refuse("data.role", declared, "a role that the author holds: "+rolesText(roles))
	}
	if alert, answer := answers(d); answer {
		to := Addressees(alert)
		switch {
		case to == nil:
			return refuse("data.kind", clip(alert), "the kind of the alert that is answered")
		case !overlap(to, roles):
			return refuse("role", rolesText(roles), rolesText(to)+", who may answer "+alert)
		}
	}
	return askedByAnother(d, by)
}

// askedByAnother refuses a permit that its own requester issues.
func askedByAnother(d Data, by string) *Refusal {
	if p, ok := d.(*PermitIssued); ok && by != "" && p.RequestedBy == by {
		return refuse("data.requested_by", by, "another person than the one who issues the permit")
	}
	return nil
}

// declaredRole is the role in which the author of data says to speak, or "".
func declaredRole(d Data) string {
	switch d := d.(type) {
	case *CriterionSet:
		return d.Role
	case *EngineerReleased:
		return d.Role
	case *RecordCountersigned:
		return d.Role
	}
	return ""
}

// answers returns the kind of alert that the data answers, "" where it does not
// say, and whether it is an answer at all.
func answers(d Data) (alertKind string, ok bool) {
	switch d := d.(type) {
	case *AlertAcknowledged:
		return d.Kind, true
	case *AlertShelved:
		return d.Kind, true
	case *AlertUnshelved:
		return d.Kind, true
	}
	return "", false
}

func mayRecord(k Kind) string {
	by := k.Recorders()
	if len(by) == 0 {
		return "nobody, but the hub: who may record " + clip(string(k))
	}
	return rolesText(by) + ", who may record " + string(k)
}

// rolesText lists roles for people; "" for none.
func rolesText(roles []Role) string {
	names := make([]string, len(roles))
	for i, r := range roles {
		names[i] = clip(string(r))
	}
	return strings.Join(names, ", ")
}
