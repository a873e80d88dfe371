package desk_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/scheduler"
)

var noon = time.Date(2026, 6, 3, 12, 0, 0, 0, time.UTC)

// rota is a rota that answers as it is told to.
type rota struct {
	rungs  []desk.Rung
	sheets []desk.Choice
	quiet  map[string]time.Time // by person
}

func (r *rota) Ladder(notice.Notice, time.Time) []desk.Rung           { return r.rungs }
func (r *rota) Sheet(string, string, time.Time) []desk.Choice         { return r.sheets }
func (r *rota) Quiet(_, person string, _ time.Time) (until time.Time) { return r.quiet[person] }

func rung(after time.Duration, choices ...desk.Choice) desk.Rung {
	return desk.Rung{After: after, Choices: choices, Why: "by the test"}
}

func by(person string, channels ...string) desk.Choice {
	return desk.Choice{Person: person, Channels: channels}
}

// fourRungs is a ladder as a site has it.
func fourRungs() *rota {
	return &rota{rungs: []desk.Rung{
		rung(0, by("ada", "phone", "mail")),
		rung(2*time.Minute, by("ben", "phone", "mail")),
		rung(5*time.Minute, by("cleo", "phone", "mail")),
		rung(10*time.Minute, by("dora", "mail")),
	}}
}

func oneRung(choices ...desk.Choice) *rota { return &rota{rungs: []desk.Rung{rung(0, choices...)}} }

// bench is a desk with the rows that it wrote, at a time that the test moves.
type bench struct {
	*testing.T
	*desk.Desk
	rota    *rota
	now     time.Time
	seq     uint64
	cases   map[string][]byte
	letters map[string][]byte
	gone    map[string]desk.Letter // history
}

func at(t *testing.T, r *rota) *bench {
	return &bench{T: t, Desk: desk.New(r), rota: r, now: noon,
		cases: map[string][]byte{}, letters: map[string][]byte{}, gone: map[string]desk.Letter{}}
}

func (b *bench) write(ch desk.Change) {
	for _, c := range ch.Cases {
		b.cases[c.ID] = encode(b, c)
	}
	for _, l := range ch.Letters {
		require.NotEqual(b, desk.Sending, l.State, "no row says that a letter is under way")
		b.letters[l.ID] = encode(b, l)
	}
	for _, id := range ch.Closed {
		delete(b.cases, id)
	}
	for _, id := range ch.Gone {
		b.gone[id] = decode[desk.Letter](b, b.letters[id])
		delete(b.letters, id)
	}
}

func encode(t require.TestingT, v any) []byte {
	body, err := json.Marshal(v)
	require.NoError(t, err)
	return body
}

func decode[T any](t require.TestingT, body []byte) (v T) {
	require.NoError(t, json.Unmarshal(body, &v))
	return v
}

// loaded is a desk made of the rows.
func (b *bench) loaded() *desk.Desk {
	d := desk.New(b.rota)
	var cases []desk.Case
	var letters []desk.Letter
	for _, body := range b.cases {
		cases = append(cases, decode[desk.Case](b, body))
	}
	for _, body := range b.letters {
		letters = append(letters, decode[desk.Letter](b, body))
	}
	d.Load(cases, letters)
	return d
}

func (b *bench) take(n notice.Notice) {
	if n.Site == "" {
		n.Site, n.Wall = "north", "w1"
	}
	if n.Recorded.IsZero() {
		n.Recorded = b.now
	}
	b.seq++
	n.Seq = b.seq
	b.write(b.Take(n, b.now))
}

func (b *bench) raise(alert, kind, priority string) {
	b.take(notice.Notice{State: notice.Raised, Alert: alert, Kind: kind, Cause: "cause " + alert, Priority: priority, Since: b.now, Text: alert})
}

func (b *bench) word(state, alert, person string) {
	b.take(notice.Notice{State: state, Alert: alert, By: person, At: b.now})
}

func (b *bench) shelve(alert string, d time.Duration) {
	b.take(notice.Notice{State: notice.Shelved, Alert: alert, By: "ada", Text: "waiting", At: b.now, Until: b.now.Add(d)})
}

// wait moves the time and does what is due on the way, each thing in its moment.
// No letter is handed out.
func (b *bench) wait(d time.Duration) {
	end := b.now.Add(d)
	for range 10_000 {
		next := b.NextTick()
		if next.IsZero() || next.After(end) {
			b.now = end
			b.write(b.Tick(b.now))
			return
		}
		if next.After(b.now) {
			b.now = next
		}
		b.write(b.Tick(b.now))
	}
	require.Fail(b, "time does not pass", "next=%s now=%s", b.Next(), b.now)
}

