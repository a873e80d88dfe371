package routes_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/notify/routes"
)

var noon = time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)

// Who is told without a file, by who acts first.
func TestDefaultLadders(t *testing.T) {
	r := routes.Default().Rota(builder, nil)
	for kind, want := range map[string][]string{
		"rise-fast":         {"0s p-cal p-cy p-fay", "2m0s p-fay", "5m0s p-ola", "10m0s p-dee"},
		"pressure-high":     {"0s p-fay", "2m0s p-ola", "5m0s p-dee"},
		"joint-cold":        {"0s p-fay", "2m0s p-ola", "5m0s p-eng p-ola", "10m0s p-dee"},
		"strip-early":       {"0s p-eng p-fay p-ola", "2m0s p-dee"},
		"face-early":        {"0s p-eng p-fay p-ola", "2m0s p-dee"},
		"strip-unpermitted": {"0s p-eng p-fay p-ola", "2m0s p-dee"},
		"brace-disturbed":   {"0s p-ola", "2m0s p-fay p-ola", "5m0s p-eng p-ola", "10m0s p-dee"},
		"frozen":            {"0s p-eng", "2m0s p-fay p-ola", "5m0s p-eng p-ola", "10m0s p-dee"},
		"joint-at-risk":     {"0s p-dee", "2m0s p-fay", "5m0s p-ola", "10m0s p-dee"},
		"stream-hole":       {"0s p-kim", "2m0s p-dee", "5m0s p-ola", "10m0s p-dee p-kim"},
	} {
		require.Equal(t, want, written(r.Ladder(alert(kind, "mill"), noon)), kind)
	}
	require.Equal(t, []string{"0s p-fox", "2m0s p-dee"}, written(r.Ladder(alert("joint-cold", "quay"), noon)), "roles that nobody holds are passed over, and what is left comes earlier")
	require.Equal(t, []string{"0s p-kim", "2m0s p-dee", "5m0s p-dee p-kim"}, written(r.Ladder(alert("stream-hole", "_"), noon)))

	alone := crowd{"mill": {"p-cy": {events.Crew}}}
	require.Equal(t, []string{"0s p-cy"}, written(routes.Default().Rota(alone, nil).Ladder(alert("frozen", "mill"), noon)), "whoever there is")
	require.Nil(t, routes.Default().Rota(crowd{}, nil).Ladder(alert("frozen", "mill"), noon))
	probes := crowd{"mill": {"p-x": {events.Probe}, "": {events.Foreman}, "p-y": {}}}
	require.Nil(t, routes.Default().Rota(probes, nil).Ladder(alert("frozen", "mill"), noon))
}

func TestDefaultSheets(t *testing.T) {
	r := routes.Default().Rota(builder, nil)
	for sheet, want := range map[string]string{"": "p-dee p-fay", "morning": "p-dee p-fay", "evening": "p-dee p-fay", "weekly": "p-ola", "beat": "p-kim p-ola"} {
		require.Equal(t, want, persons(r.Sheet("mill", sheet, noon)), sheet)
	}
	require.Empty(t, r.Sheet("quay", "weekly", noon))
}

// The first route that matches counts, by each of its members.
func TestRoutesMatch(t *testing.T) {
	ladder := func(who string) string {
		return "    ladder: [{people: [" + who + "]}, {after: 1m, roles: [dispatcher]}]\n"
	}
	f := parse(t, "routes:\n"+
		"  - name: kind\n    kinds: [frozen]\n"+ladder("p-cal")+
		"  - name: acts\n    acts: [keeper]\n"+ladder("p-kim")+
		"  - name: high\n    sites: [mill]\n    priority: high\n    from: \"22:00\"\n    to: \"06:00\"\n    days: [fri]\n"+ladder("p-fay")+
		"  - name: rest\n    sites: [mill]\n    priority: low\n"+ladder("p-cy"))
	york := zone(t, "America/New_York")
	r := f.Rota(builder, func(string) *time.Location { return york })
	first := func(kind, site, priority string, at time.Time) string {
		n := alert(kind, site)
		n.Priority = priority
		return r.Ladder(n, at)[0].Choices[0].Person
	}
	night := time.Date(2026, 3, 6, 23, 0, 0, 0, york) // a Friday
	require.Equal(t, "p-cal", first("frozen", "mill", "low", night))
	require.Equal(t, "p-kim", first("stream-hole", "mill", "urgent", night))
	for _, c := range []struct {
		want, priority string
		at             time.Time
	}{
		{"p-fay", "urgent", night}, {"p-fay", "high", night}, {"p-cy", "medium", night}, {"p-cy", "low", night},
		{"p-fay", "surprising", night},
		{"p-fay", "high", night.Add(7*time.Hour - time.Second)}, {"p-cy", "high", night.Add(7 * time.Hour)},
		{"p-cy", "high", night.Add(-time.Hour - time.Second)}, {"p-fay", "high", night.Add(-time.Hour)},
		{"p-cy", "high", night.AddDate(0, 0, 1)}, {"p-cy", "high", night.AddDate(0, 0, -1)},
	} {
		require.Equal(t, c.want, first("load-old", "mill", c.priority, c.at), "%s at %s", c.priority, c.at)
	}
	require.Equal(t, "p-fox", first("load-old", "quay", "urgent", night), "no route: by default")
}

