package events_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"text/tabwriter"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
)

// people are the roles that a person may hold.
func people() []events.Role {
	return slices.DeleteFunc(events.Roles(), func(r events.Role) bool { return r == events.Probe })
}

// The table of who may record what and who may answer which alert: a change of
// it shows as a difference of the file.
func TestGoldenRoles(t *testing.T) {
	var b bytes.Buffer
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	row := func(name string, has func(events.Role) bool, none string) {
		_, err := fmt.Fprint(w, name)
		require.NoError(t, err)
		any := false
		for _, r := range events.Roles() {
			mark := "-"
			if has(r) {
				mark, any = string(r), true
			}
			_, err = fmt.Fprint(w, "\t", mark)
			require.NoError(t, err)
		}
		if !any {
			none = "\t" + none
		} else {
			none = ""
		}
		_, err = fmt.Fprintln(w, none)
		require.NoError(t, err)
	}
	_, err := fmt.Fprintln(w, "Who may record what.")
	require.NoError(t, err)
	for _, k := range events.Kinds() {
		row(string(k), func(r events.Role) bool { return k.MayRecord(r) }, "the hub alone")
	}
	_, err = fmt.Fprintln(w, "\nWho may answer which alert, and who acts first.")
	require.NoError(t, err)
	for _, alert := range events.AlertKinds() {
		row(alert+", "+events.ActsFirst(alert).Title(), func(r events.Role) bool { return slices.Contains(events.Addressees(alert), r) }, "nobody")
	}
	require.NoError(t, w.Flush())
	lines := strings.Split(b.String(), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	golden(t, "roles.txt", []byte(strings.Join(lines, "\n")))
}

func TestEveryKindHasARecorderOrIsTheHubsAlone(t *testing.T) {
	for _, k := range events.Kinds() {
		by := k.Recorders()
		require.Equal(t, k.SchedulerOnly(), len(by) == 0, k)
		require.True(t, slices.IsSortedFunc(by, func(a, b events.Role) int { return slices.Index(events.Roles(), a) - slices.Index(events.Roles(), b) }), "%s: %v in the order of Roles", k, by)
		require.Len(t, slices.Compact(slices.Clone(by)), len(by), k)
		for _, r := range events.Roles() {
			require.Equal(t, slices.Contains(by, r), k.MayRecord(r), "%s %s", k, r)
			require.Equal(t, k.MayRecord(r), slices.Contains(events.KindsOf(r), k), "%s %s", k, r)
		}
		if len(by) > 0 {
			by[0] = "changed by the caller"
			require.NotEqual(t, by[0], k.Recorders()[0], k)
		}
		if k.NeedsPerson() {
			require.False(t, k.MayRecord(events.Probe), "%s needs a person", k)
		}
	}
	require.Empty(t, events.Kind("lift.place").Recorders())
	require.False(t, events.Kind("lift.place").MayRecord(events.Roles()...))
}

func TestNoRoleSaysWhatOnlyTheHubSays(t *testing.T) {
	n := 0
	for _, k := range events.Kinds() {
		if !k.SchedulerOnly() {
			continue
		}
		n++
		require.False(t, k.MayRecord(events.Roles()...), k)
		require.NotContains(t, events.KindsOf(events.Roles()...), k)
		ref := sample(k).MayBeBy(events.Roles()...)
		require.NotNil(t, ref, k)
		require.Equal(t, "source", ref.Field, k)
	}
	require.Equal(t, 11, n, "kinds of the hub alone")
}

func TestRoles(t *testing.T) {
	require.Equal(t, []events.Role{events.Crew, events.Foreman, events.Dispatcher, events.Engineer, events.Officer, events.Keeper, events.Probe}, events.Roles())
	for _, r := range events.Roles() {
		require.True(t, events.IsRole(string(r)))
		require.True(t, events.IsToken(string(r)))
		require.NotEmpty(t, events.KindsOf(r), r)
	}
	require.Empty(t, events.KindsOf())
	require.Equal(t, "safety officer", events.Officer.Title())
	require.Equal(t, "crew", events.Crew.Title())
}

// A role that is not known may nothing, and adds nothing to one that is.
func TestAnUnknownRoleMayNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "Crew", "hub", "crew ", "officer\x00", "safety officer", "*"})).Draw(t, "role")
		if events.IsRole(r) {
			return
		}
		require.Empty(t, events.KindsOf(events.Role(r)))
		for _, k := range events.Kinds() {
			require.NotNil(t, sample(k).MayBeBy(events.Role(r)), k)
		}
		known := rapid.SampledFrom(events.Roles()).Draw(t, "known")
		require.Equal(t, events.KindsOf(known), events.KindsOf(events.Role(r), known))
	})
}