// send hands out what is due and has each channel answer.
func (b *bench) send(outcome desk.Outcome) []string {
	due := b.Due(b.now)
	for _, l := range due {
		b.write(b.Came(l.ID, desk.Result{Outcome: outcome, Error: "no answer", Text: "in short"}, b.now))
	}
	return names(due)
}

// names says what letters are, in a few words.
func names(letters []desk.Letter) []string {
	var all []string
	for _, l := range letters {
		all = append(all, fmt.Sprintf("%s %s to %s by %s step %d", l.What, strings.Join(l.Alerts, "+"), l.Person, l.Channel, l.Step))
	}
	slices.Sort(all)
	return all
}

func (b *bench) open() []string { return b.in(desk.Due, desk.Sending, desk.Withheld) }

func (b *bench) in(states ...string) []string {
	return names(slices.DeleteFunc(b.Letters(), func(l desk.Letter) bool { return !slices.Contains(states, l.State) }))
}

func (b *bench) letter(person, channel string) desk.Letter {
	all := b.Letters()
	i := slices.IndexFunc(all, func(l desk.Letter) bool { return l.Person == person && l.Channel == channel })
	require.GreaterOrEqual(b, i, 0, "a letter to %s by %s", person, channel)
	return all[i]
}

func (b *bench) theCase(id string) desk.Case {
	c, ok := b.Case(id)
	require.True(b, ok, "case %s", id)
	return c
}

func TestAnUrgentAlertClimbsUntilItIsAcknowledged(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	require.Equal(t, []string{"raised a1 to ada by mail step 0", "raised a1 to ada by phone step 0"}, b.send(desk.Done), "all channels at once")
	b.wait(119 * time.Second)
	require.Empty(t, b.open())
	b.wait(time.Second)
	require.Equal(t, []string{"raised a1 to ben by mail step 1", "raised a1 to ben by phone step 1"}, b.send(desk.Done))
	b.wait(3 * time.Minute)
	require.Equal(t, []string{"raised a1 to cleo by mail step 2", "raised a1 to cleo by phone step 2"}, b.send(desk.Done))
	b.word(notice.Acknowledged, "a1", "cleo")
	b.wait(3 * time.Hour)
	require.Empty(t, b.open(), "acknowledged: it climbs no further")
	require.Equal(t, "cleo", b.theCase("a1").AckBy)
}

func TestTheLastRungIsToldAgainSixTimesAndThenItIsTrouble(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.wait(10 * time.Minute)
	b.send(desk.Done)
	for step := 4; step < 10; step++ {
		b.wait(10 * time.Minute)
		require.Equal(t, []string{fmt.Sprintf("raised a1 to dora by mail step %d", step)}, b.send(desk.Done))
		require.Empty(t, b.Untold())
	}
	b.wait(10 * time.Minute)
	require.Empty(t, b.open())
	trouble := b.Untold()
	require.Len(t, trouble, 1)
	require.Empty(t, trouble[0].Person)
	require.Contains(t, trouble[0].Text, "nobody has answered")
	require.Equal(t, trouble, b.loaded().Untold())
	b.word(notice.Acknowledged, "a1", "dora")
	require.Empty(t, b.Untold(), "an answer ends the trouble")
}

func TestAHighAlertClimbsThreeTimesSlowerUntilSomebodyWasTold(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "line-due", desk.High)
	require.Equal(t, []string{"raised a1 to ada by phone step 0"}, b.send(desk.Done), "one channel")
	b.wait(6*time.Minute - time.Second)
	require.Empty(t, b.open(), "handed on is not told, but there is time")
	b.wait(time.Second)
	require.Equal(t, []string{"raised a1 to ada by mail step 0", "raised a1 to ben by phone step 1"}, b.open(),
		"no page has shown it: her next channel, and the next rung")
	b.take(notice.Notice{State: notice.Shown, Alert: "a1", By: "ada", At: b.now})
	require.Equal(t, desk.Shown, b.letter("ada", "phone").State)
	require.Equal(t, desk.Dropped, b.letter("ada", "mail").State, "she has seen it")
	b.send(desk.Done)
	b.wait(10 * time.Hour)
	require.NotContains(t, strings.Join(names(b.Letters()), "\n"), "cleo", "told: it climbs no further")
}

func TestAPhoneCountsOnlyWhenThePageHasShownIt(t *testing.T) {
	b := at(t, oneRung(by("ada", "phone"), by("ben", "mail")))
	b.raise("a1", "line-due", desk.High)
	b.send(desk.Done)
	told := func() (all []string) {
		for _, x := range b.theCase("a1").Told {
			all = append(all, x.Person)
		}
		return all
	}
	require.Equal(t, []string{"ben"}, told())
	b.take(notice.Notice{State: notice.Shown, Alert: "other", By: "ada", Message: b.letter("ada", "phone").ID})
	require.Equal(t, []string{"ben", "ada"}, told(), "by its message")
	require.True(t, desk.NeedsShowing("push") && !desk.NeedsShowing("hook"))
}

