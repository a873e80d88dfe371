package people_test

import (
	"crypto/ed25519"
	"testing"

	"github.com/nats-io/nkeys"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector/people"
	"earlyage/projector/wall"
)

// book numbers the hub's words.
type book struct{ seq uint64 }

func (b *book) fact(site string, kind events.Kind, data events.Data) wall.Fact {
	b.seq++
	return wall.Fact{
		Event: events.Event{
			ID: string(rune('a' + b.seq)), Source: events.Source{Site: site, Device: events.HubDevice}, Kind: kind, Data: data,
		},
		Seq: b.seq, Trusted: true,
	}
}

func (b *book) appoint(site, person string, roles ...events.Role) wall.Fact {
	return b.fact(site, "person.appointed", &events.PersonAppointed{Person: person, Roles: roles})
}

func (b *book) phone(site, device, person, key string) wall.Fact {
	return b.fact(site, "device.enrolled", &events.DeviceEnrolled{Device: device, Person: person, Sort: events.SortPhone, Key: key})
}

func newKey(t *testing.T) (public string, raw ed25519.PublicKey) {
	t.Helper()
	pair, err := nkeys.CreateUser()
	require.NoError(t, err)
	public, err = pair.PublicKey()
	require.NoError(t, err)
	raw, err = nkeys.Decode(nkeys.PrefixByteUser, []byte(public))
	require.NoError(t, err)
	return public, raw
}

func TestRolesOnSites(t *testing.T) {
	var b book
	r := people.New().With(
		b.appoint("alder", "p-a", events.Officer, events.Crew),
		b.appoint("_", "p-a", events.Keeper, events.Officer),
		b.appoint("birch", "p-b", events.Foreman),
	)
	require.Equal(t, []events.Role{events.Crew, events.Officer, events.Keeper}, r.RolesOf("p-a", "alder"))
	require.Equal(t, []events.Role{events.Officer, events.Keeper}, r.RolesOf("p-a", "cedar"))
	require.Equal(t, []events.Role{events.Officer, events.Keeper}, r.RolesOf("p-a", "_"))
	require.Empty(t, r.RolesOf("p-b", "alder"))
	require.Empty(t, r.RolesOf("p-b", "_"), "a role on one site is none on all")
	require.Empty(t, r.RolesOf("p-x", "alder"))
	require.Equal(t, []string{"_", "alder"}, r.SitesOf("p-a"))
	require.Empty(t, r.SitesOf("p-x"))

	less := r.With(b.appoint("alder", "p-a", events.Crew), b.fact("_", "person.retired", &events.PersonRetired{Person: "p-b", Reason: "left"}))
	require.Equal(t, []events.Role{events.Crew, events.Officer, events.Keeper}, less.RolesOf("p-a", "alder"), "what holds everywhere holds here")
	require.Empty(t, less.RolesOf("p-b", "birch"))
	require.Equal(t, []events.Role{events.Foreman}, r.RolesOf("p-b", "birch"), "a register never changes")
	require.Equal(t, []people.Person{
		{ID: "p-a", Roles: map[string][]events.Role{"_": {events.Officer, events.Keeper}, "alder": {events.Crew}}, Since: 1},
		{ID: "p-b", Roles: map[string][]events.Role{}, Retired: true, Since: 3, Until: 5},
	}, less.People())

	back := less.With(b.appoint("birch", "p-b", events.Crew))
	p, ok := back.Person("p-b")
	require.True(t, ok)
	require.Equal(t, people.Person{ID: "p-b", Roles: map[string][]events.Role{"birch": {events.Crew}}, Since: 3}, p)
	p.Roles["birch"][0] = events.Keeper
	require.Equal(t, []events.Role{events.Crew}, back.RolesOf("p-b", "birch"), "what is handed out is a copy")
	_, ok = back.Person("p-x")
	require.False(t, ok)
}

func TestRetirementOnOneSite(t *testing.T) {
	var b book
	key, _ := newKey(t)
	r := people.New().With(
		b.appoint("alder", "p-a", events.Crew), b.appoint("birch", "p-a", events.Crew), b.phone("birch", "phone-1", "p-a", key),
		b.fact("alder", "person.retired", &events.PersonRetired{Person: "p-a", Reason: "moved"}),
	)
	require.Empty(t, r.RolesOf("p-a", "alder"))
	require.Equal(t, []string{"birch"}, r.SitesOf("p-a"))
	require.True(t, r.MayRecord(events.Source{Site: "birch", Device: "phone-1"}, "lift.placed"))
	require.False(t, r.People()[0].Retired)
}