// The reason of a step names everybody whom it is for, once; where an event has no
// room for them all, as many whole names as there is, and how many more they are.
func TestReasonsAreWhole(t *testing.T) {
	why := func(r *routes.Rota, kind string) (list []string) {
		for _, rung := range r.Ladder(alert(kind, "mill"), noon) {
			list = append(list, rung.Why)
		}
		return list
	}
	require.Equal(t, []string{"by default, step 0: foreman, safety officer, engineer", "by default, step 1: dispatcher"}, why(routes.Default().Rota(builder, nil), "strip-early"))
	people := crowd{"mill": {"p-dee": {events.Dispatcher}}}
	var ids []string
	for i := range 12 {
		ids = append(ids, fmt.Sprintf("p-%s-%d", strings.Repeat("x", 24), i))
		people["mill"][ids[i]] = []events.Role{events.Crew}
	}
	name := strings.Repeat("ø", 80)
	f, err := routes.Parse("r.yaml", []byte("routes: [{name: "+name+", ladder: [{people: ["+strings.Join(ids, ", ")+"]}, {after: 1m, roles: [dispatcher]}]}]"), people, sites)
	require.NoError(t, err)
	got := why(f.Rota(people, nil), "rise-fast")
	require.Equal(t, "route "+name+", step 0: "+ids[0]+", "+ids[1]+", "+ids[2]+" and 9 more", got[0])
	told := events.AlertTold{Message: "m", What: notice.Raised, Channel: routes.Mail, Outcome: "accepted", Text: "t", At: noon, Why: got[0]}
	e := events.Event{ID: "e", Source: events.Source{Site: "mill", Device: events.HubDevice}, Wall: "a", Time: noon, Kind: "alert.told", Data: &told}
	require.NoError(t, e.Check())
	told.Why = strings.Repeat("ø", 201)
	require.ErrorContains(t, e.Check(), "why")
}

// A shift over the night, by its lines, and what a rung without anybody does.
func TestShifts(t *testing.T) {
	f := parse(t, `shifts:
  - {name: watch, site: mill, people: [p-cy], days: [mon-thu], from: "22:00", to: "06:00"}
  - {name: watch, site: mill, people: [p-cal], dates: [2026-03-06], from: "22:00", to: "06:00"}
routes:
  - name: a
    ladder: [{shifts: [watch]}, {after: 1m, roles: [officer]}, {after: 5m, roles: [dispatcher]}]
`)
	r := f.Rota(builder, nil)
	at := func(day, hour int) []string {
		return written(r.Ladder(alert("rise-fast", "mill"), time.Date(2026, 3, day, hour, 0, 0, 0, time.UTC)))
	}
	require.Equal(t, []string{"0s p-cy", "1m0s p-ola", "5m0s p-dee"}, at(2, 22), "Monday")
	require.Equal(t, []string{"0s p-cy", "1m0s p-ola", "5m0s p-dee"}, at(6, 5), "Thursday's, until Friday morning")
	require.Equal(t, []string{"0s p-ola", "2m0s p-dee"}, at(6, 6), "nobody on shift: the next ones come earlier")
	require.Equal(t, []string{"0s p-cal", "1m0s p-ola", "5m0s p-dee"}, at(6, 22), "a date")
	require.Equal(t, []string{"0s p-dee"}, written(r.Ladder(alert("rise-fast", "quay"), noon)), "another site")
}