// Whoever holds more roles may not less; and together the roles may what one of
// them may.
func TestMoreRolesMayMore(t *testing.T) {
	some := rapid.SliceOfDistinct(rapid.SampledFrom(events.Roles()), rapid.ID)
	rapid.Check(t, func(t *rapid.T) {
		a, b := some.Draw(t, "a"), some.Draw(t, "b")
		k := rapid.SampledFrom(events.Kinds()).Draw(t, "kind")
		both := slices.Concat(a, b)
		require.Equal(t, k.MayRecord(a...) || k.MayRecord(b...), k.MayRecord(both...))
		if sample(k).MayBeBy(a...) == nil {
			require.Nil(t, sample(k).MayBeBy(both...), k)
			require.True(t, k.MayRecord(a...), k)
		}
	})
}

func TestAddressees(t *testing.T) {
	for _, alert := range events.AlertKinds() {
		to := events.Addressees(alert)
		require.NotEmpty(t, to, alert)
		require.NotContains(t, to, events.Probe)
		require.True(t, events.IsRole(string(events.ActsFirst(alert))), alert)
		for _, r := range to {
			require.True(t, events.Kind("alert.acknowledged").MayRecord(r), "%s %s", alert, r)
		}
		switch alert {
		case "strip-early", "strip-unpermitted", "face-early":
			require.ElementsMatch(t, []events.Role{events.Officer, events.Engineer}, to, alert)
			continue
		}
		require.Contains(t, to, events.ActsFirst(alert), alert)
		require.Contains(t, to, events.Dispatcher, alert)
		require.Equal(t, events.ActsFirst(alert) == events.Crew, slices.Contains(to, events.Crew), alert)
		if events.ActsFirst(alert) == events.Crew {
			require.Contains(t, to, events.Foreman, alert)
		}
	}
	require.Nil(t, events.Addressees("no-such-alert"))
	require.Empty(t, events.ActsFirst("no-such-alert"))
}

// judged asserts what MayBeBy says: nothing where field is empty.
func judged(t *testing.T, name string, ref *events.Refusal, field, allowed string) {
	t.Helper()
	if field == "" {
		require.Nil(t, ref, name)
		return
	}
	require.NotNil(t, ref, name)
	require.Equal(t, field, ref.Field, "%s: %v", name, ref)
	require.Contains(t, ref.Allowed, allowed, name)
}