func TestKeysOfADevice(t *testing.T) {
	var b book
	src := events.Source{Site: "alder", Device: "phone-1"}
	first, raw := newKey(t)
	second, _ := newKey(t)
	r := people.New().With(b.appoint("alder", "p-a", events.Crew), b.phone("alder", "phone-1", "p-a", first))
	d, ok := r.ByKey(first)
	require.True(t, ok)
	require.Equal(t, src, d.Source)
	k, ok := d.Current()
	require.True(t, ok)
	require.Equal(t, stream.KeyID(raw), k.ID, "keys are named as signatures name them")
	require.Equal(t, raw, k.Ed25519())

	rotated := r.With(b.phone("alder", "phone-1", "p-a", second))
	_, ok = rotated.ByKey(first)
	require.False(t, ok)
	d, ok = rotated.ByKey(second)
	require.True(t, ok)
	require.Equal(t, [][2]uint64{{2, 3}, {3, 0}}, [][2]uint64{{d.Keys[0].From, d.Keys[0].To}, {d.Keys[1].From, d.Keys[1].To}})
	require.EqualValues(t, 2, d.Since)
	old, _ := r.Device(src)
	require.Zero(t, old.Keys[0].To, "a register never changes")

	revoked := rotated.With(b.fact("alder", "device.revoked", &events.DeviceRevoked{Device: "phone-1", Reason: "lost"}))
	_, ok = revoked.ByKey(second)
	require.False(t, ok)
	d, ok = revoked.Device(src)
	require.True(t, ok)
	require.True(t, d.Revoked)
	require.Equal(t, "lost", d.Reason)
	require.EqualValues(t, 4, d.Until)
	_, ok = d.Current()
	require.False(t, ok)
	require.Empty(t, revoked.KindsOf(src))
	again := revoked.With(b.fact("_", "person.retired", &events.PersonRetired{Person: "p-a", Reason: "left"}))
	d, _ = again.Device(src)
	require.Equal(t, "lost", d.Reason, "what ended it first stands")
}

func TestWhatTheHubCannotSay(t *testing.T) {
	var b book
	used, _ := newKey(t)
	other, _ := newKey(t)
	third, _ := newKey(t)
	r := people.New().With(
		b.appoint("alder", "p-a", events.Crew), b.phone("alder", "phone-1", "p-a", used),
		b.appoint("alder", "p-gone", events.Crew), b.fact("_", "person.retired", &events.PersonRetired{Person: "p-gone", Reason: "left"}),
		b.phone("alder", "phone-2", "p-a", other), b.fact("alder", "device.revoked", &events.DeviceRevoked{Device: "phone-2", Reason: "lost"}),
	)
	for name, say := range map[string]struct {
		field string
		fact  wall.Fact
	}{
		"a key of another device":          {"data.key", b.phone("birch", "phone-7", "p-a", used)},
		"the key that it has":              {"data.key", b.phone("alder", "phone-1", "p-a", used)},
		"the key of a revoked device":      {"data.key", b.phone("birch", "phone-7", "p-a", other)},
		"not a key":                        {"data.key", b.phone("birch", "phone-7", "p-a", "U"+used[1:20])},
		"another owner":                    {"data.person", b.phone("alder", "phone-1", "p-b", third)},
		"another sort":                     {"data.sort", b.fact("alder", "device.enrolled", &events.DeviceEnrolled{Device: "phone-1", Person: "p-a", Sort: events.SortStation, Key: third})},
		"a device of one who left":         {"data.person", b.phone("alder", "phone-7", "p-gone", third)},
		"a revoked device":                 {"data.device", b.phone("alder", "phone-2", "p-a", third)},
		"the end of a device that is none": {"data.device", b.fact("birch", "device.revoked", &events.DeviceRevoked{Device: "phone-1", Reason: "lost"})},
		"a passkey of nobody":              {"data.person", b.fact("_", "passkey.made", &events.PasskeyMade{Person: "p-x"})},
		"a passkey of one who left":        {"data.person", b.fact("_", "passkey.made", &events.PasskeyMade{Person: "p-gone"})},
		"the end of nobody's passkeys":     {"data.person", b.fact("_", "passkey.ended", &events.PasskeyEnded{Person: "p-x", Reason: "lost"})},
		"the end of nobody":                {"data.person", b.fact("_", "person.retired", &events.PersonRetired{Person: "p-x", Reason: "left"})},
		"other data":                       {"data", b.fact("_", "person.retired", &events.HoldPlaced{})},
	} {
		refusal := r.Check(say.fact)
		require.NotNil(t, refusal, name)
		require.Equal(t, say.field, refusal.Field, name)
		draft := r.Draft()
		identity, refusal := draft.Add(say.fact)
		require.True(t, identity, name)
		require.NotNil(t, refusal, name)
		require.Equal(t, r.People(), draft.People(), name)
		require.Equal(t, r.Devices(), draft.Devices(), name)
	}
}

func TestOnlyTheHubsWordCounts(t *testing.T) {
	var b book
	f := b.appoint("alder", "p-a", events.Keeper)
	f.Trusted = false
	require.Empty(t, people.New().With(f).People())
	f.Trusted, f.Kind = true, "hold.placed"
	require.Empty(t, people.New().With(f).People())
}