// No gap and no doubt on the days on which the clocks change. The changes are those
// of the IANA zone: New York, 2026-03-08 07:00 UTC and 2026-11-01 06:00 UTC.
func TestShiftsWhenTheClocksChange(t *testing.T) {
	york := zone(t, "America/New_York")
	on := func(from, to string, at time.Time) bool {
		f := parse(t, fmt.Sprintf(`shifts: [{name: s, site: mill, people: [p-cy], from: %q, to: %q}]
routes: [{name: a, ladder: [{shifts: [s]}, {after: 1m, roles: [dispatcher]}]}]`, from, to))
		list := f.Rota(builder, func(string) *time.Location { return york }).Ladder(alert("rise-fast", "mill"), at)
		return list[0].Choices[0].Person == "p-cy"
	}
	spring, autumn := time.Date(2026, 3, 8, 7, 0, 0, 0, time.UTC), time.Date(2026, 11, 1, 6, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		from, to string
		at       time.Time
		want     bool
	}{
		{"02:30", "05:00", spring.Add(-time.Second), false}, {"02:30", "05:00", spring, true}, // begins when the clock is put forward
		{"00:00", "02:30", spring.Add(-time.Second), true}, {"00:00", "02:30", spring, false}, // ends then
		{"01:30", "05:00", autumn.Add(-30*time.Minute - time.Second), false}, {"01:30", "05:00", autumn.Add(-30 * time.Minute), true}, // at the first 01:30
		{"01:30", "05:00", autumn.Add(10 * time.Minute), true},                                                                      // and stays at the second 01:10
		{"00:00", "01:30", autumn.Add(-10 * time.Minute), true}, {"00:00", "01:30", autumn.Add(30*time.Minute - time.Second), true}, // until the second 01:30
		{"00:00", "01:30", autumn.Add(30 * time.Minute), false},
	} {
		require.Equal(t, c.want, on(c.from, c.to, c.at), "%s to %s at %s", c.from, c.to, c.at.In(york))
	}
}

// Three shifts that follow on each other leave no moment of a year without somebody.
func TestShiftsLeaveNoGap(t *testing.T) {
	f := parse(t, `shifts:
  - {name: s, site: mill, people: [p-cy], from: "22:30", to: "02:30"}
  - {name: s, site: mill, people: [p-cal], from: "02:30", to: "14:00"}
  - {name: s, site: mill, people: [p-fay], from: "14:00", to: "22:30"}
routes: [{name: a, ladder: [{shifts: [s]}, {after: 1m, roles: [dispatcher]}]}]
`)
	for _, name := range []string{"America/New_York", "Europe/Berlin", "Australia/Lord_Howe", "America/St_Johns", "UTC"} {
		z := zone(t, name)
		r := f.Rota(builder, func(string) *time.Location { return z })
		for at := time.Date(2026, 1, 1, 0, 15, 0, 0, z); at.Year() == 2026; at = at.Add(30 * time.Minute) {
			require.Len(t, r.Ladder(alert("rise-fast", "mill"), at), 2, "%s", at)
		}
	}
}

// waits is an alert that can wait.
func waits(site string) notice.Notice {
	n := alert("probe-silent", site)
	n.Priority = desk.Low
	return n
}

// Quiet hours may be for some kinds and for what is least pressing; the rest that
// could wait is told.
func TestQuietOfSomeKinds(t *testing.T) {
	f := parse(t, `quiet:
  - {sites: [mill], kinds: [probe-silent, record-gap], from: "08:00", to: "14:00"}
  - {people: [p-cy], priority: low, from: "14:00", to: "20:00"}
  - {people: [p-ola], kinds: [event-refused], priority: medium, from: "08:00", to: "13:00"}
`)
	r := f.Rota(builder, nil)
	until := func(kind, priority, person string) time.Duration {
		n := alert(kind, "mill")
		n.Priority = priority
		at := r.Quiet(n, person, noon)
		if at.IsZero() {
			return 0
		}
		return at.Sub(noon)
	}
	require.Equal(t, 2*time.Hour, until("probe-silent", desk.Medium, "p-cy"), "the hours that follow are for what is low")
	require.Equal(t, 8*time.Hour, until("probe-silent", desk.Low, "p-cy"))
	require.Equal(t, 2*time.Hour, until("record-gap", desk.Low, "p-fay"))
	require.Zero(t, until("event-refused", desk.Low, "p-fay"), "it is no kind of theirs")
	require.Equal(t, time.Hour, until("event-refused", desk.Medium, "p-ola"))
	require.Zero(t, until("probe-silent", desk.High, "p-cy"))
	require.Zero(t, until("probe-silent", desk.Urgent, "p-cy"))
	for _, kind := range events.AlertKinds() {
		if !desk.CanWait(kind, desk.Low) {
			require.Zero(t, until(kind, desk.Low, "p-cy"), "%s never waits", kind)
		}
	}
}