func TestMayBeBy(t *testing.T) {
	said := func(kind events.Kind, data events.Data) events.Event {
		e := sample(kind)
		e.Data = data
		return e
	}
	acknowledged := func(kind string) events.Event {
		return said("alert.acknowledged", &events.AlertAcknowledged{Alert: "a-1", Kind: kind})
	}
	signed := func(role string) events.Event {
		return said("record.countersigned", &events.RecordCountersigned{Target: target, Role: role})
	}
	for _, c := range []struct {
		name           string
		event          events.Event
		roles          []events.Role
		field, allowed string
	}{
		{"a crew places", sample("lift.placed"), []events.Role{events.Crew}, "", ""},
		{"an engineer does not", sample("lift.placed"), []events.Role{events.Engineer}, "role", "crew, foreman, who may record lift.placed"},
		{"nor does nobody", sample("lift.placed"), nil, "role", "crew, foreman"},
		{"a probe measures", sample("temperature.read"), []events.Role{events.Probe}, "", ""},
		{"a probe does not place", sample("lift.placed"), []events.Role{events.Probe}, "role", "crew"},
		{"one of several roles is enough", sample("hold.released"), []events.Role{events.Crew, events.Engineer}, "", ""},
		{"anyone on site may stop", sample("hold.placed"), []events.Role{events.Crew}, "", ""},
		{"an engineer alone lets go on", sample("hold.released"), []events.Role{events.Foreman, events.Officer, events.Dispatcher, events.Crew, events.Keeper}, "role", "engineer"},
		{"as an officer", signed("officer"), []events.Role{events.Officer}, "", ""},
		{"as an engineer, being an officer", signed("engineer"), []events.Role{events.Officer}, "data.role", "officer"},
		{"as either, being both", signed("engineer"), []events.Role{events.Officer, events.Engineer}, "", ""},
		{"the crew answers its alert", acknowledged("joint-closing"), []events.Role{events.Crew}, "", ""},
		{"the foreman answers for it", acknowledged("joint-closing"), []events.Role{events.Foreman}, "", ""},
		{"the dispatcher does", acknowledged("joint-closing"), []events.Role{events.Dispatcher}, "", ""},
		{"the keeper does not", acknowledged("joint-closing"), []events.Role{events.Keeper}, "role", "crew, foreman, dispatcher, who may answer joint-closing"},
		{"a foreman does not close an early strip", acknowledged("strip-early"), []events.Role{events.Foreman, events.Dispatcher, events.Crew}, "role", "officer, engineer"},
		{"an engineer may", acknowledged("strip-early"), []events.Role{events.Engineer}, "", ""},
		{"an answer to it knows not what", acknowledged(""), []events.Role{events.Dispatcher}, "data.kind", "kind of the alert"},
		{"an answer to no alert", acknowledged("nothing"), events.Roles(), "data.kind", "kind of the alert"},
		{"shelved", said("alert.shelved", &events.AlertShelved{Alert: "a", Kind: "face-early", At: at(8, 0), Until: at(9, 0), Reason: "r"}), []events.Role{events.Foreman}, "role", "officer"},
		{"unshelved", said("alert.unshelved", &events.AlertUnshelved{Alert: "a", Kind: "face-early"}), []events.Role{events.Foreman}, "role", "officer"},
		{"unshelved by whom it is for", said("alert.unshelved", &events.AlertUnshelved{Alert: "a", Kind: "face-early"}), []events.Role{events.Officer}, "", ""},
		{"a permit asked for by another", said("permit.issued", &events.PermitIssued{Number: "1", For: "pour", RequestedBy: "p-31cc"}), []events.Role{events.Officer}, "", ""},
		{"a permit asked for by nobody known", said("permit.issued", &events.PermitIssued{Number: "1", For: "pour"}), []events.Role{events.Officer}, "", ""},
		{"a permit for oneself", said("permit.issued", &events.PermitIssued{Number: "1", For: "pour", RequestedBy: "p-4f2a"}), []events.Role{events.Officer}, "data.requested_by", "another person"},
		{"a void, of whatever it is", sample("record.voided"), []events.Role{events.Crew}, "", ""},
	} {
		judged(t, c.name, c.event.MayBeBy(c.roles...), c.field, c.allowed)
	}
}

// amending is an amendment that puts data in the place of what was recorded.
func amending(t require.TestingT, kind events.Kind, data events.Data) *events.RecordAmended {
	raw, err := events.EncodeData(data)
	require.NoError(t, err)
	return &events.RecordAmended{Target: target, Kind: kind, Data: raw, Reason: "typed wrongly"}
}