func TestMediumAndLowAreToldToTheFirstRungOnly(t *testing.T) {
	for _, priority := range []string{desk.Medium, desk.Low} {
		b := at(t, fourRungs())
		b.raise("a1", "probe-silent", priority)
		require.Equal(t, []string{"raised a1 to ada by phone step 0"}, b.send(desk.Done))
		b.wait(time.Hour)
		require.Equal(t, []string{"raised a1 to ada by mail step 0"}, b.send(desk.Done), "the next channel of the same person")
		b.wait(48 * time.Hour)
		require.Empty(t, b.open())
	}
}

func TestARungWhoseLettersAllFailedClimbsAtOnce(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	due := b.Due(b.now)
	b.write(b.Came(due[0].ID, desk.Result{Outcome: desk.Refused, Error: "gone"}, b.now))
	b.wait(0)
	require.Len(t, b.Letters(), 2, "the other may still reach her")
	b.write(b.Came(due[1].ID, desk.Result{Outcome: desk.Refused, Error: "gone"}, b.now))
	b.wait(0)
	require.Equal(t, []string{"raised a1 to ben by mail step 1", "raised a1 to ben by phone step 1"}, b.open())
	require.Equal(t, []desk.Trouble{{Site: "north", Wall: "w1", Alert: "a1", Kind: "rise-fast", Priority: desk.Urgent, Person: "ada",
		Channels: []string{"mail", "phone"}, Since: noon, Text: "mail: gone; phone: gone"}}, b.Untold())
	require.Equal(t, b.Untold(), b.loaded().Untold())
}

func TestWhomNoChannelReachesIsTroubleFromTheBeginning(t *testing.T) {
	b := at(t, &rota{rungs: []desk.Rung{rung(0, by("ada")), rung(2*time.Minute, by("ben", "mail"))}})
	b.raise("a1", "rise-fast", desk.Urgent)
	b.wait(0)
	require.Equal(t, []string{"raised a1 to ada by none step 0"}, b.in(desk.Failed))
	require.Equal(t, []string{"raised a1 to ben by mail step 1"}, b.open())
	require.Equal(t, "ada", b.Untold()[0].Person)
}

func TestNobodyToTellIsTroubleAndTheRotaIsAskedAgain(t *testing.T) {
	b := at(t, &rota{})
	b.raise("a1", "line-due", desk.High)
	require.Contains(t, b.Untold()[0].Text, "nobody to tell")
	b.rota.rungs = fourRungs().rungs
	b.wait(10 * time.Minute)
	require.Equal(t, []string{"raised a1 to ada by phone step 0"}, b.send(desk.Done))
	require.Empty(t, b.Untold())
}

func TestTheNextChannelIsTriedWhereOneDoesNotWork(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail", "hook", "phone")))
	b.raise("a1", "brace-overdue", desk.Medium)
	require.Equal(t, []string{"raised a1 to ada by mail step 0"}, b.send(desk.Refused))
	require.Equal(t, []string{"raised a1 to ada by hook step 0"}, b.send(desk.Done))
	b.wait(time.Hour)
	require.Empty(t, b.open())
}

func TestALetterIsTriedAgainForAnHour(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail")))
	b.raise("a1", "brace-overdue", desk.Medium)
	var waits []time.Duration
	for b.letter("ada", "mail").State == desk.Due {
		before := b.now
		b.send(desk.Again)
		b.now = later(b.now, b.letter("ada", "mail").Next)
		waits = append(waits, b.now.Sub(before))
	}
	require.Equal(t, []time.Duration{1e9, 2e9, 4e9, 8e9, 16e9, 32e9, 64e9, 128e9, 256e9, 300e9}, waits[:10])
	l := b.letter("ada", "mail")
	require.Equal(t, desk.Failed, l.State)
	require.Equal(t, "no answer", l.Error)
	require.GreaterOrEqual(t, l.Ended.Sub(l.Made), time.Hour)
	require.Less(t, l.Ended.Sub(l.Made), time.Hour+5*time.Minute)
}

func later(x, y time.Time) time.Time {
	if y.After(x) {
		return y
	}
	return x
}

func TestAfterALongStopALetterIsStillTried(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail")))
	b.raise("a1", "brace-overdue", desk.Medium)
	b.send(desk.Again)
	b.now = b.now.Add(3 * time.Hour)
	b.Desk = b.loaded()
	b.send(desk.Again)
	require.Equal(t, desk.Due, b.letter("ada", "mail").State)
	b.wait(time.Minute)
	require.NotEmpty(t, b.send(desk.Done))
}