func TestQuiet(t *testing.T) {
	f := parse(t, `quiet:
  - {sites: [mill], from: "20:00", to: "06:00"}
  - {people: [p-fay], days: [sat, sun]}
  - {people: [p-ola], from: "00:00", to: "12:00"}
  - {people: [p-ola], from: "12:00", to: "24:00"}
`)
	r := f.Rota(builder, func(string) *time.Location { return zone(t, "Europe/Berlin") })
	at := func(site, person, from string) string {
		t.Helper()
		berlin := zone(t, "Europe/Berlin")
		began, err := time.ParseInLocation("2006-01-02 15:04", from, berlin)
		require.NoError(t, err)
		until := r.Quiet(waits(site), person, began)
		if until.IsZero() {
			return "not"
		}
		return until.In(berlin).Format("2006-01-02 15:04")
	}
	require.Equal(t, "2026-03-05 06:00", at("mill", "p-cy", "2026-03-04 20:00"))
	require.Equal(t, "2026-03-05 06:00", at("mill", "p-cy", "2026-03-05 05:59"))
	require.Equal(t, "not", at("mill", "p-cy", "2026-03-05 06:00"))
	require.Equal(t, "not", at("quay", "p-cy", "2026-03-04 21:00"))
	require.Equal(t, "2026-03-09 06:00", at("mill", "p-fay", "2026-03-06 21:00"), "the night before, the weekend, the night after")
	require.Equal(t, "2026-03-30 00:00", at("quay", "p-fay", "2026-03-28 00:00"), "a weekend of 47 hours")
	require.Equal(t, "not", at("quay", "p-ola", "2026-03-04 09:00"), "what never ends withholds nothing")
	require.True(t, routes.Default().Rota(builder, nil).Quiet(waits("mill"), "p-cy", noon).IsZero())
}

// Only what reaches the person, as the file has it; somebody whom none of it reaches
// is told by what does.
func TestChannels(t *testing.T) {
	dir := readers{
		{Person: "p-all", Roles: []events.Role{events.Dispatcher}, Mail: "a@b.example", Devices: []events.Source{{Site: "mill", Device: "d"}}, Pushes: []notice.Push{{}}},
		{Person: "p-mail", Roles: []events.Role{events.Dispatcher}, Mail: "a@b.example"},
		{Person: "p-none", Roles: []events.Role{events.Dispatcher}},
	}
	channels := func(text string) (list []string) {
		f := routes.Default()
		if text != "" {
			var err error
			f, err = routes.Parse("r", []byte(text), dir, sites)
			require.NoError(t, err)
		}
		for _, c := range f.Rota(dir, nil).Ladder(alert("joint-at-risk", "mill"), noon)[0].Choices {
			list = append(list, strings.Join(c.Channels, "+"))
		}
		return list
	}
	mail := "mail: {server: m, tls: implicit, from: a@b.example}\n"
	require.Equal(t, []string{"phone+push", "", ""}, channels(""), "no server for mail")
	require.Equal(t, []string{"phone+push+mail", "mail", ""}, channels(mail))
	require.Equal(t, []string{"push", "mail", "", "hook"}, channels(mail+`hooks: [{name: h, url: "https://h.example", secret_file: s}]
routes: [{name: a, ladder: [{roles: [dispatcher], by: [push], hooks: [h]}]}]`))
}

type readers []notice.Reader

func (r readers) People(string) []notice.Reader { return r }

