package desk_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

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
	require.Contains(t, b.open(), "raised a1 to ada by mail step 0", "the page shows it as shelved when that time comes again")
	b.wait(5*time.Hour - time.Second)
	require.Contains(t, strings.Join(b.open(), "\n"), "a1")
	b.wait(time.Second)
	require.NotContains(t, strings.Join(b.open(), "\n"), "a1", "shelved")
	b.Desk = b.loaded()
	b.wait(6*time.Hour - time.Second)
	require.NotContains(t, strings.Join(b.open(), "\n"), "a1")
	b.wait(time.Second)
	require.Subset(t, b.open(), firstRung)
}

func TestAClockThatIsPutBackWhileNobodyLooks(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.wait(time.Hour)
	b.send(desk.Done)
	b.shelve("a1", 6*time.Hour)
	b.Desk, b.now = b.loaded(), b.now.Add(-30*time.Minute)
	b.write(b.Tick(b.now))
	require.Equal(t, firstRung, b.send(desk.Done), "the page asks for an answer")
	b.wait(30 * time.Minute)
	b.send(desk.Done)
	b.wait(6*time.Hour - time.Second)
	require.Empty(t, b.open())
}

// The clock of a stream elsewhere may be ahead: what is put off is so from then on
// that the page shows it, and can be taken back before that.
func TestAPuttingOffOfATimeToCome(t *testing.T) {
	for _, taken := range []bool{false, true} {
		b := at(t, fourRungs())
		b.raise("a1", "record-gap", desk.Urgent)
		b.send(desk.Done)
		b.take(notice.Notice{State: notice.OutOfService, Kind: "record-gap", Recorded: b.now.Add(10 * time.Minute), At: b.now, Until: b.now.Add(time.Hour), Key: keyed("rest")})
		b.take(notice.Notice{State: notice.Shelved, Alert: "a1", Recorded: b.now.Add(20 * time.Minute), At: b.now, Until: b.now.Add(2 * time.Hour), Key: keyed("shelf")})
		b.wait(9 * time.Minute)
		require.Len(t, b.send(desk.Done), 4, "the climb goes on")
		if taken {
			b.void("rest")
			b.void("shelf")
		}
		b.Desk = b.loaded()
		b.wait(11 * time.Minute)
		require.Equal(t, taken, len(b.send(desk.Done)) > 0)
		b.wait(100*time.Minute - time.Second)
		require.Equal(t, taken, len(b.open()) > 0)
		b.wait(time.Second)
		require.NotEmpty(t, b.open())
	}
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
	b.take(notice.Notice{State: notice.Shelved, Alert: "a10", Site: "s10", Wall: "w", At: b.now, Until: b.now.Add(time.Hour)})
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