func TestALetterHandedOutAndNotAnsweredIsHandedOutAgain(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail")))
	b.raise("a1", "brace-overdue", desk.Medium)
	first := b.Due(b.now)
	require.Len(t, first, 1)
	require.Equal(t, desk.Sending, first[0].State)
	b.wait(5*time.Minute - time.Second)
	require.Empty(t, b.Due(b.now))
	require.Equal(t, first[0].ID, b.loaded().Due(b.now)[0].ID, "after a crash, under the same id")
	b.wait(time.Second)
	require.Equal(t, first[0].ID, b.Due(b.now)[0].ID)
}

func TestWhoWasToldIsToldOfTheEndAndNobodyElse(t *testing.T) {
	for _, priority := range []string{desk.Urgent, desk.High, desk.Medium, desk.Low} {
		b := at(t, &rota{rungs: []desk.Rung{rung(0, by("ada", "mail"), by("ben", "phone"))}})
		b.raise("a1", "line-out", priority)
		b.send(desk.Done)
		b.word(notice.Acknowledged, "a1", "ada")
		require.Empty(t, b.open())
		b.word(notice.Cleared, "a1", "")
		if priority == desk.Urgent || priority == desk.High {
			require.Equal(t, []string{"cleared a1 to ada by mail step 0"}, b.send(desk.Done), priority)
		}
		require.Empty(t, b.open(), priority)
		require.False(t, b.theCase("a1").Ended.IsZero(), priority)
	}
}

func TestWhatWasClearedBeforeItWasToldIsNotTold(t *testing.T) {
	for _, c := range []struct {
		kind, priority string
		told           bool
	}{
		{"line-due", desk.High, false},
		{"brace-overdue", desk.Medium, false},
		{"rise-fast", desk.Urgent, true},       // returned unacknowledged
		{"strip-unpermitted", desk.High, true}, // latched
	} {
		b := at(t, oneRung(by("ada", "mail")))
		b.now = b.now.Add(3 * time.Hour) // the hub was down; it reads all that is there
		b.take(notice.Notice{State: notice.Raised, Alert: "a1", Kind: c.kind, Priority: c.priority, Since: noon, Recorded: noon})
		b.take(notice.Notice{State: notice.Cleared, Alert: "a1", Kind: c.kind, At: noon.Add(time.Hour)})
		require.True(t, b.theCase("a1").Returned(), c.kind)
		if !c.told {
			require.Empty(t, b.open(), c.kind)
			require.Len(t, b.in(desk.Dropped), 1)
			continue
		}
		require.Equal(t, notice.Cleared, b.theCase("a1").Word().State)
		require.Equal(t, []string{"raised a1 to ada by mail step 0"}, b.send(desk.Done), c.kind)
		require.Empty(t, b.open(), "one letter, which says both")
		require.True(t, b.letter("ada", "mail").Returned)
	}
}

func TestAWordReadLateIsToldWhileTheAlertStands(t *testing.T) {
	b := at(t, fourRungs())
	b.now = b.now.Add(40 * time.Hour)
	b.take(notice.Notice{State: notice.Raised, Alert: "a1", Kind: "rise-fast", Priority: desk.Urgent, Since: noon, Recorded: noon})
	require.Len(t, b.send(desk.Done), 2)
	b.wait(2 * time.Minute)
	require.Len(t, b.open(), 2, "the rungs count from when it was told first")
}

func TestSentWhileItWasClearedIsFollowedByTheEnd(t *testing.T) {
	for _, priority := range []string{desk.Urgent, desk.High} {
		b := at(t, oneRung(by("ada", "mail")))
		b.raise("a1", "line-out", priority)
		l := b.Due(b.now)[0]
		b.word(notice.Cleared, "a1", "")
		b.write(b.Came(l.ID, desk.Result{Outcome: desk.Done}, b.now))
		require.Equal(t, []string{"cleared a1 to ada by mail step 0"}, b.send(desk.Done), "what she read said that it stands")
	}
}

func TestALatchedAlertClimbsUntilItIsAcknowledged(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "strip-early", desk.Urgent)
	b.send(desk.Done)
	b.word(notice.Cleared, "a1", "")
	b.send(desk.Done)
	b.wait(2 * time.Minute)
	require.Equal(t, []string{"raised a1 to ben by mail step 1", "raised a1 to ben by phone step 1"}, b.send(desk.Done))
	b.wait(50 * time.Hour)
	require.True(t, b.theCase("a1").Ended.IsZero())
	b.send(desk.Done)
	b.word(notice.Acknowledged, "a1", "cleo")
	b.send(desk.Done)
	require.False(t, b.theCase("a1").Ended.IsZero())
}