// requireSafe checks what no file can take away, for every kind.
func requireSafe(t require.TestingT, r *routes.Rota, dir routes.Directory, at time.Time) {
	limits := []time.Duration{0, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute}
	for _, site := range []string{"mill", "quay", "_"} {
		roles := map[string][]events.Role{}
		holders := map[events.Role][]string{}
		for _, p := range dir.People(site) {
			roles[p.Person] = p.Roles
			for _, role := range p.Roles {
				holders[role] = append(holders[role], p.Person)
			}
		}
		end := holders[events.Dispatcher]
		if len(end) == 0 {
			end = holders[events.Keeper]
		}
		for _, kind := range append(events.AlertKinds(), "of-a-later-program") {
			ladder := r.Ladder(alert(kind, site), at)
			require.Equal(t, len(roles) > 0, len(ladder) > 0, "%s on %s: somebody, where there is anybody", kind, site)
			for i, rung := range ladder {
				require.NotEmpty(t, rung.Choices, kind)
				require.NotEmpty(t, rung.Why)
				require.LessOrEqual(t, len([]rune(rung.Why)), 200)
				require.LessOrEqual(t, rung.After, limits[min(i, 3)], "%s, rung %d", kind, i)
				require.True(t, i == 0 || rung.After > ladder[i-1].After, "%s, rung %d", kind, i)
				for _, c := range rung.Choices {
					require.True(t, roles[c.Person] != nil || strings.HasPrefix(c.Person, "hook-"), "%s does not work on %s", c.Person, site)
				}
			}
			if len(ladder) == 0 {
				continue
			}
			for _, person := range end {
				require.Contains(t, strings.Fields(persons(ladder[len(ladder)-1].Choices)), person, "%s on %s: the end", kind, site)
			}
			if slices.Contains([]string{"strip-early", "strip-unpermitted", "face-early"}, kind) {
				for _, person := range append(holders[events.Officer], holders[events.Engineer]...) {
					require.Contains(t, strings.Fields(persons(ladder[0].Choices)), person, "%s on %s: at once", kind, site)
				}
			}
		}
	}
}

// every subset of roles on a site, each held by somebody of their own.
func everySubset(do func(dir crowd)) {
	all := []events.Role{events.Crew, events.Foreman, events.Dispatcher, events.Engineer, events.Officer, events.Keeper}
	for set := range 1 << len(all) {
		dir := crowd{"mill": {}, "quay": {}, "_": {}}
		for i, role := range all {
			if set&(1<<i) == 0 {
				continue
			}
			site := "mill"
			if role == events.Keeper || role == events.Dispatcher && set%2 == 0 {
				site = "_"
			}
			dir[site]["p-"+string(role)] = []events.Role{role}
		}
		do(dir)
	}
}

func TestWhoeverThereIsIsTold(t *testing.T) {
	everySubset(func(dir crowd) { requireSafe(t, routes.Default().Rota(dir, nil), dir, noon) })
}

// Files that were good when they were read, at any hour, with anybody retired since.
func TestNoFileTakesSafetyAway(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		text := drawFile(rt)
		f, err := routes.Parse("r.yaml", []byte(text), nil, nil)
		require.NoError(rt, err, "%s", text)
		dir := crowd{}
		for site, people := range builder {
			dir[site] = map[string][]events.Role{}
			for _, person := range slices.Sorted(maps.Keys(people)) {
				if rapid.Bool().Draw(rt, person) {
					dir[site][person] = people[person]
				}
			}
		}
		zones := []string{"UTC", "America/New_York", "Australia/Lord_Howe"}
		z := zone(t, rapid.SampledFrom(zones).Draw(rt, "zone"))
		at := noon.Add(time.Duration(rapid.IntRange(0, 365*24*60).Draw(rt, "minute")) * time.Minute)
		r := f.Rota(dir, func(string) *time.Location { return z })
		requireSafe(rt, r, dir, at)
		for _, sheet := range []string{"morning", "beat"} {
			for _, c := range r.Sheet("mill", sheet, at) {
				require.True(rt, dir["mill"][c.Person] != nil || dir["_"][c.Person] != nil, c.Person)
			}
		}
		if until := r.Quiet(waits("mill"), "p-fay", at); !until.IsZero() {
			require.True(rt, until.After(at) && until.Sub(at) <= 7*24*time.Hour)
		}
		for _, kind := range append(events.AlertKinds(), "unheard-of") {
			for _, priority := range []string{desk.Urgent, desk.High, desk.Medium, desk.Low, "odd"} {
				n := alert(kind, "mill")
				n.Priority = priority
				require.True(rt, desk.CanWait(kind, priority) || r.Quiet(n, "p-fay", at).IsZero(), "no file withholds %s, %s", kind, priority)
			}
		}
	})
}