// TestFirstWordStands: an event with a key that was there changes nothing.
func TestFirstWordStands(t *testing.T) {
	var b book
	f := b.appoint("alder", "p-a", events.Keeper)
	r := people.New().With(f)
	less := r.With(b.appoint("alder", "p-a", events.Crew))
	f.Seq = 9
	require.Equal(t, []events.Role{events.Crew}, less.With(f).RolesOf("p-a", "alder"))
}

// TestPasskeysStandOnTheRecord: they change nothing of who may do what.
func TestPasskeysStandOnTheRecord(t *testing.T) {
	var b book
	r := people.New().With(b.appoint("alder", "p-a", events.Crew))
	draft := r.Draft()
	for _, f := range []wall.Fact{
		b.fact("_", "passkey.made", &events.PasskeyMade{Person: "p-a"}),
		b.fact("_", "passkey.ended", &events.PasskeyEnded{Person: "p-a", Reason: "lost"}),
	} {
		identity, refusal := draft.Add(f)
		require.True(t, identity)
		require.Nil(t, refusal)
	}
	require.Equal(t, r.People(), draft.People())
}

// TestStanding: who may be connected now.
func TestStanding(t *testing.T) {
	var b book
	at := func(device string) events.Source { return events.Source{Site: "alder", Device: device} }
	keys := []string{}
	for range 4 {
		key, _ := newKey(t)
		keys = append(keys, key)
	}
	r := people.New().With(
		b.appoint("alder", "p-a", events.Crew), b.appoint("alder", "p-b", events.Crew), b.appoint("birch", "p-b", events.Crew), b.appoint("_", "p-c", events.Engineer),
		b.phone("alder", "phone-a", "p-a", keys[0]), b.phone("alder", "phone-b", "p-b", keys[1]), b.phone("alder", "phone-c", "p-c", keys[2]),
		b.fact("alder", "device.enrolled", &events.DeviceEnrolled{Device: "logger", Sort: events.SortStation, Key: keys[3]}),
		b.fact("alder", "device.enrolled", &events.DeviceEnrolled{Device: "top", Sort: events.SortProbe}),
	)
	stand := func(r *people.Register) (list []string) {
		for _, device := range []string{"phone-a", "phone-b", "phone-c", "logger", "top", "hub", "desk-p-a", "stranger"} {
			if r.Standing(at(device)) {
				list = append(list, device)
			}
		}
		return list
	}
	require.Equal(t, []string{"phone-a", "phone-b", "phone-c", "logger", "top", "hub"}, stand(r))
	require.False(t, r.Standing(events.Source{Site: "birch", Device: "phone-b"}), "not enrolled there")
	retire := func(site, person string) wall.Fact {
		return b.fact(site, "person.retired", &events.PersonRetired{Person: person, Reason: "left"})
	}
	require.Equal(t, []string{"phone-a", "phone-c", "logger", "top", "hub"}, stand(r.With(retire("alder", "p-b"))), "no role on this site")
	require.Equal(t, []string{"phone-a", "phone-b", "logger", "top", "hub"}, stand(r.With(retire("_", "p-c"))))
	require.Equal(t, []string{"phone-b", "phone-c", "top", "hub"}, stand(r.With(
		b.fact("alder", "device.revoked", &events.DeviceRevoked{Device: "phone-a", Reason: "lost"}),
		b.fact("alder", "device.revoked", &events.DeviceRevoked{Device: "logger", Reason: "dead"}),
	)))
}

func TestWhoMayRecordWhat(t *testing.T) {
	var b book
	key, _ := newKey(t)
	stationKey, _ := newKey(t)
	r := people.New().With(
		b.appoint("alder", "p-a", events.Crew), b.phone("alder", "phone-1", "p-a", key),
		b.fact("alder", "device.enrolled", &events.DeviceEnrolled{Device: "wind-1", Sort: events.SortStation, Key: stationKey, Kinds: []events.Kind{"wind.read"}}),
		b.fact("alder", "device.enrolled", &events.DeviceEnrolled{Device: "top-1", Sort: events.SortProbe, Wall: "w1"}),
	)
	at := func(device string) events.Source { return events.Source{Site: "alder", Device: device} }
	for device, may := range map[string][]events.Kind{
		"phone-1": events.KindsOf(events.Crew), "desk-p-a": events.KindsOf(events.Crew), "desk-p-b": nil,
		"wind-1": {"device.reported", "wind.read"}, "top-1": events.KindsOf(events.Probe), "phone-9": nil, "hub": nil,
	} {
		require.ElementsMatch(t, may, r.KindsOf(at(device)), device)
		for _, k := range events.Kinds() {
			var listed bool
			for _, m := range may {
				listed = listed || m == k
			}
			require.Equal(t, listed, r.MayRecord(at(device), k), "%s %s", device, k)
		}
	}
	require.Equal(t, []events.Role{events.Probe}, r.Roles(at("top-1")))
	top, _ := r.Device(at("top-1"))
	require.Empty(t, top.Keys)
	require.Equal(t, []string{"phone-1", "top-1", "wind-1"}, func() (names []string) {
		for _, d := range r.Devices() {
			names = append(names, d.Source.Device)
		}
		return names
	}())
}