func TestReturnedUnacknowledgedStaysADay(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.word(notice.Cleared, "a1", "")
	b.send(desk.Done)
	b.wait(24*time.Hour - time.Second)
	require.True(t, b.theCase("a1").Returned())
	require.True(t, b.theCase("a1").Ended.IsZero())
	require.Empty(t, b.open(), "the condition is over: it does not climb")
	b.wait(time.Second)
	require.False(t, b.theCase("a1").Ended.IsZero())
}

func TestShelvedIsNotToldAndThenToldAnew(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.wait(2 * time.Minute)
	b.shelve("a1", time.Hour)
	require.Empty(t, b.open())
	b.wait(time.Hour - time.Second)
	require.Empty(t, b.open())
	b.wait(time.Second)
	require.Equal(t, []string{"raised a1 to ada by mail step 0", "raised a1 to ada by phone step 0"}, b.send(desk.Done), "from the first rung")
	b.wait(2 * time.Minute)
	require.Equal(t, []string{"raised a1 to ben by mail step 1", "raised a1 to ben by phone step 1"}, b.send(desk.Done))

	b.shelve("a1", time.Hour)
	b.wait(time.Minute)
	b.word(notice.Unshelved, "a1", "ada")
	require.Len(t, b.send(desk.Done), 2, "before its time")

	b.shelve("a1", time.Hour)
	b.word(notice.Cleared, "a1", "")
	b.wait(2 * time.Hour)
	require.Empty(t, b.open(), "over meanwhile: nobody is told anything")
}

func TestShelvingIsNeverOverEightHours(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.shelve("a1", 30*time.Hour)
	b.wait(8 * time.Hour)
	require.NotEmpty(t, b.open())
}