// drawFile writes a good file.
func drawFile(rt *rapid.T) string {
	pick := func(name string, words ...string) string {
		return "[" + strings.Join(rapid.SliceOfNDistinct(rapid.SampledFrom(words), 1, 2, rapid.ID).Draw(rt, name), ", ") + "]"
	}
	hours := func() string {
		from := rapid.IntRange(0, 1439).Draw(rt, "from")
		to := (from + rapid.IntRange(1, 1439).Draw(rt, "span")) % 1440
		return fmt.Sprintf("from: \"%02d:%02d\", to: \"%02d:%02d\"", from/60, from%60, to/60, to%60)
	}
	text := "shifts: [{name: s, site: mill, people: [p-cy], " + hours() + "}]\nquiet: [{people: [p-fay], " + hours() + ", days: " + pick("days", "mon", "tue-fri", "sun") +
		rapid.SampledFrom([]string{"", ", kinds: [probe-silent]", ", kinds: [record-gap, event-refused], priority: low", ", priority: medium"}).Draw(rt, "limits") + "}]\n"
	text += "sheets: [{sheet: morning, people: [p-ola]}]\nroutes:\n"
	for i := range rapid.IntRange(1, 3).Draw(rt, "routes") {
		text += fmt.Sprintf("  - {name: r%d, %s, kinds: %s, priority: high, ladder: [", i, hours(), pick("kinds", events.AlertKinds()...))
		after := 0
		for rung := range rapid.IntRange(0, 3).Draw(rt, "rungs") {
			if rung > 0 {
				after = rapid.IntRange(after+1, []int{119, 298, 599}[rung-1]).Draw(rt, "after")
			}
			text += fmt.Sprintf("{after: %ds, ", after)
			text += rapid.SampledFrom([]string{"shifts: [s]", "people: [p-fay]", "roles: [crew]", "roles: [officer]", "roles: [keeper], by: [push]"}).Draw(rt, "whom") + "}, "
			if rung == 0 {
				after = 0
			}
		}
		rung := strings.Count(text[strings.LastIndex(text, "ladder"):], "after")
		if rung > 0 {
			after++
		}
		text += fmt.Sprintf("{after: %ds, roles: [dispatcher]}]}\n", after)
	}
	return text
}

// What is explained is what would be told.
func TestExplain(t *testing.T) {
	f := parse(t, `quiet: [{people: [p-kim], from: "10:00", to: "14:00"}]
hooks: [{name: h, url: "https://h.example", secret_file: s}]
routes:
  - {name: a, kinds: [stream-hole, clock-doubtful], ladder: [{people: [p-kim], hooks: [h]}, {after: 1m, roles: [dispatcher]}]}
`)
	r := f.Rota(builder, nil)
	n := alert("clock-doubtful", "mill")
	n.Priority = desk.Medium
	require.Len(t, routes.Explain(r, n, noon).Rungs, 1, "medium does not climb")
	require.Equal(t, noon.Add(2*time.Hour), routes.Explain(r, n, noon).Rungs[0].Whom[0].Quiet)
	n.Priority = desk.High
	told := routes.Explain(r, n, noon)
	require.Equal(t, "a", told.Route)
	require.Equal(t, 4, told.Line)
	require.Equal(t, []routes.ToldRung{
		{Why: "route a, step 0: p-kim, hook h", Whom: []routes.ToldWhom{
			{Person: "p-kim", Roles: []string{"keeper"}, Channels: []string{"phone"}}, {Person: "hook-h", Name: "h", Channels: []string{"hook"}},
		}},
		{AfterS: 180, Why: "route a, step 1: dispatcher", Whom: []routes.ToldWhom{{Person: "p-dee", Roles: []string{"dispatcher"}, Channels: []string{"phone"}}}},
	}, told.Rungs)
	n.Priority = desk.Urgent
	require.Zero(t, routes.Explain(r, n, noon).Rungs[0].Whom[0].Quiet, "urgent never waits")
	require.Empty(t, routes.Explain(r, alert("rise-fast", "mill"), noon).Route)
	require.Empty(t, routes.Explain(routes.Default().Rota(crowd{}, nil), n, noon).Rungs)
}
