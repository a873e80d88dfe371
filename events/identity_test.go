package events_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events"
)

func TestDeviceEnrolled(t *testing.T) {
	phone := events.DeviceEnrolled{Device: "phone-7", Person: "p-4f2a", Sort: events.SortPhone, Key: stationKey}
	station := events.DeviceEnrolled{Device: "logger-2", Sort: events.SortStation, Key: stationKey, Kinds: []events.Kind{"temperature.read"}}
	probe := events.DeviceEnrolled{Device: "probe-3", Sort: events.SortProbe, Wall: "w1", Kinds: []events.Kind{"wind.read"}}
	for _, c := range []struct {
		name  string
		of    events.DeviceEnrolled
		turn  func(d *events.DeviceEnrolled)
		field string // empty: taken
	}{
		{"a phone", phone, func(*events.DeviceEnrolled) {}, ""},
		{"a station", station, func(*events.DeviceEnrolled) {}, ""},
		{"a probe", probe, func(*events.DeviceEnrolled) {}, ""},
		{"a probe that may all of its role", probe, func(d *events.DeviceEnrolled) { d.Wall, d.Kinds = "", nil }, ""},
		{"the hub", phone, func(d *events.DeviceEnrolled) { d.Device = "hub" }, "data.device"},
		{"a desk", phone, func(d *events.DeviceEnrolled) { d.Device = events.DeskOf("p-4f2a") }, "data.device"},
		{"almost a desk", phone, func(d *events.DeviceEnrolled) { d.Device = "desk" }, ""},
		{"a phone of nobody", phone, func(d *events.DeviceEnrolled) { d.Person = "" }, "data.person"},
		{"a phone without key", phone, func(d *events.DeviceEnrolled) { d.Key = "" }, "data.key"},
		{"a phone bound to a wall", phone, func(d *events.DeviceEnrolled) { d.Wall = "w1" }, "data.wall"},
		{"a phone bound to kinds", phone, func(d *events.DeviceEnrolled) { d.Kinds = []events.Kind{"wind.read"} }, "data.kinds"},
		{"a station of a person", station, func(d *events.DeviceEnrolled) { d.Person = "p-1" }, "data.person"},
		{"a station without key", station, func(d *events.DeviceEnrolled) { d.Key = "" }, "data.key"},
		{"a station bound to a wall", station, func(d *events.DeviceEnrolled) { d.Wall = "w1" }, "data.wall"},
		{"a station that places", station, func(d *events.DeviceEnrolled) { d.Kinds = []events.Kind{"wind.read", "lift.placed"} }, "data.kinds"},
		{"a probe with a key", probe, func(d *events.DeviceEnrolled) { d.Key = stationKey }, "data.key"},
		{"a probe of a person", probe, func(d *events.DeviceEnrolled) { d.Person = "p-1" }, "data.person"},
		{"a probe that states windows", probe, func(d *events.DeviceEnrolled) { d.Kinds = []events.Kind{"window.stated"} }, "data.kinds"},
		{"a kind that is none", probe, func(d *events.DeviceEnrolled) { d.Kinds = []events.Kind{"wind.reed"} }, "data.kinds"},
		{"no sort", probe, func(d *events.DeviceEnrolled) { d.Sort = "" }, "data.sort"},
		{"an account's key", phone, func(d *events.DeviceEnrolled) { d.Key = "A" + stationKey[1:] }, "data.key"},
		{"a key mistyped", phone, func(d *events.DeviceEnrolled) { d.Key = strings.Replace(stationKey, "EU3", "EU4", 1) }, "data.key"},
	} {
		d := c.of
		c.turn(&d)
		e := sample("device.enrolled")
		e.Data = &d
		err := e.Check()
		if c.field == "" {
			require.NoError(t, err, c.name)
			continue
		}
		var ref *events.Refusal
		require.ErrorAs(t, err, &ref, c.name)
		require.Equal(t, c.field, ref.Field, "%s: %v", c.name, ref)
	}
}

func TestPersonAppointed(t *testing.T) {
	e := sample("person.appointed")
	e.Source.Site = "_" // on every site
	for field, roles := range map[string][]events.Role{
		"":             people(),
		"data.roles":   {events.Crew, events.Foreman, events.Crew},
		"data.roles.0": {events.Probe},
		"data.roles.1": {events.Crew, "chief"},
	} {
		e.Data = &events.PersonAppointed{Person: "p-4f2a", Roles: roles}
		err := e.Check()
		if field == "" {
			require.NoError(t, err)
			continue
		}
		var ref *events.Refusal
		require.ErrorAs(t, err, &ref, "%v", roles)
		require.Equal(t, field, ref.Field, "%v", ref)
	}
	e.Data = &events.PersonAppointed{Person: "p-4f2a", Roles: []events.Role{}}
	require.Error(t, e.Check(), "whoever has no role is retired")
}

// Who asked for it may stand with it, and need not.
func TestIdentityKindsAreTheHubsAndOfASite(t *testing.T) {
	for _, kind := range []events.Kind{"person.appointed", "person.retired", "device.enrolled", "device.revoked", "passkey.made", "passkey.ended"} {
		require.True(t, kind.SchedulerOnly(), kind)
		require.True(t, kind.SiteWide(), kind)
		require.False(t, kind.NeedsPerson(), kind)
		e := sample(kind)
		require.Equal(t, "p-4f2a", e.By)
		e.By = ""
		require.NoError(t, e.Check(), kind)
		e.Wall = "w1"
		require.Error(t, e.Check(), kind)
	}
}

func TestDesk(t *testing.T) {
	person, ok := events.DeskPerson(events.DeskOf("p-4f2a"))
	require.True(t, ok)
	require.Equal(t, "p-4f2a", person)
	for _, device := range []string{"desk", "phone-7", "hub", "a-desk-p"} {
		_, ok := events.DeskPerson(device)
		require.False(t, ok, device)
	}
}

// Answers of the time before their alert's kind was asked for are read and
// written as they were.
func TestAnOldAnswerToAnAlertKeepsItsBytes(t *testing.T) {
	for _, kind := range []events.Kind{"alert.acknowledged", "alert.shelved"} {
		old := with(t, kind, `"kind":"joint-closing",`, "")
		e, err := events.Decode("", old)
		require.NoError(t, err)
		written, err := e.Encode()
		require.NoError(t, err)
		require.Equal(t, string(old), string(written))
		require.NotNil(t, e.MayBeBy(people()...), "but nobody who is enrolled may write one now")
	}
}