func TestAcknowledgedWhileShelvedIsNotToldAnew(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.shelve("a1", time.Hour)
	b.wait(time.Minute)
	b.word(notice.Acknowledged, "a1", "ada")
	b.wait(2 * time.Hour)
	require.Empty(t, b.open())

	b.raise("a2", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.word(notice.Acknowledged, "a2", "ada")
	b.wait(time.Minute)
	b.shelve("a2", time.Hour)
	b.wait(time.Hour)
	require.Len(t, b.send(desk.Done), 2, "put off after it was seen: a reminder")
	b.wait(time.Hour)
	require.Empty(t, b.open(), "which does not climb")
}

func TestOutOfServiceIsNotToldUntilItEnds(t *testing.T) {
	rest := func(b *bench, state, kind, cause, wall string, d time.Duration) {
		b.take(notice.Notice{State: state, Kind: kind, Cause: cause, Site: "north", Wall: wall, At: b.now, Until: b.now.Add(d), By: "eve"})
	}
	b := at(t, fourRungs())
	b.raise("before", "record-gap", desk.High)
	rest(b, notice.OutOfService, "record-gap", "", "", time.Hour)
	rest(b, notice.OutOfService, "rise-fast", "", "", time.Hour)
	b.raise("within", "record-gap", desk.High)
	b.raise("rise", "rise-fast", desk.Urgent)
	require.Equal(t, []string{"raised rise to ada by mail step 0", "raised rise to ada by phone step 0"}, b.open(), "not every kind may rest")
	b.word(notice.Acknowledged, "rise", "ada")
	b.send(desk.Done)
	b.wait(time.Hour)
	require.Equal(t, []string{"raised before to ada by phone step 0", "raised within to ada by phone step 0"}, b.send(desk.Done))

	rest(b, notice.OutOfService, "record-gap", "cause third", "w1", 30*24*time.Hour)
	b.raise("third", "record-gap", desk.High)
	b.raise("fourth", "record-gap", desk.High)
	require.Contains(t, b.send(desk.Done), "raised fourth to ada by phone step 0", "of another cause")
	require.NotContains(t, strings.Join(names(b.Letters()), "\n"), "third")
	rest(b, notice.InService, "record-gap", "cause third", "w1", 0)
	require.Equal(t, []string{"raised third to ada by phone step 0"}, b.open())

	rest(b, notice.OutOfService, "record-gap", "", "", 30*24*time.Hour)
	b.raise("long", "record-gap", desk.High)
	b.wait(7 * 24 * time.Hour)
	require.Contains(t, b.open(), "raised long to ada by phone step 0", "never over 7 days")
}

func TestQuietHoursHoldBackWhatCanWait(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail")))
	b.rota.quiet = map[string]time.Time{"ada": noon.Add(2 * time.Hour)}
	b.raise("a1", "probe-silent", desk.Medium)
	b.raise("a2", "brace-overdue", desk.Medium)
	b.raise("a3", "probe-silent", desk.Urgent)
	b.raise("a4", "probe-silent", desk.Low)
	require.Equal(t, []string{"raised a2 to ada by mail step 0", "raised a3 to ada by mail step 0"}, b.send(desk.Done))
	require.Equal(t, []string{"raised a1 to ada by mail step 0", "raised a4 to ada by mail step 0"}, b.in(desk.Withheld))
	b.word(notice.Cleared, "a4", "")
	b.word(notice.Acknowledged, "a3", "ada")
	b.wait(2*time.Hour - time.Second)
	require.Equal(t, []string{"raised a1 to ada by mail step 0"}, b.in(desk.Withheld))
	b.wait(time.Second)
	require.Equal(t, []string{"raised a1 to ada by mail step 0"}, b.send(desk.Done))
}

func TestWhatConcernsAJointAFormAFreezeOrABraceNeverWaits(t *testing.T) {
	waiting := 0
	for _, kind := range append(events.AlertKinds(), "not-known") {
		for _, priority := range []string{desk.Urgent, desk.High, desk.Medium, desk.Low, ""} {
			if !desk.CanWait(kind, priority) {
				continue
			}
			waiting++
			require.Contains(t, []string{desk.Medium, desk.Low}, priority, kind)
			require.True(t, events.MayRest(kind), "%s: only what broken instruments make", kind)
			for _, never := range []string{"joint", "form", "line", "rise", "pressure", "fro", "brace", "strip", "face", "backfill", "wind", "untold", "window", "stream"} {
				require.NotContains(t, kind, never)
			}
		}
	}
	require.Positive(t, waiting)
}

func TestAFloodIsGatheredAndNoUrgentAlertIs(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail")))
	for i := range 10 {
		b.raise(fmt.Sprintf("a%02d", i), "brace-overdue", desk.Medium)
	}
	require.Len(t, b.send(desk.Done), 10, "ten are told singly")
	b.raise("b1", "brace-overdue", desk.Medium)
	b.raise("b2", "line-due", desk.High)
	b.raise("b3", "rise-fast", desk.Urgent)
	b.raise("b4", "brace-overdue", desk.Low)
	require.Equal(t, []string{"raised b3 to ada by mail step 0"}, b.send(desk.Done), "urgent: at once and singly")
	b.word(notice.Cleared, "b4", "")
	b.word(notice.Acknowledged, "b3", "ada")
	b.wait(time.Minute - time.Second)
	require.Empty(t, b.send(desk.Done))
	b.wait(time.Second)
	b.raise("b5", "brace-overdue", desk.Medium)
	require.Equal(t, []string{"summary b2+b1 to ada by mail step 0"}, b.send(desk.Done), "the most urgent first; what is over is left out")
	require.Len(t, b.theCase("b1").Told, 1)
	b.wait(time.Minute - time.Second)
	require.Empty(t, b.send(desk.Done), "one a minute at most")
	b.word(notice.Cleared, "b2", "")
	b.wait(time.Second)
	require.Equal(t, []string{"summary b5 to ada by mail step 0"}, b.send(desk.Done), "raised goes before what is over")
	b.wait(time.Minute)
	require.Equal(t, []string{"summary b2 to ada by mail step 0"}, b.send(desk.Done), "so is the end")
	b.wait(10 * time.Minute)
	b.raise("c1", "brace-overdue", desk.Medium)
	require.Equal(t, []string{"raised c1 to ada by mail step 0"}, b.send(desk.Done), "under five in ten minutes: it is over")
}

func TestSheetsAreToldOnceAndNotWhenTheyAreStale(t *testing.T) {
	sheet := func(b *bench, name, date string, issued time.Time) {
		b.take(notice.Notice{State: notice.Sheet, Site: "north", Issued: &events.SheetIssued{Sheet: name, Date: date, At: issued}})
	}
	b := at(t, &rota{sheets: []desk.Choice{by("ada", "mail", "phone"), by("ben", "phone", "mail")}})
	sheet(b, "", "2026-06-03", b.now)
	sheet(b, "morning", "2026-06-03", b.now)
	require.Equal(t, []string{"sheet  to ada by mail step 0", "sheet  to ben by phone step 0"}, b.send(desk.Done))
	require.False(t, b.theCase("sheet north morning 2026-06-03").Ended.IsZero())
	b.wait(6 * time.Minute)
	require.Equal(t, []string{"sheet  to ben by mail step 0"}, b.send(desk.Done), "no page has shown it")
	sheet(b, "evening", "2026-06-02", b.now.Add(-12*time.Hour-time.Second))
	sheet(b, "weekly", "2026-05-31", b.now.Add(-3*24*time.Hour-time.Second))
	require.Empty(t, b.open())
	require.Len(t, b.in(desk.Dropped), 4)
	require.Contains(t, b.letter("ada", "mail").Error+b.letter("ben", "phone").Error, "older than")
	sheet(b, "weekly", "2026-06-01", b.now.Add(-2*24*time.Hour))
	require.Len(t, b.send(desk.Done), 2)
	b.wait(31 * 24 * time.Hour)
	require.Empty(t, b.Cases())
}

func TestAWordReadTwiceTellsNobodyAnything(t *testing.T) {
	b := at(t, fourRungs())
	raised := notice.Notice{State: notice.Raised, Alert: "a1", Kind: "rise-fast", Priority: desk.Urgent, Site: "north", Recorded: noon}
	b.write(b.Take(raised, b.now))
	require.NotEmpty(t, b.open(), "directly")
	raised.Seq = 7
	require.True(t, b.Take(raised, b.now).Empty(), "and from the stream")
	words := []notice.Notice{raised,
		{State: notice.Shelved, Alert: "a1", Site: "north", Seq: 8, At: noon, Until: noon.Add(time.Hour)},
		{State: notice.Unshelved, Alert: "a1", Site: "north", Seq: 9, At: noon},
		{State: notice.Acknowledged, Alert: "a1", Site: "north", Seq: 10, At: noon, By: "ada"},
		{State: notice.Cleared, Alert: "a1", Site: "north", Seq: 11, At: noon}}
	for _, w := range words {
		b.write(b.Take(w, b.now))
	}
	b.send(desk.Done)
	letters := len(b.Letters())
	for _, w := range words {
		require.Empty(t, b.Take(w, b.now).Letters, w.State)
	}
	require.Len(t, b.Letters(), letters)
	b.wait(29 * 24 * time.Hour)
	for _, w := range words {
		require.True(t, b.Take(w, b.now).Empty(), "%s, 29 days later", w.State)
	}
	require.Empty(t, b.Letters(), "the letters are history")
	b.wait(2 * 24 * time.Hour)
	require.Empty(t, b.Cases())
}

func TestWordsBeforeTheOneThatRaisedIt(t *testing.T) {
	b := at(t, fourRungs())
	b.word(notice.Cleared, "a1", "")
	b.raise("a1", "line-due", desk.High)
	require.Empty(t, b.open(), "it was over before it was heard of")
	b.word(notice.Acknowledged, "a2", "ada")
	b.raise("a2", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.wait(time.Hour)
	require.Empty(t, b.open(), "acknowledged: it does not climb")
	b.word(notice.Acknowledged, "a3", "ada")
	b.wait(31 * 24 * time.Hour)
	_, known := b.Case("a3")
	require.False(t, known, "an answer to what was never heard of is forgotten")
}

func TestWhatCouldNotBeToldIsNotToldByTheChannelThatFailed(t *testing.T) {
	b := at(t, oneRung(by("dora", "mail", "phone"), by("ed", "mail")))
	b.raise("a1", "rise-fast", desk.Urgent)
	for _, l := range b.Due(b.now) {
		outcome := desk.Done
		if l.Channel == "mail" {
			outcome = desk.Refused
		}
		b.write(b.Came(l.ID, desk.Result{Outcome: outcome, Error: "no such address"}, b.now))
	}
	require.Len(t, b.Untold(), 1)
	require.Equal(t, "ed", b.Untold()[0].Person, "dora has her phone")
	b.raise("u1", "alert-untold", desk.High)
	require.Equal(t, []string{"raised u1 to dora by phone step 0"}, b.open())
	require.Contains(t, b.in(desk.Failed), "raised u1 to ed by none step 0")
	require.Len(t, b.Untold(), 1, "it makes none of its own")
}

func TestAClockThatIsPutBackDelaysNothing(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.raise("a2", "brace-overdue", desk.Medium)
	b.send(desk.Again)
	b.wait(time.Minute)
	b.now = b.now.Add(-5 * time.Hour)
	b.write(b.Tick(b.now))
	b.wait(time.Minute)
	require.Contains(t, b.open(), "raised a1 to ben by mail step 1", "two minutes after it was raised")
	require.Contains(t, b.send(desk.Done), "raised a2 to ada by phone step 0")
	d := b.loaded()
	require.Equal(t, b.Next(), d.Next())
	b.shelve("a1", 6*time.Hour)
	b.now = b.now.Add(-5 * time.Hour)
	b.write(b.Tick(b.now))
	b.wait(8 * time.Hour)
	require.NotEmpty(t, b.open(), "never shelved for longer than 8 h")
}

func TestRatesCountsAlertsNotLetters(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail", "hook"), by("ben", "mail")))
	b.raise("a1", "rise-fast", desk.Urgent)
	b.raise("a2", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	require.Equal(t, map[string]int{"ada": 2, "ben": 2}, desk.Rates(b.Letters(), b.now))
	require.Empty(t, desk.Rates(b.Letters(), b.now.Add(10*time.Minute)))
}

func TestAHighAlertThatNobodyIsKnownToHaveSeenIsTroubleInTheEnd(t *testing.T) {
	b := at(t, oneRung(by("ada", "phone")))
	b.raise("a1", "line-due", desk.High)
	for range 8 {
		b.send(desk.Done)
		b.wait(30 * time.Minute)
	}
	require.Contains(t, b.Untold()[0].Text, "nobody is known to have seen it")
	b.take(notice.Notice{State: notice.Shown, Alert: "a1", By: "ada"})
	require.Empty(t, b.Untold())
}

func TestWhatLatchesIsWhatTheTableOfKindsSays(t *testing.T) {
	for kind, known := range scheduler.AlertKinds {
		require.Equal(t, known.Latch, desk.Latched(kind), kind)
	}
}

// The id was reckoned beside the program:
//
//	printf '2:a16:raised3:ada4:mail1:01:0' | sha256sum | head -c 32
func TestTheIDOfALetterHangsOnWhatItSaysAlone(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail")))
	b.raise("a1", "rise-fast", desk.Urgent)
	l, ok := b.Letter("5021577b9aa57d8df61e4cf54400f73d")
	require.True(t, ok, b.letter("ada", "mail").ID)
	require.Equal(t, desk.Due, l.State)
	_, ok = b.Letter("another")
	require.False(t, ok)
}

func TestAnotherRotaIsInForceFromTheNextStepOn(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.SetRota(&rota{rungs: []desk.Rung{rung(0, by("zoe", "mail")), rung(2*time.Minute, by("yan", "mail"))}})
	b.send(desk.Done)
	b.wait(2 * time.Minute)
	require.Equal(t, []string{"raised a1 to yan by mail step 1"}, b.send(desk.Done))
	b.SetRota(fourRungs())
	b.wait(10 * time.Minute)
	require.Equal(t, []string{"raised a1 to cleo by mail step 2", "raised a1 to cleo by phone step 2", "raised a1 to dora by mail step 3"},
		b.send(desk.Done), "the times of the new one count from when it was told first")
}

func TestASummaryOfSeveralSitesSaysSo(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail", "hook")))
	for i := range 12 {
		b.take(notice.Notice{State: notice.Raised, Alert: fmt.Sprintf("a%02d", i), Kind: "line-due", Priority: desk.High, Site: fmt.Sprintf("s%d", i), Wall: "w"})
	}
	b.send(desk.Done)
	b.wait(time.Minute)
	due := b.Due(b.now)
	require.Equal(t, []string{"a10", "a11"}, due[0].Alerts)
	require.Equal(t, "_", due[0].Site)
	require.Equal(t, "line-due", due[0].Kind)
	require.Empty(t, due[0].Wall)
	require.Equal(t, desk.TellRaised, due[0].Of)
	b.take(notice.Notice{State: notice.Shelved, Alert: "a10", Site: "s10", At: b.now, Until: b.now.Add(time.Hour)})
	b.write(b.Came(due[0].ID, desk.Result{Outcome: desk.Refused, Error: "full"}, b.now))
	due = b.Due(b.now)
	require.Equal(t, []string{"a11"}, due[0].Alerts, "by the next channel, without what was shelved meanwhile")
	require.Equal(t, "hook", due[0].Channel)
}

func TestAClockThatStepsBackALittleStandsStill(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail")))
	b.raise("a1", "rise-fast", desk.Urgent)
	b.now = b.now.Add(-time.Second)
	require.Len(t, b.Due(b.now), 1)
	require.True(t, b.Tick(b.now).Empty())
}

func TestOfMoreThanAHundredThousandEndedCasesTheOldestAreForgotten(t *testing.T) {
	d := desk.New(&rota{})
	closed := 0
	for i := range 100_003 {
		d.Take(notice.Notice{State: notice.Acknowledged, Alert: fmt.Sprintf("%06d", i), Site: "north", Recorded: noon}, noon.Add(time.Duration(i)))
	}
	for _, d2 := range []time.Duration{25 * time.Hour, 26 * time.Hour} {
		closed += len(d.Tick(noon.Add(d2)).Closed)
	}
	require.Equal(t, 3, closed)
	_, known := d.Case("000002")
	require.False(t, known)
	_, known = d.Case("000003")
	require.True(t, known)
}