// Who may not record a thing may not amend one into being, whether the
// amendment was read or made in Go.
func TestAnAmendmentIsJudgedLikeWhatItPutsIn(t *testing.T) {
	judgedBoth := 0
	for _, kind := range events.Kinds() {
		if kind.SchedulerOnly() || strings.HasPrefix(string(kind), "record.") {
			continue
		}
		e := sample("record.amended")
		e.Data = amending(t, kind, sampleData[kind])
		body, err := e.Encode()
		require.NoError(t, err)
		read, err := events.Decode("", body)
		require.NoError(t, err)
		for _, r := range people() {
			direct, amends := sample(kind).MayBeBy(r), e.MayBeBy(r)
			require.Equal(t, e.Kind.MayRecord(r) && direct == nil, amends == nil, "%s amends %s: %v", r, kind, amends)
			require.Equal(t, amends, read.MayBeBy(r), "%s amends %s", r, kind)
			if direct != nil && e.Kind.MayRecord(r) {
				judgedBoth++
			}
		}
		require.NotNil(t, e.MayBeBy(events.Probe), kind)
	}
	require.Greater(t, judgedBoth, 50)
}

func TestAnAmendmentIsRefusedByItsInnerField(t *testing.T) {
	e := sample("record.amended")
	e.Data = amending(t, "hold.released", sampleData["hold.released"])
	judged(t, "a hold", e.MayBeBy(events.Foreman), "role", "engineer, who may record hold.released")

	e.Data = amending(t, "permit.issued", &events.PermitIssued{Number: "1", For: "strip", RequestedBy: "p-4f2a"})
	judged(t, "a permit", e.MayBeBy(events.Officer), "data.data.requested_by", "another person")

	e.Data = amending(t, "alert.acknowledged", &events.AlertAcknowledged{Alert: "a-1"})
	judged(t, "an answer", e.MayBeBy(events.Officer), "data.data.kind", "kind of the alert")

	e.Data = &events.RecordAmended{Target: target, Kind: "hold.placed", Data: []byte(`{"hold":1}`), Reason: "r"}
	judged(t, "unreadable", e.MayBeBy(events.Officer), "data.data", "hold.placed")

	e.Data = &events.RecordAmended{Target: target, Kind: "window.stated", Data: []byte(`{}`), Reason: "r"}
	judged(t, "the hub", e.MayBeBy(events.Roles()...), "role", "the hub")
}

// No kind that declares a role in its data is forgotten.
func TestADeclaredRoleIsHeld(t *testing.T) {
	declaring := 0
	for _, kind := range events.Kinds() {
		for _, p := range contractOf(t, kind).places() {
			if p.path != "data.role" {
				continue
			}
			declaring++
			for _, declared := range p.schema["enum"].([]any) {
				event := decoded(t, sampleBody(kind))
				p.set(event, declared)
				body, err := json.Marshal(event)
				require.NoError(t, err)
				e, err := events.Decode("", body)
				require.NoError(t, err)
				require.True(t, kind.MayRecord(events.Role(declared.(string))), "%s as %s", kind, declared)
				for _, r := range events.Roles() {
					require.Equal(t, string(r) == declared, e.MayBeBy(r) == nil, "%s as %s, being %s", kind, declared, r)
				}
			}
		}
	}
	require.Equal(t, 3, declaring)
}

func TestNobodyIssuesTheirOwnPermit(t *testing.T) {
	_, err := events.Decode("", with(t, "permit.issued", `"requested_by":"p-31cc"`, `"requested_by":"p-4f2a"`))
	refused(t, err, "data.requested_by", "p-4f2a", "another person")
	var ref *events.Refusal
	require.ErrorAs(t, err, &ref)
	require.True(t, ref.Beyond)

	e := sample("record.amended")
	e.Data = amending(t, "permit.issued", &events.PermitIssued{Number: "1", For: "strip", RequestedBy: e.By})
	refused(t, e.Check(), "data.data.requested_by", e.By, "another person")
	e.By = "p-77aa"
	require.NoError(t, e.Check())

	// Where type comes after data, it is read another way.
	body := `{"data":{"number":"1","for":"pour","requested_by":"p-1"},"specversion":"1.0","id":"1","source":"/site/a/device/b",` +
		`"type":"earlyage.permit.issued.v1","subject":"w","time":"2026-01-12T08:00:00Z","by":"p-1"}`
	_, err = events.Decode("", []byte(body))
	refused(t, err, "data.requested_by", "p-1", "another person")
	_, err = events.Decode("", []byte(strings.Replace(body, `"by":"p-1"`, `"by":"p-2"`, 1)))
	require.NoError(t, err)
}
